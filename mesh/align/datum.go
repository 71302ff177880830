package align

import (
	"errors"
	"fmt"
	"math"

	"github.com/golang/geo/s1"
)

// Points closer together than this, in mm, say nothing about a car.
const distinct = 10.0

// datum sets the frame by points. The pair gives y, the floor points up,
// square to y, the point ahead the sign of both x and z.
func (b *body) datum(r *Result, opt Options) error {
	floor := opt.Floor
	n := floor[1].Sub(floor[0]).Cross(floor[2].Sub(floor[0]))
	longest := max(floor[1].Sub(floor[0]).Norm(), floor[2].Sub(floor[0]).Norm(), floor[2].Sub(floor[1]).Norm())
	// The height of the triangle over its longest side.
	if longest < distinct || n.Norm()/longest < distinct {
		return errors.New("align: the three floor points lie on a line")
	}
	n = n.Normalize()
	across := opt.Left.Sub(opt.Right)
	if across.Norm() < distinct {
		return errors.New("align: the left and right points are the same")
	}
	y := across.Normalize()
	const askew = 20 // degrees: more is a mistake, not a reading error
	tilt := s1.Angle(math.Asin(min(math.Abs(n.Dot(y)), 1))).Degrees()
	if tilt > askew {
		return fmt.Errorf("align: the line from right to left stands at %.0f degrees to the floor", tilt)
	}
	if tilt > doubtTwist {
		r.doubt("the line from right to left is %.1f degrees off the floor", tilt)
	}
	z := n.Sub(y.Mul(n.Dot(y))).Normalize()
	x := y.Cross(z)
	middle := opt.Left.Add(opt.Right).Mul(0.5)
	ahead := x.Dot(opt.Ahead.Sub(middle))
	if math.Abs(ahead) < distinct {
		return errors.New("align: the point ahead is neither ahead of the left and right points nor behind them")
	}
	if ahead < 0 {
		x, z = x.Mul(-1), z.Mul(-1)
	}

	// The body must stand on its floor, not hang under it.
	level := (z.Dot(floor[0]) + z.Dot(floor[1]) + z.Dot(floor[2])) / 3
	low, high := b.extent(z)
	if level-low > high-level {
		return errors.New("align: the body would hang below its floor: left and right are swapped, or the point ahead is behind")
	}

	f := Frame{X: x, Y: y, Z: z, Origin: middle.Add(z.Mul(level - z.Dot(middle)))}
	m := b.measure(plane{y, y.Dot(f.Origin.Sub(b.centre))})
	if opt.Origin != nil {
		f.Origin = *opt.Origin
	}
	r.Frame = f
	b.judgeGiven(r, m)
	sum := 0.0
	for _, p := range floor {
		h := z.Dot(p) - level
		sum += h * h
	}
	r.UpResidual = math.Sqrt(sum / 3)
	r.FloorShare = b.levelAt(z, y).share
	b.compare(r, m.plane)
	return nil
}
