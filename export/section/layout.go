package section

import (
	"fmt"
	"math"
	"strconv"

	"github.com/golang/geo/r2"

	"barwright/export/draw"
)

// layer is what a line or a text belongs to. Later ones are drawn on top.
type layer int

const (
	gridLayer layer = iota
	axisLayer
	capsLayer
	shellLayer
	barsLayer
	centreLayer
	checkLayer
	noteLayer
	layers
)

// looks says how layers are drawn.
var looks = [layers]draw.Style{
	gridLayer:   {Name: "GRID", Colour: [3]uint8{205, 211, 218}, ACI: 9, Width: 0.25},
	axisLayer:   {Name: "AXES", Colour: [3]uint8{120, 130, 140}, ACI: 8, Width: 0.5},
	capsLayer:   {Name: "CAPS", Colour: [3]uint8{40, 110, 190}, ACI: 5, Width: 0.8, Dash: []float64{12, 8}},
	shellLayer:  {Name: "SHELL", Colour: [3]uint8{0, 0, 0}, ACI: 7, Width: 1},
	barsLayer:   {Name: "BARS", Colour: [3]uint8{190, 60, 20}, ACI: 1, Width: 0.8},
	centreLayer: {Name: "CENTRES", Colour: [3]uint8{190, 60, 20}, ACI: 30, Width: 0.4, Dash: []float64{20, 6}},
	checkLayer:  {Name: "CHECK", Colour: [3]uint8{0, 0, 0}, ACI: 3, Width: 0.5},
	noteLayer:   {Name: "NOTES", Colour: [3]uint8{40, 45, 50}, ACI: 7},
}

// text is a line of text; its baseline is level.
type text struct {
	layer  layer
	at     r2.Point // mm
	height float64  // of a capital letter, about; mm
	anchor draw.Anchor
	words  string
}

// stroke is a line with its layer.
type stroke struct {
	layer layer
	Line
}

// sheet is a drawing laid out: everything in mm on the plane, y up.
type sheet struct {
	box     r2.Rect
	strokes []stroke // by layer
	texts   []text
}

const mmPerInch = 25.4 // exact by definition (international inch)

// Figures of the layout. (Taste, no source.)
const (
	letters     = 120.0 // the sheet is about so many text heights across
	smallText   = 6.0   // and that is at least so many mm,
	largeText   = 40.0  // and at most
	letterWidth = 0.75  // a letter's width in text heights, about, with room to spare
	aroundIt    = 20.0  // least distance of the outline from the edge of the grid, mm
	labelRoom   = 5     // widest label of the grid, in letters
	checkMM     = 100.0 // length of the line to check a print with, mm
	checkInches = 4.0
	nearMiddle  = 100.0 // of the outline, mm: the name of a bar there stands above it
	mostLines   = 400   // of the grid in one direction
)

// grid is where lines are drawn, in mm.
type grid struct {
	step    float64 // between lines
	major   int     // every so many lines is labelled
	unit    float64 // mm in the labels' unit
	name    string
	from    [2]int // first and last line each way, in steps
	to      [2]int
	labelOf func(steps int) string
}

func newGrid(content r2.Rect, inches bool) grid {
	g := grid{step: 100, major: 1, unit: 1, name: "mm"}
	if inches {
		g = grid{step: mmPerInch, major: 5, unit: mmPerInch, name: "in"}
	}
	// A shell in a wrong unit must not ask for a million lines.
	for size := max(content.Size().X, content.Size().Y); size/g.step > mostLines; {
		g.step *= 10
	}
	g.labelOf = func(steps int) string {
		return strconv.FormatFloat(math.Round(float64(steps)*g.step/g.unit), 'f', -1, 64)
	}
	for i, r := range [2][2]float64{{content.X.Lo, content.X.Hi}, {content.Y.Lo, content.Y.Hi}} {
		big := g.step * float64(g.major)
		g.from[i] = g.major * int(math.Floor((r[0]-aroundIt)/big))
		g.to[i] = g.major * int(math.Ceil((r[1]+aroundIt)/big))
	}
	return g
}

func (g grid) at(steps int) float64 { return float64(steps) * g.step }

func (g grid) box() r2.Rect {
	return r2.RectFromPoints(
		r2.Point{X: g.at(g.from[0]), Y: g.at(g.from[1])},
		r2.Point{X: g.at(g.to[0]), Y: g.at(g.to[1])})
}

// content returns the bounds of all outlines.
func (d *Drawing) content() r2.Rect {
	box := Bounds(d.Shell).Union(Bounds(d.Caps))
	for _, b := range d.Bars {
		box = box.Union(Bounds(b.Outline)).Union(Bounds(b.Centre))
	}
	return box
}

