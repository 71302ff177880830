package job_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/job"
)

func TestScanKeys(t *testing.T) {
	data, err := os.ReadFile("testdata/scan.toml")
	require.NoError(t, err)
	j := parse(t, string(data))
	assert.Equal(t, job.ScanFrame, j.SketchFrame)
	point := func(x, y, z float64) *r3.Vector { p := v(x, y, z); return &p }
	near := func(want, got r3.Vector) {
		t.Helper()
		assert.InDelta(t, 0, want.Sub(got).Norm(), 1e-9)
	}

	s := j.Shell
	assert.True(t, s.KeepIslands)
	assert.True(t, s.DropHard)
	assert.InDelta(t, 0.3, *s.Reduce, 1e-12)
	assert.Equal(t, &job.Align{
		Mode: job.AlignDatum, Origin: point(10, 20, 30),
		Floor: []r3.Vector{v(0, 0, 0), v(2000, 0, 0), v(0, 0, 1000)},
		Left:  point(500, 800, 700), Right: point(500, 800, -700), Ahead: point(1500, 800, 0),
		Pos: job.Position{Line: 14, Column: 8},
	}, s.Align)
	assert.Equal(t, []job.Cut{
		{Name: "seat", Box: &job.Box{Min: v(100, 0, -600), Max: v(900, 1000, -100)}, Frame: job.ScanFrame, Pos: job.Position{Line: 22, Column: 9}},
		{Name: "steering wheel", Sphere: &job.Sphere{Centre: v(1200, 700, 400), Radius: 250}, Frame: job.ScanFrame, Pos: job.Position{Line: 26, Column: 9}},
	}, s.Cuts)

	hoop, second, roof, sill, pillar, brace := j.Bars[0], j.Bars[1], j.Bars[2], j.Bars[3], j.Bars[4], j.Bars[5]
	assert.Equal(t, 250.0, *hoop.Station)
	assert.Equal(t, 5, hoop.Bends)
	assert.True(t, hoop.Flat)
	assert.True(t, hoop.Hug)
	assert.Equal(t, deg(8), *hoop.Lean)
	assert.Equal(t, [2]job.End{{Kind: job.Foot}, {Kind: job.Foot}}, hoop.Ends)
	assert.Equal(t, 4, second.Bends, "the default")
	assert.True(t, second.Flat)
	assert.Nil(t, second.Lean)
	near(v(300, 1100, 500), roof.Follow[0])
	near(v(1300, 1050, 450), roof.Follow[1])
	assert.Equal(t, 1, roof.Bends)
	assert.False(t, roof.Hug)
	assert.Equal(t, job.End{Kind: job.Landed, Onto: "hoop"}, roof.Ends[0])
	assert.True(t, sill.Hug)
	assert.False(t, sill.Flat)
	assert.Equal(t, "bars/sketch.DXF", pillar.SketchFile)
	assert.Equal(t, "more.obj", brace.SketchFile)
	assert.Equal(t, []string{"bars/sketch.DXF", "more.obj"}, j.SketchFiles())
	for _, b := range j.Bars {
		assert.Empty(t, b.Sketch)
	}
}

func TestScanDefaults(t *testing.T) {
	j := example(t)
	assert.Equal(t, job.CarFrame, j.SketchFrame)
	assert.Nil(t, j.Shell.Align)
	assert.Nil(t, j.Shell.Reduce)
	assert.Empty(t, j.SketchFiles())
	assert.NoError(t, j.Finish())
	j = parsed(t, `units = "mm"`, "units = \"mm\"\nsketch_frame = \"scan\"")
	assert.Equal(t, job.CarFrame, j.SketchFrame, "without an alignment the scan's axes are the car's")
	j = parsed(t, `clearance = 10`, "clearance = 10\nreduce = 0\ndrop = \"normal\"\nalign = { mode = \"axes\", up = \"+y\", front = \"-z\" }")
	assert.Zero(t, *j.Shell.Reduce)
	assert.False(t, j.Shell.DropHard)
	assert.Equal(t, &job.Align{Mode: job.AlignAxes, Up: "+y", Front: "-z", Pos: job.Position{Line: 8, Column: 9}}, j.Shell.Align)
}

// drawn is a job in cm whose bars are in a file of that name.
func drawn(t testing.TB, file string, bars ...string) *job.Job {
	t.Helper()
	var b strings.Builder
	b.WriteString("units = \"cm\"\n[shell]\nfile = \"s.stl\"\nclearance = 1\n[die.d]\nod = 4\nclr = 12\nspringback = [[90, 92]]\n[tube.t]\nod = 4\nwall = 0.2\ndie = \"d\"\n")
	for _, name := range bars {
		fmt.Fprintf(&b, "[[bar]]\nname = %q\ntube = \"t\"\nsketch = %q\nends = [\"shell\", \"shell\"]\n", name, file)
	}
	return parse(t, b.String())
}

