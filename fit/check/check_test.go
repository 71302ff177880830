package check

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

// Invented tubes and a die; the figures are nobody's.
func testDie() *tube.Die {
	return &tube.Die{
		Name: "d44", OD: 44.45, CLR: 152.4, MaxAngle: 120 * s1.Degree, Grip: 60, Tail: 90,
		Springback: []tube.Springback{{Want: 90 * s1.Degree, Set: 93 * s1.Degree}},
	}
}

func testTube() *tube.Spec {
	return &tube.Spec{Name: "main", OD: 44.45, Wall: 2.41, Die: testDie(), Stick: 6000}
}

// testBar makes a bar with free ends that keeps to every rule.
func testBar(t testing.TB, name string, nodes ...r3.Vector) *fit.Bar {
	t.Helper()
	spec := testTube()
	p, err := tube.NewPath(nodes, spec.Die.CLR)
	require.NoError(t, err)
	b := &fit.Bar{
		Name: name, Tube: spec, Path: p, Clearance: 12, Solved: true,
		Ends: [2]job.End{{Kind: job.Free}, {Kind: job.Free}},
		Job: &job.Bar{
			Name: name, Tube: spec, Sketch: nodes, Clearance: 12, Reach: 200, Hug: true,
			Ends: [2]job.End{{Kind: job.Free}, {Kind: job.Free}},
		},
	}
	b.Table = spec.Table(p)
	b.Gap = fit.Gap{Min: 12, Mean: 20, Max: 40, CertifiedMin: 12, RawMin: 12, Deficit: 0}
	return b
}

func hoop(t testing.TB) *fit.Bar {
	b := testBar(t, "main hoop", r3.Vector{Y: -600}, r3.Vector{Y: -600, Z: 1000}, r3.Vector{Y: 600, Z: 1000}, r3.Vector{Y: 600})
	return b
}

func testJob() *job.Job {
	return &job.Job{Shell: job.Shell{LandingAngle: 30 * s1.Degree, Clearance: 12}}
}

func run(bars ...*fit.Bar) []fit.Finding {
	return Cage(&fit.Cage{Bars: bars}, testJob(), nil, Options{})
}

