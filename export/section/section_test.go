package section_test

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"fmt"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/export/draw"
	"barwright/export/section"
	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
	"barwright/mesh/sample"
)

const (
	od  = 45.0
	clr = 135.0
)

func hoop(t *testing.T, name string, nodes ...r3.Vector) *fit.Bar {
	t.Helper()
	p, err := tube.NewPath(nodes, clr)
	require.NoError(t, err)
	return &fit.Bar{Name: name, Tube: &tube.Spec{OD: od, Wall: 2.5}, Path: p}
}

// room returns a box room with a hoop at x = 0 and a level straight bar along x.
func room(t *testing.T) (*mesh.Mesh, *fit.Cage) {
	t.Helper()
	return sample.Box(2400, 1400, 1200, 150).Mesh, &fit.Cage{Bars: []*fit.Bar{
		hoop(t, "hoop", r3.Vector{Y: -600}, r3.Vector{Y: -600, Z: 1100}, r3.Vector{Y: 600, Z: 1100}, r3.Vector{Y: 600}),
		hoop(t, `sill <"&'> bar, é`+"\n\x1b[2J", r3.Vector{X: -500, Y: 550, Z: 300}, r3.Vector{X: 500, Y: 550, Z: 300}),
	}}
}

func cut(t *testing.T, p section.Plane) *section.Drawing {
	t.Helper()
	m, cage := room(t)
	d, err := section.Cut("a room <1>", p, m, nil, cage)
	require.NoError(t, err)
	return d
}

func TestPlanes(t *testing.T) {
	lean := 8 * s1.Degree
	for _, c := range []struct {
		plane  section.Plane
		normal r3.Vector
		at     r3.Vector // a point of the plane
		drawn  r2.Point
		mm, in string
	}{
		{section.AcrossX(254, 0), r3.Vector{X: 1}, r3.Vector{X: 254, Y: 600, Z: 900}, r2.Point{X: 600, Y: 900}, "x = 254 mm", "x = 10 in"},
		{section.AcrossY(-50.8), r3.Vector{Y: -1}, r3.Vector{X: 100, Y: -50.8, Z: 900}, r2.Point{X: 100, Y: 900}, "y = -50.8 mm", "y = -2 in"},
		{section.AcrossZ(12.7), r3.Vector{Z: 1}, r3.Vector{X: 100, Y: 200, Z: 12.7}, r2.Point{X: 100, Y: 200}, "z = 12.7 mm", "z = 0.5 in"},
		// 1000 mm up a plane that leans to the rear by 8 degrees is 139 mm further back.
		{section.AcrossX(0, lean), r3.Vector{X: 0.990268, Z: 0.139173}, r3.Vector{X: -139.173, Y: 5, Z: 990.268}, r2.Point{X: 5, Y: 1000},
			"x = 0 mm at z = 0, top leaning 8 degrees to the rear", "x = 0 in at z = 0, top leaning 8 degrees to the rear"},
		{section.AcrossX(0, -lean), r3.Vector{X: 0.990268, Z: -0.139173}, r3.Vector{X: 139.173, Y: 5, Z: 990.268}, r2.Point{X: 5, Y: 1000},
			"x = 0 mm at z = 0, top leaning 8 degrees to the front", "x = 0 in at z = 0, top leaning 8 degrees to the front"},
	} {
		assert.InDelta(t, 0, c.plane.Normal().Sub(c.normal).Norm(), 1e-6)
		assert.InDelta(t, 0, c.at.Sub(c.plane.Origin).Dot(c.plane.Normal()), 1e-3)
		got := c.plane.Point(c.at)
		assert.InDelta(t, c.drawn.X, got.X, 1e-3)
		assert.InDelta(t, c.drawn.Y, got.Y, 1e-3)
		assert.Equal(t, c.mm, c.plane.Name(false))
		assert.Equal(t, c.in, c.plane.Name(true))
	}
}

