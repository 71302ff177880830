package mesh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/mesh"
	"barwright/mesh/sample"
)

// farthest returns the largest distance from random points of a (and its corners) to b.
func farthest(a, b *mesh.Mesh, points int, seed uint64) float64 {
	ix := mesh.NewIndex(b)
	r := rand.New(rand.NewPCG(seed, 1))
	var worst float64
	each := max(1, points/len(a.Triangles))
	step := max(1, len(a.Triangles)/points)
	for t := 0; t < len(a.Triangles); t += step {
		p, q, s := a.Corners(t)
		last := int32(-1)
		for i := range each + 4 {
			u, v := r.Float64(), r.Float64()
			switch i {
			case 0, 1, 2: // a corner
				u, v = [3]float64{0, 1, 0}[i], [3]float64{0, 0, 1}[i]
			case 3: // the middle of an edge
				u, v = 0.5, 0.5
			default:
				if u+v > 1 {
					u, v = 1-u, 1-v
				}
			}
			h := ix.ClosestFrom(p.Add(q.Sub(p).Mul(u)).Add(s.Sub(p).Mul(v)), last)
			last = h.Triangle
			worst = max(worst, h.Distance)
		}
	}
	return worst
}

// openEdges returns the open edges of m by the places of their ends, sorted.
func openEdges(m *mesh.Mesh) [][2]r3.Vector {
	uses := map[[2]int32]int{}
	for _, tri := range m.Triangles {
		for c := range tri {
			a, b := tri[c], tri[(c+1)%3]
			uses[[2]int32{min(a, b), max(a, b)}]++
		}
	}
	var open [][2]r3.Vector
	for e, n := range uses {
		if n == 1 {
			a, b := m.Vertices[e[0]], m.Vertices[e[1]]
			if a.Cmp(b) > 0 {
				a, b = b, a
			}
			open = append(open, [2]r3.Vector{a, b})
		}
	}
	slices.SortFunc(open, func(a, b [2]r3.Vector) int {
		if c := a[0].Cmp(b[0]); c != 0 {
			return c
		}
		return a[1].Cmp(b[1])
	})
	return open
}

func TestReduceStaysWithinItsBound(t *testing.T) {
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 60_000})
	for _, k := range []struct {
		name  string
		mesh  *mesh.Mesh
		bound float64
		share float64 // of the triangles that may be left
	}{
		{"clean", coupe.Mesh, 0.5, 0.5},
		{"clean, wide", coupe.Mesh, 5, 0.15},
		{"clean, narrow", coupe.Mesh, 0.02, 0.999},
		{"little noise, unoriented", coupe.Scan(sample.Dirt{Sigma: 0.1, FlipShare: 0.5, Holes: 8, Seed: 1}), 0.5, 0.6},
		{"dirt", coupe.Scan(sample.Dirt{Sigma: 0.5, Spikes: 30, Islands: 8, Holes: 8, DropWindows: true, Seed: 2}), 2, 0.6},
		{"noise over the bound", coupe.Scan(sample.Dirt{Sigma: 1.5, Seed: 3}), 0.5, 1},
		{"two skins", sample.Double(sample.NewCoupe(sample.CoupeOptions{Triangles: 30_000}).Mesh, 3), 2, 0.5},
		{"flat walls", sample.Box(2000, 1200, 1000, 20).Mesh, 0.01, 0.05},
		{"round", sample.HalfCylinder(600, 2000, 10).Mesh, 0.5, 0.3},
	} {
		t.Run(k.name, func(t *testing.T) {
			before := len(k.mesh.Triangles)
			kept := slices.Clone(k.mesh.Triangles)
			got, rep, err := mesh.Reduce(k.mesh, k.bound, 0)
			require.NoError(t, err)
			require.Equal(t, kept, k.mesh.Triangles, "the mesh given was changed")
			require.Equal(t, before, rep.From)
			require.Equal(t, len(got.Triangles), rep.To)
			require.LessOrEqual(t, float64(rep.To), k.share*float64(rep.From))
			require.LessOrEqual(t, rep.Worst, k.bound)
			require.Len(t, rep.Kept, len(got.Vertices))
			for i, v := range rep.Kept {
				require.Equal(t, k.mesh.Vertices[v], got.Vertices[i])
			}
			out := farthest(got, k.mesh, 100_000, 1)
			back := farthest(k.mesh, got, 100_000, 2)
			require.LessOrEqual(t, out, rep.Worst+1e-9, "reduced to full")
			require.LessOrEqual(t, back, rep.Worst+1e-9, "full to reduced")
			t.Logf("%d to %d triangles; proven %.3f mm, sampled %.3f and %.3f mm; %d vertices fixed", rep.From, rep.To, rep.Worst, out, back, rep.Fixed)

			// The surface hangs together as before: same rims, same pieces.
			require.Equal(t, openEdges(k.mesh), openEdges(got))
			require.Equal(t, mesh.NonManifoldEdges(k.mesh), mesh.NonManifoldEdges(got))
			require.Len(t, mesh.Components(got), len(mesh.Components(k.mesh)))
			// Euler's number, vertices - edges + triangles, tells handles and folds.
			require.Equal(t, euler(k.mesh), euler(got))
		})
	}
}

