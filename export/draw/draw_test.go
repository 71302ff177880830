package draw_test

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/export/draw"
)

// TestMain fixes the seed of the property tests, so that a run can be repeated,
// and keeps failure files out of the tree; BARWRIGHT_FULL=1 runs many more.
func TestMain(m *testing.M) {
	settings := map[string]string{"rapid.seed": "1", "rapid.nofailfile": "true", "rapid.checks": "60"}
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		settings["rapid.checks"] = "2000"
	}
	for name, value := range settings {
		if err := flag.Set(name, value); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	flag.Parse()
	os.Exit(m.Run())
}

func at(x, y float64) r2.Point { return r2.Point{X: x, Y: y} }

// hoop is a flat bar as a template shows it: both edges of the tube with its
// middle, two bends of 90 degrees, cuts at its feet, a dimension.
func hoop(width, height float64) *draw.Drawing {
	const clr, r = 152.4, 22.2
	d := &draw.Drawing{Title: "main hoop: template", Notes: []string{"Lay the bent tube on the lines."}}
	quarter := math.Tan(math.Pi / 8)
	for _, e := range []struct {
		kind draw.Kind
		off  float64
	}{{draw.Outline, r}, {draw.Centre, 0}, {draw.Outline, -r}} {
		x, y, b := width/2-r+e.off, height-r+e.off, clr+e.off
		d.Strokes = append(d.Strokes, draw.Stroke{Kind: e.kind, Vertices: []draw.Vertex{
			{Point: at(-x, 0)}, {Point: at(-x, y-b), Bulge: -quarter},
			{Point: at(-x+b, y)}, {Point: at(x-b, y), Bulge: -quarter},
			{Point: at(x, y-b)}, {Point: at(x, 0)},
		}})
	}
	for _, s := range []float64{-1, 1} {
		d.Line(draw.Cut, at(s*width/2, 0), at(s*(width/2-2*r), 0))
	}
	d.Dimension(at(-width/2, 0), at(width/2, 0), 60, fmt.Sprintf("%.1f", width))
	return d
}

// nearest returns the distance of p from a chain of points.
func nearest(p r2.Point, chain []r2.Point) float64 {
	best := math.Inf(1)
	for i := 1; i < len(chain); i++ {
		a, way := chain[i-1], chain[i].Sub(chain[i-1])
		s := 0.0
		if n := way.Dot(way); n > 0 {
			s = min(max(p.Sub(a).Dot(way)/n, 0), 1)
		}
		best = min(best, p.Sub(a.Add(way.Mul(s))).Norm())
	}
	return best
}

func length(chain []r2.Point) float64 {
	sum := 0.0
	for i := 1; i < len(chain); i++ {
		sum += chain[i].Sub(chain[i-1]).Norm()
	}
	return sum
}

func TestArcs(t *testing.T) {
	for _, c := range []struct{ from, to float64 }{{0, 90}, {90, 0}, {-30, 300}, {300, -30}, {10, 369}, {170, 190}, {0, 0.1}} {
		var d draw.Drawing
		d.Arc(draw.Outline, at(30, -20), 250, s1.Angle(c.from)*s1.Degree, s1.Angle(c.to)*s1.Degree)
		require.Len(t, d.Strokes, 1)
		for _, chord := range []float64{0.5, 0.01} {
			pts := d.Strokes[0].Polyline(chord)
			for i, p := range pts {
				assert.InDelta(t, 250, p.Sub(at(30, -20)).Norm(), 1e-9)
				if i > 0 {
					middle := p.Add(pts[i-1]).Mul(0.5)
					assert.LessOrEqual(t, 250-middle.Sub(at(30, -20)).Norm(), chord+1e-9)
				}
			}
			sin, cos := math.Sincos(c.from * math.Pi / 180)
			assert.InDelta(t, 0, pts[0].Sub(at(30+250*cos, -20+250*sin)).Norm(), 1e-9)
			sin, cos = math.Sincos(c.to * math.Pi / 180)
			assert.InDelta(t, 0, pts[len(pts)-1].Sub(at(30+250*cos, -20+250*sin)).Norm(), 1e-9)
			// Chords of an error e are short of their arc by 8 e^2 / (3 w r^2) or so:
			// two parts in a thousand at most here.
			assert.InDelta(t, 250*math.Abs(c.to-c.from)*math.Pi/180, length(pts), 0.002*length(pts))
		}
		// Counterclockwise to larger angles: the middle of the arc tells.
		pts := d.Strokes[0].Polyline(0.001)
		sin, cos := math.Sincos((c.from + c.to) / 2 * math.Pi / 180)
		assert.Less(t, nearest(at(30+250*cos, -20+250*sin), pts), 0.002)
	}
	var d draw.Drawing
	d.Circle(draw.Thin, at(1, 2), 50)
	assert.True(t, d.Strokes[0].Closed)
	assert.InDelta(t, 2*math.Pi*50, length(d.Strokes[0].Polyline(1e-4)), 1e-2)
	box := d.Bounds()
	for _, side := range [][2]float64{{-49, box.X.Lo}, {51, box.X.Hi}, {-48, box.Y.Lo}, {52, box.Y.Hi}} {
		assert.InDelta(t, side[0], side[1], 1e-9)
	}
}

