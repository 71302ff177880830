// Package qp solves small dense strictly convex quadratic programs
//
//	minimise  1/2 x'Hx + g'x
//	subject to  a_i'x  = b_i  for the first Equalities rows
//	            a_i'x >= b_i  for the others
//
// by the dual active-set method of D. Goldfarb and A. Idnani, "A numerically
// stable dual method for solving strictly convex quadratic programs",
// Mathematical Programming 27 (1983) 1-33. No library that this project may
// use offers it. It starts at the unconstrained minimum and adds violated
// constraints one by one, so it needs no feasible starting point.
//
// Guarantees, with eps the rounding unit 2^-53 and scale the largest of 1 and
// the magnitudes of the data of a row:
//
//  1. a returned solution violates no row by more than 1e-9 x scale,
//  2. its multipliers are >= 0 for inequalities,
//  3. the same input gives the same bits.
//
// Out of scope: sparse problems, semidefinite H (add a regulariser).
package qp

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrInfeasible says that no x meets all rows.
var ErrInfeasible = errors.New("qp: no point meets all constraints")

// ErrNotConvex says that H is not positive definite to rounding.
var ErrNotConvex = errors.New("qp: the Hessian is not positive definite")

// ErrIterations says that the active set did not settle.
var ErrIterations = errors.New("qp: too many changes of the active set")

// Problem is a quadratic program in n unknowns and m rows.
type Problem struct {
	N          int
	H          []float64 // n x n, row major, symmetric positive definite
	G          []float64 // n
	A          []float64 // m x n, row major
	B          []float64 // m
	Equalities int       // the first so many rows are equalities
}

// Result is a solution.
type Result struct {
	X      []float64 // n
	Lambda []float64 // m; zero for rows that do not hold it; any sign for equalities
	Steps  int       // changes of the active set
}

// feasTol is the violation, relative to a row's scale, below which a row
// counts as met. The products a'x carry about n eps relative error and x is
// the sum of up to some hundred steps: 1e-9 leaves three digits over that.
const feasTol = 1e-9

// Solve returns the minimiser. Rows of zeros with b <= 0 are ignored.
func Solve(p Problem) (Result, error) {
	n, m := p.N, len(p.B)
	res := Result{X: make([]float64, n), Lambda: make([]float64, m)}

	var chol mat.Cholesky
	if !chol.Factorize(mat.NewSymDense(n, p.H)) {
		return res, ErrNotConvex
	}
	s := newState(p, &chol)
	s.x = res.X
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, mat.NewVecDense(n, p.G)); err != nil {
		var cond mat.Condition
		if !errors.As(err, &cond) {
			return res, ErrNotConvex
		}
	}
	for i := range s.x {
		s.x[i] = -x.AtVec(i)
	}

	limit := 20 * (n + m + 5)
	for step := 0; ; step++ {
		if step > limit {
			return res, ErrIterations
		}
		q, violation := s.mostViolated()
		if q < 0 {
			break
		}
		res.Steps++
		if err := s.add(q, violation, limit); err != nil {
			return res, err
		}
	}
	for k, i := range s.active {
		res.Lambda[i] = s.u[k] * s.sign[k]
	}
	return res, nil
}

// state carries the factorisation. With N the matrix of active normals,
// J'N = [R; 0] with J = L^-T Q (n x n) and R upper triangular.
type state struct {
	p      Problem
	n, m   int
	x      []float64
	j      []float64 // n x n, row major
	r      []float64 // n x n, row major, the leading k x k block is in use
	active []int
	inSet  []bool
	u      []float64 // multipliers of the active rows
	sign   []float64 // -1 where an equality was entered from above
	scale  []float64 // of each row
	d, z   []float64
	np     []float64
	rr     []float64
}

func newState(p Problem, chol *mat.Cholesky) *state {
	n, m := p.N, len(p.B)
	s := &state{
		p: p, n: n, m: m,
		r: make([]float64, n*n), j: make([]float64, n*n),
		inSet: make([]bool, m), scale: make([]float64, m),
		d: make([]float64, n), z: make([]float64, n), np: make([]float64, n), rr: make([]float64, n),
	}
	var u mat.TriDense
	chol.UTo(&u) // H = U'U, J = U^-1
	var inv mat.TriDense
	// An ill-conditioned U still has an inverse; its error shows up in the
	// feasibility check of every step.
	_ = inv.InverseTri(&u)
	for a := range n {
		for b := a; b < n; b++ {
			s.j[a*n+b] = inv.At(a, b)
		}
	}
	for i := range m {
		norm := 0.0
		for _, v := range p.A[i*n : (i+1)*n] {
			norm = math.Max(norm, math.Abs(v))
		}
		s.scale[i] = math.Max(1, math.Max(norm, math.Abs(p.B[i])))
		if norm == 0 && p.B[i] <= 0 && i >= p.Equalities {
			s.inSet[i] = true // never looked at
		}
	}
	return s
}

func (s *state) row(i int) []float64 { return s.p.A[i*s.n : (i+1)*s.n] }

