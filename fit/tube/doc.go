// Package tube is the vocabulary of bent tubes: what is bought (Spec), what it
// is bent on (Die), where its centreline runs (Path) and how a bender is told
// to make it (Table).
//
// Axes are those of the car, right-handed: x forward, y to the left, z up.
// Lengths are float64 millimetres, angles s1.Angle; degrees are met only at
// the edges, through Degrees. Strengths and moduli are N/mm2, masses kg,
// densities kg/m3.
//
// A centreline has three forms:
//
//	nodes       the two ends and the intersection points of the straights
//	Path        straights and arcs of one centreline radius      NewPath(nodes, radius)
//	bend table  feed, rotation and angle of each bend, the tail  Spec.Table(path)
//
// and Nodes leads from a table back to nodes. End A is the first node. With u
// the direction of feed and m = u x v the normal of a bend's plane, where v is
// the direction after the bend, the rotation of a bend is the signed angle from
// the last bend's m to its own about u, by the right-hand rule. Read from end B
// a table has the bends in reverse order and the same rotations; of the mirror
// image all rotations are negated.
//
// Guarantees, for coordinates within 10 m, legs of at least 10 mm and turns
// from 0.01 to 170 degrees:
//
//  1. Neighbouring segments of a path meet within 1e-9 mm, with tangents that
//     agree within 1e-9.
//  2. Segments alternate straight, arc, ..., straight; a straight may be of
//     zero length, never negative.
//  3. Path.Closest is the exact closest point of the centreline, no sampling;
//     its distance is right within 1e-9 mm.
//  4. No point of the curve is more than the chord error off Path.Polyline.
//  5. Table and Nodes undo each other within 1e-6 mm and 1e-7 degrees; rotations
//     next to a bend of under half a degree, whose plane is less sure, within
//     1e-6 degrees.
//  6. Results depend on the arguments alone; nothing panics on bad numbers.
//
// The springback estimate is elastic unloading of a fully plastic section
// without hardening. With D and d the outside and inside diameter,
//
//	Mp = yield (D^3 - d^3) / 6      the bending moment, whole section yielding
//	I  = pi (D^4 - d^4) / 64
//	f  = Mp R / (E I)               part of the loaded angle that springs back
//
// since unloading takes Mp/(E I) off a curvature of 1/R along the whole arc
// (textbook plasticity, from memory). Real steel hardens and springs back more;
// published checks of such models against measured bends of aluminium tube
// found mean errors from 14 to 39 % (doi 10.1177/0036850420984303). It is a
// first guess to cut a test piece by, and is marked as an estimate wherever it
// is used.
//
// Out of scope: fitting, strength, and whether anything is safe or legal.
//
// Start with [NewPath], [Spec.Table] and [Nodes].
package tube
