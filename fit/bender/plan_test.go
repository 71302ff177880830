package bender_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/bender"
	"barwright/fit/tube"
)

func vec(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

func deg(a float64) s1.Angle { return s1.Angle(a) * s1.Degree }

func pathOf(t require.TestingT, radius float64, nodes ...r3.Vector) *tube.Path {
	p, err := tube.NewPath(nodes, radius)
	require.NoError(t, err)
	return p
}

// drawBar draws a bar of 1 to 5 bends and a tube with a die for it. Straights
// may be shorter than grip and tail.
func drawBar(t *rapid.T) (*tube.Spec, *tube.Path, [2]float64) {
	num := func(name string, from, to float64) float64 { return rapid.Float64Range(from, to).Draw(t, name) }
	die := &tube.Die{
		CLR: num("clr", 90, 200), Grip: num("grip", 0, 80), Tail: num("tail", 0, 120), MaxAngle: deg(num("max", 60, 180)),
		Stretch: num("stretch", 0, 3), Offset: num("offset", -20, 30),
	}
	if rapid.Bool().Draw(t, "measured") {
		die.Springback = []tube.Springback{{Want: deg(30), Set: deg(31.4)}, {Want: deg(90), Set: deg(93.1)}}
	}
	steel, _ := tube.LookupMaterial("1020 DOM")
	spec := &tube.Spec{OD: num("od", 25, 60), Wall: 2.41, Die: die, Material: steel, Trim: num("trim", 0, 50)}
	table := tube.Table{Tail: num("tail", 20, 900)}
	for i := range rapid.IntRange(1, 5).Draw(t, "bends") {
		b := tube.Bend{Feed: num("feed", 20, 900), Angle: deg(num("angle", 5, 130))}
		if i > 0 {
			b.Rotation = deg(num("rotation", -179, 180))
		}
		table.Bends = append(table.Bends, b)
	}
	nodes := tube.Nodes(table, die.CLR, vec(num("x", -900, 900), 0, 300), vec(num("dx", -1, 1), 1, num("dz", -1, 1)), vec(1, 0, .2))
	return spec, pathOf(t, die.CLR, nodes...), [2]float64{num("beyondA", 0, 60), num("beyondB", 0, 60)}
}

// drawMachine draws a machine with floor and frame or without.
func drawMachine(t *rapid.T) *tube.Machine {
	num := func(name string, from, to float64) float64 { return rapid.Float64Range(from, to).Draw(t, name) }
	m := &tube.Machine{Bends: rapid.SampledFrom([]tube.Bends{tube.BendsLeft, tube.BendsRight, tube.BendsUp, tube.BendsDown}).Draw(t, "bends")}
	if rapid.Bool().Draw(t, "floor") {
		m.Height = num("height", 100, 1400)
	}
	for range rapid.IntRange(0, 2).Draw(t, "parts") {
		at := vec(num("px", -1500, 1500), num("py", -1500, 1500), num("pz", -1500, 1500))
		m.Frame = append(m.Frame, tube.Box{Min: at, Max: at.Add(vec(num("w", 20, 700), num("l", 20, 700), num("h", 20, 700)))})
	}
	return m
}

// virtual is a bender that knows nothing of paths and tables: it takes a straight
// row of points through the steps of a blank as a builder does it. The tube lies
// along x, the end that goes in first ahead. at holds points, along holds how far
// each is from that end on the blank.
type virtual struct {
	at    []r3.Vector
	along []float64
	side  r3.Vector // to which it bends
}

// spin turns v about the x axis, clockwise for one who looks along x.
func spin(v r3.Vector, a float64) r3.Vector {
	return vec(v.X, v.Y*math.Cos(a)-v.Z*math.Sin(a), v.Y*math.Sin(a)+v.Z*math.Cos(a))
}

// swung carries a point ahead of the die through an angle: v is split into its
// parts along x, along the side and across both.
func (m *virtual) swung(v r3.Vector, clr, a float64) r3.Vector {
	x, y := v.X, v.Dot(m.side)-clr
	across := v.Sub(vec(v.X, 0, 0)).Sub(m.side.Mul(v.Dot(m.side)))
	return vec(x*math.Cos(a)-y*math.Sin(a), 0, 0).Add(m.side.Mul(clr + x*math.Sin(a) + y*math.Cos(a))).Add(across)
}

// bend makes a blank's bends; before each it calls see, which may be nil, with the
// number of the step and of the points ahead of the die.
func (m *virtual) bend(spec *tube.Spec, b *bender.Blank, see func(step, ahead int)) {
	clr, gone := spec.Die.CLR, 0.0 // how far along the blank the origin is
	for k, s := range b.Steps {
		start := s.Mark[b.First] + spec.Die.Offset
		for i := range m.at {
			m.at[i] = spin(m.at[i].Add(vec(start-gone, 0, 0)), float64(s.Rotation))
		}
		ahead := 0
		for ahead < len(m.along) && m.along[ahead] <= start+1e-9 {
			ahead++
		}
		if see != nil {
			see(k, ahead)
		}
		uses := (clr - spec.Die.Stretch) * float64(s.Gives)
		for i, t := range m.along {
			switch {
			case i < ahead:
				m.at[i] = m.swung(m.at[i], clr, float64(s.Gives))
			case t < start+uses:
				m.at[i] = m.swung(vec(0, 0, 0), clr, float64(s.Gives)*(1-(t-start)/uses))
			default:
				m.at[i] = vec(start+uses-t, 0, 0)
			}
		}
		gone = start + uses
	}
}

func sideVector(b tube.Bends) r3.Vector {
	return map[tube.Bends]r3.Vector{tube.BendsLeft: vec(0, 1, 0), tube.BendsRight: vec(0, -1, 0), tube.BendsUp: vec(0, 0, 1), tube.BendsDown: vec(0, 0, -1)}[b]
}

// straightTube returns points on an unbent tube: at the places given along the
// blank, in increasing order.
func straightTube(side r3.Vector, along []float64) *virtual {
	m := &virtual{along: along, side: side}
	for _, t := range along {
		m.at = append(m.at, vec(-t, 0, 0))
	}
	return m
}

// borders returns how far along the blank, from the end that goes in first, node
// A, each border between straights and arcs and node B are, with the points of
// the path there.
func borders(spec *tube.Spec, b *bender.Blank, p *tube.Path) (along []float64, at []r3.Vector) {
	if b.First == 1 {
		p = p.Reversed()
	}
	t := b.Beyond[b.First]
	along, at = []float64{t}, []r3.Vector{p.Segments[0].From}
	for _, g := range p.Segments {
		t += g.Length
		if g.Kind == tube.Arc {
			t -= spec.Die.Stretch * float64(g.Angle)
		}
		along, at = append(along, t), append(at, g.To)
	}
	return along, at
}

// A builder who does what the blank says gets the bar, whichever end goes in
// first and to whichever side the machine bends: all distances between borders
// are right, and it is not the mirror image.
func TestPlanBendsTheBar(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		spec.Die.Machine = drawMachine(t)
		b := bender.Plan(spec, p, beyond)
		along, want := borders(spec, b, p)
		m := straightTube(sideVector(spec.Die.Machine.Bends), along)
		m.bend(spec, b, nil)
		for i := range want {
			for j := range i {
				require.InDelta(t, want[i].Sub(want[j]).Norm(), m.at[i].Sub(m.at[j]).Norm(), 1e-6, "%d %d", i, j)
			}
			if i > 2 {
				volume := func(q []r3.Vector) float64 {
					return q[i-2].Sub(q[i-3]).Cross(q[i-1].Sub(q[i-3])).Dot(q[i].Sub(q[i-3]))
				}
				require.InDelta(t, volume(want), volume(m.at), 1e-3) // mm3
			}
			if i > 4 {
				volume := func(q []r3.Vector) float64 { // over two bends: shows rotations
					return q[i-4].Sub(q[0]).Cross(q[i-2].Sub(q[0])).Dot(q[i].Sub(q[0]))
				}
				require.InDelta(t, volume(want), volume(m.at), 1e-1)
			}
		}
	})
}