func TestPlaneOf(t *testing.T) {
	for _, lean := range []float64{-5, 0, 8} {
		want := section.AcrossX(250, s1.Angle(lean)*s1.Degree)
		at := func(y, up float64) r3.Vector {
			return want.Origin.Add(want.Right.Mul(y)).Add(want.Up.Mul(up))
		}
		b := hoop(t, "hoop", at(-600, 150), at(-550, 1100), at(550, 1100), at(600, 150))
		got, err := section.PlaneOf(b)
		require.NoError(t, err)
		assert.Equal(t, want.Name(false), got.Name(false))
		assert.InDelta(t, 0, got.Normal().Sub(want.Normal()).Norm(), 1e-9)
		d, err := section.Cut("", got, &mesh.Mesh{}, nil, &fit.Cage{Bars: []*fit.Bar{b}})
		require.NoError(t, err)
		assert.Len(t, d.Bars[0].Centre, 1, "the whole bar lies in it")
	}
	for want, nodes := range map[string][]r3.Vector{
		"a straight bar": {{}, {Z: 500}},
		"does not lie":   {{}, {Z: 500}, {X: 500, Y: 500, Z: 500}},
		"in a plane":     {{}, {X: 500}, {X: 500, Y: 500}},
	} {
		_, err := section.PlaneOf(hoop(t, "bar", nodes...))
		assert.ErrorContains(t, err, want)
	}
}

// The perimeter of an ellipse after Ramanujan's second formula (from memory; off
// by less than 1e-9 for these).
func ellipse(a, b float64) float64 {
	h := (a - b) * (a - b) / ((a + b) * (a + b))
	return math.Pi * (a + b) * (1 + 3*h/(10+math.Sqrt(4-3*h)))
}

func TestCutBars(t *testing.T) {
	// Across the straight bar: a circle, and leaning 30 degrees an ellipse.
	for _, lean := range []float64{0, 30} {
		d := cut(t, section.AcrossX(200, s1.Angle(lean)*s1.Degree))
		// Leaning back from x = 200, the plane meets the hoop at x = 0 too, in front
		// of the bar in the cage's order.
		sill := d.Bars[len(d.Bars)-1]
		require.Len(t, sill.Outline, 1)
		assert.True(t, sill.Outline[0].Closed)
		assert.Empty(t, sill.Centre)
		want := ellipse(od/2/math.Cos(lean*math.Pi/180), od/2)
		assert.InDelta(t, want, section.Length(sill.Outline), 0.01*want, "chords of 0.05 mm cost less than a hundredth")
		box := section.Bounds(sill.Outline)
		assert.InDelta(t, od, box.Size().X, 0.1)
		assert.InDelta(t, 550, box.Center().X, 0.1)
	}
	// In the hoop's plane: both sides of the tube, and its centreline.
	d := cut(t, section.AcrossX(0, 0))
	require.Len(t, d.Bars, 2)
	bar := d.Bars[0]
	require.Len(t, bar.Outline, 2, "outside and inside of the hoop")
	require.Len(t, bar.Centre, 1)
	// Two bends of 90 degrees: each side is the centreline's length, but for the
	// arcs' radii, which are half a tube larger and smaller.
	m, cage := room(t)
	length := cage.Bars[0].Path.Length
	assert.InDelta(t, length, section.Length(bar.Centre), 0.05)
	assert.InDelta(t, length+math.Pi*od/2, section.Length(bar.Outline[:1]), 0.1)
	assert.InDelta(t, length-math.Pi*od/2, section.Length(bar.Outline[1:]), 0.1)
	assert.InDelta(t, 1200+od, section.Bounds(bar.Outline).Size().X, 0.1)

	// Without bars, and with caps.
	d, err := section.Cut("", section.AcrossX(0, 0), &mesh.Mesh{}, m, nil)
	require.NoError(t, err)
	assert.Empty(t, d.Shell)
	assert.InDelta(t, 5200, section.Length(d.Caps), 1e-6)
	_, err = section.Cut("", section.AcrossX(1300, 0), m, nil, cage)
	assert.ErrorIs(t, err, section.ErrEmpty)
	cage.Bars[0].Tube = &tube.Spec{OD: od, Wall: od}
	_, err = section.Cut("", section.AcrossX(0, 0), m, nil, cage)
	assert.ErrorContains(t, err, `bar "hoop": `)
}