// layout lays a drawing out.
func (d *Drawing) layout() *sheet {
	content := d.content()
	g := newGrid(content, d.Inches)
	area := g.box()
	h := min(max(max(area.Size().X, area.Size().Y)/letters, smallText), largeText)
	s := &sheet{box: area}

	s.grid(g, area, h)
	s.lines(capsLayer, d.Caps)
	s.lines(shellLayer, d.Shell)
	for _, b := range d.Bars {
		s.lines(barsLayer, b.Outline)
	}
	for _, b := range d.Bars {
		s.lines(centreLayer, b.Centre)
	}
	for _, b := range d.Bars {
		s.name(b, content.Center().X, h)
	}

	// Below the grid: its labels, the axis along it, then the lines to check a
	// print with.
	y := area.Y.Lo - 3.2*h
	s.text(noteLayer, r2.Point{X: area.X.Hi, Y: y}, h, draw.Right, d.Plane.RightName+", "+g.name+" ->")
	s.text(noteLayer, r2.Point{X: area.X.Lo, Y: area.Y.Hi + 0.8*h}, h, draw.Left, d.Plane.UpName+", "+g.name+", upwards")
	y -= 1.6 * h
	s.check(r2.Point{X: area.X.Lo, Y: y}, checkMM, h, "this line is 100 mm long in a print of true size")
	if d.Inches {
		y -= 2 * h
		s.check(r2.Point{X: area.X.Lo, Y: y}, checkInches*mmPerInch, h, "this line is 4 in long in a print of true size")
	}
	s.cover(r2.Point{X: area.X.Lo, Y: y - 1.2*h})

	// Above it: what it is.
	notes := []string{"section at " + d.Plane.Name(d.Inches) + ", " + d.Plane.View}
	if title := draw.Printable(d.Title); title != "" {
		notes = append([]string{title}, notes...)
	}
	kinds := "black: shell"
	if len(d.Caps) > 0 {
		kinds += "; blue, dashed: guessed over holes, not sheet metal"
	}
	if len(d.Bars) > 0 {
		kinds += "; red: outside of tubes"
	}
	notes = append(notes, kinds)
	y = area.Y.Hi + 0.8*h + 1.8*h*float64(len(notes))
	s.cover(r2.Point{X: area.X.Lo, Y: y + 1.6*h})
	for _, n := range notes {
		s.text(noteLayer, r2.Point{X: area.X.Lo, Y: y}, h, draw.Left, n)
		y -= 1.8 * h
	}
	s.box = s.box.ExpandedByMargin(h)
	return s
}

// name puts the name of a bar beside what is cut of it, on the side of the
// middle, where there is room; that of a hoop that lies in the plane inside of it.
func (s *sheet) name(b Bar, middle, h float64) {
	box := Bounds(b.Outline[:1])
	c := box.Center()
	at, a := r2.Point{X: c.X, Y: box.Y.Hi + 0.5*h}, draw.Middle
	switch {
	case len(b.Centre) > 0:
		at = r2.Point{X: c.X, Y: box.Y.Hi - 6*h}
	case c.X < middle-nearMiddle:
		at, a = r2.Point{X: box.X.Hi + 0.5*h, Y: c.Y - 0.35*h}, draw.Left
	case c.X > middle+nearMiddle:
		at, a = r2.Point{X: box.X.Lo - 0.5*h, Y: c.Y - 0.35*h}, draw.Right
	}
	s.text(barsLayer, at, h, a, draw.Printable(b.Name))
}

func (s *sheet) grid(g grid, area r2.Rect, h float64) {
	line := func(steps int, a, b r2.Point) {
		l := gridLayer
		if steps%g.major == 0 && g.major > 1 || steps == 0 {
			l = axisLayer
		}
		s.strokes = append(s.strokes, stroke{l, Line{Points: []r2.Point{a, b}}})
	}
	// Labels that would run into each other are left out.
	every := g.major * int(max(1, math.Ceil(labelRoom*letterWidth*h/(g.step*float64(g.major)))))
	for i := g.from[0]; i <= g.to[0]; i++ {
		x := g.at(i)
		line(i, r2.Point{X: x, Y: area.Y.Lo}, r2.Point{X: x, Y: area.Y.Hi})
		if i%every == 0 {
			s.text(noteLayer, r2.Point{X: x, Y: area.Y.Lo - 1.6*h}, h, draw.Middle, g.labelOf(i))
		}
	}
	for i := g.from[1]; i <= g.to[1]; i++ {
		y := g.at(i)
		line(i, r2.Point{X: area.X.Lo, Y: y}, r2.Point{X: area.X.Hi, Y: y})
		if i%g.major == 0 {
			s.text(noteLayer, r2.Point{X: area.X.Lo - 0.6*h, Y: y - 0.35*h}, h, draw.Right, g.labelOf(i))
		}
	}
}

// check draws a line of a known length with ticks at its ends.
func (s *sheet) check(from r2.Point, length, h float64, words string) {
	to := r2.Point{X: from.X + length, Y: from.Y}
	s.lines(checkLayer, []Line{{Points: []r2.Point{from, to}}})
	for _, p := range []r2.Point{from, to} {
		s.lines(checkLayer, []Line{{Points: []r2.Point{{X: p.X, Y: p.Y - h/2}, {X: p.X, Y: p.Y + h/2}}}})
	}
	s.text(noteLayer, r2.Point{X: to.X + h, Y: to.Y - 0.35*h}, h, draw.Left, words)
}

func (s *sheet) lines(l layer, lines []Line) {
	for _, line := range lines {
		s.strokes = append(s.strokes, stroke{l, line})
	}
}

func (s *sheet) text(l layer, at r2.Point, height float64, a draw.Anchor, words string) {
	s.texts = append(s.texts, text{l, at, height, a, words})
	wide := letterWidth * height * float64(len([]rune(words)))
	from := at.X - wide*[...]float64{draw.Left: 0, draw.Middle: 0.5, draw.Right: 1}[a]
	s.cover(r2.Point{X: from, Y: at.Y - 0.4*height})
	s.cover(r2.Point{X: from + wide, Y: at.Y + height})
}

func (s *sheet) cover(p r2.Point) { s.box = s.box.AddPoint(p) }

// of returns the strokes of a layer.
func (s *sheet) of(l layer) []Line {
	var out []Line
	for _, k := range s.strokes {
		if k.layer == l {
			out = append(out, k.Line)
		}
	}
	return out
}

// checkSheet refuses a drawing that can't be written.
func checkSheet(s *sheet) error {
	size := s.box.Size()
	if !(size.X > 0 && size.Y > 0) || math.IsInf(size.X, 0) || math.IsInf(size.Y, 0) {
		return fmt.Errorf("a sheet of %g x %g mm can't be drawn", size.X, size.Y)
	}
	return nil
}
