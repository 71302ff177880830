package cope

import (
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit"
	"barwright/fit/internal/par"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

// clocks is how many lines along the tube a cut is worked out on: one for each
// degree. Between two lines of a 50 mm tube a curve departs from its chord by
// less than 0.01 mm, but for its kinks.
const clocks = 360

// beads is how many of them give the bead.
const beads = 72

// Work works out where the bars of a cage meet and how their ends are cut: it
// fills in c.Joints and the Cuts of every bar, and returns what is to be said
// about them. Landed ends are notched, feet get a mitre, free ends are square.
// Bars must have path, tube and ends; feet are those that fit.Evaluate found.
// sh may be nil: joints don't ask the scan. workers is how many goroutines work
// at once, 0 or less: as many as there are processors; the result does not
// depend on it.
func Work(c *fit.Cage, j *job.Job, sh *mesh.Shell, workers int) []fit.Finding {
	var found []fit.Finding
	for _, b := range c.Bars {
		b.Cuts = [2]fit.EndCut{}
		if !usable(b) {
			continue
		}
		for e, end := range b.Ends {
			b.Cuts[e] = square()
			if end.Kind == job.Foot {
				found = append(found, mitre(b, e)...)
			}
		}
	}
	all := landings(c)
	order(c, all)
	joints := make([]*worked, len(all))
	par.Each(len(all), workers, func(i int) { joints[i] = all[i].work(c, j, i) })
	c.Joints = nil
	for _, k := range joints {
		c.Joints = append(c.Joints, k.joint)
		found = append(found, k.findings(c)...)
	}
	found = append(found, ends(c, joints)...)
	found = append(found, apart(joints, j.Joints.Apart)...)
	found = append(found, girth(c, joints)...)
	return append(found, cavities(c, joints)...)
}

func square() fit.EndCut {
	return fit.EndCut{Kind: fit.Square, Outer: make([]float64, clocks), Inner: make([]float64, clocks)}
}

// mitre cuts end e of a bar, a foot, along the upper side of its plate. The
// node is under the plate, on the shell.
func mitre(b *fit.Bar, e int) []fit.Finding {
	for _, f := range b.Feet {
		if f.End != e {
			continue
		}
		thick := 0.0
		if b.Job != nil {
			thick = b.Job.Plate.Thickness
		}
		cut, slope := toPlane(b, e, f.Normal, thick)
		if cut == nil {
			node, _ := b.Path.At(station(b, e))
			return []fit.Finding{{
				Severity: fit.Error, Rule: "landing", Bar: b.Name, Got: math.Asin(slope) * 180 / math.Pi, Limit: sharpest, Unit: "deg", At: &node,
				Message: "end " + endName(e) + " runs so flat along the shell that its end can't be cut to it; it is left square",
			}}
		}
		b.Cuts[e] = *cut
	}
	return nil
}

// toPlane returns end e of a bar cut to the plane with that unit normal (towards
// the bar) which lies height mm over its node, and the sine of the angle between
// bar and plane; no cut if that is under the sharpest.
func toPlane(b *fit.Bar, e int, normal r3.Vector, height float64) (cut *fit.EndCut, slope float64) {
	s := station(b, e)
	_, w := b.Path.At(s)
	if e == 1 {
		w = w.Mul(-1)
	}
	slope = w.Dot(normal)
	if !(slope > math.Sin(sharpest*math.Pi/180)) {
		return nil, slope
	}
	cut = &fit.EndCut{Kind: fit.Mitre}
	for i := range clocks {
		// A line along the tube starts radius x lean over the node.
		lean := tube.AtClock(b.Path, s, s1.Angle(i)*s1.Degree).Dot(normal)
		cut.Outer = append(cut.Outer, (height-b.Radius()*lean)/slope)
		cut.Inner = append(cut.Inner, (height-b.Tube.Inner()/2*lean)/slope)
	}
	return cut, slope
}

func endName(e int) string { return string(rune('A' + e)) }

// pointer gives a finding its own copy of a place.
func pointer(v r3.Vector) *r3.Vector { return &v }

// degrees of an angle in radians, without the last bits of noise.
func degrees(rad float64) float64 { return math.Round(rad*180/math.Pi*1e9) / 1e9 }