// strokes draws lines of any shape, within half a size of 0.
func strokes(size float64) *rapid.Generator[*draw.Drawing] {
	return rapid.Custom(func(t *rapid.T) *draw.Drawing {
		d := &draw.Drawing{Title: "a drawing"}
		pos := rapid.Float64Range(-size/2, size/2)
		for range rapid.IntRange(1, 5).Draw(t, "strokes") {
			s := draw.Stroke{Kind: draw.Kind(rapid.IntRange(0, int(draw.Check)).Draw(t, "kind")), Closed: rapid.Bool().Draw(t, "closed")}
			for range rapid.IntRange(2, 5).Draw(t, "vertices") {
				s.Vertices = append(s.Vertices, draw.Vertex{
					Point: at(pos.Draw(t, "x"), pos.Draw(t, "y")),
					Bulge: rapid.SampledFrom([]float64{0, 0, 1, -1, 0.4, -0.1, 1.5}).Draw(t, "bulge"),
				})
			}
			d.Strokes = append(d.Strokes, s)
		}
		return d
	})
}

func TestBoundsHoldAllPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := strokes(1000).Draw(t, "drawing")
		box, met := d.Bounds(), r2.EmptyRect()
		for _, s := range d.Strokes {
			for _, p := range s.Polyline(0.001) {
				require.True(t, box.ExpandedByMargin(1e-6).ContainsPoint(p))
				met = met.AddPoint(p)
			}
		}
		require.True(t, met.ExpandedByMargin(0.0011).Contains(box), "no larger than needed: %v, %v", met, box)
	})
}

func TestAdd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := strokes(500).Draw(t, "drawing")
		d.Text(at(3, 4), 5, draw.Right, "words")
		d.Fills = []draw.Fill{{Grey: 0.5, Vertices: d.Strokes[0].Vertices}}
		shift, turn := at(rapid.Float64Range(-99, 99).Draw(t, "x"), 7), s1.Angle(rapid.Float64Range(-4, 4).Draw(t, "turn"))
		var out draw.Drawing
		out.Add(d, shift, turn)
		sin, cos := math.Sincos(turn.Radians())
		moved := func(p r2.Point) r2.Point {
			return at(shift.X+cos*p.X-sin*p.Y, shift.Y+sin*p.X+cos*p.Y)
		}
		for i, s := range d.Strokes {
			was, is := s.Polyline(0.01), out.Strokes[i].Polyline(0.01)
			require.InDelta(t, length(was), length(is), 1e-3)
			for _, p := range was {
				require.Less(t, nearest(moved(p), is), 0.02)
			}
		}
		require.Less(t, out.Texts[0].At.Sub(moved(at(3, 4))).Norm(), 1e-9)
		require.Equal(t, turn, out.Texts[0].Turn)
		require.Len(t, out.Fills, 1)
	})
}

