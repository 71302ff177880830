package golden_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"barwright/fit/internal/golden"
)

func TestSearch(t *testing.T) {
	for _, at := range []float64{-3, -1, 0.2, 4, 9} { // ends and beyond too
		calls := 0
		f := func(x float64) float64 { calls++; return math.Abs(x - at) }
		b := golden.Search(f, -1, 4, 30, 0)
		require.Equal(t, 32, calls)
		x, value := b.Least()
		want := min(max(at, -1), 4)
		require.InDelta(t, want, x, 5*math.Pow(0.6180339887498949, 29))
		require.Equal(t, math.Abs(x-at), value)

		b = golden.Search(f, -1, 4, 1000, 0.01)
		require.LessOrEqual(t, b.To-b.From, 0.01)
		require.Greater(t, b.To-b.From, 0.006)
		require.LessOrEqual(t, b.From, want+1e-12)
		require.GreaterOrEqual(t, b.To, want-1e-12)
	}
}
