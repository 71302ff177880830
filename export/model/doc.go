// Package model makes solid models of bars: triangle meshes of the tubes as they
// are once bent and cut, with their true outer and inner surface.
//
// # Axes and units
//
// The car's frame, x forward, y to the left, z up, right-handed, millimetres.
// Clock positions of cuts are those of fit.EndCut: from the bar's reference line,
// clockwise seen from end A.
//
// # Representations
//
// [Tube] turns a centreline (tube.Path) and a tube size into a mesh.Mesh with
// square ends; [Bar] does so for a bar with its ends cut as fit.Bar.Cuts says;
// [Cage] puts the bars of a cage into one mesh, each of them a solid of its
// own. Package mesh writes them. [Slugs] turns the names of bars into file
// names.
//
// # Guarantees
//
//  1. A tube's mesh is closed: every edge belongs to exactly two triangles, once
//     in each direction, and the triangles face outward from the steel, so that
//     its volume is positive. It has two walls and a face at each end: it is
//     hollow and open, as a tube is. This holds for any cut, also one that
//     cannot be made, and after rounding to the float32 of an STL file.
//  2. Corners lie on the true surfaces, but for rounding (1e-9 mm), and no point
//     of a triangle is more than the chord error off, 0.05 mm if nothing else
//     is asked for.
//  3. A cut end's edges, outside and at the bore, are nowhere more than the chord
//     error off the curves of the cut, which are taken as straight between their
//     values. Of 360 values of a smooth curve that costs another 0.004 mm along
//     the tube; where two tubes are equally wide the curve has corners, which may
//     be off by 0.4 mm along a tube of 44 mm at 30 degrees, where that slides
//     along the target's surface and leaves no gap.
//  4. The face of a notch lies on the target's surface within 0.15 mm, and along
//     the crease between two targets within 0.3 mm, if the targets are in the
//     cage and no other chord error is asked for. Seen along the tube it lies
//     between the two edges, so it never crosses the walls.
//  5. If no chord error is asked for, straights have the volume of a round tube
//     less 0.071 %, bends less 0.12 %.
//  6. The first line of corners along the tube is the bar's reference line.
//  7. Slugs hold a-z, 0-9 and single hyphens inside, at most 60 characters, are
//     unique in a list regardless of case, and are no reserved name on any
//     common file system.
//  8. The same input gives the same mesh and the same slugs.
//
// How a cut end is made: the corners of the end's ring are moved along the
// generators of the straight to the curves, with more corners where a curve is
// steep or has a kink. A ring with the same corners stands close behind it, from
// where the tube goes on with as few as it needs. What cannot be shown that way,
// because the cut goes past the straight or takes all of the bar, is cut short
// and told by [Findings].
//
// # Out of scope
//
// Vent holes, beads and foot plates are not modelled, nor is the flattening of
// the section in bends. Bars are solids of their own: where one lands on another
// they touch and are not joined. A cut without curves is square at the node, so
// until joints are worked out neighbouring tubes overlap.
//
// # Entry points
//
// [Cage] for all bars, [Bar] for one, [Tube] for a plain tube.
package model
