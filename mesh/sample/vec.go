package sample

import (
	"math"

	"github.com/golang/geo/r3"
)

// The helpers here do what r3.Vector's methods do, but round each product
// before it is added: a compiler is free to fuse a*b+c into one rounding, and
// does so on some machines only. The language promises that an explicit
// conversion prevents that.

func dot(a, b r3.Vector) float64 {
	return float64(a.X*b.X) + float64(a.Y*b.Y) + float64(a.Z*b.Z)
}

func cross(a, b r3.Vector) r3.Vector {
	return r3.Vector{
		X: float64(a.Y*b.Z) - float64(a.Z*b.Y),
		Y: float64(a.Z*b.X) - float64(a.X*b.Z),
		Z: float64(a.X*b.Y) - float64(a.Y*b.X),
	}
}

// along returns p + d*t.
func along(p, d r3.Vector, t float64) r3.Vector {
	return r3.Vector{X: p.X + float64(d.X*t), Y: p.Y + float64(d.Y*t), Z: p.Z + float64(d.Z*t)}
}

// unit returns v at length 1; the zero vector stays zero.
func unit(v r3.Vector) r3.Vector {
	n := math.Sqrt(dot(v, v))
	if n == 0 {
		return v
	}
	return r3.Vector{X: v.X / n, Y: v.Y / n, Z: v.Z / n}
}

func hypot(a, b float64) float64 { return math.Sqrt(float64(a*a) + float64(b*b)) }

// grain is the step of every vertex coordinate, mm. A float32 has 24 bits: at
// a step of 2^-10 they reach to 16 m.
const grain = 1.0 / 1024

func round(v float64) float64 { return math.Round(v/grain)*grain + 0 } // + 0: no negative zero

func roundVec(p r3.Vector) r3.Vector {
	return r3.Vector{X: round(p.X), Y: round(p.Y), Z: round(p.Z)}
}
