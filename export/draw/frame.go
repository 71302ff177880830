package draw

import (
	"slices"

	"github.com/golang/geo/r2"
)

// Figures of what stands around a drawing, mm. (Taste, no source, but for heights
// of letters, which are of the series of ISO 3098-1 or between two of it.)
const (
	titleHeight = 5.0
	noteHeight  = 3.0
	smallHeight = 2.5
	lineFeed    = 1.8   // from line to line, in heights
	around      = 5.0   // between a drawing and what is around it
	leastWide   = 150.0 // a frame is at least so wide, for words
	checkMM     = 100.0
	checkInch   = 4 * 25.4 // 25.4 mm are an inch by definition
	checkTick   = 4.0
	checkHigh   = 16.0 // of both check lines
)

// heading adds title and notes, wrapped to a width, below the point top on the
// left, and returns the height that they take.
func (d *Drawing) heading(top r2.Point, width, height float64, title string, notes []string) float64 {
	y := top.Y
	if title = fitted(title, height, true, width); title != "" {
		y -= height
		d.Texts = append(d.Texts, Text{At: r2.Point{X: top.X, Y: y}, Height: height, Words: title, Bold: true})
		y -= (lineFeed - 1) * height
	}
	for _, n := range notes {
		for _, words := range wrapped(n, noteHeight, width) {
			y -= noteHeight
			d.Text(r2.Point{X: top.X, Y: y}, noteHeight, Left, words)
			y -= (lineFeed - 1) * noteHeight
		}
	}
	return top.Y - y
}

// checkLines adds the lines by which a print is measured, from the lower left
// corner at: they take checkInch by checkHigh mm.
func (d *Drawing) checkLines(at r2.Point) {
	for i, c := range []struct {
		length float64
		words  string
	}{
		{checkInch, "must measure 4 in"},
		{checkMM, "must measure 100 mm"},
	} {
		y := at.Y + checkTick/2 + float64(i)*checkHigh/2
		a, b := r2.Point{X: at.X, Y: y}, r2.Point{X: at.X + c.length, Y: y}
		d.Line(Check, a, b)
		for _, p := range [2]r2.Point{a, b} {
			d.Line(Check, r2.Point{X: p.X, Y: p.Y - checkTick/2}, r2.Point{X: p.X, Y: p.Y + checkTick/2})
		}
		d.Text(r2.Point{X: at.X + checkMM/2, Y: y + 1.2}, noteHeight, Middle, c.words)
	}
}

// framed returns a drawing with its title and notes above and check lines below
// it, unless it is a sheet that has them, and the rectangle that holds it all.
func (d *Drawing) framed() (*Drawing, r2.Rect) {
	if d.Sheet.Size().Norm() > 0 {
		return d, d.Sheet
	}
	box := d.Bounds()
	out := &Drawing{Title: d.Title, Strokes: slices.Clip(d.Strokes), Texts: slices.Clip(d.Texts), Fills: d.Fills}
	width := max(box.Size().X, leastWide)
	// What the heading needs is known once it is laid out: lay it out at 0 first.
	var head Drawing
	high := head.heading(r2.Point{}, width, titleHeight, d.Title, d.Notes)
	out.Add(&head, r2.Point{X: box.X.Lo, Y: box.Y.Hi + around + high}, 0)
	out.checkLines(r2.Point{X: box.X.Lo, Y: box.Y.Lo - 2*around - checkHigh})
	return out, out.Bounds().ExpandedByMargin(around)
}
