//go:build embree

package mesh

import (
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"barwright/mesh/internal/embree"
)

// TestAgainstEmbree sets the index beside Embree: the same mesh, the same
// queries, one process, one thread, processor time, a few hundred queries of
// the one and of the other in turn so that a busy machine slows both alike.
// It checks that the answers agree and logs the ratios; larger is better.
//
//	apt-get install libembree-dev     # Debian 12: 3.13
//	go test -tags embree -run AgainstEmbree -v ./mesh
//
// BARWRIGHT_FULL=1 adds 5 million triangles.
func TestAgainstEmbree(t *testing.T) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	sizes := []int{200_000, 1_000_000}
	if full {
		sizes = append(sizes, 5_000_000)
	}
	for _, n := range sizes {
		for _, turned := range []bool{false, true} {
			name := sizeName(n)
			if turned {
				name += " turned"
			}
			compareWithEmbree(t, name, benchFor(n, turned))
			clear(benchCache)
			runtime.GC()
		}
	}
}

func compareWithEmbree(t *testing.T, name string, d *bench) {
	var vertices []float32
	for _, v := range d.mesh.Vertices {
		vertices = append(vertices, float32(v.X), float32(v.Y), float32(v.Z))
	}
	var triangles []uint32
	for _, tri := range d.mesh.Triangles {
		triangles = append(triangles, uint32(tri[0]), uint32(tri[1]), uint32(tri[2]))
	}
	start := embree.CPU()
	scene := embree.New(vertices, triangles)
	defer scene.Close()
	build := embree.CPU() - start
	t.Logf("%-14s Embree's build %.2f s", name, build)

	const batch = 500
	tri, dist := make([]int32, batch), make([]float32, batch)
	run := func(kind string, n int, ours, theirs func(from, to int)) {
		var ourTime, theirTime float64
		for pass := range 2 { // the first warms up
			ourTime, theirTime = 0, 0
			for from := 0; from+batch <= n; from += batch {
				a := embree.CPU()
				theirs(from, from+batch)
				b := embree.CPU()
				ours(from, from+batch)
				c := embree.CPU()
				theirTime += b - a
				ourTime += c - b
			}
			_ = pass
		}
		t.Logf("%-14s %-14s ours %7.0f k/s  Embree %7.0f k/s  ratio %.2f",
			name, kind, float64(n)/ourTime/1e3, float64(n)/theirTime/1e3, theirTime/ourTime)
	}
	for _, kind := range []string{"coherent", "coherent-warm", "scattered"} {
		points := d.coherent
		if kind == "scattered" {
			points = d.scattered
		}
		warm := kind == "coherent-warm"
		flat := make([]float32, 0, 3*len(points))
		for _, p := range points {
			flat = append(flat, float32(p.X), float32(p.Y), float32(p.Z))
		}
		ours := make([]Hit, batch)
		run(kind, len(points), func(from, to int) {
			last := int32(-1)
			for i, p := range points[from:to] {
				if warm {
					ours[i] = d.index.ClosestFrom(p, last)
					last = ours[i].Triangle
				} else {
					ours[i] = d.index.Closest(p)
				}
			}
			for i, h := range ours {
				// Embree works in float32 throughout: a few ulps of 2 m.
				if math.Abs(h.Distance-float64(dist[i])) > 2e-3 {
					t.Fatalf("%s: point %d: ours %v, Embree's %v", kind, from+i, h.Distance, dist[i])
				}
			}
		}, func(from, to int) {
			scene.Closest(flat[3*from:3*to], warm, tri, dist)
		})
	}
	flat := make([]float32, 0, 6*len(d.rays))
	for _, r := range d.rays {
		flat = append(flat, float32(r[0].X), float32(r[0].Y), float32(r[0].Z), float32(r[1].X), float32(r[1].Y), float32(r[1].Z))
	}
	missed := 0
	run("ray", len(d.rays), func(from, to int) {
		for i, r := range d.rays[from:to] {
			h, ok := d.index.Ray(r[0], r[1], math.Inf(1))
			if !ok || math.Abs(h.T-float64(dist[i])) > 0.05 {
				missed++
			}
		}
	}, func(from, to int) {
		scene.Rays(flat[6*from:6*to], tri, dist)
	})
	// Grazing rays may differ by float32's rounding of origin and direction.
	require.Less(t, missed, len(d.rays)/1000, "rays that differ")
}