// svgFile is an SVG file as the standard library's XML decoder reads it.
type svgFile struct {
	Width   string `xml:"width,attr"`
	Height  string `xml:"height,attr"`
	ViewBox string `xml:"viewBox,attr"`
	Title   string `xml:"title"`
	Groups  []struct {
		ID    string `xml:"id,attr"`
		Paths []struct {
			D string `xml:"d,attr"`
		} `xml:"path"`
		Texts []string `xml:"text"`
	} `xml:"g"`
}

func readSVG(t *testing.T, d *section.Drawing) svgFile {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, section.WriteSVG(&b, d))
	var f svgFile
	dec := xml.NewDecoder(&b)
	dec.Strict = true
	require.NoError(t, dec.Decode(&f))
	return f
}

// points reads a path of straight pieces, y up.
func points(t *testing.T, d string) []r2.Point {
	t.Helper()
	var out []r2.Point
	for _, part := range strings.FieldsFunc(strings.TrimSuffix(d, "Z"), func(r rune) bool { return r == 'M' || r == 'L' }) {
		var p r2.Point
		_, err := fmt.Sscan(part, &p.X, &p.Y)
		require.NoError(t, err)
		out = append(out, r2.Point{X: p.X, Y: -p.Y})
	}
	return out
}

// Physical size: 1 mm of the file is one unit of the viewBox (references.md F:
// width in mm + viewBox in mm), and the outline has the room's true size.
func TestSVGIsTrueSize(t *testing.T) {
	f := readSVG(t, cut(t, section.AcrossX(200, 0)))
	var box [4]float64
	_, err := fmt.Sscan(f.ViewBox, &box[0], &box[1], &box[2], &box[3])
	require.NoError(t, err)
	assert.Equal(t, strconv.FormatFloat(box[2], 'f', -1, 64)+"mm", f.Width)
	assert.Equal(t, strconv.FormatFloat(box[3], 'f', -1, 64)+"mm", f.Height)
	assert.Greater(t, box[2], 1400.0)
	assert.Equal(t, "a room <1>: section at x = 200 mm", f.Title)

	seen := map[string]int{}
	for _, g := range f.Groups {
		seen[g.ID] = len(g.Paths)
		bounds := r2.EmptyRect()
		for _, path := range g.Paths {
			for _, p := range points(t, path.D) {
				bounds = bounds.AddPoint(p)
				assert.True(t, p.X >= box[0] && p.X <= box[0]+box[2] && -p.Y >= box[1] && -p.Y <= box[1]+box[3], "on the sheet")
			}
		}
		switch g.ID {
		case "shell":
			require.Len(t, g.Paths, 1)
			assert.True(t, strings.HasSuffix(g.Paths[0].D, "Z"))
			assert.Equal(t, r2.RectFromPoints(r2.Point{X: -700, Y: 0}, r2.Point{X: 700, Y: 1200}), bounds)
		case "check":
			assert.InDelta(t, 100, bounds.Size().X, 1e-9)
		case "text":
			assert.Contains(t, g.Texts, `sill <"&'> bar, é  [2J`)
		}
	}
	assert.Equal(t, 1, seen["bars"])
	assert.Contains(t, seen, "text")
	// Lines every 100 mm over 1600 x 1400 mm, but for the two of the axes.
	assert.Equal(t, 17+15-2, seen["grid"])
	assert.Equal(t, 2, seen["axes"])
}

