package mesh

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func bruteRay(ix *Index, o, dir r3.Vector, tmax float64) (RayHit, bool) {
	best := RayHit{T: tmax, Triangle: -1}
	r, ok := newRay(o, dir)
	if !ok {
		return best, false
	}
	for i := range ix.mesh.Triangles {
		h, hit := r.meet(ix.mesh, int32(i))
		if hit && (h.T < best.T || h.T == best.T && best.Triangle < 0) {
			best = h
		}
	}
	return best, best.Triangle >= 0
}

func TestRayAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t)
		ix := NewIndex(m)
		o := drawQuery(t, m)
		dir := drawQuery(t, m).Sub(o).Mul(math.Pow(10, rapid.Float64Range(-5, 5).Draw(t, "length")))
		if rapid.Bool().Draw(t, "along an axis") {
			dir = []r3.Vector{{X: 1}, {Y: -1}, {Z: 2}}[rapid.IntRange(0, 2).Draw(t, "axis")]
		}
		tmax := math.Inf(1)
		want, ok := bruteRay(ix, o, dir, tmax)
		if h, hit := ix.Ray(o, dir, tmax); hit != ok || hit && h != want {
			t.Fatalf("%v %v: got %v, want %v", o, dir, h, want)
		}
		if h, hit := newLeanIndex(m).Ray(o, dir, tmax); hit != ok || hit && h != want {
			t.Fatalf("lean: got %v, want %v", h, want)
		}
		count := map[int32]bool{}
		ix.RayAll(o, dir, tmax, func(h RayHit) bool { count[h.Triangle] = true; return true })
		r, valid := newRay(o, dir)
		for i := range m.Triangles {
			if _, hit := r.meet(m, int32(i)); hit && valid != count[int32(i)] {
				t.Fatalf("triangle %d: hit %v, visited %v", i, hit, count[int32(i)])
			}
		}
		if ok && want.T > 0 {
			if h, hit := ix.Ray(o, dir, want.T); !hit || h != want {
				t.Fatalf("tmax is part of the ray: %v", h)
			}
			if h, hit := ix.Ray(o, dir, math.Nextafter(want.T, 0)); hit {
				t.Fatalf("a hit beyond tmax: %v", h)
			}
		}
	})
}

// TestRayIsWatertight aims at vertices, edges and anywhere from the inside of
// closed shells: every ray must hit.
func TestRayIsWatertight(t *testing.T) {
	count := 60_000
	if full {
		count = 10_000_000
	}
	for _, n := range []int{300, 60000} {
		m := wavyShell(n, true)
		ix := NewIndex(m)
		rng := rand.New(rand.NewPCG(3, 4))
		o := m.Bounds().Min.Add(m.Bounds().Max).Mul(0.5)
		for i := range count / 2 {
			at := o.Add(r3.Vector{X: rng.Float64() - 0.5, Y: rng.Float64() - 0.5, Z: rng.Float64() - 0.5}.Mul(200))
			a, b, c := m.Corners(rng.IntN(len(m.Triangles)))
			target := a
			switch i % 3 {
			case 1:
				target = a.Add(b.Sub(a).Mul(rng.Float64()))
			case 2:
				target = b.Add(c.Sub(b).Mul(0.5))
			}
			h, ok := ix.Ray(at, target.Sub(at), math.Inf(1))
			require.True(t, ok, "ray %d from %v to %v slipped through", i, at, target)
			// On a convex-enough shell it hits just there.
			require.InDelta(t, 1, h.T, 0.02, "ray %d", i)
		}
	}
}

// TestRayParallelToAxes: rays in grid planes of a cube meet edges end on.
func TestRayParallelToAxes(t *testing.T) {
	m := &Mesh{}
	for i := range 8 {
		m.Vertices = append(m.Vertices, r3.Vector{X: float64(i & 1), Y: float64(i >> 1 & 1), Z: float64(i >> 2)})
	}
	m.Triangles = [][3]int32{
		{0, 1, 3}, {0, 3, 2}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4},
		{2, 3, 7}, {2, 7, 6}, {0, 2, 6}, {0, 6, 4}, {1, 3, 7}, {1, 7, 5},
	}
	ix := NewIndex(m)
	for _, y := range []float64{0, 0.25, 0.5, 1} {
		for _, z := range []float64{0, 0.25, 0.5, 1} {
			h, ok := ix.Ray(r3.Vector{X: -1, Y: y, Z: z}, r3.Vector{X: 2}, math.Inf(1))
			require.True(t, ok, "%v %v", y, z)
			require.Equal(t, 0.5, h.T)
			h, ok = ix.Ray(r3.Vector{X: 0.5, Y: y, Z: z}, r3.Vector{X: -2}, math.Inf(1))
			require.True(t, ok, "%v %v", y, z)
			require.Equal(t, 0.25, h.T)
			_, ok = ix.Ray(r3.Vector{X: -1, Y: y, Z: z}, r3.Vector{X: -2}, math.Inf(1))
			require.False(t, ok)
			_, ok = ix.Ray(r3.Vector{X: -1, Y: y, Z: z}, r3.Vector{X: 2}, 0.4999)
			require.False(t, ok)
		}
	}
}
