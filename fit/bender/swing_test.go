package bender_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/bender"
	"barwright/fit/tube"
)

// into returns how deep a point of a tube's centreline with the outer radius r is
// in a box, by clamping it into the box.
func into(box tube.Box, r float64, q r3.Vector) float64 {
	c := vec(min(max(q.X, box.Min.X), box.Max.X), min(max(q.Y, box.Min.Y), box.Max.Y), min(max(q.Z, box.Min.Z), box.Max.Z))
	if c != q {
		return r - q.Sub(c).Norm()
	}
	return r + min(q.X-box.Min.X, box.Max.X-q.X, q.Y-box.Min.Y, box.Max.Y-q.Y, q.Z-box.Min.Z, box.Max.Z-q.Z)
}

const (
	bruteStep = 8.0 // mm between points on the tube, and between places of a point
	// bruteMiss is how much less deep than the truth the samples may be: the
	// nearest sample is half a step off in both, and depth changes by no more than
	// the way gone.
	bruteMiss = bruteStep
	// swingTol is what swing.go promises: chord, search over the angle, search along
	// a straight.
	swingTol = 0.2 + 0.5 + 0.05
)

// bruteStrikes takes points through the bends and returns the deepest strikes
// found at each bend: by thing, "floor" or "part n", and "rest " before it for
// the tube behind the die.
func bruteStrikes(spec *tube.Spec, b *bender.Blank) []map[string]float64 {
	machine := spec.Die.Machine
	var along []float64
	n := int(b.Length/bruteStep) + 1
	for i := range n + 1 {
		along = append(along, b.Length*float64(i)/float64(n))
	}
	m := straightTube(sideVector(machine.Bends), along)
	var out []map[string]float64
	m.bend(spec, b, func(k, ahead int) {
		worst := map[string]float64{}
		look := func(q r3.Vector) {
			keep := func(what string, depth float64) {
				if depth > 0 {
					worst[what] = max(worst[what], depth)
				}
			}
			if machine.Height > 0 {
				keep("floor", spec.OD/2-machine.Height-q.Z)
			}
			for i, box := range machine.Frame {
				keep(fmt.Sprintf("part %d", i+1), into(box, spec.OD/2, q))
			}
		}
		set := float64(b.Steps[k].Set)
		arm := 0.0
		for _, q := range m.at[:ahead] {
			arm = max(arm, q.Norm()+spec.Die.CLR)
		}
		places := int(arm*set/bruteStep) + 1
		for j := range places + 1 {
			a := set * float64(j) / float64(places)
			for _, q := range m.at[:ahead] {
				look(m.swung(q, spec.Die.CLR, a))
			}
			look(m.swung(vec(0, 0, 0), spec.Die.CLR, a)) // the bend
		}
		if k == 0 {
			if depth := spec.OD/2 - machine.Height; machine.Height > 0 && depth > 0 {
				worst["rest floor"] = depth
			}
			// Too long by all that lies behind the first point that strikes.
			end := m.at[len(m.at)-1]
			for i, box := range machine.Frame {
				for _, q := range append([]r3.Vector{{}}, m.at[ahead:]...) {
					if into(box, spec.OD/2, q) > 0 {
						worst[fmt.Sprintf("rest part %d", i+1)] = q.X - end.X
						break
					}
				}
			}
		}
		out = append(out, worst)
	})
	return out
}

// thing returns what a swing limit struck, in the words of bruteStrikes.
func thing(l bender.Limit) string {
	what := "floor"
	for i := 1; i < 10; i++ {
		if strings.Contains(l.Detail, fmt.Sprintf("part %d", i)) {
			what = fmt.Sprintf("part %d", i)
		}
	}
	if strings.Contains(l.Detail, "behind the die") {
		return "rest " + what
	}
	return what
}

// Every strike that dense samples find is told, as deep as it is; none is made up.
func TestSwingAgainstSamples(t *testing.T) {
	told := 0
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		spec.Die.Machine = drawMachine(t)
		b := bender.Plan(spec, p, beyond)
		brute := bruteStrikes(spec, b)
		step := map[int]int{}
		for k, s := range b.Steps {
			step[s.Bend] = k
		}
		got := make([]map[string]float64, len(b.Steps))
		for k := range got {
			got[k] = map[string]float64{}
		}
		for _, l := range b.Limits {
			if l.Rule == "swing" {
				told++
				got[step[l.Bend]][thing(l)] = l.Got
				require.NotEmpty(t, l.Change)
			}
		}
		for k := range got {
			for what, depth := range brute[k] {
				require.GreaterOrEqual(t, got[k][what], depth-swingTol, "step %d: %s", k, what)
			}
			for what, depth := range got[k] {
				require.LessOrEqual(t, depth, max(0, brute[k][what])+bruteMiss+swingTol, "step %d: %s", k, what)
			}
		}
	})
	require.Greater(t, told, 20)
}

