package par_test

import (
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"barwright/fit/internal/par"
)

func TestEachRunsEveryTaskOnce(t *testing.T) {
	for _, workers := range []int{-1, 0, 1, 3, 100} {
		for _, n := range []int{0, 1, 2, 50} {
			runs := make([]atomic.Int32, n)
			par.Each(n, workers, func(i int) { runs[i].Add(1) })
			for i := range runs {
				require.EqualValues(t, 1, runs[i].Load())
			}
		}
	}
}
