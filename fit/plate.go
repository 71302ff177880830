package fit

import "github.com/golang/geo/r3"

// Plate is the plate under a foot, as package fit/cope lays it on the shell: flat,
// its underside in the plane that fits best to the shell below it.
//
// The plate has axes of its own: First along its first side, second = Normal x
// First along the other, both from its centre. Seen from the cabin, with First
// up, second points to the left.
//
// How large a plate has to be is the rule book's business, and nothing here says
// that one is large enough. For orientation, as quoted by secondary sources of
// the project's references, section A: 120 cm2 in contact and 3 mm for the feet
// of main and front hoops, 60 cm2 and 3 mm for backstays (A1; the 60 cm2 also in
// the text of A2, article 8.2), 10 in2 for each inch of tube diameter and 1/8 in
// (A4, a rally rule), at most 100 in2 and at least 9 in2 (A4, a club's rule). The
// job's default of 120 x 120 x 3 mm has 144 cm2.
type Plate struct {
	Bar       string
	End       int        // 0: A, 1: B
	Size      [2]float64 // along First and along the second axis, mm
	Thickness float64    // mm

	Centre  r3.Vector    // of the underside, mm
	Normal  r3.Vector    // unit, towards the cabin
	First   r3.Vector    // unit
	Along   bool         // First is where the bar leans to; false: the car's front, or up on a wall across the car
	Corners [4]r3.Vector // of the underside, counterclockwise seen from the cabin, first that at -First and -second, mm
	Area    float64      // mm2

	// How the shell lies under the plate. Above and Below are the furthest that it
	// is off the underside towards the cabin and away from it, RMS its root mean
	// square distance, mm.
	Fitted       bool // false: too little shell under it; the plane is the foot's own and these are NaN
	Above, Below float64
	RMS          float64
	AboveAt      r3.Vector // points of the shell
	BelowAt      r3.Vector
	Contact      float64   // area with shell within 1 mm of it, scan noise allowed for, mm2
	Spikes       int       // samples of the shell left out because none beside them agree
	Tilt         float64   // angle between Normal and that of the shell right at the foot's node, degrees
	Height       float64   // from the underside to the foot's node along Normal, mm
	Missing      float64   // share of the area, 0 to 1, with no shell near it: a hole, a drop or an edge of the scan
	MissingAt    r3.Vector // middle of that
	Walls        float64   // share of the area, 0 to 1, that is behind a wall of the shell

	// Flat is the largest plate around the foot, along First and second, under which
	// the shell is flat within the thickness; 0 if there is none with room for the
	// tube and its weld, and where this one will do. FlatAt is where its middle is
	// from this one's centre. mm
	Flat, FlatAt [2]float64

	// Where the tube stands. Shift is how far the plate has been moved from the
	// middle of its foot, and Stuck how far it would otherwise have stuck into a
	// wall, mm; both 0 where it has not.
	Shift [2]float64 // along First and second, mm
	Stuck float64
	Tube  [2]float64 // where the tube's axis meets the upper side, from the plate's centre along First and second, mm
	Lean  float64    // angle between the tube and Normal, degrees
	Turn  float64    // direction in which the tube leans, from First towards second, degrees
}

// At returns the point of the underside at a place (mm) along First and second
// from its centre.
func (p *Plate) At(first, second float64) r3.Vector {
	return p.Centre.Add(p.First.Mul(first)).Add(p.Normal.Cross(p.First).Mul(second))
}
