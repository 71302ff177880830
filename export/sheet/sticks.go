package sheet

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"

	"barwright/export/draw"
	"barwright/export/table"
	"barwright/fit/stock"
)

// Figures of the picture of a stick, mm. (Taste, no source.)
const (
	stickWide   = 176.0 // of the longest: fits between the margins of A4
	stickHigh   = 11.0
	stickLine   = 5.2 // from line to line of what is written under it
	stickGap    = 7.0
	stickText   = 3.0
	stickHatch  = 1.5
	sheetSticks = 175.0 // most height of one drawing, so that it fits on a page of A4 or Letter
)

// Sticks draws how each stick of a tube is sawn, a drawing for as many sticks as
// go on a page of A4. The sticks are to scale, not in true size; all of a tube
// have one scale. Under each stand its pieces in the order of cutting and where
// the saw is set for them, from the end on the left. What is left over is hatched.
//
// Nothing is drawn of a tube that has no plan. inches: figures are in inches.
func Sticks(t stock.TubePlan, inches bool) []*draw.Drawing {
	if t.Plan == nil || len(t.Plan.Sticks) == 0 {
		return nil
	}
	f := figures{inches}
	longest := 0.0
	for _, c := range t.Plan.Sticks {
		longest = max(longest, c.Stick.Length)
	}
	scale := stickWide / longest
	var out []*draw.Drawing
	var d *draw.Drawing
	y, first := 0.0, 0
	total := len(t.Plan.Sticks)
	closeIt := func(last int) {
		d.Title = fmt.Sprintf("Sticks of %s", name(t.Tube.Name))
		if first > 0 || last < total-1 {
			d.Title += fmt.Sprintf(", %d to %d", first+1, last+1)
		}
		d.Notes = stickNotes(t, f, scale)
		out = append(out, d)
	}
	for i, c := range t.Plan.Sticks {
		high := stickHigh + stickLine*float64(1+f.rows(len(c.Pieces)+1)) + stickGap
		if d != nil && -y+high > sheetSticks {
			closeIt(i - 1)
			d = nil
		}
		if d == nil {
			d, y, first = &draw.Drawing{}, 0, i
		}
		stick(d, r2.Point{Y: y}, c, fmt.Sprintf("Stick %d of %d: %s", i+1, total, f.size(c.Stick.Length)), f, scale)
		y -= high
	}
	closeIt(total - 1)
	return out
}

// columns is in how many columns the pieces of a stick are listed: figures in
// inches are long.
func (f figures) columns() int {
	if f.inches {
		return 1
	}
	return 2
}

// rows is how many lines a list has.
func (f figures) rows(entries int) int { return (entries + f.columns() - 1) / f.columns() }

// stickNotes says what a picture of sticks is, what to buy and what it comes to.
func stickNotes(t stock.TubePlan, f figures, scale float64) []string {
	p := t.Plan
	var buy []string
	counted := map[int]int{}
	var kinds []int // in the order of the sticks
	for _, c := range p.Sticks {
		if counted[c.Kind]++; counted[c.Kind] == 1 {
			kinds = append(kinds, c.Kind)
		}
	}
	for _, k := range kinds {
		for _, c := range p.Sticks {
			if c.Kind == k {
				buy = append(buy, fmt.Sprintf("%d of %s", counted[k], f.size(c.Stick.Length)))
				break
			}
		}
	}
	best := "no other way to saw them needs less length"
	switch {
	case !p.Proven:
		best = "the best way found, not proven to be the best there is"
	case p.Priced:
		best = "no other way to saw them costs less"
	}
	sum := fmt.Sprintf("Bought %s kg, %s %% of it waste", table.Fixed(t.Bought, 1), table.Fixed(100*p.Waste(), 1))
	if p.Priced {
		sum += ", price " + table.Fixed(p.Cost, 2)
	}
	return []string{
		fmt.Sprintf("Not in true size: about 1 to %d. Figures in %s.", int(math.Round(1/scale)), f.unit()),
		"Saw from the left. Set the saw so that it cuts just beyond each mark; marks are measured from the left end of the stick and allow for the saw's kerf. Hatched: left over.",
		"Sticks: " + strings.Join(buy, ", ") + "; " + best + ".",
		sum + ".",
	}
}

