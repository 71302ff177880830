package bender

import (
	"fmt"

	"barwright/fit/tube"
)

// Quality is what a bend is expected to do to a tube, before anything is
// measured. All of it is estimates: a test piece, sawn through in the bend, says
// what this bender does.
type Quality struct {
	BendRatio  float64    // "D of bend": centreline radius / outside diameter
	WallFactor float64    // outside diameter / wall
	Outer      float64    // wall on the outside of a bend, mm
	Inner      float64    // wall on the inside of a bend, mm
	Thinning   float64    // loss on the outside, % of the wall
	Thickening float64    // gain on the inside, % of the wall
	Extrados   float64    // ASME B31.1 factor for the wall on the outside
	Intrados   float64    // likewise on the inside
	WallMargin float64    // wall to start from / least wall that the bend may have; 0: tighter than the table goes
	Severity   float64    // wall factor / D of bend
	Flattening Flattening // expected
	Mandrel    bool       // shops usually put a mandrel in for such a bend
	Roundness  float64    // smallest / largest diameter measured in a bend of a test piece; 0: not measured
	Lines      []Line     // all of it in words
}

// Flattening is a class of how far a bend is expected to go out of round without a
// mandrel.
type Flattening string

const (
	FlatSlight   Flattening = "slight"
	FlatModerate Flattening = "moderate"
	FlatStrong   Flattening = "strong"
)

// Line is one line of a report, with where its figures come from.
type Line struct {
	Text   string
	Source string
}

// Where the figures come from. B31.1 was read in the two places that
// references.md B2 names; a table's rows are printed there.
const (
	commonPractice = "common practice, no source"
	fibre          = "geometry of the outermost fibre; " + commonPractice
	b311Factors    = "ASME B31.1, bend factors, k = CLR / OD"
	b311Walls      = "ASME B31.1 Table 102.4.5, as UFGS 4_159_01 Table 5-4 prints it"
	roundLimits    = "UFGS 4_159_01 Table 5-4 (ASME B31.1): 8 %, for bends of 5 D and more; TEMA RCB-2.31: 10 %, for U-tubes"
	tema           = "TEMA RCB-2.31, for U-tubes of more than 1.5 OD"
)

// A bend is harder on a tube the thinner its wall and the tighter its radius; the
// wall factor over the D of bend is a plain measure of both. Where slight ends and
// from where on shops usually take a mandrel are round figures: common practice,
// no source. A 44.45 x 2.41 tube at 3 D is at 6.1, 38.1 x 1.65 at 2 D at 11.5.
const (
	slightUpTo  = 5.0
	mandrelOver = 10.0
)

// margins are the rows of the table of walls recommended before bending, in pipe
// diameters of radius (V: references.md B2).
var margins = [...]struct{ ratio, margin float64 }{{3, 1.25}, {4, 1.14}, {5, 1.08}, {6, 1.06}}

// QualityOf estimates what the die of a tube does to it. A tube without a die, or
// with figures that no tube can have, gives the zero Quality.
func QualityOf(spec *tube.Spec) Quality {
	if spec.Die == nil || !(spec.Wall > 0) || !(spec.OD > 2*spec.Wall) || !(spec.Die.CLR > spec.OD/2) {
		return Quality{}
	}
	od, wall, clr := spec.OD, spec.Wall, spec.Die.CLR
	q := Quality{
		BendRatio: clr / od, WallFactor: od / wall,
		Outer: tube.ThinnedWall(wall, od, clr), Inner: tube.ThickenedWall(wall, od, clr),
		Extrados: tube.ExtradosFactor(od, clr), Intrados: tube.IntradosFactor(od, clr),
		Roundness: spec.Die.Roundness,
	}
	q.Thinning, q.Thickening = 100*(1-q.Outer/wall), 100*(q.Inner/wall-1)
	q.WallMargin = wallMargin(q.BendRatio)
	q.Severity = q.WallFactor / q.BendRatio
	q.Flattening = FlatModerate
	if q.Severity <= slightUpTo {
		q.Flattening = FlatSlight
	}
	if q.Severity > mandrelOver {
		q.Flattening, q.Mandrel = FlatStrong, true
	}
	q.Lines = q.lines(wall)
	return q
}

// wallMargin reads the table with straight lines between its rows. The last row
// serves larger radii too ("6 pipe diameters or greater", from memory); under the
// first it says nothing.
func wallMargin(ratio float64) float64 {
	// Radius and diameter are given to some five digits: 3 D may come as 2.99999.
	const slack = 1e-4
	if ratio < margins[0].ratio*(1-slack) {
		return 0
	}
	last := margins[0]
	for _, row := range margins {
		if ratio <= row.ratio {
			if row == last {
				return row.margin
			}
			return last.margin + (ratio-last.ratio)*(row.margin-last.margin)/(row.ratio-last.ratio)
		}
		last = row
	}
	return last.margin
}

func (q *Quality) lines(wall float64) []Line {
	out := []Line{
		{fmt.Sprintf("D of bend (CLR / OD) %.2f, wall factor (OD / wall) %.1f", q.BendRatio, q.WallFactor), "definitions"},
		{fmt.Sprintf("outer wall about %.2f mm, %.0f %% thinner; inner wall about %.2f mm, %.0f %% thicker", q.Outer, q.Thinning, q.Inner, q.Thickening), fibre},
		{fmt.Sprintf("a pressure pipe's bend needs about %.2f of the straight pipe's wall on the outside, %.2f on the inside", q.Extrados, q.Intrados), b311Factors},
	}
	if q.WallMargin > 0 {
		out = append(out, Line{fmt.Sprintf("pipe for such a bend is bought with %.2f times the least wall that the bend may have; %.2f mm would go with a least wall of %.2f mm", q.WallMargin, wall, wall/q.WallMargin), b311Walls})
	} else {
		out = append(out, Line{fmt.Sprintf("tighter than the table of walls to start from goes, which ends at %.0f D", margins[0].ratio), b311Walls})
	}
	if q.Thinning > 17 && q.BendRatio > 1.5 {
		out = append(out, Line{"for comparison, heat exchanger tubes may thin by no more than 17 %", tema})
	}
	out = append(out, Line{fmt.Sprintf("%s flattening expected without a mandrel: wall factor / D of bend is %.1f (slight up to %g, strong over %g)", q.Flattening, q.Severity, slightUpTo, mandrelOver), commonPractice})
	if q.Mandrel {
		out = append(out, Line{"shops usually put a mandrel in for a bend like this", commonPractice})
	}
	if q.Roundness > 0 {
		out = append(out, Line{fmt.Sprintf("measured in a test piece: smallest / largest diameter %.3f", q.Roundness), "test piece"})
	}
	return append(out, Line{"for comparison, pipe may be out of round by 8 % of its OD (largest less smallest), heat exchanger tubes by 10 %", roundLimits})
}
