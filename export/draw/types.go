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
)

// Vertex is a corner of a stroke. Bulge bends the way to the next vertex into an
// arc, as in DXF: the tangent of a quarter of the arc's angle, positive
// counterclockwise; 0 is a straight line.
type Vertex struct {
	r2.Point
	Bulge float64
}

// Stroke is one line, open or closed.
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

// Text is one line of words.
type Text struct {
	At     r2.Point
	Height float64 // of capital letters, mm
	Anchor Anchor
	Turn   s1.Angle // counterclockwise
	Words  string
	Bold   bool
}

// Fill is an area in grey; 0 is black, 1 white.
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