// TestRules breaks each rule by a small step past its limit and its tolerance,
// and keeps to it by as small a step on the other side.
func TestRules(t *testing.T) {
	type given struct {
		bars []*fit.Bar
		job  *job.Job
		opt  Options
		main *fit.Bar
	}
	cases := []struct {
		name     string
		rule     string
		severity fit.Severity
		good     float64
		bad      float64
		set      func(g *given, x float64)
		message  string // part of it, at the bad value
		unit     string
	}{
		{"clearance", "clearance", fit.Error, 11.96, 11.94, func(g *given, x float64) {
			g.main.Gap.CertifiedMin, g.main.Gap.WorstAt = x, r3.Vector{Y: -600, Z: 300}
		}, "the tube is 11.9 mm from the shell 300 mm from end A, asked 12.0 mm", "mm"},
		{"deficit away from feet", "clearance", fit.Error, 0.04, 0.06, func(g *given, x float64) {
			g.main.Gap.Deficit, g.main.Gap.DeficitAt = x, r3.Vector{Y: -600, Z: 300}
		}, "", "mm"},
		{"deficit in a foot zone", "clearance", fit.Error, 0.09, 0.11, func(g *given, x float64) {
			g.main.Ends[0].Kind = job.Foot
			g.main.Gap.Deficit, g.main.Gap.DeficitAt = x, r3.Vector{Y: -600, Z: 20}
		}, "near its foot the centreline is 9.9 mm from the shell 20 mm from end A, where 10.0 mm are required", "mm"},
		{"sphere", "keepout", fit.Error, 100 - 22.225, 100 - 22.1, func(g *given, x float64) {
			g.job.Keepouts = []job.Keepout{{Name: "helmet", Sphere: &job.Sphere{Centre: r3.Vector{Y: -500, Z: 500}, Radius: x}}}
		}, `the tube is 0.1 mm inside keep-out "helmet" 500 mm from end A`, "mm"},
		{"capsule", "keepout", fit.Error, 100 - 22.225, 100 - 22.1, func(g *given, x float64) {
			g.job.Keepouts = []job.Keepout{{Name: "arm", Capsule: &job.Capsule{From: r3.Vector{Y: -400, Z: 100}, To: r3.Vector{Y: -500, Z: 500}, Radius: x}}}
		}, "", "mm"},
		{"box", "keepout", fit.Error, -600 + 22.225, -600 + 22.1, func(g *given, x float64) {
			g.job.Keepouts = []job.Keepout{{Name: "seat", Box: &job.Box{Min: r3.Vector{X: -200, Y: x, Z: 100}, Max: r3.Vector{X: 200, Y: 0, Z: 600}}}}
		}, "", "mm"},
		{"mesh", "keepout", fit.Error, -600 + 22.225, -600 + 22.1, func(g *given, x float64) {
			g.job.Keepouts = []job.Keepout{{Name: "seat", Mesh: "seat.stl"}}
			g.opt.Keepouts = map[string]*mesh.Mesh{"seat.stl": boxMesh(r3.Vector{X: -200, Y: x, Z: 100}, r3.Vector{X: 200, Y: 0, Z: 600})}
		}, "", "mm"},
		{"grip", "grip", fit.Error, 1200 - 304.8 + 0.04, 1200 - 304.8 + 0.06, func(g *given, x float64) {
			g.main.Tube.Die.Grip = x
		}, `the straight between bends 1 and 2 is 895.2 mm, die "d44" needs 895.3 mm (grip)`, "mm"},
		{"tail", "tail", fit.Error, 1000 - 152.4 + 0.04, 1000 - 152.4 + 0.06, func(g *given, x float64) {
			g.main.Tube.Die.Tail = x
		}, "the straight before bend 1 is 847.6 mm", "mm"},
		{"largest angle", "angle", fit.Error, 89.96, 89.94, func(g *given, x float64) {
			g.main.Tube.Die.MaxAngle = s1.Angle(x) * s1.Degree
		}, `bend 1 turns 90.0 deg, die "d44" bends no more than 89.9 deg`, "deg"},
		{"surplus bend", "angle", fit.Warning, 2.01, 1.99, func(g *given, x float64) {
			a := x * math.Pi / 180
			g.main = testBar(t, "main hoop", r3.Vector{}, r3.Vector{X: 500}, r3.Vector{X: 500 + 500*math.Cos(a), Y: 500 * math.Sin(a)})
			g.bars = []*fit.Bar{g.main}
		}, "bend 1 turns only 1.99 deg", "deg"},
		{"radius", "radius", fit.Warning, 152.4 / 3, 152.4/3 + 0.01, func(g *given, x float64) {
			g.main.Tube.OD, g.main.Tube.Die.OD = x, x
		}, "centreline radius of 2.999 x OD (152.4 mm)", "x OD"},
		{"radius not the die's", "radius", fit.Error, 152.44, 152.46, func(g *given, x float64) {
			g.main.Tube.Die.CLR = x
		}, "the bar cannot be bent as shown", "mm"},
		{"stick", "stick", fit.Error, 0.04, 0.06, func(g *given, x float64) {
			g.main.Tube.Stick = g.main.Table.Cut - x
		}, `tube "main" comes in`, "mm"},
		{"flat", "flat", fit.Error, 0.049, 0.2, func(g *given, x float64) {
			g.main = testBar(t, "main hoop", r3.Vector{Y: -600}, r3.Vector{Y: -600, Z: 1000}, r3.Vector{Y: 600, Z: 1000}, r3.Vector{X: x, Y: 600})
			g.main.Job.Flat = true
			g.bars = []*fit.Bar{g.main}
		}, "out of the plane of the others", "mm"},
		{"lean", "flat", fit.Error, 10.04, 10.06, func(g *given, x float64) {
			// Top to the rear by 10 degrees: positive by design.md section 3.
			sin, cos := math.Sincos(10 * math.Pi / 180)
			g.main = testBar(t, "main hoop", r3.Vector{Y: -600}, r3.Vector{X: -1000 * sin, Y: -600, Z: 1000 * cos}, r3.Vector{X: -1000 * sin, Y: 600, Z: 1000 * cos}, r3.Vector{Y: 600})
			g.main.Job.Flat = true
			lean := s1.Angle(x) * s1.Degree
			g.main.Job.Lean = &lean
			g.bars = []*fit.Bar{g.main}
		}, "leans 10.0 deg from vertical, asked 10.1 deg", "deg"},
		{"reach", "reach", fit.Warning, 200.04, 200.06, func(g *given, x float64) {
			g.main.Job.Sketch = append([]r3.Vector(nil), g.main.Job.Sketch...)
			g.main.Job.Sketch[2] = g.main.Job.Sketch[2].Add(r3.Vector{X: x})
		}, "node N2 is 200.1 mm from its sketch, reach is 200.0 mm", "mm"},
		{"foot off", "landing", fit.Error, 0.099, 0.101, func(g *given, x float64) {
			g.main.Feet = []fit.Foot{{End: 1, Error: x, Angle: 80}}
		}, "foot B is 0.10 mm off the shell", "mm"},
		{"foot too flat", "landing", fit.Error, 29.96, 29.94, func(g *given, x float64) {
			g.main.Feet = []fit.Foot{{End: 0, Angle: x}}
		}, "foot A meets the shell at 29.9 deg, flatter than 30.0 deg", "deg"},
		{"landed end misses", "landing", fit.Error, 0.099, 0.101, func(g *given, x float64) {
			b := testBar(t, "brace", r3.Vector{X: x, Y: -600, Z: 400}, r3.Vector{X: 900, Y: -600, Z: 100})
			b.Ends[0] = job.End{Kind: job.Landed, Onto: "main hoop"}
			// The hoop's leg runs along z; the miss is across it.
			b.Path, _ = tube.NewPath([]r3.Vector{{Y: -600 - x, Z: 400}, {X: 900, Y: -600 - x, Z: 100}}, 0)
			g.bars = append(g.bars, b)
		}, `end A misses the centreline of "main hoop" by 0.1 mm`, "mm"},
		{"clash", "clash", fit.Error, 44.41, 44.39, func(g *given, x float64) {
			g.bars = append(g.bars, testBar(t, "brace", r3.Vector{X: x, Y: -900, Z: 400}, r3.Vector{X: x, Y: -300, Z: 400}))
		}, `overlaps "brace" by 0.1 mm 400 mm from end A (there 300 mm from end A)`, "mm"},
		{"outside", "outside", fit.Error, 0, 1, func(g *given, x float64) {
			g.main.Gap.Outside, g.main.Gap.OutsideAt = x > 0, r3.Vector{Y: 600, Z: 10}
		}, "outside the cabin", "mm"},
		{"tight", "tight", fit.Warning, 0.4, 0.41, func(g *given, x float64) {
			g.main.Gap.Gain = x // mean gap 20: 2 % are 0.4
		}, "", "mm"},
		{"accuracy given", "scan-accuracy", fit.Warning, 4, 4.01, func(g *given, x float64) {
			g.job.Shell.Accuracy = x
		}, "three sigma of its accuracy are 12.03 mm", "mm"},
		{"tube against die", "tube", fit.Error, 44.45 - 0.04, 44.45 - 0.06, func(g *given, x float64) {
			g.main.Tube.Die.OD = x
		}, `die "d44" takes 44.4 mm`, "mm"},
		{"wall", "tube", fit.Error, 22.2, 22.225, func(g *given, x float64) {
			g.main.Tube.Wall = x
		}, "cannot have a wall", "mm"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			at := func(x float64) []fit.Finding {
				g := &given{job: testJob(), main: hoop(t)}
				g.bars = []*fit.Bar{g.main}
				c.set(g, x)
				return Cage(&fit.Cage{Bars: g.bars}, g.job, nil, g.opt)
			}
			assert.Empty(t, at(c.good), "keeps to the rule")
			found := at(c.bad)
			require.NotEmpty(t, found, "breaks the rule")
			for _, f := range found {
				assert.Equal(t, c.rule, f.Rule)
				assert.Equal(t, c.severity, f.Severity)
				assert.Equal(t, c.unit, f.Unit)
				assert.NotContains(t, f.Message, "\n")
			}
			assert.Contains(t, found[0].Message, c.message)
			want := "main hoop"
			if c.name == "landed end misses" {
				want = "brace"
			} else if c.rule == "scan-accuracy" {
				want = "main hoop"
			}
			assert.Equal(t, want, found[0].Bar)
		})
	}
}

