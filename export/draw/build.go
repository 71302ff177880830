package draw

import (
	"fmt"
	"math"
	"slices"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
)

// Line adds a chain of straight lines, mm. Fewer than two points add nothing.
func (d *Drawing) Line(k Kind, pts ...r2.Point) { d.chain(k, pts, false) }

// Polygon adds a closed chain of straight lines, mm. Fewer than two points add
// nothing.
func (d *Drawing) Polygon(k Kind, pts ...r2.Point) { d.chain(k, pts, true) }

func (d *Drawing) chain(k Kind, pts []r2.Point, closed bool) {
	if len(pts) < 2 {
		return
	}
	s := Stroke{Kind: k, Vertices: make([]Vertex, len(pts)), Closed: closed}
	for i, p := range pts {
		s.Vertices[i].Point = p
	}
	d.Strokes = append(d.Strokes, s)
}

// Circle adds a circle; the radius in mm.
func (d *Drawing) Circle(k Kind, centre r2.Point, radius float64) {
	s := arcStroke(k, centre, radius, 0, 2*math.Pi)
	s.Closed = true
	s.Vertices = s.Vertices[:len(s.Vertices)-1]
	d.Strokes = append(d.Strokes, s)
}

// Arc adds an arc between two directions from its centre, counted
// counterclockwise from the right; it runs counterclockwise if to > from, else
// clockwise. The radius is in mm.
func (d *Drawing) Arc(k Kind, centre r2.Point, radius float64, from, to s1.Angle) {
	if from == to {
		return
	}
	d.Strokes = append(d.Strokes, arcStroke(k, centre, radius, from.Radians(), to.Radians()))
}

// arcStroke splits an arc into quarters of a circle at most: the bulge of more
// grows without bounds, and with it what rounding does to it.
func arcStroke(k Kind, centre r2.Point, radius, from, to float64) Stroke {
	c := arc{centre, radius, from, to - from}
	n := max(1, math.Ceil(math.Abs(c.sweep)/(math.Pi/2)-1e-9))
	if !finite(n) {
		n = 1 // a drawing with such an angle is refused when it is written
	}
	n = min(n, mostQuarters)
	s := Stroke{Kind: k}
	for i := 0.0; i <= n; i++ {
		s.Vertices = append(s.Vertices, Vertex{c.at(i / n), math.Tan(c.sweep / n / 4)})
	}
	s.Vertices[len(s.Vertices)-1].Bulge = 0
	return s
}

// mostQuarters is a hundred times around, more than anybody draws.
const mostQuarters = 400

// Text adds a line of words; its height is that of capital letters, mm.
func (d *Drawing) Text(at r2.Point, height float64, anchor Anchor, words string) {
	d.Texts = append(d.Texts, Text{At: at, Height: height, Anchor: anchor, Words: words})
}

// Figures of dimensions, mm. ISO 129-1 leaves a gap of about 8 line widths
// between the outline and an extension line, and lets that reach as far beyond
// the dimension line: 2 mm at 0.25 mm. Arrow heads are closed and filled, of at
// least 15 degrees. Heights of letters are of the series 2.5, 3.5, 5 of ISO
// 3098-1. (From memory.)
const (
	dimensionText = 3.5
	dimensionGap  = 1.0 // between outline and extension line, between line and words
	dimensionOver = 2.0
	arrowLength   = 3.5
	arrowHalf     = 0.6 // half its width: 20 degrees in all
)

