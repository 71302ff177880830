package cope

import (
	"math"

	"barwright/fit"
	"barwright/fit/tube"
)

// SawDepth is how deep (mm) a common hole saw cuts: 1 1/2 in (common practice, no
// source).
const SawDepth = 38.1

// inchPart is the step in which hole saws are sold, 1/16 in (common practice, no
// source), in mm.
const inchPart = 25.4 / 16

// saw sets up a hole-saw notcher. The saw is a cylinder in the place of the
// target, so it is as wide as the target, and it must travel from where the
// notch begins along the target to where it ends: on a straight target the
// chord of the branch along the saw's axis, OD / sin of the joint's angle. A
// saw that is too shallow for that can come from both sides.
func (k *worked) saw(t *fit.Bar) fit.Saw {
	out := fit.Saw{
		Size: t.Tube.OD, Nearest: math.Round(t.Tube.OD/inchPart) * inchPart,
		Angle: 90 - k.joint.Angle, Offset: k.joint.Offset,
		Deepest: k.long, Shallowest: k.short,
	}
	close := k.d
	if k.w.Dot(k.d) < 0 {
		close = close.Mul(-1)
	}
	out.Clock = degrees(float64(tube.ClockOf(k.branch.Path, station(k.branch, k.end), close)))
	from, to := math.Inf(1), math.Inf(-1)
	for _, p := range k.point {
		s := p.Sub(k.node).Dot(k.d)
		from, to = min(from, s), max(to, s)
	}
	out.Depth = to - from
	out.Exact = k.bends == 0 && len(k.joint.Around) == 0
	switch {
	case !out.Exact:
	case out.Depth <= SawDepth+lengthTol:
		out.Passes = 1
	case out.Depth <= 2*SawDepth+lengthTol:
		out.Passes = 2
	}
	return out
}
