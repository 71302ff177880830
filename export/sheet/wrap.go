package sheet

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"

	"barwright/export/draw"
	"barwright/export/model"
	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// Wrap is a true-size template that is wrapped round the outside of a tube to
// mark the cut of one of its ends.
//
// Its drawing is the tube's outside unrolled, printed side out: x is the way
// round it from clock 0, mm, so the clock runs from left to right and clock 360,
// at x = pi OD, comes to lie on clock 0. y runs along the tube from end A to end
// B, with the bar's node at 0: the waste is at the foot of an end A and at the
// head of an end B. The paper's own thickness leaves a gap at the seam, of pi times
// the thickness: 0.3 mm on office paper of 0.1 mm.
type Wrap struct {
	Name    string // of its files, without folder and extension
	Bar     string
	End     string // "A" or "B"
	Joint   string // "": a foot
	Drawing *draw.Drawing
}

// Wraps returns a template for each end of a bar that is notched or cut
// obliquely, in the order of the bars, end A before end B. Ends cut square have
// none, and so have those that are not worked out. Each end has its own, also in
// a pair, whose templates are mirror images.
//
// inches: figures are in inches. A cut whose curves are no curves (under three
// values, unequal numbers of them, a value that is not finite) is an error that
// names the bar and the end.
func Wraps(c *fit.Cage, inches bool) ([]Wrap, error) {
	bars, joints := make([]string, len(c.Bars)), make([]string, len(c.Joints))
	for i, b := range c.Bars {
		bars[i] = b.Name
	}
	for i, j := range c.Joints {
		joints[i] = j.Name
	}
	// Dots keep names of bars, ends and joints apart: slugs have none.
	slugs, numbers := model.Slugs(bars), model.Slugs(joints)
	var out []Wrap
	for i, b := range c.Bars {
		for e, cut := range b.Cuts {
			if cut.Kind != fit.Notch && cut.Kind != fit.Mitre {
				continue
			}
			w := &wrapper{cage: c, bar: b, end: e, cut: cut, figures: figures{inches}}
			if err := w.check(); err != nil {
				return nil, fmt.Errorf("bar %q, end %s: %w", b.Name, endName(e), err)
			}
			sheet := Wrap{Name: fmt.Sprintf("wrap-%s.%s", slugs[i], strings.ToLower(endName(e))), Bar: b.Name, End: endName(e)}
			for k := range c.Joints {
				if j := &c.Joints[k]; j.Bar == b.Name && j.End == endName(e) {
					w.joint, sheet.Joint = j, j.Name
					sheet.Name = fmt.Sprintf("wrap-%s.%s.%s", numbers[k], slugs[i], strings.ToLower(endName(e)))
					break
				}
			}
			sheet.Drawing = w.draw()
			out = append(out, sheet)
		}
	}
	return out, nil
}

// WrapFiles returns sheets/wraps.pdf, with all templates of [Wraps] several to a
// page on that paper, and each of them as .svg and .dxf in the same folder. A
// cage without any has no files. Errors are those of Wraps; those of drawing come
// from Write.
func WrapFiles(c *fit.Cage, paper draw.Paper, inches bool) ([]File, error) {
	wraps, err := Wraps(c, inches)
	if err != nil || len(wraps) == 0 {
		return nil, err
	}
	drawings := make([]*draw.Drawing, len(wraps))
	for i, w := range wraps {
		drawings[i] = w.Drawing
	}
	out := []File{{"sheets/wraps.pdf", func(w io.Writer) error {
		pages, err := draw.Arrange(drawings, paper)
		if err != nil {
			return err
		}
		return draw.WritePDF(w, "Wrap templates", pages)
	}}}
	for _, w := range wraps {
		out = append(out, flatFiles("sheets/"+w.Name, w.Drawing)...)
	}
	return out, nil
}

