// Package align finds the car in a scan: which way is up, which way is forward,
// and where the mirror plane lies.
//
// # Axes and units
//
// A scan has any axes. The car's are those of ISO 8855: x forward, y to the
// left, z up, right-handed, the mirror plane of the body is y = 0. Lengths are
// in mm, angles [s1.Angle].
//
// # Representations
//
//	scan Mesh --Align--> Result.Frame --Frame.Mesh--> Mesh in car axes
//
// A [Frame] holds the car's axes and origin in scan coordinates;
// [Frame.Apply] and [Frame.Invert] go there and back. It comes from the scan's
// own axes, from points that the user read off, or from the shape of the body:
// [Axes], [Datum], [Auto].
//
// Auto works on at most 20,000 samples drawn by area. Mirror planes in all directions
// are tried on a coarse map of the body; the ten best, no two alike, are
// refined by matching the body with its own mirror image, point to plane, each
// round leaving out what is further off: seats on one side, parts that are
// missing. The floor is then the largest flat patch that stands square to that
// plane and has the body above it. x runs along both.
//
// # Guarantees
//
//  1. A frame is right-handed and orthonormal to 1e-12.
//  2. The same scan and options give the same frame, notes and figures,
//     whatever the number of processors.
//  3. Sure is true only if every figure in the [Result] is within its limit.
//     Of 400 scans of the invented coupe in test, in any attitude, with 2 mm of
//     noise, a tenth of the surface missing and seats on one side, 390 were
//     sure, and none of these was off by more than 1 mm or 0.1 degree at the
//     mirror plane or 0.2 degree at the up axis. That is evidence and no proof
//     for other bodies.
//  4. Which end is the front is never guessed from the shape: without
//     Options.Front an Auto frame is not sure.
//
// # Out of scope
//
// The frame is that of the shell as it is. A bent body has no mirror plane, and
// gets the one that most of it agrees on; how far its sides differ is
// mesh.Asymmetry's to say.
//
// # Entry points
//
// [Align], [Frame].
package align
