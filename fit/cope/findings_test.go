package cope

import (
	"fmt"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
)

// rail is a straight bar along x, 2 m long, its end A at x = -1000. Its upper
// side is clock 0.
func rail(t testing.TB, od float64) *fit.Bar {
	return bar(t, "rail", od, 2, 0, [2]job.End{free, foot}, v(-1000, 0, 0), v(1000, 0, 0))
}

// post lands on the rail at x, at an angle to it in the upright plane.
func post(t testing.TB, name string, od float64, x, angle float64) *fit.Bar {
	sin, cos := math.Sincos(angle * math.Pi / 180)
	return bar(t, name, od, 2, 0, [2]job.End{onto("rail"), free}, v(x, 0, 0), v(x+600*cos, 0, 600*sin))
}

// One cage that just passes, one that just fails, for each rule about one joint.
func TestFindings(t *testing.T) {
	shifted := func(b *fit.Bar, y float64) *fit.Bar {
		b.Path = b.Path.Transformed(func(p r3.Vector) r3.Vector { return p.Add(v(0, y, 0)) })
		return b
	}
	for _, c := range []struct {
		name     string
		bars     func(x float64) []*fit.Bar
		ok, bad  float64
		severity fit.Severity
		rule     string
		got      float64 // of the bad one
		limit    float64
		tol      float64
		text     string
	}{
		{"too flat", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), post(t, "post", 38, 0, x)} },
			30, 29.9, fit.Error, "joint-angle", 29.9, 30, 1e-6, `end A meets "rail" at 29.9 deg: rules for welded joints of tubes start at 30 deg`},
		{"flat", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), post(t, "post", 38, 0, 180-x)} },
			45, 44.9, fit.Note, "joint-angle", 44.9, 45, 1e-6, `end A meets "rail" at 44.9 deg: under 45 deg the crotch is hard to reach with a torch`},
		// The lines of a branch of radius 22.55 that are more than 22.5 to the
		// side: 4 acos(22.5/22.55) of the turn = 4 x 3.82 deg, 4 %.
		{"wider", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), post(t, "post", x, 0, 90)} },
			45, 45.1, fit.Error, "joint", 45.1, 45, 1e-9, `end A is 0.1 mm wider than "rail": 4 % of its girth has nothing to sit on`},
		{"beside the centreline", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), shifted(post(t, "post", 38, 0, 90), x)} },
			-1, -1.1, fit.Warning, "joint", 1.1, 1, 1e-9, `end A is 1.1 mm off the centreline of "rail": the notch is deeper on one side`},
		// A radius of 19 at 4 mm to the side just hangs over by 0.5 mm: 2
		// acos(18.5/19) = 26.3 deg of 360.
		{"hangs over", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), shifted(post(t, "post", 38, 0, 90), x)} },
			3.499, 4, fit.Error, "joint", 7.3, 0, .3, `end A stands beside "rail": 8 % of its girth has nothing to sit on`},
		{"does not reach", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), shifted(post(t, "post", 38, 0, 90), x)} },
			41.4, 41.6, fit.Error, "landing", 41.6, 41.5, 1e-9, `end A does not reach "rail", it is 41.6 mm from its centreline: it is left square`},
		{"past the end", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 60), post(t, "post", 38, x, 90)} },
			980.9, 981.1, fit.Error, "joint", 18.9, 30, 1e-6, `end A lands 18.9 mm from end B of "rail": part of it has no tube to sit on`},
		{"near the end", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 60), post(t, "post", 38, x, 90)} },
			-969.9, -970.1, fit.Warning, "joint", 29.9, 30, 1e-6, `end A lands 29.9 mm from end A of "rail", less than half of that tube's diameter`},
		// 38 / sin a passes 76.2 between these.
		{"too deep for a saw", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), post(t, "post", 38, 0, x)} },
			30, 29.8, fit.Note, "joint", 76.46, 76.2, .01, `end A needs a hole saw 76 mm deep, common ones cut 38 mm from either side: cut it along the wrap template with a grinder`},
		{"never apart", func(x float64) []*fit.Bar { return []*fit.Bar{rail(t, 45), post(t, "post", 38, 0, x)} },
			5.1, 4.9, fit.Error, "joint", 41.5 / math.Sin(5*math.Pi/180), 0, 1e-6, `end A does not come apart from "rail" within 476 mm: they meet too flat for a notch`},
		{"notch into the bend", func(x float64) []*fit.Bar {
			b := bar(t, "bent", 38, 2, 100, [2]job.End{free, onto("rail")}, v(300, 0, 100+x), v(0, 0, 100+x), v(0, 0, 0))
			return []*fit.Bar{rail(t, 45), b}
		}, 22.5, 22.4, fit.Error, "joint", 22.5, 22.4, 1e-6, `end B needs a notch of 22.5 mm, but its last straight is only 22.4 mm long: the notch would run into the bend`},
	} {
		has := func(x float64) (fit.Finding, bool) {
			bars := c.bars(x)
			for _, f := range Work(cage(bars...), shop(), nil, 1) {
				if f.Rule == c.rule && f.Severity == c.severity && (f.Message == c.text || fmt.Sprintf("%.8s", f.Message) == fmt.Sprintf("%.8s", c.text) && f.Limit == c.limit && f.Unit != "%") {
					return f, true
				}
			}
			return fit.Finding{}, false
		}
		_, ok := has(c.ok)
		assert.False(t, ok, "%s: passes at %g", c.name, c.ok)
		f, ok := has(c.bad)
		if assert.True(t, ok, "%s: fails at %g: %v", c.name, c.bad, messages(Work(cage(c.bars(c.bad)...), shop(), nil, 1))) {
			assert.Equal(t, c.text, f.Message, c.name)
			assert.InDelta(t, c.got, f.Got, c.tol, c.name)
			assert.InDelta(t, c.limit, f.Limit, 1e-9, c.name)
			assert.Equal(t, "rail", f.Other, c.name)
			assert.Equal(t, "J1", f.Joint, c.name)
			assert.NotNil(t, f.At, c.name)
		}
	}
}

