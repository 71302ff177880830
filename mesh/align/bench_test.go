package align

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"barwright/mesh/sample"
)

func BenchmarkAuto(b *testing.B) {
	for _, n := range []int{50_000, 200_000, 1_000_000} {
		b.Run(fmt.Sprintf("%dk", n/1000), func(b *testing.B) {
			m := sample.NewCoupe(sample.CoupeOptions{Triangles: n}).Scan(sample.Dirt{Sigma: 2, Seed: 1})
			b.ReportAllocs()
			b.ResetTimer()
			for range b.N {
				_, err := Align(context.Background(), m, Options{Mode: Auto, Front: "x"})
				require.NoError(b, err)
			}
		})
	}
}
