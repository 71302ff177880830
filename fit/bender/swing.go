package bender

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/internal/golden"
	"barwright/fit/tube"
)

// Tolerances of the search for strikes. Together they are under 1 mm.
const (
	// swingChord is how far the polyline that stands for the tube's centreline
	// may be off it, mm.
	swingChord = 0.2

	// swingMiss is how much deeper than reported a strike may be, mm; what goes
	// unreported is no deeper than this.
	swingMiss = 0.5

	// alongMiss is how closely, in mm along a straight, the deepest point is
	// found. Depth changes by no more than the way gone.
	alongMiss = 0.05
)

// strike is where a tube runs deepest into one thing while one bend is made.
type strike struct {
	depth float64  // how far the tube would have to be moved there to be clear of it, mm
	part  int      // of Machine.Frame, from 0; -1: the floor
	at    s1.Angle // how far the bend was made by then
	rest  bool     // it is the unbent rest behind the die
}

// place is a tube about to get a bend, in the machine's axes (mm).
type place struct {
	ahead  []r3.Vector // centreline of what lies ahead of the die, bent already but for its straight in the clamp; starts at the origin
	centre r3.Vector   // of the bend
	axis   r3.Vector   // unit; the part ahead turns about it, right-handed
	arc    []r3.Vector // centreline of the finished bend, as far as it is set
	set    s1.Angle
}

// layIn puts a tube into the machine, ready for the bend that arc makes. The
// path's end A goes in first, with reach mm of tube beyond it; set is the angle by
// which the die is turned.
func layIn(m *tube.Machine, p *tube.Path, arc int, reach float64, set s1.Angle) place {
	g := &p.Segments[arc]
	set = s1.Angle(min(notNegative(float64(set)), 2*math.Pi)) // a die that turns further is a slip
	// The path runs against the feed: the machine's x is its direction reversed.
	// side leads to the bend's centre there and here.
	x, side := g.Dir.Mul(-1), g.Axis.Cross(g.Dir)
	third := x.Cross(side)
	toX, toSide := r3.Vector{X: 1}, sideOf(m.Bends)
	toThird := toX.Cross(toSide)
	move := func(v r3.Vector) r3.Vector {
		v = v.Sub(g.From)
		return toX.Mul(v.Dot(x)).Add(toSide.Mul(v.Dot(side))).Add(toThird.Mul(v.Dot(third)))
	}
	out := place{centre: toSide.Mul(g.Radius), axis: toThird, set: set}
	ahead := &tube.Path{Segments: p.Segments[:arc]}
	points := ahead.Polyline(swingChord)
	for i := len(points) - 1; i >= 0; i-- {
		out.ahead = append(out.ahead, move(points[i]))
	}
	first := &p.Segments[0]
	out.ahead = append(out.ahead, move(first.From.Sub(first.Dir.Mul(reach))))

	n := 1 + int(float64(set)/(4*math.Asin(math.Sqrt(min(1, swingChord/(2*g.Radius)))))) // as in tube.Path.Polyline
	for i := range n + 1 {
		out.arc = append(out.arc, out.turned(r3.Vector{}, float64(set)*float64(i)/float64(n)))
	}
	return out
}

// sideOf returns the direction to which a machine bends; the zero value counts
// as left.
func sideOf(b tube.Bends) r3.Vector {
	switch b {
	case tube.BendsRight:
		return r3.Vector{Y: -1}
	case tube.BendsUp:
		return r3.Vector{Z: 1}
	case tube.BendsDown:
		return r3.Vector{Z: -1}
	}
	return r3.Vector{Y: 1}
}

// turned returns where a point of the part ahead is when the die has turned by
// angle (radians).
func (l *place) turned(v r3.Vector, angle float64) r3.Vector {
	sin, cos := math.Sincos(angle)
	v = v.Sub(l.centre)
	along := l.axis.Mul(l.axis.Dot(v))
	return l.centre.Add(along).Add(v.Sub(along).Mul(cos)).Add(l.axis.Cross(v).Mul(sin))
}

// radius returns how far a point is from the axis about which the die turns.
func (l *place) radius(v r3.Vector) float64 { return l.axis.Cross(v.Sub(l.centre)).Norm() }

// strikes returns where a tube of the given outer radius (mm) runs into the floor
// or a part of the frame while the bend is made: the deepest place for each of
// them, the floor first. The bend itself ends as all that it has been before, so
// it is looked at once.
func (l *place) strikes(m *tube.Machine, radius float64) []strike {
	var out []strike
	if m.Height > 0 {
		lowest, at := l.lowest()
		if depth := radius - m.Height - lowest; depth > 0 {
			out = append(out, strike{depth: depth, part: -1, at: s1.Angle(at)})
		}
	}
	for part, box := range m.Frame {
		depth, at := l.sweep(box, radius)
		for i := 1; i < len(l.arc); i++ {
			if d := radius - nearest(box, l.arc[i-1], l.arc[i]); d > depth {
				depth, at = d, float64(l.set)*float64(i)/float64(len(l.arc)-1)
			}
		}
		if depth > 0 {
			out = append(out, strike{depth: depth, part: part, at: s1.Angle(at)})
		}
	}
	return out
}

