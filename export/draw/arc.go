package draw

import (
	"math"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
)

// arc is a circular arc from one vertex to the next.
type arc struct {
	centre r2.Point
	radius float64
	from   float64 // direction of its start from the centre, radians
	sweep  float64 // radians, positive counterclockwise
}

// flat is the bulge below which a way is drawn as a straight line: on a chord of
// 10 m, more than any drawing has, the arc is within 10,000 * 1e-9 / 2 = 5e-6 mm
// of it.
const flat = 1e-9

// arcOf returns the arc from a to b. With s half the chord and the bulge
// t = tan(sweep / 4), radius = s (1 + t^2) / (2 |t|), and the centre is
// s (1 - t^2) / (2 t) to the left of the chord's middle.
func arcOf(a, b r2.Point, bulge float64) (arc, bool) {
	chord := b.Sub(a)
	s := chord.Norm() / 2
	if math.Abs(bulge) < flat || s == 0 {
		return arc{}, false
	}
	left := chord.Ortho().Mul(1 / (2 * s))
	c := a.Add(chord.Mul(0.5)).Add(left.Mul(s * (1 - bulge*bulge) / (2 * bulge)))
	d := a.Sub(c)
	return arc{c, s * (1 + bulge*bulge) / (2 * math.Abs(bulge)), math.Atan2(d.Y, d.X), 4 * math.Atan(bulge)}, true
}

// at returns the point at a share of the arc, 0 to 1.
func (c arc) at(share float64) r2.Point {
	sin, cos := math.Sincos(c.from + share*c.sweep)
	return c.centre.Add(r2.Point{X: cos, Y: sin}.Mul(c.radius))
}

// leg is the way from one vertex to the next.
type leg struct {
	a, b  r2.Point
	bulge float64
}

// legs returns the ways of a line.
func legs(vertices []Vertex, closed bool) []leg {
	var out []leg
	for i := 1; i < len(vertices); i++ {
		out = append(out, leg{vertices[i-1].Point, vertices[i].Point, vertices[i-1].Bulge})
	}
	if n := len(vertices); closed && n > 1 {
		out = append(out, leg{vertices[n-1].Point, vertices[0].Point, vertices[n-1].Bulge})
	}
	return out
}

// pieces returns the way in equal arcs that turn by at most most (radians); a
// straight one as it is.
func (l leg) pieces(most float64) []leg {
	c, ok := arcOf(l.a, l.b, l.bulge)
	if !ok {
		return []leg{{a: l.a, b: l.b}}
	}
	n := max(1, math.Ceil(math.Abs(c.sweep)/most-1e-9))
	if n == 1 {
		return []leg{l}
	}
	var out []leg
	bulge := math.Tan(c.sweep / n / 4)
	a := l.a
	for i := 1.0; i <= n; i++ {
		b := l.b
		if i < n {
			b = c.at(i / n)
		}
		out = append(out, leg{a, b, bulge})
		a = b
	}
	return out
}

// Polyline returns the stroke as a chain of points, in mm, with arcs as chords
// that are at most chord (mm) off them. A closed one ends where it starts.
func (s Stroke) Polyline(chord float64) []r2.Point {
	return polyline(s.Vertices, s.Closed, chord)
}

func polyline(vertices []Vertex, closed bool, chord float64) []r2.Point {
	if len(vertices) == 0 {
		return nil
	}
	out := []r2.Point{vertices[0].Point}
	for _, l := range legs(vertices, closed) {
		most := math.Pi / 2
		if c, ok := arcOf(l.a, l.b, l.bulge); ok && chord < c.radius {
			// A chord of angle w is radius (1 - cos(w/2)) off its arc.
			most = min(most, 2*math.Acos(1-chord/c.radius))
		}
		for _, p := range l.pieces(most) {
			out = append(out, p.b)
		}
	}
	return out
}

// boundsOf returns the smallest rectangle around a line, bellies of its arcs
// included.
func boundsOf(vertices []Vertex, closed bool) r2.Rect {
	box := r2.EmptyRect()
	for _, v := range vertices {
		box = box.AddPoint(v.Point)
	}
	for _, l := range legs(vertices, closed) {
		c, ok := arcOf(l.a, l.b, l.bulge)
		if !ok {
			continue
		}
		// The outermost points of a circle that the arc passes.
		lo, hi := min(c.from, c.from+c.sweep), max(c.from, c.from+c.sweep)
		for k := math.Ceil(lo / (math.Pi / 2)); k*math.Pi/2 <= hi; k++ {
			d := [...]r2.Point{{X: 1}, {Y: 1}, {X: -1}, {Y: -1}}[(int(k)%4+4)%4]
			box = box.AddPoint(c.centre.Add(d.Mul(c.radius)))
		}
	}
	return box
}

// move is a turn about the origin and then a shift.
type move struct {
	at       r2.Point
	sin, cos float64
	turn     s1.Angle
}

func newMove(at r2.Point, turn s1.Angle) move {
	sin, cos := math.Sincos(turn.Radians())
	if turn == 0 {
		sin, cos = 0, 1
	}
	return move{at, sin, cos, turn}
}

func (m move) point(p r2.Point) r2.Point {
	return r2.Point{X: m.at.X + m.cos*p.X - m.sin*p.Y, Y: m.at.Y + m.sin*p.X + m.cos*p.Y}
}

func (m move) vertices(vs []Vertex) []Vertex {
	out := make([]Vertex, len(vs))
	for i, v := range vs {
		out[i] = Vertex{m.point(v.Point), v.Bulge}
	}
	return out
}
