// Package cloud turns a triangle mesh into a few thousand evenly spread small
// flat patches, for work that needs the shape of a body and not each of its
// triangles: finding its mirror plane or floor, comparing its sides.
//
// # Axes and units
//
// Any axes; lengths in mm, areas in mm2.
//
// # Representations
//
//	triangles --New--> Cloud (points, normals, roughness)
//
// Samples are drawn by area, so fine and coarse triangles count for what they
// cover. Each is laid onto the plane through its neighbours, which takes most
// of a scan's noise out of it. Normals have no side: n and -n mean the same.
//
// # Guarantees
//
//  1. The same triangles give the same cloud, whatever the number of processors.
//  2. Every sample stands for the same area.
//  3. [Cloud.Nearest] is exact within [Cloud.Reach].
//
// # Out of scope
//
// Insides and outsides, exact distances: those are package mesh's.
//
// # Entry points
//
// [New], [Cloud.Thin], [Cloud.Nearest].
package cloud
