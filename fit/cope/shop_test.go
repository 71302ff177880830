package cope

import (
	"math"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// The saw's travel is the chord of the branch along the saw's axis, OD / sin a
// (derived from the section of a cylinder), and the line that goes into the
// plane of tilt is where the notch is longest.
func TestSaw(t *testing.T) {
	for _, c := range []struct {
		target, od, angle, nearest float64
		passes                     int
	}{
		{44.45, 38.1, 90, 44.45, 1},
		{44.45, 44.45, 90, 44.45, 2},
		{45, 45, 45, 44.45, 2}, // 1 3/4 in, 63.6 mm of chord
		{38, 38, 60, 38.1, 2},
		{50, 38, 31, 49.2125, 2}, // 1 15/16 in; 73.8 mm
		{50, 38, 29, 49.2125, 0}, // 78.4 mm
	} {
		sin, cos := math.Sincos(c.angle * math.Pi / 180)
		j, cut := work(t, rail(t, c.target), bar(t, "post", c.od, 2, 0, [2]job.End{onto("rail"), free}, v(0, 0, 0), v(900*cos, 0, 900*sin)))
		assert.Equal(t, c.target, j.Saw.Size)
		assert.InDelta(t, c.nearest, j.Saw.Nearest, 1e-9)
		assert.InDelta(t, 90-c.angle, j.Saw.Angle, 1e-9)
		assert.InDelta(t, c.od/sin, j.Saw.Depth, 1e-3*c.od)
		assert.Equal(t, c.passes, j.Saw.Passes, "%v", c)
		assert.True(t, j.Saw.Exact)
		assert.Equal(t, j.Long, j.Saw.Deepest)
		assert.Equal(t, j.Short, j.Saw.Shallowest)
		assert.InDelta(t, j.Long, cut.Outer[int(math.Round(j.Saw.Clock))%360], 1e-6)
	}
}

// On a target that is bent, whatever the side: the saw's line is in the plane of
// both axes, where they close.
func TestSawClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		target, at := drawTarget(t)
		b := drawBranch(t, "branch", target, at)
		c := cage(target, b)
		Work(c, shop(), nil, 1)
		_, s, _, w := landed(b)
		u := tube.AtClock(b.Path, s, s1.Angle(c.Joints[0].Saw.Clock)*s1.Degree)
		_, d := target.Path.At(c.Joints[0].At)
		require.InDelta(t, 0, u.Dot(w.Cross(d)), 1e-6)
		require.GreaterOrEqual(t, u.Dot(d)*w.Dot(d), -1e-9)
	})
}

// Vents are on the wall of the bar that is drilled, inside the branch's bore and
// clear of the bead; marks give the same place on the tube.
func TestVents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCage(t)
		Work(c, shop(), nil, 1)
		byName := map[string]*fit.Bar{}
		for _, b := range c.Bars {
			byName[b.Name] = b
		}
		for _, j := range c.Joints {
			vent := j.Vent
			if vent == nil {
				continue
			}
			b, o := byName[j.Bar], byName[vent.Bar]
			centre, _ := o.Path.At(vent.At)
			p := centre.Add(tube.AtClock(o.Path, vent.At, s1.Angle(vent.Clock)*s1.Degree).Mul(o.Radius()))
			require.Less(t, p.Sub(vent.Point).Norm(), 1e-5)
			require.InDelta(t, vent.Clock/360*math.Pi*o.Tube.OD, vent.Wrap, 1e-6)
			_, axis := b.Path.Closest(p)
			require.LessOrEqual(t, axis, b.Tube.Inner()/2-vent.Diameter/2)
			for _, q := range j.Bead {
				require.GreaterOrEqual(t, p.Sub(q).Norm(), 1.5*vent.Diameter-1e-6)
			}
		}
	})
}

