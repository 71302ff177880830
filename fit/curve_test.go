package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
)

func randomVector(rng *rand.Rand, scale float64) r3.Vector {
	return r3.Vector{X: scale * rng.NormFloat64(), Y: scale * rng.NormFloat64(), Z: scale * rng.NormFloat64()}
}

// Gradients against central differences, on shapes with sharp, shallow and
// vanishing bends.
func TestCurveGradients(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for trial := range 300 {
		n := 2 + rng.IntN(5)
		nodes := make([]r3.Vector, n)
		for i := range nodes {
			nodes[i] = r3.Vector{X: float64(i) * 600}.Add(randomVector(rng, []float64{150, 20, 1}[trial%3]))
		}
		radius := 150.0
		c := newCurve(nodes, radius)
		st := station{seg: rng.IntN(c.segments()), f: rng.Float64()}
		if st.seg%2 == 1 {
			st.f = 2*st.f - 1
		}
		dir := randomVector(rng, 1)
		funcs := []func(c *curve) float64{
			func(c *curve) float64 { return c.point(st).Dot(dir) },
			func(c *curve) float64 { return c.segLength(st.seg) },
			func(c *curve) float64 { return c.length() },
		}
		grads := make([][]r3.Vector, len(funcs))
		for k := range grads {
			grads[k] = make([]r3.Vector, n)
		}
		c.pull(st, dir, grads[0])
		c.pullLength(st.seg, 1, grads[1])
		for seg := range c.segments() {
			c.pullLength(seg, 1, grads[2])
		}
		for k, f := range funcs {
			for i := range nodes {
				for axis := range 3 {
					const step = 1e-4
					moved := func(d float64) float64 {
						p := append([]r3.Vector(nil), nodes...)
						switch axis {
						case 0:
							p[i].X += d
						case 1:
							p[i].Y += d
						default:
							p[i].Z += d
						}
						return f(newCurve(p, radius))
					}
					want := (moved(step) - moved(-step)) / (2 * step)
					got := [3]float64{grads[k][i].X, grads[k][i].Y, grads[k][i].Z}[axis]
					require.InDelta(t, want, got, 2e-5*(1+math.Abs(want)), "trial %d func %d node %d axis %d", trial, k, i, axis)
				}
			}
		}
	}
}

func TestCurveMeetsItself(t *testing.T) {
	c := newCurve([]r3.Vector{{}, {Z: 1000}, {X: 1000, Z: 1000}, {X: 1000, Y: 800, Z: 1000}}, 135)
	// references.md B3 (ii), recomputed there independently.
	require.InDelta(t, 2684.1150, c.length(), 1e-3)
	require.InDeltaSlice(t, []float64{865, 730, 665}, c.straight, 1e-9)
	for i := 1; i < 3; i++ {
		require.InDelta(t, 0, c.point(station{2*i - 1, -1}).Sub(c.point(station{2*i - 2, 1})).Norm(), 1e-9)
		require.InDelta(t, 0, c.point(station{2*i - 1, 1}).Sub(c.point(station{2 * i, 0})).Norm(), 1e-9)
		centre := c.nodes[i].Add(c.w[i].Mul(135 * c.sec[i] / c.wl[i]))
		for m := -1.0; m <= 1; m += 0.25 {
			require.InDelta(t, 135, c.point(station{2*i - 1, m}).Sub(centre).Norm(), 1e-9)
		}
	}
}