// boxMesh is a closed box of twelve triangles.
func boxMesh(lo, hi r3.Vector) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		v := lo
		if i&1 != 0 {
			v.X = hi.X
		}
		if i&2 != 0 {
			v.Y = hi.Y
		}
		if i&4 != 0 {
			v.Z = hi.Z
		}
		m.Vertices = append(m.Vertices, v)
	}
	for _, q := range [][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Triangles = append(m.Triangles, [3]int32{q[0], q[1], q[2]}, [3]int32{q[0], q[2], q[3]})
	}
	return m
}

// A keep-out counts from the inside too: a tube that is altogether in one is
// reported with its full depth.
func TestKeepoutFromInside(t *testing.T) {
	brace := testBar(t, "brace", r3.Vector{X: -100}, r3.Vector{X: 100})
	lo, hi := r3.Vector{X: -500, Y: -300, Z: -400}, r3.Vector{X: 500, Y: 300, Z: 400}
	for _, k := range []job.Keepout{
		{Name: "box", Box: &job.Box{Min: lo, Max: hi}},
		{Name: "mesh", Mesh: "m.stl"},
		{Name: "capsule", Capsule: &job.Capsule{From: r3.Vector{X: -300}, To: r3.Vector{X: 300}, Radius: 300}},
	} {
		j := testJob()
		j.Keepouts = []job.Keepout{k}
		found := Cage(&fit.Cage{Bars: []*fit.Bar{brace}}, j, nil, Options{Keepouts: map[string]*mesh.Mesh{"m.stl": boxMesh(lo, hi)}})
		require.Len(t, found, 1, k.Name)
		// 300 to the nearest surface from the axis, and the tube's radius.
		assert.InDelta(t, -300-22.225, found[0].Got, fit.Resolution)
		assert.Equal(t, k.Name, found[0].Other)
	}
	j := testJob()
	j.Keepouts = []job.Keepout{{Name: "lost", Mesh: "gone.stl"}, {Name: "void"}}
	found := Cage(&fit.Cage{Bars: []*fit.Bar{brace}}, j, nil, Options{})
	require.Len(t, found, 2)
	assert.Contains(t, found[0].Message, `keep-out "lost" was not checked: its mesh "gone.stl" is not there`)
	assert.Equal(t, fit.Error, found[0].Severity)
}