func TestInches(t *testing.T) {
	d := cut(t, section.AcrossX(254, 0))
	d.Inches = true
	f := readSVG(t, d)
	var texts []string
	for _, g := range f.Groups {
		texts = append(texts, g.Texts...)
		switch g.ID {
		case "grid":
			p := points(t, g.Paths[0].D)
			q := points(t, g.Paths[1].D)
			assert.InDelta(t, 25.4, q[0].X-p[0].X, 0.0011)
		case "check":
			assert.InDelta(t, 101.6, points(t, g.Paths[3].D)[1].X-points(t, g.Paths[3].D)[0].X, 1e-9)
		}
	}
	assert.Contains(t, texts, "section at x = 10 in, seen from the front")
	assert.Contains(t, texts, "25")
	assert.Contains(t, texts, "y (left), in ->")
}

// dxfEntity is one of the ENTITIES: its type, its groups by code and, of a
// polyline, its vertices.
type dxfEntity struct {
	kind     string
	groups   map[int]string
	vertices []r2.Point
}

// readDXF reads groups of code and value, and knows the sections by name and no
// more than that: it was written from the description in references.md F, not
// from the writer.
func readDXF(t *testing.T, r io.Reader) (header map[string]string, layers []string, entities []dxfEntity) {
	t.Helper()
	header = map[string]string{}
	lines := bufio.NewScanner(r)
	next := func() (int, string, bool) {
		if !lines.Scan() {
			return 0, "", false
		}
		code, err := strconv.Atoi(strings.TrimSpace(lines.Text()))
		require.NoError(t, err)
		require.True(t, lines.Scan(), "a value for code %d", code)
		return code, lines.Text(), true
	}
	var part, variable, table, kind string
	ended := false
	for {
		code, value, ok := next()
		if !ok {
			break
		}
		require.False(t, ended, "nothing after EOF")
		switch {
		case code == 999:
		case code == 0:
			kind = value
			switch value {
			case "SECTION", "TABLE":
			case "ENDSEC":
				part = ""
			case "EOF":
				ended = true
			default:
				if part == "ENTITIES" {
					entities = append(entities, dxfEntity{kind: value, groups: map[int]string{}})
				}
			}
		case kind == "SECTION" && code == 2:
			part = value
		case kind == "TABLE" && code == 2:
			table = value
		case part == "HEADER" && code == 9:
			variable = value
		case part == "HEADER":
			header[variable] += value + " "
		case part == "TABLES" && table == "LAYER" && kind == "LAYER" && code == 2:
			layers = append(layers, value)
		case part == "ENTITIES":
			entities[len(entities)-1].groups[code] = value
		}
	}
	require.True(t, ended, "EOF")
	// Vertices into their polylines.
	var out []dxfEntity
	open := false
	for _, e := range entities {
		switch e.kind {
		case "POLYLINE":
			require.False(t, open)
			open = e.groups[66] == "1"
			out = append(out, e)
		case "VERTEX":
			require.True(t, open)
			last := &out[len(out)-1]
			require.Equal(t, last.groups[8], e.groups[8])
			x, err := strconv.ParseFloat(e.groups[10], 64)
			require.NoError(t, err)
			y, err := strconv.ParseFloat(e.groups[20], 64)
			require.NoError(t, err)
			last.vertices = append(last.vertices, r2.Point{X: x, Y: y})
		case "SEQEND":
			require.True(t, open)
			open = false
		default:
			require.False(t, open)
			out = append(out, e)
		}
	}
	require.False(t, open)
	return header, layers, out
}

