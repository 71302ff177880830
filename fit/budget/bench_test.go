package budget

import (
	"context"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// demoCage is the demo's job fitted to its invented coupe.
func demoCage(t testing.TB, thousands int) (*fit.Cage, *mesh.Shell) {
	t.Helper()
	data, err := os.ReadFile("../../cmd/barwright/demo.toml")
	require.NoError(t, err)
	j, err := job.Parse("demo.toml", data)
	require.NoError(t, err)
	m := sample.NewCoupe(sample.CoupeOptions{Triangles: 1000 * thousands}).Mesh
	sh, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: fit.Seeds(j, m.Bounds())})
	require.NoError(t, err)
	c, err := fit.Fit(context.Background(), j, sh, fit.Options{})
	require.NoError(t, err)
	return c, sh
}

// BenchmarkWork works out 20 bent bars with 1000 draws each on one core: the
// demo's six, under new names as often as it takes.
func BenchmarkWork(b *testing.B) {
	for _, k := range []int{50, 200, 1000} {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			c, sh := demoCage(b, k)
			var bent []*fit.Bar
			for _, bar := range c.Bars {
				if len(bar.Table.Bends) > 0 {
					bent = append(bent, bar)
				}
			}
			many := &fit.Cage{}
			for i := range 20 {
				bar := *bent[i%len(bent)]
				bar.Name = fmt.Sprint(bar.Name, i)
				many.Bars = append(many.Bars, &bar)
			}
			b.ReportAllocs()
			for b.Loop() {
				require.NoError(b, Work(context.Background(), many, sh, Tolerances{}, 1))
			}
			b.ReportMetric(1e3*b.Elapsed().Seconds()/float64(b.N)/float64(len(many.Bars)), "ms/bar")
		})
	}
}
