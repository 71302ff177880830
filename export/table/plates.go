package table

import (
	"encoding/csv"
	"io"
	"math"

	"barwright/fit"
)

// plateJSON is a foot's plate in cage.json; all of it is an addition of ours.
// Fields are those of [fit.Plate].
type plateJSON struct {
	Bar       string    `json:"bar"`
	End       string    `json:"end"`
	Size      [2]number `json:"size_mm"`
	Thickness number    `json:"thickness_mm"`
	Centre    vector    `json:"centre_mm"`
	Normal    vector    `json:"normal"`
	First     vector    `json:"first"`
	Along     bool      `json:"along_bar"`
	Corners   [4]vector `json:"corners_mm"`
	Area      number    `json:"area_mm2"`
	Fitted    bool      `json:"fitted"`
	Above     number    `json:"above_mm"` // null: not fitted; so are the next two
	Below     number    `json:"below_mm"`
	RMS       number    `json:"rms_mm"`
	AboveAt   vector    `json:"above_at_mm"`
	BelowAt   vector    `json:"below_at_mm"`
	Contact   number    `json:"contact_mm2"`
	Spikes    int       `json:"spikes"`
	Tilt      number    `json:"tilt_deg"`
	Height    number    `json:"node_mm"`
	Missing   number    `json:"missing"`
	MissingAt vector    `json:"missing_at_mm"`
	Walls     number    `json:"walls"`
	Flat      [2]number `json:"flat_mm"`
	FlatAt    [2]number `json:"flat_at_mm"`
	Shift     [2]number `json:"shift_mm"`
	Stuck     number    `json:"stuck_mm"`
	Tube      [2]number `json:"tube_mm"`
	Lean      number    `json:"lean_deg"`
	Turn      number    `json:"turn_deg"`
}

func platesOut(plates []fit.Plate) []plateJSON {
	pair := func(v [2]float64) [2]number { return [2]number{number(v[0]), number(v[1])} }
	out := make([]plateJSON, 0, len(plates))
	for _, p := range plates {
		row := plateJSON{
			Bar: p.Bar, End: "AB"[p.End : p.End+1], Size: pair(p.Size), Thickness: number(p.Thickness),
			Centre: vec(p.Centre), Normal: vec(p.Normal), First: vec(p.First), Along: p.Along, Area: number(p.Area),
			Fitted: p.Fitted, Above: number(p.Above), Below: number(p.Below), RMS: number(p.RMS),
			AboveAt: vec(p.AboveAt), BelowAt: vec(p.BelowAt), Contact: number(p.Contact), Spikes: p.Spikes,
			Tilt: number(p.Tilt), Height: number(p.Height),
			Missing: number(p.Missing), MissingAt: vec(p.MissingAt), Walls: number(p.Walls),
			Flat: pair(p.Flat), FlatAt: pair(p.FlatAt), Shift: pair(p.Shift), Stuck: number(p.Stuck),
			Tube: pair(p.Tube), Lean: number(p.Lean), Turn: number(p.Turn),
		}
		for i, c := range p.Corners {
			row.Corners[i] = vec(c)
		}
		out = append(out, row)
	}
	return out
}

func platesIn(in []plateJSON) []fit.Plate {
	pair := func(v [2]number) [2]float64 { return [2]float64{float64(v[0]), float64(v[1])} }
	var out []fit.Plate
	for _, p := range in {
		row := fit.Plate{
			Bar: p.Bar, Size: pair(p.Size), Thickness: float64(p.Thickness),
			Centre: p.Centre.r3(), Normal: p.Normal.r3(), First: p.First.r3(), Along: p.Along, Area: float64(p.Area),
			Fitted: p.Fitted, Above: float64(p.Above), Below: float64(p.Below), RMS: float64(p.RMS),
			AboveAt: p.AboveAt.r3(), BelowAt: p.BelowAt.r3(), Contact: float64(p.Contact), Spikes: p.Spikes,
			Tilt: float64(p.Tilt), Height: float64(p.Height),
			Missing: float64(p.Missing), MissingAt: p.MissingAt.r3(), Walls: float64(p.Walls),
			Flat: pair(p.Flat), FlatAt: pair(p.FlatAt), Shift: pair(p.Shift), Stuck: float64(p.Stuck),
			Tube: pair(p.Tube), Lean: float64(p.Lean), Turn: float64(p.Turn),
		}
		if p.End == "B" {
			row.End = 1
		}
		for i, c := range p.Corners {
			row.Corners[i] = c.r3()
		}
		out = append(out, row)
	}
	return out
}

// WritePlates writes one CSV row per foot's plate, in the cage's order, columns
// bar,end,side_1_mm,side_2_mm,thickness_mm,area_cm2,contact_cm2,above_mm,below_mm,rms_mm,tilt_deg,tube_1_mm,tube_2_mm,lean_deg,turn_deg,missing_percent,shift_1_mm,shift_2_mm,flat_1_mm,flat_2_mm,x_mm,y_mm,z_mm.
// Side 1 lies along the bar where that leans, else along the car or, on a wall
// across it, upright; x, y and z are the middle of the plate's underside. The rest
// are the figures of [fit.Plate], rounded to 0.1; areas down and what is missing
// up, so that the table never promises more than was found. Cells of what is not
// known are empty, and so is the flat size where the plate itself will do or where
// there is none.
func WritePlates(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{
		"bar", "end", "side_1_mm", "side_2_mm", "thickness_mm", "area_cm2", "contact_cm2", "above_mm", "below_mm", "rms_mm",
		"tilt_deg", "tube_1_mm", "tube_2_mm", "lean_deg", "turn_deg", "missing_percent", "shift_1_mm", "shift_2_mm", "flat_1_mm", "flat_2_mm",
		"x_mm", "y_mm", "z_mm",
	}}
	for i := range c.Plates {
		p := &c.Plates[i]
		flat := p.Flat
		if flat[0] == 0 {
			flat = [2]float64{math.NaN(), math.NaN()}
		}
		row := []string{text(p.Bar), "AB"[p.End : p.End+1]}
		for _, v := range []float64{
			p.Size[0], p.Size[1], p.Thickness, down(p.Area / 100), down(p.Contact / 100), p.Above, p.Below, p.RMS,
			p.Tilt, p.Tube[0], p.Tube[1], p.Lean, p.Turn, -down(-100 * p.Missing), p.Shift[0], p.Shift[1], flat[0], flat[1],
			p.Centre.X, p.Centre.Y, p.Centre.Z,
		} {
			row = append(row, Fixed(v, 1))
		}
		rows = append(rows, row)
	}
	return csv.NewWriter(w).WriteAll(rows)
}