// A tee of equal tubes, OD 40, at 800 mm from end A of a rail whose upper side is
// clock 0: the bead takes 780 to 820 mm and a quarter turn to each side.
func TestZones(t *testing.T) {
	r := rail(t, 40)
	c := cage(r, post(t, "post", 40, -200, 90))
	Work(c, shop(), nil, 1)
	j := c.Joints[0]
	require.Len(t, j.Zones, 2)
	assert.Equal(t, fit.Zone{Joint: "J1", Bar: "post", From: 0, To: 45, Round: true}, rounded(j.Zones[0]))
	more := 25 / 20.0 * 180 / math.Pi
	assert.Equal(t, rounded(fit.Zone{Joint: "J1", Bar: "rail", From: 755, To: 845, Clock: [2]float64{270 - more, 90 + more}}), rounded(j.Zones[1]))
	assert.InDelta(t, 800, j.At, 1e-9)
	assert.InDelta(t, 0, j.Clock, 1e-9)
	assert.Equal(t, c.Joints[0].Zones, Zones(c, 25))

	// The bead is twice half an ellipse of axes 40 and 40 sqrt 2: one whole
	// ellipse; its perimeter by Ramanujan's second formula (from memory, good to
	// 1e-9 here).
	a, b := 20*math.Sqrt2, 20.0
	h := (a - b) * (a - b) / ((a + b) * (a + b))
	ellipse := math.Pi * (a + b) * (1 + 3*h/(10+math.Sqrt(4-3*h)))
	assert.InDelta(t, ellipse, j.Length, .01)
	assert.InDelta(t, ellipse, WeldLength(c), .01)

	// A foot cut at 45 degrees is the same ellipse.
	leg := bar(t, "leg", 40, 2, 0, [2]job.End{free, foot}, v(0, 0, 500), v(0, 0, 0))
	leg.Feet = []fit.Foot{{End: 1, Normal: v(1, 0, 1).Normalize()}}
	leg.Job = &job.Bar{Plate: job.Plate{Thickness: 3}}
	g := cage(leg)
	Work(g, shop(), nil, 1)
	assert.InDelta(t, ellipse, WeldLength(g), .02)
	thick := 3 * math.Sqrt2
	assert.Equal(t, []fit.Zone{rounded(fit.Zone{Bar: "leg", From: 500 - 20 - thick - 25, To: 500 + 20 - thick, Round: true})}, []fit.Zone{rounded(Zones(g, 25)[0])})
	assert.InDelta(t, 20-thick, leg.Cuts[1].Beyond(), 1e-9)
}

func rounded(z fit.Zone) fit.Zone {
	for _, x := range []*float64{&z.From, &z.To, &z.Clock[0], &z.Clock[1]} {
		*x = math.Round(*x*1e4)/1e4 + 0
	}
	return z
}

// Every point of a bead lies in the zones of both bars, with room around it.
func TestZonesHoldBeads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		target, at := drawTarget(t)
		b := drawBranch(t, "branch", target, at)
		c := cage(target, b)
		Work(c, shop(), nil, 1)
		bare := func(o *fit.Bar, z fit.Zone, s, clock float64) bool {
			if s < z.From || s > z.To {
				return false
			}
			return z.Round || math.Mod(clock-z.Clock[0]+720, 360) <= math.Mod(z.Clock[1]-z.Clock[0]+720, 360)
		}
		for _, p := range c.Joints[0].Bead {
			s, _ := target.Path.Closest(p)
			centre, _ := target.Path.At(s)
			clock := tube.ClockOf(target.Path, s, p.Sub(centre)).Degrees()
			turn := 24.9 / target.Radius() * 180 / math.Pi
			for _, dc := range []float64{-turn, 0, turn} {
				require.True(t, bare(target, c.Joints[0].Zones[1], s, clock+dc))
			}
			// Along the line through p, on the tube's outside; a step of 0.5 mm is
			// at most 1e-4 mm longer than its chord.
			for _, step := range []float64{-.5, .5} {
				last, went, to := p, 0.0, s
				for went < 24.9 {
					require.True(t, bare(target, c.Joints[0].Zones[1], to, clock))
					if to += step; to < 0 || to > target.Path.Length {
						break
					}
					centre, _ := target.Path.At(to)
					q := centre.Add(tube.AtClock(target.Path, to, s1.Angle(clock)*s1.Degree).Mul(target.Radius()))
					went += q.Sub(last).Norm()
					last = q
				}
			}
		}
	})
}

// The mark on the target: from its end A and round it from its reference line.
func TestMarks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		target, at := drawTarget(t)
		b := drawBranch(t, "branch", target, at)
		c := cage(target, b)
		Work(c, shop(), nil, 1)
		j := c.Joints[0]
		require.InDelta(t, at, j.At, 1e-6)
		_, _, _, w := landed(b)
		_, d := target.Path.At(j.At)
		want := w.Sub(d.Mul(w.Dot(d))).Normalize()
		require.Less(t, tube.AtClock(target.Path, j.At, s1.Angle(j.Clock)*s1.Degree).Sub(want).Norm(), 1e-6)
		require.InDelta(t, j.Clock/360*math.Pi*target.Tube.OD, j.Wrap, 1e-6)
	})
}
