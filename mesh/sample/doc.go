// Package sample makes invented car bodies for the demo, for tests and for
// benchmarks: rooms whose best hoop is known exactly, an invented two-door
// coupe's stripped interior, and dirty scans of all of them.
//
// # Axes and units
//
// As everywhere in this project: x forward, y to the left, z up, right-handed,
// millimetres, the car's mirror plane is y = 0. Floors lie at z = 0. A section
// is a polygon in the plane of y and z; its r2.Point holds y in X and z in Y.
//
// # Representations
//
// A [Room] is a straight prism: a convex section drawn out along x. A [Coupe]
// is the zero surface of one smooth field that is negative in cabin air; the
// field gives the mesh, the window panes and Inside. Both are seen from
// inside: a single skin whose triangles' right-handed normals point into the
// cabin. [Double] makes a second skin around a mesh. [Dirt] and the Scan
// methods turn a clean mesh into what a scanner would deliver; the clean mesh
// stays as it is, so that a fit to the scan can be judged on the truth.
//
// # Guarantees
//
//  1. Same arguments, same mesh, bit for bit, on every machine: only the four
//     basic operations, square roots and a seeded PCG generator are used, every
//     product is rounded before it is added (so no fused multiply-add), and
//     vertices are rounded to a multiple of 1/1024 mm, which float32, and so an
//     STL file, holds exactly.
//  2. Clean meshes without open windows are closed: each edge belongs to two
//     triangles that run through it in opposite directions.
//  3. Vertices of a room lie on its section or end walls within 1/1024 mm;
//     vertices of a coupe on its surface within 1/512 mm, but for about one in
//     five hundred in the tightest creases of meshes of 50,000 triangles, off
//     by up to 0.5 mm; finer meshes have fewer and smaller ones.
//  4. A clean coupe without Skew is left-right symmetric: vertices exactly,
//     triangles as a surface.
//  5. A scan holds the triangles of the clean mesh, less holes and panes, in
//     their order, then the islands; every vertex is off its clean place by no
//     more than the dirt's own figures.
//
// # Out of scope
//
// Files: writing a mesh is package mesh's. Seats, dashboards and trim: the
// bodies are stripped. No real car was measured; every figure is invented.
//
// # Entry points
//
// [Box], [Tumblehome], [HalfCylinder], [NewCoupe], [Double], [Room.Scan],
// [Coupe.Scan].
package sample
