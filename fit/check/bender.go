package check

import (
	"fmt"
	"math"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/tube"
)

// Limits on what errors of bending do. Common practice, no source.
const (
	driftTol   = 1.0  // mm that rounded set angles may move the far end before it is said
	clearShare = 0.95 // of bars bent within the tolerances that should clear the shell
)

// leastRoundness is what cage rules commonly ask of the smallest / largest
// diameter in a bend (Motorsport UK NCR 2026, chapter 7, appendix 3, 20.3).
const leastRoundness = 0.9

// quality says what is to be expected of the bends of a tube and die.
func quality(s *tube.Spec) []fit.Finding {
	var out []fit.Finding
	if r := s.Die.Roundness; r > 0 && r < leastRoundness {
		out = append(out, fit.Finding{
			Severity: fit.Warning, Rule: "tube", Got: r, Limit: leastRoundness, Unit: "smallest / largest diameter",
			Message: fmt.Sprintf("tube %q: the test piece of die %q came out at %.3f smallest / largest diameter in the bend; cage rules commonly ask for %.2f or more", s.Name, s.Die.Name, r, leastRoundness),
		})
	}
	if q := bender.QualityOf(s); q.Mandrel && s.OD < thinWall*s.Wall { // else the wall is a slip, which is said
		out = append(out, fit.Finding{
			Severity: fit.Note, Rule: "tube", Got: q.Severity, Unit: "wall factor / D of bend",
			Message: fmt.Sprintf("tube %q: shops usually put a mandrel in for such a bend (OD / wall %.1f at CLR / OD %.1f; common practice): bend a test piece, saw it through and measure", s.Name, q.WallFactor, q.BendRatio),
		})
	}
	return out
}

// change returns what would make a bend possible that breaks a rule, as an
// addition to a message; "" if the bender's plan knows nothing.
func change(b *fit.Bar, rule string, bend int) string {
	if l := planned(b, rule, bend); l != nil && l.Change != "" {
		return "; " + l.Change
	}
	return ""
}

// planned returns what the bender's plan says about a rule and bend.
func planned(b *fit.Bar, rule string, bend int) *bender.Limit {
	if b.Blank == nil {
		return nil
	}
	for i := range b.Blank.Limits {
		if l := &b.Blank.Limits[i]; l.Rule == rule && l.Bend == bend {
			return l
		}
	}
	return nil
}

// swing reports where the bent part of a tube runs into floor or machine, and
// set angles that the die can't be taken to.
func swing(b *fit.Bar) []fit.Finding {
	if b.Blank == nil {
		return nil
	}
	arcs := b.Path.Arcs()
	var out []fit.Finding
	for _, l := range b.Blank.Limits {
		overset := l.Rule == "angle" && !overbent(b, l.Bend)
		if l.Rule != "swing" && !overset {
			continue
		}
		severity := fit.Error
		if overset {
			severity = fit.Warning // max_angle may be meant of the finished bend, and the next degree may be there
		}
		f := fit.Finding{
			Severity: severity, Rule: l.Rule, Bend: l.Bend, Got: l.Got, Limit: l.Limit, Unit: l.Unit,
			Message: l.Detail,
		}
		if l.Change != "" {
			f.Message += "; " + l.Change
		}
		if l.Bend >= 1 && l.Bend <= len(arcs) {
			f.At = pointer(middle(b.Path, arcs[l.Bend-1]))
		}
		out = append(out, f)
	}
	if d := b.Blank.Drift; d > driftTol {
		end := 1 - b.Blank.First
		at := b.Path.Segments[len(b.Path.Segments)-1].To
		if end == 0 {
			at = b.Path.Segments[0].From
		}
		out = append(out, fit.Finding{
			Severity: fit.Note, Rule: "angle", Got: d, Limit: driftTol, Unit: "mm", At: &at,
			Message: fmt.Sprintf("set angles rounded to what die %q can be set to leave end %s %.1f mm off", b.Tube.Die.Name, endName(end), d),
		})
	}
	return out
}

// overbent tells whether the finished bend itself is more than the die bends,
// which bends reports.
func overbent(b *fit.Bar, bend int) bool {
	arcs := b.Path.Arcs()
	return bend >= 1 && bend <= len(arcs) && arcs[bend-1].Angle > b.Tube.Die.MaxAngle+angleTol*math.Pi/180
}

// spread reports a bar that, bent as well as the job says this shop bends, would
// touch the shell too often.
func spread(b *fit.Bar) []fit.Finding {
	t := b.Budget
	if t == nil || t.Draws == 0 || !(t.Clears < clearShare) {
		return nil
	}
	return []fit.Finding{{
		Severity: fit.Warning, Rule: "clearance", Got: 100 * t.Clears, Limit: 100 * clearShare, Unit: "%", At: pointer(b.Gap.WorstAt),
		Message: fmt.Sprintf("bent within %.2g degrees and %.2g mm, %.0f %% of such bars clear the shell; a clearance of %.1f mm would do for %.0f %%",
			degrees(float64(t.Angle)), t.Length, 100*t.Clears, t.Need95, 100*clearShare),
	}}
}

// beyond returns how much straight tube the blank has beyond an end of the bar
// for the bender to hold, mm.
func beyond(b *fit.Bar, end int) float64 {
	if b.Blank == nil {
		return 0
	}
	return b.Blank.Beyond[end]
}