func TestPlanMarksAndLength(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		spec.Die.Machine = drawMachine(t)
		b := bender.Plan(spec, p, beyond)
		table := spec.Table(p)
		require.InDelta(t, table.Cut+beyond[0]+beyond[1]+2*spec.Trim, b.Length, 1e-9)
		require.Len(t, b.Steps, len(table.Bends))
		require.NotEmpty(t, b.Why)
		require.Zero(t, b.Drift)
		last := math.Inf(-1)
		for i, s := range b.Steps {
			require.InDelta(t, b.Length, s.Mark[0]+s.Mark[1], 1e-9)
			require.Greater(t, s.Mark[b.First], last, "bends follow one another")
			last = s.Mark[b.First]
			bend := table.Bends[s.Bend-1]
			require.Equal(t, s.Exact, s.Set)
			require.Equal(t, s.Angle, s.Gives)
			require.InDelta(t, float64(bend.Angle), float64(s.Angle), 1e-9)
			if b.First == 0 {
				require.Equal(t, i+1, s.Bend)
				require.InDelta(t, bend.Mark+beyond[0]+spec.Trim, s.Mark[0], 1e-9)
				require.Equal(t, bend.Rotation, s.Rotation)
				continue
			}
			require.Equal(t, len(table.Bends)-i, s.Bend)
			// The other side of the arc, and the offset on the other side of that.
			arc := (p.Radius - spec.Die.Stretch) * float64(bend.Angle)
			require.InDelta(t, bend.Mark+2*spec.Die.Offset+arc+beyond[0]+spec.Trim, s.Mark[0], 1e-6)
			if i > 0 {
				off := math.Remainder(float64(table.Bends[s.Bend].Rotation-s.Rotation), 2*math.Pi)
				require.InDelta(t, 0, off, 1e-7)
			} else {
				require.Zero(t, s.Rotation)
			}
		}
	})
}

