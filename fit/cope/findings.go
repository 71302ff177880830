package cope

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/tube"
)

// Limits of joints. Sources: the project's references, sections C and I.
const (
	// least is the flattest joint, degrees, that published rules for welded
	// joints of hollow sections cover: 30 <= angle <= 90 (EN 1993-1-8, Table 7.1,
	// quoted in several texts). Under a wedge of as much no weld is prequalified
	// (AWS D1.1, from memory). So it is an error: nothing that we know of says
	// how to weld it.
	least = 30.0
	// easy is the angle, degrees, under which the crotch is hard to weld (US
	// Navy course 14251, ch. 3, read: branches stand at 45 to 90 degrees).
	easy = 45.0
	// face is the part of a target's girth that joints at one place should
	// leave: half, which is what one branch as wide as the target leaves (common
	// practice, no source).
	face = 0.5
)

// Manufacturing tolerances: a limit is broken when it is passed by more.
const (
	angleTol  = 0.05 // degrees: tables give 0.1
	lengthTol = 0.05 // mm, likewise
	shareTol  = 0.01 // of a girth

	// beside is how far off the target's centreline a branch may land before it
	// is worth a word, mm: marking and clamping lose as much (common practice,
	// no source).
	beside = 1.0
)

// findings returns what is to be said about one joint alone.
func (k *worked) findings(c *fit.Cage) []fit.Finding {
	j, t := &k.joint, c.Bars[k.target]
	var out []fit.Finding
	say := func(severity fit.Severity, rule, other string, got, limit float64, unit string, at r3.Vector, format string, args ...any) {
		out = append(out, fit.Finding{
			Severity: severity, Rule: rule, Bar: j.Bar, Other: other, Joint: j.Name, Got: got, Limit: limit, Unit: unit, At: &at,
			Message: fmt.Sprintf("end %s ", j.End) + fmt.Sprintf(format, args...),
		})
	}
	if k.curves == nil {
		say(fit.Error, "landing", j.Onto, k.miss, k.branch.Radius()+t.Radius(), "mm", j.Node, "does not reach %q, it is %.1f mm from its centreline: it is left square", j.Onto, k.miss)
		return out
	}
	switch {
	case j.Angle < least-angleTol:
		say(fit.Error, "joint-angle", j.Onto, j.Angle, least, "deg", j.Node, "meets %q at %.1f deg: rules for welded joints of tubes start at %g deg", j.Onto, j.Angle, least)
	case j.Angle < easy-angleTol:
		say(fit.Note, "joint-angle", j.Onto, j.Angle, easy, "deg", j.Node, "meets %q at %.1f deg: under %g deg the crotch is hard to reach with a torch", j.Onto, j.Angle, easy)
	}
	if len(j.Around) > 0 && j.WedgeMin < least-angleTol && j.Angle >= least-angleTol {
		say(fit.Warning, "joint-angle", k.other(c, k.outer.by[k.narrow]), j.WedgeMin, least, "deg", k.point[k.narrow],
			"leaves only %.1f deg to lay the weld in against %q: under %g deg no weld is prequalified", j.WedgeMin, k.other(c, k.outer.by[k.narrow]), least)
	}
	switch width := k.branch.Tube.OD - t.Tube.OD; {
	case width > lengthTol:
		say(fit.Error, "joint", j.Onto, k.branch.Tube.OD, t.Tube.OD, "mm", j.Node, "is %.1f mm wider than %q: %.0f %% of its girth has nothing to sit on", width, j.Onto, 100*j.Open)
	case j.Open > 0:
		say(fit.Error, "joint", j.Onto, j.Open*100, 0, "%", j.Node, "stands beside %q: %.0f %% of its girth has nothing to sit on", j.Onto, 100*j.Open)
	}
	if math.Abs(j.Offset) > beside {
		say(fit.Warning, "joint", j.Onto, math.Abs(j.Offset), beside, "mm", j.Node, "is %.1f mm off the centreline of %q: the notch is deeper on one side", math.Abs(j.Offset), j.Onto)
	}
	if k.bends > lengthTol {
		// With the node on the straight only the bead's edge reaches the bend.
		severity, where := fit.Note, "reaches"
		if g := segmentAt(t.Path, j.At); g.Kind == tube.Arc {
			severity, where = fit.Warning, "sits on"
		}
		say(severity, "joint", j.Onto, k.bends, 0, "mm", j.Node, "%s a bend of %q, over %.0f mm of it: bent tube is not quite round, so no saw fits and the template only nearly does", where, j.Onto, k.bends)
	}
	if j.Saw.Exact && j.Saw.Passes == 0 && !k.grazing {
		say(fit.Note, "joint", j.Onto, j.Saw.Depth, 2*SawDepth, "mm", j.Node, "needs a hole saw %.0f mm deep, common ones cut %.0f mm from either side: cut it along the wrap template with a grinder", j.Saw.Depth, SawDepth)
	}
	k.nearEnd(t, say)
	if k.grazing {
		say(fit.Error, "joint", j.Onto, k.hi, 0, "mm", k.node.Add(k.w.Mul(k.hi)), "does not come apart from %s within %.0f mm: they meet too flat for a notch", k.names(c), k.hi)
	}
	// On a straight target only a joint that is too flat has a longer notch.
	if most := (t.Radius() + k.branch.Radius()) / math.Sin(least*math.Pi/180); len(j.Around) == 0 && !k.grazing && j.Angle >= least-angleTol && k.long > most+lengthTol {
		say(fit.Error, "joint", j.Onto, k.long, most, "mm", k.node.Add(k.w.Mul(k.long)), "lies along the inside of a bend of %q: its notch is %.0f mm long, at %g deg on a straight tube it would be no more than %.0f mm", j.Onto, k.long, least, most)
	}
	if g := lastStraight(k.branch.Path, k.end); len(k.branch.Path.Segments) > 1 {
		if k.long > g.Length+lengthTol {
			say(fit.Error, "joint", j.Onto, k.long, g.Length, "mm", j.Node, "needs a notch of %.1f mm, but its last straight is only %.1f mm long: the notch would run into the bend", k.long, g.Length)
		}
	}
	for _, s := range k.solids[1:] {
		o := c.Bars[s.bar]
		if !slices.Contains(j.Around, o.Name) {
			continue
		}
		axis := ray{k.node, k.w}
		from, ok := k.solids[0].leave(axis, k.lo-walkStep, k.hi+walkStep)
		if !ok {
			from = k.lo
		}
		x := s.nearest(axis, from, k.hi)
		overlap := max(0, k.branch.Radius()+o.Radius()-s.distance(axis.at(x)))
		if s.stranger {
			say(fit.Warning, "joint", o.Name, overlap, 0, "mm", axis.at(x), "overlaps %q by %.1f mm, which is in its way but not part of the joint: it is notched round that too", o.Name, overlap)
		} else {
			say(fit.Note, "joint", o.Name, overlap, 0, "mm", axis.at(x), "overlaps %q by %.1f mm: it is cut after that and notched round both", o.Name, overlap)
		}
	}
	if k.vent == ventNoRoom {
		say(fit.Warning, "vent", j.Onto, 0, 0, "mm", j.Node, "has no room for a vent hole inside its bore")
	}
	return out
}