func TestDefaultsAndEstimatesAreNoted(t *testing.T) {
	b, c := hoop(t), testBar(t, "brace", r3.Vector{X: 500}, r3.Vector{X: 900})
	d := b.Tube.Die
	d.GripDefault, d.TailDefault, d.Springback = true, true, nil
	b.Tube.Material = tube.Material{Yield: 350, E: 210000}
	b.Table = b.Tube.Table(b.Path)
	found := run(b, c)
	var rules []string
	for _, f := range found {
		assert.Equal(t, fit.Note, f.Severity)
		assert.Empty(t, f.Bar, "about the die, not a bar")
		rules = append(rules, f.Rule)
	}
	assert.Equal(t, []string{"grip", "tail", "tube"}, rules)

	d.Tail = 900
	found = run(b)
	assert.Equal(t, fit.Error, found[0].Severity)
	assert.Contains(t, found[0].Message, "needs 900.0 mm (tail, a default)")
}

func TestPacker(t *testing.T) {
	b := hoop(t)
	b.Job.Mirror = job.Self
	b.Feet = []fit.Foot{{End: 0, Error: 0.01, Angle: 80}, {End: 1, Error: 2.9, Packer: 3, Angle: 80}}
	found := run(b)
	require.Len(t, found, 1)
	assert.Equal(t, fit.Note, found[0].Severity)
	assert.Contains(t, found[0].Message, "foot B needs a packer of 3.0 mm")

	b.Feet[0].Error = 0.2 // now neither touches
	assert.Equal(t, fit.Error, run(b)[0].Severity)

	// A pair: the other bar's foot at the same end.
	left := testBar(t, "door bar", r3.Vector{Y: 500}, r3.Vector{Y: 500, Z: 900})
	right := testBar(t, "door bar"+job.MirrorSuffix, r3.Vector{Y: -500}, r3.Vector{Y: -500, Z: 900})
	right.Mirrored, right.MirrorOf = true, left.Name
	left.Job.Mirror, right.Job.Mirror = job.Pair, job.Pair
	right.Job.Sketch = left.Job.Sketch // the job knows one sketch
	left.Feet = []fit.Foot{{End: 0, Error: 1.5, Packer: 1.5, Angle: 80}}
	right.Feet = []fit.Foot{{End: 0, Error: 0.05, Angle: 80}}
	found = run(left, right)
	require.Len(t, found, 1)
	assert.Equal(t, fit.Note, found[0].Severity)
	assert.Equal(t, "door bar", found[0].Bar)
}