// stick draws one stick with its heading; at is its top left corner.
func stick(d *draw.Drawing, at r2.Point, c stock.Cut, heading string, f figures, scale float64) {
	at.Y -= stickText
	d.Texts = append(d.Texts, draw.Text{At: at, Height: stickText, Words: heading, Bold: true})
	low := at.Y - (stickLine - stickText) - stickHigh
	box := func(from, to float64) []r2.Point {
		a, b := at.X+from*scale, at.X+to*scale
		return []r2.Point{{X: a, Y: low}, {X: b, Y: low}, {X: b, Y: low + stickHigh}, {X: a, Y: low + stickHigh}}
	}
	if c.Remnant > 0 {
		ring := box(c.Stick.Length-c.Remnant, c.Stick.Length)
		outline := make([]draw.Vertex, len(ring))
		for i, p := range ring {
			outline[i].Point = p
		}
		d.Hatch(outline, stickHatch, 45*s1.Degree)
	}
	d.Polygon(draw.Outline, box(0, c.Stick.Length)...)
	column := stickWide / float64(f.columns())
	list := make([]string, 0, len(c.Pieces)+1)
	for i, p := range c.Pieces {
		if p.To < c.Stick.Length {
			x := at.X + p.To*scale
			d.Line(draw.Cut, r2.Point{X: x, Y: low - 1}, r2.Point{X: x, Y: low + stickHigh + 1})
		}
		saw := "saw at " + f.length(p.To)
		if table.Fixed(p.To, 1) == table.Fixed(c.Stick.Length, 1) {
			saw = "ends with the stick"
		}
		list = append(list, shortened(name(p.Label), column-2, func(label string) string {
			return fmt.Sprintf("%d  %s: %s, %s", i+1, label, f.length(p.Length), saw)
		}))
		// In the stick what there is room for: all, or the number alone, or nothing.
		number := fmt.Sprint(i + 1)
		middle := r2.Point{X: at.X + (p.From+p.To)/2*scale, Y: low + stickHigh/2}
		room := (p.To-p.From)*scale - 2.5
		long := draw.Text{Height: stickText, Anchor: draw.Middle, Words: number + "  " + name(p.Label), Bold: true}
		length := draw.Text{Height: stickText, Anchor: draw.Middle, Words: f.length(p.Length)}
		if long.Width() > room {
			long.Words = number
		}
		switch {
		case length.Width() <= room && long.Width() <= room:
			long.At, length.At = middle.Add(r2.Point{Y: 0.9}), middle.Sub(r2.Point{Y: 1 + stickText})
			d.Texts = append(d.Texts, long, length)
		case long.Width() <= room:
			long.At = middle.Sub(r2.Point{Y: stickText / 2})
			d.Texts = append(d.Texts, long)
		}
	}
	if c.Remnant > 0 {
		list = append(list, "left over: "+f.length(c.Remnant))
	}
	// The list runs down one column after the other.
	rows := f.rows(len(list))
	for i, words := range list {
		p := r2.Point{X: at.X + float64(i/rows)*column, Y: low - stickLine*float64(1+i%rows)}
		d.Text(p, stickText, draw.Left, words)
	}
}

// shortened returns a line of the list with as much of a label as there is room
// for in a width, mm; the figures about it are never cut.
func shortened(label string, width float64, line func(string) string) string {
	words := line(label)
	for runes := []rune(label); len(runes) > 0; {
		t := draw.Text{Height: stickText, Words: words}
		if t.Width() <= width {
			break
		}
		runes = runes[:len(runes)-1]
		words = line(strings.TrimSpace(string(runes)) + "…")
	}
	return words
}

// StickFiles returns sheets/sticks.pdf, with the sticks of all tubes that have a
// plan; nothing if there is none.
func StickFiles(plans []stock.TubePlan, paper draw.Paper, inches bool) []File {
	var drawings []*draw.Drawing
	for _, t := range plans {
		drawings = append(drawings, Sticks(t, inches)...)
	}
	if len(drawings) == 0 {
		return nil
	}
	return []File{{"sheets/sticks.pdf", func(w io.Writer) error {
		pages, err := draw.Arrange(drawings, paper)
		if err != nil {
			return err
		}
		return draw.WritePDF(w, "Sticks", pages)
	}}}
}