// The bar read from its other end gets the same blank, ends swapped. Where both
// ends are as good A goes in first, which is then the other one.
func TestPlanOfTheReversedBar(t *testing.T) {
	swapped := 0
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		spec.Die.Machine = drawMachine(t)
		if rapid.Bool().Draw(t, "wheel") {
			spec.Die.Step = deg(1)
		}
		b := bender.Plan(spec, p, beyond)
		r := bender.Plan(spec, p.Reversed(), [2]float64{beyond[1], beyond[0]})
		if b.First == r.First {
			require.Zero(t, b.First)
			require.Len(t, r.Limits, len(b.Limits))
			return
		}
		swapped++
		require.InDelta(t, b.Length, r.Length, 1e-9)
		require.Equal(t, [2]float64{b.Beyond[1], b.Beyond[0]}, r.Beyond)
		require.InDelta(t, b.Drift, r.Drift, 1e-6)
		require.Len(t, r.Limits, len(b.Limits))
		for i, s := range b.Steps {
			q := r.Steps[i]
			require.Equal(t, len(b.Steps)+1-s.Bend, q.Bend)
			require.InDelta(t, s.Mark[0], q.Mark[1], 1e-6)
			require.InDelta(t, s.Mark[1], q.Mark[0], 1e-6)
			require.InDelta(t, float64(s.Set), float64(q.Set), 1e-9)
			require.InDelta(t, 0, math.Remainder(float64(s.Rotation-q.Rotation), 2*math.Pi), 1e-9)
		}
	})
	require.NotZero(t, swapped)
}

// The mirror image is bent alike but for the rotations.
func TestPlanOfTheMirrorImage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		spec.Die.Step = deg(rapid.SampledFrom([]float64{0, .5, 1, 5}).Draw(t, "step"))
		a, b := bender.Plan(spec, p, beyond), bender.Plan(spec, p.Mirrored(), beyond)
		require.InDelta(t, a.Drift, b.Drift, 1e-6)
		require.Equal(t, a.First, b.First)
		require.Equal(t, a.Limits, b.Limits)
		for i := range a.Steps {
			require.InDelta(t, 0, math.Remainder(float64(a.Steps[i].Rotation+b.Steps[i].Rotation), 2*math.Pi), 1e-9)
			require.InDelta(t, a.Steps[i].Mark[0], b.Steps[i].Mark[0], 1e-9)
			require.InDelta(t, float64(a.Steps[i].Set), float64(b.Steps[i].Set), 1e-9)
		}
	})
}

