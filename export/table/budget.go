package table

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"barwright/fit"
	"barwright/fit/budget"
)

// WriteBudget writes one CSV row per bend, bars in cage order, columns
// bar,bend,end_mm_per_deg,end_mm_per_turn_deg,end_mm_per_mm,gap_mm_per_deg,gap_mm_per_turn_deg,gap_mm_per_mm,check,clears_percent,need95_mm.
// Changes are those of [fit.Sensitivity], rounded to 0.01; the cells of the first
// bend's rotation, which it has not, are empty. check is "first" for the bend to
// hold against the template first, see [budget.Worst]. The last two columns are
// the bar's and are in its first row: percent rounded down to 0.1, the
// clearance rounded up to 0.1 mm. Bars without a budget have no rows.
func WriteBudget(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{
		"bar", "bend", "end_mm_per_deg", "end_mm_per_turn_deg", "end_mm_per_mm",
		"gap_mm_per_deg", "gap_mm_per_turn_deg", "gap_mm_per_mm", "check", "clears_percent", "need95_mm",
	}}
	for _, b := range c.Bars {
		if b.Budget == nil {
			continue
		}
		worst := budget.Worst(b.Budget)
		for i, s := range b.Budget.Bends {
			row := []string{
				text(b.Name), strconv.Itoa(i + 1), Fixed(s.EndPerDegree, 2), Fixed(s.EndPerTurn, 2), Fixed(s.EndPerMM, 2),
				Fixed(s.GapPerDegree, 2), Fixed(s.GapPerTurn, 2), Fixed(s.GapPerMM, 2), "", "", "",
			}
			if i == 0 {
				row[3], row[6] = "", ""
				row[9], row[10] = Fixed(down(100*b.Budget.Clears), 1), Fixed(-down(-b.Budget.Need95), 1)
			}
			if i+1 == worst {
				row[8] = "first"
			}
			rows = append(rows, row)
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// down rounds down to 0.1, so that a table never promises more than was found.
// A millionth is let pass: it is the rounding of a share of draws.
func down(v float64) float64 { return math.Floor(v*10+1e-6) / 10 }
