package job_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/job"
	"barwright/fit/tube"
)

// base is a job with nothing wrong; the bad jobs are made from it by replacing
// one text. Line numbers count from its first line.
const base = `title = "t"
units = "mm"
[shell]
file = "s.stl"
clearance = 10
[die.d]
od = 40
clr = 120
springback = [[30, 31], [90, 92]]
[tube.t]
od = 40
wall = 2
die = "d"
[tube.s]
od = 38.1
wall = 2.4
[[bar]]
name = "hoop"
tube = "t"
sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]
ends = ["shell", "shell"]
mirror = "self"
[[bar]]
name = "leg"
tube = "s"
sketch = [[0,600,900], [-900,600,0]]
ends = ["hoop", "shell"]
mirror = "pair"
[[keepout]]
name = "helmet"
sphere = { centre = [0,0,900], radius = 200 }
`

// badJob is a job with something wrong, and the errors it must give.
type badJob struct {
	name     string
	old, new string // replaced in base; old "": new is the whole file
	want     []string
}

func (b badJob) text(t testing.TB) string {
	if b.old == "" {
		return b.new
	}
	require.Equal(t, 1, strings.Count(base, b.old), "%q must be in the base job once", b.old)
	return strings.Replace(base, b.old, b.new, 1)
}

func TestBadJobs(t *testing.T) {
	for _, b := range badJobs {
		t.Run(b.name, func(t *testing.T) {
			got, err := job.Parse("j.toml", []byte(b.text(t)))
			require.Error(t, err)
			assert.Nil(t, got)
			assert.Equal(t, "j.toml:"+strings.Join(b.want, "\nj.toml:"), err.Error())
		})
	}
}

func parse(t testing.TB, text string) *job.Job {
	t.Helper()
	j, err := job.Parse("j.toml", []byte(text))
	require.NoError(t, err)
	return j
}

// parsed is base with one text replaced.
func parsed(t testing.TB, old, new string) *job.Job {
	t.Helper()
	return parse(t, badJob{old: old, new: new}.text(t))
}

func example(t testing.TB) *job.Job {
	t.Helper()
	data, err := os.ReadFile("testdata/coupe.toml")
	require.NoError(t, err)
	return parse(t, string(data))
}