// Figures of a wrap template, mm. (Taste, no source.)
const (
	wrapFlap    = 5.0  // behind clock 360, to be glued under clock 0
	wrapWaste   = 8.0  // of paper beyond the cut, where no sawn end bounds it
	wrapSawn    = 40.0 // a sawn end up to so far beyond the node bounds the waste
	wrapGap     = 2.0
	wrapScale   = 9.0  // the clock's scale along the straight edge
	wrapLeast   = 16.0 // of paper between curve and straight edge: the scale and the bar's name
	wrapWords   = 21.0 // from clock 0 to the words: reference line and arrow are left of them
	wrapText    = 2.5  // height of what stands in small letters
	wrapHatch   = 4.0
	wrapNarrow  = 80.0 // words under a template are at least so wide
	wrapOutside = 0.05 // degrees: an outside of a bend so near the reference line is on it, as far as figures tell
)

// wrapper draws one wrap template.
type wrapper struct {
	cage  *fit.Cage
	bar   *fit.Bar
	end   int // 0: A, 1: B
	cut   fit.EndCut
	joint *fit.Joint // nil: a foot
	figures
}

func (w *wrapper) check() error {
	n := len(w.cut.Outer)
	if n < 3 || len(w.cut.Inner) != n {
		return fmt.Errorf("its cut has %d and %d values, and needs as many for the outside as for the bore, at least 3", n, len(w.cut.Inner))
	}
	for _, curve := range [2][]float64{w.cut.Outer, w.cut.Inner} {
		for k, x := range curve {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return fmt.Errorf("its cut is not a number at clock %s", trimmed(360*float64(k)/float64(n), 1))
			}
		}
	}
	return nil
}

// wide returns the width of the paper round the tube, mm.
func (w *wrapper) wide() float64 { return math.Pi * w.bar.Tube.OD }

// at returns the place on paper of a clock position, as a share of the turn, and
// a distance (mm) from the node into the bar.
func (w *wrapper) at(turn, x float64) r2.Point {
	if w.end == 1 {
		x = -x
	}
	return r2.Point{X: turn * w.wide(), Y: x}
}

// curve returns an edge on paper, from clock 0 to 360.
func (w *wrapper) curve(edge []float64) []r2.Point {
	out := make([]r2.Point, 0, len(edge)+1)
	for k := range len(edge) + 1 {
		out = append(out, w.at(float64(k)/float64(len(edge)), edge[k%len(edge)]))
	}
	return out
}

// edgeAt returns where the outside ends at a share of the turn, mm from the node.
func (w *wrapper) edgeAt(turn float64) float64 {
	n := len(w.cut.Outer)
	k, part := math.Modf(turn * float64(n))
	a, b := w.cut.Outer[int(k)%n], w.cut.Outer[(int(k)+1)%n]
	return a + part*(b-a)
}

// straight returns the length of the straight at the end, mm.
func (w *wrapper) straight() float64 {
	segments := w.bar.Path.Segments
	return segments[w.end*(len(segments)-1)].Length
}

// bend returns the number of the bend next to the end, 0 if there is none, and
// the clock position of its outside.
func (w *wrapper) bend() (number int, outside s1.Angle) {
	arcs := w.bar.Path.Arcs()
	if len(arcs) == 0 {
		return 0, 0
	}
	number, at := 1, 0.0
	g := arcs[0]
	out := g.From.Sub(g.Centre)
	if w.end == 1 {
		number, at = len(arcs), w.bar.Path.Length
		g = arcs[len(arcs)-1]
		out = g.To.Sub(g.Centre)
	}
	return number, tube.ClockOf(w.bar.Path, at, out)
}

// node names the bar's node at an end.
func (w *wrapper) node(end int) string { return fmt.Sprintf("N%d", end*(len(w.bar.Path.Nodes)-1)) }

// step is what the straight edge's distance from the node is a multiple of, mm,
// so that it can be set on a rule.
func (w *wrapper) step() float64 {
	if w.inches {
		return mmPerInch / 4
	}
	return 5
}

