package draw_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/export/draw"
)

// cellOf reads column and row, from 0, off a tile's name.
func cellOf(t require.TestingT, tile string) (col, row int) {
	letters := strings.TrimRight(tile, "0123456789")
	for _, r := range letters {
		col = 26*col + int(r-'A') + 1
	}
	_, err := fmt.Sscan(tile[len(letters):], &row)
	require.NoError(t, err)
	return col - 1, row - 1
}

// Nothing of a drawing is lost between pages, and all of them hang together.
func TestTilesCoverTheDrawing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.SampledFrom([]float64{150, 400, 900, 1500}).Draw(t, "size")
		d := strokes(size).Draw(t, "drawing")
		p := rapid.SampledFrom([]draw.Paper{draw.A4, draw.A3, draw.Letter, {Name: "small", Width: 200, Height: 190}}).Draw(t, "paper")
		pages, err := draw.Tile(d, p)
		require.NoError(t, err)
		for _, s := range d.Strokes {
			for _, v := range s.Polyline(0.01) {
				found := false
				for _, g := range pages {
					found = found || g.Net.ContainsPoint(v)
				}
				require.True(t, found, "%v", v)
			}
		}
		places := map[[2]int]draw.Page{}
		for i, g := range pages {
			// Paper as asked for, standing or on its side; the area is within its margins.
			require.Equal(t, p.Name, g.Paper.Name)
			require.InDelta(t, p.Width*p.Height, g.Paper.Width*g.Paper.Height, 1e-6)
			low, high := g.At, g.At.Add(g.Net.Size())
			require.True(t, low.X >= 10 && low.Y >= 10 && high.X <= g.Paper.Width-10 && high.Y <= g.Paper.Height-10, "%v %v", low, high)
			if len(pages) == 1 {
				require.Empty(t, g.Tile)
				return
			}
			// 10 mm of margin each, 5 mm of waste on the left and at the top, 10 mm of
			// flap on the right.
			require.InDelta(t, 15, low.X, 1e-9)
			require.InDelta(t, g.Paper.Width-20, high.X, 1e-9)
			require.InDelta(t, g.Paper.Height-15, high.Y, 1e-9)
			col, row := cellOf(t, g.Tile)
			places[[2]int{col, row}] = g
			if i > 0 {
				c, r := cellOf(t, pages[i-1].Tile)
				require.True(t, row > r || row == r && col > c, "row by row")
			}
		}
		// Walk from the first to all others; where two are neighbours, their areas meet.
		var walk func(at [2]int)
		seen := map[[2]int]bool{}
		walk = func(at [2]int) {
			seen[at] = true
			for _, d := range [][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				next := [2]int{at[0] + d[0], at[1] + d[1]}
				n, ok := places[next]
				if !ok {
					continue
				}
				a, b := places[at].Net, n.Net
				require.InDelta(t, a.X.Lo+float64(d[0])*a.Size().X, b.X.Lo, 1e-9)
				require.InDelta(t, a.Y.Lo-float64(d[1])*a.Size().Y, b.Y.Lo, 1e-9)
				if !seen[next] {
					walk(next)
				}
			}
		}
		c, r := cellOf(t, pages[0].Tile)
		walk([2]int{c, r})
		require.Len(t, seen, len(pages))
	})
}

// A hoop's inside is air: those pages are left out. Two marks far apart still hang
// together, by as few pages as there can be.
func TestTilesLeftOut(t *testing.T) {
	pages, err := draw.Tile(hoop(1200, 1250), draw.A4)
	require.NoError(t, err)
	cols, rows := 0, 0
	for _, p := range pages {
		c, r := cellOf(t, p.Tile)
		cols, rows = max(cols, c+1), max(rows, r+1)
	}
	assert.Greater(t, cols*rows, 40)
	assert.Equal(t, 2*(cols+rows)-4, len(pages), "a ring of %d x %d", cols, rows)

	d := &draw.Drawing{Title: "two marks"}
	d.Line(draw.Outline, at(0, 0), at(10, 0))
	d.Line(draw.Outline, at(1000, 1000), at(1010, 1000))
	pages, err = draw.Tile(d, draw.A4)
	require.NoError(t, err)
	cols, rows = 0, 0
	for _, p := range pages {
		c, r := cellOf(t, p.Tile)
		cols, rows = max(cols, c+1), max(rows, r+1)
	}
	assert.Equal(t, cols+rows-1, len(pages), "from corner to corner of %d x %d", cols, rows)

	// One sheet where one is enough, standing or lying.
	for _, size := range [][2]float64{{180, 240}, {260, 140}} {
		d := &draw.Drawing{}
		d.Line(draw.Outline, at(0, 0), at(size[0], size[1]))
		pages, err := draw.Tile(d, draw.A4)
		require.NoError(t, err)
		require.Len(t, pages, 1)
		assert.Equal(t, size[0] > size[1], pages[0].Paper.Width > pages[0].Paper.Height)
	}
}

