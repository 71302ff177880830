package cope

import (
	"math"
	"slices"
	"strconv"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// joint works a landing out: joint number i, counted from 0.
func (l *landing) joint(c *fit.Cage, j *job.Job, i int) (fit.Joint, []fit.Finding) {
	t := c.Bars[l.target]
	out := fit.Joint{
		Name: "J" + strconv.Itoa(i+1), Bar: l.branch.Name, End: endName(l.end), Onto: t.Name,
		Angle: math.Atan2(l.w.Cross(l.d).Norm(), math.Abs(l.w.Dot(l.d))) * 180 / math.Pi,
		At:    l.at, Node: l.node, Order: l.order,
	}
	clock := float64(tube.ClockOf(t.Path, l.at, l.w))
	out.Clock, out.Wrap = degrees(clock), clock*t.Radius()
	centre, _ := t.Path.At(l.at)
	if across := l.w.Cross(l.d); across.Norm() > 0 {
		out.Offset = l.node.Sub(centre).Dot(across) / across.Norm()
	}
	if !l.meets {
		return out, []fit.Finding{{
			Severity: fit.Error, Rule: "landing", Bar: out.Bar, Other: out.Onto, Joint: out.Name,
			Got: l.miss, Limit: l.branch.Radius() + t.Radius(), Unit: "mm", At: pointer(l.node),
			Message: "end " + out.End + " does not reach " + strconv.Quote(out.Onto) + ": it is left square",
		}}
	}

	k := l.curves()
	l.branch.Cuts[l.end] = fit.EndCut{Kind: fit.Notch, Outer: k.outer.x[:], Inner: k.inner.x[:]}
	out.Long, out.Short = k.long, k.short
	out.Open = k.open
	out.Length = k.length
	out.WedgeMin, out.WedgeMax = k.wedge[0], k.wedge[1]
	for n := 0; n < clocks; n += clocks / beads {
		out.Bead = append(out.Bead, k.point[n])
	}
	for n, s := range l.solids {
		if n > 0 && (slices.Contains(k.outer.by[:], n) || slices.Contains(k.inner.by[:], n)) {
			out.Around = append(out.Around, c.Bars[s.bar].Name)
		}
	}
	return out, nil
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
	long, short  float64
	length       float64
	open         float64
	miss         float64    // by which the line farthest off passes the target, mm
	wedge        [2]float64 // least and largest, degrees
}

func (l *landing) curves() *curves {
	r, q := l.branch.Radius(), l.branch.Tube.Inner()/2
	k := &curves{wedge: [2]float64{180, 0}}
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
		if at.by < 0 {
			open++
			k.miss = max(k.miss, at.miss)
			continue
		}
		w := l.wedge(at.by, p, u)
		k.wedge[0], k.wedge[1] = min(k.wedge[0], w), max(k.wedge[1], w)
	}
	k.open = float64(open) / clocks
	for n, p := range k.point {
		k.length += p.Sub(k.point[(n+1)%clocks]).Norm()
	}
	// The true ends of the bead lie up to half a degree beside the lines.
	edge := func(clock float64) float64 { return l.cut(r, l.direction(clock*math.Pi/180)).x }
	_, far := lowest(func(a float64) float64 { return -edge(a) }, float64(most)-1, float64(most)+1)
	_, close := lowest(edge, float64(least)-1, float64(least)+1)
	k.long, k.short = max(k.outer.x[most], -far), min(k.outer.x[least], close)
	return k
}

// wedge returns the angle in degrees between the outsides of the branch and of
// what it meets, through the air, at the point p of the bead where u is square
// to the branch: half a turn less the angle between the two outward normals.
func (l *landing) wedge(by int, p, u r3.Vector) float64 {
	near := l.solids[by].near
	at, _ := near.Closest(p)
	centre, _ := near.At(at)
	return 180 - float64(p.Sub(centre).Angle(u))*180/math.Pi
}
