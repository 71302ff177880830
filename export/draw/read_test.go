package draw_test

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/export/draw"
)

// svgFile is an SVG as read back: its size, its lines by class with arcs as
// chords, y up, and its words.
type svgFile struct {
	size  r2.Point // mm
	box   r2.Rect  // viewBox, y up
	title string
	paths map[string][][]r2.Point
	attrs map[string]map[string]string
	texts []string
}

func readSVG(t testing.TB, d *draw.Drawing) svgFile {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, draw.WriteSVG(&b, d))
	var doc struct {
		Width   string `xml:"width,attr"`
		Height  string `xml:"height,attr"`
		ViewBox string `xml:"viewBox,attr"`
		Title   string `xml:"title"`
		Groups  []struct {
			Class string     `xml:"class,attr"`
			Attrs []xml.Attr `xml:",any,attr"`
			Paths []struct {
				D string `xml:"d,attr"`
			} `xml:"path"`
			Texts []string `xml:"text"`
		} `xml:"g"`
	}
	dec := xml.NewDecoder(&b)
	dec.Strict = true
	require.NoError(t, dec.Decode(&doc))
	end, err := dec.Token()
	require.NoError(t, err)
	require.Equal(t, xml.CharData("\n"), end, "nothing follows")
	_, err = dec.Token()
	require.ErrorIs(t, err, io.EOF)
	f := svgFile{title: doc.Title, paths: map[string][][]r2.Point{}, attrs: map[string]map[string]string{}}
	var x, y, w, h float64
	_, err = fmt.Sscan(doc.ViewBox, &x, &y, &w, &h)
	require.NoError(t, err)
	f.box = r2.RectFromPoints(at(x, -y), at(x+w, -y-h))
	for i, s := range []string{doc.Width, doc.Height} {
		v, err := strconv.ParseFloat(strings.TrimSuffix(s, "mm"), 64)
		require.NoError(t, err)
		require.True(t, strings.HasSuffix(s, "mm"), s)
		if i == 0 {
			f.size.X = v
		} else {
			f.size.Y = v
		}
	}
	for _, g := range doc.Groups {
		f.attrs[g.Class] = map[string]string{}
		for _, a := range g.Attrs {
			f.attrs[g.Class][a.Name.Local] = a.Value
		}
		for _, p := range g.Paths {
			f.paths[g.Class] = append(f.paths[g.Class], svgPoints(t, p.D))
		}
		f.texts = append(f.texts, g.Texts...)
	}
	return f
}

// svgPoints reads path data of M, L, A and Z, and knows no more of its writer. An
// arc's centre is found from its ends and radius after SVG 1.1, appendix F.6.5
// (from memory), and 16 points of it are returned.
func svgPoints(t testing.TB, data string) []r2.Point {
	t.Helper()
	var out []r2.Point
	for _, part := range strings.FieldsFunc(strings.NewReplacer("M", "|M", "L", "|L", "A", "|A", "Z", "|Z").Replace(data), func(r rune) bool { return r == '|' }) {
		var v []float64
		for _, f := range strings.Fields(part[1:]) {
			n, err := strconv.ParseFloat(f, 64)
			require.NoError(t, err)
			v = append(v, n)
		}
		switch part[0] {
		case 'M', 'L':
			require.Len(t, v, 2)
			out = append(out, at(v[0], v[1]))
		case 'A':
			require.Len(t, v, 7)
			require.Equal(t, v[0], v[1])
			a, b, r := out[len(out)-1], at(v[5], v[6]), v[0]
			half := a.Sub(b).Mul(0.5)
			rest := r*r - half.Dot(half)
			require.Greater(t, rest, -1e-3)
			k := math.Sqrt(max(rest, 0) / half.Dot(half))
			if v[3] == v[4] { // large arc flag, sweep flag
				k = -k
			}
			c := a.Add(b).Mul(0.5).Add(at(half.Y, -half.X).Mul(k))
			from := math.Atan2(a.Y-c.Y, a.X-c.X)
			turn := math.Atan2(b.Y-c.Y, b.X-c.X) - from
			if v[4] == 1 && turn < 0 {
				turn += 2 * math.Pi
			} else if v[4] == 0 && turn > 0 {
				turn -= 2 * math.Pi
			}
			for i := 1.0; i <= 16; i++ {
				sin, cos := math.Sincos(from + turn*i/16)
				out = append(out, c.Add(at(cos, sin).Mul(r)))
			}
		case 'Z':
			out = append(out, out[0])
		}
	}
	for i := range out {
		out[i].Y = -out[i].Y
	}
	return out
}