// nearEnd says when a joint is at an end of its target.
func (k *worked) nearEnd(t *fit.Bar, say func(fit.Severity, string, string, float64, float64, string, r3.Vector, string, ...any)) {
	j := &k.joint
	for e := range 2 {
		from := j.At
		if e == 1 {
			from = t.Path.Length - j.At
		}
		edge := station(t, e)
		off := false
		for n, s := range k.station {
			// Exactly at the end: the closest point of the centreline is its end
			// point for all that is past it.
			off = off || k.outer.by[n] == 0 && s == edge
		}
		switch {
		case off:
			say(fit.Error, "joint", j.Onto, from, t.Radius(), "mm", j.Node, "lands %.1f mm from end %s of %q: part of it has no tube to sit on", from, endName(e), j.Onto)
		case from < t.Radius():
			say(fit.Warning, "joint", j.Onto, from, t.Radius(), "mm", j.Node, "lands %.1f mm from end %s of %q, less than half of that tube's diameter", from, endName(e), j.Onto)
		}
	}
}

// other names what a line of the outer edge sits on.
func (k *worked) other(c *fit.Cage, by int) string { return c.Bars[k.solids[max(by, 0)].bar].Name }

// names lists what a notch goes round.
func (k *worked) names(c *fit.Cage) string {
	var out []string
	for _, s := range k.solids {
		out = append(out, fmt.Sprintf("%q", c.Bars[s.bar].Name))
	}
	return strings.Join(out, ", ")
}

// segmentAt returns the segment of a path at a distance (mm) from its end A.
func segmentAt(p *tube.Path, s float64) *tube.Segment {
	i := 0
	for i+1 < len(p.Segments) && s > p.Segments[i].Start+p.Segments[i].Length {
		i++
	}
	return &p.Segments[i]
}

// lastStraight returns the straight at an end of a path.
func lastStraight(p *tube.Path, e int) *tube.Segment {
	if e == 0 {
		return &p.Segments[0]
	}
	return &p.Segments[len(p.Segments)-1]
}

// ends finds bars whose two notches leave nothing between them.
func ends(c *fit.Cage, joints []*worked) []fit.Finding {
	var out []fit.Finding
	for i := 0; i+1 < len(joints); i++ {
		a, b := joints[i], joints[i+1] // ends A and B of a bar follow each other
		if a.bar != b.bar || a.curves == nil || b.curves == nil {
			continue
		}
		if left := a.branch.Path.Length - a.long - b.long; left < 0 {
			out = append(out, fit.Finding{
				Severity: fit.Error, Rule: "joint", Bar: a.joint.Bar, Joint: a.joint.Name, Got: -left, Unit: "mm", At: pointer(a.node),
				Message: fmt.Sprintf("the notches of its two ends overlap by %.1f mm: there is no bar left between them", -left),
			})
		}
	}
	return out
}

