package bender

import (
	"fmt"
	"math"
	"slices"

	"github.com/golang/geo/s1"
	"gonum.org/v1/gonum/mathext"

	"barwright/fit/tube"
)

// roundness averages the diameters of the pieces.
func (c *Calibration) roundness(pieces []Piece, setting Setting) {
	var sum, weights, oval, count, cost float64
	least, leastSigma, leastOval := math.Inf(1), 0.0, 0.0
	type ratio struct{ r, w float64 }
	var ratios []ratio
	d := setting.Noise.Diameter
	for _, p := range pieces {
		if !(p.Smallest > 0) {
			continue
		}
		r := tube.Flatness(p.Smallest, p.Largest)
		sigma := r * d * math.Hypot(1/p.Smallest, 1/p.Largest)
		o := tube.Ovality(p.Smallest, p.Largest, setting.OD)
		ratios = append(ratios, ratio{r, 1 / (sigma * sigma)})
		sum, weights = sum+r/(sigma*sigma), weights+1/(sigma*sigma)
		oval, count = oval+o, count+1
		if r < least {
			least, leastSigma, leastOval = r, sigma, o
		}
	}
	c.Roundness, c.Ovality = Value{Basis: Unknown}, Value{Basis: Unknown}
	if count == 0 {
		return
	}
	mean := sum / weights
	for _, r := range ratios {
		cost += (r.r - mean) * (r.r - mean) * r.w
	}
	c.Roundness = Value{mean, z95 / math.Sqrt(weights), Measured}
	c.Ovality = Value{oval / count, z95 * math.Sqrt2 * d / setting.OD / math.Sqrt(count), Measured}
	if count > 1 && mathext.GammaIncRegComp((count-1)/2, cost/2) < scatterIn {
		// A mean would hide the bend that a rule may refuse.
		c.Uneven = true
		c.Roundness = Value{least, z95 * leastSigma, Measured}
		c.Ovality = Value{leastOval, z95 * math.Sqrt2 * d / setting.OD, Measured}
	}
}

// judge says which values are sure.
func (c *Calibration) judge() {
	c.Sure, c.Weak = nil, nil
	one := func(what string, v Value, limit float64, width string) {
		switch {
		case v.Basis == Unknown:
			c.Weak = append(c.Weak, Weakness{what, "not measured"})
		case v.Basis == Assumed:
			c.Weak = append(c.Weak, Weakness{what, "assumed, the pieces don't tell"})
		case v.Basis == Leaning:
			c.Weak = append(c.Weak, Weakness{what, "leans on what is assumed"})
		case v.Half > limit:
			c.Weak = append(c.Weak, Weakness{what, "measured, but only to +- " + width})
		default:
			c.Sure = append(c.Sure, what)
		}
	}
	one("clr", c.CLR, sureRadius*c.CLR.Value, fmt.Sprintf("%.1f mm", c.CLR.Half))
	right := c.Stretch.Half * math.Pi / 2
	one("stretch", c.Stretch, sureStretch, fmt.Sprintf("%.1f mm in a right angle", right))
	one("offset", c.Offset, sureOffset, fmt.Sprintf("%.1f mm", c.Offset.Half))
	half := s1.Angle(0)
	for _, at := range []s1.Angle{30 * s1.Degree, 90 * s1.Degree, c.Least, c.Most} {
		_, h := c.SetAngle(at)
		half = max(half, h)
	}
	back := c.A
	if back.Basis == Assumed {
		c.Weak = append(c.Weak, Weakness{"springback", fmt.Sprintf("known near %.0f degrees; elsewhere taken as proportional", tube.Degrees(c.Most))})
	} else {
		one("springback", Value{0, float64(half), back.Basis}, float64(sureSet), fmt.Sprintf("%.1f degrees", tube.Degrees(half)))
	}
	one("ovality", c.Roundness, math.Inf(1), "")
}

// candidates are the angles of test pieces that are worth proposing, degrees.
var candidates = []float64{90, 30, 60, 45, 120}

// next finds the test piece that makes most of what is weak sure; among equals
// the one that leaves least doubt, then the first of candidates.
func (c *Calibration) next(s *system, x []float64) {
	weak := 0
	for _, w := range c.Weak {
		if w.What != "ovality" {
			weak++
		}
	}
	if weak == 0 {
		return
	}
	best, doubt := -1, 0.0
	for _, deg := range candidates {
		angle := s1.Angle(deg) * s1.Degree
		set, _ := c.SetAngle(angle)
		// What is told does not depend on how long the blank is.
		more := newSystem(append(slices.Clone(s.pieces), Piece{
			Set: set, Angle: angle, Length: 1, Mark: 1, LegA: 1, LegB: 1, Legs: EdgeOutside,
		}), s.setting)
		at := append(slices.Clone(x), float64(angle))
		if more.assume(at) != nil {
			continue
		}
		with := more.calibration(at, more.linear(at), c.Scatter)
		with.Roundness = c.Roundness
		with.Least, with.Most = c.Least, c.Most // judged over the same angles
		with.judge()
		var solid []string
		for _, w := range c.Weak {
			if slices.Contains(with.Sure, w.What) {
				solid = append(solid, w.What)
			}
		}
		_, half := with.SetAngle(30 * s1.Degree)
		left := with.CLR.Half/(sureRadius*with.CLR.Value) + with.Stretch.Half/sureStretch + with.Offset.Half/sureOffset + float64(half/sureSet)
		if best < 0 || len(solid) > best || len(solid) == best && left < doubt-1e-6 {
			best, doubt, c.Next, c.Solid = len(solid), left, angle, solid
		}
	}
}
