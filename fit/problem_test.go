package fit

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"

	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
	shells "barwright/mesh/sample"
)

// Objective and rows against central differences, for every kind of bar. Where
// the two one-sided differences disagree the distance has a kink (another facet
// takes over) and has no derivative to compare.
func TestProblemGradients(t *testing.T) {
	coupe := shells.NewCoupe(shells.CoupeOptions{Triangles: 20_000})
	sh, err := mesh.Prepare(context.Background(), coupe.Mesh, mesh.PrepareOptions{Seeds: []r3.Vector{coupe.Centre}})
	require.NoError(t, err)
	spec := &tube.Spec{OD: 44.45, Wall: 2.41, Stick: 2500, Die: &tube.Die{OD: 44.45, CLR: 180, MaxAngle: 100 * s1.Degree, Grip: 60, Tail: 90}}
	target, err := tube.NewPath([]r3.Vector{{Y: -600, Z: 150}, {Y: -500, Z: 1050}, {Y: 500, Z: 1050}, {Y: 600, Z: 150}}, 180)
	require.NoError(t, err)
	hoop := []r3.Vector{{Y: -560, Z: 150}, {Y: -555, Z: 590}, {Y: -430, Z: 1040}, {Y: 430, Z: 1040}, {Y: 555, Z: 590}, {Y: 560, Z: 150}}
	side := []r3.Vector{{X: 900, Y: 530, Z: 150}, {X: 870, Y: 510, Z: 600}, {X: 300, Y: 430, Z: 970}, {X: 10, Y: 480, Z: 980}}
	lean := 2 * s1.Degree
	bars := []job.Bar{
		{Name: "free hoop", Sketch: hoop, Hug: true},
		{Name: "flat hoop", Sketch: hoop, Hug: true, Flat: true},
		{Name: "leaning hoop", Sketch: hoop, Hug: true, Flat: true, Lean: &lean},
		{Name: "self hoop", Sketch: hoop, Hug: true, Flat: true, Mirror: job.Self},
		{Name: "pair", Sketch: side, Hug: true, Mirror: job.Pair, Ends: [2]job.End{{Kind: job.Foot}, {Kind: job.Landed, Onto: "hoop"}}},
	}
	rng := rand.New(rand.NewPCG(5, 5))
	compared := 0
	for i := range bars {
		b := &bars[i]
		b.Tube, b.Clearance, b.Reach = spec, 8, 60
		f := &fitter{job: &job.Job{Shell: job.Shell{LandingAngle: 30 * s1.Degree}, Bars: bars,
			Keepouts: []job.Keepout{{Name: "helmet", Sphere: &job.Sphere{Centre: r3.Vector{Y: 450, Z: 900}, Radius: 200}}}},
			shell: sh, full: sh.Full(), gate: make(chan struct{}, 1), done: map[string]*Bar{"hoop": {Path: target}}}
		p, err := f.problem(b)
		require.NoError(t, err)
		for range 6 {
			start := make([]r3.Vector, len(b.Sketch))
			for k, v := range b.Sketch {
				start[k] = v.Add(randomVector(rng, 25))
			}
			q := p.prepare(start, 15)
			at := p.evaluate(q)
			p.planes = at.planes
			const step = 1e-4
			for v := range q {
				moved := func(d float64) *evaluation {
					x := append([]float64(nil), q...)
					x[v] += d
					return p.evaluate(x)
				}
				hi, lo := moved(step), moved(-step)
				check := func(what string, f0, fHi, fLo, grad, tolerance float64) {
					up, down := (fHi-f0)/step, (f0-fLo)/step
					if math.Abs(up-down) > 1e-3 {
						return
					}
					compared++
					require.InDelta(t, (up+down)/2, grad, tolerance, "%s: %s by unknown %d", b.Name, what, v)
				}
				check("objective", at.objective, hi.objective, lo.objective, at.grad[v], 1e-3)
				check("gap", at.gap, hi.gap, lo.gap, at.gapGrad[v], 1e-3)
				find := func(e *evaluation, id int) (row, bool) {
					for _, r := range e.rows {
						if r.id == id {
							return r, true
						}
					}
					return row{}, false
				}
				for _, r := range at.rows {
					// The plane under a foot turns as the foot moves; its rows know
					// the plane of the moment only.
					if r.rule == "landing" && r.unit == "deg" {
						continue
					}
					rHi, ok1 := find(hi, r.id)
					rLo, ok2 := find(lo, r.id)
					if ok1 && ok2 {
						tolerance := 3e-3
						if r.bend > 0 {
							// The nearest place of an arc is found to about 1e-2 mm
							// along it, and there the distance still has a slope.
							tolerance = 0.03
						}
						check(r.rule+" "+r.detail, r.value, rHi.value, rLo.value, r.grad[v], tolerance)
					}
				}
			}
		}
	}
	require.Greater(t, compared, 20000)
}