// edge chooses how far (mm) from the node the straight edge is, for so much room
// between it and the curve: on the straight, if that leaves room for the least.
func (w *wrapper) edge(deepest, room float64) float64 {
	step := w.step()
	whole := func(x float64) float64 { return step * math.Ceil(x/step-wholeStep) }
	least, straight := deepest+wrapLeast, w.straight()
	edge := whole(deepest + max(room, wrapLeast))
	switch down := step * math.Floor(straight/step+wholeStep); {
	case edge <= straight:
		return edge
	case down >= least:
		return down
	case straight >= least:
		return straight
	}
	return whole(least)
}

// wholeStep is how near (in steps) a value is a whole one: lengths are at most
// 1e4 mm and carry less than 1e-10 mm of rounding.
const wholeStep = 1e-9

// where tells how far the straight edge, at a distance (mm) from the node, is
// from what a builder can measure to. What belongs to one thing holds together.
func (w *wrapper) where(edge float64) []string {
	b, e, other := w.bar, w.end, 1-w.end
	bend, _ := w.bend()
	to := func(what string, mm float64) string {
		way := "to"
		if mm < -markTol {
			way = "beyond"
		}
		return fmt.Sprintf("%s %s: %s", way, what, together(w.length(math.Abs(mm))))
	}
	node := []string{to("node "+w.node(e), edge)}
	if b.Blank != nil {
		sawn := b.Blank.Beyond[e] + edge
		if math.Abs(sawn-edge) < markTol {
			node = []string{to("sawn end "+endName(e)+", node "+w.node(e), sawn)}
		} else {
			node = append([]string{to("sawn end "+endName(e), sawn)}, node...)
		}
	}
	if bend == 0 {
		if b.Blank == nil {
			return append([]string{"edge " + to("node "+w.node(other), b.Path.Length-edge)}, node...)
		}
		return append([]string{"edge " + to("sawn end "+endName(other), b.Blank.Length-b.Blank.Beyond[e]-edge)}, node...)
	}
	starts := "start"
	if e == 1 {
		starts = "end"
	}
	// The mark lies on this side of the bend only if this end went in first.
	if b.Blank != nil && b.Blank.First == e {
		for _, s := range b.Blank.Steps {
			if s.Bend != bend {
				continue
			}
			mark := s.Mark[e] - b.Blank.Beyond[e]
			if math.Abs(mark-w.straight()) < markTol {
				starts += " and mark"
			} else {
				node = append(node, to(fmt.Sprintf("mark of bend %d", bend), mark-edge))
			}
		}
	}
	return append([]string{"edge " + to(fmt.Sprintf("%s of bend %d", starts, bend), w.straight()-edge)}, node...)
}

// what names the joint or foot, with its angle.
func (w *wrapper) what() string {
	j := w.joint
	if j == nil {
		if w.bar.Ends[w.end].Kind == job.Landed {
			return "on " + name(w.bar.Ends[w.end].Onto)
		}
		return "foot on its plate"
	}
	words := fmt.Sprintf("%s: %s on %s", name(j.Name), degrees(s1.Angle(j.Angle)*s1.Degree), name(j.Onto))
	if math.Abs(j.Offset) >= markTol {
		words += fmt.Sprintf(", centrelines %s apart", w.length(math.Abs(j.Offset)))
	}
	return words
}