// Two files that the general library ezdxf 0.18.1 (MIT licence, Debian's
// python3-ezdxf) wrote: R12 in the job's unit, and 2000 with $INSUNITS = 6,
// metres. The first has names as old drawings have them, the second one letter
// in its code page. Both have lines in mixed order and direction, a line in
// plan with an elevation, a text, a point, and a line in a block.
func TestDXFOfALibrary(t *testing.T) {
	want := map[int][]r3.Vector{
		0: {v(0, -600, 0), v(0, -600, 900), v(0, -450, 1150), v(0, 450, 1150), v(0, 600, 900), v(0, 600, 0)},
		1: {v(1000, 650, 0), v(1000, 620, 500), v(250, 500, 1080), v(0, 450, 1150)},
		2: {v(-300, -580, 700), v(-250, -400, 700), v(-250, 400, 700), v(-300, 580, 700)},
	}
	for _, c := range []struct {
		file, third string
		scale       float64 // of what the file has, by the job's unit being cm
		notes       []string
	}{
		{"testdata/bars_r12.dxf", "harness bar", 10, []string{
			"testdata/bars_r12.dxf states no unit: taken to be in cm, as the job",
			"testdata/bars_r12.dxf holds what is no sketch and is not read: TEXT (1), POINT (1)",
		}},
		{"testdata/bars_2000.dxf", "Bügel Gurt", 1, []string{
			"testdata/bars_2000.dxf holds what is no sketch and is not read: TEXT (1), POINT (1)",
		}},
	} {
		data, err := os.ReadFile(c.file)
		require.NoError(t, err)
		for _, ends := range []string{"\n", "\r\n"} {
			j := drawn(t, c.file, "main hoop", "A-pillar bar", c.third)
			require.Error(t, j.Finish(), "not before the file is read")
			text := strings.ReplaceAll(strings.ReplaceAll(string(data), "\r\n", "\n"), "\n", ends)
			require.NoError(t, j.AttachSketches(c.file, []byte(text)))
			require.NoError(t, j.Finish())
			assert.Equal(t, c.notes, j.Notes)
			for i, points := range want {
				require.Len(t, j.Bars[i].Sketch, len(points), j.Bars[i].Name)
				assert.True(t, j.Bars[i].Hug)
				for k, p := range points {
					assert.InDelta(t, 0, p.Mul(c.scale).Sub(j.Bars[i].Sketch[k]).Norm(), 1e-9, "%s %d", j.Bars[i].Name, k)
				}
			}
		}
	}
}

// dxf makes a DXF file of pairs in one line each, "code value".
func dxf(pairs ...string) string {
	var b strings.Builder
	for _, p := range strings.Split(strings.Join(pairs, "\n"), "\n") {
		if p = strings.TrimSpace(p); p == "" {
			continue
		}
		code, value, _ := strings.Cut(p, " ")
		fmt.Fprintf(&b, "%3s\n%s\n", code, value)
	}
	return b.String()
}

// entities makes a DXF file that has these pairs in its only section.
func entities(pairs ...string) string {
	return dxf("0 SECTION\n2 ENTITIES", strings.Join(pairs, "\n"), "0 ENDSEC\n0 EOF")
}

// line makes a LINE of two points "x y z".
func line(layer, from, to string) string {
	a, z := strings.Fields(from), strings.Fields(to)
	return fmt.Sprintf("0 LINE\n8 %s\n10 %s\n20 %s\n30 %s\n11 %s\n21 %s\n31 %s", layer, a[0], a[1], a[2], z[0], z[1], z[2])
}

// badSketch is a sketch file with something wrong, for a job with one bar, and
// the errors that it must give.
type badSketch struct {
	name, file, data string
	want             []string
}

