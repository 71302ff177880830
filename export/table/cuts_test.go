package table

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/stock"
	"barwright/fit/tube"
)

// cuts is an invented list: a tube in sticks of two prices, one whose pieces fill
// their stick, one of which no stick is known.
func cuts(t testing.TB) []stock.TubePlan {
	t.Helper()
	var out []stock.TubePlan
	for _, c := range []struct {
		tube   string
		pieces []stock.Piece
		sticks []tube.Stick
	}{
		{"main", []stock.Piece{
			{Label: "main hoop", Length: 4321.46, Count: 1}, {Label: "=leg", Length: 1510.04, Count: 2}, {Label: "test piece, die d45", Length: 500, Count: 1},
		}, []tube.Stick{{Length: 6000, Price: 55.5, Stock: -1}, {Length: 3000, Price: 29, Stock: -1}}},
		{"-full", []stock.Piece{{Label: "cross", Length: 999, Count: 2}}, []tube.Stick{{Length: 2000, Stock: 4}}},
		{"loose", []stock.Piece{{Label: "strut", Length: 800, Count: 2}}, nil},
	} {
		p := stock.TubePlan{Tube: &tube.Spec{Name: c.tube}, Pieces: c.pieces}
		if c.sticks != nil {
			plan, err := stock.Pack(c.pieces, c.sticks, stock.Options{Kerf: 2})
			require.NoError(t, err)
			p.Plan = plan
		}
		out = append(out, p)
	}
	return out
}

func TestCutsGolden(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WriteCuts(&b, cuts(t)))
	golden(t, "cuts.csv", b.String())
}

// Read back, the rows say how to cut: every piece starts a kerf after the saw
// that freed the one before it, and the remnant is the rest of its stick.
func TestCutsAddUp(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WriteCuts(&b, cuts(t)))
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	require.Equal(t, strings.Split("tube,stick,stick_mm,piece,bar,length_mm,from_mm,saw_mm,price", ","), rows[0])
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	free, remnants := 0.0, 0
	for _, r := range rows[1:] {
		if r[1] == "" { // not packed
			assert.Equal(t, "loose", r[0])
			continue
		}
		if r[3] == "1" {
			free = 0
		}
		assert.InDelta(t, free, number(r[6]), 0.11) // two figures rounded to 0.1
		if r[3] == "remnant" {
			remnants++
			assert.InDelta(t, number(r[2]), number(r[6])+number(r[5]), 0.11)
			continue
		}
		end := number(r[6]) + number(r[5])
		free = number(r[2])
		if r[7] != "" {
			assert.InDelta(t, end, number(r[7]), 0.11)
			free = number(r[7]) + 2
		}
	}
	assert.Equal(t, 3, remnants)
}
