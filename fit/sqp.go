package fit

import (
	"math"

	"gonum.org/v1/gonum/optimize"

	"barwright/fit/internal/qp"
)

// sqp is a trust-region method of sequential quadratic programming with an
// exact penalty: all constraints of a step share one elastic slack t >= 0, so
// that every step has a solution and an impossible request ends with the
// smallest largest violation. It minimises
//
//	merit(q) = F(q) + nu v(q) + elastic/2 v(q)^2
//
// with v the largest violation. The Hessian is Gauss-Newton's. A step that the
// curvature of the constraints spoils gets a second-order correction.
//
// It is an optimize.Method: the caller's Problem.Func must call evaluateAt,
// and Settings, Status and Recorder work as for gonum's own methods.
type sqp struct {
	p         *problem
	tolerance float64 // largest component of a step at which it stops, mm
	radius    float64 // first trust radius, mm
	gain      float64 // relative fall of the merit at which it stops

	nu      float64
	settled bool // nu is no more the first one
	kept    []row
	cur     *evaluation
	latest  *evaluation // last point asked for
	lambda  []float64   // by row of cur, of the last step's model
	status  optimize.Status
	err     error
}

const (
	elastic   = 0.01
	nuLeast   = 1.5
	nuMost    = 20
	radiusMax = 250.0
	// cutReach is the longest step whose trial may be used as a cut, mm.
	cutReach = 20
	// Constraints are looked at within the window, mm.
	windowLeast = 10
	windowMost  = 60
	// levenberg keeps the Hessian positive definite where nothing else bends
	// the objective; in units of F per mm^2 it is a hundredth of what the
	// sketch term of a six-node bar gives.
	levenberg = 2e-7
)

// evaluateAt is the merit at q, for optimize.Problem.Func.
func (m *sqp) evaluateAt(q []float64) float64 {
	m.latest = m.p.evaluate(q)
	return m.merit(m.latest)
}

func (m *sqp) merit(e *evaluation) float64 {
	return e.objective + m.nu*e.violation + elastic/2*e.violation*e.violation
}

// Uses says that only function values are asked for: derivatives come with
// them, structured as a plain gradient cannot be.
func (m *sqp) Uses(optimize.Available) (optimize.Available, error) {
	return optimize.Available{}, nil
}

// Init resets the method. It evaluates one point at a time.
func (m *sqp) Init(_, _ int) int {
	m.status, m.err = optimize.NotTerminated, nil
	m.cur, m.latest, m.kept = nil, nil, nil
	m.nu, m.settled = nuMost, false
	m.p.window = clamp(3*m.radius, windowLeast, windowMost)
	return 1
}

// Status tells how the run ended.
func (m *sqp) Status() (optimize.Status, error) { return m.status, m.err }

// Run talks to optimize.Minimize until it converges or is told to stop.
func (m *sqp) Run(operation chan<- optimize.Task, result <-chan optimize.Task, tasks []optimize.Task) {
	task := tasks[0]
	ask := func(op optimize.Operation) bool {
		task.Op = op
		operation <- task
		task = <-result
		return task.Op != optimize.PostIteration
	}
	done := func(stopped bool) {
		if !stopped {
			task.Op = optimize.MethodDone
			operation <- task
		}
		for range result {
		}
		close(operation)
	}
	evaluate := func(q []float64) (*evaluation, bool) {
		copy(task.X, q)
		ok := ask(optimize.FuncEvaluation)
		return m.latest, ok
	}

	first, ok := evaluate(append([]float64(nil), task.X...))
	if !ok {
		done(true)
		return
	}
	m.accept(first)
	radius := m.radius
	for {
		task.F = m.merit(m.cur)
		copy(task.X, m.cur.q)
		if !ask(optimize.MajorIteration) {
			done(true)
			return
		}
		next, newRadius, ok := m.iterate(radius, evaluate)
		if !ok {
			done(true)
			return
		}
		radius = newRadius
		// A step moves a point of the tube by about as much as its nodes.
		m.p.window = clamp(3*radius, windowLeast, windowMost)
		if next == nil {
			m.status = optimize.StepConvergence
			done(false)
			return
		}
		m.accept(next)
	}
}

