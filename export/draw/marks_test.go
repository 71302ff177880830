package draw

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/font/sfnt"
)

// The crosses and rings on both sides of a cut are at the same places of the
// drawing, and each says the other's name.
func TestNeighboursMarksCoincide(t *testing.T) {
	d := &Drawing{Title: "ring"}
	d.Circle(Outline, r2.Point{}, 400)
	pages, err := Tile(d, A4)
	require.NoError(t, err)
	byTile := map[string]Page{}
	for _, p := range pages {
		byTile[p.Tile] = p
	}
	// Middles of marks on a line of the drawing, rounded to 1e-6 mm.
	marks := func(p Page, on r2.Rect) []string {
		var out []string
		for _, s := range p.over.Strokes {
			box := boundsOf(s.Vertices, s.Closed)
			c := box.Center().Sub(p.At).Add(p.Net.Lo())
			if s.Kind == Thin && box.Size().X <= 2*crossArm+1e-9 && on.ExpandedByMargin(1e-6).ContainsPoint(c) {
				out = append(out, fmt.Sprintf("%.6f %.6f %.6f", c.X, c.Y, box.Size().X))
			}
		}
		slices.Sort(out)
		return out
	}
	says := func(p Page, words string) bool {
		return slices.ContainsFunc(p.over.Texts, func(t Text) bool { return t.Words == words })
	}
	joints := 0
	for _, p := range pages {
		for _, other := range pages {
			edge := p.Net.Intersection(other.Net.ExpandedByMargin(1e-9))
			across, along := edge.Size().X < 1e-6, edge.Size().Y < 1e-6
			if other.Tile == p.Tile || edge.IsEmpty() || across == along {
				continue
			}
			joints++
			mine, theirs := marks(p, edge), marks(other, edge)
			assert.Equal(t, mine, theirs, "%s and %s", p.Tile, other.Tile)
			// Two strokes of a cross at both corners, ring and cross in the middle.
			assert.Len(t, mine, 7)
			first := across && p.Net.X.Lo < other.Net.X.Lo || along && p.Net.Y.Lo > other.Net.Y.Lo
			assert.Equal(t, first, says(p, "glue "+other.Tile+" here"))
			assert.Equal(t, !first, says(p, "cut here, glue on "+other.Tile))
		}
	}
	assert.Greater(t, joints, 20)
}

// Curves of a PDF are within 0.005 mm of their arcs, whatever the radius.
func TestCurvesNearTheirArcs(t *testing.T) {
	for _, r := range []float64{0.5, 5, 22, 150, 1000, 5000, 1e5} {
		turn := curveTurn(r)
		for _, sign := range []float64{1, -1} {
			k := 4.0 / 3 * math.Tan(sign*turn/4) * r
			sin, cos := math.Sincos(sign * turn)
			p := [4]r2.Point{{X: r}, {X: r, Y: k}, {X: r*cos + k*sin, Y: r*sin - k*cos}, {X: r * cos, Y: r * sin}}
			worst := 0.0
			for s := 0.0; s <= 1; s += 0.001 {
				u := 1 - s
				q := p[0].Mul(u * u * u).Add(p[1].Mul(3 * u * u * s)).Add(p[2].Mul(3 * u * s * s)).Add(p[3].Mul(s * s * s))
				worst = max(worst, math.Abs(q.Norm()-r))
			}
			assert.LessOrEqual(t, worst, pdfChord*1.01, "radius %g", r)
			// And that is what pdfPath writes.
			var d Drawing
			d.Arc(Outline, r2.Point{}, r, 0, s1.Angle(sign*turn))
			var got [8]float64
			n, err := fmt.Sscanf(pdfPath(d.Strokes[0].Vertices, false), "%f %f m %f %f %f %f %f %f c", &got[0], &got[1], &got[2], &got[3], &got[4], &got[5], &got[6], &got[7])
			require.NoError(t, err)
			require.Equal(t, 8, n)
			for i := range p {
				assert.InDelta(t, 0, r2.Point{X: got[2*i], Y: got[2*i+1]}.Sub(p[i]).Norm(), 1e-4, "radius %g", r)
			}
		}
	}
}

func TestTileNames(t *testing.T) {
	for col, want := range map[int]string{0: "A3", 25: "Z3", 26: "AA3", 51: "AZ3", 52: "BA3", 701: "ZZ3", 702: "AAA3"} {
		assert.Equal(t, want, tileName(col, 2))
	}
}

func TestWrapped(t *testing.T) {
	words := "Lay the bent tube on the lines, a-very-long-word-that-finds-no-room-in-a-line-of-its-own then"
	lines := wrapped(words, 3, 50)
	for _, l := range lines {
		assert.LessOrEqual(t, (Text{Height: 3, Words: l}).Width(), 50.0)
	}
	assert.Equal(t, "Lay the bent tube on the", lines[0])
	assert.Equal(t, strings.ReplaceAll(words, " ", ""), strings.ReplaceAll(strings.Join(lines, ""), " ", ""), "nothing is lost")
	assert.Empty(t, wrapped(" \n", 3, 50))
	assert.Equal(t, "abc", fitted("abc", 3, true, 100))
	assert.LessOrEqual(t, (Text{Height: 3, Bold: true, Words: fitted("abcdefghijklmnop", 3, true, 20)}).Width(), 20.0)
}

func TestNoTwoLettersShareAGlyph(t *testing.T) {
	for _, bold := range []bool{false, true} {
		f, err := sfnt.Parse(face(bold).data)
		require.NoError(t, err)
		seen := map[sfnt.GlyphIndex]rune{}
		for r := ' '; r <= lastRune; r++ {
			g, err := f.GlyphIndex(nil, r)
			require.NoError(t, err)
			if g != 0 && seen[g] != 0 {
				assert.Fail(t, "shared", "%U and %U", seen[g], r)
			}
			seen[g] = r
		}
		assert.Greater(t, len(seen), 500)
	}
}