// apart finds joints whose beads are closer than a torch needs (mm). Where one
// notch goes round the other's branch they meet by design.
func apart(joints []*worked, limit float64) []fit.Finding {
	var out []fit.Finding
	for i, b := range joints {
		for _, a := range joints[:i] {
			if a.curves == nil || b.curves == nil || slices.Contains(a.joint.Around, b.joint.Bar) || slices.Contains(b.joint.Around, a.joint.Bar) {
				continue
			}
			if a.node.Sub(b.node).Norm() > a.extent()+b.extent()+limit {
				continue
			}
			d, at := gap(a.joint.Bead, b.joint.Bead)
			if d >= limit-lengthTol {
				continue
			}
			out = append(out, fit.Finding{
				Severity: fit.Warning, Rule: "joint", Bar: b.joint.Bar, Other: a.joint.Bar, Joint: b.joint.Name,
				Got: d, Limit: limit, Unit: "mm", At: &at,
				Message: fmt.Sprintf("end %s: its weld %s comes within %.1f mm of %s, that of %q: a torch needs %.0f mm", b.joint.End, b.joint.Name, d, a.joint.Name, a.joint.Bar, limit),
			})
		}
	}
	return out
}

// extent is how far from its node a bead reaches, mm.
func (k *worked) extent() float64 {
	far := 0.0
	for _, p := range k.joint.Bead {
		far = max(far, p.Sub(k.node).Norm())
	}
	return far
}

// gap returns the least distance (mm) between two closed beads, from the points
// of each to the chords of the other, and where it is.
func gap(a, b []r3.Vector) (least float64, at r3.Vector) {
	least = math.Inf(1)
	for _, pair := range [2][2][]r3.Vector{{a, b}, {b, a}} {
		for _, p := range pair[0] {
			for i, q := range pair[1] {
				leg := pair[1][(i+1)%len(pair[1])].Sub(q)
				t := 0.0
				if n := leg.Norm2(); n > 0 {
					t = max(0, min(1, p.Sub(q).Dot(leg)/n))
				}
				if d := p.Sub(q.Add(leg.Mul(t))).Norm(); d < least {
					least, at = d, p
				}
			}
		}
	}
	return least, at
}

// stations is at how many places along a bead the girth of its target is looked
// at.
const stations = 16

// girth finds places where joints leave less than half of a target's girth. At
// a place along the target a bead takes the girth between its two crossings.
func girth(c *fit.Cage, joints []*worked) []fit.Finding {
	var out []fit.Finding
	for i, k := range joints {
		if k.curves == nil {
			continue
		}
		from, to := slices.Min(k.station[:]), slices.Max(k.station[:])
		left, place := 1.0, 0.0
		var who []int
		for n := 1; n < stations; n++ {
			s := from + (to-from)*float64(n)/stations
			var ranges [][2]float64
			var here []int
			for m, o := range joints {
				if o.curves == nil || o.target != k.target {
					continue
				}
				if r, ok := o.takes(s); ok {
					ranges, here = append(ranges, r), append(here, m)
				}
			}
			if free := 1 - union(ranges)/360; free < left {
				left, place, who = free, s, here
			}
		}
		// Each place is told once, by the first of its joints.
		if left >= face-shareTol || len(who) == 0 || who[0] != i {
			continue
		}
		at, _ := c.Bars[k.target].Path.At(place)
		var names []string
		for _, m := range who {
			names = append(names, joints[m].joint.Name)
		}
		out = append(out, fit.Finding{
			Severity: fit.Warning, Rule: "joint", Bar: k.joint.Onto, Joint: k.joint.Name,
			Got: left * 100, Limit: face * 100, Unit: "%", At: &at,
			Message: fmt.Sprintf("%s leave %.0f %% of its girth free at %.0f mm from end A: less than half", strings.Join(names, ", "), 100*left, place),
		})
	}
	return out
}

// takes returns the range of clock positions on the target, degrees, from the
// first clockwise to the second, that the bead takes at a place along it.
func (k *worked) takes(s float64) ([2]float64, bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for n := range clocks {
		m := (n + 1) % clocks
		a, b := k.station[n], k.station[m]
		if (a <= s) == (b <= s) {
			continue
		}
		turn := k.angle[m] - k.angle[n]
		turn -= 360 * math.Round(turn/360)
		x := k.angle[n] + turn*(s-a)/(b-a)
		lo, hi = min(lo, x), max(hi, x)
	}
	if hi < lo {
		return [2]float64{}, false
	}
	return [2]float64{k.joint.Clock + lo, k.joint.Clock + hi}, true
}

// union returns how many degrees of the turn ranges of degrees take together.
func union(ranges [][2]float64) float64 {
	var cut [][2]float64
	for _, r := range ranges {
		from := math.Mod(r[0]+720, 360)
		to := from + min(r[1]-r[0], 360)
		cut = append(cut, [2]float64{from, min(to, 360)})
		if to > 360 {
			cut = append(cut, [2]float64{0, to - 360})
		}
	}
	slices.SortFunc(cut, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	sum, end := 0.0, 0.0
	for _, r := range cut {
		sum += max(0, r[1]-max(r[0], end))
		end = max(end, r[1])
	}
	return sum
}
