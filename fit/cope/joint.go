package cope

import (
	"math"
	"slices"
	"strconv"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/internal/golden"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// worked is a joint with what its findings need besides.
type worked struct {
	*landing
	*curves // nil: the end does not reach its target
	joint   fit.Joint
	station [clocks]float64 // of the outer edge's points along the target, mm
	angle   [clocks]float64 // where they are round it, degrees from the joint's Clock, (-180, 180]
	bends   float64         // mm of the target under the bead that are bent
	vent    ventState
}

// work works a landing out: joint number i, counted from 0.
func (l *landing) work(c *fit.Cage, j *job.Job, i int) *worked {
	t := c.Bars[l.target]
	k := &worked{landing: l, joint: fit.Joint{
		Name: "J" + strconv.Itoa(i+1), Bar: l.branch.Name, End: endName(l.end), Onto: t.Name,
		Angle: math.Atan2(l.w.Cross(l.d).Norm(), math.Abs(l.w.Dot(l.d))) * 180 / math.Pi,
		At:    l.at, Node: l.node, Order: l.order,
	}}
	out := &k.joint
	clock := float64(tube.ClockOf(t.Path, l.at, l.w))
	out.Clock, out.Wrap = degrees(clock), clock*t.Radius()
	centre, _ := t.Path.At(l.at)
	if across := l.w.Cross(l.d); across.Norm() > 0 {
		out.Offset = l.node.Sub(centre).Dot(across) / across.Norm()
	}
	if !l.meets {
		return k
	}

	k.curves = l.curve()
	l.branch.Cuts[l.end] = fit.EndCut{Kind: fit.Notch, Outer: k.outer.x[:], Inner: k.inner.x[:]}
	out.Long, out.Short, out.Open = k.long, k.short, k.open
	out.Length = k.length
	out.WedgeMin, out.WedgeMax = k.wedges[0], k.wedges[1]
	for n := 0; n < clocks; n += clocks / beads {
		out.Bead = append(out.Bead, k.point[n])
	}
	for n, s := range l.solids {
		if n > 0 && (slices.Contains(k.outer.by[:], n) || slices.Contains(k.inner.by[:], n)) {
			out.Around = append(out.Around, c.Bars[s.bar].Name)
		}
	}
	k.place(t)
	out.Saw = k.saw(t)
	out.Vent, k.vent = k.drill(c, j.Joints.Vent)
	out.Zones = k.zones(c, j.Joints.Bare)
	return k
}

// place finds where on the target the outer edge is.
func (k *worked) place(t *fit.Bar) {
	from, to := math.Inf(1), math.Inf(-1)
	for n, p := range k.point {
		s, out := k.along[n], k.normal[n]
		if k.outer.by[n] == 0 {
			from, to = min(from, s), max(to, s)
		} else {
			s, out = k.solids[0].foot(p)
		}
		turn := float64(tube.ClockOf(t.Path, s, out))*180/math.Pi - k.joint.Clock
		k.station[n], k.angle[n] = s, turn-360*math.Ceil(turn/360-.5)
	}
	for i := range t.Path.Segments {
		if g := &t.Path.Segments[i]; g.Kind == tube.Arc {
			k.bends += max(0, min(to, g.Start+g.Length)-max(from, g.Start))
		}
	}
}

// curve is a cut's edge, one value for each degree of clock.
type curve struct {
	x  [clocks]float64
	by [clocks]int // which of the landing's solids; -1: none
}

// curves is what the two edges of a notch show.
type curves struct {
	outer, inner curve
	point        [clocks]r3.Vector // of the bead
	along        [clocks]float64   // where on the bar that it meets, mm from end A
	normal       [clocks]r3.Vector // from that bar's centreline to the point
	long, short  float64
	length       float64
	open         float64
	wedges       [2]float64 // least and largest, degrees
	narrow       int        // the line where the wedge is least
}

func (l *landing) curve() *curves {
	r, q := l.branch.Radius(), l.branch.Tube.Inner()/2
	k := &curves{wedges: [2]float64{180, 0}}
	most, least, open := 0, 0, 0
	for n := range clocks {
		u := l.direction(float64(n) * math.Pi / 180)
		in := l.cut(q, u)
		k.inner.x[n], k.inner.by[n] = in.x, in.by
		at := l.cut(r, u)
		k.outer.x[n], k.outer.by[n] = at.x, at.by
		p := l.node.Add(u.Mul(r)).Add(l.w.Mul(at.x))
		k.point[n] = p
		if at.x > k.outer.x[most] {
			most = n
		}
		if at.x < k.outer.x[least] {
			least = n
		}
		k.along[n], k.normal[n] = l.solids[max(at.by, 0)].foot(p)
		if at.by < 0 {
			open++
			continue
		}
		// Half a turn less the angle between the two outward normals.
		w := 180 - float64(k.normal[n].Angle(u))*180/math.Pi
		if w < k.wedges[0] {
			k.wedges[0], k.narrow = w, n
		}
		k.wedges[1] = max(k.wedges[1], w)
	}
	k.open = float64(open) / clocks
	for n, p := range k.point {
		k.length += p.Sub(k.point[(n+1)%clocks]).Norm()
	}
	// The true ends of the bead lie up to half a degree beside the lines. An end
	// may be where a line only just touches a tube: from there on the edge goes
	// with the root of the distance, so the bracket is narrowed to its last bits.
	const rounds = 60
	edge := func(clock float64) float64 { return l.cut(r, l.direction(clock*math.Pi/180)).x }
	_, far := golden.Search(func(a float64) float64 { return -edge(a) }, float64(most)-1, float64(most)+1, rounds, 0).Least()
	_, close := golden.Search(edge, float64(least)-1, float64(least)+1, rounds, 0).Least()
	k.long, k.short = max(k.outer.x[most], -far), min(k.outer.x[least], close)
	return k
}
