package tube

import (
	"math"

	"github.com/golang/geo/s1"
)

// Inner returns the tube's inside diameter, mm.
func (s *Spec) Inner() float64 { return s.OD - 2*s.Wall }

// Area returns the section's area, mm2.
func (s *Spec) Area() float64 { return math.Pi * s.Wall * (s.OD - s.Wall) }

// SecondMoment returns the section's second moment of area about a diameter,
// I = pi (D^4 - d^4) / 64, mm4.
func (s *Spec) SecondMoment() float64 {
	return math.Pi / 64 * (math.Pow(s.OD, 4) - math.Pow(s.Inner(), 4))
}

// PlasticMoment returns the moment at which the whole section yields without
// hardening, Mp = yield (D^3 - d^3) / 6, N mm.
func (s *Spec) PlasticMoment() float64 {
	return s.Material.Yield * (math.Pow(s.OD, 3) - math.Pow(s.Inner(), 3)) / 6
}

// Mass returns the mass in kg of a length of tube in mm.
func (s *Spec) Mass(length float64) float64 {
	return s.Area() * length * s.Material.Density * 1e-9 // mm3 to m3
}

// SpringbackFactor returns the part f of the loaded angle that springs back
// when the bender lets go, by elastic unloading from the plastic moment:
// f = Mp R / (E I), textbook plasticity with no hardening (see doc.go). 0 if
// there is no die or no Young's modulus to work with.
func (s *Spec) SpringbackFactor() float64 {
	if s.Die == nil || !(s.Material.E > 0) || !(s.SecondMoment() > 0) {
		return 0
	}
	return s.PlasticMoment() * s.Die.CLR / (s.Material.E * s.SecondMoment())
}

// SetAngle returns the angle to which the bender must be taken so that the bend
// comes out at want. With measured pairs it lies on straight lines through 0, 0
// and the pairs in order, the last line extended. Without, it is the estimate
// want / (1 - SpringbackFactor) and estimated is true; a factor of 1 or more
// means the model does not hold (the tube would spring back altogether), and
// want comes back unchanged.
func (s *Spec) SetAngle(want s1.Angle) (set s1.Angle, estimated bool) {
	if s.Die == nil || len(s.Die.Springback) == 0 {
		if f := s.SpringbackFactor(); f < 1 {
			return want / s1.Angle(1-f), true
		}
		return want, true
	}
	a, b := s.Die.leg(func(p Springback) bool { return want <= p.Want })
	return a.Set + (want-a.Want)*(b.Set-a.Set)/(b.Want-a.Want), false
}

// GivenAngle returns the angle that a bend set to set has after springback: the
// inverse of SetAngle, from the same pairs or the same estimate. Pairs whose set
// angles do not increase have no inverse; where one repeats, the smaller of the
// wanted angles comes back.
func (s *Spec) GivenAngle(set s1.Angle) s1.Angle {
	if s.Die == nil || len(s.Die.Springback) == 0 {
		if f := s.SpringbackFactor(); f < 1 {
			return set * s1.Angle(1-f)
		}
		return set
	}
	a, b := s.Die.leg(func(p Springback) bool { return set <= p.Set })
	if b.Set == a.Set {
		return a.Want
	}
	return a.Want + (set-a.Set)*(b.Want-a.Want)/(b.Set-a.Set)
}

// leg returns the two points of the line between springback pairs that ends in the
// first pair which is far enough, or else in the last; the first line starts at 0, 0.
func (d *Die) leg(enough func(Springback) bool) (a, b Springback) {
	for i, pair := range d.Springback {
		if i > 0 {
			a = b
		}
		b = pair
		if enough(pair) {
			break
		}
	}
	return a, b
}
