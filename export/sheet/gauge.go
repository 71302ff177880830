package sheet

import (
	"fmt"
	"math"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/export/draw"
	"barwright/fit/tube"
	"barwright/mesh"
)

// Figures of a gauge on paper, mm. (Taste, no source.)
const (
	scaleOne   = 4.0 // lines of a scale
	scaleFive  = 7.0
	scaleTen   = 11.0
	leastLeg   = 80.0 // length of the straight before the bend, at least
	numberRoom = 3.0
	leastGap   = 0.8 // between lines: nearer ones are a grey band
)

// Gauge draws a bend of a die in true size to lay a tube on: the tube's edges and
// centreline, a straight before the bend, and two scales from 0 to the die's
// largest angle (180 degrees if that is not given) with lines at every degree;
// on the inner scale of a tight bend single degrees are left out.
//
// The inner scale tells where along the arc a place is. The outer one tells the
// angle of a bend: the outer edge of the leg behind a bend of angle a, which is
// the tangent of the outer arc Ro there, crosses the circle of radius Rs at the
// angle a + acos(Ro / Rs), so the scale is turned by that. Where a tangent leaves
// an arc is hard to see; where it crosses a circle is not.
//
// od is the tube's outside diameter in mm, for which die.CLR must leave an inner
// edge (CLR > od/2). inches: figures are in inches.
func Gauge(die *tube.Die, od float64, inches bool) *draw.Drawing {
	f := figures{inches}
	top := die.MaxAngle.Degrees()
	if !(top > 0 && top <= 180) {
		top = 180
	}
	inner, outer := die.CLR-od/2, die.CLR+od/2
	leg := max(leastLeg, 1.5*od)
	crossing := max(50, 1.2*od) // of the far leg, behind its tangent point
	scale := math.Hypot(outer, crossing)
	shift := s1.Angle(math.Atan2(crossing, outer))

	d := &draw.Drawing{Title: "Bend gauge: die " + name(die.Name)}
	// The tube comes up on the left and bends to the right about the origin.
	at := func(r float64, bend s1.Angle) r2.Point {
		sin, cos := math.Sincos(bend.Radians())
		return r2.Point{X: -r * cos, Y: r * sin}
	}
	whole := s1.Angle(top) * s1.Degree
	arc := func(kind draw.Kind, r float64, from, to s1.Angle) {
		d.Arc(kind, r2.Point{}, r, 180*s1.Degree-from, 180*s1.Degree-to)
	}
	for _, e := range []struct {
		kind draw.Kind
		r    float64
	}{{draw.Outline, outer}, {draw.Centre, die.CLR}, {draw.Outline, inner}} {
		d.Line(e.kind, r2.Point{X: -e.r, Y: -leg}, r2.Point{X: -e.r})
		arc(e.kind, e.r, 0, whole)
	}
	d.Line(draw.Thin, r2.Point{X: -outer, Y: -leg}, r2.Point{X: -inner, Y: -leg})

	arc(draw.Thin, scale, shift, shift+whole)
	long := func(k int) float64 {
		switch {
		case k%10 == 0:
			return scaleTen
		case k%5 == 0:
			return scaleFive
		}
		return scaleOne
	}
	number := func(k int, r float64, a s1.Angle, height float64) {
		p := at(r, a)
		d.Texts = append(d.Texts, draw.Text{At: r2.Point{X: p.X, Y: p.Y - height/2}, Height: height, Anchor: draw.Middle, Words: fmt.Sprint(k), Bold: true})
	}
	// A tight bend has no room for a number at every ten degrees.
	every := 10
	if (inner-scaleTen-numberRoom)*10*s1.Degree.Radians() < 2.5*small {
		every = 30
	}
	for k := range int(math.Floor(top+1e-9)) + 1 {
		a := s1.Angle(k) * s1.Degree
		d.Line(draw.Thin, at(scale, a+shift), at(scale+long(k), a+shift))
		if k%10 == 0 {
			// Across the tube, so that it can be seen where a tube does not cover it.
			d.Line(draw.Thin, at(inner-long(k), a), at(outer, a))
			if k%every == 0 {
				number(k, inner-scaleTen-numberRoom-medium/2, a, small)
			}
			number(k, scale+scaleTen+numberRoom+medium/2, a+shift, medium)
			continue
		}
		if k%5 == 0 || inner*s1.Degree.Radians() >= leastGap {
			d.Line(draw.Thin, at(inner-long(k), a), at(inner, a))
		}
	}
	// One example of the far leg, to show what the outer scale reads.
	example := s1.Angle(min(top, 90)) * s1.Degree
	sin, cos := math.Sincos(example.Radians())
	way := r2.Point{X: sin, Y: cos}
	for _, r := range [2]float64{outer, inner} {
		p := at(r, example)
		d.Line(draw.Ghost, p, p.Add(way.Mul(crossing)))
	}
	arrowHead(d, at(scale, example+shift), way)

	// In the straight and inside the bend: what is what.
	upwards := r2.Point{Y: 1}
	words(d, r2.Point{X: -outer + 3 + small/2, Y: -leg + 4}, upwards, small, "OUTSIDE of the bend", true)
	words(d, r2.Point{X: -inner - 3 - small/2, Y: -leg + 4}, upwards, small, "INSIDE of the bend", true)
	// Beside the straight, so that they share a page with it.
	y := -3 * clear
	for _, l := range []line{
		{large, "CLR " + f.size(die.CLR), true},
		{medium, "tube " + f.size(od), true},
		{small, "outside edge R " + f.size(outer), false},
		{small, "inside edge R " + f.size(inner), false},
		{small, "outer scale: angle of a bend", false},
		{small, "inner scale: place along the arc", false},
	} {
		y -= l.height
		d.Texts = append(d.Texts, draw.Text{At: r2.Point{X: 2*clear - inner, Y: y}, Height: l.height, Words: l.words, Bold: l.bold})
		y -= (feed - 1) * l.height
	}
	// As much as fits the foot of a tile.
	d.Notes = []string{"Lay a bend on the arc, one leg on the straight: the other leg's outer edge shows its angle on the outer scale. Its ends inside the arc: radius under CLR."}
	return d
}

