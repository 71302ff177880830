package fit

import (
	"context"
	"errors"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"sync"

	"github.com/golang/geo/r3"
	"gonum.org/v1/gonum/optimize"

	"barwright/fit/job"
)

// effort says how hard a bar is worked on.
type effort struct {
	starts  int     // number of starts; the sketch is the first
	jitter  float64 // mm, one sigma a coordinate
	coarse  float64 // piece length while looking for the best start, mm
	iterate int     // major iterations a run
}

// solution is the end of one run.
type solution struct {
	e      *evaluation
	lambda []float64
	nodes  []r3.Vector
	planes [2][2]plane // on which its feet stand
	doubt  float64     // counts against it: feet where the sketch does not put them
}

// better compares two ends: less violation first (above what counts as met),
// then the objective.
func (s *solution) better(t *solution) bool {
	const met = 0.02 // mm; below it a run counts as having met its constraints
	a, b := math.Max(s.e.violation, met), math.Max(t.e.violation, met)
	if a != b {
		return a < b
	}
	return s.e.objective+s.doubt < t.e.objective+t.doubt
}

// clone gives a copy that another goroutine may work with.
func (p *problem) clone() *problem {
	c := *p
	c.plan, c.memos = nil, nil
	c.planes = [2][2]plane{}
	return &c
}

// layoutFor returns the bar's unknowns for a start near the given nodes.
func (p *problem) layoutFor(nodes []r3.Vector) *layout {
	lean := math.NaN()
	if p.bar.Lean != nil {
		lean = p.bar.Lean.Radians()
	}
	return newLayout(nodes, p.self(), p.bar.Flat, p.bar.Station != nil, lean)
}

// prepare sets the problem at a start: unknowns, pieces, landing planes.
func (p *problem) prepare(nodes []r3.Vector, piece float64) []float64 {
	p.layout = p.layoutFor(nodes)
	if p.layout.pinned { // in the sketch's plane, not in this start's
		p.layout.origin = centroid(p.sketch)
		if p.self() {
			p.layout.origin.Y = 0
		}
	}
	p.piece = piece
	q := p.layout.start(nodes)
	placed, _ := p.layout.place(q)
	c := newCurve(placed, p.radius)
	p.planes = p.stand(c)
	p.makePlan(c)
	return q
}

// stop is a Recorder that ends a run when the context does.
type stop struct{ ctx context.Context }

func (s stop) Init() error { return s.ctx.Err() }
func (s stop) Record(*optimize.Location, optimize.Operation, *optimize.Stats) error {
	return s.ctx.Err()
}

// pull moves a start into the feasible region with a smooth quadratic penalty:
// from far outside its long, cheap steps beat the quadratic programs'.
func (p *problem) pull(ctx context.Context, q []float64, iterations int) []float64 {
	const weight = 0.02
	old := p.window
	p.window = 0 // only violated rows count
	defer func() { p.window = old }()
	var last *evaluation
	at := func(x []float64) *evaluation {
		if last == nil || !same(last.q, x) {
			last = p.evaluate(x)
		}
		return last
	}
	pr := optimize.Problem{
		Func: func(x []float64) float64 {
			e := at(x)
			f := e.objective
			for _, r := range e.rows {
				if r.value < 0 || r.equality {
					f += weight * r.value * r.value
				}
			}
			return f
		},
		Grad: func(grad, x []float64) {
			e := at(x)
			copy(grad, e.grad)
			for _, r := range e.rows {
				if r.value < 0 || r.equality {
					for i, g := range r.grad {
						grad[i] += 2 * weight * r.value * g
					}
				}
			}
		},
	}
	res, err := optimize.Minimize(pr, q, &optimize.Settings{MajorIterations: iterations, Recorder: stop{ctx},
		Converger: &optimize.FunctionConverge{Absolute: 1e-3, Relative: 1e-4, Iterations: 4}}, &optimize.LBFGS{Store: 12})
	// A line search that finds no better point is an error to gonum; here the
	// best point so far is all that is wanted.
	if res == nil || (err != nil && ctx.Err() != nil) {
		return q
	}
	return res.X
}

