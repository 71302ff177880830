package mesh

import (
	"errors"
	"fmt"
	"strings"

	"github.com/golang/geo/r3"
)

// Unit is a length unit of a mesh file. The zero value asks the reader to
// guess.
type Unit uint8

// The units that a mesh file may be in. The international inch is 25.4 mm
// exactly.
const (
	AutoUnit Unit = iota
	Millimetre
	Centimetre
	Metre
	Inch
)

// units lists the real units in the order in which messages show them.
var units = [...]Unit{Millimetre, Centimetre, Metre, Inch}

// ParseUnit reads "auto", "mm", "cm", "m" or "in", in lower case as the job
// file writes them. Anything else is an error.
func ParseUnit(s string) (Unit, error) {
	for u := AutoUnit; u <= Inch; u++ {
		if s == u.String() {
			return u, nil
		}
	}
	return AutoUnit, fmt.Errorf("unknown unit %.40q: auto, mm, cm, m or in", s)
}

// String returns the name that [ParseUnit] reads.
func (u Unit) String() string {
	switch u {
	case AutoUnit:
		return "auto"
	case Millimetre:
		return "mm"
	case Centimetre:
		return "cm"
	case Metre:
		return "m"
	case Inch:
		return "in"
	}
	return fmt.Sprintf("unit(%d)", uint8(u))
}

// Millimetres returns the length of the unit in mm, and 0 for [AutoUnit].
func (u Unit) Millimetres() float64 {
	switch u {
	case Millimetre:
		return 1
	case Centimetre:
		return 10
	case Metre:
		return 1000
	case Inch:
		return 25.4
	}
	return 0
}

// ErrUnit is wrapped by the error of a [Read] that was asked to guess the unit
// and could not: the caller must name it.
var ErrUnit = errors.New("unit not clear")

// What a cabin or a whole car measures, in mm. A cabin is 1 to 4 m long, a
// whole car up to about 6 m; the second-largest extent is the width or the
// height. (Common practice, no source; the bounds are meant to be wide.)
const (
	minLongest = 1000
	maxLongest = 6000
	minMiddle  = 900
	maxMiddle  = 2500
)

// guessUnit finds the unit in which extents, the edges of the bounding box in
// file units, are those of a cabin or a car.
//
// The longest extent alone tells mm and m from everything else, as their
// ranges lie far apart. Centimetres and inches are only a factor of 2.54
// apart, less than the range of lengths; there the middle extent, whose range
// is narrower, must decide.
func guessUnit(extent r3.Vector) (Unit, error) {
	longest, middle := longestTwo(extent)
	fits := make([]Unit, 0, len(units))
	for _, u := range units {
		if l := longest * u.Millimetres(); l >= minLongest && l <= maxLongest {
			fits = append(fits, u)
		}
	}
	if len(fits) > 1 {
		both := fits[:0:0]
		for _, u := range fits {
			if l := middle * u.Millimetres(); l >= minMiddle && l <= maxMiddle {
				both = append(both, u)
			}
		}
		if len(both) > 0 {
			fits = both
		}
	}
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return AutoUnit, fmt.Errorf("%w: no unit gives the 1 to 6 m of a cabin or a car: %s", ErrUnit, inUnits(extent, units[:]))
	}
	return AutoUnit, fmt.Errorf("%w: more than one gives the size of a cabin or a car: %s", ErrUnit, inUnits(extent, fits))
}

// longestTwo returns the largest and the second-largest component of v.
func longestTwo(v r3.Vector) (longest, middle float64) {
	a, b, c := v.X, v.Y, v.Z
	return max(a, b, c), max(min(a, b), min(b, c), min(a, c))
}

// inUnits shows extents in metres for each of the units.
func inUnits(extent r3.Vector, of []Unit) string {
	parts := make([]string, len(of))
	for i, u := range of {
		parts[i] = fmt.Sprintf("as %s %s", u, inMetres(extent.Mul(u.Millimetres())))
	}
	return strings.Join(parts, ", ")
}

// inMetres shows a box size given in mm.
func inMetres(size r3.Vector) string {
	return fmt.Sprintf("%.3g x %.3g x %.3g m", size.X/1000, size.Y/1000, size.Z/1000)
}