// euler returns vertices in use - edges + triangles.
func euler(m *mesh.Mesh) int {
	vertices := map[int32]bool{}
	edges := map[[2]int32]bool{}
	for _, tri := range m.Triangles {
		for c := range tri {
			a, b := tri[c], tri[(c+1)%3]
			vertices[a] = true
			edges[[2]int32{min(a, b), max(a, b)}] = true
		}
	}
	return len(vertices) - len(edges) + len(m.Triangles)
}

// Pipes thinner than the bound: what keeps them pipes is that no edge may come
// to be there twice.
func TestReduceKeepsThinPipes(t *testing.T) {
	for _, sides := range []int{3, 4, 5} {
		m := &mesh.Mesh{}
		const rings = 60
		for i := range rings {
			for k := range sides {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(sides))
				m.Vertices = append(m.Vertices, r3.Vector{X: float64(i), Y: cos, Z: sin})
			}
		}
		at := func(i, k int) int32 { return int32(i*sides + k%sides) }
		for i := range rings - 1 {
			for k := range sides {
				a, b, c, d := at(i, k), at(i, k+1), at(i+1, k), at(i+1, k+1)
				m.Triangles = append(m.Triangles, [3]int32{a, b, c}, [3]int32{c, b, d})
			}
		}
		got, rep, err := mesh.Reduce(m, 20, 0)
		require.NoError(t, err)
		require.Less(t, rep.To, rep.From)
		require.Equal(t, openEdges(m), openEdges(got))
		require.Zero(t, mesh.NonManifoldEdges(got))
		require.Equal(t, euler(m), euler(got))
		t.Logf("%d sides: %d to %d", sides, rep.From, rep.To)
	}
}

// A sphere of radius R, reduced: chords of a sphere that stay within a distance
// d of it are at most sqrt(8 R d) long (the sagitta of a chord, elementary
// geometry), so that fewer triangles than the area over that of the largest
// triangle in a circle of half that width can't do. The volume inside changes by
// no more than area times bound.
func TestReduceSphere(t *testing.T) {
	const radius, bound = 500.0, 0.5
	m := ball(radius, 120)
	got, rep, err := mesh.Reduce(m, bound, 0)
	require.NoError(t, err)
	for _, tri := range got.Triangles {
		a, b, c := got.Vertices[tri[0]], got.Vertices[tri[1]], got.Vertices[tri[2]]
		n := b.Sub(a).Cross(c.Sub(a))
		require.Positive(t, n.Dot(a.Add(b).Add(c)), "turned inside out")
		require.GreaterOrEqual(t, a.Add(b).Add(c).Norm()/3, radius-bound-0.1, "0.1 mm: the ball's own facets")
	}
	area := 4 * math.Pi * radius * radius
	circle := 2 * radius * (bound + 0.1) // squared radius of the widest circle at that depth, rounded up
	least := area / (3 * math.Sqrt(3) / 4 * circle)
	require.Greater(t, float64(rep.To), least)
	require.Less(t, float64(rep.To), 12*least)
	require.Less(t, math.Abs(volumeOf(got)-volumeOf(m)), area*bound)
	t.Logf("%d to %d triangles, at least %.0f", rep.From, rep.To, least)
}

func volumeOf(m *mesh.Mesh) float64 {
	var v float64
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		v += a.Dot(b.Cross(c)) / 6
	}
	return v
}

// ball returns a sphere about 0 of n rings, its triangles facing out.
func ball(radius float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{Vertices: []r3.Vector{{Z: radius}, {Z: -radius}}}
	at := func(ring, i int) int32 {
		if ring == 0 {
			return 0
		}
		if ring == n {
			return 1
		}
		return int32(2 + (ring-1)*2*n + i%(2*n))
	}
	for ring := 1; ring < n; ring++ {
		for i := range 2 * n {
			sin, cos := math.Sincos(math.Pi * float64(ring) / float64(n))
			s, c := math.Sincos(math.Pi * float64(i) / float64(n))
			m.Vertices = append(m.Vertices, r3.Vector{X: radius * sin * c, Y: radius * sin * s, Z: radius * cos})
		}
	}
	for ring := range n {
		for i := range 2 * n {
			a, b, c, d := at(ring, i), at(ring, i+1), at(ring+1, i), at(ring+1, i+1)
			if a != b {
				m.Triangles = append(m.Triangles, [3]int32{a, c, b})
			}
			if c != d {
				m.Triangles = append(m.Triangles, [3]int32{b, c, d})
			}
		}
	}
	return m
}

