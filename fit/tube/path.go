package tube

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
)

// Numerical tolerances. Nodes of a car are within 1e4 mm of the origin, where
// neighbouring float64 values are 2e-12 mm apart; legs are at least some 10 mm.
const (
	// minTurn is the turn in radians under which a node gives no arc. Rounding
	// of the coordinates turns a leg of 10 mm by up to 4e-13, so a smaller turn
	// has a bend plane that is only good to 4e-5; and leaving out an arc of
	// this turn moves a centreline with legs of 2 m by less than 1e-5 mm.
	minTurn = 1e-8

	// lengthSlack is the amount in mm by which a straight may differ from zero
	// and still counts as zero. Coordinates, legs and the setbacks of turns up
	// to 170 degrees each carry less than 1e-10 mm of rounding.
	lengthSlack = 1e-9

	// planeSlack is the angle in radians by which a rotation of half a turn may
	// come out short, so that an S in one plane reads +180 and not -180 degrees.
	planeSlack = 1e-9
)

// defaultChord is the chord error in mm that Polyline uses if none is given.
const defaultChord = 0.05

// NewPath joins straights along the legs between nodes with arcs of the given
// radius (mm). Nodes are in mm; the first and last are the bar's ends.
//
// Segments of the result alternate straight, arc, straight, ..., straight. A
// straight may have zero length, also at an end: its Dir is still that of the
// leg. A node whose turn is under a numerical tolerance (1e-8 rad) gives no
// arc: it stays in Nodes, and one straight runs past it.
//
// Errors: fewer than two nodes, coordinates that are not finite, neighbouring
// nodes that coincide, a node where the path turns straight back, a radius that
// is not positive where there is something to bend, and arcs that do not fit on
// a leg (the message gives the nodes, counted from 0, and the missing mm).
func NewPath(nodes []r3.Vector, radius float64) (*Path, error) {
	if len(nodes) < 2 {
		return nil, fmt.Errorf("a path needs at least 2 nodes, got %d", len(nodes))
	}
	for i, n := range nodes {
		if !finite(n) {
			return nil, fmt.Errorf("node %d is not finite: (%g, %g, %g)", i, n.X, n.Y, n.Z)
		}
		if i > 0 && n.Sub(nodes[i-1]).Norm() <= lengthSlack {
			return nil, fmt.Errorf("nodes %d and %d coincide", i-1, i)
		}
	}
	if !(radius >= 0) || math.IsInf(radius, 0) {
		return nil, fmt.Errorf("centreline radius must be finite and not negative, got %g mm", radius)
	}
	kept, err := corners(nodes)
	if err != nil {
		return nil, err
	}
	if len(kept) > 2 && radius == 0 {
		return nil, fmt.Errorf("node %d is a bend, but the centreline radius is 0", kept[1])
	}

	p := &Path{Nodes: append([]r3.Vector(nil), nodes...), Radius: radius}
	from, setback := nodes[0], 0.0
	for k := 0; k+1 < len(kept); k++ {
		a, b := nodes[kept[k]], nodes[kept[k+1]]
		u := b.Sub(a).Normalize()
		next, v, turn := 0.0, u, 0.0
		if k+2 < len(kept) {
			v = nodes[kept[k+2]].Sub(b).Normalize()
			turn = turnBetween(u, v)
			next = radius * math.Tan(turn/2)
		}
		length := b.Sub(a).Norm() - setback - next
		if length < -lengthSlack {
			return nil, fmt.Errorf("bends overlap between nodes %d and %d: %.3f mm too short", kept[k], kept[k+1], -length)
		}
		if length < lengthSlack {
			length = 0
		}
		to := b.Sub(u.Mul(next))
		p.Segments = append(p.Segments, Segment{Kind: Straight, From: from, To: to, Start: p.Length, Length: length, Dir: u})
		p.Length += length
		if k+2 == len(kept) {
			break
		}
		axis := u.Add(v).Cross(v.Sub(u)).Normalize() // as u x v, but exact also for small turns
		arc := Segment{
			Kind: Arc, From: to, To: b.Add(v.Mul(next)), Start: p.Length, Length: radius * turn, Dir: u,
			Centre: to.Add(axis.Cross(u).Mul(radius)), Axis: axis, Radius: radius, Angle: s1.Angle(turn), Node: kept[k+1],
		}
		p.Segments = append(p.Segments, arc)
		p.Length += arc.Length
		from, setback = arc.To, next
	}
	return p, nil
}

