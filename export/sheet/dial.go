package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"

	"barwright/export/draw"
)

// turn is a rotation of the tube between two bends, as it is made.
type turn struct {
	from, to int      // bends, counted from end A
	angle    s1.Angle // positive: clockwise for a builder at the end that goes in last
	last     int      // that end, 0: A, 1: B
}

// turns returns the rotations of the bar that are not zero, in the order in
// which they are made.
func (t *templater) turns() []turn {
	var out []turn
	add := func(from, to int, angle s1.Angle, last int) {
		if math.Abs(angle.Degrees()) >= leastTurn {
			out = append(out, turn{from, to, angle, last})
		}
	}
	if plan := t.bar.Blank; plan != nil {
		for i := 1; i < len(plan.Steps); i++ {
			add(plan.Steps[i-1].Bend, plan.Steps[i].Bend, plan.Steps[i].Rotation, 1-plan.First)
		}
		return out
	}
	for i, b := range t.bar.Tube.Table(t.bar.Path).Bends {
		if i > 0 {
			add(i, i+1, b.Rotation, 1)
		}
	}
	return out
}

// leastTurn is the rotation in degrees from which on a dial is drawn: less is 0
// in the tables, which have one decimal.
const leastTurn = 0.05

// Figures of a dial, mm from the hole outwards. (Taste, no source.)
const (
	dialOne     = 2.5 // lines of the scales, at the hole and at the ring
	dialFive    = 4.0
	dialTen     = 7.0
	dialNumbers = 10.5 // middle of the numbers
	dialRing    = 19.0
	dialLines   = 32.0 // end of the lines to turn from and to
	dialBeside  = 12.0 // before it, the figure beside a line starts
	dialCard    = 40.0 // edge of the card
)

// dial draws the gauge for a rotation: a card that is slid over the tube's end
// and held level, with a scale all round by which a mark on the tube is turned.
func (t *templater) dial(u turn) *draw.Drawing {
	d := &draw.Drawing{Title: fmt.Sprintf("Turn before bend %d: %s", u.to, name(t.bar.Name))}
	hole := t.bar.Radius()
	// Clockwise from the top, as the builder reads the card.
	at := func(r float64, clockwise s1.Angle) r2.Point {
		sin, cos := math.Sincos(clockwise.Radians())
		return r2.Point{X: r * sin, Y: r * cos}
	}
	d.Circle(draw.Cut, r2.Point{}, hole)
	d.Circle(draw.Thin, r2.Point{}, hole+dialRing)
	for k := range 360 {
		a := s1.Angle(k) * s1.Degree
		tick := func(from, to float64) { d.Line(draw.Thin, at(hole+from, a), at(hole+to, a)) }
		switch {
		case k%10 == 0:
			tick(0, dialTen)
			tick(dialRing-dialFive, dialRing)
			// Small tubes have no room for a number at every line.
			shown := min(k, 360-k)
			if k%30 == 0 || hole >= 15 && shown < 100 || hole >= 28 {
				d.Texts = append(d.Texts, draw.Text{
					At: at(hole+dialNumbers-dialHeight/2, a), Height: dialHeight, Anchor: draw.Middle, Turn: -a,
					Words: fmt.Sprint(shown), Bold: k%90 == 0,
				})
			}
		case k%5 == 0:
			tick(0, dialFive)
			tick(dialRing-dialFive, dialRing)
		default:
			// At the hole single degrees would be a grey band.
			tick(dialRing-dialOne, dialRing)
		}
	}
	half := hole + dialCard
	d.Polygon(draw.Outline, r2.Point{X: -half, Y: -half}, r2.Point{X: half, Y: -half}, r2.Point{X: half, Y: half}, r2.Point{X: -half, Y: half})
	// In the corners, where no line to turn to reaches.
	d.Text(r2.Point{X: 2 - half, Y: half - 2 - small}, small, draw.Left, "level")
	d.Text(r2.Point{X: half - 2, Y: half - 2 - small}, small, draw.Right, "level")

	// Narrow where the tube's mark is read: at the hole a wide line is two degrees.
	lineTo := func(a s1.Angle, beside, beyond draw.Kind) {
		d.Line(beside, at(hole, a), at(hole+dialRing, a))
		d.Line(beyond, at(hole+dialRing, a), at(hole+dialLines, a))
	}
	figure := func(a s1.Angle) {
		// Off the line, away from zero, so that two small turns do not meet.
		aside := at(math.Copysign(medium/2+1.5, a.Radians()), a+90*s1.Degree)
		words(d, at(hole+dialLines-dialBeside, a).Add(aside), at(1, a), medium, degrees(u.angle.Abs()), true)
	}
	lineTo(0, draw.Thin, draw.Outline)
	lineTo(u.angle, draw.Thin, draw.Cut)
	figure(u.angle)
	if t.anyOther() {
		lineTo(-u.angle, draw.Hidden, draw.Hidden)
		figure(-u.angle)
	}
	// Both directions, where no line to turn to can be.
	from := 112 * s1.Degree
	if a := u.angle.Abs().Degrees(); a > 90 && a < 170 {
		from = 35 * s1.Degree
	}
	const sweep = 30 * s1.Degree
	for _, sign := range [2]s1.Angle{1, -1} {
		r := hole + dialRing + 6
		d.Arc(draw.Thin, r2.Point{}, r, 90*s1.Degree-sign*from, 90*s1.Degree-sign*(from+sweep))
		arrowHead(d, at(r, sign*(from+sweep)), at(1, sign*(from+sweep+90*s1.Degree)))
		text := draw.Text{Height: small, Anchor: draw.Left, Words: "+ clockwise"}
		if sign < 0 {
			text.Anchor, text.Words = draw.Right, "- counterclockwise"
		}
		edge := text.Width() - half + 2
		if from < 90*s1.Degree {
			text.At = r2.Point{X: -float64(sign) * edge, Y: half - 12}
		} else {
			text.At = r2.Point{X: -float64(sign) * edge, Y: -half + 4}
		}
		d.Texts = append(d.Texts, text)
	}
	said, _ := blockAt(r2.Point{Y: -half - 3}, r2.Point{Y: -1}, []line{{large, degrees(u.angle.Abs()) + " " + strings.ToUpper(u.way()), true}, {medium, fmt.Sprintf("between bend %d and bend %d, seen from end %s", u.from, u.to, endName(u.last)), false}})
	d.Texts = append(d.Texts, said...)
	d.Notes = t.dialNotes(u)
	return d
}

