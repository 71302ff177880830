package cope

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A quartic made of its roots gives them back.
func TestRoots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 4).Draw(t, "real roots")
		var want []float64
		c := quartic{rapid.SampledFrom([]float64{-2, .5, 1}).Draw(t, "scale")}
		degree := 0
		times := func(f ...float64) { // by the polynomial f[0] + f[1] x + f[2] x^2
			var next quartic
			for i, a := range c[:degree+1] {
				for k, b := range f {
					next[i+k] += a * b
				}
			}
			c, degree = next, degree+len(f)-1
		}
		at := -3.0
		for range n {
			at += rapid.Float64Range(.01, 1.4).Draw(t, "next")
			want = append(want, at)
			times(-at, 1)
		}
		for degree < 3 {
			a := rapid.Float64Range(-1, 1).Draw(t, "a")
			times(a*a+rapid.Float64Range(.1, 2).Draw(t, "b"), -2*a, 1) // never zero
		}
		var got [4]float64
		k := c.roots(degree, -5, 5, &got)
		require.Len(t, got[:k], n)
		for i := range want {
			require.InDelta(t, want[i], got[i], 1e-7)
		}
	})
}