// corners returns the indices of the nodes that stay: both ends and every node
// with a turn worth an arc.
func corners(nodes []r3.Vector) ([]int, error) {
	kept := make([]int, len(nodes))
	for i := range kept {
		kept[i] = i
	}
	for {
		next := kept[:1:1]
		for k := 1; k+1 < len(kept); k++ {
			a, b, c := nodes[kept[k-1]], nodes[kept[k]], nodes[kept[k+1]]
			turn := turnBetween(b.Sub(a).Normalize(), c.Sub(b).Normalize())
			if turn > math.Pi-minTurn {
				return nil, fmt.Errorf("the path turns straight back at node %d", kept[k])
			}
			if turn >= minTurn {
				next = append(next, kept[k])
			}
		}
		next = append(next, kept[len(kept)-1])
		if len(next) == len(kept) {
			return kept, nil
		}
		kept = next
	}
}

// turnBetween returns the angle in radians between two unit vectors; the form
// keeps full precision near 0 and near half a turn.
func turnBetween(u, v r3.Vector) float64 {
	return 2 * math.Atan2(v.Sub(u).Norm(), v.Add(u).Norm())
}

func finite(v r3.Vector) bool {
	sum := v.X + v.Y + v.Z // NaN or Inf in one of them shows in the sum
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// Arcs returns the path's arcs in order: arc i is bend i+1. They are the path's
// own, not copies.
func (p *Path) Arcs() []*Segment {
	var out []*Segment
	for i := range p.Segments {
		if p.Segments[i].Kind == Arc {
			out = append(out, &p.Segments[i])
		}
	}
	return out
}

// At returns the point (mm) and the unit tangent, pointing from end A to end B,
// at the distance s (mm) from end A along the path. s is clamped to the path;
// NaN counts as 0.
func (p *Path) At(s float64) (pos, tangent r3.Vector) {
	if !(s > 0) {
		s = 0
	}
	s = min(s, p.Length)
	k := 0
	for k+1 < len(p.Segments) && p.Segments[k+1].Start <= s {
		k++
	}
	return p.Segments[k].at(s - p.Segments[k].Start)
}

// at is At within one segment, x mm from its start.
func (g *Segment) at(x float64) (pos, tangent r3.Vector) {
	x = max(0, min(x, g.Length))
	if g.Kind == Straight {
		return g.From.Add(g.Dir.Mul(x)), g.Dir
	}
	sin, cos := math.Sincos(x / g.Radius)
	out := g.outward()
	pos = g.Centre.Add(out.Mul(g.Radius * cos)).Add(g.Dir.Mul(g.Radius * sin))
	return pos, g.Dir.Mul(cos).Sub(out.Mul(sin))
}

// outward returns the unit vector from an arc's centre to its From.
func (g *Segment) outward() r3.Vector { return g.Dir.Cross(g.Axis) }

// Sample returns increasing distances along the path in mm: both ends, every
// border between segments, and between them evenly spaced values no more than
// step (mm) apart. A step that is not positive gives ends and borders only.
func (p *Path) Sample(step float64) []float64 {
	out := []float64{0}
	for _, g := range p.Segments {
		if g.Length == 0 {
			continue
		}
		n := 1
		if step > 0 {
			n = pieces(g.Length / step)
		}
		for i := 1; i < n; i++ {
			out = append(out, g.Start+g.Length*float64(i)/float64(n))
		}
		out = append(out, g.Start+g.Length)
	}
	out[len(out)-1] = p.Length
	return out
}

// pieces rounds a number of pieces up, and holds it between 1 and a million: a
// step that asks for more is a mistake that must not eat the memory.
func pieces(n float64) int { return int(math.Ceil(max(1, min(n, 1e6)))) }

// Closest returns the distance (mm) from q to the centreline and where along
// the path, in mm from end A, the closest point is; of several the first. It is
// worked out in closed form, exact to rounding.
func (p *Path) Closest(q r3.Vector) (s, distance float64) {
	distance = math.Inf(1)
	for i := range p.Segments {
		g := &p.Segments[i]
		x := g.closest(q)
		pos, _ := g.at(x)
		if d := q.Sub(pos).Norm(); d < distance {
			s, distance = g.Start+x, d
		}
	}
	return s, distance
}

// closest returns how far (mm) along the segment its point closest to q is.
func (g *Segment) closest(q r3.Vector) float64 {
	if g.Kind == Straight {
		return max(0, min(g.Length, q.Sub(g.From).Dot(g.Dir)))
	}
	d := q.Sub(g.Centre)
	a := math.Atan2(d.Dot(g.Dir), d.Dot(g.outward()))
	turn := float64(g.Angle)
	if a >= 0 && a <= turn {
		return min(g.Length, a*g.Radius)
	}
	// Past an end. The ends part at the direction opposite the arc's middle.
	if a < 0 {
		a += 2 * math.Pi
	}
	if a-turn <= 2*math.Pi-a {
		return g.Length
	}
	return 0
}

// Reversed returns the path read from end B.
func (p *Path) Reversed() *Path {
	r := &Path{Nodes: make([]r3.Vector, len(p.Nodes)), Radius: p.Radius, Length: p.Length}
	for i, n := range p.Nodes {
		r.Nodes[len(p.Nodes)-1-i] = n
	}
	start := 0.0
	for i := len(p.Segments) - 1; i >= 0; i-- {
		g := p.Segments[i]
		_, tangent := g.at(g.Length)
		g.From, g.To, g.Dir, g.Start = g.To, g.From, tangent.Mul(-1), start
		if g.Kind == Arc {
			g.Axis, g.Node = g.Axis.Mul(-1), len(p.Nodes)-1-g.Node
		}
		start += g.Length
		r.Segments = append(r.Segments, g)
	}
	r.Length = start
	return r
}

// Mirrored returns the mirror image in the car's mirror plane y = 0.
func (p *Path) Mirrored() *Path {
	return p.Transformed(func(v r3.Vector) r3.Vector { return r3.Vector{X: v.X, Y: 0 - v.Y, Z: v.Z} }) // 0 stays 0, not -0
}

// Transformed returns the path moved by a function from points to points in mm.
// The function must be a rigid motion: turns, shifts and mirrorings, no scale.
func (p *Path) Transformed(move func(r3.Vector) r3.Vector) *Path {
	origin := move(r3.Vector{})
	turn := func(v r3.Vector) r3.Vector { return move(v).Sub(origin) }
	hand := 1.0
	if turn(r3.Vector{X: 1}).Cross(turn(r3.Vector{Y: 1})).Dot(turn(r3.Vector{Z: 1})) < 0 {
		hand = -1
	}
	t := &Path{Nodes: make([]r3.Vector, len(p.Nodes)), Radius: p.Radius, Length: p.Length}
	for i, n := range p.Nodes {
		t.Nodes[i] = move(n)
	}
	for _, g := range p.Segments {
		g.From, g.To, g.Dir = move(g.From), move(g.To), turn(g.Dir)
		if g.Kind == Arc {
			g.Centre, g.Axis = move(g.Centre), turn(g.Axis).Mul(hand)
		}
		t.Segments = append(t.Segments, g)
	}
	return t
}

// Polyline returns points on the centreline (mm), end A first, such that the
// polyline through them is nowhere more than chord (mm) off it. Every end of an
// arc is among them. A chord that is not positive means 0.05 mm.
func (p *Path) Polyline(chord float64) []r3.Vector {
	if !(chord > 0) {
		chord = defaultChord
	}
	out := []r3.Vector{p.Segments[0].From}
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Length == 0 {
			continue
		}
		n := 1
		if g.Kind == Arc {
			// A chord over the angle d is R (1 - cos(d/2)) = 2 R sin^2(d/4) off.
			d := 4 * math.Asin(math.Sqrt(min(1, chord/(2*g.Radius))))
			n = pieces(float64(g.Angle) / d)
		}
		for k := 1; k < n; k++ {
			pos, _ := g.at(g.Length * float64(k) / float64(n))
			out = append(out, pos)
		}
		out = append(out, g.To)
	}
	return out
}

// ReferenceLine returns the unit direction, perpendicular to the tube at end A,
// in which the bar's reference line lies there: the outside (extrados) of bend
// 1. A straight bar has none, so there it is the upper generator; and for one
// that stands upright, where no generator is the upper one, the front (+x).
// All three are kept by the car's mirror plane.
func ReferenceLine(p *Path) r3.Vector {
	for i := range p.Segments {
		if p.Segments[i].Kind == Arc {
			return p.Segments[i].outward()
		}
	}
	dir := p.Segments[0].Dir
	up := r3.Vector{Z: 1}
	// The upper generator of a tube within a millionth of upright would be made
	// of rounding alone.
	if math.Hypot(dir.X, dir.Y) < 1e-6 {
		up = r3.Vector{X: 1}
	}
	return up.Sub(dir.Mul(up.Dot(dir))).Normalize()
}