var badSketches = []badSketch{
	// DXF.
	{"empty", "s.dxf", "", []string{`s.dxf:1:1: the file is empty`}},
	{"blank lines", "s.dxf", "\n \n\n", []string{`s.dxf:1:1: no ENTITIES section in the file`}},
	{"binary", "s.dxf", "AutoCAD Binary DXF\r\n\x1a\x00\x00SECTION\x00", []string{`s.dxf:1:1: a binary DXF file, only text DXF is read`}},
	{"a DWG", "s.dxf", "AC1015\x00\x00\x00", []string{`s.dxf:1:1: a DWG file, only text DXF is read`}},
	{"no text", "s.dxf", "  0\nSECTION\n\x00", []string{`s.dxf:3:1: not a text file: byte 0x00`}},
	{"an OBJ by another name", "s.dxf", "v 0 0 0\nv 0 0 1\nl 1 2\n", []string{`s.dxf:1:1: must be a group code, a whole number, got "v 0 0 0"`}},
	{"no section", "s.dxf", dxf("0 LINE\n8 leg"), []string{`s.dxf:2:1: must be the start of a section, got group 0, "LINE"`}},
	{"no entities", "s.dxf", dxf("0 SECTION\n2 HEADER\n0 ENDSEC\n0 EOF"), []string{`s.dxf:8:1: no ENTITIES section in the file`}},
	{"a section without a name", "s.dxf", dxf("0 SECTION\n0 LINE"), []string{`s.dxf:4:1: must be the name of a section, got group 0, "LINE"`}},
	{"broken off in a section", "s.dxf", dxf("0 SECTION\n2 TABLES\n0 TABLE"), []string{`s.dxf:6:1: the file ends within section "TABLES"`}},
	{"broken off in an entity", "s.dxf", dxf("0 SECTION\n2 ENTITIES\n0 LINE\n8 leg\n10 1"), []string{`s.dxf:10:1: the file ends within entity "LINE"`}},
	{"broken off in a pair", "s.dxf", "0\nSECTION\n2\nENTITIES\n0", []string{`s.dxf:5:1: the file ends between group code 0 and its value`}},
	{"broken off in a polyline", "s.dxf", dxf("0 SECTION\n2 ENTITIES\n0 POLYLINE\n8 leg\n70 8\n0 VERTEX\n10 1\n20 1\n0 ENDSEC"), []string{`s.dxf:18:1: the POLYLINE of line 6 must end in SEQEND, got "ENDSEC"`}},
	{"a line lost", "s.dxf", strings.Replace(entities(line("leg", "0 0 0", "0 0 90")), " 20\n", "", 1), []string{`s.dxf:12:1: must be the name of an entity, got "30"`}},
	{"no number", "s.dxf", entities(line("leg", "0 0 0", "0 0 1,5")), []string{`s.dxf:20:1: LINE: group 31: "1,5" is no number`}},
	{"not a number", "s.dxf", entities(line("leg", "0 nan 0", "0 0 15")), []string{`s.dxf:12:1: LINE: group 20: "nan" is no number`}},
	{"infinite", "s.dxf", entities(line("leg", "0 -inf 0", "0 0 15")), []string{`s.dxf:12:1: LINE: group 20: "-inf" is no number`}},
	{"hexadecimal", "s.dxf", entities(line("leg", "0 0x1p4 0", "0 0 15")), []string{`s.dxf:12:1: LINE: group 20: "0x1p4" is no number`}},
	{"out of the world", "s.dxf", entities(line("leg", "0 0 0", "0 0 12000")), []string{`s.dxf:20:1: LINE: group 31: "12000" is 120000 mm, must be -100000 to 100000 mm`}},
	{"too large for a float", "s.dxf", entities(line("leg", "0 0 0", "0 0 1e999")), []string{`s.dxf:20:1: LINE: group 31: "1e999" is +Inf mm, must be -100000 to 100000 mm`}},
	{"unit unknown", "s.dxf", dxf("0 SECTION\n2 HEADER\n9 $INSUNITS\n70 20\n0 ENDSEC"), []string{`s.dxf:8:1: $INSUNITS = 20 is no unit that a sketch may be in`}},
	{"unit a word", "s.dxf", dxf("0 SECTION\n2 HEADER\n9 $INSUNITS\n70 mm\n0 ENDSEC"), []string{`s.dxf:8:1: $INSUNITS must be a whole number in group 70, got group 70, "mm"`}},
	{"broken off in the header", "s.dxf", dxf("0 SECTION\n2 HEADER\n9 $INSUNITS"), []string{`s.dxf:6:1: the file ends within section "HEADER"`}},
	{"no ENTITIES before EOF is missing too", "s.dxf", dxf("0 SECTION\n2 TABLES\n0 ENDSEC"), []string{`s.dxf:6:1: no ENTITIES section in the file`}},
	{"pairs outside of an entity", "s.dxf", dxf("0 SECTION\n2 ENTITIES\n8 leg"), []string{`s.dxf:6:1: must be the start of an entity, got group 8, "leg"`}},
	{"a bulge of words", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n42 round"), []string{`s.dxf:10:1: LWPOLYLINE: group 42: "round" is no number`}},
	{"a normal of words", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n210 up"), []string{`s.dxf:10:1: LWPOLYLINE: group 210: "up" is no number`}},
	{"an elevation of words", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n38 " + strings.Repeat("high", 20)), []string{`s.dxf:10:1: LWPOLYLINE: group 38: "highhighhighhighhighhighhighhighhighhigh..." is no number`}},
	{"a start of words", "s.dxf", entities("0 LINE\n8 leg\n10 here"), []string{`s.dxf:10:1: LINE: group 10: "here" is no number`}},
	{"header too late", "s.dxf", dxf("0 SECTION\n2 ENTITIES\n0 ENDSEC\n0 SECTION\n2 HEADER\n9 $INSUNITS\n70 4\n0 ENDSEC\n0 EOF"), []string{`s.dxf:10:1: the HEADER section must come before ENTITIES`}},
	{"half a line", "s.dxf", entities("0 LINE\n8 leg\n10 0\n20 0\n30 0"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here is a LINE without x and y of both ends, in groups 10, 20, 11 and 21`,
	}},
	{"no such layer", "s.dxf", entities(line("lge", "0 0 0", "0 0 90")), []string{
		`j.toml:16:10: bar "leg": sketch file "s.dxf" has no lines on a layer of that name (nearest: "lge")`,
		`s.dxf:6:1: layer "lge" is no bar (nearest: "leg")`,
	}},
	{"an empty drawing", "s.dxf", entities(), []string{
		`j.toml:16:10: bar "leg": sketch file "s.dxf" has no lines on a layer of that name (there are none)`,
	}},
	{"a layer without a bar", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("0", "0 0 0", "0 0 90")), []string{
		`s.dxf:22:1: layer "0" is no bar (known: leg)`,
	}},
	{"two layers for a bar", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("LEG", "0 0 0", "0 0 90")), []string{
		`s.dxf:22:1: layer "leg" and layer "LEG" are both bar "leg"`,
	}},
	{"a bar with a sketch of its own", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("own", "0 0 0", "0 0 90")), []string{
		`s.dxf:22:1: layer "own" is a bar that does not take its sketch from this file`,
	}},
	{"a gap", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 0.06 90", "0 90 90")), []string{
		`s.dxf:22:1: layer "leg": the line here does not meet the end of the others: 0.6 mm apart, must be at most 0.5 mm`,
	}},
	{"a fork", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 0 90", "0 90 90"), line("leg", "50 0 90", "0 0 90")), []string{
		`s.dxf:38:1: layer "leg": more than two lines meet at 0, 0, 900 mm`,
	}},
	{"a closed ring of lines", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 0 90", "0 90 90"), line("leg", "0 90 90", "0 0 0")), []string{
		`s.dxf:6:1: layer "leg" is a closed line, must have two ends`,
	}},
	{"a line twice", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 0 0", "0 0 90")), []string{
		`s.dxf:6:1: layer "leg" is a closed line, must have two ends`,
	}},
	{"a line of no length", "s.dxf", entities(line("leg", "0 0 0", "0 0 0")), []string{
		`s.dxf:16:1: layer "leg" points 1 and 2 are 0 mm apart, must be at least 1 mm`,
	}},
	{"straight back", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 0 90", "0 1 20")), []string{
		`s.dxf:16:1: layer "leg" turns straight back at point 2`,
	}},
	{"closed polyline", "s.dxf", entities("0 POLYLINE\n8 leg\n70 9\n0 VERTEX\n10 0\n20 0\n0 VERTEX\n10 0\n20 90\n0 SEQEND"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here is closed, must have two ends`,
	}},
	{"a surface", "s.dxf", entities("0 POLYLINE\n8 leg\n70 16\n0 VERTEX\n10 0\n20 0\n0 SEQEND"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here is a surface`,
	}},
	{"a smoothed polyline", "s.dxf", entities("0 POLYLINE\n8 leg\n70 12\n0 VERTEX\n10 0\n20 0\n0 SEQEND"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here is a smoothed curve, must be straight between its points`,
	}},
	{"an arc", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n90 2\n70 0\n10 0\n20 0\n42 0.4\n10 0\n20 90"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here has an arc (a bulge, group 42 in line 18), must be straight between its points`,
	}},
	{"an arc at a vertex", "s.dxf", entities("0 POLYLINE\n8 leg\n0 VERTEX\n10 0\n20 0\n42 -1\n0 VERTEX\n10 0\n20 90\n0 SEQEND"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here has an arc (a bulge, group 42 in line 16), must be straight between its points`,
	}},
	{"a turned plane", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n90 2\n70 0\n10 0\n20 0\n10 0\n20 90\n210 1\n220 0\n230 0"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here is drawn in a plane that is turned (extrusion 1, 0, 0), must be 0, 0, 1`,
	}},
	{"points lost", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n90 3\n70 0\n10 0\n20 0\n10 0\n20 90"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here states 3 points, but has 2`,
	}},
	{"y lost", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n10 0\n20 0\n10 0\n10 5\n20 90"), []string{
		`s.dxf:14:1: layer "leg": LWPOLYLINE must have x and y in groups 10 and 20`,
	}},
	{"one point", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n90 1\n10 0\n20 0"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here has 1 point, must have at least 2`,
	}},
	{"vertex without y", "s.dxf", entities("0 POLYLINE\n8 leg\n70 8\n0 VERTEX\n10 0\n0 SEQEND"), []string{
		`s.dxf:12:1: VERTEX must have x and y in groups 10 and 20`,
	}},
	{"vertex alone", "s.dxf", entities("0 VERTEX\n10 0\n20 0"), []string{
		`s.dxf:6:1: VERTEX outside of a POLYLINE`,
	}},
	{"in space but not flagged so", "s.dxf", entities("0 POLYLINE\n8 leg\n0 VERTEX\n10 0\n20 0\n30 0\n0 VERTEX\n10 0\n20 90\n30 70\n0 SEQEND"), []string{
		`s.dxf:18:1: layer "leg": z of the point here is not the elevation of its POLYLINE, which is not flagged as one in space`,
	}},
	{"a circle", "s.dxf", entities("0 CIRCLE\n8 leg\n10 0\n20 0\n40 9"), []string{
		`s.dxf:6:1: layer "leg": what is drawn here is no line but "CIRCLE", a sketch must be of POLYLINE, LWPOLYLINE or LINE`,
	}},
	{"flags a word", "s.dxf", entities("0 POLYLINE\n8 leg\n70 open\n0 SEQEND"), []string{
		`s.dxf:10:1: POLYLINE: group 70: "open" is no whole number`,
	}},
	{"too many points", "s.dxf", entities("0 LWPOLYLINE\n8 leg\n90 61" + manyLines("\n10 %d\n20 0", 61)), []string{
		`s.dxf:6:1: layer "leg" has 61 points, a sketch must have 2 to 60`,
	}},
	{"very many lines", "s.dxf", entities(manyLines("0 LINE\n8 leg\n10 %[1]d\n20 0\n11 %[1]d.9\n21 0\n", 3000)), []string{
		`s.dxf:6:1: layer "leg" has 3001 points, a sketch must have 2 to 60`,
	}},
	{"very many layers", "s.dxf", entities(line("leg", "0 0 0", "0 0 90"), manyLines("0 LINE\n8 L%d\n10 0\n20 0\n11 0\n21 9\n", 22)), append(layersWithoutBar(20),
		`s.dxf:262:1: and 2 errors more like these`,
	)},
	{"more layers than a job has bars", "s.dxf", entities(manyLines("0 LINE\n8 L%d\n10 0\n20 0\n11 0\n21 9\n", 1001)), []string{
		`s.dxf:12006:1: more than 1000 layers with lines`,
	}},

	// OBJ.
	{"an OBJ of nothing", "s.obj", "", []string{`s.obj:1:1: no v lines in the file, which is no OBJ file then`}},
	{"an STL by another name", "s.obj", "solid x\nfacet normal 0 0 1\n", []string{`s.obj:1:1: no v lines in the file, which is no OBJ file then`}},
	{"an OBJ of faces", "s.obj", "o leg\nv 0 0 0\nv 0 0 90\nv 0 9 0\nf 1 2 3\n", []string{
		`j.toml:16:10: bar "leg": sketch file "s.obj" has no lines in an object of that name (there are none)`,
	}},
	{"a binary OBJ", "s.obj", "v 0 0 0\n\x00", []string{`s.obj:2:1: not a text file: byte 0x00`}},
	{"a flat vertex", "s.obj", "v 0 0\n", []string{`s.obj:1:1: v must have x, y and z, got 2 numbers`}},
	{"a vertex of words", "s.obj", "# x\nv a b c\n", []string{`s.obj:2:1: v: "a" is no number`}},
	{"an infinite vertex", "s.obj", "v 0 0 Inf\n", []string{`s.obj:1:1: v: "Inf" is no number`}},
	{"a vertex out of the world", "s.obj", "v 0 0 1e9\n", []string{`s.obj:1:1: v: "1e9" is 1e+10 mm, must be -100000 to 100000 mm`}},
	{"a line of one point", "s.obj", "v 0 0 0\no leg\nl 1\n", []string{`s.obj:3:1: l must have at least 2 points, got 1`}},
	{"point 0", "s.obj", "v 0 0 0\nv 0 0 1\no leg\nl 0 1\n", []string{`s.obj:4:1: l: there is no point 0, 2 v lines so far`}},
	{"a point too many", "s.obj", "v 0 0 0\no leg\nl 1 2\nv 0 0 1\n", []string{`s.obj:3:1: l: there is no point 2, 1 v line so far`}},
	{"a point too far back", "s.obj", "v 0 0 0\nv 0 0 1\no leg\nl -1 -3\n", []string{`s.obj:4:1: l: there is no point -3, 2 v lines so far`}},
	{"a point by name", "s.obj", "v 0 0 0\nv 0 0 1\no leg\nl 1 b\n", []string{`s.obj:4:1: l: "b" is no whole number`}},
	{"a line without a name", "s.obj", "v 0 0 0\nv 0 0 90\nl 1 2\n", []string{`s.obj:3:1: l stands before any name of an object or a group`}},
	{"a closed line", "s.obj", "v 0 0 0\nv 0 0 90\nv 0 90 0\no leg\nl 1 2 3 1\n", []string{`s.obj:5:1: object "leg" is a closed line, must have two ends`}},
	{"an object without a bar", "s.obj", "v 0 0 0\nv 0 0 90\no leg\nl 1 2\no seat rail\nl 1 2\n", []string{`s.obj:6:1: object "seat rail" is no bar (known: leg)`}},

	// Neither.
	{"of no bar", "t.dxf", entities(line("leg", "0 0 0", "0 0 90")), []string{`t.dxf: no bar takes its sketch from this file`}},
}

