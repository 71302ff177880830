package sample

import (
	"math"
	"math/rand/v2"

	"github.com/golang/geo/r3"

	"barwright/mesh"
)

// Dirt says what a scanner gets wrong. The zero value is a clean scan.
type Dirt struct {
	Sigma       float64 // noise along the normal, one sigma, mm; cut off at six sigma
	Spikes      int     // single vertices standing into the cabin
	SpikeHeight float64 // tallest spike, mm; the lowest is half of it; 0: 60
	Islands     int     // loose patches in the cabin, 20 to 100 mm across, 40 to 250 mm off the shell
	Holes       int     // round gaps, anywhere
	HoleSize    float64 // widest hole, mm across; the smallest is half of it; 0: 150
	FlipShare   float64 // share of triangles, 0 to 1, with their corners in reverse order
	DropWindows bool    // leave all panes out; rooms have none
	Seed        uint64
}

// Each kind of dirt draws from its own stream, so that one more hole does not
// move the spikes.
const (
	streamNoise = 1 + iota
	streamSpikes
	streamIslands
	streamHoles
	streamFlips
)

func (d Dirt) stream(kind uint64) *rand.Rand { return rand.New(rand.NewPCG(d.Seed, kind)) }

// Scan returns a dirty copy of the clean room.
func (r *Room) Scan(d Dirt) *mesh.Mesh { return scan(r.Mesh, nil, r.Inside, d) }

// Scan returns a dirty copy of the clean coupe.
func (c *Coupe) Scan(d Dirt) *mesh.Mesh { return scan(c.Mesh, c.Pane, c.Inside, d) }

func scan(clean *mesh.Mesh, pane []Windows, inside func(r3.Vector) bool, d Dirt) *mesh.Mesh {
	m := &mesh.Mesh{Vertices: append([]r3.Vector(nil), clean.Vertices...)}
	normals := vertexNormals(clean)

	if d.Sigma > 0 {
		r := d.stream(streamNoise)
		for i, n := range normals {
			m.Vertices[i] = along(m.Vertices[i], n, d.Sigma*normal(r))
		}
	}

	if d.Spikes > 0 {
		height := d.SpikeHeight
		if height == 0 {
			height = 60
		}
		r := d.stream(streamSpikes)
		for range d.Spikes {
			i := r.IntN(len(m.Vertices))
			m.Vertices[i] = along(clean.Vertices[i], normals[i], height*(0.5+float64(0.5*r.Float64())))
		}
	}

	drop := make([]bool, len(clean.Triangles))
	if d.DropWindows {
		for t := range pane {
			drop[t] = pane[t] != 0
		}
	}
	if d.Holes > 0 {
		size := d.HoleSize
		if size == 0 {
			size = 150
		}
		r := d.stream(streamHoles)
		for range d.Holes {
			at := clean.Vertices[r.IntN(len(clean.Vertices))]
			radius := size / 2 * (0.5 + float64(0.5*r.Float64()))
			for t, tri := range clean.Triangles {
				out := true
				for _, v := range tri {
					e := clean.Vertices[v].Sub(at)
					out = out && dot(e, e) < radius*radius
				}
				drop[t] = drop[t] || out
			}
		}
	}
	for t, tri := range clean.Triangles {
		if !drop[t] {
			m.Triangles = append(m.Triangles, tri)
		}
	}

	if d.Islands > 0 {
		r := d.stream(streamIslands)
		for range d.Islands {
			addIsland(m, clean, normals, inside, r)
		}
	}

	if d.FlipShare > 0 {
		r := d.stream(streamFlips)
		for t := range m.Triangles {
			if r.Float64() < d.FlipShare {
				tri := &m.Triangles[t]
				tri[1], tri[2] = tri[2], tri[1]
			}
		}
	}

	for i, v := range m.Vertices {
		m.Vertices[i] = roundVec(v)
	}
	return compact(m)
}

// normal draws from a normal distribution of sigma 1: the sum of twelve even
// draws, less their mean. Plain additions come out alike everywhere, which
// NormFloat64's logarithms do not promise.
func normal(r *rand.Rand) float64 {
	sum := -6.0
	for range 12 {
		sum += r.Float64()
	}
	return sum
}

