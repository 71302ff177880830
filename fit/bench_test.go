package fit_test

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

// demoJob is the demo's job; its scan is made by mesh/sample.
func demoJob(t testing.TB) *job.Job {
	t.Helper()
	data, err := os.ReadFile("../cmd/barwright/demo.toml")
	require.NoError(t, err)
	j, err := job.Parse("demo.toml", data)
	require.NoError(t, err)
	return j
}

var sizes = []int{50, 200, 1000} // thousand triangles

func demoShell(t testing.TB, thousands int) (*mesh.Mesh, *mesh.Shell) {
	t.Helper()
	m := sample.NewCoupe(sample.CoupeOptions{Triangles: 1000 * thousands}).Mesh
	sh, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: fit.Seeds(demoJob(t), m.Bounds())})
	require.NoError(t, err)
	return m, sh
}

// BenchmarkCage fits the demo's 20 tubes cold, the shell being ready.
func BenchmarkCage(b *testing.B) {
	for _, k := range sizes {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			j := demoJob(b)
			_, sh := demoShell(b, k)
			for b.Loop() {
				_, err := fit.Fit(context.Background(), j, sh, fit.Options{})
				require.NoError(b, err)
			}
		})
	}
}

// BenchmarkRefit fits the demo's tubes again after a change of the clearance
// from 12 to 15 mm, from where they were.
func BenchmarkRefit(b *testing.B) {
	for _, k := range sizes {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			j := demoJob(b)
			_, sh := demoShell(b, k)
			from, err := fit.Fit(context.Background(), j, sh, fit.Options{})
			require.NoError(b, err)
			for i := range j.Bars {
				j.Bars[i].Clearance = 15
			}
			for b.Loop() {
				_, err := fit.Fit(context.Background(), j, sh, fit.Options{From: from})
				require.NoError(b, err)
			}
		})
	}
}

// BenchmarkOneBar fits the demo's main hoop alone.
func BenchmarkOneBar(b *testing.B) {
	for _, k := range sizes {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			j := demoJob(b)
			j.Bars = j.Bars[:1]
			_, sh := demoShell(b, k)
			for b.Loop() {
				_, err := fit.Fit(context.Background(), j, sh, fit.Options{})
				require.NoError(b, err)
			}
		})
	}
}
