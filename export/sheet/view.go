package sheet

import (
	"math"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"

	"barwright/fit/tube"
)

// flatTol is how far (mm) a node of a flat bar may be off the plane of the
// others: as much as fit/check lets pass for one that is asked flat, which is
// what rounding to the 0.1 mm of the tables hides.
const flatTol = 0.05

// view is a plane that is drawn, with axes to the right and up on paper. The
// reader looks against normal.
type view struct {
	origin            r3.Vector // mm, drawn at (0, 0)
	right, up, normal r3.Vector // unit, right-handed
	face              string    // "seen from the front"
}

func (v view) point(q r3.Vector) r2.Point { return v.vector(q.Sub(v.origin)) }

func (v view) vector(d r3.Vector) r2.Point { return r2.Point{X: d.Dot(v.right), Y: d.Dot(v.up)} }

// flatPlane returns the unit normal of the plane in which all nodes of a bent
// path lie; ok is false if there is none or the path is straight.
func flatPlane(p *tube.Path) (normal r3.Vector, ok bool) {
	arcs := p.Arcs()
	if len(arcs) == 0 {
		return normal, false
	}
	// The plane through the three nodes that span the largest triangle, as
	// fit/check takes it: it is the one that rounding tilts least.
	var best, origin r3.Vector
	for i, a := range p.Nodes {
		for j := i + 1; j < len(p.Nodes); j++ {
			for _, c := range p.Nodes[j+1:] {
				if n := p.Nodes[j].Sub(a).Cross(c.Sub(a)); n.Norm2() > best.Norm2() {
					best, origin = n, a
				}
			}
		}
	}
	if best.Norm() == 0 {
		return normal, false
	}
	normal = best.Normalize()
	for _, n := range p.Nodes {
		if math.Abs(n.Sub(origin).Dot(normal)) > flatTol {
			return normal, false
		}
	}
	return normal, true
}

// newView looks at the plane with that normal (of either sign) from where a
// person would: from the front of the car, from its right or from above. The way
// from a to b runs level on paper, so that the drawing takes little of it.
func newView(normal, a, b, dir r3.Vector) view {
	v := view{origin: a}
	x, y, z := math.Abs(normal.X), math.Abs(normal.Y), math.Abs(normal.Z)
	var towards, right r3.Vector
	switch {
	case x >= y && x >= z:
		towards, right, v.face = r3.Vector{X: 1}, r3.Vector{Y: 1}, "from the front of the car"
	case y >= z:
		towards, right, v.face = r3.Vector{Y: -1}, r3.Vector{X: 1}, "from the right of the car"
	default:
		towards, right, v.face = r3.Vector{Z: 1}, r3.Vector{X: 1}, "from above"
	}
	if normal.Dot(towards) < 0 {
		normal = normal.Mul(-1)
	}
	if normal.Dot(towards) < squareOn {
		v.face = "seen roughly " + v.face
	} else {
		v.face = "seen " + v.face
	}
	v.normal = normal
	chord := b.Sub(a)
	chord = chord.Sub(normal.Mul(chord.Dot(normal)))
	if chord.Norm() < minChord { // a bar that comes back to where it starts
		chord = dir.Sub(normal.Mul(dir.Dot(normal)))
	}
	v.right = chord.Normalize()
	if v.right.Dot(right) < 0 {
		v.right = v.right.Mul(-1)
	}
	v.up = normal.Cross(v.right)
	return v
}

const (
	squareOn = 0.97 // cosine of 14 degrees: a view within it needs no "roughly" (taste, no source)
	minChord = 1    // mm: a shorter way from end to end has no direction to speak of
)

// leg is one segment of a bar as it is drawn.
type leg struct {
	arc      bool
	from, to r2.Point
	dir      r2.Point // unit, at from
	turn     float64  // arcs: radians, positive to the left
	radius   float64  // arcs: of the centreline, mm
	start    float64  // along the bar from end A, mm
	length   float64
	node     int // arcs: index in Path.Nodes
	bend     int // arcs: counted from 1
}

// run is a piece of a bar that lies in a plane, drawn: neighbouring segments.
type run []leg

// newRun draws the segments from up to (not including) to of a path. bend is the
// number of the last bend before them.
func newRun(v view, p *tube.Path, from, to, bend int) run {
	var out run
	for i := from; i < to; i++ {
		g := &p.Segments[i]
		l := leg{from: v.point(g.From), to: v.point(g.To), dir: v.vector(g.Dir).Normalize(), start: g.Start, length: g.Length}
		if g.Kind == tube.Arc {
			bend++
			l.arc, l.node, l.bend, l.radius = true, g.Node, bend, g.Radius
			l.turn = math.Copysign(float64(g.Angle), g.Axis.Dot(v.normal))
		}
		out = append(out, l)
	}
	return out
}

func left(d r2.Point) r2.Point { return r2.Point{X: -d.Y, Y: d.X} }

// at returns the point and the unit direction of travel at the distance s (mm)
// from end A along the bar. Beyond the run its last straights go on.
func (r run) at(s float64) (r2.Point, r2.Point) {
	k := 0
	for k+1 < len(r) && r[k+1].start <= s {
		k++
	}
	l := &r[k]
	x := s - l.start
	if !l.arc {
		return l.from.Add(l.dir.Mul(x)), l.dir
	}
	a := x / l.radius
	sin, cos := math.Sincos(math.Abs(a))
	side := left(l.dir).Mul(math.Copysign(1, l.turn)) // towards the centre
	dir := l.dir.Mul(cos).Add(side.Mul(sin))
	return l.from.Add(l.dir.Mul(l.radius * sin)).Add(side.Mul(l.radius * (1 - cos))), dir
}

func (r run) start() float64 { return r[0].start }
func (r run) end() float64   { return r[len(r)-1].start + r[len(r)-1].length }

// bends returns the arcs of the run.
func (r run) bends() []leg {
	var out []leg
	for _, l := range r {
		if l.arc {
			out = append(out, l)
		}
	}
	return out
}