// notes are the lines above the template.
func (w *wrapper) notes() []string {
	words := fmt.Sprintf("Tube %s x %s", w.size(w.bar.Tube.OD), w.size(w.bar.Tube.Wall))
	j := w.joint
	if j == nil {
		return []string{words + ". Figures: " + w.unit() + "."}
	}
	for _, b := range w.cage.Bars {
		if b.Name == j.Onto {
			words += " on " + w.size(b.Tube.OD)
			break
		}
	}
	if len(j.Around) > 0 {
		around := make([]string, len(j.Around))
		for i, b := range j.Around {
			around[i] = name(b)
		}
		words += ", also round " + strings.Join(around, ", ")
	}
	if j.Order > 1 {
		words += fmt.Sprintf(", number %d to be cut at its node", j.Order)
	}
	words += ". Figures: " + w.unit() + "."
	if j.Open > 0 {
		words += fmt.Sprintf(" %s %% of the edge meets no bar.", trimmed(100*j.Open, 1))
	}
	return []string{words}
}

// block is what stays on the paper when it is cut out.
func (w *wrapper) block(edge float64) []line {
	width := w.wide() - wrapWords - 2*wrapGap
	var out []line
	add := func(height float64, text string, bold bool) {
		for _, s := range folded(text, height, bold, width) {
			out = append(out, line{height, s, bold})
		}
	}
	title := name(w.bar.Name) + ", end\u00a0" + endName(w.end)
	if height := medium; len(folded(title, height, true, width)) <= 2 {
		add(height, title, true)
	} else {
		add(small, title, true)
	}
	add(small, w.what(), true)
	words := ""
	for i, s := range w.where(edge) {
		switch longer := words + ", " + s; {
		case i == 0:
			words = s
		case i > 1 && (draw.Text{Height: small, Words: longer}).Width() <= width:
			words = longer // the first stands by itself
		default:
			add(small, words, false)
			words = s
		}
	}
	add(small, words, false)
	add(small, w.reference(), false)
	return out
}

// together keeps the words of a text on one line: its blanks are no-break spaces,
// which are printed as blanks.
func together(text string) string { return strings.ReplaceAll(text, " ", "\u00a0") }

// reference tells how the reference line is found at this end.
func (w *wrapper) reference() string {
	bend, outside := w.bend()
	switch {
	case bend == 0 && tube.ReferenceLine(w.bar.Path).Z > 0:
		return "clock 0: on top in the car, both ends"
	case bend == 0:
		return "clock 0: in front in the car, both ends"
	case onReference(outside):
		return fmt.Sprintf("clock 0: outside of bend %d", bend)
	}
	return fmt.Sprintf("dash-dotted: outside of bend %d, clock %s", bend, degrees(outside))
}

// onReference tells whether a clock position is that of the reference line, as
// far as figures tell.
func onReference(clock s1.Angle) bool {
	turn := math.Mod(tube.Degrees(clock), 360)
	return min(turn, 360-turn) < wrapOutside
}

// folded breaks words into lines that are at most as wide as said, mm. A word
// that is wider stays whole.
func folded(text string, height float64, bold bool, width float64) []string {
	var out []string
	for _, word := range strings.Split(text, " ") {
		if n := len(out); n > 0 {
			longer := out[n-1] + " " + word
			if (draw.Text{Height: height, Words: longer, Bold: bold}).Width() <= width {
				out[n-1] = longer
				continue
			}
		}
		out = append(out, word)
	}
	return out
}

// high returns how high lines are, mm.
func high(lines []line) float64 {
	sum := 0.0
	for _, l := range lines {
		sum += feed * l.height
	}
	return sum
}