// Dimension adds a dimension after ISO 129-1 of the way from a to b: extension
// lines, a dimension line that stands offset (mm) to the left of the way (to the
// right if negative), arrow heads, and words over it that read from the foot or
// from the right of the page. Where a and b are too near to each other for words
// and arrows, these stand outside.
func (d *Drawing) Dimension(a, b r2.Point, offset float64, words string) {
	length := b.Sub(a).Norm()
	along := r2.Point{X: 1}
	if length > 0 {
		along = b.Sub(a).Mul(1 / length)
	}
	left := along.Ortho()
	side := math.Copysign(1, offset)
	p, q := a.Add(left.Mul(offset)), b.Add(left.Mul(offset))
	if math.Abs(offset) > dimensionGap {
		for _, e := range [2][2]r2.Point{{a, p}, {b, q}} {
			d.Line(Thin, e[0].Add(left.Mul(side*dimensionGap)), e[1].Add(left.Mul(side*dimensionOver)))
		}
	}
	t := Text{Height: dimensionText, Anchor: Middle, Words: words}
	wide := t.Width()
	inside := length >= 3*arrowLength
	if inside {
		d.Line(Thin, p, q)
		d.arrow(p, along)
		d.arrow(q, along.Mul(-1))
	} else {
		d.Line(Thin, p.Sub(along.Mul(2*arrowLength)), q.Add(along.Mul(2*arrowLength)))
		d.arrow(p, along.Mul(-1))
		d.arrow(q, along)
	}
	// Words are turned with the line, but never upside down.
	reading := along
	if reading.X < -upright || reading.X < upright && reading.Y < 0 {
		reading = reading.Mul(-1)
	}
	t.Turn = s1.Angle(math.Atan2(reading.Y, reading.X))
	t.At = p.Add(q).Mul(0.5)
	if wide+2*dimensionGap > length {
		t.At = q.Add(along.Mul(2*arrowLength + dimensionGap + wide/2))
		if inside {
			t.At = q.Add(along.Mul(dimensionGap + dimensionOver + wide/2))
		}
		d.Line(Thin, q, t.At.Add(along.Mul(wide/2)))
	}
	t.At = t.At.Add(reading.Ortho().Mul(dimensionGap))
	d.Texts = append(d.Texts, t)
}

// upright is the cosine below which a line counts as upright, whatever rounding
// made of it: 0.06 degrees.
const upright = 1e-3

// arrow adds an arrow head whose tip is at p and whose body lies along dir.
func (d *Drawing) arrow(p, dir r2.Point) {
	foot, side := p.Add(dir.Mul(arrowLength)), dir.Ortho().Mul(arrowHalf)
	d.Fills = append(d.Fills, Fill{Vertices: []Vertex{{Point: p}, {Point: foot.Add(side)}, {Point: foot.Sub(side)}}})
}

// Figures of hatching.
const (
	hatchChord = 0.01  // chord error of arcs, mm: a fifth of what an eye sees
	mostHatch  = 20000 // lines; a spacing that asks for more adds none
)

// Hatch fills an outline, which need not be convex and may have arcs, with
// narrow lines. The spacing is in mm, the angle counts counterclockwise from the
// right. Lines of equal spacing and angle continue each other from one outline
// to the next.
func (d *Drawing) Hatch(outline []Vertex, spacing float64, angle s1.Angle) {
	if len(outline) < 3 && boundsOf(outline, true).Size().Norm() == 0 || !(spacing > 0) || !finite(spacing, angle.Radians()) {
		return
	}
	back, forth := newMove(r2.Point{}, -angle), newMove(r2.Point{}, angle)
	ring := polyline(back.vertices(outline), true, hatchChord)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range ring {
		if !finite(p.X, p.Y) {
			return
		}
		lo, hi = min(lo, p.Y), max(hi, p.Y)
	}
	if (hi-lo)/spacing > mostHatch {
		return
	}
	for k := math.Ceil(lo / spacing); k*spacing <= hi; k++ {
		y := k * spacing
		// Where the ring crosses the line; a corner on the line counts as above it,
		// so that every crossing is met once and their number is even.
		var xs []float64
		for i := 1; i < len(ring); i++ {
			a, b := ring[i-1], ring[i]
			if (a.Y < y) != (b.Y < y) {
				xs = append(xs, a.X+(b.X-a.X)*(y-a.Y)/(b.Y-a.Y))
			}
		}
		slices.Sort(xs)
		for i := 1; i < len(xs); i += 2 {
			d.Line(Thin, forth.point(r2.Point{X: xs[i-1], Y: y}), forth.point(r2.Point{X: xs[i], Y: y}))
		}
	}
}

