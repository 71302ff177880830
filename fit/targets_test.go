package fit_test

import (
	"context"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// studyCase is one of the bars that the contract's targets are stated for.
type studyCase struct {
	name   string
	shell  *mesh.Shell
	sketch []r3.Vector // a careful hand's
	change func(*job.Bar)
}

func upright(b *job.Bar) {
	lean := s1.Angle(0)
	b.Flat, b.Lean = true, &lean
}

func studyCases(t testing.TB) []studyCase {
	box := sample.Box(2000, 1400, 1200, 60)
	round := sample.HalfCylinder(700, 2000, 40)
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 50_000})
	car := prepare(t, coupe.Mesh, coupe.Centre)
	offset := studyTube().OD/2 + studyClearance
	hoop := []r3.Vector{{Y: 620}, {Y: 600, Z: 300}, {Y: 330, Z: 600}, {Y: -330, Z: 600}, {Y: -600, Z: 300}, {Y: -620}}
	return []studyCase{
		{"box", prepare(t, box.Mesh, box.Centre), box.Hoop(0, offset), nil},
		{"half-cylinder", prepare(t, round.Mesh, round.Centre), hoop, nil},
		{"car hoop", car, []r3.Vector{{Y: -560, Z: 150}, {Y: -555, Z: 590}, {Y: -430, Z: 1040}, {Y: 430, Z: 1040}, {Y: 555, Z: 590}, {Y: 560, Z: 150}}, upright},
		{"free side bar", car, []r3.Vector{{X: 900, Y: 530, Z: 150}, {X: 870, Y: 510, Z: 600}, {X: 300, Y: 430, Z: 970}, {X: 0, Y: 480, Z: 980}},
			func(b *job.Bar) { b.Ends[1].Kind = job.Free }},
	}
}

// reference is the best of twelve starts from the careful sketch.
func (c studyCase) reference(t testing.TB) *fit.Bar {
	return c.fit(t, c.sketch, 12)
}

func (c studyCase) fit(t testing.TB, sketch []r3.Vector, starts int) *fit.Bar {
	cage, err := fit.Fit(context.Background(), oneBar(sketch, c.change), c.shell, fit.Options{Workers: 1, Starts: starts})
	require.NoError(t, err)
	return cage.Bars[0]
}

// certified tells whether a bar keeps its clearance all along, by certificate,
// can be bent, and stands on the shell.
func certified(b *fit.Bar) bool {
	if b.Gap.CertifiedMin < b.Clearance || b.Gap.Deficit > fit.Resolution || b.Path.Radius != b.Tube.Die.CLR || len(b.Blocking) > 0 {
		return false
	}
	for _, f := range b.Feet {
		if f.Error > fit.FootError {
			return false
		}
	}
	return true
}

// The contract's targets, against twelve starts from the same sketch: what the
// bar's station and ends make of the gap belongs to the sketch. A single start from sketches of 80 mm noise certified
// in at least 98 %, several starts from 150 mm in at least 99 %, with a mean gap
// within 1 mm of the reference in at least 90 %.
func TestStartsReachTheReference(t *testing.T) {
	for _, c := range studyCases(t) {
		ref := c.reference(t)
		require.True(t, certified(ref), "%s: reference: %+v %+v", c.name, ref.Gap, ref.Blocking)
		t.Logf("%s: reference mean gap %.3f, certified %.4f, nodes %.0f", c.name, ref.Gap.Mean, ref.Gap.CertifiedMin, ref.Path.Nodes)
		for _, run := range []struct {
			noise       float64
			starts      int
			good, close float64
			trials      int
		}{{80, 1, 0.98, 0, trials(2, 100)}, {150, 0, 0.99, 0.9, trials(1, 100)}} {
			n := run.trials
			bars, refs := make([]*fit.Bar, n), make([]*fit.Bar, n)
			each(n, func(i int) {
				sketch := noisy(uint64(1000+i), ref.Path.Nodes, run.noise)
				bars[i] = c.fit(t, sketch, run.starts)
				if run.close > 0 {
					refs[i] = c.fit(t, sketch, 12)
				}
			})
			good, near, careful := 0, 0, 0
			for i, b := range bars {
				if certified(b) {
					good++
				} else {
					t.Logf("   %s noise %g sketch %d: gap %.3f..%.3f certified %.6f deficit %.4f radius %.2f feet %.3f %.60v", c.name, run.noise, i, b.Gap.Min, b.Gap.Max, b.Gap.CertifiedMin, b.Gap.Deficit, b.Path.Radius, footErrors(b), b.Blocking)
				}
				if b.Gap.Mean < ref.Gap.Mean+1 {
					careful++
				}
				if refs[i] == nil {
					continue
				}
				if b.Gap.Mean < refs[i].Gap.Mean+1 {
					near++
				} else {
					t.Logf("   %s noise %g sketch %d: mean gap %.3f, with twelve starts %.3f", c.name, run.noise, i, b.Gap.Mean, refs[i].Gap.Mean)
				}
			}
			t.Logf("%s noise %g, starts %d: certified %d of %d, near twelve starts %d, near the careful sketch %d", c.name, run.noise, run.starts, good, n, near, careful)
			// Seeds are fixed: what passes once passes always.
			assert.GreaterOrEqual(t, float64(good), run.good*float64(n), c.name)
			assert.GreaterOrEqual(t, float64(near), run.close*float64(n), c.name)
		}
	}
}

func footErrors(b *fit.Bar) []float64 {
	var e []float64
	for _, f := range b.Feet {
		e = append(e, f.Error)
	}
	return e
}