// One bend of 90 degrees, downwards: at its end the free leg hangs from the bend,
// its tip a radius and a leg under the start (by hand).
func TestSwingIntoTheFloor(t *testing.T) {
	p := pathOf(t, 100, vec(0, 0, 0), vec(700, 0, 0), vec(700, 0, 300)) // legs 600 and 200
	die := &tube.Die{CLR: 100, Machine: &tube.Machine{Bends: tube.BendsDown, Height: 500}}
	spec := &tube.Spec{OD: 40, Wall: 2, Die: die}
	b := bender.Plan(spec, p, [2]float64{})
	// The short leg reaches 300 mm down, 320 with the tube's radius.
	assert.Equal(t, 1, b.First)
	assert.Empty(t, b.Limits)
	assert.Equal(t, "with end A first, at bend 1 the tube runs 220 mm into the floor when 90 deg are bent", b.Why)

	die.Machine.Height = 310
	b = bender.Plan(spec, p, [2]float64{})
	assert.Equal(t, 1, b.First)
	require.Len(t, b.Limits, 1)
	assert.Equal(t, "both ways it strikes something, this way less: 10 mm in all against 410 mm", b.Why)
	assert.InDelta(t, 10, b.Limits[0].Got, 1e-9)
	assert.Equal(t, "stand the bender 11 mm higher", b.Limits[0].Change)
	die.Machine.Height += 11
	assert.Empty(t, bender.Plan(spec, p, [2]float64{}).Limits)

	// A trim of 30 mm on the free leg is part of it; 1 mm was to spare.
	spec.Trim = 30
	assert.InDelta(t, 29, bender.Plan(spec, p, [2]float64{}).Limits[0].Got, 1e-9)

	// To the side, nothing goes down; a bender lower than the tube's radius has no
	// room at all.
	die.Machine.Bends = tube.BendsLeft
	assert.Empty(t, bender.Plan(spec, p, [2]float64{}).Limits)
	die.Machine.Height = 15
	b = bender.Plan(spec, p, [2]float64{})
	assert.Equal(t, []string{
		"swing 1: the tube behind the die lies 5 mm in the floor -> stand the bender 6 mm higher",
		"swing 1: the tube runs 5 mm into the floor as soon as it is laid in -> stand the bender 6 mm higher",
	}, limitsOf(b))
}

// The tip of an S swings past the wall ahead: it is furthest ahead on the way, not
// at an end of it (by hand). With end B first, 900 mm of tube would be in the way.
func TestSwingDeepestOnTheWay(t *testing.T) {
	table := tube.Table{Tail: 900, Bends: []tube.Bend{
		{Feed: 300, Angle: deg(90)}, {Feed: 50, Angle: deg(150), Rotation: deg(180)},
	}}
	p := pathOf(t, 100, tube.Nodes(table, 100, vec(0, 0, 0), vec(1, 0, 0), vec(0, 0, 1))...)
	for _, side := range []tube.Bends{tube.BendsLeft, tube.BendsRight, tube.BendsUp, tube.BendsDown} {
		// While bend 2 is made, the tip is seen from the centre at (150, -500), away
		// from the side: 522.0 mm from it, straight ahead after 73.3 degrees.
		wall := tube.Box{Min: vec(500, -3000, -3000), Max: vec(900, 3000, 3000)}
		die := &tube.Die{CLR: 100, Machine: &tube.Machine{Bends: side, Frame: []tube.Box{wall}}}
		b := bender.Plan(&tube.Spec{OD: 40, Wall: 2, Die: die}, p, [2]float64{})
		require.Equal(t, 0, b.First, b.Why)
		require.Len(t, b.Limits, 1)
		assert.Equal(t, 2, b.Limits[0].Bend)
		assert.InDelta(t, math.Hypot(150, 500)+20-500, b.Limits[0].Got, swingTol)
		assert.Contains(t, b.Limits[0].Detail, "the tube runs 43 mm into part 1 of the frame when 7")
	}
	// Upwards the tip hangs 400 mm down at first, and rises from there. With end B
	// first, the tip is at (-679.4, -736.6) from the centre while bend 1 is made:
	// 1002.1 mm from it, straight below after 42.7 degrees, 902.1 under the start.
	die := &tube.Die{CLR: 100, Machine: &tube.Machine{Bends: tube.BendsUp, Height: 410}}
	b := bender.Plan(&tube.Spec{OD: 40, Wall: 2, Die: die}, p, [2]float64{})
	assert.Equal(t, []string{
		"swing 2: the tube runs 10 mm into the floor as soon as it is laid in -> stand the bender 11 mm higher" +
			"; not so with end B first, but then at bend 1 the tube runs 513 mm into the floor when 43 deg are bent",
	}, limitsOf(b))
}

// A wall behind the bender, 2 m away: the blank must not be longer than that
// behind the start of the first bend.
func TestSwingBehindTheDie(t *testing.T) {
	p := pathOf(t, 100, vec(0, 0, 0), vec(400, 0, 0), vec(400, 2200, 0)) // legs 300 and 2100
	wall := tube.Box{Min: vec(-2500, -1000, -1000), Max: vec(-2000, 1000, 1000)}
	spec := &tube.Spec{OD: 40, Wall: 2, Die: &tube.Die{CLR: 100, Machine: &tube.Machine{Bends: tube.BendsLeft, Frame: []tube.Box{wall}}}}
	b := bender.Plan(spec, p, [2]float64{})
	assert.Equal(t, 1, b.First)
	assert.Empty(t, b.Limits)
	assert.Equal(t, "with end A first, at bend 1 the tube behind the die is 278 mm too long for part 1 of the frame", b.Why) // 2100 + 50 pi - 2000 + 20, rounded up
}
