package fit

import (
	"math"

	"github.com/golang/geo/r3"
)

// tightness tells how much a further small move could still close the gap.
type tightness struct {
	gain     float64     // predicted fall of the mean gap within the box, mm
	residual float64     // what the box alone holds back, mm of gap per mm of move
	contacts []r3.Vector // where the shell holds the bar
}

// tightBox is the box of the tightness problem, mm.
const tightBox = 3

// tighten solves one quadratic program for the gap alone, without the sketch's
// pull and the bar's length.
func (p *problem) tighten(e *evaluation) tightness {
	if !p.hug || e.gapGrad == nil {
		return tightness{}
	}
	gap := *e
	gap.grad = e.gapGrad
	gap.objective = e.gap
	m := &sqp{p: p, nu: nuMost}
	s, err := m.step(&gap, e.rows, nil, tightBox)
	if err != nil {
		return tightness{}
	}
	t := tightness{gain: math.Max(0, e.gap-s.model), residual: s.box}
	for i, r := range e.rows {
		if r.contact && s.lambda[i] > 1e-6 {
			t.contacts = append(t.contacts, r.at)
		}
	}
	return t
}

// blockers names the constraints that an end of a run could not meet, worst
// first.
func (s *solution) blockers(tolerance float64) []Blocker {
	var out []Blocker
	worst := map[[2]any]int{}
	for _, r := range s.e.rows {
		if r.violation() <= tolerance {
			continue
		}
		b := Blocker{Rule: r.rule, Bend: r.bend, Got: r.got, Limit: r.limit, Unit: r.unit, At: r.at, Detail: r.detail}
		key := [2]any{r.rule, r.bend}
		if i, seen := worst[key]; seen {
			if math.Abs(b.Got-b.Limit) > math.Abs(out[i].Got-out[i].Limit) {
				out[i] = b
			}
			continue
		}
		worst[key] = len(out)
		out = append(out, b)
	}
	return out
}
