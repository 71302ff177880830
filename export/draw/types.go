package draw

import (
	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
)

// Kind says what a line stands for; it decides width and dashes.
type Kind uint8

const (
	Outline Kind = iota // visible edge: wide
	Thin                // dimension, leader, tick, hatching: narrow
	Hidden              // hidden edge: dashed
	Centre              // centreline: long-dashed dotted
	Cut                 // where to cut: extra wide
	Ghost               // something else's outline, for orientation: narrow, long-dashed double-dotted
	Check               // a line of known length, to measure a print by: narrow
	kinds

	frameLine Kind = iota - 1 // of a page's own frames and maps; other lines lie on top
	mapLine
	allKinds
)

// Vertex is a corner of a stroke. Bulge bends the way to the next vertex into an
// arc, as in DXF: the tangent of a quarter of the arc's angle, positive
// counterclockwise; 0 is a straight line.
type Vertex struct {
	r2.Point
	Bulge float64
}

// Stroke is one line, open or closed. A closed one goes on from its last vertex
// to its first.
type Stroke struct {
	Kind     Kind
	Vertices []Vertex
	Closed   bool
}

// Anchor says where a text stands about its point: Left starts there, Middle is
// centred on it, Right ends there. The point is on the base line.
type Anchor uint8

const (
	Left Anchor = iota
	Middle
	Right
)

// Text is one line of words. What is not printable becomes a blank.
type Text struct {
	At     r2.Point
	Height float64 // of capital letters, mm
	Anchor Anchor
	Turn   s1.Angle // counterclockwise
	Words  string
	Bold   bool
	Colour [3]uint8 // red, green, blue; zero: black
}

// Fill is an area in grey; 0 is black, 1 white. Fills lie under all lines.
type Fill struct {
	Grey     float64
	Vertices []Vertex // closed
}

// Drawing is one drawing in true size.
type Drawing struct {
	Title   string   // on every page of it
	Notes   []string // lines under the title: what it is, how it is used
	Strokes []Stroke
	Texts   []Text
	Fills   []Fill

	// Styles says how its kinds of lines are drawn, which then are numbered from 0
	// and mean what they mean to who draws; nil: the kinds above.
	Styles []Style
	// Sheet is its outer edge, if what it shows is a sheet with a title and check
	// lines of its own; of no size: they are added where it is written.
	Sheet r2.Rect
}

// Paper is a sheet of paper, mm. Zero width and height: as large as it has to be.
type Paper struct {
	Name          string
	Width, Height float64
}

// Papers that sheets are tiled to. A4 and A3 after ISO 216; Letter is 8.5 by 11
// inches.
var (
	A4     = Paper{"A4", 210, 297}
	A3     = Paper{"A3", 297, 420}
	Letter = Paper{"Letter", 215.9, 279.4}
	Whole  = Paper{"whole", 0, 0}
)

// Style is how a kind of line is drawn.
type Style struct {
	Name   string    // of the DXF layer, in capitals; in small letters, of the SVG group
	Width  float64   // mm
	Dash   []float64 // on, off, on, off, ..., mm; nil: a full line
	Colour [3]uint8  // red, green, blue
	ACI    int       // colour number of the DXF layer
}

// Widths are of the series 0.18, 0.25, 0.35, 0.5, 0.7 of ISO 128-2, wide to narrow as 2
// to 1. Dashes are in line widths d: 12 d on and 3 d off for a dashed line, 24 d,
// 3 d, a dot, 3 d for a long-dashed dotted one (ISO 128-2, line types 02, 08 and
// 09; from memory). The standard's dots are half a width long, which no printer
// shows: ours are twice that. All kinds are black, so nothing is told by colour;
// the DXF colours are for screens.
var styles = [allKinds]Style{
	Outline: {Name: "OUTLINE", Width: 0.5, ACI: 7},
	Thin:    {Name: "THIN", Width: 0.25, ACI: 8},
	Hidden:  {Name: "HIDDEN", Width: 0.35, Dash: []float64{12 * 0.35, 3 * 0.35}, ACI: 4},
	Centre:  {Name: "CENTRE", Width: 0.25, Dash: []float64{24 * 0.25, 3 * 0.25, 0.25, 3 * 0.25}, ACI: 1},
	Cut:     {Name: "CUT", Width: 0.7, ACI: 6},
	Ghost:   {Name: "GHOST", Width: 0.25, Dash: []float64{24 * 0.25, 3 * 0.25, 0.25, 3 * 0.25, 0.25, 3 * 0.25}, ACI: 9},
	Check:   {Name: "CHECK", Width: 0.25, ACI: 3},

	frameLine: {Name: "FRAME", Width: 0.25, Colour: grey(128)},
	mapLine:   {Name: "MAP", Width: 0.18, Colour: grey(90)},
}

func grey(v uint8) [3]uint8 { return [3]uint8{v, v, v} }

// styles returns how the kinds of lines are drawn.
func (d *Drawing) styles() []Style {
	if d.Styles != nil {
		return d.Styles
	}
	return styles[:kinds]
}