func v(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

func deg(d float64) s1.Angle { return s1.Angle(d) * s1.Degree }

func TestParseReadsEveryKey(t *testing.T) {
	j := example(t)
	inside, lean, od := v(0, 0, 700), s1.Angle(0), 38.1
	d44 := &tube.Die{
		Name: "d44", OD: 44.45, CLR: 152.4, MaxAngle: deg(120), Grip: 60, Tail: 90,
		Springback: []tube.Springback{{Want: deg(30), Set: deg(31.4)}, {Want: deg(90), Set: deg(93.1)}},
	}
	d38 := &tube.Die{
		Name: "1 1/2 in", OD: od, CLR: 114.3, MaxAngle: deg(180),
		Grip: 1.5 * od, Tail: 2 * od, GripDefault: true, TailDefault: true,
	}
	dom, _ := tube.LookupMaterial("1020 DOM")
	main := &tube.Spec{Name: "main", OD: 44.45, Wall: 2.41, Die: d44, Stick: 6000, Material: dom}
	brace := &tube.Spec{Name: "brace", OD: 38.1, Wall: 2.41, Die: d38, Material: tube.Material{
		Name: "mill certificate 17", Yield: 520, E: 206000, Density: 7840, Source: "given in the job",
	}}
	cross := &tube.Spec{Name: "cross", OD: 38.1, Wall: 1.65, Material: tube.Material{
		Density: 7850, Source: "not given in the job: density of steel assumed",
	}}
	onto := func(name string) job.End { return job.End{Kind: job.Landed, Onto: name} }
	plate := job.Plate{Size: [2]float64{120, 120}, Thickness: 3}
	want := &job.Job{
		Title: "two-door hillclimb coupe", Unit: job.MM, File: "j.toml", SketchFrame: job.CarFrame,
		Tolerance: job.Tolerance{Angle: deg(0.5), Length: 1}, Plate: plate, Paper: "A4",
		Joints: job.Joints{Vent: 3, Bare: 25, Apart: 25}, Saw: job.Saw{Kerf: 2, Test: true},
		Shell: job.Shell{File: "cabin.stl", Unit: job.Auto, Clearance: 12, Accuracy: 5, Inside: &inside, LandingAngle: deg(25)},
		Dies:  []*tube.Die{d44, d38},
		Tubes: []*tube.Spec{main, brace, cross},
		Bars: []job.Bar{
			{
				Name: "main hoop", Tube: main, Mirror: job.Self, Flat: true, Lean: &lean, Hug: true, Clearance: 12, Reach: 200,
				Sketch: []r3.Vector{v(0, -600, 0), v(0, -600, 900), v(0, -450, 1150), v(0, 450, 1150), v(0, 600, 900), v(0, 600, 0)},
				Pos:    job.Position{Line: 46, Column: 3},
			},
			{
				Name: "A-pillar bar", Tube: brace, Mirror: job.Pair, Hug: true, Clearance: 8, Reach: 120,
				Sketch: []r3.Vector{v(1000, 650, 0), v(1000, 620, 500), v(250, 500, 1080), v(0, 450, 1150)},
				Ends:   [2]job.End{{}, onto("main hoop")},
				Pos:    job.Position{Line: 55, Column: 3},
			},
			{
				Name: "diagonal", Tube: cross, Clearance: 12, Reach: 200,
				Sketch: []r3.Vector{v(0, -600, 100), v(0, 450, 1150)},
				Ends:   [2]job.End{onto("main hoop"), onto("main hoop")},
				Pos:    job.Position{Line: 69, Column: 3},
			},
			{
				Name: "header", Tube: cross, Mirror: job.Self, Clearance: 12, Reach: 200,
				Sketch: []r3.Vector{v(250, 500, 1080), v(250, -500, 1080)},
				Ends:   [2]job.End{onto("A-pillar bar"), onto("A-pillar bar (mirror)")},
				Pos:    job.Position{Line: 75, Column: 3},
			},
			{
				Name: "stub", Tube: cross, Mirror: job.Pair, Hug: true, Clearance: 12, Reach: 200,
				Sketch: []r3.Vector{v(0, 300, 1150), v(-300, 300, 1100)},
				Ends:   [2]job.End{onto("main hoop"), {Kind: job.Free}},
				Pos:    job.Position{Line: 82, Column: 3},
			},
			{
				Name: "door bar", Tube: cross, Mirror: job.Pair, Fixed: true, Clearance: 12, Reach: 200,
				Sketch: []r3.Vector{v(0, 600, 500), v(950, 640, 450)},
				Ends:   [2]job.End{onto("main hoop"), onto("A-pillar bar")},
				Pos:    job.Position{Line: 91, Column: 3},
			},
		},
		Keepouts: []job.Keepout{
			{Name: "helmet", Sphere: &job.Sphere{Centre: v(-250, 380, 950), Radius: 250}, Pos: job.Position{Line: 99, Column: 3}},
			{Name: "arm", Capsule: &job.Capsule{From: v(0, 400, 600), To: v(500, 300, 700), Radius: 60}, Pos: job.Position{Line: 103, Column: 3}},
			{Name: "battery", Box: &job.Box{Min: v(-900, -400, 0), Max: v(-600, -100, 250)}, Pos: job.Position{Line: 110, Column: 3}},
			{Name: "seat", Mesh: "seat.stl", Pos: job.Position{Line: 114, Column: 3}},
		},
	}
	for i := range want.Bars {
		want.Bars[i].Plate = plate
	}
	assert.Equal(t, want, j)
	for i := range j.Bars {
		if j.Bars[i].Tube.Name == "main" {
			assert.Same(t, j.Tubes[0], j.Bars[i].Tube, "bars share their tube")
		}
	}
	assert.Same(t, j.Dies[0], j.Tubes[0].Die)
}

func TestShopKeys(t *testing.T) {
	j := parse(t, `
units = "in"
shell = { file = "a", clearance = 0.5 }
tolerance = { angle = 1, length = 0.1 }
plate = { size = [5, 6], thickness = 0.125 }
joints = { vent = 0, bare = 1, apart = 2 }
saw = { kerf = 0.1, test_pieces = false }
sheets = { paper = "A3" }
[die.d]
od = 1.5
clr = 4.5
stretch = 0.001
offset = -0.5
ovality = 0.94
step = 0.5
[die.d.machine]
bends = "left"
height = 40
frame = [{ min = [-40, -4, -4], max = [-30, 4, 4] }]
[tube.t]
od = 1.5
wall = 0.095
die = "d"
material = "1020 DOM"
trim = 2
sticks = [{ length = 240, price = 71.5 }, { length = 96, price = 33, stock = 2 }, { length = 200 }]
[[bar]]
name = "x"
tube = "t"
sketch = [[0, 0, 0], [0, 0, 9]]
ends = ["shell", "free"]
plate = { thickness = 0.25 }
`)
	in := 25.4 // not a constant: the reader rounds once for every value, too
	assert.Equal(t, job.Tolerance{Angle: deg(1), Length: 0.1 * in}, j.Tolerance)
	assert.Equal(t, job.Plate{Size: [2]float64{5 * in, 6 * in}, Thickness: 0.125 * in}, j.Plate)
	assert.Equal(t, job.Plate{Size: [2]float64{5 * in, 6 * in}, Thickness: 0.25 * in}, j.Bars[0].Plate, "what a bar does not say comes from [plate]")
	assert.Equal(t, job.Joints{Vent: 0, Bare: in, Apart: 2 * in}, j.Joints)
	assert.Equal(t, job.Saw{Kerf: 0.1 * in, Test: false}, j.Saw)
	assert.Equal(t, "A3", j.Paper)
	d := j.Dies[0]
	assert.InDelta(t, 0.001*in, d.Stretch*math.Pi/180, 1e-15, "mm per degree")
	assert.Equal(t, -0.5*in, d.Offset)
	assert.Equal(t, 0.94, d.Roundness)
	assert.Equal(t, deg(0.5), d.Step)
	assert.Equal(t, &tube.Machine{
		Bends: tube.BendsLeft, Height: 40 * in,
		Frame: []tube.Box{{Min: v(-40*in, -4*in, -4*in), Max: v(-30*in, 4*in, 4*in)}},
	}, d.Machine)
	s := j.Tubes[0]
	assert.Equal(t, []tube.Stick{{Length: 240 * in, Price: 71.5, Stock: -1}, {Length: 96 * in, Price: 33, Stock: 2}, {Length: 200 * in, Stock: -1}}, s.Sticks)
	assert.Equal(t, 240*in, s.Stick, "no blank is longer than the longest stick")
	assert.Equal(t, 2*in, s.Trim)

	small := "units = \"in\"\nshell = { file = \"a\", clearance = 0 }\ntube.t = { od = 1, wall = 0.1 }\nbar = [{ name = \"x\", tube = \"t\", sketch = [[0, 0, 0], [0, 0, 9]], ends = [\"shell\", \"free\"] }]\n"
	assert.Equal(t, "Letter", parse(t, small).Paper, "a job in inches prints on inch paper")
}

func TestDefaults(t *testing.T) {
	j := parse(t, "[shell]\nfile=\"a\"\nclearance=0\n[tube.t]\nod=40\nwall=2\n[[bar]]\nname=\"x\"\ntube=\"t\"\nsketch=[[0,0,0],[0,0,9]]\nends=[\"shell\",\"free\"]\n")
	assert.Equal(t, job.MM, j.Unit)
	assert.Empty(t, j.Title)
	assert.Equal(t, job.Shell{File: "a", Unit: job.Auto, LandingAngle: deg(30)}, j.Shell)
	b := j.Bars[0]
	assert.Equal(t, 200.0, b.Reach)
	assert.Equal(t, job.None, b.Mirror)
	assert.False(t, b.Hug, "straight bars do not hug")
	assert.Zero(t, j.Tubes[0].Stick)

	j = parsed(t, `mirror = "self"`, "mirror = \"self\"\nclearance = 0")
	assert.True(t, j.Bars[0].Hug, "bent bars do")
	assert.Zero(t, j.Bars[0].Clearance, "0 is a clearance of its own, not the default")
	assert.Equal(t, 10.0, j.Bars[1].Clearance)
	assert.Equal(t, 60.0, j.Dies[0].Grip)
	assert.True(t, j.Dies[0].GripDefault)
	assert.Equal(t, 80.0, j.Dies[0].Tail)
	assert.True(t, j.Dies[0].TailDefault)
	assert.Equal(t, 180.0, tube.Degrees(j.Dies[0].MaxAngle))

	j = parsed(t, `mirror = "self"`, "mirror = \"self\"\nfixed = true")
	assert.False(t, j.Bars[0].Hug, "fixed bars stay where they are")
	j = parsed(t, `mirror = "self"`, "mirror = \"self\"\nhug = false")
	assert.False(t, j.Bars[0].Hug)
	j = parsed(t, `clr = 120`, "clr = 120\ngrip = 60\ntail = 0")
	assert.False(t, j.Dies[0].GripDefault)
	assert.False(t, j.Dies[0].TailDefault)
	assert.Zero(t, j.Dies[0].Tail)
	j = parsed(t, `title = "t"`, `title = ""`)
	assert.Empty(t, j.Title)
}

// The same job in four units is the same job in mm.
func TestUnits(t *testing.T) {
	text := func(unit string, mm float64) string {
		l := func(x float64) string { return fmt.Sprintf("%.12g", x/mm) }
		p := func(x, y, z float64) string { return "[" + l(x) + ", " + l(y) + ", " + l(z) + "]" }
		return fmt.Sprintf(`units = %q
shell = {file = "a", units = "cm", clearance = %s, accuracy = %s, landing_angle = 20, inside = %s}
die.d = {od = %s, clr = %s, grip = %s, tail = %s, max_angle = 170}
tube.t = {od = %s, wall = %s, die = "d", stick = %s, yield = 400, E = 200000, density = 7900}
bar = [{name = "b", tube = "t", sketch = [%s, %s, %s], ends = ["shell", "free"], clearance = %s, reach = %s}]
keepout = [
  {name = "s", sphere = {centre = %s, radius = %s}},
  {name = "c", capsule = {from = %s, to = %s, radius = %s}},
  {name = "b", box = {min = %s, max = %s}},
]
`, unit, l(12.7), l(5), p(1, 2, 3), l(44.45), l(152.4), l(60), l(90), l(44.45), l(2.413), l(6000),
			p(0, 0, 0), p(0, 0, 900), p(0, 500, 900), l(8), l(150),
			p(9, 8, 7), l(250), p(1, 1, 1), p(2, 2, 2), l(30), p(-4, -5, -6), p(4, 5, 6))
	}
	want := parse(t, text("mm", 1))
	assert.Equal(t, 12.7, want.Shell.Clearance)
	assert.Equal(t, job.CM, want.Shell.Unit)
	for unit, mm := range map[string]float64{"cm": 10, "m": 1000, "in": 25.4} {
		j := parse(t, text(unit, mm))
		assert.Equal(t, job.Unit(unit), j.Unit)
		near := func(want, got float64) {
			t.Helper()
			assert.InDelta(t, want, got, 1e-7, unit)
		}
		nearV := func(want, got r3.Vector) {
			t.Helper()
			near(0, want.Sub(got).Norm())
		}
		near(want.Shell.Clearance, j.Shell.Clearance)
		near(want.Shell.Accuracy, j.Shell.Accuracy)
		nearV(*want.Shell.Inside, *j.Shell.Inside)
		assert.Equal(t, want.Shell.LandingAngle, j.Shell.LandingAngle)
		near(want.Dies[0].OD, j.Dies[0].OD)
		near(want.Dies[0].CLR, j.Dies[0].CLR)
		near(want.Dies[0].Grip, j.Dies[0].Grip)
		near(want.Dies[0].Tail, j.Dies[0].Tail)
		near(want.Tubes[0].OD, j.Tubes[0].OD)
		near(want.Tubes[0].Wall, j.Tubes[0].Wall)
		near(want.Tubes[0].Stick, j.Tubes[0].Stick)
		assert.Equal(t, want.Tubes[0].Material, j.Tubes[0].Material)
		for i, p := range want.Bars[0].Sketch {
			nearV(p, j.Bars[0].Sketch[i])
		}
		near(want.Bars[0].Clearance, j.Bars[0].Clearance)
		near(want.Bars[0].Reach, j.Bars[0].Reach)
		nearV(want.Keepouts[0].Sphere.Centre, j.Keepouts[0].Sphere.Centre)
		near(want.Keepouts[0].Sphere.Radius, j.Keepouts[0].Sphere.Radius)
		nearV(want.Keepouts[1].Capsule.To, j.Keepouts[1].Capsule.To)
		near(want.Keepouts[1].Capsule.Radius, j.Keepouts[1].Capsule.Radius)
		nearV(want.Keepouts[2].Box.Min, j.Keepouts[2].Box.Min)
		nearV(want.Keepouts[2].Box.Max, j.Keepouts[2].Box.Max)
	}
}

func TestMaterialFigures(t *testing.T) {
	j := parsed(t, `wall = 2.4`, "wall = 2.4\nmaterial = \"1020 dom\"\nyield = 500")
	m := j.Tubes[1].Material
	assert.Equal(t, "1020 DOM", m.Name)
	assert.Equal(t, 500.0, m.Yield)
	assert.Equal(t, 205e3, m.E)
	assert.Contains(t, m.Source, "ASTM A513")
	assert.Contains(t, m.Source, "figures given in the job come first")

	j = parsed(t, "springback = [[30, 31], [90, 92]]\n[tube.t]\n", "[tube.t]\nmaterial = \"E355+N\"\n")
	_, estimated := j.Tubes[0].SetAngle(deg(90))
	assert.True(t, estimated)
}

// Accepted although it looks odd.
func TestAccepted(t *testing.T) {
	for name, change := range map[string][2]string{
		"a die a little wider than the tube": {"od = 40\nclr", "od = 40.2\nclr"},
		"hexadecimal and underscores":        {"clearance = 10", "clearance = 0xA\naccuracy = 1_0"},
		"no keepout":                         {"[[keepout]]\nname = \"helmet\"\nsphere = { centre = [0,0,900], radius = 200 }\n", ""},
		"self sketch a little off":           {"[0,600,0]]", "[0,600,90]]"},
		"free ends":                          {`ends = ["shell", "shell"]`, `ends = ["free", "free"]`},
		"landing on a pair's second bar":     {"[[keepout]]", "[[bar]]\nname = \"x\"\ntube = \"s\"\nsketch = [[0,0,0],[0,0,50]]\nends = [\"leg (mirror)\", \"free\"]\n[[keepout]]"},
		"pair on a bar in the mirror plane":  {"[[keepout]]", "[[bar]]\nname = \"spine\"\ntube = \"s\"\nsketch = [[0,0,900],[-900,0,900]]\nends = [\"hoop\", \"shell\"]\n[[bar]]\nname = \"rib\"\ntube = \"s\"\nsketch = [[-400,0,900],[-400,500,700]]\nends = [\"spine\", \"shell\"]\nmirror = \"pair\"\n[[keepout]]"},
		"a long straight sketch on a die":    {"tube = \"s\"", "tube = \"t\""},
		"CRLF":                               {"title = \"t\"\n", "title = \"t\"\r\n"},
		"byte order mark":                    {`title = "t"`, "\ufefftitle = \"t\""},
		"a tube before its die":              {"[die.d]", "[tube.u]\nod = 40\nwall = 1\ndie = \"d\"\n[die.d]"},
	} {
		t.Run(name, func(t *testing.T) { parsed(t, change[0], change[1]) })
	}
}

func TestParseErrorsAreErrors(t *testing.T) {
	_, err := job.Parse("a.toml", []byte(strings.Replace(base, "clearance = 10", "clearance = -1\npaint = 2", 1)))
	var one job.ParseError
	require.True(t, errors.As(err, &one))
	assert.Equal(t, job.Position{Line: 5, Column: 13}, one.Pos)
	var all job.ParseErrors
	require.True(t, errors.As(err, &all))
	assert.Len(t, all, 2)
	assert.Equal(t, "a.toml: text", job.ParseError{File: "a.toml", Text: "text"}.Error())
}

func TestExpanded(t *testing.T) {
	j := example(t)
	type row struct {
		name, a, b string
		index      int
		mirrored   bool
	}
	want := []row{
		{"main hoop", "", "", 0, false},
		{"A-pillar bar", "", "main hoop", 1, false},
		{"A-pillar bar (mirror)", "", "main hoop", 1, true},
		{"diagonal", "main hoop", "main hoop", 2, false},
		{"header", "A-pillar bar", "A-pillar bar (mirror)", 3, false},
		{"stub", "main hoop", "", 4, false},
		{"stub (mirror)", "main hoop", "", 4, true},
		{"door bar", "main hoop", "A-pillar bar", 5, false},
		{"door bar (mirror)", "main hoop", "A-pillar bar (mirror)", 5, true},
	}
	all := j.Expanded()
	require.Len(t, all, len(want))
	for i, w := range want {
		g := all[i]
		assert.Equal(t, w, row{g.Name, g.Ends[0].Onto, g.Ends[1].Onto, g.Index, g.Mirrored})
		assert.Same(t, &j.Bars[w.index], g.Bar)
		for k, p := range g.Sketch {
			s := g.Bar.Sketch[k]
			if w.mirrored {
				s.Y = -s.Y
			}
			assert.Equal(t, s, p)
			assert.False(t, p.Y == 0 && math.Signbit(p.Y), "no -0")
		}
		k, isMirror := j.Find(g.Name)
		assert.Equal(t, w.index, k)
		assert.Equal(t, w.mirrored, isMirror)
		assert.Equal(t, g.Name, j.MirrorName(j.MirrorName(g.Name)))
	}
	// What is handed out is a copy.
	all[0].Sketch[0].X = 77
	assert.Zero(t, j.Bars[0].Sketch[0].X)

	assert.Equal(t, "A-pillar bar", j.MirrorName("A-pillar bar (mirror)"))
	assert.Equal(t, "main hoop", j.MirrorName("main hoop"))
	for _, name := range []string{"nobody", "main hoop (mirror)", ""} {
		k, _ := j.Find(name)
		assert.Equal(t, -1, k, name)
		assert.Equal(t, name, j.MirrorName(name))
	}
}

func TestOrder(t *testing.T) {
	assert.Equal(t, [][]int{{0}, {1, 2, 4}, {3, 5}}, example(t).Order())
	assert.Nil(t, (&job.Job{}).Order())
	// A loop that nobody checked, and a bar that stands outside of it.
	land := func(name string) [2]job.End { return [2]job.End{{Kind: job.Landed, Onto: name}} }
	j := &job.Job{Bars: []job.Bar{{Name: "a", Ends: land("b")}, {Name: "b", Ends: land("a")}, {Name: "c"}, {Name: "d", Ends: land("nobody")}}}
	assert.Equal(t, [][]int{{2, 3}, {0, 1}}, j.Order())
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(base))
	for _, b := range badJobs {
		if text := b.text(f); len(text) < 1<<16 {
			f.Add([]byte(text))
		}
	}
	for _, name := range []string{"testdata/coupe.toml", "testdata/scan.toml"} {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		j, err := job.Parse("f", data)
		if err != nil {
			require.Nil(t, j)
			checkErrors(t, err, data)
			return
		}
		checkJob(t, j)
	})
}

