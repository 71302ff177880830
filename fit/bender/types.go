package bender

import "github.com/golang/geo/s1"

// Blank is the straight piece of tube that a bar is bent from, and how it is
// bent.
type Blank struct {
	Length float64    // to saw off, mm
	Beyond [2]float64 // from the sawn ends to the bar's nodes A and B, mm: end cut and trim
	First  int        // the end that goes into the bender first, 0: A, 1: B
	Why    string     // why that end first, in a few words
	Steps  []Step     // bends in the order in which they are made
	Drift  float64    // how far the last node moves because angles are rounded to the die's step, mm
	Limits []Limit    // what this bender can't do
}

// Step is one bend on the bender.
type Step struct {
	Bend      int        // 1-based, counted from end A
	Mark      [2]float64 // from the sawn end A and from the sawn end B, mm; they sum to Blank.Length
	Rotation  s1.Angle   // how far the tube is turned since the step before, (-180, 180] degrees, 0 for the first; positive: clockwise for a builder at the end that goes in last who looks towards the die
	Angle     s1.Angle   // that the bar needs
	Exact     s1.Angle   // to set for Angle
	Set       s1.Angle   // Exact, rounded up or down to what the die can be set to; see Plan
	Gives     s1.Angle   // the angle that Set gives
	Estimated bool       // Set comes from the material, not from test pieces
}

// Limit is one thing that a bender can't do, with the cheapest change that
// would make it possible.
type Limit struct {
	Rule   string  // "grip", "tail", "angle", "radius", "stick" or "swing"
	Bend   int     // 1-based from end A, of a grip the later bend; 0: none
	Got    float64 // of a swing how far the tube, where it is deepest in something, would have to be moved; of the tube behind the die what it is too long by
	Limit  float64
	Unit   string // "mm" or "deg"
	Detail string // what is wrong, in a few words
	Change string // what would make it possible
}
