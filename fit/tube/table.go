package tube

import (
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
)

// Setback returns the distance in mm from the intersection point of two
// straights to the end of the arc of radius r (mm) that joins them.
func Setback(r float64, angle s1.Angle) float64 { return r * math.Tan(float64(angle)/2) }

// Gain returns how much shorter, in mm, the way along the arc of radius r (mm)
// is than the way by the intersection point.
func Gain(r float64, angle s1.Angle) float64 {
	return 2*Setback(r, angle) - r*float64(angle)
}

// Table returns the bend table of a path bent from this tube. Feeds, rotations
// and angles follow from the path alone; set angles need the die or an estimate
// (see SetAngle), and marks and the cut length use the die's stretch and offset:
//
//	mark of bend i = straights and arcs before it - stretch x angles before it - offset
//	cut            = developed length - stretch x all angles
//
// so the tube's mark lies the die's offset before the start of the bend. A mark
// may come out negative if the offset is longer than the first straight.
func (s *Spec) Table(p *Path) Table {
	var stretch, offset float64
	if s.Die != nil {
		stretch, offset = s.Die.Stretch, s.Die.Offset
	}
	t := Table{Developed: p.Length}
	var feed, turned float64
	var last *Segment
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Kind == Straight {
			feed = g.Length
			continue
		}
		b := Bend{Feed: feed, Angle: g.Angle, Node: g.Node}
		if last != nil {
			b.Rotation = rotation(last.Axis, g.Axis, g.Dir)
		}
		b.Set, b.Estimated = s.SetAngle(g.Angle)
		b.Mark = g.Start - stretch*turned - offset
		t.Bends = append(t.Bends, b)
		turned += float64(g.Angle)
		feed, last = 0, g
	}
	t.Tail = feed
	t.Cut = p.Length - stretch*turned
	return t
}

// rotation returns the signed angle from the plane with normal a to that with
// normal b about the unit direction u, right-handed, in (-pi, pi].
func rotation(a, b, u r3.Vector) s1.Angle {
	r := math.Atan2(a.Cross(b).Dot(u), a.Dot(b))
	if r < -math.Pi+planeSlack {
		r = math.Pi
	}
	return s1.Angle(r)
}

// Nodes is the way back from a bend table: it returns the nodes (mm) of the bar
// that starts at the point at (mm) with its first straight along dir and whose
// first bend turns towards the side of normal, in the plane that holds dir and
// normal. radius is the centreline radius in mm. Only feeds, rotations, angles
// and the tail are read. dir and normal need not be unit vectors; a normal that
// is parallel to dir (a straight bar needs none) is replaced by some
// perpendicular one.
func Nodes(t Table, radius float64, at r3.Vector, dir, normal r3.Vector) []r3.Vector {
	u := dir.Normalize()
	m := u.Cross(normal)
	if m.Norm() <= minTurn*normal.Norm() {
		m = u.Ortho()
	}
	m = m.Normalize()
	nodes := []r3.Vector{at}
	setback := 0.0
	for _, b := range t.Bends {
		next := Setback(radius, b.Angle)
		at = at.Add(u.Mul(setback + b.Feed + next))
		nodes = append(nodes, at)
		if len(nodes) > 2 {
			m = turn(m, u, b.Rotation)
		}
		u = turn(u, m, b.Angle)
		setback = next
	}
	return append(nodes, at.Add(u.Mul(setback+t.Tail)))
}

// turn rotates the unit vector v about the unit axis, right-handed; the two are
// perpendicular. The result is normalised, so that errors do not add up.
func turn(v, axis r3.Vector, angle s1.Angle) r3.Vector {
	sin, cos := math.Sincos(float64(angle))
	return v.Mul(cos).Add(axis.Cross(v).Mul(sin)).Normalize()
}

// Degrees returns an angle in degrees, rounded to 1e-9 degrees: 60 for
// 60*s1.Degree, which s1.Angle.Degrees gives as 59.99999999999999. It is meant
// for the edges, where degrees are written; it never returns -0.
func Degrees(a s1.Angle) float64 {
	return math.Round(float64(a)*(180/math.Pi)*1e9)/1e9 + 0
}
