// Package cope works out where bars meet and how their ends are cut for it: the
// saddle of each landed end, the mitre of each foot, the order in which the ends
// at one node are cut, and what the shop needs to know besides: the setting of a
// hole-saw notcher, vent holes, the metal to keep bare for the weld, marks.
//
// Axes are those of the car, right-handed: x forward, y to the left, z up.
// Lengths are float64 millimetres. Clock positions are counted from a bar's
// reference line (package tube), clockwise seen from its end A, in degrees.
//
// The bar that lands is the branch, with outer and inner radius r and q; it ends
// at the node N on the centreline of its target, whose outer radius is T. With w
// the unit direction from N back along the branch and e(t) the direction from
// its axis to its clock position t, an edge of the cut is a function of t:
//
//	g(x) = N + x w + rho e(t)     a line along the branch, rho = r or q
//	x(t)                          the largest x at which g is T from the target's
//	                              centreline
//
// Both edges are given, since they differ: an end cut square through the wall
// along the outer edge is up to some millimetres too long inside, one along the
// inner edge leaves a gap outside for the weld. On a straight target, at the
// angle a and with the offset e between the axes, t counted from the crotch,
//
//	x(t) = (sqrt(T^2 - (r sin t + e)^2) + r cos t cos a) / sin a
//
// A target is cylinders round its straights, pieces of ring round its arcs and
// balls at its two ends; a line leaves a cylinder or a ball by a quadratic, a
// ring by a quartic equation, so the true path costs no more than a straight
// one. Largest means: before the branch has come apart from what it meets.
// Farther out a bent target may be met again, and that is not this joint. A line
// that meets nothing, because the branch is wider than its target or stands
// beside it, ends where it passes the target's centreline closest; that is the
// formula with the root at zero. The notch is open there, and a finding says so.
//
// Ends whose notches take neighbouring parts of their targets form a node. At a
// node what is landed on comes before what lands, then the larger tube, then the
// cage's order. An end is cut round its target, round every bar that runs
// through the node, and round those whose ends are cut before it: x(t) is then
// the largest of all. So of two bars that overlap at a node one is always
// notched round the other; package check reports those that overlap elsewhere.
//
// An end that stands on the shell is cut along the upper side of its plate, the
// thickness h above the plane through N with the normal n:
//
//	x(t) = (h - rho e(t).n) / (w.n)
//
// Guarantees, for coordinates within 10 m and joints of 10 to 90 degrees:
//
//  1. A point of an edge is within 1e-6 mm of the outside of a bar that the notch
//     goes round and inside none of them, unless a finding says that the notch
//     is open or that the bars do not come apart.
//  2. x is right within 1e-6 mm where the line crosses the surface. Where it only
//     touches it, as at the sides of a branch as wide as its target, within 1e-4.
//  3. The bead's ends, Long and Short, are as right if the notch goes round one
//     bar; round several a slit narrower than a degree may be missed.
//  4. Air that can't get out of a bar while it is welded is always reported.
//  5. Results depend on the arguments alone, not on the number of workers; the
//     mirror image of a cage has the mirror image of its joints.
//
// Out of scope: whether a joint is strong, safe or legal; the ovality of bent
// tube; shrinkage; the gap that a saw of another size leaves.
//
// Start with [Work]; then [Zones] and [WeldLength].
package cope
