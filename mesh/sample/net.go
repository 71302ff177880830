package sample

import (
	"math"

	"github.com/golang/geo/r3"

	"barwright/mesh"
)

// field is a scalar over space, mm: negative in cabin air, positive in metal
// and outside. Its slope is at most slope.
type field struct {
	at    func(x, y, z float64) float64
	slope float64
	box   mesh.Box // holds the zero surface with some room to spare
}

// block is the number of cells a side that are ruled out by one evaluation.
const block = 4

// net meshes the zero surface of f: a vertex in each cell of a grid of spacing
// h that the surface passes through, moved onto the surface, and a quad around
// each grid edge that it cuts (surface nets). Normals point to negative
// values. The grid has a node plane at y = 0, and cells of negative y are
// worked out as mirror images, so that a symmetric field gives exactly
// mirrored vertices.
func net(f field, h float64) *mesh.Mesh {
	m := &mesh.Mesh{}

	// Nodes. x and z start at an odd fraction of a step, so that flat floors at
	// round numbers do not run through nodes.
	x0 := f.box.Min.X - float64(0.618*h)
	z0 := f.box.Min.Z - float64(0.382*h)
	nx := int(math.Ceil((f.box.Max.X-x0)/h)) + 2
	nz := int(math.Ceil((f.box.Max.Z-z0)/h)) + 2
	half := int(math.Ceil(max(-f.box.Min.Y, f.box.Max.Y)/h)) + 1
	ny := 2*half + 1
	xAt := func(i int) float64 { return x0 + float64(float64(i)*h) }
	yAt := func(j int) float64 { return float64(float64(j-half) * h) }
	zAt := func(k int) float64 { return z0 + float64(float64(k)*h) }

	// Two layers of node values and of cell vertices, rolling along x.
	values := [2][]float64{make([]float64, ny*nz), make([]float64, ny*nz)}
	cells := [2][]int32{make([]int32, ny*nz), make([]int32, ny*nz)}

	bz := (nz + block - 1) / block
	by := (ny + block - 1) / block
	far := make([]float64, by*bz) // a value that stands for a whole block; 0: look closer
	// A block's nodes span block-1 steps; its centre is at most half of that
	// times sqrt(3) from each of them. Two steps more, so that both ends of
	// each cut edge are evaluated.
	safe := f.slope * h * ((block-1)*0.8661 + 2)

	fill := func(i int, v []float64) {
		if i%block == 0 {
			mid := float64((block - 1) * h / 2)
			for b := range far {
				c := f.at(xAt(i)+mid, yAt(b/bz*block)+mid, zAt(b%bz*block)+mid)
				far[b] = 0
				if math.Abs(c) > safe {
					far[b] = c
				}
			}
		}
		x := xAt(i)
		for j := 0; j < ny; j++ {
			y := yAt(j)
			for kb := 0; kb < bz; kb++ {
				value := far[j/block*bz+kb]
				for k := kb * block; k < min(nz, (kb+1)*block); k++ {
					if value != 0 {
						v[j*nz+k] = value
					} else {
						v[j*nz+k] = f.at(x, y, zAt(k))
					}
				}
			}
		}
	}

	quad := func(a, b, c, d int32, left bool) { // corners in turn, normal by the right hand
		va, vb, vc, vd := m.Vertices[a], m.Vertices[b], m.Vertices[c], m.Vertices[d]
		ac, bd := vc.Sub(va), vd.Sub(vb)
		lac, lbd := dot(ac, ac), dot(bd, bd)
		if lac < lbd || lac == lbd && left {
			m.Triangles = append(m.Triangles, [3]int32{a, b, c}, [3]int32{a, c, d})
		} else {
			m.Triangles = append(m.Triangles, [3]int32{a, b, d}, [3]int32{b, c, d})
		}
	}

	fill(0, values[1])
	for i := 0; i+1 < nx; i++ {
		values[0], values[1] = values[1], values[0]
		cells[0], cells[1] = cells[1], cells[0]
		lo, hi := values[0], values[1]
		fill(i+1, hi)
		back, here := cells[0], cells[1]

		// Vertices of the cells between node layers i and i+1.
		for j := 0; j+1 < ny; j++ {
			for k := 0; k+1 < nz; k++ {
				n := j*nz + k
				corner := [8]float64{
					lo[n], hi[n], lo[n+nz], hi[n+nz],
					lo[n+1], hi[n+1], lo[n+nz+1], hi[n+nz+1],
				}
				inside := 0
				for _, c := range corner {
					if c < 0 {
						inside++
					}
				}
				if inside == 0 || inside == 8 {
					here[n] = -1
					continue
				}
				p := f.vertex(xAt(i), yAt(j), zAt(k), h, corner)
				here[n] = int32(len(m.Vertices))
				m.Vertices = append(m.Vertices, p)
			}
		}

		// Quads around edges. left breaks ties between diagonals so that
		// mirrored quads are cut in mirrored ways.
		for j := 1; j+1 < ny; j++ {
			for k := 1; k+1 < nz; k++ {
				n := j*nz + k
				in := lo[n] < 0
				if in != (hi[n] < 0) { // along x
					a, b, c, d := here[n-nz-1], here[n-1], here[n], here[n-nz]
					if in {
						a, b, c, d = d, c, b, a
					}
					quad(a, b, c, d, j > half)
				}
				if i == 0 {
					continue
				}
				if in != (lo[n+nz] < 0) { // along y
					a, b, c, d := back[n-1], back[n], here[n], here[n-1]
					if in {
						a, b, c, d = d, c, b, a
					}
					quad(a, b, c, d, in)
				}
				if in != (lo[n+1] < 0) { // along z
					a, b, c, d := back[n-nz], here[n-nz], here[n], back[n]
					if in {
						a, b, c, d = d, c, b, a
					}
					quad(a, b, c, d, j > half)
				}
			}
		}
	}
	return m
}

