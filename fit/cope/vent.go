package cope

import (
	"fmt"
	"math"
	"strconv"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// keepOff is how far the centre of a vent hole stays from the bead, in diameters
// of the hole (common practice, no source): nearer, the weld closes it.
const keepOff = 1.5

// ventState says why a joint has a vent or not.
type ventState uint8

const (
	ventNone   ventState = iota // none wanted
	ventDone                    // there is one
	ventNoRoom                  // none fits
)

// drill finds a place for a hole of the given diameter (mm): in the wall of what
// the branch's bore opens on, best where its axis comes out, else where there is
// most room.
func (k *worked) drill(c *fit.Cage, diameter float64) (*fit.Vent, ventState) {
	if diameter <= 0 {
		return nil, ventNone
	}
	q := k.branch.Tube.Inner() / 2
	var best *fit.Vent
	for ring := range 4 {
		for n := range 24 {
			if ring == 0 && n > 0 {
				break
			}
			v := k.hole(c, q*float64(ring)/4, float64(n)*math.Pi/12, diameter)
			if v != nil && (best == nil || v.Margin > best.Margin) {
				best = v
			}
		}
		if ring == 0 && best != nil {
			return best, ventDone
		}
	}
	if best == nil {
		return nil, ventNoRoom
	}
	return best, ventDone
}

// hole is a vent hole on the branch's line at the distance rho (mm) from its axis
// and the clock position in radians; nil if there is no room.
func (k *worked) hole(c *fit.Cage, rho, clock, diameter float64) *fit.Vent {
	u := k.direction(clock)
	at := k.cut(rho, u)
	if at.by < 0 {
		return nil
	}
	b := c.Bars[k.solids[at.by].bar]
	p := k.node.Add(u.Mul(rho)).Add(k.w.Mul(at.x))
	s, d := b.Path.Closest(p)
	// On a tube's wall, and not past the tube's end.
	if s < diameter || s > b.Path.Length-diameter || math.Abs(d-b.Radius()) > walkStep {
		return nil
	}
	// Straight distances are no longer than those along the tube.
	q := k.branch.Tube.Inner() / 2
	bore, bead := math.Inf(1), math.Inf(1)
	for n := range clocks {
		in := k.node.Add(k.direction(float64(n) * math.Pi / 180).Mul(q)).Add(k.w.Mul(k.inner.x[n]))
		bore, bead = min(bore, p.Sub(in).Norm()), min(bead, p.Sub(k.point[n]).Norm())
	}
	if bore < diameter/2 || bead < keepOff*diameter {
		return nil
	}
	centre, _ := b.Path.At(s)
	turn := float64(tube.ClockOf(b.Path, s, p.Sub(centre)))
	return &fit.Vent{
		Bar: b.Name, At: s, Clock: degrees(turn), Wrap: turn * b.Radius(), Point: p,
		Diameter: diameter, Margin: bore - diameter/2,
	}
}

// cavities looks for air that is shut in. The bore of each bar is a space of its
// own; a vent joins the bore of a branch with that of the bar that is drilled; a
// free end is open; feet are closed by their plates. What has no opening
// blows the last weld out, so it is never passed over in silence.
func cavities(c *fit.Cage, joints []*worked) []fit.Finding {
	group := make([]int, len(c.Bars))
	for i := range group {
		group[i] = i
	}
	index := map[string]int{}
	for i, b := range c.Bars {
		if _, ok := index[b.Name]; !ok {
			index[b.Name] = i
		}
	}
	for _, k := range joints {
		if k.joint.Vent == nil {
			continue
		}
		from, to := group[k.bar], group[index[k.joint.Vent.Bar]]
		for i := range group {
			if group[i] == from {
				group[i] = to
			}
		}
	}
	var out []fit.Finding
	told := map[int]bool{}
	for i, b := range c.Bars {
		if !usable(b) || told[group[i]] {
			continue
		}
		told[group[i]] = true
		var bars []*fit.Bar
		open := false
		for n, o := range c.Bars {
			if group[n] != group[i] || !usable(o) {
				continue
			}
			bars = append(bars, o)
			for _, end := range o.Ends {
				open = open || end.Kind == job.Free
			}
		}
		if !open {
			out = append(out, closed(c, joints, bars))
		}
	}
	return out
}

// closed tells where the air of some bars, joined by vents, can be let out.
func closed(c *fit.Cage, joints []*worked, bars []*fit.Bar) fit.Finding {
	f := fit.Finding{Severity: fit.Note, Rule: "vent", Bar: bars[0].Name, Unit: "mm"}
	who := "inside it"
	if len(bars) > 1 {
		who = fmt.Sprintf("in the %d bars that it is joined to by vents", len(bars))
	}
	if len(bars) > 1 && len(bars) == count(c) {
		who = "in the whole cage"
	}
	why := "every end is closed"
	for _, k := range joints {
		if k.vent == ventNoRoom && (k.branch == bars[0] || c.Bars[k.target] == bars[0]) {
			f.Severity, f.Joint = fit.Warning, k.joint.Name
			why = "there is no room for a vent hole at joint " + k.joint.Name
			break
		}
	}
	b, e, s := outlet(bars)
	at, _ := b.Path.At(s)
	f.At = pointer(at)
	from := s
	if e == 1 {
		from = b.Path.Length - s
	}
	f.Got = from
	f.Message = fmt.Sprintf("the air %s has no way out, since %s: it needs a hole at the lowest place, in %s %.0f mm from end %s, or one weld left open until all others are cold",
		who, why, strconv.Quote(b.Name), from, endName(e))
	return f
}

// count says how many bars are usable.
func count(c *fit.Cage) int {
	n := 0
	for _, b := range c.Bars {
		if usable(b) {
			n++
		}
	}
	return n
}

// outlet finds the lowest end of some bars, feet before others, and the place
// two diameters along from it: clear of the end's own weld.
func outlet(bars []*fit.Bar) (b *fit.Bar, e int, s float64) {
	least, standing := r3.Vector{Z: math.Inf(1)}, false
	for _, o := range bars {
		for end, kind := range o.Ends {
			p, _ := o.Path.At(station(o, end))
			is := kind.Kind == job.Foot
			if b == nil || is && !standing || is == standing && p.Z < least.Z {
				b, e, least, standing = o, end, p, is
			}
		}
	}
	s = min(2*b.Tube.OD, b.Path.Length/2)
	if e == 1 {
		s = b.Path.Length - s
	}
	return b, e, s
}