// Figures of a printed gauge, mm.
const (
	plateThick = 4.0
	plateDeep  = 35.0 // from the edge that lies in the bend to the back
	notchHalf  = 0.9  // half the width of a notch: it must stay open at a nozzle of 0.4
	notchShort = 3.0
	notchLong  = 6.0   // at every 30 degrees, to count by
	plateHub   = 4.0   // least radius of the back
	plateBed   = 200.0 // what common printers take (common practice, no source)
)

// GaugeSpan returns over how many degrees the printed gauge of a die goes, a
// multiple of ten: a quarter of a circle, or as much of it as a print bed of 200
// by 200 mm takes. It is 0 if no gauge can be made.
func GaugeSpan(die *tube.Die, od float64) s1.Angle {
	r := die.CLR - od/2
	if !(r >= plateHub+2*notchLong) || math.IsInf(r, 0) {
		return 0
	}
	for deg := 90; deg >= 10; deg -= 10 {
		half := s1.Angle(deg) * s1.Degree / 2
		back := (r - plateBack(r)) * math.Cos(half.Radians())
		if 2*r*math.Sin(half.Radians()) <= plateBed && r-back <= plateBed {
			return 2 * half
		}
	}
	return 0
}

// plateBack returns how far behind its edge the plate's back is, mm.
func plateBack(r float64) float64 { return min(plateDeep, r-plateHub) }

// GaugeSolid returns a plate to print in 3D, 4 mm thick, whose convex edge fits
// the inside of a bend: its radius is CLR - od/2. It has a notch at every 10
// degrees between its ends, a deeper one at every 30, goes over GaugeSpan degrees
// and lies flat on z = 0, in mm. The mesh is closed and faces outward.
//
// A tube is round, so only the middle of the plate's thickness touches it, along
// the bend's innermost line. In a bend of a smaller radius the plate stands on its
// ends with a gap between them; in one of a larger radius it rocks.
//
// Errors: a bend too tight or too wide for a plate.
func GaugeSolid(die *tube.Die, od float64) (*mesh.Mesh, error) {
	span := GaugeSpan(die, od)
	r := die.CLR - od/2
	if span == 0 {
		return nil, fmt.Errorf("no gauge can be printed for a bend with an inside radius of %s mm", trimmed(r, 2))
	}
	// The edge as a function of the angle, in degrees: on the circle, with notches.
	type point struct{ angle, radius float64 }
	var edge []point
	deg := math.Round(span.Degrees())
	width := s1.Angle(notchHalf / r).Degrees()
	for k := 0.0; k <= deg; k++ {
		if math.Mod(k, 10) != 0 || k == 0 || k == deg {
			edge = append(edge, point{k, r})
			continue
		}
		depth := notchShort
		if math.Mod(k, 30) == 0 {
			depth = notchLong
		}
		edge = append(edge, point{k - width, r}, point{k, r - depth}, point{k + width, r})
	}
	back := r - plateBack(r)
	m := &mesh.Mesh{}
	// Four corners to an angle: edge and back, below and above.
	for _, p := range edge {
		sin, cos := math.Sincos(p.angle * math.Pi / 180)
		for _, c := range [4][2]float64{{p.radius, 0}, {p.radius, plateThick}, {back, 0}, {back, plateThick}} {
			m.Vertices = append(m.Vertices, r3.Vector{X: c[0] * cos, Y: c[0] * sin, Z: c[1]})
		}
	}
	quad := func(a, b, c, d int) {
		m.Triangles = append(m.Triangles, [3]int32{int32(a), int32(b), int32(c)}, [3]int32{int32(a), int32(c), int32(d)})
	}
	last := 4 * (len(edge) - 1)
	quad(0, 1, 3, 2)
	for i := 0; i < last; i += 4 {
		low, high, backLow, backHigh := i, i+1, i+2, i+3
		quad(low, low+4, high+4, high)
		quad(backLow, backHigh, backHigh+4, backLow+4)
		quad(high, high+4, backHigh+4, backHigh)
		quad(low, backLow, backLow+4, low+4)
	}
	quad(last, last+2, last+3, last+1)
	return m, nil
}