// dxfFile is a DXF as read back, with arcs as chords.
type dxfFile struct {
	header map[string]string
	layers map[string]string    // their line types
	dashes map[string][]float64 // of line types
	lines  map[string][][]r2.Point
	solids int
	texts  []string
	turns  []string // of texts that are turned, degrees counterclockwise
}

// readDXF reads groups of code and value, strictly: it was written from the
// description in references.md F, not from the writer.
func readDXF(t testing.TB, d *draw.Drawing) dxfFile {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, draw.WriteDXF(&b, d))
	for _, c := range b.Bytes() {
		require.True(t, c == '\n' || c >= ' ' && c <= '~', "ASCII only")
	}
	f := dxfFile{header: map[string]string{}, layers: map[string]string{}, dashes: map[string][]float64{}, lines: map[string][][]r2.Point{}}
	type entity struct {
		kind   string
		groups map[int][]string
	}
	// Sections and tables as entities with what follows them.
	var all []entity
	lines := bufio.NewScanner(&b)
	for lines.Scan() {
		code, err := strconv.Atoi(strings.TrimSpace(lines.Text()))
		require.NoError(t, err)
		require.True(t, lines.Scan(), "a value for code %d", code)
		value := lines.Text()
		switch {
		case code == 999:
		case code == 0:
			all = append(all, entity{value, map[int][]string{}})
		case code == 9:
			all = append(all, entity{value, map[int][]string{}})
		default:
			e := all[len(all)-1]
			e.groups[code] = append(e.groups[code], value)
		}
	}
	require.Equal(t, "EOF", all[len(all)-1].kind)
	number := func(e entity, code int) float64 {
		if e.groups[code] == nil {
			return 0
		}
		v, err := strconv.ParseFloat(e.groups[code][0], 64)
		require.NoError(t, err)
		return v
	}
	section, counts := "", map[string]int{}
	var open *draw.Stroke
	layer := ""
	for _, e := range all {
		if e.kind != "VERTEX" && e.kind != "SEQEND" {
			require.Nil(t, open, "a polyline ends with SEQEND")
		}
		switch e.kind {
		case "SECTION":
			require.Empty(t, section)
			section = e.groups[2][0]
		case "ENDSEC":
			section = ""
		case "TABLE":
			n, err := strconv.Atoi(e.groups[70][0])
			require.NoError(t, err)
			counts[e.groups[2][0]] = n
		case "ENDTAB", "EOF":
		case "LTYPE":
			counts["LTYPE"]--
			var dash []float64
			total := 0.0
			for _, v := range e.groups[49] {
				x, err := strconv.ParseFloat(v, 64)
				require.NoError(t, err)
				dash = append(dash, x)
				total += math.Abs(x)
			}
			require.Equal(t, strconv.Itoa(len(dash)), e.groups[73][0])
			require.InDelta(t, total, number(e, 40), 1e-3)
			f.dashes[e.groups[2][0]] = dash
		case "LAYER":
			counts["LAYER"]--
			require.Contains(t, f.dashes, e.groups[6][0])
			f.layers[e.groups[2][0]] = e.groups[6][0]
		case "POLYLINE":
			require.Equal(t, "ENTITIES", section)
			require.Equal(t, "1", e.groups[66][0])
			layer = e.groups[8][0]
			require.Contains(t, f.layers, layer)
			open = &draw.Stroke{Closed: e.groups[70][0] == "1"}
		case "VERTEX":
			require.NotNil(t, open)
			require.Equal(t, layer, e.groups[8][0])
			open.Vertices = append(open.Vertices, draw.Vertex{Point: at(number(e, 10), number(e, 20)), Bulge: number(e, 42)})
		case "SEQEND":
			require.NotNil(t, open)
			f.lines[layer] = append(f.lines[layer], bulged(open))
			open = nil
		case "SOLID":
			f.solids++
		case "TEXT":
			require.Greater(t, number(e, 40), 0.0)
			f.texts = append(f.texts, e.groups[1][0])
			f.turns = append(f.turns, e.groups[50]...)
		default:
			require.Equal(t, "HEADER", section, e.kind)
			for _, v := range e.groups {
				f.header[e.kind] += v[0]
			}
		}
	}
	for name, n := range counts {
		require.Zero(t, n, "table %s holds as many as it says", name)
	}
	return f
}