// inside is an even-odd test by winding of a ray to the left, written apart from
// the hatching.
func inside(p r2.Point, ring []r2.Point) bool {
	in := false
	for i := range ring {
		a, b := ring[i], ring[(i+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X > a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// Hatching of a star with dents: every line is inside, and lines times spacing are
// its area, as its corners give it.
func TestHatch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var outline []draw.Vertex
		var ring []r2.Point
		n := rapid.IntRange(3, 12).Draw(t, "corners")
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			p := at(100+cos*rapid.Float64Range(20, 100).Draw(t, "r"), 0)
			p.Y = sin * (p.X - 100) / cos
			if math.Abs(cos) < 1e-9 {
				p = at(100, sin*50)
			}
			ring, outline = append(ring, p), append(outline, draw.Vertex{Point: p})
		}
		area := 0.0
		for i := range ring {
			area += ring[i].Cross(ring[(i+1)%n]) / 2
		}
		const spacing = 0.25
		angle := s1.Angle(rapid.Float64Range(-3, 3).Draw(t, "angle"))
		var d draw.Drawing
		d.Hatch(outline, spacing, angle)
		sum := 0.0
		for _, s := range d.Strokes {
			require.Equal(t, draw.Thin, s.Kind)
			a, b := s.Vertices[0].Point, s.Vertices[1].Point
			way := b.Sub(a)
			sum += way.Norm()
			for _, share := range []float64{0.01, 0.5, 0.99} {
				if p := a.Add(way.Mul(share)); way.Norm() > 0.1 {
					require.True(t, inside(p, ring), "%v", p)
				}
			}
			require.InDelta(t, 0, way.Cross(at(math.Cos(angle.Radians()), math.Sin(angle.Radians()))), 1e-9)
		}
		require.InDelta(t, area, sum*spacing, 0.01*area+3*spacing*spacing*float64(n))
	})
	var d draw.Drawing
	d.Hatch([]draw.Vertex{{Point: at(-50, 0), Bulge: 1}, {Point: at(50, 0), Bulge: 1}}, 0.1, 0.3)
	sum := 0.0
	for _, s := range d.Strokes {
		sum += length(s.Polyline(1))
	}
	assert.InDelta(t, math.Pi*2500, sum*0.1, 5, "a circle of two arcs")
	n := len(d.Strokes)
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1), 1e-9} {
		d.Hatch([]draw.Vertex{{}, {Point: at(1, 0)}, {Point: at(0, 1)}}, bad, 0)
	}
	d.Hatch(nil, 1, 0)
	d.Hatch([]draw.Vertex{{}, {Point: at(math.NaN(), 0)}, {Point: at(0, 1)}}, 1, 0)
	assert.Len(t, d.Strokes, n)
}