func layersWithoutBar(n int) []string {
	var all []string
	for i := range n {
		all = append(all, fmt.Sprintf(`s.dxf:%d:1: layer "L%d" is no bar (known: leg)`, 22+12*i, i))
	}
	return all
}

// legJob is a job in cm with a bar "leg" drawn in that file, and one "own" with
// a sketch of its own.
func legJob(t testing.TB, file string) *job.Job {
	j := drawn(t, file, "leg")
	own := j.Bars[0]
	own.Name, own.SketchFile, own.Sketch = "own", "", []r3.Vector{v(0, 0, 0), v(0, 0, 100)}
	j.Bars = append(j.Bars, own)
	return j
}

func TestBadSketches(t *testing.T) {
	for _, b := range badSketches {
		t.Run(b.name, func(t *testing.T) {
			j := legJob(t, "s"+path.Ext(b.file))
			err := j.AttachSketches(b.file, []byte(b.data))
			require.Error(t, err)
			assert.Equal(t, strings.Join(b.want, "\n"), err.Error())
			assert.Empty(t, j.Bars[0].Sketch)
			assert.Empty(t, j.Notes)
		})
	}
}

// Read although it looks odd.
func TestSketchesAccepted(t *testing.T) {
	up := []r3.Vector{v(0, 0, 0), v(0, 0, 900)}
	upRight := append(up[:2:2], v(0, 900, 900))
	for name, c := range map[string]struct {
		file, data string
		want       []r3.Vector
	}{
		"comments":                       {"s.dxf", strings.ReplaceAll(entities(line("leg", "0 0 0", "0 0 90")), " 10\n", "999\n 10\n 10\n"), up},
		"no EOF":                         {"s.dxf", dxf("0 SECTION\n2 ENTITIES", line("leg", "0 0 0", "0 0 90"), "0 ENDSEC"), up},
		"blank lines at the end":         {"s.dxf", entities(line("leg", "0 0 0", "0 0 90")) + "\n\n", up},
		"a byte order mark":              {"s.dxf", "\ufeff" + entities(line("leg", "0 0 0", "0 0 90")), up},
		"capitals":                       {"s.dxf", entities(line("LEG", "0 0 0", "0 0 90")), up},
		"a unit of none":                 {"s.dxf", dxf("0 SECTION\n2 HEADER\n9 $INSUNITS\n70 0\n0 ENDSEC") + entities(line("leg", "0 0 0", "0 0 90")), up},
		"inches":                         {"s.dxf", dxf("0 SECTION\n2 HEADER\n9 $ACADVER\n1 AC1015\n9 $INSUNITS\n70 1\n0 ENDSEC") + entities(line("leg", "0 0 0", "0 0 100")), []r3.Vector{{}, v(0, 0, 2540)}},
		"sections that are passed over":  {"s.dxf", dxf("0 SECTION\n2 BLOCKS\n0 LINE\n8 nobody\n10 rubbish\n0 ENDSEC") + entities(line("leg", "0 0 0", "0 0 90")), up},
		"lines against their order":      {"s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 90 90", "0 0 90")), upRight},
		"from the middle outward":        {"s.dxf", entities(line("leg", "0 0 90", "0 90 90"), line("leg", "0 0 90", "0 0 0")), upRight},
		"a gap that is none":             {"s.dxf", entities(line("leg", "0 0 0", "0 0 90"), line("leg", "0 0.049 90", "0 90 90")), upRight},
		"polyline and line":              {"s.dxf", entities("0 POLYLINE\n8 leg\n66 1\n70 8\n0 VERTEX\n10 0\n20 0\n30 0\n0 VERTEX\n10 0\n20 0\n30 90\n0 SEQEND", line("leg", "0 90 90", "0 0 90")), upRight},
		"a line in plan":                 {"s.dxf", entities("0 LWPOLYLINE\n8 leg\n90 2\n70 128\n38 5\n10 0\n20 0\n10 0\n20 90"), []r3.Vector{v(0, 0, 50), v(0, 900, 50)}},
		"an old line in plan":            {"s.dxf", entities("0 POLYLINE\n8 leg\n10 0\n20 0\n30 5\n0 VERTEX\n10 0\n20 0\n0 VERTEX\n10 0\n20 90\n30 5\n0 SEQEND"), []r3.Vector{v(0, 0, 50), v(0, 900, 50)}},
		"a line on a sheet":              {"s.dxf", entities(line("leg", "0 0 0", "0 0 90"), "0 LINE\n8 frame\n67 1\n10 0\n20 0\n11 1\n21 1", "0 POLYLINE\n8 frame\n67 1\n0 VERTEX\n10 0\n20 0\n0 SEQEND"), up},
		"words on the bar's layer":       {"s.dxf", entities(line("leg", "0 0 0", "0 0 90"), "0 TEXT\n8 leg\n10 nowhere\n1 leg"), up},
		"a letter spelt out":             {"s.dxf", entities(line(`l\U+0065g`, "0 0 0", "0 0 90")), up},
		"an OBJ line":                    {"s.obj", "# c\no leg\nv 0 0 0\nv 0 0 90 1.0\nv 0 90 90\nl 1/1 2/2 \\\n 3/3\n", upRight},
		"OBJ lines of two points":        {"s.obj", "v 0 0 0\nv 0 0 90\nv 0 90 90\ng LEG\nl -2 -1\nl 2 1\n", []r3.Vector{v(0, 0, 0), v(0, 0, 900), v(0, 900, 900)}},
		"an OBJ with faces and returns":  {"s.OBJ", "mtllib x.mtl\r\nv 0 0 0\r\nv 0 0 90\r\nv 9 9 9\r\no seat\r\nf 1 2 3\r\no leg\r\nl 1 2\r\n", up},
		"an OBJ with tabs and comments":  {"s.obj", "v\t0\t0\t0\nv 0 0 90 # top\n\n  o\tleg # x\nl\t1\t2", up},
		"an OBJ in two parts of a group": {"s.obj", "v 0 0 0\nv 0 0 90\nv 0 90 90\no leg\nl 1 2\ng leg\nl 2 3\n", upRight},
	} {
		t.Run(name, func(t *testing.T) {
			j := legJob(t, c.file)
			require.NoError(t, j.AttachSketches(c.file, []byte(c.data)))
			got := j.Bars[0].Sketch
			require.Len(t, got, len(c.want))
			for i, p := range c.want {
				assert.InDelta(t, 0, p.Sub(got[i]).Norm(), 1e-9, "point %d", i)
			}
			assert.NoError(t, j.Finish())
		})
	}
}