func TestReduceSameForAnyNumberOfWorkers(t *testing.T) {
	m := sample.NewCoupe(sample.CoupeOptions{Triangles: 120_000}).Scan(sample.Dirt{Sigma: 0.1, Holes: 5, Seed: 4})
	first, firstRep, err := mesh.Reduce(m, 0.5, 1)
	require.NoError(t, err)
	for _, workers := range []int{2, 5} {
		got, rep, err := mesh.Reduce(m, 0.5, workers)
		require.NoError(t, err)
		require.Equal(t, firstRep, rep)
		require.Equal(t, first, got)
	}
}

// Any bag of triangles on a few points, flat or not, with edges of many
// triangles and triangles that lie on each other: the bound holds.
func TestReduceAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.IntRange(3, 9).Draw(t, "side")
		m := &mesh.Mesh{}
		height := rapid.Float64Range(0, 3)
		for y := range side {
			for x := range side {
				m.Vertices = append(m.Vertices, r3.Vector{X: float64(x), Y: float64(y), Z: height.Draw(t, "z")})
			}
		}
		for y := range side - 1 {
			for x := range side - 1 {
				a := int32(y*side + x)
				b, c, d := a+1, a+int32(side), a+int32(side)+1
				m.Triangles = append(m.Triangles, [3]int32{a, b, c}, [3]int32{c, b, d})
			}
		}
		corner := rapid.Int32Range(0, int32(side*side-1))
		for range rapid.IntRange(0, 4).Draw(t, "strays") {
			m.Triangles = append(m.Triangles, [3]int32{corner.Draw(t, "a"), corner.Draw(t, "b"), corner.Draw(t, "c")})
		}
		bound := rapid.Float64Range(0.01, 3).Draw(t, "bound")
		got, rep, err := mesh.Reduce(m, bound, 1)
		if err != nil {
			t.Fatal(err)
		}
		if rep.Worst > bound {
			t.Fatalf("proven %v, over %v", rep.Worst, bound)
		}
		if d := max(farthest(got, m, 2000, 1), farthest(m, got, 2000, 2)); d > rep.Worst+1e-9 {
			t.Fatalf("%v mm away, proven %v", d, rep.Worst)
		}
	})
}

func TestReduceBadInput(t *testing.T) {
	m := sample.Box(100, 100, 100, 20).Mesh
	for _, bound := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, _, err := mesh.Reduce(m, bound, 0)
		require.ErrorContains(t, err, "is not a length")
	}
	got, rep, err := mesh.Reduce(&mesh.Mesh{}, 1, 0)
	require.NoError(t, err)
	require.Empty(t, got.Triangles)
	require.Zero(t, rep.To)
	odd := &mesh.Mesh{
		Vertices:  []r3.Vector{{}, {X: 1}, {Y: math.NaN()}, {Z: math.Inf(1)}, {X: 1e300}, {X: 2}, {X: 3}},
		Triangles: [][3]int32{{0, 1, 2}, {0, 2, 3}, {0, 3, 1}, {0, 4, 1}, {0, 0, 0}, {0, 1, 5}, {1, 5, 6}},
	}
	got, _, err = mesh.Reduce(odd, 1, 0)
	require.NoError(t, err)
	require.Len(t, got.Triangles, len(odd.Triangles))
}

func ExampleReduce() {
	room := sample.HalfCylinder(600, 2000, 20).Mesh
	less, rep, err := mesh.Reduce(room, 1, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("fewer than a tenth of the triangles: %v\n", 10*len(less.Triangles) < len(room.Triangles))
	fmt.Printf("within 1 mm: %v\n", rep.Worst <= 1)
	// Output:
	// fewer than a tenth of the triangles: true
	// within 1 mm: true
}

func BenchmarkReduce(b *testing.B) {
	for _, n := range []int{200_000, 1_000_000, 5_000_000} {
		for _, sigma := range []float64{0, 0.1, 1.5} {
			b.Run(fmt.Sprintf("%dk/sigma=%v", n/1000, sigma), func(b *testing.B) {
				m := sample.NewCoupe(sample.CoupeOptions{Triangles: n}).Scan(sample.Dirt{Sigma: sigma})
				var rep *mesh.Reduction
				for b.Loop() {
					_, rep, _ = mesh.Reduce(m, 0.5, 0)
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(rep.From), "ns/triangle")
				b.ReportMetric(float64(rep.To)/float64(rep.From), "left")
			})
		}
	}
}
