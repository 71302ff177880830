package cope

import (
	"math"
	"slices"

	"barwright/fit"
	"barwright/fit/tube"
)

// zones returns what has to be bare for a joint's weld, bare mm beyond the bead:
// the branch all round, and of each bar that it meets the part beside the bead.
func (k *worked) zones(c *fit.Cage, bare float64) []fit.Zone {
	out := []fit.Zone{endZone(k.branch, k.end, k.short, k.long+bare)}
	out[0].Joint = k.joint.Name
	for n, solid := range k.solids {
		b := c.Bars[solid.bar]
		var at, turns []float64
		for i := range k.point {
			if max(k.outer.by[i], 0) == n { // what meets nothing is beside the target
				at = append(at, k.along[i])
				turns = append(turns, float64(tube.ClockOf(b.Path, k.along[i], k.normal[i]))*180/math.Pi)
			}
		}
		if len(at) == 0 {
			continue
		}
		from, to := slices.Min(at), slices.Max(at)
		along := bare
		for _, g := range b.Path.Segments {
			// On the inside of a bend the wall is shorter than the centreline.
			if g.Kind == tube.Arc && from-bare < g.Start+g.Length && to+bare > g.Start {
				along = bare * g.Radius / (g.Radius - b.Radius())
			}
		}
		z := fit.Zone{Joint: k.joint.Name, Bar: b.Name, From: max(0, from-along), To: min(b.Path.Length, to+along)}
		z.Clock, z.Round = span(turns, bare/b.Radius()*180/math.Pi)
		out = append(out, z)
	}
	return out
}

// endZone is a zone from near to far mm from the node of a bar's end.
func endZone(b *fit.Bar, end int, near, far float64) fit.Zone {
	far = min(far, b.Path.Length)
	if end == 0 {
		return fit.Zone{Bar: b.Name, From: near, To: far, Round: true}
	}
	return fit.Zone{Bar: b.Name, From: b.Path.Length - far, To: b.Path.Length - near, Round: true}
}

// span returns the range, clockwise from the first to the second, that holds all
// directions (degrees) and more to either side: the whole turn but for the
// widest gap between two of them.
func span(turns []float64, more float64) (clock [2]float64, round bool) {
	slices.Sort(turns)
	last := len(turns) - 1
	gap, after := turns[0]+360-turns[last], 0
	for i := 1; i <= last; i++ {
		if d := turns[i] - turns[i-1]; d > gap {
			gap, after = d, i
		}
	}
	if gap <= 2*more {
		return clock, true
	}
	before := (after + last) % len(turns)
	return [2]float64{math.Mod(turns[after]-more+360, 360), math.Mod(turns[before]+more, 360)}, false
}

// Zones returns all that is to be kept bare of paint, or sanded bright, for the
// welds of a cage that Work has been through: feet in the order of the bars,
// then joints. bare is how far (mm) beyond the bead.
func Zones(c *fit.Cage, bare float64) []fit.Zone {
	var out []fit.Zone
	for _, b := range c.Bars {
		for e, cut := range b.Cuts {
			if cut.Kind == fit.Mitre {
				out = append(out, endZone(b, e, slices.Min(cut.Outer), slices.Max(cut.Outer)+bare))
			}
		}
	}
	for _, j := range c.Joints {
		out = append(out, j.Zones...)
	}
	return out
}

// WeldLength returns how much there is to weld in a cage that Work has been
// through, mm: the beads of all joints and the outlines of all feet. Plates to
// shell are not in it.
func WeldLength(c *fit.Cage) float64 {
	sum := 0.0
	for _, j := range c.Joints {
		sum += j.Length
	}
	for _, b := range c.Bars {
		for _, cut := range b.Cuts {
			if cut.Kind != fit.Mitre {
				continue
			}
			for i, x := range cut.Outer {
				sum += math.Hypot(2*b.Radius()*math.Sin(math.Pi/clocks), x-cut.Outer[(i+1)%clocks])
			}
		}
	}
	return sum
}