// The codes of $INSUNITS after the published DXF header table (read in a stored
// copy): 1 inch, 2 foot, 3 mile, 4 mm, 5 cm, 6 m, 7 km, 8 microinch, 9 mil,
// 10 yard, 13 micron, 14 decimetre. Inch, foot, mile and yard are those of the
// international yard of 0.9144 m.
func TestDXFUnits(t *testing.T) {
	for code, mm := range map[int]float64{
		1: 25.4, 2: 12 * 25.4, 3: 5280 * 12 * 25.4, 4: 1, 5: 10, 6: 1e3, 7: 1e6, 8: 25.4e-6, 9: 25.4e-3, 10: 914.4, 13: 1e-3, 14: 100,
	} {
		j := drawn(t, "s.dxf", "leg")
		number := fmt.Sprint(500 / mm)
		data := dxf(fmt.Sprintf("0 SECTION\n2 HEADER\n9 $INSUNITS\n70 %d\n0 ENDSEC", code)) + entities(line("leg", "0 0 0", "0 0 "+number))
		require.NoError(t, j.AttachSketches("s.dxf", []byte(data)), "%d", code)
		assert.InDelta(t, 500, j.Bars[0].Sketch[1].Z, 1e-9, "%d", code)
		assert.Empty(t, j.Notes)
	}
}

