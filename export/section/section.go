package section

import (
	"errors"
	"fmt"
	"math"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/export/model"
	"barwright/fit"
	"barwright/mesh"
)

// Plane is a cutting plane with axes to draw along. Right and Up are unit
// vectors at right angles; the view is against Right x Up.
type Plane struct {
	Origin    r3.Vector // mm; drawn at (0, 0)
	Right, Up r3.Vector
	View      string // "seen from the front"
	RightName string // what counts along Right: "y (left)"
	UpName    string

	axis string
	at   float64 // along the axis, mm
	lean s1.Angle
}

// AcrossX returns the plane across the car that meets the floor level z = 0 at x
// (mm). lean is its angle from upright, positive when its top leans to the rear.
func AcrossX(x float64, lean s1.Angle) Plane {
	sin, cos := math.Sincos(lean.Radians())
	p := Plane{
		Origin: r3.Vector{X: x}, Right: r3.Vector{Y: 1}, Up: r3.Vector{X: -sin, Z: cos},
		View: "seen from the front", RightName: "y (left)", UpName: "z (up)",
		axis: "x", at: x, lean: lean,
	}
	if lean != 0 {
		p.UpName = "up along the plane"
	}
	return p
}

// PlaneOf returns the plane across the car in which a bent bar lies, with the
// angles of [AcrossX]. It is an error if the bar is straight, or bent in another
// plane or in more than one.
func PlaneOf(b *fit.Bar) (Plane, error) {
	nodes := b.Path.Nodes
	if len(nodes) < 3 {
		return Plane{}, errors.New("a straight bar lies in more than one plane")
	}
	// Across the car: y may be anything, and x falls with z by the lean. The two
	// nodes that differ most in z say how.
	low, high := nodes[0], nodes[0]
	for _, q := range nodes {
		if q.Z < low.Z {
			low = q
		}
		if q.Z > high.Z {
			high = q
		}
	}
	if high.Z-low.Z < inPlane {
		return Plane{}, errors.New("the bar does not lie in a plane across the car")
	}
	slope := (low.X - high.X) / (high.Z - low.Z)
	p := AcrossX(low.X+slope*low.Z, s1.Angle(math.Atan(slope)))
	for _, q := range nodes {
		if math.Abs(q.Sub(p.Origin).Dot(p.Normal())) > inPlane {
			return Plane{}, errors.New("the bar does not lie in a plane across the car")
		}
	}
	return p, nil
}

// AcrossY returns the upright plane along the car at y (mm).
func AcrossY(y float64) Plane {
	return Plane{
		Origin: r3.Vector{Y: y}, Right: r3.Vector{X: 1}, Up: r3.Vector{Z: 1},
		View: "seen from the right", RightName: "x (forward)", UpName: "z (up)",
		axis: "y", at: y,
	}
}

// AcrossZ returns the level plane at z (mm).
func AcrossZ(z float64) Plane {
	return Plane{
		Origin: r3.Vector{Z: z}, Right: r3.Vector{X: 1}, Up: r3.Vector{Y: 1},
		View: "seen from above", RightName: "x (forward)", UpName: "y (left)",
		axis: "z", at: z,
	}
}

// Name says where the plane is, in mm or in inches: "x = 250 mm".
func (p Plane) Name(inches bool) string {
	at := roundTo(p.at, 1e3) + 0 // + 0: no negative zero
	unit := "mm"
	if inches {
		at, unit = roundTo(p.at/mmPerInch, 1e4)+0, "in"
	}
	name := fmt.Sprintf("%s = %g %s", p.axis, at, unit)
	switch {
	case math.Abs(p.lean.Degrees()) < 5e-4: // 0 in the figures below
	case p.lean > 0:
		name += fmt.Sprintf(" at z = 0, top leaning %g degrees to the rear", roundTo(p.lean.Degrees(), 1e3))
	case p.lean < 0:
		name += fmt.Sprintf(" at z = 0, top leaning %g degrees to the front", roundTo(-p.lean.Degrees(), 1e3))
	}
	return name
}

func roundTo(v, steps float64) float64 { return math.Round(v*steps) / steps }

// Normal returns the unit normal, towards who looks at the drawing.
func (p Plane) Normal() r3.Vector { return p.Right.Cross(p.Up) }

// Point returns where q, or its foot on the plane, is drawn, in mm.
func (p Plane) Point(q r3.Vector) r2.Point {
	d := q.Sub(p.Origin)
	return r2.Point{X: d.Dot(p.Right), Y: d.Dot(p.Up)}
}

