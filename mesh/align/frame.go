package align

import (
	"github.com/golang/geo/r3"

	"barwright/mesh"
)

// Frame holds the car's axes in scan coordinates: X forward, Y to the left, Z
// up, unit vectors at right angles, X cross Y = Z. The zero value is no frame.
type Frame struct {
	X, Y, Z r3.Vector
	Origin  r3.Vector // the car's origin, scan mm
}

// Identity returns the frame of a scan that stands in the car's axes already.
func Identity() Frame {
	return Frame{X: r3.Vector{X: 1}, Y: r3.Vector{Y: 1}, Z: r3.Vector{Z: 1}}
}

// Apply returns the car coordinates, mm, of a place in the scan.
func (f Frame) Apply(p r3.Vector) r3.Vector { return f.Direction(p.Sub(f.Origin)) }

// Direction returns the car coordinates of a direction in the scan.
func (f Frame) Direction(v r3.Vector) r3.Vector {
	return r3.Vector{X: f.X.Dot(v), Y: f.Y.Dot(v), Z: f.Z.Dot(v)}
}

// Invert returns the place in the scan, mm, of car coordinates.
func (f Frame) Invert(p r3.Vector) r3.Vector {
	return f.Origin.Add(f.X.Mul(p.X)).Add(f.Y.Mul(p.Y)).Add(f.Z.Mul(p.Z))
}

// Mesh returns a copy of m in car coordinates; triangles keep their order and,
// a frame being right-handed, their orientation.
func (f Frame) Mesh(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{
		Vertices:  make([]r3.Vector, len(m.Vertices)),
		Triangles: append([][3]int32(nil), m.Triangles...),
	}
	for i, v := range m.Vertices {
		out.Vertices[i] = f.Apply(v)
	}
	return out
}