func messages(found []fit.Finding) []string {
	var out []string
	for _, f := range found {
		out = append(out, fmt.Sprintf("%s %s %s: %s", f.Severity, f.Rule, f.Bar, f.Message))
	}
	return out
}

// Tees of 38 on a rail: their beads are as far apart as their sides.
func TestBeadsApart(t *testing.T) {
	for _, c := range []struct {
		x    float64
		want []string
	}{
		{63, nil},
		{62.9, []string{`warning joint b: end A: its weld J2 comes within 24.9 mm of J1, that of "a": a torch needs 25 mm`}},
	} {
		assert.Equal(t, c.want, messages(Work(cage(rail(t, 45), post(t, "a", 38, 0, 90), post(t, "b", 38, c.x, 90)), shop(), nil, 1)))
	}
}

// Two branches on opposite sides of a rail of 45 leave half of its girth as long
// as the half-angle of each, asin(OD / 45), is under 45 degrees: up to OD 31.82.
func TestGirth(t *testing.T) {
	s := shop()
	s.Joints.Apart = 0
	pair := func(od float64) []string {
		below := bar(t, "below", od, 2, 0, [2]job.End{onto("rail"), free}, v(0, 0, 0), v(0, 0, -500))
		return messages(Work(cage(rail(t, 45), post(t, "above", od, 0, 90), below), s, nil, 1))
	}
	assert.Empty(t, pair(31.8))
	// 1 - 2 asin(33/45) / 180
	assert.Equal(t, []string{`warning joint rail: J1, J2 leave 48 % of its girth free at 1000 mm from end A: less than half`}, pair(33))
	assert.Empty(t, messages(Work(cage(rail(t, 45), post(t, "above", 45, 0, 90)), s, nil, 1)), "one as wide as its target leaves half")
}

