// Package mesh reads a scan of a car body and answers questions about the
// space inside it: how far away the nearest sheet metal is, where a ray meets
// it, whether a point is in the cabin. It knows nothing of tubes.
//
// # Axes and units
//
// Axes are those of the car after ISO 8855: x forward, y to the left, z up,
// right-handed; the mirror plane of the car is y = 0. Nothing but the words
// "up" and "left" depends on that here: all queries work in any frame. Lengths
// are float64 millimetres, points are [r3.Vector]. Mesh files have no unit: [Read]
// converts from the [Unit] it is told, or guesses it from the extents.
//
// # Representations
//
//	STL, PLY or OBJ file --Read--> Mesh --NewIndex--> Index
//	                               Mesh --Prepare---> Shell (an Index and the air inside)
//	                               Mesh --Reduce----> Mesh of fewer triangles
//	                               Mesh --Cut-------> Mesh without a box or ball
//	                               Mesh --WriteSTL--> STL file
//
// A [Mesh] is a list of vertices and, for each triangle, three numbers into it.
// The order of the corners promises nothing: scans are often not oriented, and
// have holes, islands and double walls. An [Index] makes a mesh quick to query.
// A [Shell] is a scan made ready for the fit: noise estimated, spikes and
// islands set aside but listed, inside told from outside, holes capped. A Shell
// of a large scan may be a reduced one; Shell.Full then is the same in full.
// STL files hold float32; every float32 is a float64, so reading a file in mm
// changes no coordinate, and writing rounds to the nearest float32. PLY and OBJ
// files may hold float64, and polygons, which become triangles from their first
// corner.
//
// # Guarantees
//
//  1. [Read] returns an error of one line that names the file and the place, or
//     a mesh that is not empty, with finite coordinates, indices in range, no
//     triangle without an area, no two triangles with the same corners and no
//     unused vertex. It does not panic, and what it allocates is bounded by the
//     size of the file, whatever the file says about itself.
//  2. Corners that are bitwise equal in the file (0 and -0 are equal) are one
//     vertex. Beyond that, a vertex moves by at most Report.Weld, by default
//     four steps of float32 at the largest coordinate and never over 0.01 mm, and
//     no two vertices that are left lie within that distance of each other.
//  3. Vertices and triangles keep the order of the file. The same file gives
//     the same mesh, notes and messages; nothing in the package depends on the
//     number of processors.
//  4. Every triangle of the file is in the mesh or counted in the [Report] as
//     degenerate or duplicate; anything else of the file that was not read is
//     noted, but for names, normals, colours, textures and comments.
//  5. Distances of an [Index] are those to the mesh as given, to the rounding of
//     float64, and agree with a loop over all triangles. A Shell's raw gap is
//     against every triangle of the file.
//  6. No point of a surface that [Reduce] returns is farther from the one it was
//     given than the bound, and none of that is farther from it: proven step by
//     step, to 1e-6 of the bound. A Shell's ReducedBy is such a bound.
//
// # Out of scope
//
// No boolean operations, no remeshing but [Reduce], no other file formats than STL, PLY and
// OBJ, no point clouds, no textures or colours. Holes are capped only in a
// Shell, and only for the fit.
//
// # Entry points
//
// [Read] and [WriteSTL] for files; [Components], [OpenEdges] and
// [NonManifoldEdges] for what a scan is made of; [NewIndex], [Index.Closest] and
// [Index.Ray] for queries; [Reduce] and [Cut] for less of a scan; [Prepare] for a
// shell to fit against.
package mesh
