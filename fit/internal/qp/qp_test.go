package qp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The worked example of Goldfarb and Idnani's kind that textbooks print
// (value from memory, checked by hand with the optimality conditions):
// minimise 1/2|x|^2 - 5 x2 under three rows.
func TestTextbook(t *testing.T) {
	p := Problem{
		N: 3,
		H: []float64{1, 0, 0, 0, 1, 0, 0, 0, 1},
		G: []float64{0, -5, 0},
		A: []float64{-4, -3, 0, 2, 1, 0, 0, -2, 1},
		B: []float64{-8, 2, 0},
	}
	r, err := Solve(p)
	require.NoError(t, err)
	require.InDeltaSlice(t, []float64{0.4761905, 1.0476190, 2.0952381}, r.X, 1e-6)
	require.InDeltaSlice(t, []float64{0, 0.2380952, 2.0952381}, r.Lambda, 1e-6)
}

// Random problems that are feasible by construction: the optimality conditions
// are the check, and they are sufficient for a strictly convex problem.
func TestOptimalityConditions(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for trial := range 2000 {
		n := 1 + rng.IntN(20)
		m := rng.IntN(60)
		eq := 0
		if m > 0 {
			eq = rng.IntN(min(n, m)+1) / 2
		}
		p := Problem{N: n, H: make([]float64, n*n), G: make([]float64, n), A: make([]float64, m*n), B: make([]float64, m), Equalities: eq}
		f := make([]float64, n*n)
		for i := range f {
			f[i] = rng.NormFloat64()
		}
		for i := range n {
			for j := range n {
				for k := range n {
					p.H[i*n+j] += f[k*n+i] * f[k*n+j]
				}
			}
			p.H[i*n+i] += 1e-3
			p.G[i] = 10 * rng.NormFloat64()
		}
		x0 := make([]float64, n)
		for i := range x0 {
			x0[i] = rng.NormFloat64()
		}
		for i := range m {
			for j := range n {
				if rng.IntN(3) > 0 {
					p.A[i*n+j] = rng.NormFloat64()
				}
			}
			if i > eq && rng.IntN(8) == 0 { // a repeated row
				copy(p.A[i*n:(i+1)*n], p.A[(i-1)*n:i*n])
			}
			p.B[i] = dot(p.A[i*n:(i+1)*n], x0)
			if i >= eq && rng.IntN(2) == 0 {
				p.B[i] -= rng.Float64()
			}
		}
		r, err := Solve(p)
		require.NoError(t, err, "trial %d n %d m %d eq %d", trial, n, m, eq)
		for i := range n {
			grad := p.G[i]
			for j := range n {
				grad += p.H[i*n+j] * r.X[j]
			}
			for k := range m {
				grad -= p.A[k*n+i] * r.Lambda[k]
			}
			require.InDelta(t, 0, grad, 1e-5*(1+math.Abs(p.G[i])), "trial %d stationarity", trial)
		}
		for k := range m {
			v := dot(p.A[k*n:(k+1)*n], r.X) - p.B[k]
			if k < eq {
				require.InDelta(t, 0, v, 1e-6, "trial %d equality %d", trial, k)
				continue
			}
			require.GreaterOrEqual(t, v, -1e-7, "trial %d row %d", trial, k)
			require.GreaterOrEqual(t, r.Lambda[k], 0.0)
			require.InDelta(t, 0, v*r.Lambda[k], 1e-5*(1+r.Lambda[k]), "trial %d complementarity", trial)
		}
	}
}

func TestInfeasible(t *testing.T) {
	_, err := Solve(Problem{N: 1, H: []float64{1}, G: []float64{0}, A: []float64{1, -1}, B: []float64{1, 0}})
	require.ErrorIs(t, err, ErrInfeasible)
	_, err = Solve(Problem{N: 1, H: []float64{-1}, G: []float64{0}})
	require.ErrorIs(t, err, ErrNotConvex)
}

func BenchmarkSolve(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 4))
	n, m := 24, 300
	p := Problem{N: n, H: make([]float64, n*n), G: make([]float64, n), A: make([]float64, m*n), B: make([]float64, m)}
	for i := range n {
		p.H[i*n+i] = 1
		p.G[i] = 10 * rng.NormFloat64()
	}
	for i := range m {
		for j := range 9 {
			p.A[i*n+(i+j)%n] = rng.NormFloat64()
		}
		p.B[i] = -1
	}
	for b.Loop() {
		if _, err := Solve(p); err != nil {
			b.Fatal(err)
		}
	}
}