// checkErrors asserts that the errors are sorted and lie within the file.
func checkErrors(t *testing.T, err error, data []byte) {
	var all job.ParseErrors
	require.True(t, errors.As(err, &all))
	require.NotEmpty(t, all)
	lines := strings.Split(string(data), "\n")
	for i, e := range all {
		require.NotEmpty(t, e.Text)
		require.False(t, strings.ContainsFunc(e.Text, func(c rune) bool { return c < ' ' }), "one line each: %q", e.Text)
		require.GreaterOrEqual(t, e.Pos.Line, 1)
		require.LessOrEqual(t, e.Pos.Line, len(lines))
		require.GreaterOrEqual(t, e.Pos.Column, 1)
		require.LessOrEqual(t, e.Pos.Column, len(lines[e.Pos.Line-1])+1)
		if i > 0 {
			require.NotEqual(t, all[i-1], e)
			require.LessOrEqual(t, all[i-1].Pos.Line, e.Pos.Line)
		}
	}
}

// checkJob asserts what doc.go promises of a job without errors.
func checkJob(t *testing.T, j *job.Job) {
	finite := func(numbers ...float64) {
		for _, x := range numbers {
			require.False(t, math.IsNaN(x) || math.IsInf(x, 0))
		}
	}
	require.NotEmpty(t, j.Bars)
	finite(j.Shell.Clearance, j.Shell.Accuracy, float64(j.Shell.LandingAngle))
	for _, d := range j.Dies {
		finite(d.OD, d.CLR, d.Grip, d.Tail, float64(d.MaxAngle))
		require.Greater(t, d.CLR, d.OD/2)
	}
	for _, s := range j.Tubes {
		finite(s.OD, s.Wall, s.Stick, s.Material.Yield, s.Material.E)
		require.Greater(t, s.Area(), 0.0)
		require.Greater(t, s.Material.Density, 0.0)
		if s.Die != nil {
			set, _ := s.SetAngle(90 * s1.Degree)
			finite(float64(set))
		}
	}
	seen := map[int]bool{}
	for _, level := range j.Order() {
		for _, i := range level {
			require.False(t, seen[i])
			for _, e := range j.Bars[i].Ends {
				if e.Kind == job.Landed {
					k, _ := j.Find(e.Onto)
					require.True(t, seen[k], "what a bar lands on comes in an earlier level")
				}
			}
		}
		for _, i := range level {
			seen[i] = true
		}
	}
	require.Len(t, seen, len(j.Bars))
	names := map[string]bool{}
	for _, in := range j.Expanded() {
		require.False(t, names[in.Name])
		names[in.Name] = true
		if b := in.Bar; b.SketchFile == "" && b.Station == nil && b.Follow == nil {
			require.GreaterOrEqual(t, len(in.Sketch), 2)
		} else {
			require.Empty(t, in.Sketch)
		}
		for _, p := range in.Sketch {
			finite(p.X, p.Y, p.Z)
		}
		finite(in.Bar.Clearance, in.Bar.Reach)
		require.NotNil(t, in.Bar.Tube)
		if len(in.Sketch) > 2 {
			require.NotNil(t, in.Bar.Tube.Die)
		}
	}
	for _, in := range j.Expanded() {
		for _, e := range in.Ends {
			if e.Kind == job.Landed {
				require.True(t, names[e.Onto], "%q", e.Onto)
			}
		}
	}
	for _, k := range j.Keepouts {
		shapes := 0
		for _, has := range []bool{k.Sphere != nil, k.Capsule != nil, k.Box != nil, k.Mesh != ""} {
			if has {
				shapes++
			}
		}
		require.Equal(t, 1, shapes)
	}
}

