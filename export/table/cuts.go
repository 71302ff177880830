package table

import (
	"encoding/csv"
	"io"
	"strconv"

	"barwright/fit/stock"
)

// WriteCuts writes one CSV row per piece in the order of cutting, columns
// tube,stick,stick_mm,piece,bar,length_mm,from_mm,saw_mm,price.
// Sticks count from 1 for every tube. from_mm and saw_mm are where the piece
// starts and where the saw is set, from the end of the stick at which cutting
// starts; the saw's kerf lies beyond saw_mm, and the cell is empty where the piece
// ends with the stick. The last row of a stick has "remnant" in piece and what is
// left over, and the stick's price, if there is one. Lengths are rounded to
// 0.1 mm, prices to 0.01.
//
// Of a tube that no stick is known for or that could not be packed there is one
// row per piece without stick and places.
func WriteCuts(w io.Writer, plans []stock.TubePlan) error {
	rows := [][]string{{"tube", "stick", "stick_mm", "piece", "bar", "length_mm", "from_mm", "saw_mm", "price"}}
	for _, t := range plans {
		name := text(t.Tube.Name)
		if t.Plan == nil {
			n := 0
			for _, p := range t.Pieces {
				for range p.Count {
					n++
					rows = append(rows, []string{name, "", "", strconv.Itoa(n), text(p.Label), Fixed(p.Length, 1), "", "", ""})
				}
			}
			continue
		}
		for i, c := range t.Plan.Sticks {
			stick, length := strconv.Itoa(i+1), Fixed(c.Stick.Length, 1)
			for k, p := range c.Pieces {
				saw := Fixed(p.To, 1)
				if k == len(c.Pieces)-1 && saw == length {
					saw = ""
				}
				rows = append(rows, []string{name, stick, length, strconv.Itoa(k + 1), text(p.Label), Fixed(p.Length, 1), Fixed(p.From, 1), saw, ""})
			}
			price := ""
			if c.Stick.Price > 0 {
				price = Fixed(c.Stick.Price, 2)
			}
			rows = append(rows, []string{name, stick, length, "remnant", "", Fixed(c.Remnant, 1), Fixed(c.Stick.Length-c.Remnant, 1), "", price})
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}