// bulged returns points of a polyline, by the definition of a bulge alone: the
// belly of an arc is half the chord times the bulge to the right of its way, and
// so on for its halves, whose bulge is tan(atan(bulge)/2).
func bulged(s *draw.Stroke) []r2.Point {
	out := []r2.Point{s.Vertices[0].Point}
	var add func(a, b r2.Point, bulge float64, depth int)
	add = func(a, b r2.Point, bulge float64, depth int) {
		if bulge == 0 || depth == 0 {
			out = append(out, b)
			return
		}
		way := b.Sub(a)
		belly := a.Add(b).Mul(0.5).Add(at(way.Y, -way.X).Mul(bulge / 2))
		halved := math.Tan(math.Atan(bulge) / 2)
		add(a, belly, halved, depth-1)
		add(belly, b, halved, depth-1)
	}
	vs := s.Vertices
	if s.Closed {
		vs = append(vs[:len(vs):len(vs)], vs[0])
	}
	for i := 1; i < len(vs); i++ {
		add(vs[i-1].Point, vs[i].Point, vs[i-1].Bulge, 6)
	}
	return out
}

// mixed has a line of every kind, and arcs that are hard on formats: nearly half
// and nearly full turns, flat ones, both ways round.
func mixed() *draw.Drawing {
	d := &draw.Drawing{Title: "mixed", Notes: []string{"first", "second"}}
	for k := draw.Outline; k <= draw.Check; k++ {
		d.Line(k, at(0, 40*float64(k)), at(300, 40*float64(k)), at(310, 40*float64(k)+7))
	}
	for i, b := range []float64{1, -1, 0.999, 1.001, -0.9999, 0.01, -1e-4, 5, -30} {
		d.Strokes = append(d.Strokes, draw.Stroke{Kind: draw.Outline, Vertices: []draw.Vertex{
			{Point: at(400, 100*float64(i)), Bulge: b}, {Point: at(600.3333, 100*float64(i)+1.7), Bulge: -b / 3}, {Point: at(700, 0)},
		}, Closed: i%2 == 0})
	}
	d.Arc(draw.Cut, at(100, 500), 152.4, -10*s1.Degree, 169.99*s1.Degree)
	d.Circle(draw.Hidden, at(100, 500), 99.99)
	d.Polygon(draw.Ghost, at(0, 0), at(50, 0), at(0, 50))
	d.Fills = append(d.Fills, draw.Fill{Grey: 0.9, Vertices: []draw.Vertex{{Point: at(0, 0)}, {Point: at(9, 0)}, {Point: at(9, 9)}, {Point: at(0, 9)}}})
	d.Dimension(at(0, 0), at(300, 0), -30, "300.0")
	d.Texts = append(d.Texts, draw.Text{At: at(20, 30), Height: 5, Turn: 30 * s1.Degree, Words: "turned"})
	return d
}

