// Package model makes solid models of bars: triangle meshes of the tubes as they
// are once bent, with their true outer and inner surface.
//
// # Axes and units
//
// The car's frame, x forward, y to the left, z up, right-handed, millimetres.
//
// # Representations
//
// [Tube] turns a centreline (tube.Path) and a tube size into a mesh.Mesh;
// [Cage] puts the tubes of a cage into one mesh, each of them a solid of its
// own. Package mesh writes them. [Slugs] turns the names of bars into file
// names.
//
// # Guarantees
//
//  1. A tube's mesh is closed: every edge belongs to exactly two triangles, once
//     in each direction, and the triangles face outward from the steel, so that
//     its volume is positive. It has two walls and a ring at each end: it is
//     hollow and open, as a tube is.
//  2. Corners lie on the true surfaces, but for rounding (1e-9 mm), and no point
//     of a triangle is more than the chord error off, 0.05 mm if nothing else
//     is asked for.
//  3. The first line of corners along the tube is the bar's reference line.
//  4. Slugs hold a-z, 0-9 and single hyphens inside, at most 60 characters, are
//     unique in a list regardless of case, and are no reserved name on any
//     common file system.
//  5. The same input gives the same mesh and the same slugs.
//
// # Out of scope
//
// Coped ends: tubes end square, at the nodes. Neighbouring tubes overlap where
// one lands on the other's centreline. Flattening of the section in bends is
// not modelled.
package model
