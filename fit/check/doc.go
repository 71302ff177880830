// Package check looks at a fitted cage the way a builder would before cutting
// metal, and says what is wrong with it.
//
// It answers with findings, not errors: each names the rule, the bar, what was
// found, what the limit is, and the place, also in words. It says whether bars
// keep to what the job asked for; whether a cage is strong enough or legal is
// not its business.
//
// # Axes and units
//
// Car axes after ISO 8855 (x forward, y left, z up, origin at the datum), right
// handed, all lengths in mm. Angles in findings are degrees, Unit says so.
//
// # Representations
//
// [Cage] takes bars as paths of straights and arcs with what fit.Evaluate found
// out about each, and measures keep-outs, suspects of the scan and other tubes
// itself. A tube is the set of points within OD/2 of its centreline, with flat
// ends; keep-outs are solids; both become surfaces for the certificate of
// fit.Certify.
//
// Where bars meet they overlap by design. A bar's landed end meets every bar
// whose centreline is closer to its node than the sum of the two outer radii:
// its target, and whatever else is joined at that node. The joint's zone on the
// landing bar reaches from the node to the first point where the two surfaces
// have come apart, on the other bar as far and a sum of radii more to either
// side of the node. Two tubes that have not come apart after the length that a
// joint of 10 degrees takes, (sum of radii) / sin 10, overlap for longer than
// any notch (common practice, no source): the rest counts as a clash. Whether a
// joint is too sharp to weld is another rule's business.
//
// # Guarantees
//
//  1. Every distance (keep-out, clash, suspect) is found to 0.01 mm and never
//     judged more favourably than it is.
//  2. A limit is broken when it is passed by more than the tolerance of its kind:
//     0.05 mm for lengths, 0.05 degrees for angles, 0.1 mm for what a foot or a
//     landed end misses, all manufacturing tolerances. Figures in tables are
//     rounded to 0.1.
//  3. The same cage gives the same findings in the same order, whatever the
//     number of workers: by severity, bar in the cage's order, rule, place.
//     Findings about the whole cage (no bar) come after those about bars.
//
// # Out of scope
//
// Rules about joints, access, build order, the way in and a class's rule sheet;
// sag, twist and ovality of real tubes; strength.
//
// # Entry points
//
// [Cage] for all findings.
package check
