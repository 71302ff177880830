package sheet

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"

	"barwright/export/draw"
	"barwright/export/model"
	"barwright/export/table"
	"barwright/fit"
)

// Plate draws a foot's plate in true size, for printing; b is the plate's bar.
// inches: figures are in inches.
//
// It is seen from the cabin, with its first side running up: x of the drawing is
// against the plate's second axis, y along its first, both from its centre. The
// outline is on the layer CUT, the tube's outside on THIN and its bore on HIDDEN,
// where they meet the plate.
func Plate(p *fit.Plate, b *fit.Bar, inches bool) *draw.Drawing {
	t := &plater{p, b, figures{inches}}
	return t.draw()
}

// PlateMachine draws the same for a machine that takes a line for a cut: nothing
// but the outline on CUT and the tube, to be marked, on THIN and HIDDEN, without
// check lines. The only words are those that every DXF of package draw has, of its
// unit, on TEXT.
func PlateMachine(p *fit.Plate, b *fit.Bar) *draw.Drawing {
	t := &plater{plate: p, bar: b}
	d := &draw.Drawing{Title: t.title()}
	t.lines(d)
	d.Sheet = d.Bounds()
	return d
}

// PlateFiles returns sheets/plates.pdf, with the plates of all feet several to a
// page on that paper, and each as plate-BAR.a.svg, as printed, and .dxf, for a
// machine, in the same folder. A cage without plates has no files. A plate of a
// bar that is not in the cage, of no size, or with a figure that is no number is
// an error that names the bar and the end; errors of drawing come from Write.
func PlateFiles(c *fit.Cage, paper draw.Paper, inches bool) ([]File, error) {
	if len(c.Plates) == 0 {
		return nil, nil
	}
	names := make([]string, len(c.Bars))
	for i, b := range c.Bars {
		names[i] = b.Name
	}
	slugs := model.Slugs(names)
	drawings := make([]*draw.Drawing, len(c.Plates))
	out := []File{{"sheets/plates.pdf", func(w io.Writer) error {
		pages, err := draw.Arrange(drawings, paper)
		if err != nil {
			return err
		}
		return draw.WritePDF(w, "Foot plates", pages)
	}}}
	for i := range c.Plates {
		p := &c.Plates[i]
		k := slices.Index(names, p.Bar)
		if err := checkPlate(p, k >= 0 && c.Bars[k].Tube != nil); err != nil {
			return nil, fmt.Errorf("bar %q, plate at end %s: %w", p.Bar, endName(p.End), err)
		}
		drawings[i] = Plate(p, c.Bars[k], inches)
		printed, machine := drawings[i], PlateMachine(p, c.Bars[k])
		// A dot keeps bar and end apart: slugs have none.
		base := "sheets/plate-" + slugs[k] + "." + strings.ToLower(endName(p.End))
		out = append(out,
			File{base + ".svg", func(w io.Writer) error { return draw.WriteSVG(w, printed) }},
			File{base + ".dxf", func(w io.Writer) error { return draw.WriteDXF(w, machine) }})
	}
	return out, nil
}

// Figures of a plate's drawing, mm. (Taste, no source.)
const (
	plateInset  = 4.0 // from the outline to words and arrow
	plateArrow  = 16.0
	plateCross  = 4.0 // arm of the cross where the tube's axis comes through
	platePoints = 180 // of an ellipse: a chord is off by 0.004 mm on a tube of 50 mm
	// plateRound is how much longer an ellipse may be than wide to be drawn as a
	// circle: nobody sees a hundredth of a mm.
	plateRound = 0.01
	// plateFlat is the lean of a tube, degrees, from which its outline is not drawn:
	// it runs off the plate.
	plateFlat = 85.0
)

// plater draws one plate.
type plater struct {
	plate *fit.Plate
	bar   *fit.Bar
	figures
}

func checkPlate(r *fit.Plate, known bool) error {
	switch {
	case !known:
		return errors.New("there is no such bar with a tube")
	case !(r.Size[0] > 0 && r.Size[1] > 0 && r.Thickness > 0):
		return fmt.Errorf("%s x %s x %s mm is no size", trimmed(r.Size[0], 2), trimmed(r.Size[1], 2), trimmed(r.Thickness, 2))
	}
	for _, v := range []float64{r.Size[0], r.Size[1], r.Thickness, r.Tube[0], r.Tube[1], r.Lean, r.Turn, r.Normal.Norm2(), r.First.Norm2()} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("it has a figure that is no number")
		}
	}
	return nil
}

func (p *plater) title() string {
	return fmt.Sprintf("Plate: %s, end %s", name(p.plate.Bar), endName(p.plate.End))
}

// at turns a place on the plate, along its first and second axis, into the
// drawing's.
func (p *plater) at(first, second float64) r2.Point { return r2.Point{X: -second, Y: first} }