// accept makes e the current point. The centreline is cut anew where its
// segments have grown much.
func (m *sqp) accept(e *evaluation) {
	p := m.p
	m.cur = e
	p.planes = e.planes
	for _, pc := range p.plan {
		if math.Abs(pc.share()*e.curve.segLength(pc.seg)) > 1.5*p.piece {
			p.makePlan(e.curve)
			m.cur = p.evaluate(e.q)
			return
		}
	}
}

// iterate finds the next point. It returns nil when no step is worth taking.
func (m *sqp) iterate(radius float64, evaluate func([]float64) (*evaluation, bool)) (*evaluation, float64, bool) {
	e := m.cur
	rows := append(e.rows[:len(e.rows):len(e.rows)], m.kept...)
	for {
		s, err := m.step(e, rows, nil, radius)
		if err != nil {
			if radius /= 4; radius < m.tolerance {
				return nil, radius, true
			}
			continue
		}
		d := s.d
		m.lambda = s.lambda[:len(e.rows)]
		m.penalise(e, s.lambda)
		predicted := m.merit(e) - (s.f + m.nu*s.slack + elastic/2*s.slack*s.slack)
		size := norm(d)
		if size < m.tolerance || predicted <= m.gain*(1+math.Abs(e.objective)) {
			if len(rows) > len(e.rows) {
				// Cuts made further off bar the way: closer by they may not.
				rows, m.kept = e.rows, nil
				if radius = math.Min(radius, size) / 4; radius >= m.tolerance {
					continue
				}
			}
			return nil, radius, true
		}
		trial, ok := evaluate(add(e.q, d))
		if !ok {
			return nil, radius, false
		}
		ratio := (m.merit(e) - m.merit(trial)) / predicted
		if ratio < 0.25 && trial.violation > e.violation/2 {
			// Second-order correction: the same step with the constraints' true
			// values at its end.
			if s2, err := m.step(e, rows, correction(rows, trial, d), radius); err == nil {
				trial2, ok := evaluate(add(e.q, s2.d))
				if !ok {
					return nil, radius, false
				}
				if r2 := (m.merit(e) - m.merit(trial2)) / predicted; r2 > ratio {
					trial, ratio, size = trial2, r2, norm(s2.d)
				}
			}
		}
		switch {
		case ratio < 0.25:
			radius = math.Min(radius, size) / 2
		case ratio > 0.75 && size > 0.9*radius:
			radius = math.Min(2*radius, radiusMax)
		}
		if ratio > 1e-3 {
			m.keep(rows[len(e.rows):], e, trial)
			return trial, radius, true
		}
		if size < cutReach {
			rows = cuts(rows, trial, d)
		}
		if radius < m.tolerance {
			return nil, radius, true
		}
	}
}

// penalise chooses the penalty: high while the constraints are far from met,
// then just above what the multipliers ask for, and never less again, so that
// the merit stays one function.
func (m *sqp) penalise(e *evaluation, lambda []float64) {
	total := 0.0
	for _, l := range lambda {
		total += math.Abs(l)
	}
	switch {
	case !m.settled && e.violation < 0.5:
		m.settled = true
		m.nu = clamp(2*total+0.5, nuLeast, nuMost)
	case m.settled && total > 0.9*m.nu:
		m.nu = math.Min(2*m.nu, nuMost)
	}
}

// cuts adds what a rejected trial showed of the surface: a clearance is the
// least of the distances to many facets, of which a row knows one. The rows of
// the trial are moved back to the current point, so that the next model knows
// the other facets too, as in bundle methods.
func cuts(rows []row, trial *evaluation, d []float64) []row {
	const (
		near = 1   // mm: rows further from being active say little
		most = 400 // rows in all
	)
	rows = rows[:len(rows):len(rows)]
	for _, r := range trial.rows {
		if r.id >= idShape || r.value > near || len(rows) >= most {
			continue
		}
		r.value -= dot(r.grad, d)
		r.id = -1 - r.id
		rows = append(rows, r)
	}
	return rows
}