// sameLines checks that lines read back lie on those of the drawing, and all along
// them.
func sameLines(t *testing.T, d *draw.Drawing, name func(draw.Kind) string, got map[string][][]r2.Point) {
	t.Helper()
	next := map[draw.Kind]int{}
	for i, s := range d.Strokes {
		want := s.Polyline(1e-4)
		lines := got[name(s.Kind)]
		require.Greater(t, len(lines), next[s.Kind])
		have := lines[next[s.Kind]]
		next[s.Kind]++
		// Chords of the reader's are shorter than arcs; their corners are on them.
		assert.InEpsilon(t, length(want), length(have), 0.004, "line %d", i)
		for _, p := range have {
			assert.Less(t, nearest(p, want), 1e-3, "line %d", i)
		}
	}
}

// 1 unit of the viewBox is 1 mm (references.md F), arcs stay arcs, widths and
// dashes are attributes.
func TestSVG(t *testing.T) {
	d := mixed()
	f := readSVG(t, d)
	assert.InDelta(t, f.size.X, f.box.Size().X, 1e-3)
	assert.InDelta(t, f.size.Y, f.box.Size().Y, 1e-3)
	assert.True(t, f.box.Contains(d.Bounds()))
	assert.Equal(t, "mixed", f.title)
	sameLines(t, d, func(k draw.Kind) string {
		return [...]string{"outline", "thin", "hidden", "centre", "cut", "ghost", "check"}[k]
	}, f.paths)
	for class, want := range map[string][2]string{
		"outline": {"0.5", ""}, "thin": {"0.25", ""}, "cut": {"0.7", ""}, "hidden": {"0.35", "4.2 1.05"},
		"centre": {"0.25", "6 0.75 0.25 0.75"}, "ghost": {"0.25", "6 0.75 0.25 0.75 0.25 0.75"}, "check": {"0.25", ""},
	} {
		assert.Equal(t, want[0], f.attrs[class]["stroke-width"], class)
		assert.Equal(t, want[1], f.attrs[class]["stroke-dasharray"], class)
		assert.Equal(t, "#000000", f.attrs[class]["stroke"], class)
	}
	for _, words := range []string{"mixed", "first", "second", "300.0", "must measure 100 mm", "must measure 4 in"} {
		assert.Contains(t, f.texts, words)
	}
	checkLengths(t, f.paths["check"][1:])

	// SVG turns clockwise, as its y counts down.
	var b bytes.Buffer
	require.NoError(t, draw.WriteSVG(&b, d))
	assert.Contains(t, b.String(), `<text transform="translate(20 -30) rotate(-30)"`)
}

// checkLengths looks for the lines of 100 mm and of 4 in, each with a tick at both
// ends.
func checkLengths(t *testing.T, lines [][]r2.Point) {
	t.Helper()
	require.Len(t, lines, 6)
	for i, want := range []float64{101.6, 100} {
		line := lines[3*i]
		assert.InDelta(t, want, length(line), 1e-9)
		for k, tick := range lines[3*i+1 : 3*i+3] {
			assert.InDelta(t, 0, tick[0].Add(tick[1]).Mul(0.5).Sub(line[k]).Norm(), 1e-9)
		}
	}
}

func TestDXF(t *testing.T) {
	d := mixed()
	f := readDXF(t, d)
	assert.Equal(t, "AC1009", f.header["$ACADVER"])
	assert.NotContains(t, f.header, "$INSUNITS", "release 12 has none")
	names := []string{"OUTLINE", "THIN", "HIDDEN", "CENTRE", "CUT", "GHOST", "CHECK"}
	sameLines(t, d, func(k draw.Kind) string { return names[k] }, f.lines)
	for k, name := range names {
		switch draw.Kind(k) {
		case draw.Hidden, draw.Centre, draw.Ghost:
			assert.Equal(t, name, f.layers[name])
			assert.NotEmpty(t, f.dashes[name])
		default:
			assert.Equal(t, "CONTINUOUS", f.layers[name])
		}
	}
	assert.Equal(t, []float64{4.2, -1.05}, f.dashes["HIDDEN"])
	assert.Equal(t, 2, f.solids, "arrow heads")
	assert.Equal(t, []string{"30.0"}, f.turns)
	assert.Len(t, f.lines["FILL"], 1)
	for _, words := range []string{"mixed", "first", "300.0", "must measure 100 mm", "1 drawing unit = 1 mm"} {
		assert.Contains(t, f.texts, words)
	}
	checkLengths(t, f.lines["CHECK"][1:])
}