// A line cut into pieces of one or more straights, in any order and direction,
// comes back whole, and runs as its first piece is drawn.
func TestPiecesComeTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "points")
		want := make([]r3.Vector, n) // cm; climbing, so that no two meet
		for i := range want {
			want[i] = v(rapid.Float64Range(-50, 50).Draw(t, "x"), rapid.Float64Range(-50, 50).Draw(t, "y"), 20*float64(i))
		}
		var pieces [][]r3.Vector
		for from := 0; from < n-1; {
			to := rapid.IntRange(from+1, n-1).Draw(t, "to")
			piece := slices.Clone(want[from : to+1])
			if rapid.Bool().Draw(t, "back") {
				slices.Reverse(piece)
			}
			pieces = append(pieces, piece)
			from = to
		}
		pieces = rapid.Permutation(pieces).Draw(t, "order")
		if pieces[0][0].Z > pieces[0][1].Z {
			slices.Reverse(want)
		}
		var asDXF, asOBJ strings.Builder
		asOBJ.WriteString("o leg\n")
		for _, piece := range pieces {
			asDXF.WriteString("0 POLYLINE\n8 leg\n70 8\n")
			for _, p := range piece {
				fmt.Fprintf(&asDXF, "0 VERTEX\n10 %v\n20 %v\n30 %v\n", p.X, p.Y, p.Z)
				fmt.Fprintf(&asOBJ, "v %v %v %v\n", p.X, p.Y, p.Z)
			}
			asDXF.WriteString("0 SEQEND\n")
			asOBJ.WriteString("l")
			for i := range piece {
				fmt.Fprintf(&asOBJ, " %d", i-len(piece))
			}
			asOBJ.WriteString("\n")
		}
		for file, data := range map[string]string{"s.dxf": entities(asDXF.String()), "s.obj": asOBJ.String()} {
			j := &job.Job{Unit: job.CM, Bars: []job.Bar{{Name: "leg", SketchFile: file}}}
			require.NoError(t, j.AttachSketches(file, []byte(data)))
			require.Len(t, j.Bars[0].Sketch, n)
			for i, p := range want {
				require.InDelta(t, 0, p.Mul(10).Sub(j.Bars[0].Sketch[i]).Norm(), 1e-9)
			}
		}
	})
}