// A joint on a bend is a warning, one whose edge reaches it a note.
func TestJointOnBend(t *testing.T) {
	hoop := bar(t, "hoop", 45, 2, 150, [2]job.End{free, foot}, v(0, 500, 0), v(0, 500, 1000), v(0, -500, 1000))
	start := hoop.Path.Segments[1].Start
	for _, c := range []struct {
		s    float64
		want []string
	}{
		{start - 19.1, nil},
		{start - 9, []string{`note joint stay: end A reaches a bend of "hoop", over 10 mm of it: bent tube is not quite round, so no saw fits and the template only nearly does`}},
		{start + 9, []string{`warning joint stay: end A sits on a bend of "hoop", over 28 mm of it: bent tube is not quite round, so no saw fits and the template only nearly does`}},
	} {
		g := cage(hoop, on(t, "stay", 38, 2, hoop, c.s, v(-1, 0, 0), 700))
		assert.Equal(t, c.want, messages(Work(g, shop(), nil, 1)))
		assert.Equal(t, c.want == nil, g.Joints[0].Saw.Exact)
	}
}

// A branch across the inside of a bend, which leaves the tube only at the far
// side: its axis is at most 240 (1 - cos a) off the centreline, under the sum of
// the radii, 60, for a up to 41.4 degrees.
func TestAlongTheInsideOfABend(t *testing.T) {
	hoop := bar(t, "hoop", 60, 2, 240, [2]job.End{free, foot}, v(0, 600, 0), v(0, 600, 1000), v(0, -500, 1000))
	arc := hoop.Path.Segments[1]
	_, d := hoop.Path.At(arc.Start + 5)
	inward := arc.Axis.Cross(d)
	for _, c := range []struct {
		angle float64
		want  int
	}{{38, 1}, {45, 0}} {
		sin, cos := math.Sincos(c.angle * math.Pi / 180)
		g := cage(hoop, on(t, "stay", 60, 2, hoop, arc.Start+5, d.Mul(cos).Add(inward.Mul(sin)), 900))
		n := 0
		for _, f := range Work(g, shop(), nil, 1) {
			if f.Severity == fit.Error {
				n++
				assert.Contains(t, f.Message, `end A lies along the inside of a bend of "hoop": its notch is `)
				assert.InDelta(t, 120, f.Limit, 1e-9)
				assert.Greater(t, f.Got, 250.0)
			}
		}
		assert.Equal(t, c.want, n, "%g", c.angle)
	}
}

// Order at a node: what lands comes after what it lands on, then the larger
// tube, then the cage's order.
func TestOrder(t *testing.T) {
	r := rail(t, 50)
	small, large := post(t, "small", 30, 10, 70), post(t, "large", 38, -5, 110)
	same := bar(t, "same", 30, 2, 0, [2]job.End{free, onto("rail")}, v(0, 150, 300), v(0, 0, 0))
	at, _ := small.Path.At(60)
	brace := bar(t, "brace", 38, 2, 0, [2]job.End{onto("small"), free}, at, at.Add(v(500, 0, 100)))
	far := post(t, "far", 45, 600, 90)
	c := cage(brace, far, small, same, large, r)
	Work(c, shop(), nil, 1)
	order := map[string]int{}
	around := map[string][]string{}
	for _, j := range c.Joints {
		order[j.Bar], around[j.Bar] = j.Order, j.Around
	}
	assert.Equal(t, map[string]int{"large": 1, "small": 2, "brace": 3, "same": 4, "far": 1}, order)
	assert.Empty(t, around["large"])
	assert.Equal(t, []string{"large"}, around["small"])
	assert.Equal(t, []string{"small", "large"}, around["same"], "in the cage's order")
	assert.Empty(t, around["far"])
}