// Angles on a wheel with steps: every set angle is a multiple within one step,
// and the bar that the virtual bender makes of them ends where Drift says, with
// the first straight and the plane of the first bend held in place. It never ends
// further off than with the nearest multiples.
func TestPlanRoundsToTheWheel(t *testing.T) {
	better := 0
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		step := rapid.SampledFrom([]float64{.1, .5, 1, 2, 5}).Draw(t, "step")
		spec.Die.Step = deg(step)
		b := bender.Plan(spec, p, beyond)
		nearest := *b
		nearest.Steps = append([]bender.Step(nil), b.Steps...)
		differs := false
		for i, s := range b.Steps {
			k := s.Set.Degrees() / step
			require.InDelta(t, math.Round(k), k, 1e-9)
			require.Less(t, math.Abs(s.Set.Degrees()-s.Exact.Degrees()), step)
			require.InDelta(t, float64(spec.GivenAngle(s.Set)), float64(s.Gives), 1e-12)
			n := &nearest.Steps[i]
			n.Set = deg(step * math.Round(s.Exact.Degrees()/step))
			n.Gives = spec.GivenAngle(n.Set)
			differs = differs || math.Abs(float64(n.Set-s.Set)) > 1e-9
		}
		end := func(b *bender.Blank) r3.Vector {
			along, _ := borders(spec, b, p)
			m := straightTube(vec(0, 1, 0), along)
			m.bend(spec, b, nil)
			// Back to the frame of the first straight: it runs against u from the
			// origin, and the first bend turns towards w.
			q := m.at
			u := q[0].Sub(q[1]).Normalize()
			w := q[2].Sub(q[1])
			w = w.Sub(u.Mul(w.Dot(u))).Normalize()
			d := q[len(q)-1].Sub(q[0])
			return vec(d.Dot(u), d.Dot(w), d.Dot(u.Cross(w)))
		}
		exact := *b
		exact.Steps = append([]bender.Step(nil), b.Steps...)
		for i := range exact.Steps {
			exact.Steps[i].Gives = exact.Steps[i].Angle
		}
		want := end(&exact)
		require.InDelta(t, end(b).Sub(want).Norm(), b.Drift, 1e-5)
		if differs && spec.Die.MaxAngle > deg(140) {
			better++
			require.LessOrEqual(t, b.Drift, end(&nearest).Sub(want).Norm()+1e-5)
		}
	})
	require.NotZero(t, better)
}

// Two right angles out of plane; straights, arcs and developed length computed
// independently (references.md B3, vector ii).
func TestPlanWorkedExample(t *testing.T) {
	p := pathOf(t, 135, vec(0, 0, 0), vec(0, 0, 1000), vec(1000, 0, 1000), vec(1000, 800, 1000))
	steel, _ := tube.LookupMaterial("E235+SR")
	spec := &tube.Spec{OD: 45, Wall: 2.5, Material: steel, Die: &tube.Die{CLR: 135, Grip: 67.5, Tail: 90, MaxAngle: deg(180)}}
	b := bender.Plan(spec, p, [2]float64{})
	assert.InDelta(t, 2684.1150, b.Length, 5e-5)
	assert.Equal(t, 0, b.First)
	assert.Empty(t, b.Limits)
	assert.InDelta(t, 865, b.Steps[0].Mark[0], 1e-9)
	assert.InDelta(t, 865+212.0575+730, b.Steps[1].Mark[0], 5e-5)
	assert.InDelta(t, 665+212.0575, b.Steps[1].Mark[1], 5e-5)
	assert.InDelta(t, 90, tube.Degrees(b.Steps[1].Rotation), 1e-9)
	// The estimate of references.md B1: 1.227 degrees more for 90.
	assert.InDelta(t, 91.227, b.Steps[0].Set.Degrees(), 5e-4)
	assert.True(t, b.Steps[0].Estimated)

	// What ends and trim add.
	spec.Trim = 20
	b = bender.Plan(spec, p, [2]float64{12, 0})
	assert.InDelta(t, 2684.1150+12+40, b.Length, 5e-5)
	assert.Equal(t, [2]float64{32, 20}, b.Beyond)
	assert.InDelta(t, 865+32, b.Steps[0].Mark[0], 1e-9)

	// A wheel of whole degrees gives 90 x 91/91.227: the first bend turns the
	// rest of the bar, which lies 1000 mm and 800 mm away, by 0.224 degrees.
	spec.Die.Step = deg(1)
	b = bender.Plan(spec, p, [2]float64{})
	assert.InDelta(t, 91, b.Steps[0].Set.Degrees(), 1e-9)
	assert.InDelta(t, 90*91/91.2266, b.Steps[0].Gives.Degrees(), 1e-3)
	assert.InDelta(t, 5, b.Drift, 1)
}

