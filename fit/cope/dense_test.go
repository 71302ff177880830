package cope

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/tube"
)

// dense is a second way to the same curve, which shares no code with the first:
// the target's centreline is a string of points laid out from its nodes by
// turning the leg's direction step by step, and a line along the branch is
// followed from outside in small steps until it is within the target's radius.
type dense struct {
	points []r3.Vector
	radius float64
}

func newDense(nodes []r3.Vector, clr, radius, step float64) dense {
	d := dense{radius: radius}
	p := nodes[0]
	for i := 0; i+1 < len(nodes); i++ {
		u := nodes[i+1].Sub(nodes[i]).Normalize()
		stop := nodes[i+1]
		if i+2 < len(nodes) {
			v := nodes[i+2].Sub(nodes[i+1]).Normalize()
			turn := math.Acos(u.Dot(v))
			stop = stop.Sub(u.Mul(clr * math.Tan(turn/2)))
			for n := math.Ceil(stop.Sub(p).Norm() / step); n > 0; n-- {
				d.points = append(d.points, p)
				p = p.Add(stop.Sub(p).Mul(1 / n))
			}
			// Round the corner on the circle about the centre.
			inward := v.Sub(u.Mul(u.Dot(v))).Normalize()
			centre := stop.Add(inward.Mul(clr))
			n := math.Ceil(clr * turn / step)
			for k := range int(n) {
				a := turn * float64(k) / n
				d.points = append(d.points, centre.Sub(inward.Mul(clr*math.Cos(a))).Add(u.Mul(clr*math.Sin(a))))
			}
			p = centre.Sub(inward.Mul(clr * math.Cos(turn))).Add(u.Mul(clr * math.Sin(turn)))
			continue
		}
		for n := math.Ceil(stop.Sub(p).Norm() / step); n > 0; n-- {
			d.points = append(d.points, p)
			p = p.Add(stop.Sub(p).Mul(1 / n))
		}
		d.points = append(d.points, stop)
	}
	return d
}

// near keeps the points within reach of a place.
func (d dense) near(at r3.Vector, reach float64) dense {
	out := dense{radius: d.radius}
	for _, p := range d.points {
		if p.Sub(at).Norm() < reach {
			out.points = append(out.points, p)
		}
	}
	return out
}

func (d dense) distance(p r3.Vector) float64 {
	least := math.Inf(1)
	for i := 0; i+1 < len(d.points); i++ {
		a, leg := d.points[i], d.points[i+1].Sub(d.points[i])
		t := math.Max(0, math.Min(1, p.Sub(a).Dot(leg)/leg.Dot(leg)))
		x, y, z := p.X-a.X-t*leg.X, p.Y-a.Y-t*leg.Y, p.Z-a.Z-t*leg.Z
		least = math.Min(least, x*x+y*y+z*z)
	}
	return math.Sqrt(least)
}

// follow goes along a line from hi down to lo and returns where it meets the
// tube.
func (d dense) follow(from, dir r3.Vector, hi, lo, step float64) (float64, bool) {
	for x := hi; x > lo; x -= step {
		if d.distance(from.Add(dir.Mul(x))) <= d.radius {
			a, b := x, x+step
			for range 40 {
				if m := (a + b) / 2; d.distance(from.Add(dir.Mul(m))) <= d.radius {
					a = m
				} else {
					b = m
				}
			}
			return a, true
		}
	}
	return 0, false
}

// On straights, across borders and in bends, with offsets of the branch, the
// curve is the one found by following lines.
func TestDense(t *testing.T) {
	const chord = 1.0 // mm between points: with the tightest radius, 50 mm, their chords are 0.0025 mm off
	lines := 0
	rapid.Check(t, func(t *rapid.T) {
		target, at := drawTarget(t)
		branch := drawBranch(t, "branch", target, at)
		beside := 0.0
		if branch.Tube.OD < .9*target.Tube.OD {
			// Off the centreline, but with all of its lines on the target.
			beside = rapid.Float64Range(-1, 1).Draw(t, "beside") * .4 * (target.Tube.OD - branch.Tube.OD) / 2
			_, d := target.Path.At(at)
			_, _, _, w := landed(branch)
			shift := w.Cross(d).Normalize().Mul(beside)
			branch.Path = branch.Path.Transformed(func(p r3.Vector) r3.Vector { return p.Add(shift) })
		}
		c := cage(target, branch)
		if landings(c)[0].grazing {
			return // along the inside of a bend; that has a test of its own
		}
		Work(c, shop(), nil, 1)
		require.Len(t, c.Joints, 1)
		assert.InDelta(t, beside, c.Joints[0].Offset, 1e-6+beside*beside/50)
		cut, s, node, w := landed(branch)
		require.Len(t, cut.Outer, 360)
		d := newDense(target.Path.Nodes, target.Path.Radius, target.Radius(), chord).near(node, c.Joints[0].Long+4*target.Tube.OD)
		hi := 0.0
		for d.distance(node.Add(w.Mul(hi))) < d.radius+branch.Radius() {
			hi += .1
		}
		for i := rapid.IntRange(0, 44).Draw(t, "first"); i < 360; i += 45 {
			u := tube.AtClock(branch.Path, s, s1.Angle(i)*s1.Degree)
			for _, edge := range []struct{ rho, x float64 }{{branch.Radius(), cut.Outer[i]}, {branch.Tube.Inner() / 2, cut.Inner[i]}} {
				from := node.Add(u.Mul(edge.rho))
				// On both surfaces.
				assert.InDelta(t, target.Radius(), d.distance(from.Add(w.Mul(edge.x))), .003)
				_, exact := target.Path.Closest(from.Add(w.Mul(edge.x)))
				assert.InDelta(t, target.Radius(), exact, 1e-6)
				// The outermost such point before the branch has come apart from the
				// target. Where the line all but touches the target its place is
				// not sharp, but there is nothing to take off in between.
				got, ok := d.follow(from, w, hi, edge.x-3, 1)
				if !ok {
					got = edge.x
				}
				lines++
				if math.Abs(got-edge.x) > .05 {
					for k := range 11 {
						x := edge.x + (got-edge.x)*float64(k)/10
						assert.InDelta(t, d.radius, d.distance(from.Add(w.Mul(x))), .01)
					}
				}
			}
		}
	})
	require.Greater(t, lines, 400)
}
