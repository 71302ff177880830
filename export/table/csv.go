package table

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"

	"barwright/fit"
	"barwright/fit/tube"
)

// WriteBends writes one CSV row per bend, bars in cage order, columns
// bar,bend,feed_mm,rotation_deg,angle_deg,set_deg,mark_mm. The last row of a bar
// has "tail" as its bend and the last straight as its feed. Rounded to 0.1.
func WriteBends(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{"bar", "bend", "feed_mm", "rotation_deg", "angle_deg", "set_deg", "mark_mm"}}
	for _, b := range c.Bars {
		name := text(b.Name)
		for i, t := range b.Table.Bends {
			rows = append(rows, []string{
				name, strconv.Itoa(i + 1), Fixed(t.Feed, 1), rotation(tube.Degrees(t.Rotation)),
				Fixed(tube.Degrees(t.Angle), 1), Fixed(tube.Degrees(t.Set), 1), Fixed(t.Mark, 1),
			})
		}
		rows = append(rows, []string{name, "tail", Fixed(b.Table.Tail, 1), "", "", "", ""})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// WriteBars writes one CSV row per bar, in cage order, columns
// bar,tube,od_mm,wall_mm,bends,cut_mm,developed_mm,mass_kg,gap_min_mm,gap_mean_mm,gap_max_mm,status.
// cut_mm is what is sawn off for it, see fit.Bar.SawLength.
// Lengths are rounded to 0.1 mm, but tube sizes to 0.01 mm and masses to
// 0.01 kg.
func WriteBars(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{
		"bar", "tube", "od_mm", "wall_mm", "bends", "cut_mm", "developed_mm", "mass_kg",
		"gap_min_mm", "gap_mean_mm", "gap_max_mm", "status",
	}}
	for _, b := range c.Bars {
		rows = append(rows, []string{
			text(b.Name), text(b.Tube.Name), Fixed(b.Tube.OD, 2), Fixed(b.Tube.Wall, 2),
			strconv.Itoa(len(b.Table.Bends)), Fixed(b.SawLength(), 1), Fixed(b.Table.Developed, 1), Fixed(b.Tube.Mass(b.Path.Length), 2),
			Fixed(b.Gap.Min, 1), Fixed(b.Gap.Mean, 1), Fixed(b.Gap.Max, 1), Status(c, b.Name),
		})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// text guards a cell of free text: a spreadsheet takes what starts with one of
// these characters for a formula, even from a CSV file.
func text(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// Fixed formats v with that many decimals, never as "-0.0". What is not finite
// is empty.
func Fixed(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// rotation formats degrees to one decimal in (-180, 180]: what rounds to -180.0
// is the same turn as 180.0.
func rotation(deg float64) string {
	s := Fixed(deg, 1)
	if s == "-180.0" {
		return "180.0"
	}
	return s
}