func TestDXFReadBack(t *testing.T) {
	m, cage := room(t)
	d, err := section.Cut("a room", section.AcrossX(0, 0), m, sample.Box(2000, 1000, 800, 200).Mesh, cage)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, section.WriteDXF(&b, d))
	for _, c := range b.Bytes() {
		require.True(t, c == '\n' || c >= ' ' && c <= '~', "ASCII only")
	}
	header, layers, entities := readDXF(t, &b)
	assert.Equal(t, "AC1009 ", header["$ACADVER"])
	assert.NotContains(t, header, "$INSUNITS", "release 12 has none")
	assert.ElementsMatch(t, []string{"0", "GRID", "AXES", "CAPS", "SHELL", "BARS", "CENTRES", "CHECK", "NOTES", "TEXT"}, layers)

	lines := map[string][]section.Line{}
	var texts []string
	for _, e := range entities {
		assert.Contains(t, layers, e.groups[8])
		// Entities of release 12 (references.md F).
		require.Contains(t, []string{"POLYLINE", "TEXT"}, e.kind)
		if e.kind == "TEXT" {
			texts = append(texts, e.groups[1])
			continue
		}
		require.Greater(t, len(e.vertices), 1)
		lines[e.groups[8]] = append(lines[e.groups[8]], section.Line{Points: e.vertices, Closed: e.groups[70] == "1"})
	}
	assert.InDelta(t, 5200, section.Length(lines["SHELL"]), 1e-3)
	assert.InDelta(t, 3600, section.Length(lines["CAPS"]), 1e-3)
	assert.Equal(t, r2.RectFromPoints(r2.Point{X: -700, Y: 0}, r2.Point{X: 700, Y: 1200}), section.Bounds(lines["SHELL"]))
	assert.InDelta(t, cage.Bars[0].Path.Length, section.Length(lines["CENTRES"]), 0.05)
	assert.Len(t, lines["BARS"], 3)
	assert.InDelta(t, 100, section.Bounds(lines["CHECK"]).Size().X, 1e-9)
	assert.Contains(t, texts, "1 drawing unit = 1 mm")
	assert.Contains(t, texts, `sill <"&'> bar, ?  [2J`)
}

// The project also reads DXF, for sketches, with code that was written apart from
// this: it tells the layers and the points of the centreline.
func TestDXFReadAsSketch(t *testing.T) {
	m, cage := room(t)
	cage.Bars = cage.Bars[:1]
	d, err := section.Cut("", section.AcrossX(0, 0), m, nil, cage)
	require.NoError(t, err)
	d.Shell, d.Bars[0].Outline = nil, d.Bars[0].Outline[:1]
	var b bytes.Buffer
	require.NoError(t, section.WriteDXF(&b, d))
	j, err := job.Parse("job.toml", []byte(`
title = "a hoop"
units = "mm"
[shell]
file = "room.stl"
clearance = 20
[die.d]
od = 45
clr = 135
[tube.t]
od = 45
wall = 2.5
die = "d"
material = "1020 DOM"
[[bar]]
name = "centres"
tube = "t"
sketch = "hoop.dxf"
ends = ["free", "free"]
`))
	require.NoError(t, err)
	err = j.AttachSketches("hoop.dxf", b.Bytes())
	// No other layer is a bar's, and a sketch may not have as many points as a
	// centreline does: to say so, the reader must have understood the file.
	for _, layer := range []string{"BARS", "CHECK", "GRID", "AXES"} {
		assert.ErrorContains(t, err, fmt.Sprintf("layer %q is no bar", layer))
	}
	assert.ErrorContains(t, err, fmt.Sprintf("layer %q has %d points", "CENTRES", len(d.Bars[0].Centre[0].Points)))
}

func TestPNG(t *testing.T) {
	d := cut(t, section.AcrossX(200, 0))
	var b, again bytes.Buffer
	require.NoError(t, section.WritePNG(&b, d))
	require.NoError(t, section.WritePNG(&again, d))
	assert.Equal(t, b.Bytes(), again.Bytes())
	img, err := png.Decode(&b)
	require.NoError(t, err)
	size := img.Bounds().Size()
	assert.InDelta(t, 2000, max(size.X, size.Y), 1)

	// Black pixels are where the walls are: the room's outline, to a pixel.
	f := readSVG(t, d)
	var box [4]float64
	_, err = fmt.Sscan(f.ViewBox, &box[0], &box[1], &box[2], &box[3])
	require.NoError(t, err)
	scale := float64(size.X) / box[2]
	dark := func(x, y float64) bool {
		px, py := int((x-box[0])*scale), int((-y-box[1])*scale)
		r, g, b, _ := img.At(px, py).RGBA()
		return r < 0x4000 && g < 0x4000 && b < 0x4000
	}
	for _, y := range []float64{-650, -333, 33, 650} {
		assert.True(t, dark(y, 1200), "roof at %g", y)
		assert.True(t, dark(y, 0), "floor at %g", y)
		assert.False(t, dark(y, 777), "air at %g", y)
	}
	for _, z := range []float64{50, 444, 1150} {
		assert.True(t, dark(-700, z) && dark(700, z), "walls at %g", z)
	}
}