func (w *wrapper) draw() *draw.Drawing {
	d := &draw.Drawing{Title: fmt.Sprintf("%s, end %s", name(w.bar.Name), endName(w.end)), Notes: w.notes()}
	if w.joint != nil {
		d.Title = name(w.joint.Name) + ": " + d.Title
	}
	wide := w.wide()
	deepest := max(slices.Max(w.cut.Outer), slices.Max(w.cut.Inner))
	far := -min(slices.Min(w.cut.Outer), slices.Min(w.cut.Inner)) // beyond the node
	waste := max(0, far) + wrapWaste
	if w.bar.Blank != nil {
		if s := w.bar.Blank.Beyond[w.end]; s >= far-wholeStep && s <= wrapSawn {
			waste = s
		}
	}
	// The figures in the words hang on where the edge is, and that on how many
	// lines they take. A guess gives the number of lines; should it be short of
	// one, or the straight too short for all of them, the last go above.
	edge := w.edge(deepest, 2*wrapGap+high(w.block(deepest+50))+wrapScale)
	block := w.block(edge)
	room := edge - deepest - 2*wrapGap - wrapScale
	var left []string
	for len(block) > 1 && high(block) > room+wholeStep {
		left = append([]string{block[len(block)-1].words}, left...)
		block = block[:len(block)-1]
	}
	if len(left) > 0 {
		d.Notes = append(d.Notes, capital(strings.Join(left, ", "))+".")
	}

	outer := w.curve(w.cut.Outer)
	hatch := make([]draw.Vertex, 0, len(outer)+2)
	for _, p := range append(slices.Clone(outer), w.at(1, -waste), w.at(0, -waste)) {
		hatch = append(hatch, draw.Vertex{Point: p})
	}
	d.Hatch(hatch, wrapHatch, 45*s1.Degree)
	d.Line(draw.Cut, outer...)
	d.Line(draw.Hidden, w.curve(w.cut.Inner)...)
	d.Line(draw.Outline, w.at(1, edge), w.at(0, edge), w.at(0, -waste), w.at(1, -waste))
	d.Line(draw.Outline, w.at(1, -waste), w.at(1, w.edgeAt(0)))
	w.flap(d, edge)

	over := 2 / wide // the node's line ends a little outside, at its name
	d.Line(draw.Centre, w.at(0, 0), w.at(1+over, 0))
	d.Texts = append(d.Texts, draw.Text{At: w.at(1, 0).Add(r2.Point{X: wrapFlap + 1, Y: -small / 2}), Height: small, Words: w.node(w.end), Bold: true})

	w.clock(d, deepest, edge)
	w.words(d, deepest, block, room)
	w.foot(d)
	return d
}

// flap adds what is glued under the paper's other end.
func (w *wrapper) flap(d *draw.Drawing, edge float64) {
	out := wrapFlap / w.wide()
	from, to := w.edgeAt(0)+1, edge-1
	slope := min(wrapFlap/2, (to-from)/2)
	d.Line(draw.Thin, w.at(1, w.edgeAt(0)), w.at(1, edge))
	d.Line(draw.Outline, w.at(1, from), w.at(1+out, from+slope), w.at(1+out, to-slope), w.at(1, to))
	level(d, w.at(1+out/2, (from+to)/2), r2.Point{Y: 1}, draw.Text{Height: wrapText, Words: "glue under 0"}, to-from-2*slope)
}

// clock adds the scale along the straight edge, the lines along the tube and the
// reference line.
func (w *wrapper) clock(d *draw.Drawing, deepest, edge float64) {
	every := 30
	if w.wide()/12 < 8 { // too narrow for a number at each of them
		every = 90
	}
	for k := 0; k <= 360; k += 10 {
		tick := 1.5
		switch {
		case k%90 == 0:
			tick = 4.5
		case k%30 == 0:
			tick = 3
		}
		turn := float64(k) / 360
		d.Line(draw.Thin, w.at(turn, edge), w.at(turn, edge-tick))
		if k%90 == 0 && k%360 != 0 {
			d.Line(draw.Thin, w.at(turn, w.edgeAt(turn)), w.at(turn, deepest+wrapGap))
		}
		if k%every != 0 {
			continue
		}
		t := draw.Text{Height: wrapText, Anchor: draw.Middle, Words: fmt.Sprint(k % 360), Bold: k%90 == 0}
		t.At = w.at(turn, edge-4.5-1-wrapText/2).Sub(r2.Point{Y: wrapText / 2})
		switch k {
		case 0:
			t.Anchor = draw.Left
			t.At.X++
		case 360:
			t.Anchor = draw.Right
			t.At.X--
		}
		d.Texts = append(d.Texts, t)
	}
	crossed := -wrapWords // where the outside of a bend would run through words
	if bend, outside := w.bend(); bend > 0 && !onReference(outside) {
		turn := outside.Radians() / (2 * math.Pi)
		d.Line(draw.Centre, w.at(turn, w.edgeAt(turn)), w.at(turn, deepest+wrapGap))
		d.Line(draw.Centre, w.at(turn, edge-4.5), w.at(turn, edge))
		crossed = turn * w.wide()
	}
	from, to := w.edgeAt(0)+1, edge-wrapScale
	for _, words := range [2]string{"reference line", "ref."} {
		t := draw.Text{Height: wrapText, Words: words}
		if t.Width() > to-from {
			continue
		}
		for _, x := range [2]float64{2.5, w.wide() - 2.5} {
			if math.Abs(x-crossed) < 2*wrapText {
				continue
			}
			p := w.at(0, (from+to)/2)
			p.X = x
			level(d, p, r2.Point{Y: 1}, t, to-from)
		}
		break
	}
}

