package sheet

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/export/draw"
	"barwright/fit/stock"
	"barwright/fit/tube"
)

// sawn is an invented cage's tube, packed into sticks of two lengths.
func sawn(t testing.TB, bars int) stock.TubePlan {
	t.Helper()
	p := stock.TubePlan{Tube: &tube.Spec{Name: "main"}, Bought: 42.53}
	for i, b := range []stock.Piece{
		{Label: "main hoop", Length: 4321.5, Count: 1}, {Label: "side bar", Length: 2684.1, Count: 2},
		{Label: "diagonal", Length: 1633.2, Count: 1}, {Label: "door bar, upper", Length: 1270, Count: 2},
		{Label: "a bar whose name is far longer than any piece of it can hold", Length: 310.4, Count: 1},
		{Label: "gusset tube", Length: 40, Count: 2}, {Label: "test piece, die d44", Length: 520, Count: 1},
	} {
		if i < bars {
			p.Pieces = append(p.Pieces, b)
		}
	}
	plan, err := stock.Pack(p.Pieces, []tube.Stick{{Length: 6000, Price: 55.5, Stock: -1}, {Length: 3000, Price: 29, Stock: -1}}, stock.Options{Kerf: 2})
	require.NoError(t, err)
	p.Plan = plan
	return p
}

func allWords(d *draw.Drawing) string {
	var all []string
	for _, t := range d.Texts {
		all = append(all, t.Words)
	}
	return strings.Join(append(all, d.Notes...), "\n")
}

func TestSticksSayWhereToSaw(t *testing.T) {
	p := sawn(t, 9)
	ds := Sticks(p, false)
	require.Len(t, ds, 1)
	d := ds[0]
	all := allWords(d)
	assert.Contains(t, d.Notes[0], "Not in true size")
	assert.Contains(t, all, "price "+fmt.Sprintf("%.2f", p.Plan.Cost))
	assert.Contains(t, all, "no other way to saw them costs less")
	scale := stickWide / 6000
	var cuts []float64
	for _, s := range d.Strokes {
		if s.Kind == draw.Cut {
			cuts = append(cuts, s.Vertices[0].X/scale)
		}
	}
	for i, c := range p.Plan.Sticks {
		assert.Contains(t, all, fmt.Sprintf("Stick %d of %d: %.0f mm", i+1, len(p.Plan.Sticks), c.Stick.Length))
		for _, q := range c.Pieces {
			assert.Contains(t, all, fmt.Sprintf("%.1f, saw at %.1f", q.Length, q.To))
			require.NotEmpty(t, cuts)
			assert.InDelta(t, q.To, cuts[0], 1e-6)
			cuts = cuts[1:]
		}
		if c.Remnant > 0 {
			assert.Contains(t, all, fmt.Sprintf("left over: %.1f", c.Remnant))
		}
	}
	assert.Empty(t, cuts)
	assert.LessOrEqual(t, d.Bounds().Size().X, stickWide+1)

	var svg, again bytes.Buffer
	require.NoError(t, draw.WriteSVG(&svg, d))
	require.NoError(t, draw.WriteSVG(&again, Sticks(p, false)[0]))
	assert.Equal(t, svg.String(), again.String())
}

// Words in a stick stand between its saw cuts, and no two texts overlap.
func TestSticksAreLegible(t *testing.T) {
	for _, inches := range []bool{false, true} {
		for _, d := range Sticks(sawn(t, 9), inches) {
			var boxes []r2.Rect
			for _, x := range d.Texts {
				one := draw.Drawing{Texts: []draw.Text{x}}
				box := one.Bounds()
				for _, other := range boxes {
					assert.False(t, box.InteriorIntersects(other), "%q", x.Words)
				}
				boxes = append(boxes, box)
				for _, s := range d.Strokes {
					if s.Kind == draw.Cut {
						a, b := s.Vertices[0].Point, s.Vertices[1].Point
						cut := r2.RectFromPoints(a, b)
						assert.False(t, box.Intersects(cut), "%q", x.Words)
					}
				}
			}
		}
	}
}

func TestManySticksGoOnSeveralPages(t *testing.T) {
	p := stock.TubePlan{Tube: &tube.Spec{Name: "main"}}
	pieces := []stock.Piece{{Label: "leg", Length: 1400, Count: 45}}
	plan, err := stock.Pack(pieces, []tube.Stick{{Length: 6000, Stock: -1}}, stock.Options{Kerf: 2})
	require.NoError(t, err)
	p.Plan = plan
	ds := Sticks(p, false)
	require.Greater(t, len(ds), 1)
	all := ""
	for _, d := range ds {
		all += allWords(d) + "\n"
		assert.LessOrEqual(t, d.Bounds().Size().Y, sheetSticks)
		assert.Contains(t, d.Title, "Sticks of main, ")
	}
	for i := range plan.Sticks {
		assert.Contains(t, all, fmt.Sprintf("Stick %d of 12: 6000 mm", i+1))
	}
	for _, paper := range []draw.Paper{draw.A4, draw.Letter} {
		pages, err := draw.Arrange(ds, paper)
		require.NoError(t, err)
		assert.Len(t, pages, len(ds), "each goes on one page of %s", paper.Name)
	}

	assert.Empty(t, Sticks(stock.TubePlan{Tube: p.Tube}, false), "no plan, no picture")
}
