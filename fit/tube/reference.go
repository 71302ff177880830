package tube

import (
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
)

// ReferenceAt returns the unit direction, perpendicular to the tube at the
// distance s (mm) from end A along the path, in which the bar's reference line
// lies there. The line starts as [ReferenceLine] says and keeps its place on the
// tube: straights leave it as it is, bends turn it with the tube, nothing twists
// it. s is clamped to the path.
func ReferenceAt(p *Path, s float64) r3.Vector {
	ref := ReferenceLine(p)
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Kind == Straight {
			continue
		}
		if s <= g.Start {
			break
		}
		turn := min(s-g.Start, g.Length) / g.Radius
		ref = Rotate(ref, g.Axis, s1.Angle(turn))
	}
	return ref
}

// AtClock returns the unit direction at the clock position c of the bar at the
// distance s (mm) from end A: c is counted from the reference line, clockwise
// seen from end A.
func AtClock(p *Path, s float64, c s1.Angle) r3.Vector {
	ref := ReferenceAt(p, s)
	_, dir := p.At(s)
	sin, cos := math.Sincos(float64(c))
	return ref.Mul(cos).Add(dir.Cross(ref).Mul(sin))
}

// ClockOf returns the clock position, in [0, 2 pi), in which direction v lies
// seen from the centreline at the distance s (mm) from end A: the inverse of
// [AtClock]. Only the part of v that is perpendicular to the tube counts.
func ClockOf(p *Path, s float64, v r3.Vector) s1.Angle {
	ref := ReferenceAt(p, s)
	_, dir := p.At(s)
	a := math.Atan2(v.Dot(dir.Cross(ref)), v.Dot(ref))
	if a < 0 {
		a += 2 * math.Pi
	}
	if a >= 2*math.Pi { // a tiny negative angle rounds up to the whole turn
		a = 0
	}
	return s1.Angle(a)
}

// Rotate turns v about an axis of unit length through the origin, right-handed.
func Rotate(v, axis r3.Vector, angle s1.Angle) r3.Vector {
	sin, cos := math.Sincos(float64(angle))
	return v.Mul(cos).Add(axis.Cross(v).Mul(sin)).Add(axis.Mul(axis.Dot(v) * (1 - cos)))
}
