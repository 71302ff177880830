package mesh_test

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/mesh"
	"barwright/mesh/sample"
)

// BenchmarkPipeline takes a dirty binary STL file from its bytes to a shell:
// read, weld, clean, reduce to within 0.5 mm, tell inside from outside, cap, index. The
// file's bytes are in memory and not counted. near-linear: compare the ns/triangle.
func BenchmarkPipeline(b *testing.B) {
	for _, n := range []int{200_000, 1_000_000, 5_000_000} {
		for _, reduce := range []float64{0, 0.5} {
			b.Run(fmt.Sprintf("%dk/reduce=%v", n/1000, reduce), func(b *testing.B) {
				c := sample.NewCoupe(sample.CoupeOptions{Triangles: n})
				centre := c.Centre
				scan := c.Scan(sample.Dirt{Sigma: 0.1, Spikes: 40, Islands: 12, Holes: 12, FlipShare: 0.5, Seed: 1})
				c = nil
				var file bytes.Buffer
				file.Grow(84 + 50*len(scan.Triangles))
				require.NoError(b, mesh.WriteSTL(&file, "coupe", scan))
				triangles := float64(len(scan.Triangles))
				scan = nil
				runtime.GC()
				var s *mesh.Shell
				for b.Loop() {
					m, _, err := mesh.Read(bytes.NewReader(file.Bytes()), mesh.ReadOptions{Unit: mesh.Millimetre})
					require.NoError(b, err)
					s, err = mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: []r3.Vector{centre}, Reduce: reduce})
					require.NoError(b, err)
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/triangles, "ns/triangle")
				b.ReportMetric(float64(len(s.Used.Triangles))/triangles, "left")
			})
		}
	}
}