// Bars whose names old drawings cannot tell apart.
func TestSketchNamesThatFitTwice(t *testing.T) {
	j := drawn(t, "s.dxf", "left leg", "left-leg")
	err := j.AttachSketches("s.dxf", []byte(entities(line("LEFT_LEG", "0 0 0", "0 0 90"), line("left-leg", "0 0 0", "0 0 90"))))
	require.Error(t, err)
	assert.Equal(t, `j.toml:16:10: bar "left leg": sketch file "s.dxf" has no lines on a layer of that name (nearest: "LEFT_LEG")
s.dxf:6:1: layer "LEFT_LEG" may be bar "left leg" or bar "left-leg"`, err.Error())
	require.NoError(t, j.AttachSketches("s.dxf", []byte(entities(line("left leg", "0 0 0", "0 0 90"), line("left-leg", "0 0 0", "0 0 80")))))
	assert.Equal(t, v(0, 0, 900), j.Bars[0].Sketch[1])
	assert.Equal(t, v(0, 0, 800), j.Bars[1].Sketch[1])
}

// What Parse says of a sketch in the job, Finish says of one from a file.
func TestFinish(t *testing.T) {
	for name, c := range map[string]struct {
		old, new string // in base
		data     string
		want     string
	}{
		"bends without a die":             {`[[0,600,900], [-900,600,0]]`, `"s.obj"`, "v 0 600 900\nv -400 600 900\nv -900 600 0\no leg\nl 1 2 3\n", `j.toml:26:10: bar "leg": sketch has 1 bend, but tube "s" has no die and is only used straight`},
		"a pair on the mirror plane":      {`[[0,600,900], [-900,600,0]]`, `"s.obj"`, "v 0 0 900\nv -400 0.5 900\no leg\nl 1 2\n", `j.toml:26:10: bar "leg": mirror = "pair", but the sketch lies on the mirror plane y = 0`},
		"a lean of a straight bar":        {"[[0,600,900], [-900,600,0]]", "\"s.obj\"\nflat = true\nlean = 3", "v 0 600 900\nv -400 600 900\no leg\nl 1 2\n", `j.toml:28:8: bar "leg": lean needs a bar with bends`},
		"a self-mirrored bar that is not": {`[[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, `"s.obj"`, "v 0 -600 0\nv 0 -600 900\nv 0 600 900\nv 0 800 0\no hoop\nl 1 2 3 4\n", `j.toml:20:10: bar "hoop": mirror = "self", but point 4 and the mirror image of point 1 are 200 mm apart, must be at most 100 mm`},
		"fixed but not to be bent":        {`[[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "\"s.obj\"\nfixed = true", "v 0 -600 0\nv 0 -600 100\nv 0 600 100\nv 0 600 0\no hoop\nl 1 2 3 4\n", `j.toml:20:10: bar "hoop": fixed sketch cannot be bent on die "d": bends overlap between nodes 0 and 1: 20.000 mm too short (nodes counted from 0)`},
		"landed on, but standing alone":   {"[[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]\nends = [\"shell\", \"shell\"]\nmirror = \"self\"", "\"s.obj\"\nends = [\"shell\", \"shell\"]", "v 0 -600 0\nv 0 -600 900\nv 0 600 900\nv 0 600 0\no hoop\nl 1 2 3 4\n", `j.toml:26:9: bar "leg": end A lands on "hoop", which has no mirror image for the mirrored end to land on`},
	} {
		t.Run(name, func(t *testing.T) {
			j := parsed(t, c.old, c.new)
			require.NoError(t, j.AttachSketches("s.obj", []byte(c.data)))
			err := j.Finish()
			require.Error(t, err)
			assert.Equal(t, c.want, err.Error())
		})
	}
	j := parsed(t, `[[0,600,900], [-900,600,0]]`, `"s.obj"`)
	err := j.Finish()
	require.Error(t, err)
	assert.Equal(t, `j.toml:26:10: bar "leg": sketch file "s.obj" is not read yet`, err.Error())
}

// Hug is by the bends, which only the file tells, unless the job says it.
func TestHugOfASketchFile(t *testing.T) {
	const bent = "v 0 -600 0\nv 0 -600 900\nv 0 600 900\nv 0 600 0\no hoop\nl 1 2 3 4\n"
	for given, want := range map[string]bool{"": true, "\nhug = false": false, "\nfixed = true": false} {
		j := parsed(t, `[[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, `"s.obj"`+given)
		assert.False(t, j.Bars[0].Hug)
		require.NoError(t, j.AttachSketches("s.obj", []byte(bent)))
		assert.Equal(t, want, j.Bars[0].Hug, given)
	}
}

// Sketches that stations and followed bars were given are checked like others.
func TestFinishOfMadeSketches(t *testing.T) {
	j := parsed(t, "sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]", "station = 0")
	require.NoError(t, j.Finish(), "nothing is known yet")
	j.Bars[0].Sketch = []r3.Vector{v(0, -600, 0), v(0, -600, 900), v(0, 600, 900), v(0, 600, 0)}
	require.NoError(t, j.Finish())
	j.Bars[0].Sketch[0].Y = -900
	require.ErrorContains(t, j.Finish(), `j.toml:20:11: bar "hoop": mirror = "self", but point 4`)
	j.Bars[0].Sketch[1] = j.Bars[0].Sketch[0]
	require.ErrorContains(t, j.Finish(), `j.toml:20:11: bar "hoop": sketch points 1 and 2 are 0 mm apart`)
}

// A job in the axes of a scan that lies on its side: y up and z to the right.
func TestInCarFrame(t *testing.T) {
	text := "sketch_frame = \"scan\"\n" + base
	for _, change := range [][2]string{
		{`clearance = 10`, "clearance = 10\ninside = [1, 2, 3]\nalign = { mode = \"axes\", up = \"+y\", front = \"+x\" }\ncut = [{ name = \"c\", sphere = { centre = [4, 5, 6], radius = 7 } }]"},
		{`[[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, `[[0,0,600], [0,900,600], [0,900,-600], [0,0,-600]]`},
		{`sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,900,-600], [-900,0,-600]]\nbends = 0"},
		{`centre = [0,0,900]`, `centre = [0,900,1]`},
		{"[[keepout]]", "[[keepout]]\nname = \"arm\"\ncapsule = { from = [0,1,2], to = [3,4,5], radius = 6 }\n[[keepout]]"},
		{"[[keepout]]", "[[bar]]\nname = \"rear\"\ntube = \"t\"\nstation = -500\n[[keepout]]"},
	} {
		require.Contains(t, text, change[0])
		text = strings.Replace(text, change[0], change[1], 1)
	}
	j := parse(t, text)
	require.NoError(t, j.Finish(), "nothing can be said of the mirror plane")
	j.Bars[2].Sketch = []r3.Vector{v(-500, -600, 0), v(-500, -600, 900), v(-500, 600, 900), v(-500, 600, 0)}
	toCar := func(p r3.Vector) r3.Vector { return v(p.X, -p.Z, p.Y) }
	before := fmt.Sprintf("%+v", j)
	c := j.InCarFrame(toCar)
	require.NoError(t, c.Finish())
	assert.Equal(t, before, fmt.Sprintf("%+v", j), "the job itself stays as it is")
	assert.Equal(t, job.CarFrame, c.SketchFrame)
	assert.Equal(t, v(1, -3, 2), *c.Shell.Inside)
	assert.Equal(t, []r3.Vector{v(0, -600, 0), v(0, -600, 900), v(0, 600, 900), v(0, 600, 0)}, c.Bars[0].Sketch)
	assert.Equal(t, &[2]r3.Vector{v(0, 600, 900), v(-900, 600, 0)}, c.Bars[1].Follow)
	assert.Equal(t, j.Bars[2].Sketch, c.Bars[2].Sketch, "a station's sketch is in the car's axes already")
	assert.Equal(t, &job.Capsule{From: v(0, -2, 1), To: v(3, -5, 4), Radius: 6}, c.Keepouts[0].Capsule)
	assert.Equal(t, &job.Sphere{Centre: v(0, -1, 900), Radius: 200}, c.Keepouts[1].Sphere)
	assert.Equal(t, job.ScanFrame, c.Shell.Cuts[0].Frame)
	assert.Equal(t, v(4, 5, 6), c.Shell.Cuts[0].Sphere.Centre)
	assert.Equal(t, c, c.InCarFrame(toCar), "once is enough")

	// What is no mirror image in the car is one for nobody.
	c = j.InCarFrame(func(p r3.Vector) r3.Vector { return v(p.X, 300-p.Z, p.Y) })
	require.ErrorContains(t, c.Finish(), `bar "hoop": mirror = "self", but point 4 and the mirror image of point 1 are 600 mm apart`)
}

func FuzzAttachSketches(f *testing.F) {
	for _, b := range badSketches {
		if len(b.data) < 1<<14 {
			f.Add([]byte(b.data), strings.HasSuffix(b.file, ".obj"))
		}
	}
	for _, name := range []string{"testdata/bars_r12.dxf", "testdata/bars_2000.dxf"} {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(data, false)
	}
	f.Add([]byte(entities(line("leg", "0 0 0", "0 0 90"))), false)
	f.Add([]byte("v 0 0 0\nv 0 0 90\no leg\nl 1 2"), true)
	f.Fuzz(func(t *testing.T, data []byte, obj bool) {
		file := "s.dxf"
		if obj {
			file = "s.obj"
		}
		j := legJob(t, file)
		err := j.AttachSketches(file, data)
		if err != nil {
			require.Empty(t, j.Bars[0].Sketch)
			var all job.ParseErrors
			require.True(t, errors.As(err, &all))
			require.NotEmpty(t, all)
			lines := strings.Count(string(data), "\n") + 1
			for _, e := range all {
				require.NotEmpty(t, e.Text)
				require.False(t, strings.ContainsFunc(e.Text, func(c rune) bool { return c < ' ' }), "one line each: %q", e.Text)
				if e.File == file {
					require.GreaterOrEqual(t, e.Pos.Line, 1)
					require.LessOrEqual(t, e.Pos.Line, lines)
				}
			}
			return
		}
		sketch := j.Bars[0].Sketch
		require.GreaterOrEqual(t, len(sketch), 2)
		for i, p := range sketch {
			for _, x := range []float64{p.X, p.Y, p.Z} {
				require.False(t, math.IsNaN(x) || math.Abs(x) > 100e3)
			}
			if i > 0 {
				require.GreaterOrEqual(t, p.Sub(sketch[i-1]).Norm(), 1.0)
			}
			if i > 1 {
				require.Less(t, sketch[i-1].Sub(sketch[i-2]).Angle(p.Sub(sketch[i-1])), 175.01*s1.Degree)
			}
		}
		require.NoError(t, j.Finish())
	})
}

func ExampleJob_AttachSketches() {
	j, err := job.Parse("job.toml", []byte(`
[shell]
file = "cabin.stl"
clearance = 12
[tube.cross]
od = 38.1
wall = 2.41
[[bar]]
name = "harness bar"
tube = "cross"
sketch = "bars.obj"
ends = ["shell", "shell"]
mirror = "self"
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, file := range j.SketchFiles() {
		data := []byte("o Harness_Bar\nv -500 -610 660\nv -500 610 660\nl 1 2\n") // what the file holds
		if err := j.AttachSketches(file, data); err != nil {
			fmt.Println(err)
			return
		}
	}
	if err := j.Finish(); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(j.Bars[0].Name, j.Bars[0].Sketch)
	// Output: harness bar [(-500.000000000000000000000000, -610.000000000000000000000000, 660.000000000000000000000000) (-500.000000000000000000000000, 610.000000000000000000000000, 660.000000000000000000000000)]
}

func BenchmarkAttachSketches(b *testing.B) {
	const file = "testdata/bars_2000.dxf"
	data, err := os.ReadFile(file)
	require.NoError(b, err)
	j := drawn(b, file, "main hoop", "A-pillar bar", "Bügel Gurt")
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if err := j.AttachSketches(file, data); err != nil {
			b.Fatal(err)
		}
	}
}