func TestPlanOfStraightTube(t *testing.T) {
	p := pathOf(t, 0, vec(0, 0, 0), vec(0, 1200, 0))
	b := bender.Plan(&tube.Spec{OD: 40, Wall: 2, Trim: 5}, p, [2]float64{3, -7})
	assert.Equal(t, &bender.Blank{Length: 1213, Beyond: [2]float64{8, 5}, Why: "no bends"}, b)
}

// A tube without a die, ends that are no numbers: no limits and no panic.
func TestPlanOfOddInput(t *testing.T) {
	p := pathOf(t, 100, vec(0, 0, 0), vec(0, 500, 0), vec(500, 500, 0))
	b := bender.Plan(&tube.Spec{OD: 40, Wall: 2}, p, [2]float64{math.NaN(), math.Inf(1)})
	assert.Empty(t, b.Limits)
	assert.InDelta(t, p.Length, b.Length, 1e-9)
	assert.Equal(t, b.Steps[0].Angle, b.Steps[0].Set)
}

// Numbers that no job file gives: an answer all the same, and soon.
func TestPlanOfBadNumbers(t *testing.T) {
	bad := rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, 1, 1e300, -1e300, 1e-300})
	rapid.Check(t, func(t *rapid.T) {
		spec, p, beyond := drawBar(t)
		m := drawMachine(t)
		m.Frame = append(m.Frame, tube.Box{Min: vec(-50, -50, -50), Max: vec(50, 50, 50)})
		box := &m.Frame[0]
		d := spec.Die
		d.Machine, d.Step = m, deg(1)
		d.Springback = append(d.Springback, tube.Springback{Want: deg(10), Set: deg(11)})
		fields := []*float64{
			&spec.OD, &spec.Wall, &spec.Trim, &spec.Stick, &d.CLR, &d.Grip, &d.Tail, &d.Stretch, &d.Offset, &m.Height,
			&box.Min.X, &box.Max.X, &box.Max.Z, (*float64)(&d.Step), (*float64)(&d.MaxAngle),
			(*float64)(&d.Springback[0].Want), (*float64)(&d.Springback[0].Set), &beyond[0],
		}
		for range rapid.IntRange(1, 3).Draw(t, "how many") {
			*rapid.SampledFrom(fields).Draw(t, "field") = bad.Draw(t, "bad")
		}
		b := bender.Plan(spec, p, beyond)
		require.NotEmpty(t, b.Why)
		bender.QualityOf(spec)
	})
}

// limitsOf returns limits as lines.
func limitsOf(b *bender.Blank) []string {
	var out []string
	for _, l := range b.Limits {
		out = append(out, fmt.Sprintf("%s %d: %s -> %s", l.Rule, l.Bend, l.Detail, l.Change))
	}
	return out
}

