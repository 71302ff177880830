// Package embree lets benchmarks set the mesh index beside Embree 3, a library
// of ray and point queries that is widely used and well tuned (Debian package
// libembree-dev, 3.13 when this was written). It is empty unless the build tag
// embree is given, and only tests import it.
//
// Coordinates go to Embree as float32, in the mesh's own frame and unit.
package embree
