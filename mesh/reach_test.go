package mesh

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
)

// The transform against all pairs.
func TestNearestVoxelIsExact(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 7))
		g := voxels{n: [3]int32{3 + r.Int32N(9), 3 + r.Int32N(9), 3 + r.Int32N(9)}}
		b := newBitset(g.count())
		var set [][3]int32
		for v := range int32(g.count()) {
			if r.IntN(1+int(seed)*4) == 0 {
				b.set(v)
				set = append(set, g.cell(v))
			}
		}
		near := g.nearest(b, 1+int(seed%4))
		for v := range int32(g.count()) {
			if len(set) == 0 {
				require.EqualValues(t, -1, near[v])
				continue
			}
			require.True(t, b.has(near[v]))
			best := math.Inf(1)
			for _, c := range set {
				best = min(best, g.centre(c).Sub(g.centre(g.cell(v))).Norm())
			}
			require.InDelta(t, best, g.centre(g.cell(near[v])).Sub(g.centre(g.cell(v))).Norm(), 1e-9)
		}
	}
}

// A voxel is blocked if, and only if, its centre is closer than ballSize to a
// triangle; small and large triangles, any way round.
func TestBlockedVoxels(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for _, size := range []float64{15, 80, 900} {
		m := &Mesh{}
		for i := range int32(6) {
			p := randomPoint(r, 500)
			m.Vertices = append(m.Vertices, p, p.Add(randomPoint(r, size)), p.Add(randomPoint(r, size)))
			m.Triangles = append(m.Triangles, [3]int32{3 * i, 3*i + 1, 3*i + 2})
		}
		ix := NewIndex(m)
		g := newVoxels(m.Bounds(), r3.Vector{})
		blocked := newBitset(g.count())
		g.block(blocked, m, ix, 2)
		for v := range int32(g.count()) {
			require.Equal(t, ix.Closest(g.centre(g.cell(v))).Distance < ballSize, blocked.has(v))
		}
	}
}

// The flood must not pass where the winding number is under the threshold, and
// asks it on its border.
func TestFloodStopsAtLevel(t *testing.T) {
	g := voxels{n: [3]int32{40, 20, 20}}
	f, err := g.flood(context.Background(), []int32{g.number([3]int32{5, 10, 10})}, walls(&g), func(_ int32, p r3.Vector) float64 {
		return (405 - p.X) / 800
	})
	require.NoError(t, err)
	require.EqualValues(t, -1, f.leak)
	require.NotEmpty(t, f.border)
	for _, v := range f.border {
		require.InDelta(t, 410, g.centre(g.cell(v)).X, 1e-9)
	}
	for v := range int32(g.count()) {
		c := g.cell(v)
		require.Equal(t, c[0] >= 2 && c[0] < 20 && c[1] >= 2 && c[1] < 18 && c[2] >= 2 && c[2] < 18, f.reached.has(v))
	}
}

// walls blocks two layers of voxels on all sides.
func walls(g *voxels) bitset {
	b := newBitset(g.count())
	for v := range int32(g.count()) {
		for k, x := range g.cell(v) {
			if x < 2 || x >= g.n[k]-2 {
				b.set(v)
			}
		}
	}
	return b
}
