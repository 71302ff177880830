package mesh

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// randomTangle returns n triangles between few vertices, so that edges meet in
// all ways.
func randomTangle(rng *rand.Rand, vertices, n int) *Mesh {
	m := &Mesh{}
	for range vertices {
		m.Vertices = append(m.Vertices, r3.Vector{X: rng.Float64() * 1000, Y: rng.Float64() * 1000, Z: rng.Float64() * 1000})
	}
	for len(m.Triangles) < n {
		p := rng.Perm(vertices)
		m.Triangles = append(m.Triangles, [3]int32{int32(p[0]), int32(p[1]), int32(p[2])})
	}
	return m
}

// edgesByMap counts the uses of every edge in a map.
func edgesByMap(m *Mesh, triangles []int32) map[[2]int32]int {
	uses := map[[2]int32]int{}
	for _, t := range triangles {
		for c, a := range m.Triangles[t] {
			b := m.Triangles[t][(c+1)%3]
			uses[[2]int32{min(a, b), max(a, b)}]++
		}
	}
	return uses
}

func countUses(uses map[[2]int32]int, is func(int) bool) int {
	n := 0
	for _, u := range uses {
		if is(u) {
			n++
		}
	}
	return n
}

// TestComponentsAndEdges compares pieces with a breadth-first walk over shared
// vertices, and edges with a map.
func TestComponentsAndEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		m := randomTangle(rng, rapid.IntRange(3, 60).Draw(t, "vertices"), rapid.IntRange(0, 60).Draw(t, "triangles"))

		at := map[int32][]int32{} // triangles of a vertex
		all := []int32{}
		for i, tri := range m.Triangles {
			all = append(all, int32(i))
			for _, v := range tri {
				at[v] = append(at[v], int32(i))
			}
		}
		var want []Component
		seen := make([]bool, len(m.Triangles))
		for _, first := range all {
			if seen[first] {
				continue
			}
			seen[first] = true
			queue := []int32{first}
			for i := 0; i < len(queue); i++ {
				for _, v := range m.Triangles[queue[i]] {
					for _, n := range at[v] {
						if !seen[n] {
							seen[n] = true
							queue = append(queue, n)
						}
					}
				}
			}
			slices.Sort(queue)
			c := Component{Triangles: queue}
			sub := &Mesh{Vertices: m.Vertices}
			for _, i := range queue {
				p, q, r := m.Corners(int(i))
				c.Area += q.Sub(p).Cross(r.Sub(p)).Norm() / 2
				sub.Triangles = append(sub.Triangles, m.Triangles[i])
			}
			c.Bounds = sub.Bounds()
			c.Size = c.Bounds.Size().Norm()
			c.OpenEdges = countUses(edgesByMap(m, queue), func(u int) bool { return u == 1 })
			want = append(want, c)
		}
		slices.SortStableFunc(want, func(a, b Component) int { return cmp.Compare(b.Area, a.Area) })
		got := Components(m)
		if len(want) != len(got) {
			t.Fatalf("%d pieces, want %d", len(got), len(want))
		}
		for i := range want {
			assert.Equal(t, want[i], got[i])
		}
		uses := edgesByMap(m, all)
		assert.Equal(t, countUses(uses, func(u int) bool { return u == 1 }), OpenEdges(m))
		assert.Equal(t, countUses(uses, func(u int) bool { return u > 2 }), NonManifoldEdges(m))
	})
}

