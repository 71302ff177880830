package mesh

import (
	"context"
	"math"

	"github.com/golang/geo/r3"
)

// Figures of smoothing.
const (
	// smoothLength sets how far smoothing reaches: n passes of a filter over
	// edges of length e reach about e sqrt(n), mm.
	smoothLength = 26.0
	// maxSmoothPasses keeps very fine meshes from taking minutes; their noise
	// has to be as fine as their edges for it to matter.
	maxSmoothPasses = 100
	// A pass is a step of taubinShrink towards the neighbours' mean, then one
	// of taubinGrow away from it: together they let waves longer than the
	// pass band through without shrinking the shell. 1/shrink + 1/grow = 0.1,
	// the pass band. (Taubin, "A signal processing approach to fair surface
	// design", SIGGRAPH 1995; from memory.)
	taubinShrink = 0.5
	taubinGrow   = 1 / (0.1 - 1/taubinShrink)
)

// smoothed returns new places for m's vertices, by Taubin's filter with equal
// weights. Vertices on a rim look at their neighbours along the rim only, so
// that holes keep their shape; vertices with no neighbour stay.
func smoothed(ctx context.Context, m *Mesh, g *vertexGraph, edge float64, workers int) ([]r3.Vector, error) {
	passes := 1
	if edge > 0 {
		r := smoothLength / edge
		passes = min(max(1, int(math.Round(r*r))), maxSmoothPasses)
	}
	from := append([]r3.Vector(nil), m.Vertices...)
	to := make([]r3.Vector, len(from))
	for range passes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for _, step := range [2]float64{taubinShrink, taubinGrow} {
			spread(workers, len(from), 1<<13, func(lo, hi int) {
				for v := lo; v < hi; v++ {
					to[v] = from[v].Add(g.pull(from, int32(v)).Mul(step))
				}
			})
			from, to = to, from
		}
	}
	return from, nil
}

// pull returns the vector from vertex v to the mean of its neighbours; on a
// rim, of those along the rim.
func (g *vertexGraph) pull(at []r3.Vector, v int32) r3.Vector {
	var all, rim r3.Vector
	rims := 0
	l := g.of(v)
	for _, w := range l {
		if w < 0 {
			rim = rim.Add(at[^w])
			rims++
		} else if rims == 0 {
			all = all.Add(at[w])
		}
	}
	switch {
	case rims > 0:
		return rim.Mul(1 / float64(rims)).Sub(at[v])
	case len(l) > 0:
		return all.Mul(1 / float64(len(l))).Sub(at[v])
	}
	return r3.Vector{}
}