func same(a, b []float64) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// run improves one start. Its feet follow the given planes; where these are not
// known the sketch tells.
func (p *problem) run(ctx context.Context, nodes []r3.Vector, planes [2][2]plane, piece, radius, gain float64, iterations int, far bool) (*solution, error) {
	p.planes = planes
	q := p.prepare(nodes, piece)
	if far {
		q = p.pull(ctx, q, 30)
		placed, _ := p.layout.place(q)
		c := newCurve(placed, p.radius)
		p.planes = p.stand(c)
		p.makePlan(c)
	}
	m := &sqp{p: p, tolerance: 1e-5, radius: radius, gain: gain}
	_, err := optimize.Minimize(optimize.Problem{Func: m.evaluateAt}, q,
		&optimize.Settings{MajorIterations: iterations, Converger: optimize.NeverTerminate{}, Recorder: stop{ctx}}, m)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, err
	}
	return &solution{e: m.cur, lambda: m.lambda, nodes: m.cur.curve.nodes, planes: m.cur.planes, doubt: p.doubt}, nil
}

const (
	farOff   = 40 // mm of mean phi
	patience = 4  // times the starts asked for
)

// errNoStart says that no start could be evaluated.
var errNoStart = errors.New("no start could be evaluated")

// search runs the starts and returns the best end. Starts come in batches of a
// fixed size, whatever the number of workers, so that the answer is the same.
func (p *problem) search(ctx context.Context, starts [][]r3.Vector, eff effort) (*solution, error) {
	h := fnv.New64a()
	h.Write([]byte(p.bar.Name))
	rng := rand.New(rand.NewPCG(h.Sum64(), 1))
	const batch = 4
	var best *solution
	jittered := func(from []r3.Vector) []r3.Vector {
		out := make([]r3.Vector, len(from))
		for i, v := range from {
			out[i] = v.Add(r3.Vector{X: eff.jitter * rng.NormFloat64(), Y: eff.jitter * rng.NormFloat64(), Z: eff.jitter * rng.NormFloat64()})
		}
		return out
	}
	for len(starts) < min(batch, eff.starts) {
		starts = append(starts, jittered(starts[0]))
	}
	done := 0
	// A bar that is still far from the shell or at odds with its constraints
	// deserves some more starts.
	wanting := func() bool {
		return best == nil || best.e.violation > tolerated || p.hug && best.e.gap > farOff
	}
	for done < eff.starts || eff.starts >= batch && done < patience*eff.starts && wanting() {
		if done > 0 {
			starts = starts[:0:0]
			for i := range batch {
				from := p.sketch
				if best != nil && i%2 == 1 {
					from = best.nodes
				}
				starts = append(starts, jittered(from))
			}
		}
		ends := make([]*solution, len(starts))
		errs := make([]error, len(starts))
		var wg sync.WaitGroup
		for i := range starts {
			wg.Add(1)
			go func() {
				defer wg.Done()
				if p.gate != nil {
					p.gate <- struct{}{}
					defer func() { <-p.gate }()
				}
				c := p.clone()
				// The third and fourth of a batch doubt where the feet stand.
				c.second = [2]bool{i == 2 || i == 3 && done/batch%2 == 0, i == 2 || i == 3 && done/batch%2 == 1}
				ends[i], errs[i] = c.run(ctx, starts[i], [2][2]plane{}, eff.coarse, 60, 1e-4, eff.iterate, true)
			}()
		}
		wg.Wait()
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for _, s := range ends {
			if s != nil && (best == nil || s.better(best)) {
				best = s
			}
		}
		done += len(starts)
	}
	if best == nil {
		return nil, errNoStart
	}
	return best, nil
}

func (p *problem) self() bool { return p.bar.Mirror == job.Self }