// dialHeight is that of the numbers around a dial, mm.
const dialHeight = 2.5

func (u turn) way() string {
	if u.angle < 0 {
		return "counterclockwise"
	}
	return "clockwise"
}

// anyOther tells whether one of the other bars that the dial serves is turned the
// other way: mirrored ones are, but reading a bar from its other end keeps the
// sign of its rotations.
func (t *templater) anyOther() bool {
	return slices.ContainsFunc(t.members, func(m member) bool { return m.mirrored })
}

// dialNotes say how a dial is used.
func (t *templater) dialNotes(u turn) []string {
	end := endName(u.last)
	out := []string{
		fmt.Sprintf("Tube %s. Print at actual size (100 %%), stick it on card, cut along the outer edge and cut the hole out.", t.size(t.bar.Tube.OD)),
		fmt.Sprintf("Stand at end %s, which goes into the bender last, and look along the tube towards the die. + is clockwise.", end),
		fmt.Sprintf("1. Bend %d is made and the tube has not been turned yet: slide the card over end %s, printed side to you, its upper edge level. Draw a line on the tube at 0.", u.from, end),
		fmt.Sprintf("2. Feed to the mark of bend %d. Turn the tube %s until its line is at the wide line (%s), the card's upper edge level again.", u.to, u.way(), degrees(u.angle.Abs())),
	}
	n := len(t.bar.Path.Arcs())
	for _, m := range t.members {
		from, to := u.from, u.to
		if m.reversed {
			from, to = n+1-u.from, n+1-u.to
		}
		other := turn{angle: u.angle}
		which := "wide"
		if m.mirrored {
			other.angle, which = -u.angle, "dashed"
		}
		out = append(out, fmt.Sprintf("Also for %s, between bends %d and %d: turn %s to the %s line.", name(t.cage.Bars[m.bar].Name), min(from, to), max(from, to), other.way(), which))
	}
	return out
}

// arrowHead adds a filled arrow head after ISO 129-1 whose tip is at p and which
// points along dir (unit).
func arrowHead(d *draw.Drawing, p, dir r2.Point) {
	foot, side := p.Sub(dir.Mul(3.5)), left(dir).Mul(0.6)
	d.Fills = append(d.Fills, draw.Fill{Vertices: []draw.Vertex{{Point: p}, {Point: foot.Add(side)}, {Point: foot.Sub(side)}}})
}