func TestPlanLimits(t *testing.T) {
	die := func(change func(*tube.Die)) *tube.Die {
		d := &tube.Die{CLR: 100, Grip: 60, Tail: 90, MaxAngle: deg(120), Springback: []tube.Springback{{Want: deg(90), Set: deg(93)}}}
		if change != nil {
			change(d)
		}
		return d
	}
	// Straights 200, 100, 80.
	p := pathOf(t, 100, vec(0, 0, 0), vec(0, 0, 300), vec(0, 300, 300), vec(180, 300, 300))
	sharp := pathOf(t, 100, vec(0, 0, 0), vec(0, 0, 500), vec(0, 500*math.Sin(2.1), 500+500*math.Cos(2.1))) // 120.32 degrees
	nearly := pathOf(t, 100, vec(0, 0, 0), vec(0, 0, 500), vec(0, 500*math.Sin(2.05), 500+500*math.Cos(2.05)))
	for _, r := range []struct {
		name  string
		path  *tube.Path
		spec  tube.Spec
		after float64 // beyond node B
		want  []string
	}{
		{"tail", p, tube.Spec{Die: die(nil)}, 0, []string{
			"tail 2: the tube has 80.0 mm of straight after bend 2, the die needs 90.0 mm -> leave 10.0 mm of trim at end B, to be sawn off after bending"}},
		{"tail, some trim", p, tube.Spec{Die: die(nil), Trim: 4.96}, 0, []string{
			"tail 2: the tube has 85.0 mm of straight after bend 2, the die needs 90.0 mm -> leave 10.1 mm of trim at end B instead of 5.0 mm, to be sawn off after bending"}},
		{"tail, trim enough", p, tube.Spec{Die: die(nil), Trim: 10}, 0, nil},
		{"tail, mitre enough", p, tube.Spec{Die: die(nil)}, 9.96, nil},
		{"tail, no tube left", p, tube.Spec{Die: die(nil), Stick: 700}, 0, []string{
			"tail 2: the tube has 80.0 mm of straight after bend 2, the die needs 90.0 mm -> needs 10.0 mm more straight at end B; the tube is not long enough for trim"}},
		{"stick", p, tube.Spec{Die: die(nil), Stick: 700, Trim: 10}, 0, []string{
			"stick 0: the blank is 714.2 mm long, the tube comes in 700.0 mm -> leave 14.2 mm less trim in all"}},
		{"stick, no trim", p, tube.Spec{Die: die(nil), Stick: 600, Trim: 10}, 0, []string{
			"stick 0: the blank is 714.2 mm long, the tube comes in 600.0 mm -> make the bar of two tubes"}},
		{"grip", p, tube.Spec{Die: die(func(d *tube.Die) { d.Grip, d.Tail = 111.3, 0 })}, 0, []string{
			"grip 2: the straight between bends 1 and 2 is 100.0 mm, the die grips 111.3 mm -> needs 11.3 mm more straight before bend 2: move one of the two by that"}},
		{"grip within tolerance", p, tube.Spec{Die: die(func(d *tube.Die) { d.Grip, d.Tail = 100.04, 80.04 })}, 0, nil},
		{"angle", sharp, tube.Spec{Die: die(nil)}, 0, []string{
			"angle 1: bend 1 turns 120.3 deg, the die bends no more than 120.0 deg -> turn 0.4 deg less, or make two bends of it"}},
		{"angle set", nearly, tube.Spec{Die: die(nil)}, 0, []string{
			"angle 1: bend 1 has to be set to 121.4 deg because it springs back, the die goes no further than 120.0 deg -> turn 1.4 deg less, or make two bends of it"}},
		{"radius", p, tube.Spec{Die: die(func(d *tube.Die) { d.CLR, d.Tail = 110, 0 })}, 0, []string{
			"radius 0: the bar is laid out for a radius of 100.0 mm, the die bends 110.0 mm -> fit the bar anew with the die's radius"}},
		{"mark off the tube", p, tube.Spec{Die: die(func(d *tube.Die) { d.Offset, d.Tail = 210, 0 })}, 120, []string{
			"tail 1: the mark of bend 1 would lie 10.0 mm off end A of the tube -> leave 10.0 mm of trim at end A, to be sawn off after bending; not so with end B first, but then the mark of bend 2 would lie 10.0 mm off end B of the tube"}},
		{"nothing asked", p, tube.Spec{Die: &tube.Die{CLR: 100}}, 0, nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			r.spec.OD, r.spec.Wall = 40, 2
			b := bender.Plan(&r.spec, r.path, [2]float64{0, r.after})
			assert.Equal(t, r.want, limitsOf(b))
		})
	}
}

// What a limit asks for is enough.
func TestPlanChangesHelp(t *testing.T) {
	p := pathOf(t, 100, vec(0, 0, 0), vec(0, 0, 300), vec(0, 300, 300), vec(180, 300, 300))
	spec := &tube.Spec{OD: 40, Wall: 2, Die: &tube.Die{CLR: 100, Tail: 93.27, Grip: 60}}
	b := bender.Plan(spec, p, [2]float64{})
	require.Len(t, b.Limits, 1)
	var more float64
	_, err := fmt.Sscanf(b.Limits[0].Change, "leave %f mm of trim at end B", &more)
	require.NoError(t, err)
	spec.Trim = more
	assert.Empty(t, bender.Plan(spec, p, [2]float64{}).Limits)
}