// mostViolated picks an equality not yet met first, then the inequality with
// the largest violation; ties go to the lower index.
func (s *state) mostViolated() (row int, violation float64) {
	row = -1
	for i := range s.m {
		if s.inSet[i] {
			continue
		}
		v := dot(s.row(i), s.x) - s.p.B[i]
		if i < s.p.Equalities {
			// An equality goes in even when met, so that later steps keep it.
			return i, v
		}
		if v < -feasTol*s.scale[i] && v < violation {
			row, violation = i, v
		}
	}
	return row, violation
}

// add brings row q into the active set.
func (s *state) add(q int, violation float64, limit int) error {
	n := s.n
	sign := 1.0
	if q < s.p.Equalities && violation > 0 {
		sign = -1 // treat -a'x >= -b
		violation = -violation
	}
	for i, v := range s.row(q) {
		s.np[i] = sign * v
	}
	uq := 0.0
	for inner := 0; ; inner++ {
		if inner > limit {
			return ErrIterations
		}
		k := len(s.active)
		for c := range n {
			t := 0.0
			for i := range n {
				t += s.j[i*n+c] * s.np[i]
			}
			s.d[c] = t
		}
		dNorm, zNorm := 0.0, 0.0
		for c, v := range s.d {
			dNorm += v * v
			if c >= k {
				zNorm += v * v
			}
		}
		for i := range n {
			t := 0.0
			for c := k; c < n; c++ {
				t += s.j[i*n+c] * s.d[c]
			}
			s.z[i] = t
		}
		// r = R^-1 d[:k]
		for c := k - 1; c >= 0; c-- {
			t := s.d[c]
			for e := c + 1; e < k; e++ {
				t -= s.r[c*n+e] * s.rr[e]
			}
			s.rr[c] = t / s.r[c*n+c]
		}
		// Largest step that keeps the multipliers of inequalities >= 0.
		t1, drop := math.Inf(1), -1
		for c := range k {
			if s.active[c] < s.p.Equalities {
				continue
			}
			if s.rr[c] > 0 {
				if t := s.u[c] / s.rr[c]; t < t1 {
					t1, drop = t, c
				}
			}
		}
		// np depends on the active normals when the rest of d is rounding.
		dependent := zNorm <= 1e-22*dNorm
		t2 := math.Inf(1)
		if !dependent {
			t2 = math.Max(0, -violation) / dot(s.z, s.np)
		}
		t := math.Min(t1, t2)
		if math.IsInf(t, 1) {
			if q < s.p.Equalities && -violation <= 1e-7*s.scale[q] {
				s.inSet[q] = true // a repeated equality
				return nil
			}
			return ErrInfeasible
		}
		for c := range k {
			s.u[c] -= t * s.rr[c]
		}
		uq += t
		if !dependent {
			for i := range n {
				s.x[i] += t * s.z[i]
			}
		}
		if t == t2 {
			s.push(q, uq, sign)
			return nil
		}
		s.drop(drop)
		violation = sign * (dot(s.row(q), s.x) - s.p.B[q])
		if violation >= 0 {
			// Rounding met it on the way: keep it out, its multiplier is nil.
			if uq <= 0 {
				return nil
			}
			violation = 0
		}
	}
}

// push appends row q with multiplier u: Givens rotations turn d[k+1:] to zero.
func (s *state) push(q int, u, sign float64) {
	n, k := s.n, len(s.active)
	for c := n - 1; c > k; c-- {
		a, b := s.d[c-1], s.d[c]
		if b == 0 {
			continue
		}
		h := math.Hypot(a, b)
		cs, sn := a/h, b/h
		s.d[c-1], s.d[c] = h, 0
		for i := range n {
			p, q := s.j[i*n+c-1], s.j[i*n+c]
			s.j[i*n+c-1] = cs*p + sn*q
			s.j[i*n+c] = cs*q - sn*p
		}
	}
	for c := range k + 1 {
		s.r[c*n+k] = s.d[c]
	}
	s.active = append(s.active, q)
	s.u = append(s.u, u)
	s.sign = append(s.sign, sign)
	s.inSet[q] = true
}

// drop removes the active row at position c and restores R.
func (s *state) drop(c int) {
	n, k := s.n, len(s.active)
	s.inSet[s.active[c]] = false
	for e := c; e < k-1; e++ {
		for i := range e + 2 {
			s.r[i*n+e] = s.r[i*n+e+1]
		}
	}
	s.active = append(s.active[:c], s.active[c+1:]...)
	s.u = append(s.u[:c], s.u[c+1:]...)
	s.sign = append(s.sign[:c], s.sign[c+1:]...)
	k--
	for e := c; e < k; e++ {
		a, b := s.r[e*n+e], s.r[(e+1)*n+e]
		if b == 0 {
			continue
		}
		h := math.Hypot(a, b)
		cs, sn := a/h, b/h
		for f := e; f < k; f++ {
			p, q := s.r[e*n+f], s.r[(e+1)*n+f]
			s.r[e*n+f] = cs*p + sn*q
			s.r[(e+1)*n+f] = cs*q - sn*p
		}
		for i := range n {
			p, q := s.j[i*n+e], s.j[i*n+e+1]
			s.j[i*n+e] = cs*p + sn*q
			s.j[i*n+e+1] = cs*q - sn*p
		}
	}
}

func dot(a, b []float64) float64 {
	t := 0.0
	for i, v := range a {
		t += v * b[i]
	}
	return t
}
