package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/mesh"
	"barwright/mesh/sample"
)

// sheetOf returns m's triangles that are not caps of s.
func sheetOf(s *mesh.Shell) *mesh.Mesh {
	n := 0
	for n < len(s.Used.Triangles) && !s.IsCap(int32(n)) {
		n++
	}
	return &mesh.Mesh{Vertices: s.Used.Vertices, Triangles: s.Used.Triangles[:n]}
}

func TestReducedShell(t *testing.T) {
	c := sample.NewCoupe(sample.CoupeOptions{Triangles: 40_000})
	for _, k := range []struct {
		name  string
		dirt  sample.Dirt
		bound float64
	}{
		{"dirty", sample.Dirt{Sigma: 0.1, Spikes: 20, Islands: 6, Holes: 4, DropWindows: true, Seed: 3}, 0.7},
		{"noisy", sample.Dirt{Sigma: 0.5, Spikes: 10, Seed: 4}, 3},
	} {
		t.Run(k.name, func(t *testing.T) {
			scan := c.Scan(k.dirt)
			opt := mesh.PrepareOptions{Seeds: []r3.Vector{c.Centre}}
			plain, err := mesh.Prepare(context.Background(), scan, opt)
			require.NoError(t, err)
			require.Same(t, plain, plain.Full())
			require.Zero(t, plain.ReducedBy)
			opt.Reduce = k.bound
			s, err := mesh.Prepare(context.Background(), scan, opt)
			require.NoError(t, err)
			full := s.Full()

			// Judged on the scan, not on what is left of it.
			require.Equal(t, plain.Noise, s.Noise)
			require.Equal(t, plain.Suspects, s.Suspects)
			require.Equal(t, sheetOf(plain).Triangles, sheetOf(full).Triangles)
			require.Same(t, scan, s.Raw)
			require.Less(t, float64(len(s.Used.Triangles)), 0.7*float64(len(plain.Used.Triangles)))

			require.Positive(t, s.ReducedBy)
			require.LessOrEqual(t, s.ReducedBy, k.bound)
			require.LessOrEqual(t, farthest(sheetOf(s), sheetOf(full), 20_000, 1), s.ReducedBy+1e-9)
			require.LessOrEqual(t, farthest(sheetOf(full), sheetOf(s), 20_000, 2), s.ReducedBy+1e-9)
			require.Equal(t, len(s.Caps), len(plain.Caps))
			caps := len(s.Used.Triangles) - len(sheetOf(s).Triangles)
			require.Equal(t, caps, len(full.Used.Triangles)-len(sheetOf(full).Triangles), "the same caps")
			require.True(t, slices.ContainsFunc(s.Notes, func(n string) bool { return strings.HasPrefix(n, "fitted to ") }), s.Notes)
			require.InDelta(t, plain.Open, s.Open, 0.02)

			require.Equal(t, k.dirt.Sigma > 0.25, s.Smooth != nil)
			if s.Smooth != nil {
				require.Equal(t, s.Used.Triangles, s.Smooth.Triangles)
				clean := mesh.NewIndex(c.Mesh)
				var raw, smooth float64
				for i := range s.Used.Vertices {
					raw += math.Pow(clean.Closest(s.Used.Vertices[i]).Distance, 2)
					smooth += math.Pow(clean.Closest(s.Smooth.Vertices[i]).Distance, 2)
				}
				require.Less(t, smooth, raw)
			}

			// What a fit or a certificate asks, at places all over the cabin.
			r := rand.New(rand.NewPCG(1, 1))
			box := full.Used.Bounds()
			size := box.Size()
			inside := 0
			for range 4_000 {
				p := box.Min.Add(r3.Vector{X: r.Float64() * size.X, Y: r.Float64() * size.Y, Z: r.Float64() * size.Z})
				d := s.CertIndex().Closest(p).Distance
				require.InDelta(t, d, s.Index.Closest(p).Distance, s.ReducedBy+1e-9)
				if d > 2*k.bound {
					require.Equal(t, s.Inside(p), full.Inside(p), "%v", p)
				}
				if full.Inside(p) {
					inside++
				}
			}
			require.Greater(t, inside, 1000)
			t.Logf("%d to %d triangles, %.3f mm, open %.3f (%.3f not reduced), %d caps", len(full.Used.Triangles), len(s.Used.Triangles), s.ReducedBy, s.Open, plain.Open, len(s.Caps))
		})
	}
}

// Noise that the bound has no room for is not cut away, but left in.
func TestNoiseOverTheBoundIsNotReduced(t *testing.T) {
	c := sample.NewCoupe(sample.CoupeOptions{Triangles: 10_000})
	for sigma, bound := range map[float64]float64{1.5: 0.5, 0.5: 0.55} {
		s, err := mesh.Prepare(context.Background(), c.Scan(sample.Dirt{Sigma: sigma, Seed: 1}), mesh.PrepareOptions{Seeds: []r3.Vector{c.Centre}, Reduce: bound})
		require.NoError(t, err)
		require.Zero(t, s.ReducedBy)
		require.Same(t, s, s.Full())
		require.Len(t, s.Used.Triangles, len(s.Raw.Triangles))
		require.True(t, slices.ContainsFunc(s.Notes, func(n string) bool { return strings.HasPrefix(n, "not reduced: ") }), s.Notes)
	}
}