// TestComponentsOfKnownShapes checks figures that follow from geometry alone.
func TestComponentsOfKnownShapes(t *testing.T) {
	m := stlBox(2000, 1000, 500)
	small := stlBox(100, 100, 100)
	for _, v := range small.Vertices {
		m.Vertices = append(m.Vertices, v.Add(r3.Vector{X: 3000}))
	}
	for _, tri := range small.Triangles[1:] { // one facet is missing
		m.Triangles = append(m.Triangles, [3]int32{tri[0] + 8, tri[1] + 8, tri[2] + 8})
	}
	pieces := Components(m)
	require.Len(t, pieces, 2)
	assert.InDelta(t, 2*(2000*1000+1000*500+500*2000), pieces[0].Area, 1e-6)
	assert.InDelta(t, math.Sqrt(2000*2000+1000*1000+500*500), pieces[0].Size, 1e-9)
	assert.Equal(t, 0, pieces[0].OpenEdges)
	assert.Len(t, pieces[0].Triangles, 12)
	assert.InDelta(t, 6*100*100-100*100/2, pieces[1].Area, 1e-6)
	assert.Equal(t, Box{r3.Vector{X: 3000}, r3.Vector{X: 3100, Y: 100, Z: 100}}, pieces[1].Bounds)
	assert.Equal(t, 3, pieces[1].OpenEdges)
	assert.Equal(t, 3, OpenEdges(m))
	assert.Equal(t, 0, NonManifoldEdges(m))

	// A fin on an edge of the box: that edge has three triangles, the fin two
	// open edges.
	m = stlBox(2000, 1000, 500)
	m.Vertices = append(m.Vertices, r3.Vector{X: 1000, Y: -100, Z: -100})
	m.Triangles = append(m.Triangles, [3]int32{0, 1, 8})
	assert.Equal(t, 1, NonManifoldEdges(m))
	assert.Equal(t, 2, OpenEdges(m))

	assert.Empty(t, Components(&Mesh{}))
	assert.Zero(t, OpenEdges(&Mesh{}))
}

// TestDropDuplicates compares with a map, on meshes with many repeats, fans
// around one vertex included.
func TestDropDuplicates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		m := randomTangle(rng, rapid.IntRange(3, 12).Draw(t, "vertices"), rapid.IntRange(0, 120).Draw(t, "triangles"))
		seen := map[[3]int32]bool{}
		var want [][3]int32
		for _, tri := range m.Triangles {
			sorted := tri
			slices.Sort(sorted[:])
			if !seen[sorted] {
				seen[sorted] = true
				want = append(want, tri)
			}
		}
		total := len(m.Triangles)
		gone := dropDuplicates(m)
		if gone != total-len(want) || !slices.Equal(want, m.Triangles) {
			t.Fatalf("%d of %d went, want %d; left %v, want %v", gone, total, total-len(want), m.Triangles, want)
		}
	})
}

// TestDegenerate: triangles without a plane go, thin ones with a plane stay.
func TestDegenerate(t *testing.T) {
	v := func(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }
	inch := 25.4
	for _, c := range []struct {
		name    string
		a, b, c r3.Vector
		want    bool
	}{
		{"proper", v(0, 0, 0), v(10, 0, 0), v(0, 10, 0), false},
		{"needle of a micrometre", v(0, 0, 0), v(2000, 0, 0), v(1000, 1e-3, 0), false},
		{"needle of a nanometre", v(0, 0, 0), v(2000, 0, 0), v(1000, 1e-6, 0), false},
		{"collinear", v(1, 2, 3), v(2, 4, 6), v(5, 10, 15), true},
		{"collinear, askew", v(0.1, 0.2, 0.3), v(0.1+0.3, 0.2+0.6, 0.3+0.9), v(0.1+0.7, 0.2+1.4, 0.3+2.1), true},
		{"collinear in inches", v(100.3*inch, 1*inch, 7*inch), v(100.6*inch, 2*inch, 7*inch), v(101.2*inch, 4*inch, 7*inch), true},
		{"there and back", v(0, 0, 0), v(10, 3, 1), v(0, 0, 0), true},
		{"a point", v(7, 7, 7), v(7, 7, 7), v(7, 7, 7), true},
	} {
		m := &Mesh{Vertices: []r3.Vector{c.a, c.b, c.c}, Triangles: [][3]int32{{0, 1, 2}}}
		assert.Equal(t, c.want, dropDegenerate(m) == 1, c.name)
	}
	m := &Mesh{Vertices: []r3.Vector{{}, {X: 1}, {Y: 1}}, Triangles: [][3]int32{{0, 1, 1}, {0, 1, 2}, {2, 1, 2}}}
	assert.Equal(t, 2, dropDegenerate(m))
	assert.Equal(t, [][3]int32{{0, 1, 2}}, m.Triangles)
}

func TestDropUnused(t *testing.T) {
	m := &Mesh{
		Vertices:  []r3.Vector{{X: 0}, {X: 1}, {X: 2}, {X: 3}, {X: 4}},
		Triangles: [][3]int32{{4, 1, 3}},
	}
	dropUnused(m)
	assert.Equal(t, []r3.Vector{{X: 1}, {X: 3}, {X: 4}}, m.Vertices)
	assert.Equal(t, [][3]int32{{2, 0, 1}}, m.Triangles)
}