// direction is that of a vector of the car on paper, and its length there: 1 if it
// lies in the plate.
func (p *plater) direction(v r3.Vector) r2.Point {
	return p.at(v.Dot(p.plate.First), v.Dot(p.plate.Normal.Cross(p.plate.First)))
}

// corner returns a corner of the outline, drawn in by some mm.
func (p *plater) corner(x, y, inset float64) r2.Point {
	return r2.Point{X: x * (p.plate.Size[1]/2 - inset), Y: y * (p.plate.Size[0]/2 - inset)}
}

// tube adds where a tube of that radius meets the plate's upper side.
func (p *plater) tube(d *draw.Drawing, kind draw.Kind, radius float64) {
	middle := p.at(p.plate.Tube[0], p.plate.Tube[1])
	long := radius / math.Cos(p.plate.Lean*math.Pi/180)
	if long-radius <= plateRound {
		d.Circle(kind, middle, radius)
		return
	}
	sin, cos := math.Sincos(p.plate.Turn * math.Pi / 180)
	ring := make([]r2.Point, platePoints)
	for i := range ring {
		s, c := math.Sincos(2 * math.Pi * float64(i) / platePoints)
		u, v := long*c, radius*s
		ring[i] = middle.Add(p.at(u*cos-v*sin, u*sin+v*cos))
	}
	d.Polygon(kind, ring...)
}

// lines adds what a machine is to see.
func (p *plater) lines(d *draw.Drawing) {
	d.Polygon(draw.Cut, p.corner(-1, -1, 0), p.corner(1, -1, 0), p.corner(1, 1, 0), p.corner(-1, 1, 0))
	if p.plate.Lean < plateFlat {
		p.tube(d, draw.Thin, p.bar.Radius())
		if bore := p.bar.Tube.Inner() / 2; bore > 0 {
			p.tube(d, draw.Hidden, bore)
		}
	}
}

func (p *plater) draw() *draw.Drawing {
	r := p.plate
	drawing := &draw.Drawing{Title: p.title(), Notes: p.notes()}
	p.lines(drawing)
	axis := p.at(r.Tube[0], r.Tube[1])
	if r.Lean < plateFlat {
		drawing.Line(draw.Thin, axis.Sub(r2.Point{X: plateCross}), axis.Add(r2.Point{X: plateCross}))
		drawing.Line(draw.Thin, axis.Sub(r2.Point{Y: plateCross}), axis.Add(r2.Point{Y: plateCross}))
	}
	p.arrow(drawing)
	p.label(drawing)
	low := p.corner(-1, -1, 0)
	drawing.Dimension(low, p.corner(1, -1, 0), -8, p.length(r.Size[1]))
	drawing.Dimension(low, p.corner(-1, 1, 0), 8, p.length(r.Size[0]))
	p.place(drawing, axis)
	return drawing
}

// place dimensions where the tube's axis comes through the plate, from the edges
// that the plate's own dimensions are at; a tube in the middle needs none.
func (p *plater) place(d *draw.Drawing, axis r2.Point) {
	low, high := p.corner(-1, -1, 0), p.corner(1, 1, 0)
	inside := axis.X > low.X && axis.X < high.X && axis.Y > low.Y && axis.Y < high.Y
	if math.Hypot(p.plate.Tube[0], p.plate.Tube[1]) < 0.05 || !inside || p.plate.Lean >= plateFlat {
		return
	}
	d.Dimension(r2.Point{X: low.X, Y: high.Y}, r2.Point{X: axis.X, Y: high.Y}, 8, p.length(axis.X-low.X))
	d.Dimension(r2.Point{X: high.X, Y: low.Y}, r2.Point{X: high.X, Y: axis.Y}, -8, p.length(axis.Y-low.Y))
}

// ahead is which way of the car the arrow shows, and that way on paper.
func (p *plater) ahead() (string, r2.Point) {
	if math.Abs(p.plate.Normal.X) > math.Sqrt2/2 {
		return "UP", p.direction(r3.Vector{Z: 1}).Normalize()
	}
	return "FRONT", p.direction(r3.Vector{X: 1}).Normalize()
}

// arrow draws it in the upper left corner, or beside a plate too small for it.
func (p *plater) arrow(d *draw.Drawing) {
	words, dir := p.ahead()
	text := draw.Text{Height: small, Anchor: draw.Middle, Words: words, Bold: true}
	room := r2.Point{X: max(text.Width(), plateArrow), Y: plateArrow + 2 + small}
	middle := p.corner(-1, 1, plateInset).Add(r2.Point{X: room.X / 2, Y: -plateArrow / 2})
	if p.hits(r2.RectFromCenterSize(middle.Sub(r2.Point{Y: small/2 + 1}), room)) {
		middle = p.corner(1, 1, 0).Add(r2.Point{X: 22 + room.X/2, Y: -plateArrow / 2})
	}
	tail, tip := middle.Sub(dir.Mul(plateArrow/2)), middle.Add(dir.Mul(plateArrow/2))
	d.Line(draw.Outline, tail, tip)
	arrowHead(d, tip, dir)
	text.At = middle.Sub(r2.Point{Y: plateArrow/2 + 2 + small})
	d.Texts = append(d.Texts, text)
}

