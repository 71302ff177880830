package cope

import (
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit/internal/golden"
	"barwright/fit/tube"
)

// Numerical tolerances, mm.
const (
	// border is how far past the ends of a straight or an arc its surface still
	// counts. Neighbouring surfaces meet within 1e-9 mm (package tube,
	// guarantee 1), and rounding moves a root by less than 1e-10 mm where it
	// crosses a border; without the overlap a line could slip through between
	// two of them. What is gained beyond a border lies within
	// border^2 / (2 CLR) of the true surface.
	border = 1e-6

	// touching is the distance by which a line may pass a tube and still count
	// as touching it. The sides of a branch as wide as its target touch it by
	// design, and coordinates of 1e4 mm carry 2e-12 mm of rounding, which the
	// root of a touching line magnifies to its square root.
	touching = 1e-6

	// parallel2 is the square of the sine under which a line counts as parallel
	// to a straight: it would leave its cylinder kilometres away.
	parallel2 = 1e-16
)

// ray is a line in space: the points from + x dir, dir a unit vector, x in mm.
type ray struct{ from, dir r3.Vector }

func (l ray) at(x float64) r3.Vector { return l.from.Add(l.dir.Mul(x)) }

// solid is a bar near a joint, for cutting lines with its outside: all points
// within its radius of a piece of its centreline. It is the union of cylinders
// (round straights), pieces of ring (round arcs) and balls (at the bar's ends).
type solid struct {
	bar    int // index in the cage
	radius float64
	near   *tube.Path // the segments that matter, at their places along the whole path
	balls  []r3.Vector

	stranger bool // it is in the way, but no joint of this node has to do with it
}

// newSolid keeps of a path what is within radius of the ball round centre.
func newSolid(bar int, p *tube.Path, radius float64, centre r3.Vector, reach float64) *solid {
	s := &solid{bar: bar, radius: radius, near: &tube.Path{Radius: p.Radius, Length: p.Length}}
	for i := range p.Segments {
		one := tube.Path{Segments: p.Segments[i : i+1]}
		if _, d := one.Closest(centre); d <= reach+radius {
			s.near.Segments = append(s.near.Segments, p.Segments[i])
		}
	}
	for _, end := range [2]r3.Vector{p.Segments[0].From, p.Segments[len(p.Segments)-1].To} {
		if end.Sub(centre).Norm() <= reach+radius {
			s.balls = append(s.balls, end)
		}
	}
	return s
}

// distance returns how far (mm) a point is from the centreline.
func (s *solid) distance(p r3.Vector) float64 {
	_, d := s.near.Closest(p)
	return d
}

// foot returns where along the bar (mm from end A) its centreline is closest to a
// point, and the way from there to the point.
func (s *solid) foot(p r3.Vector) (at float64, out r3.Vector) {
	at, _ = s.near.Closest(p)
	centre, _ := s.near.At(at)
	return at, p.Sub(centre)
}

// leave returns the largest x in [lo, hi] at which the line leaves the solid.
// The line must be outside at hi.
func (s *solid) leave(l ray, lo, hi float64) (x float64, ok bool) {
	x = math.Inf(-1)
	take := func(at float64) {
		if at >= lo && at <= hi && at > x {
			x, ok = at, true
		}
	}
	for i := range s.near.Segments {
		g := &s.near.Segments[i]
		if g.Kind == tube.Straight {
			leaveCylinder(g, s.radius, l, take)
		} else {
			leaveRing(g, s.radius, l, lo, hi, take)
		}
	}
	for _, c := range s.balls {
		m := l.from.Sub(c)
		b := m.Dot(l.dir)
		if d := b*b - m.Norm2() + s.radius*s.radius; d >= 0 {
			take(-b + math.Sqrt(d))
		}
	}
	return x, ok
}

// leaveCylinder takes the place where a line leaves the endless cylinder round a
// straight, if that is beside the straight. Where the line leaves through an end
// of the straight instead, it enters what comes next: an arc or a ball.
func leaveCylinder(g *tube.Segment, radius float64, l ray, take func(float64)) {
	m := l.from.Sub(g.From)
	along, slope := m.Dot(g.Dir), l.dir.Dot(g.Dir)
	m = m.Sub(g.Dir.Mul(along))
	w := l.dir.Sub(g.Dir.Mul(slope))
	a := w.Norm2()
	if a < parallel2 {
		return
	}
	b := m.Dot(w)
	d := b*b - a*(m.Norm2()-radius*radius)
	if d < 0 {
		return
	}
	x := (math.Sqrt(d) - b) / a
	if s := along + x*slope; s >= -border && s <= g.Length+border {
		take(x)
	}
}

// leaveRing takes the places where a line leaves the ring round an arc's whole
// circle, those that are beside the arc. With p the line from the circle's
// centre, k its least distance from there squared, z its height over the
// circle's plane and y = x - x0 counted from that closest point, the points at
// the distance T from the circle of radius R satisfy
//
//	(y^2 + k + R^2 - T^2)^2 = 4 R^2 (y^2 + k - z^2),  z = z0 + y wz
//
// which is a quartic in y; lengths are taken in units of R.
func leaveRing(g *tube.Segment, radius float64, l ray, lo, hi float64, take func(float64)) {
	unit := g.Radius
	m := l.from.Sub(g.Centre).Mul(1 / unit)
	x0 := -m.Dot(l.dir)
	foot := m.Add(l.dir.Mul(x0))
	k := foot.Norm2()
	z0, wz := foot.Dot(g.Axis), l.dir.Dot(g.Axis)
	t := radius / unit
	h := k + 1 - t*t
	c := quartic{h*h - 4*(k-z0*z0), 8 * z0 * wz, 2*h - 4*(1-wz*wz), 0, 1}
	var at [4]float64
	n := c.roots(4, lo/unit-x0, hi/unit-x0, &at)
	outward := g.Dir.Cross(g.Axis)
	inside := c.at(lo/unit-x0, 4) <= 0
	for _, y := range at[:n] {
		if inside = !inside; inside {
			continue // here it enters
		}
		p := foot.Add(l.dir.Mul(y))
		s := math.Atan2(p.Dot(g.Dir), p.Dot(outward)) * unit
		if s >= -border && s <= g.Length+border || s+2*math.Pi*unit <= g.Length+border {
			take((y + x0) * unit)
		}
	}
}

// nearest returns the x in [lo, hi] at which the line is closest to the
// centreline.
func (s *solid) nearest(l ray, lo, hi float64) float64 {
	if len(s.near.Segments) == 1 && s.near.Segments[0].Kind == tube.Straight && len(s.balls) == 0 {
		d := s.near.Segments[0].Dir
		w := l.dir.Sub(d.Mul(l.dir.Dot(d)))
		if w.Norm2() < parallel2 {
			return hi
		}
		return max(lo, min(hi, -l.from.Sub(s.near.Segments[0].From).Dot(w)/w.Norm2()))
	}
	const steps = 64
	best, least := lo, math.Inf(1)
	for i := range steps + 1 {
		x := lo + (hi-lo)*float64(i)/steps
		if d := s.distance(l.at(x)); d < least {
			best, least = x, d
		}
	}
	step := (hi - lo) / steps
	// A smooth minimum is as good as it gets after 40 rounds, when the difference of
	// the values is under their last bit.
	best, _ = golden.Search(func(x float64) float64 { return s.distance(l.at(x)) }, max(lo, best-step), min(hi, best+step), 40, 0).Least()
	return best
}