// ezdxf (Debian's python3-ezdxf) is a general DXF library: it audits the file and
// says where its lines are.
func TestDXFReadByEzdxf(t *testing.T) {
	const script = `
import sys, io
try:
    from ezdxf import recover, bbox
except ImportError:
    print("none")
    sys.exit()
doc, audit = recover.read(io.BytesIO(sys.stdin.buffer.read()))
print(doc.dxfversion, len(audit.errors), len(audit.fixes))
space = doc.modelspace()
for name in ["OUTLINE", "HIDDEN", "CENTRE", "CUT"]:
    parts = [e for e in space.query("POLYLINE") if e.dxf.layer == name]
    box = bbox.extents(parts, flatten=0.001)
    total = sum(e.dxf.radius * (((e.dxf.end_angle - e.dxf.start_angle) % 360) * 3.141592653589793 / 180) if e.dxftype() == "ARC"
        else e.dxf.start.distance(e.dxf.end) for p in parts for e in p.virtual_entities())
    print(name, doc.layers.get(name).dxf.linetype, len(parts), round(total, 2), *[round(v, 2) for v in (box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y)])
print([e.dxf.text for e in space.query("TEXT")])
`
	d := mixed()
	var b bytes.Buffer
	require.NoError(t, draw.WriteDXF(&b, d))
	var out []byte
	for _, python := range []string{"/usr/bin/python3", "python3"} {
		cmd := exec.Command(python, "-c", script)
		cmd.Stdin = bytes.NewReader(b.Bytes())
		var err error
		if out, err = cmd.CombinedOutput(); err != nil && !errors.Is(err, exec.ErrNotFound) && !errors.Is(err, fs.ErrNotExist) {
			require.NoError(t, err, string(out))
		}
		if len(out) > 0 && string(out) != "none\n" {
			break
		}
		out = nil
	}
	if out == nil {
		t.Skip("no python3 with ezdxf")
	}
	lines := strings.Split(string(out), "\n")
	assert.Equal(t, "AC1009 0 0", lines[0])
	for i, k := range []draw.Kind{draw.Outline, draw.Hidden, draw.Centre, draw.Cut} {
		var name, lineType string
		var n int
		var total, x0, y0, x1, y1 float64
		_, err := fmt.Sscan(lines[1+i], &name, &lineType, &n, &total, &x0, &y0, &x1, &y1)
		require.NoError(t, err, lines[1+i])
		var of draw.Drawing
		sum := 0.0
		for _, s := range d.Strokes {
			if s.Kind == k {
				of.Strokes = append(of.Strokes, s)
				sum += length(s.Polyline(1e-5))
			}
		}
		assert.Equal(t, len(of.Strokes), n)
		assert.InDelta(t, sum, total, 0.05, name)
		want := of.Bounds()
		// Its bounds take arcs for curves of quarters, which are up to 2.7e-4 of a
		// radius outside.
		off := 3e-4*max(want.Size().X, want.Size().Y) + 0.01
		for _, v := range [][2]float64{{want.X.Lo, x0}, {want.Y.Lo, y0}, {want.X.Hi, x1}, {want.Y.Hi, y1}} {
			assert.InDelta(t, v[0], v[1], off, name)
		}
	}
	assert.Contains(t, lines[5], "must measure 100 mm")
}