func ExampleParse() {
	j, err := job.Parse("job.toml", []byte(`
units = "in"
[shell]
file = "cabin.stl"
clearance = 0.5
[tube.cross]
od = 1.5
wall = 0.095
[[bar]]
name = "harness bar"
tube = "cross"
sketch = [[-20, -24, 26], [-20, 24, 26]]
ends = ["shell", "shell"]
mirror = "self"
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	b := j.Bars[0]
	fmt.Printf("%s: OD %.2f mm, from %v, clearance %.1f mm\n", b.Name, b.Tube.OD, b.Sketch[0].X, b.Clearance)
	// Output: harness bar: OD 38.10 mm, from -508, clearance 12.7 mm
}

func ExampleParse_errors() {
	_, err := job.Parse("job.toml", []byte(`
[shell]
file = "cabin.stl"
clearence = 12
[tube.main]
od = 44.45
wall = 44.45
[[bar]]
name = "hoop"
tube = "man"
sketch = [[0, -600, 0], [0, 600]]
ends = ["shell", "floor"]
`))
	fmt.Println(err)
	// Output:
	// job.toml:2:2: shell: clearance is missing
	// job.toml:4:1: shell: unknown key "clearence" (nearest: "clearance")
	// job.toml:7:8: tube "main": wall must be less than half of od (22.225 mm), got 44.45 mm
	// job.toml:10:8: bar "hoop": no tube "man" (nearest: "main")
	// job.toml:11:25: bar "hoop": sketch point 2 must be a point [x, y, z], got 2 values
	// job.toml:12:18: bar "hoop": end B lands on "floor", which is no bar (known: shell, free, hoop)
}

func ExampleJob_Expanded() {
	j, err := job.Parse("job.toml", []byte(base))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, in := range j.Expanded() {
		fmt.Printf("%s starts at y = %g, lands on %q\n", in.Name, in.Sketch[0].Y, in.Ends[0].Onto)
	}
	fmt.Println("order", j.Order())
	// Output:
	// hoop starts at y = -600, lands on ""
	// leg starts at y = 600, lands on "hoop"
	// leg (mirror) starts at y = -600, lands on "hoop"
	// order [[0] [1]]
}

func BenchmarkParse(b *testing.B) {
	data, err := os.ReadFile("testdata/coupe.toml")
	require.NoError(b, err)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := job.Parse("j", data); err != nil {
			b.Fatal(err)
		}
	}
}