// cellEdges are the twelve edges of a cell, as pairs of corners; bit 0 of a
// corner is x, bit 1 y, bit 2 z.
var cellEdges = [12][2]int{
	{0, 1}, {2, 3}, {4, 5}, {6, 7},
	{0, 2}, {1, 3}, {4, 6}, {5, 7},
	{0, 4}, {1, 5}, {2, 6}, {3, 7},
}

// vertex returns the place of the vertex of the cell whose lowest corner is
// (x, y, z): the mean of the cut edges' crossings, then Newton steps onto the
// surface that keep within the cell.
func (f field) vertex(x, y, z, h float64, corner [8]float64) r3.Vector {
	at := f.at
	flip := y < 0
	if flip {
		for c := 0; c < 8; c++ {
			if c&2 == 0 {
				corner[c], corner[c|2] = corner[c|2], corner[c]
			}
		}
		y = -(y + h)
		at = func(x, y, z float64) float64 { return f.at(x, -y, z) }
	}
	var sum r3.Vector
	cuts := 0.0
	for _, e := range cellEdges {
		a, b := corner[e[0]], corner[e[1]]
		if (a < 0) == (b < 0) {
			continue
		}
		t := a / (a - b)
		p := [3]float64{}
		for axis := range p {
			bit := 1 << axis
			switch {
			case e[0]&bit != e[1]&bit:
				p[axis] = t
			case e[0]&bit != 0:
				p[axis] = 1
			}
		}
		sum = sum.Add(r3.Vector{X: p[0], Y: p[1], Z: p[2]})
		cuts++
	}
	lo := r3.Vector{X: x, Y: y, Z: z}
	hi := lo.Add(r3.Vector{X: h, Y: h, Z: h})
	p := along(lo, sum, h/cuts)
	const (
		steps = 6
		eps   = 1e-3 // mm: central differences good to eps^2 times a curvature of at most 1/10 mm
	)
	for range steps {
		v := at(p.X, p.Y, p.Z)
		if math.Abs(v) < grain/8 {
			break
		}
		g := r3.Vector{
			X: (at(p.X+eps, p.Y, p.Z) - at(p.X-eps, p.Y, p.Z)) / (2 * eps),
			Y: (at(p.X, p.Y+eps, p.Z) - at(p.X, p.Y-eps, p.Z)) / (2 * eps),
			Z: (at(p.X, p.Y, p.Z+eps) - at(p.X, p.Y, p.Z-eps)) / (2 * eps),
		}
		gg := dot(g, g)
		if gg == 0 {
			break
		}
		p = along(p, g, -v/gg)
		p = r3.Vector{
			X: min(max(p.X, lo.X), hi.X),
			Y: min(max(p.Y, lo.Y), hi.Y),
			Z: min(max(p.Z, lo.Z), hi.Z),
		}
	}
	p = roundVec(p)
	if flip {
		p.Y = -p.Y + 0
	}
	return p
}