// addIsland hangs a crumpled patch of 3 x 3 squares in the air off a random
// place of the shell. Where the cabin is too narrow it tries again, nearer.
func addIsland(m, clean *mesh.Mesh, normals []r3.Vector, inside func(r3.Vector) bool, r *rand.Rand) {
	size := 20 + float64(80*r.Float64())
	var at, n r3.Vector
	for far := 250.0; ; far *= 0.95 {
		i := r.IntN(len(clean.Vertices))
		n = normals[i]
		at = along(clean.Vertices[i], n, 40+float64((far-40)*r.Float64()))
		if inside(at) || far < 60 {
			break
		}
	}
	// A frame across n.
	side := r3.Vector{X: 1}
	if math.Abs(n.X) > 0.7 {
		side = r3.Vector{Y: 1}
	}
	u := unit(cross(n, side))
	v := cross(n, u)
	const squares = 3
	step := size / (squares * math.Sqrt2) // size is the diagonal
	first := int32(len(m.Vertices))
	for j := 0; j <= squares; j++ {
		for k := 0; k <= squares; k++ {
			p := along(at, u, (float64(j)-squares/2.0)*step)
			p = along(p, v, (float64(k)-squares/2.0)*step)
			p = along(p, n, step*0.2*(r.Float64()-0.5))
			m.Vertices = append(m.Vertices, p)
		}
	}
	const row = squares + 1
	for j := int32(0); j < squares; j++ {
		for k := int32(0); k < squares; k++ {
			a := first + j*row + k
			m.Triangles = append(m.Triangles, [3]int32{a, a + row, a + row + 1}, [3]int32{a, a + row + 1, a + 1})
		}
	}
}

// vertexNormals returns a unit normal for each vertex: the mean of its
// triangles' normals, weighted by area. Loose vertices get zero.
func vertexNormals(m *mesh.Mesh) []r3.Vector {
	normals := make([]r3.Vector, len(m.Vertices))
	for t, tri := range m.Triangles {
		a, b, c := m.Corners(t)
		n := cross(b.Sub(a), c.Sub(a))
		for _, v := range tri {
			normals[v] = normals[v].Add(n)
		}
	}
	for i := range normals {
		normals[i] = unit(normals[i])
	}
	return normals
}

// compact returns m without vertices that no triangle uses; order is kept.
func compact(m *mesh.Mesh) *mesh.Mesh {
	index := make([]int32, len(m.Vertices))
	for _, tri := range m.Triangles {
		for _, v := range tri {
			index[v] = 1
		}
	}
	out := &mesh.Mesh{Triangles: make([][3]int32, len(m.Triangles))}
	for i, used := range index {
		if used == 1 {
			index[i] = int32(len(out.Vertices))
			out.Vertices = append(out.Vertices, m.Vertices[i])
		}
	}
	for t, tri := range m.Triangles {
		out.Triangles[t] = [3]int32{index[tri[0]], index[tri[1]], index[tri[2]]}
	}
	return out
}

// Double returns m with a second skin at about gap mm behind it, facing the
// other way, and the two joined along the rims of every opening, as sheet
// metal around a window is. m's triangles come first. A closed m gets a second
// closed skin around it. m must be oriented with its normals into the cabin
// and have no edge with more than two triangles; where the metal is curved
// more tightly than gap the outer skin folds.
func Double(m *mesh.Mesh, gap float64) *mesh.Mesh {
	n := int32(len(m.Vertices))
	out := &mesh.Mesh{
		Vertices:  append([]r3.Vector(nil), m.Vertices...),
		Triangles: append([][3]int32(nil), m.Triangles...),
	}
	for i, d := range vertexNormals(m) {
		out.Vertices = append(out.Vertices, roundVec(along(m.Vertices[i], d, -gap)))
	}
	half := make(map[[2]int32]bool, 3*len(m.Triangles))
	for _, tri := range m.Triangles {
		out.Triangles = append(out.Triangles, [3]int32{n + tri[0], n + tri[2], n + tri[1]})
		for k := range tri {
			half[[2]int32{tri[k], tri[(k+1)%3]}] = true
		}
	}
	for _, tri := range m.Triangles {
		for k := range tri {
			a, b := tri[k], tri[(k+1)%3]
			if !half[[2]int32{b, a}] { // rim
				out.Triangles = append(out.Triangles, [3]int32{b, a, n + a}, [3]int32{b, n + a, n + b})
			}
		}
	}
	return out
}
