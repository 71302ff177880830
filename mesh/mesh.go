package mesh

import "github.com/golang/geo/r3"

// Mesh is an indexed triangle mesh. Vertices are in millimetres; a triangle
// holds three indices into Vertices. The order of the corners carries no
// promise about orientation: scans are often unoriented.
type Mesh struct {
	Vertices  []r3.Vector
	Triangles [][3]int32
}

// Corners returns the three corners of triangle t, in mm.
func (m *Mesh) Corners(t int) (a, b, c r3.Vector) {
	tri := m.Triangles[t]
	return m.Vertices[tri[0]], m.Vertices[tri[1]], m.Vertices[tri[2]]
}

// Bounds returns the smallest axis-aligned box around the triangles' corners.
// An empty mesh gives the zero box.
func (m *Mesh) Bounds() Box {
	var box Box
	first := true
	for _, tri := range m.Triangles {
		for _, i := range tri {
			if first {
				box, first = Box{m.Vertices[i], m.Vertices[i]}, false
				continue
			}
			box = box.Add(m.Vertices[i])
		}
	}
	return box
}

// Box is an axis-aligned box in mm, Min <= Max in every axis.
type Box struct{ Min, Max r3.Vector }

// Add returns the smallest box that holds b and p.
func (b Box) Add(p r3.Vector) Box {
	return Box{
		Min: r3.Vector{X: min(b.Min.X, p.X), Y: min(b.Min.Y, p.Y), Z: min(b.Min.Z, p.Z)},
		Max: r3.Vector{X: max(b.Max.X, p.X), Y: max(b.Max.Y, p.Y), Z: max(b.Max.Z, p.Z)},
	}
}

// Size returns the lengths of the box's edges in mm.
func (b Box) Size() r3.Vector { return b.Max.Sub(b.Min) }

// Hit is an answer of a distance query.
type Hit struct {
	Point    r3.Vector // closest point on the surface, mm
	Distance float64   // distance to it, mm, exact to float64
	Triangle int32     // index of a triangle that holds Point; -1: none
}
