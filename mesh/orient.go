package mesh

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/golang/geo/r3"
)

// spread calls f on ranges that together cover 0..n-1, on several goroutines.
// f must write only to places that belong to its range: then the result does
// not depend on workers. 0 workers: GOMAXPROCS.
func spread(workers, n, chunk int, f func(lo, hi int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	chunks := (n + chunk - 1) / chunk
	workers = min(workers, chunks)
	if workers <= 1 {
		if n > 0 {
			f(0, n)
		}
		return
	}
	var next atomic.Int64
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			for {
				c := int(next.Add(1)) - 1
				if c >= chunks {
					return
				}
				f(c*chunk, min((c+1)*chunk, n))
			}
		})
	}
	group.Wait()
}

// Values of across beside triangle numbers.
const (
	acrossNone = -1 // a rim: no other triangle uses the edge
	acrossMany = -2 // more than two triangles use the edge
)

// acrossEdges returns, for every triangle and corner c, the triangle on the
// other side of the edge from corner c to the next one, or one of the values
// above.
func acrossEdges(m *Mesh) [][3]int32 {
	type half struct{ upper, at int32 } // at: 3 x triangle + corner
	start := make([]int32, len(m.Vertices)+2)
	for _, tri := range m.Triangles {
		for c := range tri {
			start[min(tri[c], tri[(c+1)%3])+2]++
		}
	}
	for v := 2; v < len(start); v++ {
		start[v] += start[v-1]
	}
	halves := make([]half, 3*len(m.Triangles))
	for t, tri := range m.Triangles {
		for c := range tri {
			a, b := tri[c], tri[(c+1)%3]
			s := &start[min(a, b)+1]
			halves[*s] = half{max(a, b), int32(3*t + c)}
			*s++
		}
	}
	across := make([][3]int32, len(m.Triangles))
	for v := range m.Vertices {
		bucket := halves[start[v]:start[v+1]]
		for i, h := range bucket {
			other, uses := int32(acrossNone), 1
			for j, g := range bucket {
				if j != i && g.upper == h.upper {
					other = g.at / 3
					uses++
				}
			}
			if uses > 2 {
				other = acrossMany
			}
			across[h.at/3][h.at%3] = other
		}
	}
	return across
}

// patches groups the triangles of m into pieces that hang together by edges
// with two triangles, and finds for each triangle whether its corners must be
// reversed so that the triangles of a piece agree on which side is which. In a
// piece that has no two sides the first way found stands.
func patches(m *Mesh, across [][3]int32) (patch []int32, flip []bool, count int) {
	patch = make([]int32, len(m.Triangles))
	for t := range patch {
		patch[t] = -1
	}
	flip = make([]bool, len(m.Triangles))
	var queue []int32
	for first := range m.Triangles {
		if patch[first] >= 0 {
			continue
		}
		patch[first] = int32(count)
		queue = append(queue[:0], int32(first))
		for len(queue) > 0 {
			t := queue[len(queue)-1]
			queue = queue[:len(queue)-1]
			tri := m.Triangles[t]
			for c, u := range across[t] {
				if u < 0 || patch[u] >= 0 {
					continue
				}
				// Two triangles agree if they run through their edge in
				// opposite directions.
				same := runs(m.Triangles[u], tri[c], tri[(c+1)%3])
				flip[u] = flip[t] != same
				patch[u] = int32(count)
				queue = append(queue, u)
			}
		}
		count++
	}
	return patch, flip, count
}

// runs tells whether tri runs from a to b.
func runs(tri [3]int32, a, b int32) bool {
	return tri[0] == a && tri[1] == b || tri[1] == a && tri[2] == b || tri[2] == a && tri[0] == b
}

// vertexGraph lists for every vertex the vertices it shares an edge with:
// list[start[v]:start[v+1]], rising. A neighbour w across a rim, an edge that
// one triangle uses, is stored as ^w.
type vertexGraph struct {
	start []int32
	list  []int32
}

func newVertexGraph(m *Mesh, workers int) *vertexGraph {
	n := len(m.Vertices)
	start := make([]int32, n+2)
	for _, tri := range m.Triangles {
		for _, v := range tri {
			start[v+2] += 2
		}
	}
	for v := 2; v < len(start); v++ {
		start[v] += start[v-1]
	}
	all := make([]int32, 6*len(m.Triangles))
	for _, tri := range m.Triangles {
		for c, v := range tri {
			s := &start[v+1]
			all[*s], all[*s+1] = tri[(c+1)%3], tri[(c+2)%3]
			*s += 2
		}
	}
	// Sort each list, and leave each neighbour once at its front.
	length := make([]int32, n)
	spread(workers, n, 1<<14, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			l := all[start[v]:start[v+1]]
			slices.Sort(l)
			kept := 0
			for i := 0; i < len(l); {
				j := i + 1
				for j < len(l) && l[j] == l[i] {
					j++
				}
				w := l[i]
				if j == i+1 {
					w = ^w
				}
				l[kept] = w
				kept++
				i = j
			}
			length[v] = int32(kept)
		}
	})
	g := &vertexGraph{start: make([]int32, n+1)}
	for v := range n {
		g.start[v+1] = g.start[v] + length[v]
	}
	g.list = make([]int32, g.start[n])
	for v := range n {
		copy(g.list[g.start[v]:g.start[v+1]], all[start[v]:])
	}
	return g
}

// of returns the neighbours of v; rims as ^w.
func (g *vertexGraph) of(v int32) []int32 { return g.list[g.start[v]:g.start[v+1]] }

// vertexOf undoes the mark of rims.
func vertexOf(w int32) int32 {
	if w < 0 {
		return ^w
	}
	return w
}

// medianEdge returns the median length of m's edges, mm, from at most about
// 20,000 triangles spread over the mesh; 0 for a mesh without triangles.
func medianEdge(m *Mesh) float64 {
	step := max(1, len(m.Triangles)/20_000)
	var lengths []float64
	for t := 0; t < len(m.Triangles); t += step {
		a, b, c := m.Corners(t)
		lengths = append(lengths, b.Sub(a).Norm(), c.Sub(b).Norm(), a.Sub(c).Norm())
	}
	return quantile(lengths, 0.5)
}

// quantile sorts values and returns the one at share q of them; 0 if there are
// none.
func quantile(values []float64, q float64) float64 {
	if len(values) == 0 {
		return 0
	}
	slices.Sort(values)
	return values[min(int(q*float64(len(values))), len(values)-1)]
}

// directions returns n unit vectors spread evenly over the sphere: points on a
// spiral whose turns advance by the golden angle.
func directions(n int) []r3.Vector {
	golden := math.Pi * (3 - math.Sqrt(5))
	d := make([]r3.Vector, n)
	for i := range d {
		z := 1 - (2*float64(i)+1)/float64(n)
		r := math.Sqrt(1 - z*z)
		sin, cos := math.Sincos(golden * float64(i))
		d[i] = r3.Vector{X: r * cos, Y: r * sin, Z: z}
	}
	return d
}