// Add adds another drawing's lines, texts and fills, turned about its origin and
// then shifted by at (mm). Its title and notes are left behind; its styles must be
// the same.
func (d *Drawing) Add(other *Drawing, at r2.Point, turn s1.Angle) {
	m := newMove(at, turn)
	for _, s := range other.Strokes {
		s.Vertices = m.vertices(s.Vertices)
		d.Strokes = append(d.Strokes, s)
	}
	for _, t := range other.Texts {
		t.At = m.point(t.At)
		t.Turn += turn
		d.Texts = append(d.Texts, t)
	}
	for _, f := range other.Fills {
		f.Vertices = m.vertices(f.Vertices)
		d.Fills = append(d.Fills, f)
	}
}

// Bounds returns the smallest rectangle around all lines, fills and words, mm,
// without the lines' widths; that of an empty drawing is empty.
func (d *Drawing) Bounds() r2.Rect {
	box := r2.EmptyRect()
	for _, s := range d.Strokes {
		box = box.Union(boundsOf(s.Vertices, s.Closed))
	}
	for _, f := range d.Fills {
		box = box.Union(boundsOf(f.Vertices, true))
	}
	for _, t := range d.Texts {
		for _, p := range t.corners() {
			box = box.AddPoint(p)
		}
	}
	return box
}

// mostAway is how far from the origin anything may be, mm. A car is within 10 m;
// in a wrong unit that is 10 km at most.
const mostAway = 1e7

// mostBulge is that of an arc that is 0.02 degrees short of a full circle. Where
// the ends of an arc are nearer to each other than that, they no longer tell how
// large it is.
const mostBulge = 1e4

// check refuses a drawing that can't be written.
func (d *Drawing) check() error {
	name := fmt.Sprintf("drawing %q", fitted(d.Title, 1, false, 60))
	if len(d.Strokes)+len(d.Texts)+len(d.Fills) == 0 {
		return fmt.Errorf("%s is empty", name)
	}
	good := func(vs []Vertex) bool {
		for _, v := range vs {
			if !(math.Abs(v.X) <= mostAway && math.Abs(v.Y) <= mostAway && math.Abs(v.Bulge) <= mostBulge) {
				return false
			}
		}
		return true
	}
	for i, s := range d.Strokes {
		if int(s.Kind) >= len(d.styles()) {
			return fmt.Errorf("%s: line %d is of no known kind (%d)", name, i+1, s.Kind)
		}
		if len(s.Vertices) < 2 {
			return fmt.Errorf("%s: line %d (%s) has %d points and needs two", name, i+1, d.styles()[s.Kind].Name, len(s.Vertices))
		}
		if !good(s.Vertices) {
			return fmt.Errorf("%s: line %d (%s) has a coordinate that is not a number within 10 km", name, i+1, d.styles()[s.Kind].Name)
		}
	}
	for i, f := range d.Fills {
		if !good(f.Vertices) || !finite(f.Grey) || len(f.Vertices) < 2 {
			return fmt.Errorf("%s: area %d has a coordinate that is not a number within 10 km, or has no outline", name, i+1)
		}
	}
	for _, t := range d.Texts {
		if !(math.Abs(t.At.X) <= mostAway && math.Abs(t.At.Y) <= mostAway && t.Height > 0 && t.Height <= mostAway) || !finite(t.Turn.Radians()) || t.Anchor > Right {
			return fmt.Errorf("%s: text %q has a place or height that is not a number within 10 km", name, fitted(t.Words, 1, false, 60))
		}
	}
	return nil
}