// What overlaps is said in mm, and whether it has to do with the joint.
func TestOverlaps(t *testing.T) {
	r := rail(t, 45)
	a, b := post(t, "a", 38, 0, 90), post(t, "b", 38, 20, 60)
	found := onlyRule(Work(cage(r, a, b), shop(), nil, 1), "joint")
	require.Equal(t, []string{`note joint b: end A overlaps "a" by 5.0 mm: it is cut after that and notched round both`}, messages(found))
	assert.Equal(t, "a", found[0].Other)
	// Where b's axis leaves the rail, 22.5 up, it is 20 + 22.5 / tan 60 from a's.
	assert.InDelta(t, 38-20-22.5/math.Tan(math.Pi/3), found[0].Got, 1e-6)
	assert.Equal(t, "J2", found[0].Joint)

	// A bar that only passes: at the top of the rail it is sqrt(33^2 + 7.5^2) off.
	by := bar(t, "by", 38, 2, 0, [2]job.End{free, free}, v(33, -400, 15), v(33, 400, 15))
	c := cage(r, a, by)
	found = onlyRule(Work(c, shop(), nil, 1), "joint")
	require.Equal(t, []string{`warning joint a: end A overlaps "by" by 4.2 mm, which is in its way but not part of the joint: it is notched round that too`}, messages(found))
	assert.Equal(t, []string{"by"}, c.Joints[0].Around)
	assert.False(t, c.Joints[0].Saw.Exact)
	assert.Zero(t, c.Joints[0].Saw.Passes)
}

// A wedge between two branches that is too narrow to weld.
func TestNarrowWedge(t *testing.T) {
	c := cage(rail(t, 60), post(t, "a", 38, 0, 90), post(t, "b", 38, -6, 62))
	found := onlyRule(Work(c, shop(), nil, 1), "joint-angle")
	require.Equal(t, []string{`warning joint-angle b: end A leaves only 28.0 deg to lay the weld in against "a": under 30 deg no weld is prequalified`}, messages(found))
	// The least wedge of two crossing tubes is the angle between them, 90 - 62.
	assert.InDelta(t, 28, c.Joints[1].WedgeMin, .01)
}

func TestNothingLeftBetweenNotches(t *testing.T) {
	r := rail(t, 45)
	other := bar(t, "other", 45, 2, 0, [2]job.End{free, free}, v(-500, 0, 44.9), v(500, 0, 44.9))
	short := bar(t, "short", 38, 2, 0, [2]job.End{onto("rail"), onto("other")}, v(0, 0, 0), v(0, 0, 44.9))
	found := Work(cage(r, other, short), shop(), nil, 1)
	assert.NotEmpty(t, found)
	assert.Contains(t, fmt.Sprint(messages(found)), "there is no bar left between them")
}

// Air that is shut in is never passed over.
func TestCavities(t *testing.T) {
	hoop := func(ends ...job.End) *fit.Bar {
		return bar(t, "hoop", 45, 2.5, 150, [2]job.End{ends[0], ends[1]}, v(0, 500, 0), v(0, 500, 1000), v(0, -500, 1000), v(0, -500, -20))
	}
	stay := func(h *fit.Bar, od, wall float64) *fit.Bar {
		at, _ := h.Path.At(1400)
		return bar(t, "stay", od, wall, 0, [2]job.End{onto("hoop"), foot}, at, at.Add(v(-800, 0, -800)))
	}
	none := shop()
	none.Joints.Vent = 0
	closed := hoop(foot, foot)
	for _, c := range []struct {
		name string
		job  *job.Job
		bars []*fit.Bar
		want []string
	}{
		{"a free end lets it out", shop(), []*fit.Bar{hoop(free, foot), stay(hoop(free, foot), 38, 2.5)}, nil},
		{"all closed", shop(), []*fit.Bar{closed, stay(closed, 38, 2.5)}, []string{
			`note vent hoop: the air in the whole cage has no way out, since every end is closed: it needs a hole at the lowest place, in "hoop" 90 mm from end B, or one weld left open until all others are cold`}},
		{"no vents wanted", none, []*fit.Bar{closed, stay(closed, 38, 2.5)}, []string{
			`note vent hoop: the air inside it has no way out, since every end is closed: it needs a hole at the lowest place, in "hoop" 90 mm from end B, or one weld left open until all others are cold`,
			`note vent stay: the air inside it has no way out, since every end is closed: it needs a hole at the lowest place, in "stay" 76 mm from end B, or one weld left open until all others are cold`}},
		{"no room", shop(), []*fit.Bar{hoop(free, foot), stay(hoop(free, foot), 8, 1)}, []string{
			`warning vent stay: end A has no room for a vent hole inside its bore`,
			`warning vent stay: the air inside it has no way out, since there is no room for a vent hole at joint J1: it needs a hole at the lowest place, in "stay" 16 mm from end B, or one weld left open until all others are cold`}},
		{"two apart", shop(), []*fit.Bar{closed, stay(closed, 38, 2.5), bar(t, "sill", 38, 2.5, 0, [2]job.End{foot, foot}, v(300, 0, 0), v(900, 0, 0))}, []string{
			`note vent hoop: the air in the 2 bars that it is joined to by vents has no way out, since every end is closed: it needs a hole at the lowest place, in "hoop" 90 mm from end B, or one weld left open until all others are cold`,
			`note vent sill: the air inside it has no way out, since every end is closed: it needs a hole at the lowest place, in "sill" 76 mm from end A, or one weld left open until all others are cold`}},
	} {
		assert.Equal(t, c.want, messages(onlyRule(Work(cage(c.bars...), c.job, nil, 1), "vent")), c.name)
	}
}

