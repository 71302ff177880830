package stock

import (
	"fmt"
	"math"
	"slices"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// TubePlan is the metal of one size of tube.
type TubePlan struct {
	Tube   *tube.Spec
	Pieces []Piece // bars in cage order, then the test piece
	Plan   *Plan   // nil: no stick length is given, or Err
	Err    error   // why there is no plan: a bar longer than every stick, too few sticks
	Need   float64 // length of all pieces, mm
	Mass   float64 // of all pieces, kg
	Bought float64 // mass of all sticks, kg; 0 without a plan
}

const (
	// testLeg in mm is what each leg of a test piece has beyond the die's tail, to
	// clamp it and to hold a rule against it (common practice, no source).
	testLeg = 50

	// testRound in mm: a test piece need not be cut to the millimetre.
	testRound = 10
)

// TestLength returns the length (mm) of a test piece for a die: a bend of 90
// degrees between two legs of the die's tail and 50 mm more, rounded up to 10 mm.
func TestLength(d *tube.Die) float64 {
	length := 2*(d.Tail+testLeg) + d.CLR*math.Pi/2
	return testRound * math.Ceil((length-lengthNoise)/testRound)
}

// ForCage returns what to buy for a cage, tubes in the order of the job. Bars
// that are in the car already (fixed) need no metal. Every tube of which bars are
// bent gets a test piece if the saw's table asks for one: two tubes that share a
// die may spring back differently. A tube that can't be packed has its error and
// its pieces all the same.
func ForCage(c *fit.Cage, j *job.Job, budget int) []TubePlan {
	var out []TubePlan
	for _, t := range tubes(c, j) {
		p := TubePlan{Tube: t}
		bent := false
		for _, b := range c.Bars {
			if b.Tube == nil || b.Tube.Name != t.Name || b.Job != nil && b.Job.Fixed {
				continue
			}
			p.Pieces = append(p.Pieces, Piece{Label: b.Name, Length: b.SawLength(), Count: 1})
			bent = bent || len(b.Table.Bends) > 0
		}
		if bent && t.Die != nil && j.Saw.Test {
			p.Pieces = append(p.Pieces, Piece{Label: "test piece, die " + t.Die.Name, Length: TestLength(t.Die), Count: 1})
		}
		if len(p.Pieces) == 0 {
			continue
		}
		for _, piece := range p.Pieces {
			p.Need += piece.Length * float64(piece.Count)
		}
		p.Mass = t.Mass(p.Need)
		sticks := t.Sticks
		if len(sticks) == 0 && t.Stick > 0 {
			sticks = []tube.Stick{{Length: t.Stick, Stock: -1}}
		}
		if len(sticks) > 0 {
			plan, err := Pack(p.Pieces, sticks, Options{Kerf: j.Saw.Kerf, Budget: budget})
			if err != nil {
				p.Err = fmt.Errorf("tube %q: %w", t.Name, err)
			} else {
				p.Plan = plan
				p.Bought = t.Mass(plan.Bought)
			}
		}
		out = append(out, p)
	}
	return out
}

// tubes returns the job's tubes, then those that only bars know.
func tubes(c *fit.Cage, j *job.Job) []*tube.Spec {
	out := slices.Clone(j.Tubes)
	for _, b := range c.Bars {
		if b.Tube != nil && !slices.ContainsFunc(out, func(t *tube.Spec) bool { return t.Name == b.Tube.Name }) {
			out = append(out, b.Tube)
		}
	}
	return out
}