func TestKeepAndDrop(t *testing.T) {
	c := sample.NewCoupe(sample.CoupeOptions{Edge: 30})
	scan := c.Scan(sample.Dirt{Spikes: 12, Islands: 8, Seed: 5})
	shell := func(o mesh.PrepareOptions) *mesh.Shell {
		o.Seeds = []r3.Vector{c.Centre}
		s, err := mesh.Prepare(context.Background(), scan, o)
		require.NoError(t, err)
		return s
	}
	normal := shell(mesh.PrepareOptions{})
	keep := shell(mesh.PrepareOptions{KeepIslands: true})
	require.Len(t, keep.Used.Triangles, len(scan.Triangles))
	require.NotEqual(t, scan.Vertices, keep.Used.Vertices, "spikes are levelled")
	require.Equal(t, len(normal.Suspects), len(keep.Suspects))
	var kept int
	for i, x := range keep.Suspects {
		require.Equal(t, x.Kind == mesh.Island, x.Kept)
		require.False(t, normal.Suspects[i].Kept)
		if x.Kept {
			kept++
			tri := x.Triangles[0]
			p, q, r := scan.Corners(int(tri))
			require.InDelta(t, 0, keep.Index.Closest(p.Add(q).Add(r).Mul(1./3)).Distance, 1e-9)
		}
	}
	require.Equal(t, 8, kept)

	// A box of 146 mm across, loose in the air.
	scan = join(scan, shifted(sample.Box(100, 80, 70, 30).Mesh, r3.Vector{X: 300, Z: 500}))
	count := func(s *mesh.Shell, kind string) (n int) {
		for _, x := range s.Suspects {
			if x.Kind == kind {
				n++
			}
		}
		return n
	}
	normal = shell(mesh.PrepareOptions{})
	hard := shell(mesh.PrepareOptions{Drop: mesh.DropHard})
	require.Equal(t, 8, count(normal, mesh.Island))
	require.Equal(t, 9, count(hard, mesh.Island))
	require.GreaterOrEqual(t, count(hard, mesh.Spike), count(normal, mesh.Spike))

	low := sample.Box(600, 500, 400, 20).Mesh
	at := low.Bounds()
	v := slices.IndexFunc(low.Vertices, func(p r3.Vector) bool {
		return p.Z == at.Min.Z && math.Abs(p.X) < 30 && math.Abs(p.Y) < 30
	})
	require.GreaterOrEqual(t, v, 0)
	low.Vertices[v].Z += 5
	mid := at.Min.Add(at.Max).Mul(0.5)
	for drop, want := range map[mesh.Hardness]int{mesh.DropNormal: 0, mesh.DropHard: 0} {
		s, err := mesh.Prepare(context.Background(), low, mesh.PrepareOptions{Seeds: []r3.Vector{mid}, Drop: drop})
		require.NoError(t, err)
		require.Len(t, s.Suspects, want, "5 mm over a foot of 20 mm is no spike")
	}
	low.Vertices[v].Z += 4 // 9 mm: steep enough for hard only
	for drop, want := range map[mesh.Hardness]int{mesh.DropNormal: 0, mesh.DropHard: 1} {
		s, err := mesh.Prepare(context.Background(), low, mesh.PrepareOptions{Seeds: []r3.Vector{mid}, Drop: drop})
		require.NoError(t, err)
		require.Len(t, s.Suspects, want)
	}
}

// Open against the sample's own account of its panes: the share of directions
// that go out through one.
func TestOpenShare(t *testing.T) {
	c := sample.NewCoupe(sample.CoupeOptions{Triangles: 20_000})
	ix := mesh.NewIndex(c.Mesh)
	r := rand.New(rand.NewPCG(5, 5))
	panes, n := 0, 20_000
	for range n {
		dir := r3.Vector{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Normalize()
		h, ok := ix.Ray(c.Centre, dir, math.Inf(1))
		require.True(t, ok)
		if c.Pane[h.Triangle] != 0 {
			panes++
		}
	}
	want := float64(panes) / float64(n)
	require.Greater(t, want, 0.1)
	s := prepare(t, c.Scan(sample.Dirt{DropWindows: true}), c.Centre)
	require.InDelta(t, want, s.Open, 0.02)
	require.Zero(t, prepare(t, c.Mesh, c.Centre).Open)
}

func TestBadPrepareOptions(t *testing.T) {
	seeds := []r3.Vector{{}}
	for want, o := range map[string]mesh.PrepareOptions{
		"distance -1 mm of the reduced scan is not a length":  {Seeds: seeds, Reduce: -1},
		"distance NaN mm of the reduced scan is not a length": {Seeds: seeds, Reduce: math.NaN()},
		"unknown hardness 7": {Seeds: seeds, Drop: 7},
	} {
		require.EqualError(t, o.Validate(), want)
	}
}
