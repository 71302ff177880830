package job

import (
	"fmt"
	"math"

	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// This file reads what a job says about the shop: the bender and its room, how
// far off bends come out, the stock that can be bought, plates, joints, paper.

// Ranges in mm, in degrees, and plain numbers.
var (
	stretchRange = span{low: -1, high: 1}       // mm per degree: the whole of 90 degrees is 8 mm at most on real dies
	offsetRange  = span{low: -1000, high: 1000} // marks may lie on either side of the bend's start
	trimRange    = span{low: 0, high: 2000}
	heightRange  = span{low: 0, high: 5000, above: true}
	gapsRange    = span{low: 0, high: 500}
	holeRange    = span{low: 0, high: 20}
	plateRange   = span{low: 0, high: 2000, above: true}
	thickRange   = span{low: 0, high: 50, above: true}
	kerfRange    = span{low: 0, high: 20}

	stepRange      = span{low: 0, high: 15}
	tolAngleRange  = span{low: 0, high: 20}
	tolLengthRange = span{low: 0, high: 100}

	roundRange = span{low: 0.3, high: 1}
	priceRange = span{low: 0, high: 999_999}
	stockRange = span{low: 0, high: 1000}
)

// Defaults.
const (
	defaultKerf   = 2.0  // mm; a bandsaw's cut: common practice, no source
	defaultVent   = 3.0  // mm: common practice, no source
	defaultBare   = 25.0 // mm beyond a bead: common practice, no source
	defaultApart  = 25.0 // mm between two beads, for a torch: common practice, no source
	defaultPlate  = 120.0
	defaultThick  = 3.0
	defaultTolAng = 0.5 * s1.Degree // common practice, no source
	defaultTolLen = 1.0             // mm: common practice, no source

	degreesPerRadian = 180 / math.Pi
	anyNumber        = -1 // of a stick's stock
)

// Paper sizes that sheets are cut into.
const (
	PaperA4     = "A4"
	PaperA3     = "A3"
	PaperLetter = "Letter"
	PaperWhole  = "whole" // one sheet, as large as it has to be
)

// Tolerance is how far off bends come out: 95 of 100 lie within. It has its own
// table, [tolerance].
type Tolerance struct {
	Angle  s1.Angle // of angles and rotations; default 0.5 degrees
	Length float64  // of straights, mm; default 1
}

// Plate is a foot's plate: [plate] for all, a bar's own plate for its feet.
type Plate struct {
	Size      [2]float64 // mm; default 120 x 120
	Thickness float64    // mm; default 3
}

// Joints is what the shop wants at its joints: [joints].
type Joints struct {
	Vent  float64 // diameter of vent holes, mm; 0: none wanted; default 3
	Bare  float64 // free of paint beyond a bead, mm; default 25
	Apart float64 // least distance between two beads on one tube, for the torch, mm; default 25
}

// Saw is [saw].
type Saw struct {
	Kerf float64 // mm lost with every cut; default 2
	Test bool    // allow for a test piece of every die; default true
}

// defaultShop fills in what a job need not say.
func defaultShop(j *Job) {
	j.Tolerance = Tolerance{Angle: defaultTolAng, Length: defaultTolLen}
	j.Plate = Plate{Size: [2]float64{defaultPlate, defaultPlate}, Thickness: defaultThick}
	j.Joints = Joints{Vent: defaultVent, Bare: defaultBare, Apart: defaultApart}
	j.Saw = Saw{Kerf: defaultKerf, Test: true}
	j.Paper = PaperA4
	if j.Unit == Inch {
		j.Paper = PaperLetter
	}
}

var toleranceFields = []field[Tolerance]{
	{"angle", false, angleInto(tolAngleRange, func(t *Tolerance) *s1.Angle { return &t.Angle })},
	{"length", false, lengthInto(tolLengthRange, func(t *Tolerance) *float64 { return &t.Length })},
}

var plateFields = []field[Plate]{
	{"size", false, func(r *reader, what string, v *value, p *Plate) {
		items, ok := r.list(what, v, "two lengths")
		if !ok {
			return
		}
		if len(items) != 2 {
			r.errorf(v.at, "%s must be two lengths, got %s", what, count(len(items), "value"))
			return
		}
		for i, item := range items {
			if x, ok := r.length(what, item, plateRange); ok {
				p.Size[i] = x
			}
		}
	}},
	{"thickness", false, lengthInto(thickRange, func(p *Plate) *float64 { return &p.Thickness })},
}

var jointsFields = []field[Joints]{
	{"vent", false, lengthInto(holeRange, func(j *Joints) *float64 { return &j.Vent })},
	{"bare", false, lengthInto(gapsRange, func(j *Joints) *float64 { return &j.Bare })},
	{"apart", false, lengthInto(gapsRange, func(j *Joints) *float64 { return &j.Apart })},
}

var sawFields = []field[Saw]{
	{"kerf", false, lengthInto(kerfRange, func(s *Saw) *float64 { return &s.Kerf })},
	{"test_pieces", false, truthInto(func(s *Saw) *bool { return &s.Test })},
}

var sheetsFields = []field[Job]{
	{"paper", false, func(r *reader, what string, v *value, j *Job) {
		if w, ok := r.word(what, v, PaperA4, PaperA3, PaperLetter, PaperWhole); ok {
			j.Paper = w
		}
	}},
}

var machineFields = []field[tube.Machine]{
	{"bends", true, func(r *reader, what string, v *value, m *tube.Machine) {
		if w, ok := r.word(what, v, string(tube.BendsLeft), string(tube.BendsRight), string(tube.BendsUp), string(tube.BendsDown)); ok {
			m.Bends = tube.Bends(w)
		}
	}},
	{"height", false, lengthInto(heightRange, func(m *tube.Machine) *float64 { return &m.Height })},
	{"frame", false, func(r *reader, what string, v *value, m *tube.Machine) {
		const of = "boxes { min = [x, y, z], max = [x, y, z] }"
		items, ok := v.items, v.kind == kindArray
		if !ok {
			r.errorf(v.at, "%s must be a list of %s, got %s", what, of, v.kind)
			return
		}
		for _, item := range items {
			b := readBox(r, what, item)
			m.Frame = append(m.Frame, tube.Box{Min: b.Min, Max: b.Max})
		}
	}},
}

// readSticks reads the lengths in which a tube can be bought.
func readSticks(r *reader, what string, v *value, t *draftTube) {
	const of = "sticks { length = 6000, price = 50 }"
	if v.kind != kindArray || len(v.items) == 0 {
		r.errorf(v.at, "%s must be a list of %s, got %s", what, of, v.kind)
		return
	}
	if t.Stick > 0 {
		r.errorf(v.at, "%s: stick is given too, must be one of the two", what)
		return
	}
	for i, item := range v.items {
		s := tube.Stick{Stock: anyNumber}
		table(r, fmt.Sprintf("%s %d", what, i+1), item, stickFields, &s)
		t.Sticks = append(t.Sticks, s)
		t.Stick = max(t.Stick, s.Length)
	}
}

var stickFields = []field[tube.Stick]{
	{"length", true, lengthInto(stickRange, func(s *tube.Stick) *float64 { return &s.Length })},
	{"price", false, numberInto(priceRange, "", func(s *tube.Stick) *float64 { return &s.Price })},
	{"stock", false, func(r *reader, what string, v *value, s *tube.Stick) {
		if n, ok := r.whole(what, v, stockRange); ok {
			s.Stock = n
		}
	}},
}