// behind returns where the straight tube behind the die strikes: length mm of it,
// finite and not negative.
// The depth in a part of the frame is what the tube is too long by.
func behind(m *tube.Machine, length, radius float64) []strike {
	var out []strike
	if depth := radius - m.Height; m.Height > 0 && depth > 0 {
		out = append(out, strike{depth: depth, part: -1, rest: true})
	}
	for part, box := range m.Frame {
		clear := func(length float64) bool { return nearest(box, r3.Vector{X: -length}, r3.Vector{}) >= radius }
		if clear(length) {
			continue
		}
		fits, not := 0.0, length
		for not-fits > alongMiss {
			if mid := (fits + not) / 2; clear(mid) {
				fits = mid
			} else {
				not = mid
			}
		}
		out = append(out, strike{depth: length - fits, part: part, rest: true})
	}
	return out
}

// lowest returns the least z that the part ahead or the bend gets to, and the
// angle in radians at which it does. A straight is lowest at one of its ends; the
// height of a point is a + b cos + c sin of the angle, so the answer is exact.
func (l *place) lowest() (z, at float64) {
	z = math.Inf(1)
	keep := func(v r3.Vector, angle float64) {
		if height := l.turned(v, angle).Z; height < z {
			z, at = height, angle
		}
	}
	set := float64(l.set)
	for _, v := range l.ahead {
		keep(v, 0)
		keep(v, set)
		b := l.turned(v, 0).Z - l.turned(v, math.Pi).Z
		c := l.turned(v, math.Pi/2).Z - l.turned(v, -math.Pi/2).Z
		low := math.Atan2(c, b) + math.Pi // in [0, 2 pi]
		if low < set {
			keep(v, low)
		}
	}
	return z, at
}

// sweep returns how deep (mm) the part ahead runs into a box on its way, and the
// angle in radians at which it is deepest; depth 0: it doesn't. A point that is d
// from the axis moves by no more than d times the angle, so halves of the way
// that can hold nothing deeper are left out, and the result is proven to be
// within swingMiss.
func (l *place) sweep(box tube.Box, radius float64) (depth, at float64) {
	least := radius // distance of the centreline from the box
	type span struct{ from, to float64 }
	var todo []span
	for i := 1; i < len(l.ahead); i++ {
		a, b := l.ahead[i-1], l.ahead[i]
		half := b.Sub(a).Norm() / 2
		centre := a.Add(b).Mul(.5)
		arm := max(l.radius(a), l.radius(b))
		todo = append(todo[:0], span{0, float64(l.set)})
		for len(todo) > 0 {
			s := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			mid := (s.from + s.to) / 2
			moves := arm * (s.to - s.from) / 2
			if outside(box, l.turned(centre, mid))-half-moves >= least-swingMiss {
				continue
			}
			d := nearest(box, l.turned(a, mid), l.turned(b, mid))
			if d < least {
				least, at = d, mid
			}
			// Under swingMiss of way nothing is left to find; the test also ends
			// the search where numbers are not finite.
			if moves > swingMiss && d-moves < least-swingMiss {
				todo = append(todo, span{mid, s.to}, span{s.from, mid})
			}
		}
	}
	return radius - least, at
}

// outside returns the distance (mm) of a point from a box, negative inside: by
// how much it is in.
func outside(box tube.Box, v r3.Vector) float64 {
	q := r3.Vector{
		X: max(box.Min.X-v.X, v.X-box.Max.X),
		Y: max(box.Min.Y-v.Y, v.Y-box.Max.Y),
		Z: max(box.Min.Z-v.Z, v.Z-box.Max.Z),
	}
	if most := max(q.X, q.Y, q.Z); most <= 0 {
		return most
	}
	return r3.Vector{X: max(q.X, 0), Y: max(q.Y, 0), Z: max(q.Z, 0)}.Norm()
}

// nearest returns the least value of outside between a and b, no more than
// alongMiss too large. The distance from a convex body is a convex function, so
// golden-section search finds it.
func nearest(box tube.Box, a, b r3.Vector) float64 {
	along := b.Sub(a)
	at := func(t float64) float64 { return outside(box, a.Add(along.Mul(t))) }
	// A hundred rounds are enough for 1e19 mm.
	_, least := golden.Search(at, 0, 1, 100, alongMiss/along.Norm()).Least()
	return min(least, at(0), at(1))
}

// says tells what a strike is, for a reader at the bender.
func (s strike) says() string {
	what := "the floor"
	if s.part >= 0 {
		what = fmt.Sprintf("part %d of the frame", s.part+1)
	}
	switch {
	case s.rest && s.part >= 0:
		return fmt.Sprintf("the tube behind the die is %.0f mm too long for %s", up(s.depth, 1), what)
	case s.rest:
		return fmt.Sprintf("the tube behind the die lies %.0f mm in %s", up(s.depth, 1), what)
	}
	when := fmt.Sprintf("when %.0f deg are bent", tube.Degrees(s.at))
	if tube.Degrees(s.at) < .5 {
		when = "as soon as it is laid in"
	}
	return fmt.Sprintf("the tube runs %.0f mm into %s %s", up(s.depth, 1), what, when)
}

// change tells what would let the tube pass.
func (s strike) change() string {
	switch {
	case s.part < 0:
		return fmt.Sprintf("stand the bender %.0f mm higher", up(s.depth+swingChord, 1))
	case s.rest:
		return fmt.Sprintf("make %.0f mm more room behind the die, where part %d of the frame is", up(s.depth+alongMiss, 1), s.part+1)
	}
	return fmt.Sprintf("move part %d of the frame out of the way, or make the bar of two tubes", s.part+1)
}

// up rounds up to a multiple of unit, so that what is asked for is enough.
func up(x, unit float64) float64 { return math.Ceil(x/unit-1e-9) * unit }