func TestDimension(t *testing.T) {
	for _, c := range []struct {
		b      r2.Point
		offset float64
		text   r2.Point // where its words stand
		turn   float64  // degrees
	}{
		{at(100, 0), 10, at(50, 11), 0},
		{at(100, 0), -10, at(50, -9), 0},
		{at(-100, 0), 10, at(-50, -9), 0},
		{at(0, 100), 10, at(-11, 50), 90}, // reads from the right
		{at(0, -100), 10, at(9, -50), 90},
		{at(0, 100), -10, at(9, 50), 90},
	} {
		var d draw.Drawing
		d.Dimension(at(0, 0), c.b, c.offset, "100.0")
		require.Len(t, d.Texts, 1)
		assert.InDelta(t, 0, d.Texts[0].At.Sub(c.text).Norm(), 1e-9, "%v: %v", c, d.Texts[0].At)
		assert.InDelta(t, c.turn, d.Texts[0].Turn.Degrees(), 1e-9)
		require.Len(t, d.Fills, 2)
		// Arrow heads touch the ends of a line that is as long as what it measures.
		a, b := d.Fills[0].Vertices[0].Point, d.Fills[1].Vertices[0].Point
		assert.InDelta(t, 100, a.Sub(b).Norm(), 1e-9)
		assert.InDelta(t, math.Abs(c.offset), nearest(a, []r2.Point{{}, c.b}), 1e-9)
		for _, s := range d.Strokes {
			assert.Equal(t, draw.Thin, s.Kind)
		}
	}
	// Too short for words, and for arrows.
	for _, x := range []float64{12, 4, 0} {
		var d draw.Drawing
		d.Dimension(at(0, 0), at(x, 0), 10, "4.0 mm or thereabouts")
		box := d.Bounds()
		assert.Greater(t, d.Texts[0].At.X-d.Texts[0].Width()/2, x)
		assert.Greater(t, box.X.Hi, d.Texts[0].At.X)
		assert.Len(t, d.Fills, 2)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

// writers writes a drawing in every way there is.
var writers = map[string]func(io.Writer, *draw.Drawing) error{
	"svg": draw.WriteSVG,
	"dxf": draw.WriteDXF,
	"A4":  func(w io.Writer, d *draw.Drawing) error { return writePDF(w, d, draw.A4) },
	"whole": func(w io.Writer, d *draw.Drawing) error {
		return writePDF(w, d, draw.Whole)
	},
	"arranged": func(w io.Writer, d *draw.Drawing) error {
		pages, err := draw.Arrange([]*draw.Drawing{d, d}, draw.Letter)
		if err != nil {
			return err
		}
		return draw.WritePDF(w, d.Title, pages)
	},
}

func writePDF(w io.Writer, d *draw.Drawing, p draw.Paper) error {
	pages, err := draw.Tile(d, p)
	if err != nil {
		return err
	}
	return draw.WritePDF(w, d.Title, pages)
}

func TestRefused(t *testing.T) {
	nan := math.NaN()
	for want, d := range map[string]*draw.Drawing{
		`drawing "nothing" is empty`:                             {Title: "nothing"},
		"line 1 (OUTLINE) has a coordinate that is not a number": {Strokes: []draw.Stroke{{Vertices: []draw.Vertex{{Point: at(nan, 0)}, {}}}}},
		"line 1 (CUT) has a coordinate that is not a number":     {Strokes: []draw.Stroke{{Kind: draw.Cut, Vertices: []draw.Vertex{{Bulge: math.Inf(1)}, {}}}}},
		"line 1 (THIN) has a coordinate":                         {Strokes: []draw.Stroke{{Kind: draw.Thin, Vertices: []draw.Vertex{{Point: at(0, 1e9)}, {}}}}},
		"line 1 (THIN) has 1 points":                             {Strokes: []draw.Stroke{{Kind: draw.Thin, Vertices: []draw.Vertex{{}}}}},
		"line 1 is of no known kind":                             {Strokes: []draw.Stroke{{Kind: draw.Check + 1, Vertices: []draw.Vertex{{}, {}}}}},
		"area 1 has":                                             {Fills: []draw.Fill{{Grey: nan, Vertices: []draw.Vertex{{}, {}, {}}}}},
		`text "words" has a place or height`:                     {Texts: []draw.Text{{Words: "words"}}},
		`text "more" has a place or height`:                      {Texts: []draw.Text{{Words: "more", Height: 3, Turn: s1.Angle(nan)}}},
	} {
		for name, write := range writers {
			assert.ErrorContains(t, write(io.Discard, d), want, name)
		}
	}
	var arc draw.Drawing
	arc.Arc(draw.Thin, at(0, 0), 100, 0, s1.InfAngle())
	assert.ErrorContains(t, draw.WriteSVG(io.Discard, &arc), "not a number")

	good := hoop(500, 400)
	for name, write := range writers {
		assert.ErrorIs(t, write(full{}, good), io.ErrClosedPipe, name)
	}
	assert.ErrorContains(t, draw.WritePDF(io.Discard, "job", nil), `PDF "job" has no pages`)
	for _, p := range []draw.Paper{{"stamp", 30, 40}, {"roll", 300, 9000}, {"odd", nan, 300}, {"thin", 0, 300}} {
		_, err := draw.Tile(good, p)
		assert.ErrorContains(t, err, "paper "+fmt.Sprintf("%q", p.Name))
		_, err = draw.Arrange([]*draw.Drawing{good}, p)
		assert.ErrorContains(t, err, "sides must be from 190 to 5080 mm")
	}
	_, err := draw.Tile(hoop(6000, 1000), draw.Whole)
	assert.ErrorContains(t, err, "a PDF page has at most 5080 mm (200 in)")
	_, err = draw.Tile(hoop(20000, 20000), draw.A4)
	assert.ErrorContains(t, err, "too large for A4")
}

func TestSameBytes(t *testing.T) {
	d := hoop(240, 300)
	// Letters that look alike.
	d.Text(at(0, 0), 5, draw.Left, "µμ ΩΩ ---‐ café")
	for name, write := range writers {
		var first bytes.Buffer
		require.NoError(t, write(&first, d))
		for range 20 {
			var again bytes.Buffer
			require.NoError(t, write(&again, d))
			require.True(t, bytes.Equal(first.Bytes(), again.Bytes()), name)
		}
	}
}

var hostile = map[string]string{
	"markup":   `</svg><script>alert("1")</script>&amp;<!--`,
	"controls": "a\x00b\x1b[2J\nc\r\n  0\nEOF\n\tz\x7f\u0085\u2028",
	"pdf":      `) Tj ET endstream endobj (\\( \101 %%EOF`,
	"invalid":  "\xff\xfe\xed\xa0\x80 \xf0\x28",
	"letters":  "Überrollbügel, дуга, στεφάνι, 弓, 🏎, עברית, \U000e0001",
	"long":     strings.Repeat("0123456789 abcdef", 640),
	"blank":    " \n\t ",
	"empty":    "",
}

func TestHostileWords(t *testing.T) {
	for name, words := range hostile {
		d := &draw.Drawing{Title: words, Notes: []string{words, words}}
		d.Line(draw.Outline, at(0, 0), at(400, 300))
		d.Text(at(10, 10), 4, draw.Middle, words)
		d.Text(at(10, 30), 4, draw.Right, words)
		d.Dimension(at(0, 0), at(400, 300), 20, words)
		t.Run(name, func(t *testing.T) {
			for _, write := range writers {
				require.NoError(t, write(io.Discard, d))
			}
			f := readSVG(t, d)
			assert.InDelta(t, 500, length(f.paths["outline"][0]), 1e-3)
			x := readDXF(t, d)
			assert.InDelta(t, 500, length(x.lines["OUTLINE"][0]), 1e-3)
			assert.LessOrEqual(t, len(x.texts), 3+400)
		})
	}
}

func BenchmarkWrite(b *testing.B) {
	for _, size := range []float64{400, 1200} {
		d := hoop(size, size)
		for _, name := range []string{"svg", "dxf", "A4", "whole"} {
			b.Run(fmt.Sprintf("%s/%gmm", name, size), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if err := writers[name](io.Discard, d); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

func BenchmarkTile(b *testing.B) {
	for _, lines := range []int{0, 1000, 10000} {
		d := hoop(1200, 1250)
		d.Hatch([]draw.Vertex{{Point: at(-500, 300)}, {Point: at(500, 300)}, {Point: at(0, 1000)}}, 700/float64(max(lines, 1)), 0)
		b.Run(fmt.Sprintf("%dlines", len(d.Strokes)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := draw.Tile(d, draw.A4); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func ExampleTile() {
	d := &draw.Drawing{Title: "a bow"}
	d.Arc(draw.Outline, r2.Point{}, 300, 0, 180*s1.Degree)
	d.Line(draw.Cut, r2.Point{X: -310}, r2.Point{X: -290})
	pages, err := draw.Tile(d, draw.A4)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range pages {
		fmt.Print(p.Tile, " ")
	}
	var file bytes.Buffer
	if err := draw.WritePDF(&file, "example", pages); err != nil {
		fmt.Println(err)
	}
	// Output:
	// A1 B1 C1 D1 A2 D2
}