// Whatever bars do to each other, no figure is other than a number: they go into
// tables.
func TestOddCases(t *testing.T) {
	r := rail(t, 40)
	lie := func(od float64, y, z float64) *fit.Bar {
		return bar(t, "lying", od, 2, 0, [2]job.End{onto("rail"), free}, v(0, y, z), v(500, y, z))
	}
	bent := bar(t, "rail", 40, 2, 100, [2]job.End{free, free}, v(0, 500, 0), v(0, 500, 500), v(0, 0, 500))
	at, d := bent.Path.At(bent.Path.Segments[1].Start + 60)
	for name, bars := range map[string][]*fit.Bar{
		"in line":                   {r, lie(40, 0, 0)},
		"in line, thinner":          {r, lie(38, 0, 0)},
		"in line, thicker":          {r, lie(50, 0, 0)},
		"side by side":              {r, lie(40, 0, 40)},
		"side by side, overlapping": {r, lie(40, 10, 20)},
		"the same place twice":      {r, post(t, "a", 40, 0, 90), post(t, "b", 40, 0, 90)},
		"along a bend":              {bent, bar(t, "tangent", 40, 2, 0, [2]job.End{onto("rail"), free}, at, at.Add(d.Mul(300)))},
		"at the end":                {r, post(t, "a", 40, 1000, 90)},
		"past the end":              {r, post(t, "a", 40, 1010, 60)},
		"far off":                   {r, lie(40, 500, 0)},
		"on something not there":    {bar(t, "lost", 40, 2, 0, [2]job.End{onto("ghost"), foot}, v(0, 0, 0), v(0, 0, 100))},
		"on itself":                 {bar(t, "ring", 40, 2, 0, [2]job.End{onto("ring"), foot}, v(0, 0, 0), v(0, 0, 100))},
		"a bar without a tube":      {r, {Name: "none", Ends: [2]job.End{onto("rail"), foot}}, post(t, "a", 40, 0, 90)},
		"very short":                {r, bar(t, "stub", 40, 2, 0, [2]job.End{onto("rail"), onto("rail")}, v(0, 0, 0), v(0, 0, 5))},
	} {
		c := cage(bars...)
		found := Work(c, shop(), nil, 1)
		text := fmt.Sprint(c.Joints, messages(found))
		for _, b := range bars {
			text += fmt.Sprint(b.Cuts)
		}
		for _, j := range c.Joints {
			text += fmt.Sprint(j.Vent)
			assert.True(t, len(j.Bead) == 0 || len(j.Bead) == beads, name)
		}
		for _, f := range found {
			if f.At != nil {
				text += fmt.Sprint(f.Got, *f.At)
			}
		}
		assert.NotContains(t, text, "NaN", name)
		assert.NotContains(t, text, "Inf", name)
	}
}