// words adds what stays on the paper, and the arrow to the other end.
func (w *wrapper) words(d *draw.Drawing, deepest float64, block []line, room float64) {
	top := w.at(0, deepest+wrapGap+room).Y
	if w.end == 1 {
		top = w.at(0, deepest+wrapGap).Y
	}
	y := top - max(0, room-high(block))/2
	for _, l := range block {
		y -= l.height
		d.Texts = append(d.Texts, draw.Text{At: r2.Point{X: wrapWords, Y: y}, Height: l.height, Words: l.words, Bold: l.bold})
		y -= (feed - 1) * l.height
	}
	const shaft, head = 1.5, 3.5 // half widths
	up, from, to := 1.0, top-room, top
	if w.end == 1 {
		up, from, to = -1, top, top-room
	}
	middle := 9.0
	long := math.Min(2*head, room/2)
	neck := to - up*long
	ring := []r2.Point{
		{X: middle - shaft, Y: from}, {X: middle + shaft, Y: from}, {X: middle + shaft, Y: neck},
		{X: middle + head, Y: neck}, {X: middle, Y: to}, {X: middle - head, Y: neck}, {X: middle - shaft, Y: neck},
	}
	fill := draw.Fill{Grey: 0.6}
	for _, p := range ring {
		fill.Vertices = append(fill.Vertices, draw.Vertex{Point: p})
	}
	d.Fills = append(d.Fills, fill)
	d.Polygon(draw.Thin, ring...)
	level(d, r2.Point{X: middle + head + 2.5, Y: (from + to) / 2}, r2.Point{Y: 1}, draw.Text{Height: small, Words: "to end " + endName(1-w.end), Bold: true}, room)
}

// foot says how the template is used.
func (w *wrapper) foot(d *draw.Drawing) {
	onto := "the other bar"
	if w.joint == nil {
		onto = "the plate"
	}
	use := "Cut along the wide curve. Wrap round the tube, printed side out, 0 on the reference line, edge at its figures. Mark the curve"
	if other := w.bar.Cuts[1-w.end].Kind; len(w.bar.Path.Arcs()) == 0 && (other == fit.Notch || other == fit.Mitre) {
		use += ", both ends before any cut" // the figures are from sawn ends
	}
	box := d.Bounds()
	width, y := max(box.X.Hi, wrapNarrow), box.Y.Lo-wrapGap
	for _, text := range [2]string{
		use + ".",
		"Wide: the tube's outside, which sits on " + onto + ". Dashed: its bore; where it is in the white, grind the bore back to it. Hatched: waste.",
	} {
		for _, s := range folded(text, wrapText, false, width) {
			y -= wrapText
			d.Text(r2.Point{Y: y}, wrapText, draw.Left, s)
			y -= (feed - 1) * wrapText
		}
	}
}
