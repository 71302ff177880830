package table

import (
	"encoding/csv"
	"io"
	"strconv"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/tube"
)

// Blanks and error budgets in cage.json; all of it is an addition of ours.
type (
	blankJSON struct {
		Length number      `json:"length_mm"`
		Beyond [2]number   `json:"beyond_mm"` // from the sawn ends A and B to the bar's nodes
		First  string      `json:"first_end"`
		Why    string      `json:"why"`
		Drift  number      `json:"drift_mm"`
		Steps  []stepJSON  `json:"steps"`
		Limits []limitJSON `json:"limits"`
	}
	stepJSON struct {
		Bend      int    `json:"bend"`
		FromA     number `json:"from_a_mm"`
		FromB     number `json:"from_b_mm"`
		Rotation  number `json:"rotation_deg"`
		Angle     number `json:"angle_deg"`
		Exact     number `json:"exact_deg"`
		Set       number `json:"set_deg"`
		Gives     number `json:"gives_deg"`
		Estimated bool   `json:"set_estimated"`
	}
	limitJSON struct {
		Rule   string `json:"rule"`
		Bend   int    `json:"bend,omitempty"`
		Got    number `json:"got"`
		Limit  number `json:"limit"`
		Unit   string `json:"unit"`
		Detail string `json:"detail"`
		Change string `json:"change"`
	}
	budgetJSON struct {
		Angle  number            `json:"tolerance_deg"`
		Length number            `json:"tolerance_mm"`
		Draws  int               `json:"draws"`
		Clears number            `json:"clears"`
		Need95 number            `json:"need95_mm"`
		Bends  []sensitivityJSON `json:"bends"`
	}
	sensitivityJSON struct {
		EndPerDegree number `json:"end_mm_per_deg"`
		EndPerTurn   number `json:"end_mm_per_turn_deg"`
		EndPerMM     number `json:"end_mm_per_mm"`
		GapPerDegree number `json:"gap_mm_per_deg"`
		GapPerTurn   number `json:"gap_mm_per_turn_deg"`
		GapPerMM     number `json:"gap_mm_per_mm"`
	}
)

func blankOut(b *bender.Blank) *blankJSON {
	if b == nil {
		return nil
	}
	out := &blankJSON{
		Length: number(b.Length), Beyond: [2]number{number(b.Beyond[0]), number(b.Beyond[1])},
		First: "AB"[b.First : b.First+1], Why: b.Why, Drift: number(b.Drift),
		Steps: make([]stepJSON, 0, len(b.Steps)), Limits: make([]limitJSON, 0, len(b.Limits)),
	}
	for _, s := range b.Steps {
		out.Steps = append(out.Steps, stepJSON{
			Bend: s.Bend, FromA: number(s.Mark[0]), FromB: number(s.Mark[1]), Rotation: degrees(s.Rotation),
			Angle: degrees(s.Angle), Exact: degrees(s.Exact), Set: degrees(s.Set), Gives: degrees(s.Gives), Estimated: s.Estimated,
		})
	}
	for _, l := range b.Limits {
		out.Limits = append(out.Limits, limitJSON{l.Rule, l.Bend, number(l.Got), number(l.Limit), l.Unit, l.Detail, l.Change})
	}
	return out
}

func blankIn(in *blankJSON) *bender.Blank {
	if in == nil {
		return nil
	}
	out := &bender.Blank{
		Length: float64(in.Length), Beyond: [2]float64{float64(in.Beyond[0]), float64(in.Beyond[1])},
		Why: in.Why, Drift: float64(in.Drift),
	}
	if in.First == "B" {
		out.First = 1
	}
	for _, s := range in.Steps {
		out.Steps = append(out.Steps, bender.Step{
			Bend: s.Bend, Mark: [2]float64{float64(s.FromA), float64(s.FromB)}, Rotation: angle(s.Rotation),
			Angle: angle(s.Angle), Exact: angle(s.Exact), Set: angle(s.Set), Gives: angle(s.Gives), Estimated: s.Estimated,
		})
	}
	for _, l := range in.Limits {
		out.Limits = append(out.Limits, bender.Limit{
			Rule: l.Rule, Bend: l.Bend, Got: float64(l.Got), Limit: float64(l.Limit), Unit: l.Unit, Detail: l.Detail, Change: l.Change,
		})
	}
	return out
}

func budgetOut(b *fit.Budget) *budgetJSON {
	if b == nil {
		return nil
	}
	out := &budgetJSON{
		Angle: degrees(b.Angle), Length: number(b.Length), Draws: b.Draws, Clears: number(b.Clears), Need95: number(b.Need95),
		Bends: make([]sensitivityJSON, 0, len(b.Bends)),
	}
	for _, s := range b.Bends {
		out.Bends = append(out.Bends, sensitivityJSON{
			EndPerDegree: number(s.EndPerDegree), EndPerTurn: number(s.EndPerTurn), EndPerMM: number(s.EndPerMM),
			GapPerDegree: number(s.GapPerDegree), GapPerTurn: number(s.GapPerTurn), GapPerMM: number(s.GapPerMM),
		})
	}
	return out
}

func budgetIn(in *budgetJSON) *fit.Budget {
	if in == nil {
		return nil
	}
	out := &fit.Budget{
		Angle: angle(in.Angle), Length: float64(in.Length), Draws: in.Draws, Clears: float64(in.Clears), Need95: float64(in.Need95),
	}
	for _, s := range in.Bends {
		out.Bends = append(out.Bends, fit.Sensitivity{
			EndPerDegree: float64(s.EndPerDegree), EndPerTurn: float64(s.EndPerTurn), EndPerMM: float64(s.EndPerMM),
			GapPerDegree: float64(s.GapPerDegree), GapPerTurn: float64(s.GapPerTurn), GapPerMM: float64(s.GapPerMM),
		})
	}
	return out
}

// WriteMarks writes what is done at the bender: one CSV row per bar with the
// blank to saw off, then one per bend in the order in which they are made. The
// columns are bar,step,bend,first_end,blank_mm,from_a_mm,from_b_mm,turn_deg,set_deg,gives_deg,angle_deg.
// The row of the blank has "saw" as its step, the blank's length in blank_mm, and
// in from_a_mm and from_b_mm how far the bar's nodes A and B lie inside the sawn
// ends. The rows of bends have the place of their mark from either sawn end, by
// how much the tube is turned before them, and the angle to set. Bars without a
// plan are left out. Rounded to 0.1, set angles to 0.01.
func WriteMarks(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{"bar", "step", "bend", "first_end", "blank_mm", "from_a_mm", "from_b_mm", "turn_deg", "set_deg", "gives_deg", "angle_deg"}}
	for _, b := range c.Bars {
		if b.Blank == nil {
			continue
		}
		name, end := text(b.Name), "AB"[b.Blank.First:b.Blank.First+1]
		rows = append(rows, []string{
			name, "saw", "", end, Fixed(b.Blank.Length, 1), Fixed(b.Blank.Beyond[0], 1), Fixed(b.Blank.Beyond[1], 1), "", "", "", "",
		})
		for i, s := range b.Blank.Steps {
			rows = append(rows, []string{
				name, strconv.Itoa(i + 1), strconv.Itoa(s.Bend), end, "", Fixed(s.Mark[0], 1), Fixed(s.Mark[1], 1),
				rotation(tube.Degrees(s.Rotation)), Fixed(tube.Degrees(s.Set), 2), Fixed(tube.Degrees(s.Gives), 2), Fixed(tube.Degrees(s.Angle), 1),
			})
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}
