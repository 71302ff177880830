package bender

import (
	"fmt"
	"math"

	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// check looks at the pieces one by one, for what can't be whatever the die is.
func check(pieces []Piece, setting Setting) []Fault {
	var faults []Fault
	whole := func(format string, args ...any) []Fault {
		return []Fault{{Piece: -1, Text: fmt.Sprintf(format, args...)}}
	}
	lacking := func(text string) []Fault { return []Fault{{Piece: -1, Text: text, Missing: true}} }
	n := setting.Noise
	switch {
	case len(pieces) == 0:
		return lacking("there are no test pieces")
	case len(pieces) > mostPieces:
		return whole("%d test pieces are too many: at most %d", len(pieces), mostPieces)
	case !(setting.OD > 0) || math.IsInf(setting.OD, 0):
		return lacking("od, the tube's outside diameter, is missing")
	case setting.CLR != 0 && !(setting.CLR > setting.OD/2 && setting.CLR <= 1e4):
		return whole("clr %.1f mm is not more than half of od %.1f mm", setting.CLR, setting.OD)
	case !(n.Length < 100) || !(n.Angle < 30*s1.Degree) || !(n.Set >= 0 && n.Set < 30*s1.Degree) || !(n.Diameter < 100):
		return whole("the errors that measurements are taken to have are out of range")
	}
	for i, p := range pieces {
		faults = append(faults, checkPiece(i, p, setting)...)
	}
	return faults
}

func checkPiece(i int, p Piece, setting Setting) (faults []Fault) {
	n := setting.Noise
	say := func(key, format string, args ...any) {
		faults = append(faults, Fault{Piece: i, Name: p.Name, Key: key, Text: fmt.Sprintf(format, args...)})
	}
	lack := func(key, format string, args ...any) {
		say(key, format, args...)
		faults[len(faults)-1].Missing = true
	}
	for _, l := range []struct {
		key string
		mm  float64
	}{{"length", p.Length}, {"mark", p.Mark}, {"leg_a", p.LegA}, {"leg_b", p.LegB}, {"chord", p.Chord}, {"height", p.Height}, {"smallest", p.Smallest}, {"largest", p.Largest}} {
		if !(l.mm >= 0 && l.mm <= 1e5) {
			say(l.key, "%s %g mm is not a length", l.key, l.mm)
		}
	}
	switch {
	case !(p.Angle > 0 && p.Angle <= 180*s1.Degree):
		say("angle", "angle %g degrees is not between 0 and 180", tube.Degrees(p.Angle))
	case !(p.Set > 0 && p.Set <= 270*s1.Degree):
		say("set", "set %g degrees is not between 0 and 270", tube.Degrees(p.Set))
	}
	if len(faults) > 0 {
		return faults
	}

	// A bend opens when it is let go.
	if over := p.Angle - p.Set; float64(over) > 3*math.Hypot(float64(n.Angle), float64(n.Set)) {
		say("angle", "angle %.2f degrees is %.2f more than the %.2f it was set to, but a bend opens when it is let go", tube.Degrees(p.Angle), tube.Degrees(over), tube.Degrees(p.Set))
	} else if -over > mostPlay+p.Angle*mostBack {
		say("set", "set %.2f degrees for an angle of %.2f is %.2f of springback, more than any tube has", tube.Degrees(p.Set), tube.Degrees(p.Angle), tube.Degrees(-over))
	}

	legs := p.LegA > 0 || p.LegB > 0
	switch {
	case !legs:
	case p.Legs != EdgeOutside && p.Legs != EdgeInside:
		lack("to", "to is missing: are the legs measured to the outside or the inside of the other leg?")
	case p.Angle > legsToAngle:
		say("angle", "the legs of a bend of %.0f degrees meet too far out to be measured: leave leg_a and leg_b out, or bend to at most %.0f", tube.Degrees(p.Angle), tube.Degrees(legsToAngle))
	case p.LegB > 0 && p.Length == 0:
		lack("leg_b", "leg_b needs the length of the blank")
	case p.Mark == 0 && (p.LegA == 0 || p.LegB == 0):
		lack("mark", "mark is missing: without it both legs and the length are needed")
	}
	if p.Mark > 0 && p.Length > 0 && p.Mark >= p.Length {
		say("mark", "mark %.1f mm is beyond the end of the blank, which has %.1f mm", p.Mark, p.Length)
	}

	switch {
	case (p.Chord > 0) != (p.Height > 0):
		key := "height"
		if p.Height > 0 {
			key = "chord"
		}
		lack(key, "chord and height go together: %s is missing", key)
	case p.Chord == 0:
	case p.ChordOn != EdgeOutside && p.ChordOn != EdgeInside && p.ChordOn != EdgeCentre:
		lack("chord_on", "chord_on is missing: is the chord on the outside, the inside or the centreline of the bend?")
	case p.Height >= p.Chord/2:
		say("height", "height %.1f mm is not less than half of the chord, %.1f mm", p.Height, p.Chord/2)
	default:
		// The arc over the chord spans 4 atan(2h/c).
		span := 4 * math.Atan(2*p.Height/p.Chord)
		slope := 8 / p.Chord / (1 + 4*p.Height*p.Height/(p.Chord*p.Chord))
		if span > float64(p.Angle)+gross*math.Hypot(slope*n.Length, float64(n.Angle)) {
			say("chord", "chord %.1f mm with height %.1f mm spans %.0f degrees of arc, more than the bend's %.0f: take a shorter chord, within the bend", p.Chord, p.Height, span*180/math.Pi, tube.Degrees(p.Angle))
		} else if clr := ChordRadius(p.Chord, p.Height) - p.ChordOn.side()*setting.OD/2; clr <= setting.OD/2 {
			say("chord", "chord %.1f mm and height %.1f mm on the %s give a centreline radius of %.1f mm, less than half of od", p.Chord, p.Height, p.ChordOn, clr)
		}
	}

	switch {
	case (p.Smallest > 0) != (p.Largest > 0):
		key := "largest"
		if p.Largest > 0 {
			key = "smallest"
		}
		lack(key, "smallest and largest diameter go together: %s is missing", key)
	case p.Smallest == 0:
	case p.Smallest > p.Largest:
		say("smallest", "smallest diameter %.2f mm is more than the largest, %.2f mm", p.Smallest, p.Largest)
	case p.Smallest > setting.OD+odOver+3*n.Diameter:
		say("smallest", "smallest diameter %.2f mm is %.2f mm more than od, %.2f mm, but a bend only flattens", p.Smallest, p.Smallest-setting.OD, setting.OD)
	case p.Smallest < leastRound*setting.OD:
		say("smallest", "smallest diameter %.2f mm is under half of od, %.2f mm: that is a kink, or another tube", p.Smallest, setting.OD)
	case p.Largest > mostRound*setting.OD:
		say("largest", "largest diameter %.2f mm is over one and a half of od, %.2f mm: that is a kink, or another tube", p.Largest, setting.OD)
	}
	if len(faults) == 0 && p.LegA > 0 && p.LegB > 0 {
		if f := legsFault(p, setting); f != "" {
			say("leg_a", "%s", f)
		}
	}
	return faults
}

// legsFault says that the legs of a piece can't come from its blank, or "". The
// radius is taken from the stamp or from a chord; else anything goes that benders
// have.
func legsFault(p Piece, setting Setting) string {
	low, high := leastRadius*setting.OD, mostRadius*setting.OD
	on := ""
	switch {
	case setting.CLR > 0:
		on = fmt.Sprintf(" on a die of %.1f mm", setting.CLR)
		clr := FreeRadius(setting.CLR, p.Angle, p.Set)
		low, high = clr*(1-stampOff), clr*(1+stampOff)
	case p.Chord > 0:
		clr := ChordRadius(p.Chord, p.Height) - p.ChordOn.side()*setting.OD/2
		low, high = clr*(1-stampOff), clr*(1+stampOff)
	}
	n := setting.Noise
	t := float64(p.Angle)
	tan := math.Tan(t / 2)
	over := func(to Edge) float64 {
		sum := func(clr float64) float64 {
			return p.Length - clr*t + 2*(clr+to.side()*setting.OD/2)*tan
		}
		slope := high*(1+tan*tan) - low
		room := mostStretch*setting.OD*t + gross*math.Hypot(math.Sqrt2*n.Length, slope*float64(n.Angle))
		legs := p.LegA + p.LegB
		switch {
		case legs > sum(high)+room:
			return legs - sum((low+high)/2)
		case legs < sum(low)-room:
			return legs - sum((low+high)/2)
		}
		return 0
	}
	off := over(p.Legs)
	if off == 0 {
		return ""
	}
	much := "too long"
	if off < 0 {
		much = "too short"
	}
	text := fmt.Sprintf("leg_a and leg_b add up to %.1f mm, but a blank of %.1f mm bent to %.1f degrees%s gives about %.1f mm to the %s: together they are %.1f mm %s", p.LegA+p.LegB, p.Length, tube.Degrees(p.Angle), on, p.LegA+p.LegB-off, p.Legs, math.Abs(off), much)
	other := EdgeInside
	if p.Legs == EdgeInside {
		other = EdgeOutside
	}
	if over(other) == 0 {
		text += fmt.Sprintf("; to the %s they would fit", other)
	}
	return text
}

// impossible looks at what the pieces give together.
func (s *system) impossible(x []float64, c *Calibration) []Fault {
	var faults []Fault
	whole := func(key, format string, args ...any) {
		faults = append(faults, Fault{Piece: -1, Key: key, Text: fmt.Sprintf(format, args...)})
	}
	od, clr := s.setting.OD, c.CLR.Value
	switch stamp := s.setting.CLR; {
	case stamp > 0 && math.Abs(c.Loaded.Value-stamp) > stampOff*stamp+c.Loaded.Half:
		whole("clr", "the pieces give a centreline radius of %.1f mm under load, the die is stamped %.1f mm: check the legs, the edges they are measured to, and the die", c.Loaded.Value, stamp)
	case clr < leastRadius*od-c.CLR.Half || clr > mostRadius*od+c.CLR.Half:
		whole("", "the pieces give a centreline radius of %.1f mm, which no bender has for tube of %.1f mm: check the legs and the edges they are measured to", clr, od)
	case c.Stretch.Basis != Unknown && math.Abs(c.Stretch.Value) > mostStretch*od+c.Stretch.Half:
		whole("", "legs and blanks give a stretch of %.3f mm per degree, which no bender has: check the legs, the blanks' lengths and the edges the legs are measured to", c.Stretch.Value*float64(s1.Degree))
	}
	if len(faults) > 0 {
		return faults
	}
	for i, p := range s.pieces {
		t := x[iFirst+i]
		reach := (clr + p.Legs.side()*od/2) * math.Tan(t/2)
		for _, leg := range []struct {
			key string
			mm  float64
		}{{"leg_a", p.LegA}, {"leg_b", p.LegB}} {
			if leg.mm > 0 && leg.mm < reach-c.CLR.Half-gross*c.Noise.Length {
				faults = append(faults, Fault{Piece: i, Name: p.Name, Key: leg.key, Text: fmt.Sprintf("%s %.1f mm is shorter than the bend alone, which takes %.1f mm of it", leg.key, leg.mm, reach)})
			}
		}
	}
	return faults
}
