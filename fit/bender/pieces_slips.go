package bender

import (
	"fmt"
	"math"
	"strings"

	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// suspect is something that may have been measured or written down wrong: an error
// of 1 in it moves the residuals of rows by weights, in standard deviations.
type suspect struct {
	piece   int
	key     string
	rows    []int
	weights []float64
	got     float64
}

// suspects lists what may be wrong: every measurement, and what counts as exact but
// is somebody's word as well, the mark, the blank and the edge of the legs.
func (s *system) suspects() []suspect {
	var all []suspect
	rows := make([]map[string]int, len(s.pieces))
	for i, o := range s.obs {
		if o.key == "" {
			continue
		}
		all = append(all, suspect{o.piece, o.key, []int{i}, []float64{1 / o.sigma}, o.got})
		if o.piece >= 0 {
			if rows[o.piece] == nil {
				rows[o.piece] = map[string]int{}
			}
			rows[o.piece][o.key] = i
		}
	}
	for i, p := range s.pieces {
		add := func(key string, got float64, parts map[string]float64) {
			one := suspect{piece: i, key: key, got: got}
			for _, name := range []string{"leg_a", "leg_b", "legs"} {
				row, ok := rows[i][name]
				if part := parts[name]; ok && part != 0 {
					one.rows = append(one.rows, row)
					one.weights = append(one.weights, part/s.obs[row].sigma)
				}
			}
			if one.rows != nil {
				all = append(all, one)
			}
		}
		// The legs come out longer than a mark or a blank says that is written too short.
		add("mark", p.Mark, map[string]float64{"leg_a": -1, "leg_b": 1})
		add("length", p.Length, map[string]float64{"leg_b": -1, "legs": -1})
		if p.LegA > 0 && p.LegB > 0 {
			add("to", 0, map[string]float64{"leg_a": 1, "leg_b": 1, "legs": 2})
		}
	}
	return all
}

// outliers returns what does not fit the rest: suspects whose estimated error over
// its own standard deviation (for a single measurement the studentised residual,
// which is what leaving it out would give) is larger than chance allows.
func (s *system) outliers(l *linear) []Fault {
	q := l.redundancies()
	product := func(a, b suspect) float64 { // a^T Q b
		sum := 0.0
		for i, r := range a.rows {
			for k, c := range b.rows {
				sum += a.weights[i] * q.At(r, c) * b.weights[k]
			}
		}
		return sum
	}
	var tested []suspect
	var size, student []float64 // error, and over its standard deviation
	worst := -1
	for _, one := range s.suspects() {
		seen, plain := product(one, one), 0.0
		sum := 0.0
		for i, r := range one.rows {
			sum += one.weights[i] * l.residual[r]
			plain += one.weights[i] * one.weights[i]
		}
		if seen < uncontrolled*plain {
			continue
		}
		tested, size, student = append(tested, one), append(size, sum/seen), append(student, math.Abs(sum)/math.Sqrt(seen))
		if last := len(tested) - 1; worst < 0 || student[last] > student[worst] {
			worst = last
		}
	}
	if worst < 0 || float64(len(tested))*math.Erfc(student[worst]/math.Sqrt2) > oneIn {
		return nil
	}
	var faults []Fault
	var brief []string
	for i, one := range tested {
		same := math.Abs(product(one, tested[worst])) / math.Sqrt(product(one, one)*product(tested[worst], tested[worst]))
		if i != worst && (same < inseparable || student[i] < 0.9*student[worst]) {
			continue
		}
		if one.key == "to" && i != worst && math.Abs(size[i]/s.otherEdge(one.piece)-1) > 0.5 {
			continue
		}
		faults = append(faults, s.misfit(one, size[i]))
		brief = append(brief, s.brief(one, size[i]))
	}
	switch {
	case len(faults) > mostSuspects:
		return []Fault{{Piece: -1, Text: "the measurements contradict each other, and too few tell which is wrong. Off is " + strings.Join(brief, ", or ")}}
	case len(faults) > 1:
		for i := range faults {
			faults[i].Text += " (one of these is wrong; they can't be told apart)"
		}
	}
	return faults
}

// otherEdge returns by how much the legs of a piece are off if they are measured to
// the other edge than it says, mm each.
func (s *system) otherEdge(piece int) float64 {
	p := s.pieces[piece]
	return -p.Legs.side() * s.setting.OD * math.Tan(float64(p.Angle)/2)
}

// brief names a suspect and by how much it is off, for a list.
func (s *system) brief(one suspect, off float64) string {
	name := ""
	if one.piece >= 0 {
		name = fmt.Sprintf(" of %q", s.pieces[one.piece].Name)
	}
	switch one.key {
	case "set", "angle":
		return fmt.Sprintf("%s%s by %+.2f degrees", one.key, name, tube.Degrees(s1.Angle(off)))
	case "legs", "to":
		return fmt.Sprintf("both legs%s by %+.1f mm", name, off)
	case "springback", "stretch":
		return "what is assumed of the " + one.key
	}
	return fmt.Sprintf("%s%s by %+.1f mm", one.key, name, off)
}

// misfit words a suspect that is off by that much from what the others say.
func (s *system) misfit(one suspect, off float64) Fault {
	f := Fault{Piece: one.piece, Key: one.key}
	got := one.got
	if one.piece < 0 {
		switch one.key {
		case "clr":
			f.Text = fmt.Sprintf("the clr that is stamped on the die, %.1f mm, does not fit the pieces: they say %.1f mm", got, got-off)
		case "stretch":
			f.Text = fmt.Sprintf("legs and blanks add up to a stretch of %.3f mm per degree, which no bender has: check the legs, and the edges they are measured to", -off*float64(s1.Degree))
		default:
			f.Text = fmt.Sprintf("set angles and angles give a springback with an offset of %.1f degrees, which no bender has: check them", tube.Degrees(s1.Angle(-off)))
		}
		return f
	}
	f.Name = s.pieces[one.piece].Name
	switch one.key {
	case "set", "angle":
		f.Text = fmt.Sprintf("%s %.2f degrees does not fit the other measurements: they say %.2f, it is off by %+.2f", one.key, tube.Degrees(s1.Angle(got)), tube.Degrees(s1.Angle(got-off)), tube.Degrees(s1.Angle(off)))
	case "legs":
		f.Key = "leg_a"
		f.Text = fmt.Sprintf("leg_a and leg_b add up to %.1f mm, which does not fit the other measurements: they say %.1f mm, it is off by %+.1f mm", got, got-off, off)
	case "to":
		f.Text = fmt.Sprintf("leg_a and leg_b are both off by %+.1f mm against the other measurements: are they measured to the %s?", off, s.pieces[one.piece].Legs)
	default:
		f.Text = fmt.Sprintf("%s %.1f mm does not fit the other measurements: they say %.1f mm, it is off by %+.1f mm", one.key, got, got-off, off)
	}
	return f
}