// Sizes from a button to a hangar, and lines that have no length.
func TestOddDrawings(t *testing.T) {
	for _, c := range []section.Drawing{
		{Plane: section.AcrossX(0, 0), Shell: []section.Line{{Points: []r2.Point{{X: 1, Y: 1}, {X: 1.5, Y: 1}}}}},
		{Plane: section.AcrossX(0, 0), Shell: []section.Line{{Points: []r2.Point{{X: 1, Y: 1}, {X: 1, Y: 1}}}}, Inches: true},
		{Plane: section.AcrossX(0, 0), Caps: []section.Line{{Points: []r2.Point{{}, {X: 1e6, Y: 2e6}}}}},
		{Plane: section.AcrossX(0, 0), Caps: []section.Line{{Points: []r2.Point{{}, {X: 1e6, Y: 1}}}}, Inches: true},
	} {
		for name, write := range map[string]func(io.Writer, *section.Drawing) error{"svg": section.WriteSVG, "dxf": section.WriteDXF, "png": section.WritePNG} {
			var b bytes.Buffer
			require.NoError(t, write(&b, &c), name)
			assert.Less(t, b.Len(), 400_000, name)
		}
	}
	bad := section.Drawing{Plane: section.AcrossX(0, 0), Shell: []section.Line{{Points: []r2.Point{{X: math.Inf(1)}, {X: 1, Y: math.NaN()}}}}}
	for _, write := range []func(io.Writer, *section.Drawing) error{section.WriteSVG, section.WriteDXF, section.WritePNG} {
		assert.ErrorContains(t, write(io.Discard, &bad), "can't be drawn")
	}
}

// A section can be cut into tiles, and printed on a page as large as its sheet.
func TestSheetOnPaper(t *testing.T) {
	s, err := section.Sheet(cut(t, section.AcrossX(0, 0)))
	require.NoError(t, err)
	tiles, err := draw.Tile(s, draw.A4)
	require.NoError(t, err)
	assert.Greater(t, len(tiles), 40)
	whole, err := draw.Tile(s, draw.Whole)
	require.NoError(t, err)
	require.Len(t, whole, 1)
	assert.True(t, whole[0].Net.Contains(s.Sheet))
	var b bytes.Buffer
	require.NoError(t, draw.WritePDF(&b, "a room", append(tiles[:1], whole...)))
	assert.True(t, bytes.HasPrefix(b.Bytes(), []byte("%PDF-")))
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestFailureToWrite(t *testing.T) {
	d := cut(t, section.AcrossX(200, 0))
	for _, write := range []func(io.Writer, *section.Drawing) error{section.WriteSVG, section.WriteDXF, section.WritePNG} {
		assert.ErrorIs(t, write(full{}, d), io.ErrClosedPipe)
	}
}

func ExampleCut() {
	room := sample.Box(2400, 1400, 1200, 150)
	d, err := section.Cut("a room", section.AcrossX(250, 8*s1.Degree), room.Mesh, nil, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(d.Plane.Name(false))
	fmt.Printf("%.1f mm around\n", section.Length(d.Shell))
	// Output:
	// x = 250 mm at z = 0, top leaning 8 degrees to the rear
	// 5223.6 mm around
}
