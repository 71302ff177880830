package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
)

func TestLayoutDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	for trial := range 200 {
		n := 3 + rng.IntN(5)
		self, flat := trial%2 == 0, trial%4 < 2
		lean := math.NaN()
		if trial%3 == 0 {
			lean = 0.3 * rng.NormFloat64()
		}
		nodes := make([]r3.Vector, n)
		for i := range nodes {
			a := math.Pi * float64(i) / float64(n-1)
			nodes[i] = r3.Vector{Y: -600 * math.Cos(a), Z: 1000 * math.Sin(a)}.Add(randomVector(rng, 60))
		}
		pinned := flat && !math.IsNaN(lean) && trial%5 == 0
		l := newLayout(nodes, self, flat, pinned, lean)
		q := l.start(nodes)
		for i := range q {
			q[i] += 40 * rng.NormFloat64()
		}
		got, jac := l.place(q)
		for v := range q {
			const step = 1e-3
			moved := func(d float64) []r3.Vector {
				p := append([]float64(nil), q...)
				p[v] += d
				out, _ := l.place(p)
				return out
			}
			hi, lo := moved(step), moved(-step)
			for i := range got {
				want := hi[i].Sub(lo[i]).Mul(1 / (2 * step))
				var have r3.Vector
				for _, e := range jac[i] {
					if e.v == v {
						have = have.Add(e.d)
					}
				}
				require.InDelta(t, 0, want.Sub(have).Norm(), 1e-6, "trial %d unknown %d node %d", trial, v, i)
			}
		}
		if flat {
			normal := planeNormal(got, centroid(got))
			for _, p := range got {
				require.InDelta(t, 0, p.Sub(centroid(got)).Dot(normal), 1e-9)
			}
			if !math.IsNaN(lean) {
				// The plane's angle from vertical is its normal's from horizontal.
				require.InDelta(t, math.Abs(math.Sin(lean)), math.Abs(normal.Z), 1e-9)
			}
		}
		if self {
			for i := range got {
				require.Equal(t, got[i], mirrorY(got[n-1-i]).Add(r3.Vector{}))
			}
		}
	}
}

func TestLayoutKeepsFittingNodes(t *testing.T) {
	hoop := []r3.Vector{{X: 20, Y: -600}, {Y: -600, Z: 900}, {X: -5, Y: -450, Z: 1150}, {X: -5, Y: 450, Z: 1150}, {Y: 600, Z: 900}, {X: 20, Y: 600}}
	for _, self := range []bool{false, true} {
		l := newLayout(hoop, self, false, false, math.NaN())
		got, _ := l.place(l.start(hoop))
		require.Equal(t, hoop, got)
	}
	for i := range hoop {
		hoop[i].X = 100 - 0.1*hoop[i].Z
	}
	for _, self := range []bool{false, true} {
		for _, lean := range []float64{math.NaN(), math.Atan(0.1)} {
			l := newLayout(hoop, self, true, false, lean)
			got, _ := l.place(l.start(hoop))
			for i := range hoop {
				require.InDelta(t, 0, got[i].Sub(hoop[i]).Norm(), 1e-9)
			}
		}
	}
}
