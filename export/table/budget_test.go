package table

import (
	"bytes"
	"encoding/csv"
	"math"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
)

// budgetCage has budgets: one that came out, one without a shell, and none.
func budgetCage(t testing.TB) *fit.Cage {
	c := cage(t)
	nan := math.NaN()
	c.Bars[0].Budget = &fit.Budget{
		Angle: s1.Degree / 2, Length: 1, Draws: 1000, Clears: 0.9996, Need95: 7.91,
		Bends: []fit.Sensitivity{
			{EndPerDegree: 24.268, EndPerMM: 1, GapPerDegree: -11.304, GapPerMM: -0.004},
			{EndPerDegree: 15.5, EndPerTurn: 17.453, EndPerMM: 1, GapPerDegree: -11.8, GapPerTurn: 0.126, GapPerMM: -1},
		},
	}
	c.Bars[1].Budget = &fit.Budget{
		Angle: s1.Degree / 2, Length: 1, Clears: nan, Need95: nan,
		Bends: []fit.Sensitivity{
			{EndPerDegree: 24.268, EndPerMM: 1, GapPerDegree: nan, GapPerTurn: nan, GapPerMM: nan},
			{EndPerDegree: 15.5, EndPerTurn: 17.453, EndPerMM: 1, GapPerDegree: nan, GapPerTurn: nan, GapPerMM: nan},
		},
	}
	return c
}

func TestBudgetGolden(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WriteBudget(&b, budgetCage(t)))
	golden(t, "budget.csv", b.String())
}

// Read by column names, as a spreadsheet's user does.
func TestBudgetColumns(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WriteBudget(&b, budgetCage(t)))
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+2+2, "the straight bar has no row")
	cell := func(row int, column string) string {
		for i, name := range rows[0] {
			if name == column {
				return rows[row][i]
			}
		}
		t.Fatalf("no column %s", column)
		return ""
	}
	assert.Equal(t, "'=HOOP", cell(1, "bar"), "no formula")
	assert.Equal(t, "99.9", cell(1, "clears_percent"), "not 100: some touch")
	assert.Equal(t, "8.0", cell(1, "need95_mm"), "rounded up")
	assert.Empty(t, cell(2, "clears_percent"))
	assert.Empty(t, cell(1, "end_mm_per_turn_deg"), "the first bend has no rotation")
	assert.Equal(t, "0.00", cell(1, "gap_mm_per_mm"), "no -0.00")
	assert.Equal(t, "-11.80", cell(2, "gap_mm_per_deg"))
	assert.Equal(t, "first", cell(2, "check"), "it takes more off the gap")
	assert.Empty(t, cell(1, "check"))
	for _, column := range []string{"gap_mm_per_deg", "gap_mm_per_turn_deg", "gap_mm_per_mm", "clears_percent", "need95_mm"} {
		assert.Empty(t, cell(3, column), "no shell")
	}
	assert.Equal(t, "24.27", cell(3, "end_mm_per_deg"))
	assert.Equal(t, "first", cell(3, "check"), "the far end counts")
}

func TestBudgetRounding(t *testing.T) {
	for v, want := range map[float64]string{95: "95.0", 95.3: "95.3", 100: "100.0", 99.999: "99.9", 0: "0.0"} {
		assert.Equal(t, want, Fixed(down(v), 1))
	}
	for v, want := range map[float64]string{0: "0.0", 7.9: "7.9", 7.9001: "8.0", 12: "12.0"} {
		assert.Equal(t, want, Fixed(-down(-v), 1))
	}
	for n := range 1001 { // shares of 1000 draws come out as they are
		assert.Equal(t, Fixed(float64(n)/10, 1), Fixed(down(100*(1-float64(1000-n)/1000)), 1))
	}
}
