package fit

import (
	"math"
	"sort"

	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// Requirement says how far a bar's centreline has to keep from the shell.
//
// At the distance x (mm, along the path) from the nearer foot the centreline
// needs min(Radius + Clearance, x sin Landing), everywhere else Radius +
// Clearance. The foot zone of a foot is where x < (Radius + Clearance) /
// sin Landing; there FootAllowance comes off what is required.
type Requirement struct {
	Radius        float64  // outer radius of the tube, mm
	Clearance     float64  // tube surface to shell, mm
	Feet          [2]bool  // end A, end B stands on the shell
	Landed        [2]bool  // end A, end B lands on another bar
	Landing       s1.Angle // flattest angle at which a foot may meet the shell; <= 0: a foot zone has no end
	FootAllowance float64  // mm, for the scan's noise (three sigma), only inside foot zones
}

// Full returns the centreline distance in mm that is required away from feet.
func (r Requirement) Full() float64 { return r.Radius + r.Clearance }

// Zone returns the length of a foot zone in mm, which may be infinite.
func (r Requirement) Zone() float64 {
	if r.Full() <= 0 {
		return 0
	}
	if r.Landing <= 0 {
		return math.Inf(1)
	}
	return r.Full() / r.slope()
}

// slope is what a foot zone requires more with every mm away from the foot.
func (r Requirement) slope() float64 {
	return math.Sin(min(max(float64(r.Landing), 0), math.Pi/2))
}

// nearFoot returns the end of the nearer foot whose zone holds s, and how far
// it is; ok is false outside foot zones.
func (r Requirement) nearFoot(s, length float64) (end int, x float64, ok bool) {
	x = math.Inf(1)
	for e, d := range [2]float64{s, length - s} {
		if r.Feet[e] && d < x {
			end, x = e, d
		}
	}
	return end, x, x < r.Zone()
}

// At returns the centreline distance in mm that is required s mm from end A of
// a path of the given length (mm).
func (r Requirement) At(s, length float64) float64 {
	if _, x, ok := r.nearFoot(s, length); ok {
		return x*r.slope() - r.FootAllowance
	}
	return r.Full()
}

// InFootZone tells whether s, in mm from end A of a path of the given length
// (mm), is in a foot zone.
func (r Requirement) InFootZone(s, length float64) bool {
	_, _, ok := r.nearFoot(s, length)
	return ok
}

// Stat tells whether s, in mm from end A of a path of the given length (mm),
// counts for the gap statistics: these leave out the last 2 x OD before feet
// and landed ends. A bar so short that nothing is left is judged at one point,
// see Certificate.
func (r Requirement) Stat(s, length float64) bool {
	lo, hi := r.statRange(length)
	return s >= lo && s <= hi
}

// statRange returns where the statistics begin and end, mm from end A. If the
// ends' shares meet, both are the point between them.
func (r Requirement) statRange(length float64) (lo, hi float64) {
	hi = length
	if r.Feet[0] || r.Landed[0] {
		lo = 4 * r.Radius
	}
	if r.Feet[1] || r.Landed[1] {
		hi = length - 4*r.Radius
	}
	if lo >= hi {
		mid := min(max((lo+hi)/2, 0), length)
		return mid, mid
	}
	return lo, hi
}

// stretch is a part of a path on one segment with a requirement that is linear.
type stretch struct {
	from, to   float64 // mm from end A
	need       float64 // required distance at from, mm
	slope      float64 // change of it per mm
	full, stat bool    // full clearance required; counts for the statistics
	curvature  float64 // 1/mm; 0 on straights
}

// stretches cuts a path at its segment borders and at the kinks of the requirement.
func (r Requirement) stretches(p *tube.Path) []stretch {
	length, zone := p.Length, r.Zone()
	lo, hi := r.statRange(length)
	knots := []float64{0, length, lo, hi, zone, length - zone, length / 2}
	for i := range p.Segments {
		knots = append(knots, p.Segments[i].Start)
	}
	sort.Float64s(knots)

	var out []stretch
	from := 0.0
	for _, to := range knots {
		if !(to > from) || to > length {
			continue
		}
		mid := from + (to-from)/2
		st := stretch{from: from, to: to, need: r.Full(), full: true, stat: mid >= lo && mid <= hi && hi > lo}
		if end, _, ok := r.nearFoot(mid, length); ok {
			st.full = false
			if end == 0 {
				st.need, st.slope = from*r.slope()-r.FootAllowance, r.slope()
			} else {
				st.need, st.slope = (length-from)*r.slope()-r.FootAllowance, -r.slope()
			}
		}
		for i := range p.Segments {
			g := &p.Segments[i]
			if g.Kind == tube.Arc && mid >= g.Start && mid <= g.Start+g.Length {
				st.curvature = 1 / g.Radius
			}
		}
		out = append(out, st)
		from = to
	}
	return out
}