func TestArrange(t *testing.T) {
	box := func(name string, w, h float64) *draw.Drawing {
		d := &draw.Drawing{Title: name, Notes: []string{"a note"}}
		d.Polygon(draw.Outline, at(0, 0), at(w, 0), at(w, h), at(0, h))
		return d
	}
	small, wide, wall := box("small", 60, 40), box("wide", 250, 30), box("wall", 600, 500)
	for _, c := range []struct {
		ds   []*draw.Drawing
		want []string // pages: "S" standing, "L" lying, "T" of tiles
	}{
		{[]*draw.Drawing{small}, []string{"S"}},
		{slices.Repeat([]*draw.Drawing{small}, 6), []string{"S"}},
		{slices.Repeat([]*draw.Drawing{small}, 7), []string{"S", "S"}},
		{[]*draw.Drawing{small, wide, small}, []string{"S", "L"}}, // the last one finds room beside the wide one
		{[]*draw.Drawing{small, wall, small}, []string{"S", "T", "T", "T", "T", "T", "T", "T", "T", "T", "T", "S"}},
		{nil, nil},
	} {
		pages, err := draw.Arrange(c.ds, draw.A4)
		require.NoError(t, err)
		var got []string
		for _, p := range pages {
			switch {
			case p.Tile != "":
				got = append(got, "T")
			case p.Paper.Width > p.Paper.Height:
				got = append(got, "L")
			default:
				got = append(got, "S")
			}
		}
		assert.Equal(t, c.want, got)
	}
	pages, err := draw.Arrange([]*draw.Drawing{small, wall}, draw.Whole)
	require.NoError(t, err)
	assert.Len(t, pages, 2)
	_, err = draw.Arrange([]*draw.Drawing{small, {Title: "nothing"}}, draw.A4)
	assert.ErrorContains(t, err, `drawing "nothing" is empty`)
}

// Notes are never cut: what finds no room under the title gets pages of its own.
func TestLongNotes(t *testing.T) {
	note := strings.Repeat("Measure before you cut. ", 200)
	for _, size := range []float64{100, 900} {
		d := &draw.Drawing{Title: "much to read", Notes: []string{note, "the end"}}
		d.Line(draw.Outline, at(0, 0), at(size, size))
		pages, err := draw.Tile(d, draw.A4)
		require.NoError(t, err)
		assert.Empty(t, pages[0].Tile)
		assert.True(t, pages[0].Net.Size().Norm() == 0 || pages[0].Net.IsEmpty(), "notes first")
		assert.Greater(t, len(pages), 1)
	}
}

// Points of references.md F: A4 595.2756 x 841.8898, A3 841.8898 x 1190.5512,
// Letter 612 x 792.
func TestPapers(t *testing.T) {
	for _, c := range []struct {
		p    draw.Paper
		w, h float64
	}{{draw.A4, 595.2756, 841.8898}, {draw.A3, 841.8898, 1190.5512}, {draw.Letter, 612, 792}} {
		assert.InDelta(t, c.w, c.p.Width*72/25.4, 1e-4)
		assert.InDelta(t, c.h, c.p.Height*72/25.4, 1e-4)
	}
	// ISO 216: sides as 1 to the root of 2, A3 is two A4.
	assert.InDelta(t, math.Sqrt2, draw.A4.Height/draw.A4.Width, 0.003)
	assert.Equal(t, r2.Point{X: draw.A4.Height, Y: 2 * draw.A4.Width}, r2.Point{X: draw.A3.Width, Y: draw.A3.Height})
}