// Many bends: the search for the best rounding goes bend by bend, and is no worse
// than the nearest multiples.
func TestPlanOfManyBends(t *testing.T) {
	table := tube.Table{Tail: 300}
	for i := range 12 {
		table.Bends = append(table.Bends, tube.Bend{Feed: 200, Angle: deg(20.4 + float64(i)/7), Rotation: deg(float64(i%3) * 40)})
	}
	table.Bends[0].Rotation = 0
	p := pathOf(t, 100, tube.Nodes(table, 100, vec(0, 0, 0), vec(0, 1, 0), vec(0, 0, 1))...)
	spec := &tube.Spec{OD: 40, Wall: 2, Die: &tube.Die{CLR: 100, Step: deg(1)}}
	b := bender.Plan(spec, p, [2]float64{})
	// Nearest multiples, from the table alone.
	off := append([]tube.Bend(nil), table.Bends...)
	near := tube.Table{Bends: off, Tail: 300}
	took := 0.0
	for i := range off {
		off[i].Feed -= took
		rounded := deg(math.Round(off[i].Angle.Degrees()))
		took = 100 * float64(rounded-off[i].Angle)
		off[i].Angle = rounded
	}
	near.Tail -= took
	last := tube.Nodes(near, 100, vec(0, 0, 0), vec(0, 1, 0), vec(0, 0, 1))
	nearest := last[len(last)-1].Sub(p.Nodes[len(p.Nodes)-1]).Norm()
	assert.Less(t, b.Drift, nearest/2)
	assert.Greater(t, nearest, 10.0)
}

func ExamplePlan() {
	die := &tube.Die{CLR: 135, Grip: 60, Tail: 90, MaxAngle: 180 * s1.Degree, Step: s1.Degree, Offset: 8}
	die.Springback = []tube.Springback{{Want: 30 * s1.Degree, Set: 31.4 * s1.Degree}, {Want: 90 * s1.Degree, Set: 93.1 * s1.Degree}}
	spec := &tube.Spec{OD: 44.45, Wall: 2.41, Die: die, Trim: 25}
	p, err := tube.NewPath([]r3.Vector{{}, {Z: 1000}, {X: 1000, Z: 1000}, {X: 1000, Y: 800, Z: 1000}}, die.CLR)
	if err != nil {
		fmt.Println(err)
		return
	}
	blank := bender.Plan(spec, p, [2]float64{0, 12.5})
	fmt.Printf("saw off %.1f mm; end %c goes in first: %s\n", blank.Length, 'A'+rune(blank.First), blank.Why)
	for _, s := range blank.Steps {
		fmt.Printf("bend %d: mark at %.1f (%.1f from B), turn %.0f, set %.0f\n", s.Bend, s.Mark[0], s.Mark[1], tube.Degrees(s.Rotation), tube.Degrees(s.Set))
	}
	fmt.Printf("end B comes out %.1f mm off\n", blank.Drift)
	// Output:
	// saw off 2746.6 mm; end A goes in first: either end will do, as far as is known: no machine is given to swing the tube in
	// bend 1: mark at 882.0 (1864.6 from B), turn 0, set 93
	// bend 2: mark at 1824.1 (922.6 from B), turn 90, set 93
	// end B comes out 1.9 mm off
}

func BenchmarkPlan(b *testing.B) {
	p := pathOf(b, 100, vec(0, -600, 0), vec(0, -600, 900), vec(0, -450, 1150), vec(0, 450, 1150), vec(0, 600, 900), vec(0, 600, 0))
	room := &tube.Machine{Bends: tube.BendsLeft, Height: 900, Frame: []tube.Box{
		{Min: vec(-400, -300, -900), Max: vec(400, 100, -60)},
		{Min: vec(-800, 900, -900), Max: vec(800, 950, 1200)},
	}}
	for _, machine := range []*tube.Machine{nil, room} {
		spec := &tube.Spec{OD: 44.45, Wall: 2.41, Die: &tube.Die{CLR: 100, Step: deg(1), Machine: machine}}
		b.Run(fmt.Sprintf("machine=%t", machine != nil), func(b *testing.B) {
			for b.Loop() {
				bender.Plan(spec, p, [2]float64{})
			}
		})
	}
}