func TestOrderAndWorkers(t *testing.T) {
	var bars []*fit.Bar
	for i := range 6 {
		y := float64(30 * i)
		b := testBar(t, fmt.Sprintf("bar %d", 5-i), r3.Vector{Y: y}, r3.Vector{X: 600, Y: y}, r3.Vector{X: 600, Y: y, Z: 600})
		b.Gap.Gain = float64(i)
		b.Tube.Stick = 1000
		bars = append(bars, b)
	}
	j := testJob()
	j.Shell.Accuracy = 5
	c := &fit.Cage{Bars: bars}
	one := Cage(c, j, nil, Options{Workers: 1})
	assert.Equal(t, one, Cage(c, j, nil, Options{Workers: 4}))
	require.Greater(t, len(one), 15)
	rank := map[fit.Severity]int{fit.Error: 0, fit.Warning: 1, fit.Note: 2}
	order := map[string]int{}
	for i, b := range bars {
		order[b.Name] = i
	}
	for i := 1; i < len(one); i++ {
		a, b := one[i-1], one[i]
		require.LessOrEqual(t, rank[a.Severity], rank[b.Severity])
		if a.Severity == b.Severity && a.Bar != "" && b.Bar != "" {
			require.LessOrEqual(t, order[a.Bar], order[b.Bar])
		}
	}
	assert.Empty(t, one[len(one)-1].Bar, "what concerns all bars comes last")
}

// 0.095 inch in a file of mm.
func TestWallInTheWrongUnit(t *testing.T) {
	b := hoop(t)
	b.Tube.Wall = b.Tube.OD/thinWall + 0.01
	thin := run(b)
	require.Len(t, thin, 1)
	assert.Contains(t, thin[0].Message, "mandrel", "a real tube, but hard to bend")
	b.Tube.Wall = 0.095
	found := run(b, b)
	require.NotEmpty(t, found)
	var walls int
	for _, f := range found {
		if f.Rule == "tube" {
			walls++
			assert.Equal(t, fit.Warning, f.Severity)
			assert.Contains(t, f.Message, "a wall of 0.095 mm")
		}
	}
	assert.Equal(t, 1, walls, "once a tube")
}

// What the solver could not meet never goes unsaid.
func TestBlockersAreReported(t *testing.T) {
	b := hoop(t)
	b.Blocking = []fit.Blocker{{Rule: "grip", Bend: 2, Got: 59.9, Limit: 60, Unit: "mm", At: r3.Vector{X: 1}, Detail: "between two bends"}}
	found := run(b)
	require.Len(t, found, 1)
	assert.Equal(t, fit.Warning, found[0].Severity)
	assert.Equal(t, "no place was found that meets this with room to spare: 59.9 mm against 60.0 mm, between two bends", found[0].Message)

	b.Tube.Die.Grip = 2000 // now the check finds it itself
	found = run(b)
	require.Len(t, found, 1)
	assert.Equal(t, fit.Error, found[0].Severity)
}

func TestPlacesInWords(t *testing.T) {
	b := hoop(t)
	assert.Equal(t, "400 mm from end A", on(b.Path, r3.Vector{Y: -600, Z: 400}).text)
	at, _ := b.Path.At(900)
	p := on(b.Path, at)
	assert.Equal(t, "in bend 1, 900 mm from end A", p.text)
	assert.Equal(t, 1, p.bend)
	at, _ = b.Path.At(b.Path.Length - 900)
	assert.Equal(t, 2, on(b.Path, at).bend)
}

func TestFigures(t *testing.T) {
	for _, c := range []struct {
		got, limit float64
		want       string
	}{{11.9, 12, "11.9 12.0"}, {11.98, 12, "11.98 12.00"}, {11.9996, 12, "12.000 12.000"}, {5, 60, "5.0 60.0"}, {-0.01, 0, "-0.01 0.00"}, {-0.0001, 5, "0.0 5.0"}} {
		a, b := figures(c.got, c.limit)
		assert.Equal(t, c.want, strings.Join([]string{a, b}, " "))
	}
}

func TestCageWithoutBars(t *testing.T) {
	assert.Empty(t, Cage(&fit.Cage{}, testJob(), nil, Options{}))
	found := run(&fit.Bar{Name: "ghost"})
	require.Len(t, found, 1)
	assert.Equal(t, fit.Error, found[0].Severity)
	assert.Equal(t, "ghost", found[0].Bar)
}