// hits tells whether a rectangle comes to lie on the tube or over the edge.
func (p *plater) hits(box r2.Rect) bool {
	edge := r2.RectFromPoints(p.corner(-1, -1, 1), p.corner(1, 1, 1))
	if !edge.Contains(box) {
		return true
	}
	if p.plate.Lean >= plateFlat {
		return false
	}
	var tube draw.Drawing
	p.tube(&tube, draw.Thin, p.bar.Radius())
	around := tube.Bounds().ExpandedByMargin(1)
	if !around.Intersects(box) {
		return false
	}
	// In the corners of that there is room: the ellipse itself is asked.
	for _, s := range tube.Strokes {
		for _, q := range s.Polyline(1) {
			if box.ExpandedByMargin(1).ContainsPoint(q) {
				return true
			}
		}
	}
	return box.ContainsPoint(p.at(p.plate.Tube[0], p.plate.Tube[1]))
}

// label writes on the plate what it is, so that a cut-out still has it: at its
// foot, or at its head, whichever is clear of the tube; else in the notes only.
func (p *plater) label(d *draw.Drawing) {
	lines := []string{
		fmt.Sprintf("%s, end %s", name(p.plate.Bar), endName(p.plate.End)),
		p.size(p.plate.Thickness) + " thick, this side to the tube",
	}
	const feed = 1.5 * small
	wide := 0.0
	for i, l := range lines {
		wide = max(wide, draw.Text{Height: small, Words: l, Bold: i == 0}.Width())
	}
	high := feed + small
	for _, y := range [2]float64{-1, 1} {
		middle := r2.Point{Y: y * (p.plate.Size[0]/2 - plateInset - high/2)}
		if p.hits(r2.RectFromCenterSize(middle, r2.Point{X: wide, Y: high})) {
			continue
		}
		for i, l := range lines {
			d.Texts = append(d.Texts, draw.Text{
				At:     r2.Point{Y: middle.Y + high/2 - small - float64(i)*feed},
				Height: small, Anchor: draw.Middle, Words: l, Bold: i == 0,
			})
		}
		return
	}
}

// notes say what the plate is and how the shell lies under it.
func (p *plater) notes() []string {
	r := p.plate
	words, _ := p.ahead()
	out := []string{
		fmt.Sprintf("%s x %s x %s, area %s. Seen from the tube's side. Arrow: %s of the car. Figures: %s.",
			p.size(r.Size[0]), p.size(r.Size[1]), p.size(r.Thickness), p.area(r.Area), map[string]string{"UP": "up", "FRONT": "to the front"}[words], p.unit()),
		fmt.Sprintf("Tube %s x %s: full line its outside, dashed its bore. It leans %s° off square to the plate.", p.size(p.bar.Tube.OD), p.size(p.bar.Tube.Wall), table.Fixed(r.Lean, 1)),
	}
	if !r.Fitted {
		return append(out, "Not fitted: too little shell was found under it. Try it on the car before cutting.")
	}
	out = append(out, fmt.Sprintf("The shell under it: up to %s above and %s below flat, %s in contact.", p.length(r.Above), p.length(r.Below), p.area(r.Contact)))
	if r.Missing >= 0.01 {
		out = append(out, fmt.Sprintf("%s %% of it has no shell under it.", table.Fixed(100*r.Missing, 0)))
	}
	switch moved := math.Hypot(r.Shift[0], r.Shift[1]); {
	case moved > 0:
		out = append(out, fmt.Sprintf("Moved off the middle of its foot by %s to clear a wall.", p.length(moved)))
	case r.Stuck > 0:
		out = append(out, fmt.Sprintf("As it is it runs %s into a wall of the shell: cut it down.", p.length(r.Stuck)))
	}
	if r.Flat[0] > 0 && r.Flat != r.Size {
		out = append(out, fmt.Sprintf("The shell there is flat for one of %s x %s.", p.length(r.Flat[0]), p.length(r.Flat[1])))
	}
	return out
}

// area shows an area given in mm2, with its unit.
func (f figures) area(mm2 float64) string {
	// Rounded down: more than there is is never shown.
	floor := func(v float64) string { return table.Fixed(math.Floor(v*10+1e-6)/10, 1) }
	if f.inches {
		return floor(mm2/(mmPerInch*mmPerInch)) + " in²"
	}
	return floor(mm2/100) + " cm²"
}