func (p Plane) line(l mesh.Polyline) Line {
	out := Line{Closed: l.Closed, Points: make([]r2.Point, len(l.Points))}
	for i, q := range l.Points {
		out.Points[i] = p.Point(q)
	}
	return out
}

func (p Plane) section(m *mesh.Mesh) []Line {
	var out []Line
	for _, l := range mesh.Section(m, p.Origin, p.Normal()) {
		out = append(out, p.line(l))
	}
	return out
}

// Line is a chain of straight pieces on the plane, in mm. A closed one goes on
// from its last point to its first.
type Line struct {
	Points []r2.Point
	Closed bool
}

// Length returns the length of lines, in mm.
func Length(lines []Line) float64 {
	sum := 0.0
	for _, l := range lines {
		for i := 1; i < len(l.Points); i++ {
			sum += l.Points[i].Sub(l.Points[i-1]).Norm()
		}
		if n := len(l.Points); l.Closed && n > 1 {
			sum += l.Points[0].Sub(l.Points[n-1]).Norm()
		}
	}
	return sum
}

// Bounds returns the smallest rectangle around lines, in mm; that of none is
// empty.
func Bounds(lines []Line) r2.Rect {
	box := r2.EmptyRect()
	for _, l := range lines {
		for _, p := range l.Points {
			box = box.AddPoint(p)
		}
	}
	return box
}

// Bar is what the plane meets of a bar.
type Bar struct {
	Name    string
	Outline []Line // of the tube's outside
	Centre  []Line // the centreline, if all of it lies in the plane
}

// Drawing is a section, ready to be written.
type Drawing struct {
	Title  string
	Plane  Plane
	Inches bool // grid and labels in inches
	Shell  []Line
	Caps   []Line // virtual surfaces over holes: not sheet metal
	Bars   []Bar  // those that the plane meets, in the cage's order
}

// ErrEmpty says that a plane meets neither shell nor bars.
var ErrEmpty = errors.New("the plane meets nothing")

// Cut returns the section of a shell by a plane. caps may be nil, and so may the
// cage, whose bars are cut too. A plane that meets nothing is [ErrEmpty].
func Cut(title string, p Plane, shell, caps *mesh.Mesh, cage *fit.Cage) (*Drawing, error) {
	d := &Drawing{Title: title, Plane: p, Shell: p.section(shell)}
	if caps != nil {
		d.Caps = p.section(caps)
	}
	if cage != nil {
		for _, b := range cage.Bars {
			bar, err := p.bar(b)
			if err != nil {
				return nil, fmt.Errorf("bar %q: %w", b.Name, err)
			}
			if len(bar.Outline) > 0 {
				d.Bars = append(d.Bars, bar)
			}
		}
	}
	if len(d.Shell)+len(d.Caps)+len(d.Bars) == 0 {
		return nil, ErrEmpty
	}
	return d, nil
}

// inPlane is how far a centreline may be off the plane to be drawn as lying in
// it, mm: less than a builder can see. (Common practice, no source.)
const inPlane = 0.5

// centreChord is the chord error of a centreline, mm.
const centreChord = 0.01

func (p Plane) bar(b *fit.Bar) (Bar, error) {
	out := Bar{Name: b.Name}
	m, err := model.Tube(b.Path, b.Tube.OD, b.Tube.Wall, model.Options{})
	if err != nil {
		return out, err
	}
	// Of the tube's surfaces, the outer one: a corner of the inner one is a wall
	// nearer to the centreline.
	outside := make([]bool, len(m.Vertices))
	for i, v := range m.Vertices {
		_, off := b.Path.Closest(v)
		outside[i] = off > (b.Tube.OD-b.Tube.Wall)/2
	}
	skin := &mesh.Mesh{Vertices: m.Vertices}
	for _, tri := range m.Triangles {
		if outside[tri[0]] && outside[tri[1]] && outside[tri[2]] {
			skin.Triangles = append(skin.Triangles, tri)
		}
	}
	out.Outline = p.section(skin)
	centre := b.Path.Polyline(centreChord)
	for _, q := range centre {
		if math.Abs(q.Sub(p.Origin).Dot(p.Normal())) > inPlane {
			return out, nil
		}
	}
	out.Centre = []Line{p.line(mesh.Polyline{Points: centre})}
	return out, nil
}