// keep carries cuts over to the next point, as long as it is near.
func (m *sqp) keep(cuts []row, from, to *evaluation) {
	m.kept = nil
	d := make([]float64, len(to.q))
	for i := range d {
		d[i] = to.q[i] - from.q[i]
	}
	if norm(d) > cutReach/4 {
		return
	}
	const most = 200
	for _, r := range cuts[max(0, len(cuts)-most):] {
		r.value += dot(r.grad, d)
		m.kept = append(m.kept, r)
	}
}

// correction returns, by row, the values to use in place of the linearised
// ones: c(q+d) - grad.d.
func correction(rows []row, trial *evaluation, d []float64) []float64 {
	at := make(map[int]int, len(trial.rows))
	for i, r := range trial.rows {
		at[r.id] = i
	}
	values := make([]float64, len(rows))
	for i, r := range rows {
		values[i] = r.value
		if k, ok := at[r.id]; ok {
			values[i] = trial.rows[k].value - dot(r.grad, d)
		}
	}
	return values
}

func dot(a, b []float64) float64 {
	t := 0.0
	for i, v := range a {
		t += v * b[i]
	}
	return t
}

// quadratic is the solution of one quadratic model.
type quadratic struct {
	d      []float64 // the step
	f      float64   // model of the objective at its end
	slack  float64   // model of the violation
	lambda []float64 // by row
	box    float64   // largest multiplier of the box
	model  float64   // f + nu slack + elastic/2 slack^2
}

// step solves the quadratic model in the box of the trust radius. values, if
// not nil, take the place of the rows' own.
func (m *sqp) step(e *evaluation, rows []row, values []float64, radius float64) (quadratic, error) {
	n := len(e.q)
	size := n + 1 // the last unknown is the slack
	eqs := 0
	for _, r := range rows {
		if r.equality {
			eqs++
		}
	}
	total := len(rows) + eqs + 1 + 2*n
	pr := qp.Problem{N: size, H: make([]float64, size*size), G: make([]float64, size), A: make([]float64, total*size), B: make([]float64, total)}
	for i := range n {
		copy(pr.H[i*size:i*size+n], e.hess[i*n:(i+1)*n])
		pr.H[i*size+i] += levenberg
	}
	copy(pr.G, e.grad)
	pr.H[n*size+n] = elastic
	pr.G[n] = m.nu
	k := 0
	for i, r := range rows {
		v := r.value
		if values != nil {
			v = values[i]
		}
		copy(pr.A[k*size:], r.grad)
		pr.A[k*size+n] = 1
		pr.B[k] = -v
		k++
		if r.equality {
			for j, g := range r.grad {
				pr.A[k*size+j] = -g
			}
			pr.A[k*size+n] = 1
			pr.B[k] = v
			k++
		}
	}
	pr.A[k*size+n] = 1 // slack >= 0
	k++
	boxes := k
	for i := range n {
		pr.A[k*size+i], pr.B[k] = 1, -radius
		pr.A[(k+1)*size+i], pr.B[k+1] = -1, -radius
		k += 2
	}
	r, err := qp.Solve(pr)
	if err != nil {
		return quadratic{}, err
	}
	s := quadratic{d: r.X[:n], slack: math.Max(0, r.X[n]), f: e.objective, lambda: make([]float64, len(rows))}
	for i := range n {
		s.f += e.grad[i] * s.d[i]
		for j := range n {
			s.f += 0.5 * e.hess[i*n+j] * s.d[i] * s.d[j]
		}
	}
	s.model = s.f + m.nu*s.slack + elastic/2*s.slack*s.slack
	k = 0
	for i, row := range rows {
		s.lambda[i] = r.Lambda[k]
		k++
		if row.equality {
			s.lambda[i] -= r.Lambda[k]
			k++
		}
	}
	for _, l := range r.Lambda[boxes:] {
		s.box = math.Max(s.box, l)
	}
	return s, nil
}

func norm(d []float64) float64 {
	most := 0.0
	for _, v := range d {
		most = math.Max(most, math.Abs(v))
	}
	return most
}

func add(a, b []float64) []float64 {
	s := make([]float64, len(a))
	for i := range a {
		s[i] = a[i] + b[i]
	}
	return s
}
