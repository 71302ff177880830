package align

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// unknowns is the most a system here has: a plane's two angles and its offset.
const unknowns = 3

// system is a weighted linear least-squares problem in a few unknowns, gathered
// row by row: minimise the sum of w (r + j . x)^2.
type system struct {
	n    int // unknowns in use
	h    [unknowns][unknowns]float64
	g    [unknowns]float64
	rows int
}

func (s *system) add(j [unknowns]float64, r, w float64) {
	for a := range s.n {
		for b := range s.n {
			s.h[a][b] += w * j[a] * j[b]
		}
		s.g[a] += w * j[a] * r
	}
	s.rows++
}

// worst is the condition beyond which a system is taken for one that its rows
// do not determine. Angles are scaled to the body's size, so a sound one is
// below a hundred.
const worst = 1e10

func (s *system) factor(c *mat.Cholesky) bool {
	h := mat.NewSymDense(s.n, nil)
	for a := range s.n {
		for b := a; b < s.n; b++ {
			h.SetSym(a, b, s.h[a][b])
		}
	}
	return c.Factorize(h) && c.Cond() < worst
}

// solve returns the minimiser.
func (s *system) solve() (x [unknowns]float64, ok bool) {
	var c mat.Cholesky
	if s.rows < s.n || !s.factor(&c) {
		return x, false
	}
	v := mat.NewVecDense(s.n, nil)
	if err := c.SolveVecTo(v, mat.NewVecDense(s.n, append([]float64(nil), s.g[:s.n]...))); err != nil {
		return x, false
	}
	for a := range s.n {
		x[a] = -v.AtVec(a)
	}
	return x, true
}

// sigmas returns one sigma of each unknown, given the gradients of the parts of
// the problem that are independent of one another: the sandwich H^-1 (sum g
// g^T) H^-1. Unlike sigma^2 H^-1 it does not take rows of one panel, bent or
// shifted as a whole, for independent. Method from memory (cluster-robust
// covariance); no source at hand.
func (s *system) sigmas(parts [][unknowns]float64) (x [unknowns]float64, ok bool) {
	var c mat.Cholesky
	if !s.factor(&c) {
		return x, false
	}
	for _, g := range parts {
		v := mat.NewVecDense(s.n, nil)
		if err := c.SolveVecTo(v, mat.NewVecDense(s.n, append([]float64(nil), g[:s.n]...))); err != nil {
			return x, false
		}
		for a := range s.n {
			x[a] += v.AtVec(a) * v.AtVec(a)
		}
	}
	for a := range s.n {
		x[a] = math.Sqrt(x[a])
	}
	return x, true
}
