package tube

import (
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
)

// Material holds what the bending estimate and the mass need.
type Material struct {
	Name    string
	Yield   float64 // yield strength, N/mm2
	E       float64 // Young's modulus, N/mm2
	Density float64 // kg/m3
	Source  string  // where the figures come from
}

// Springback is one measured pair of a die's table: to get a bend of Want the
// bender was set to Set.
type Springback struct{ Want, Set s1.Angle }

// Die describes a bending die as it bends this shop's tube.
type Die struct {
	Name        string
	OD          float64      // tube outside diameter the die takes, mm
	CLR         float64      // centreline radius of the finished bend, mm
	MaxAngle    s1.Angle     // largest bend
	Grip        float64      // shortest straight between two bends, mm
	Tail        float64      // shortest straight before the first and after the last bend, mm
	GripDefault bool         // Grip is the default (1.5 x OD; common practice, no source)
	TailDefault bool         // Tail is the default (2 x OD; common practice, no source)
	Springback  []Springback // sorted by Want; empty: estimate from the material
	Stretch     float64      // growth of the centreline per bend angle, mm per radian; default 0
	Offset      float64      // mark to start of bend, mm; default 0
	Step        s1.Angle     // the degree wheel can be set to multiples of it; 0: to any angle
	Roundness   float64      // smallest / largest diameter in a bend of a test piece; 0: not measured
	Machine     *Machine     // nil: nothing is known of the room about it
}

// Machine is the room about a bender, to tell whether the part of a tube that is
// already bent runs into something. Its axes are the machine's own, in mm: the
// origin is on the tube's centreline where the bend starts, x along the straight
// tube in the direction of feed (from the unbent part to the die), z up, y to the
// left of one who looks along x.
type Machine struct {
	Bends  Bends   // to which side the tube is bent
	Height float64 // of the tube's centreline above the floor, mm; 0: no floor given
	Frame  []Box   // parts of machine and shop that the tube must not enter
}

// Bends is the side to which a machine bends the tube, seen along its x.
type Bends string

const (
	BendsLeft  Bends = "left"
	BendsRight Bends = "right"
	BendsUp    Bends = "up"
	BendsDown  Bends = "down"
)

// Box is a box along the axes, mm.
type Box struct{ Min, Max r3.Vector }

// Spec is a tube as bought, with the die that bends it.
type Spec struct {
	Name     string
	OD, Wall float64 // mm
	Die      *Die    // nil: only used straight
	Stick    float64 // longest length in which it is bought, mm; 0: not limited
	Sticks   []Stick // what can be bought; empty: sticks of length Stick, without price
	Trim     float64 // left on a blank beyond each end of the bar, to be cut off later, mm; default 0
	Material Material
}

// Stick is a length in which a tube can be bought, or one that is at hand.
type Stick struct {
	Length float64 // mm
	Price  float64 // of one, in the user's own currency; 0: not given
	Stock  int     // how many there are; negative: as many as wanted
}

// Kind tells a straight from an arc.
type Kind uint8

const (
	Straight Kind = iota
	Arc
)

// Segment is one piece of a Path.
type Segment struct {
	Kind     Kind
	From, To r3.Vector
	Start    float64   // distance along the path at From, mm
	Length   float64   // mm
	Dir      r3.Vector // unit tangent at From
	Centre   r3.Vector // arcs: centre
	Axis     r3.Vector // arcs: unit axis; the arc turns from From to To by Angle, right-handed about Axis
	Radius   float64   // arcs: mm
	Angle    s1.Angle  // arcs: turn, > 0
	Node     int       // arcs: index of the node that the arc rounds off
}

// Path is a bar's centreline: straights joined by arcs of one radius.
// Build it with NewPath; Nodes are the two ends and, between them, the
// intersection points of neighbouring straights.
type Path struct {
	Nodes    []r3.Vector
	Radius   float64
	Segments []Segment
	Length   float64 // developed length, mm
}

// Bend is one row of a bend table, read from end A (Nodes[0]).
type Bend struct {
	Feed      float64  // straight before the bend, mm
	Rotation  s1.Angle // plane of this bend against the last one's, (-180, 180] degrees, 0 for the first
	Angle     s1.Angle // finished bend
	Set       s1.Angle // angle to set so that Angle stays after springback
	Estimated bool     // Set comes from the material estimate, not from a test piece
	Mark      float64  // along the blank from end A to the start of the bend, mm
	Node      int      // index of the node in Path.Nodes
}

// Table is a bar's bend table.
type Table struct {
	Bends     []Bend
	Tail      float64 // last straight (the whole length for a straight bar), mm
	Developed float64 // centreline length, mm
	Cut       float64 // blank to cut, mm: developed length less stretch
}
