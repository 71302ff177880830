package sheet

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/export/draw"
	"barwright/export/model"
	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// Sheet is one drawing to hold a tube against.
type Sheet struct {
	Name    string   // of its files, without folder and extension
	Bars    []string // that it serves; the first is the one that is drawn
	Drawing *draw.Drawing

	slug string // of that bar
	dial bool   // a rotation gauge, which is small
}

// Templates returns the sheets of a cage's bars, in its order: one for a bar
// whose bends lie in one plane (within 0.05 mm, as fit/check takes it); for any
// other one for each bend, with the straights before and after it, and a dial
// for each rotation. Straight bars have none. A bar whose shape another has too,
// such as the mirror image in a pair, is on that one's sheets, which name it.
//
// inches: figures are in inches. Bars of which no tube can be drawn (a radius of
// less than half the tube) are an error that names the bar.
func Templates(c *fit.Cage, inches bool) ([]Sheet, error) {
	names := make([]string, len(c.Bars))
	for i, b := range c.Bars {
		names[i] = b.Name
	}
	slugs := model.Slugs(names)
	var out []Sheet
	for _, f := range families(c.Bars) {
		t := &templater{cage: c, family: f, bar: c.Bars[f.first], slug: slugs[f.first], figures: figures{inches}}
		sheets, err := t.sheets()
		if err != nil {
			return nil, fmt.Errorf("bar %q: %w", t.bar.Name, err)
		}
		out = append(out, sheets...)
	}
	return out, nil
}

// templater draws the sheets of one family of bars.
type templater struct {
	cage *fit.Cage
	family
	bar  *fit.Bar
	slug string
	figures
}

func (t *templater) sheets() ([]Sheet, error) {
	p := t.bar.Path
	arcs := p.Arcs()
	if len(arcs) == 0 {
		return nil, nil
	}
	for i := range p.Segments {
		if (p.Segments[i].Kind == tube.Arc) != (i%2 == 1) || len(p.Segments)%2 == 0 {
			return nil, errors.New("its path is not one of straights joined by arcs")
		}
	}
	for _, g := range arcs {
		if g.Radius <= t.bar.Radius() {
			return nil, fmt.Errorf("no tube of %s bends to a radius of %s", t.size(t.bar.Tube.OD), t.size(g.Radius))
		}
	}
	served := []string{t.bar.Name}
	for _, m := range t.members {
		served = append(served, t.cage.Bars[m.bar].Name)
	}
	a, b := p.Nodes[0], p.Nodes[len(p.Nodes)-1]
	if normal, ok := flatPlane(p); ok {
		v := newView(normal, a, b, p.Segments[0].Dir)
		d := t.draw(v, newRun(v, p, 0, len(p.Segments), 0))
		d.Title = "Template: " + name(t.bar.Name)
		return []Sheet{{Name: "template-" + t.slug, Bars: served, Drawing: d, slug: t.slug}}, nil
	}
	var out []Sheet
	bend := 0
	for i := range p.Segments {
		if p.Segments[i].Kind != tube.Arc {
			continue
		}
		before, after := &p.Segments[i-1], &p.Segments[i+1]
		v := newView(p.Segments[i].Axis, before.From, after.To, before.Dir)
		d := t.draw(v, newRun(v, p, i-1, i+2, bend))
		bend++
		d.Title = fmt.Sprintf("Template: %s, bend %d of %d", name(t.bar.Name), bend, len(arcs))
		// A dot keeps these names apart from those of bars: slugs have none.
		out = append(out, Sheet{Name: fmt.Sprintf("template-%s.bend-%d", t.slug, bend), Bars: served, Drawing: d, slug: t.slug})
	}
	for _, turn := range t.turns() {
		out = append(out, Sheet{
			Name: fmt.Sprintf("template-%s.turn-%d", t.slug, turn.to), Bars: served,
			Drawing: t.dial(turn), slug: t.slug, dial: true,
		})
	}
	return out, nil
}

// draw draws a run of the bar with all that is known of it.
func (t *templater) draw(v view, r run) *draw.Drawing {
	d := &draw.Drawing{}
	radius := t.bar.Radius()
	side := labelSide(r)
	cuts := [2]cut{t.cutAt(v, r, 0), t.cutAt(v, r, 1)}

	// The tube.
	for _, s := range [2]float64{1, -1} {
		d.Strokes = append(d.Strokes, draw.Stroke{Kind: draw.Outline, Vertices: r.parallel(s*radius, cuts[0].edge(s), cuts[1].edge(s))})
	}
	for _, c := range cuts {
		d.Strokes = append(d.Strokes, c.strokes...)
	}
	tubeBox := d.Bounds()
	d.Strokes = append(d.Strokes, draw.Stroke{Kind: draw.Centre, Vertices: r.parallel(0, 0, 0)})
	reference, offset := t.reference(d, v, r, cuts)
	b := newBoard(d, r, radius)

	// Labels on the outer side: where bends start and end, nodes, joints.
	var labels []label
	for _, l := range r.bends() {
		for _, s := range [2]float64{l.start, l.start + l.length} {
			t.across(d, r, s)
			labels = append(labels, label{at: s, words: t.length(s)})
		}
		node := v.point(t.bar.Path.Nodes[l.node])
		mid, dir := r.at(l.start + l.length/2)
		from := node.Sub(mid).Dot(left(dir).Mul(side))
		if from-radius <= nodeReach {
			cross(d, node)
			for _, s := range [2]r2.Point{l.from, l.to} {
				d.Line(draw.Thin, s, node)
			}
		} else {
			from = 0 // of a sharp bend it is far off: not worth the paper
		}
		labels = append(labels, label{at: l.start + l.length/2, from: from + clear, words: fmt.Sprintf("N%d", l.node), bold: true})
	}
	last := len(t.bar.Path.Nodes) - 1
	for i, s := range [2]float64{0, t.bar.Path.Length} {
		if t.ends(r, i) {
			at, _ := r.at(s)
			cross(d, at)
			labels = append(labels, label{at: s, words: fmt.Sprintf("N%d", i*last), bold: true})
			if i == 1 {
				labels = append(labels, label{at: s, words: t.length(s)})
			}
		}
	}
	marks := t.marks(v, r)
	for _, m := range marks {
		t.drawMark(d, v, r, m)
		labels = append(labels, label{at: m.at, words: m.name + "  " + t.length(m.at), bold: true})
	}
	b.beside(r, side, radius, labels)
	for _, l := range r.bends() {
		t.bendBlock(b, r, l, -side)
	}
	for i := range cuts {
		t.endBlock(b, r, i, cuts[i], !slim(tubeBox))
	}
	t.nameInTube(d, v, r, -math.Copysign(1, offset))
	t.dimensions(d, r, tubeBox)

	d.Notes = t.notes(v, r, tubeBox.Size(), reference, marks)
	return d
}

// nodeReach is how far (mm) off the tube's edge a node is still drawn.
const nodeReach = 100

// ends tells whether end i of the bar is an end of the run.
func (t *templater) ends(r run, i int) bool {
	if i == 0 {
		return r.start() == 0
	}
	return r[len(r)-1].start == t.bar.Path.Segments[len(t.bar.Path.Segments)-1].Start
}

// labelSide is the outside of most bends: 1 for the left of the way from A to B.
func labelSide(r run) float64 {
	sum := 0.0
	for _, l := range r {
		sum += l.turn
	}
	if sum > 0 {
		return -1
	}
	return 1
}

// parallel returns the line at an offset to the left of a run, mm, that starts
// and ends so much (mm) inside of its ends.
func (r run) parallel(offset, start, end float64) []draw.Vertex {
	var out []draw.Vertex
	for i, l := range r {
		p := l.from
		if i == 0 {
			p = p.Add(l.dir.Mul(start))
		}
		if !l.arc && l.length < shortest && i > 0 {
			continue
		}
		out = append(out, draw.Vertex{Point: p.Add(left(l.dir).Mul(offset)), Bulge: math.Tan(l.turn / 4)})
	}
	l := r[len(r)-1]
	return append(out, draw.Vertex{Point: l.to.Sub(l.dir.Mul(end)).Add(left(l.dir).Mul(offset))})
}

// shortest is the length (mm) of a straight between two bends that is worth a
// vertex of its own: shorter ones are made of rounding.
const shortest = 1e-6

// across draws the short line across the tube that marks a place on it.
func (t *templater) across(d *draw.Drawing, r run, s float64) {
	p, dir := r.at(s)
	reach := left(dir).Mul(t.bar.Radius() + clear)
	d.Line(draw.Thin, p.Add(reach), p.Sub(reach))
}

// cross marks a node.
func cross(d *draw.Drawing, p r2.Point) {
	const arm = 4
	d.Line(draw.Thin, r2.Point{X: p.X - arm, Y: p.Y}, r2.Point{X: p.X + arm, Y: p.Y})
	d.Line(draw.Thin, r2.Point{X: p.X, Y: p.Y - arm}, r2.Point{X: p.X, Y: p.Y + arm})
}

// bendBlock writes a bend's number and angles beside it.
func (t *templater) bendBlock(b *board, r run, l leg, side float64) {
	p, dir := r.at(l.start + l.length/2)
	out := left(dir).Mul(side)
	lines := []line{
		{large, fmt.Sprintf("bend %d", l.bend), true},
		{large, degrees(s1.Angle(math.Abs(l.turn))), true},
	}
	if s, ok := t.step(l.bend); ok {
		words := "set " + degrees(s.set)
		if s.estimated {
			words += " (estimate)"
		}
		lines = append(lines, line{medium, words, false})
		if s.from != "" {
			// In two lines: a narrow block is on fewer pages.
			lines = append(lines, line{medium, "mark " + s.mark, false}, line{small, "from sawn end " + s.from, false})
		}
	}
	near := t.bar.Radius() + 2*clear
	// Inside, or else outside beyond the labels.
	places := outwards(p, out, near, near+15*clear)
	b.block(append(places, outwards(p, out.Mul(-1), near+50, near+150)...), lines...)
}

// setting is what is done at a bend.
type setting struct {
	set       s1.Angle
	estimated bool   // from the material, not from test pieces
	mark      string // for the start of the bend
	from      string // the sawn end from which that is; "": there is no plan
}

// step returns what the plan of the blank, or else the bend table, says about a
// bend.
func (t *templater) step(bend int) (setting, bool) {
	if t.bar.Blank != nil {
		for _, s := range t.bar.Blank.Steps {
			if s.Bend == bend {
				first := t.bar.Blank.First
				return setting{s.Set, s.Estimated, t.length(s.Mark[first]), endName(first)}, true
			}
		}
	}
	if bend <= len(t.bar.Table.Bends) {
		b := t.bar.Table.Bends[bend-1]
		return setting{set: b.Set, estimated: b.Estimated}, true
	}
	return setting{}, false
}

func endName(i int) string { return string(rune('A' + i)) }

// endBlock says at an end of the run which one it is.
func (t *templater) endBlock(b *board, r run, i int, c cut, wide bool) {
	s := [2]float64{r.start(), r.end()}[i]
	p, dir := r.at(s)
	if i == 0 {
		dir = dir.Mul(-1)
	}
	from := c.beyond + 2*clear
	lines := []line{{huge, endName(i), true}}
	if !t.ends(r, i) {
		bend := r.bends()[0].bend - 1 + 2*i
		words := fmt.Sprintf("bend %d ends here", bend)
		if i == 1 {
			words = fmt.Sprintf("bend %d starts here", bend)
		}
		lines = []line{{medium, words, true}, {medium, t.length(s), false}}
		from += 2 * clear // beyond a joint that may be here
	}
	if t.ends(r, i) {
		switch e := t.bar.Ends[i]; e.Kind {
		case job.Foot:
			lines = append(lines, line{medium, "on the shell", false})
		case job.Landed:
			lines = append(lines, line{medium, "on " + name(e.Onto), false})
		}
		lines = append(lines, line{medium, c.words, false})
	}
	if wide {
		chord := r[len(r)-1].to.Sub(r[0].from).Norm()
		lines = append(lines, line{small, t.length(chord) + " to the middle of the other end", false})
	}
	b.block(outwards(p, dir, from, from+25*clear), lines...)
}

// nameInTube writes the bar's name and the face in the tube, so that a cut-out
// still has them, and a page without notes; on that side of its middle.
func (t *templater) nameInTube(d *draw.Drawing, v view, r run, side float64) {
	l := r.longest()
	if t.bar.Radius() < 3*medium {
		return
	}
	p := l.from.Add(l.to).Mul(0.5).Add(left(l.dir).Mul(side * t.bar.Radius() / 2))
	text := draw.Text{Height: medium, Words: name(t.bar.Name) + ", " + v.face, Bold: true}
	if text.Width() > l.length {
		text.Words = name(t.bar.Name)
	}
	level(d, p, l.dir, text, l.length)
}

// level writes a text along dir or against it, so that it can be read, with its
// middle at p; one that is wider than there is room is left out.
func level(d *draw.Drawing, p, dir r2.Point, text draw.Text, room float64) {
	if text.Width() > room {
		return
	}
	if dir.X < -upright || dir.X < upright && dir.Y < 0 {
		dir = dir.Mul(-1)
	}
	text.Anchor, text.Turn = draw.Middle, s1.Angle(math.Atan2(dir.Y, dir.X))
	text.At = p.Sub(left(dir).Mul(text.Height / 2))
	d.Texts = append(d.Texts, text)
}

// longest returns the longest straight of a run.
func (r run) longest() leg {
	longest := r[0]
	for _, l := range r {
		if !l.arc && l.length > longest.length {
			longest = l
		}
	}
	return longest
}

// dimensions adds what a builder can measure on the bent tube, where that is
// beside it. A line across the empty middle of a hoop would be seven pages of
// A4 with nothing else on them: there the ends have the figure, see endBlock.
func (t *templater) dimensions(d *draw.Drawing, r run, tubeBox r2.Rect) {
	if !slim(tubeBox) {
		return
	}
	low := d.Bounds().Y.Lo
	const room = 8
	a, b := r[0].from, r[len(r)-1].to
	if a.X > b.X {
		a, b = b, a
	}
	// From the foot of all words down, so that no line goes through one.
	dimension := func(from, to, offset float64, words string) {
		d.Dimension(r2.Point{X: from, Y: low}, r2.Point{X: to, Y: low}, -offset, words)
	}
	if b.Sub(a).Norm() >= minChord { // newView makes the way from a to b level
		dimension(a.X, b.X, room, t.length(b.X-a.X)+" middle to middle of the ends")
	}
	dimension(tubeBox.X.Lo, tubeBox.X.Hi, 2*room, t.length(tubeBox.Size().X)+" over all")
}

// slim tells whether a tube is never far from the way from end to end: it and
// its dimensions share pages.
func slim(tubeBox r2.Rect) bool { return tubeBox.Size().Y <= 250 }

// reference draws the reference line. It returns where that is, in words and as
// an offset to the left of the middle, mm.
func (t *templater) reference(d *draw.Drawing, v view, r run, cuts [2]cut) (string, float64) {
	// Its place across the tube does not change along a run in one plane.
	s := r.start()
	_, dir := r.at(s)
	ref := tube.ReferenceAt(t.bar.Path, s)
	flat := v.vector(ref).Dot(left(dir))
	towards := ref.Dot(v.normal)
	radius := t.bar.Radius()
	const inside = 2.5 // mm, from the edge: near enough to belong to it
	kind, words := draw.Thin, "the edge drawn double"
	offset := flat * radius
	switch {
	case math.Abs(flat) > onEdge:
		offset = math.Copysign(radius-inside, flat)
	case towards > 0:
		words = "the narrow full line, on the side that faces you"
	default:
		kind, words = draw.Hidden, "the dashed line, on the side that faces away from you"
	}
	if math.Abs(offset) < 1 && math.Abs(flat) <= onEdge {
		offset = math.Copysign(1, offset) // beside the centreline, not on it
	}
	if l := r.longest(); radius >= 3*small {
		// Between the line and the middle, in the first half of the longest straight.
		at := offset - math.Copysign(small/2+1.5, offset)
		p := l.from.Add(l.dir.Mul(0.25 * l.length)).Add(left(l.dir).Mul(at))
		level(d, p, l.dir, draw.Text{Height: small, Words: "reference line"}, l.length/2)
	}
	d.Strokes = append(d.Strokes, draw.Stroke{Kind: kind, Vertices: r.parallel(offset, cuts[0].at(offset, radius), cuts[1].at(offset, radius))})
	return words, offset
}

// onEdge is the cosine of 10 degrees: a reference line nearer to the tube's
// outline than that is drawn as a part of it. (Taste, no source.)
const onEdge = 0.985

// notes are the lines under the title. Those without joints are kept to what
// fits the foot of a page.
func (t *templater) notes(v view, r run, size r2.Point, reference string, marks []mark) []string {
	spec := t.bar.Tube
	notes := []string{fmt.Sprintf("Tube %s x %s, CLR %s. %s. Figures: %s, along the tube's middle from end A.",
		t.size(spec.OD), t.size(spec.Wall), t.size(r.bends()[0].radius), capital(v.face), t.unit())}
	notes = append(notes, t.also()...)
	notes = append(notes,
		"Wide: the tube's outside, over all "+t.length(size.X)+" by "+t.length(size.Y)+". Lines across: start and end of a bend.",
		"Reference line (on the outside of bend 1): here "+reference+".")
	for i := range 2 {
		if t.ends(r, i) && len(t.bar.Cuts[i].Outer) > 0 && t.bar.Cuts[i].Kind != fit.Square {
			notes = append(notes, "End cuts: extra wide on the side that faces you, dashed on the far side.")
			break
		}
	}
	if len(marks) > 0 {
		notes = append(notes, "Bars that land on this one, with their clock: degrees around the tube from the reference line, clockwise seen from end A:")
	}
	for _, m := range marks {
		notes = append(notes, m.note(t.figures))
	}
	return notes
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// also names the other bars that a sheet serves, and how.
func (t *templater) also() []string {
	var out []string
	for _, m := range t.members {
		words := fmt.Sprintf("One template serves both, also for %s", name(t.cage.Bars[m.bar].Name))
		switch {
		case m.mirrored && m.reversed:
			words += ": turn the sheet over and read it from the other end (A and B change places)."
		case m.mirrored:
			words += ": turn the sheet over."
		case m.reversed:
			words += ": read from the other end (A and B change places)."
		default:
			words += "."
		}
		if !m.twin {
			words += fmt.Sprintf(" Only the bends are the same: ends, joints and marks shown are those of %s.", name(t.bar.Name))
		} else if !sameMarks(t.bar.Blank, t.cage.Bars[m.bar].Blank) {
			words += fmt.Sprintf(" Marks on the blank are those of %s; the other's differ.", name(t.bar.Name))
		}
		out = append(out, words)
	}
	return out
}

// sameMarks tells whether two blanks are bent in the same order with the same
// marks. Those of a pair may differ: its feet do not stand on the same metal.
func sameMarks(a, b *bender.Blank) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.First == b.First && slices.EqualFunc(a.Steps, b.Steps, func(p, q bender.Step) bool {
		return p.Bend == q.Bend && math.Abs(p.Mark[a.First]-q.Mark[a.First]) < markTol
	})
}

// markTol is a difference of marks, mm, that figures of 0.1 mm do not show.
const markTol = 0.05

// cut is how an end looks in a view.
type cut struct {
	strokes []draw.Stroke
	sides   [2]float64 // where the edges on the left and right end, mm inside of the node
	middle  float64    // likewise, the side that faces the reader
	beyond  float64    // how far it reaches past the node, mm
	words   string
}

// edge returns where the edge on a side ends: 1 the left, -1 the right.
func (c cut) edge(side float64) float64 {
	if side > 0 {
		return c.sides[0]
	}
	return c.sides[1]
}

// at returns where a line on the tube at an offset from its middle ends, about.
func (c cut) at(offset, radius float64) float64 {
	share := offset / radius
	if share > 0 {
		return c.middle + share*(c.sides[0]-c.middle)
	}
	return c.middle - share*(c.sides[1]-c.middle)
}

// cutAt draws end i of a run: the cut of the bar's end, or a narrow line across
// where the run goes on into another bend.
func (t *templater) cutAt(v view, r run, i int) cut {
	radius := t.bar.Radius()
	s := [2]float64{r.start(), r.end()}[i]
	p, dir := r.at(s)
	if i == 1 {
		dir = dir.Mul(-1) // from the end into the run
	}
	across := func(kind draw.Kind) draw.Stroke {
		arm := left(dir).Mul(radius)
		return draw.Stroke{Kind: kind, Vertices: []draw.Vertex{{Point: p.Add(arm)}, {Point: p.Sub(arm)}}}
	}
	if !t.ends(r, i) {
		return cut{strokes: []draw.Stroke{across(draw.Thin)}}
	}
	e := t.bar.Cuts[i]
	n := len(e.Outer)
	if n < 3 || e.Kind == fit.Square || e.Kind == "" {
		words := "cut square"
		if e.Kind == "" && t.bar.Ends[i].Kind == job.Landed {
			words = "notch not shown: square at the node"
		}
		return cut{strokes: []draw.Stroke{across(draw.Cut)}, words: words}
	}
	c := cut{words: map[fit.CutKind]string{fit.Notch: "notch", fit.Mitre: "oblique cut"}[e.Kind], beyond: e.Beyond()}
	if j := t.jointAt(i); j != nil {
		c.words += fmt.Sprintf(" %s, %s", name(j.Name), degrees(s1.Angle(j.Angle)*s1.Degree))
	}
	// The curve around the tube, split where it passes the outline: the part on
	// the side that faces the reader covers the other.
	type point struct {
		p      r2.Point
		facing float64
	}
	points := make([]point, n)
	for k, x := range e.Outer {
		around := tube.AtClock(t.bar.Path, s, s1.Angle(2*math.Pi*float64(k)/float64(n)))
		points[k] = point{p.Add(dir.Mul(x)).Add(v.vector(around).Mul(radius)), around.Dot(v.normal)}
	}
	outline := func(a, b point) point {
		share := a.facing / (a.facing - b.facing)
		return point{a.p.Add(b.p.Sub(a.p).Mul(share)), 0}
	}
	first := slices.IndexFunc(points, func(q point) bool { return q.facing < 0 })
	if first < 0 { // a tube has two sides, whatever the view
		return cut{strokes: []draw.Stroke{across(draw.Cut)}, words: c.words}
	}
	var piece []draw.Vertex
	facing := false
	end := func() {
		kind := draw.Hidden
		if facing {
			kind = draw.Cut
		}
		if len(piece) > 1 {
			c.strokes = append(c.strokes, draw.Stroke{Kind: kind, Vertices: piece})
		}
	}
	var middle, nearest float64
	for k := range n + 1 {
		q := points[(first+k)%n]
		if k > 0 {
			last := points[(first+k-1)%n]
			if (last.facing < 0) != (q.facing < 0) {
				m := outline(last, q)
				piece = append(piece, draw.Vertex{Point: m.p})
				end()
				piece, facing = []draw.Vertex{{Point: m.p}}, !facing
				x := m.p.Sub(p).Dot(dir)
				if m.p.Sub(p).Dot(left(dir)) > 0 == (i == 0) {
					c.sides[0] = x
				} else {
					c.sides[1] = x
				}
			}
		}
		if q.facing > nearest {
			middle, nearest = q.p.Sub(p).Dot(dir), q.facing
		}
		piece = append(piece, draw.Vertex{Point: q.p})
	}
	end()
	c.middle = middle
	return c
}

// jointAt returns the joint of end i of the bar, or nil.
func (t *templater) jointAt(i int) *fit.Joint {
	for k := range t.cage.Joints {
		if j := &t.cage.Joints[k]; j.Bar == t.bar.Name && j.End == endName(i) {
			return j
		}
	}
	return nil
}

// mark is where another bar lands on one that a sheet serves.
type mark struct {
	joint *fit.Joint
	name  string
	at    float64 // along the bar that is drawn, from its end A, mm
	side  string
	other string // the bar it is for, if that is not the one drawn
}

func (m mark) note(f figures) string {
	words := fmt.Sprintf("%s  at %s, clock %s, %s: %s", m.name, f.length(m.at), degrees(s1.Angle(m.joint.Clock)*s1.Degree), m.side, name(m.joint.Bar))
	if m.other != "" {
		words += fmt.Sprintf(" (on %s only)", name(m.other))
	}
	return words
}

// marks returns the joints within a run, of the bar that is drawn and of its
// twin: where both have one at the same place, they share a mark in the drawing
// but not in the notes.
func (t *templater) marks(v view, r run) []mark {
	var out []mark
	add := func(on string, mirrored bool) {
		for k := range t.cage.Joints {
			j := &t.cage.Joints[k]
			if j.Onto != on || !(j.At >= r.start() && j.At <= r.end()) {
				continue
			}
			clock := s1.Angle(j.Clock) * s1.Degree
			if mirrored {
				clock = -clock // turned over, it is at the same place of the sheet
			}
			m := mark{joint: j, name: name(j.Name), at: j.At}
			if mirrored {
				m.other = on
			}
			_, dir := r.at(j.At)
			around := tube.AtClock(t.bar.Path, j.At, clock)
			towards, side := around.Dot(v.normal), v.vector(around).Dot(left(dir))*labelSide(r)
			switch {
			case towards > sideways:
				m.side = "facing you"
			case towards < -sideways:
				m.side = "far side"
			case side > 0:
				m.side = "edge beside the figures"
			default:
				m.side = "edge away from the figures"
			}
			out = append(out, m)
		}
	}
	add(t.bar.Name, false)
	for _, m := range t.members {
		if m.twin {
			add(t.cage.Bars[m.bar].Name, true)
		}
	}
	slices.SortStableFunc(out, func(a, b mark) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	return out
}

// sideways is the cosine of 45 degrees.
const sideways = 0.7071

// drawMark draws where a joint is: a line across the tube and the weld around
// the other bar, full where it faces the reader.
func (t *templater) drawMark(d *draw.Drawing, v view, r run, m mark) {
	t.across(d, r, m.at)
	p, _ := r.at(m.at)
	d.Circle(draw.Thin, p, 1.5)
	if m.other != "" || len(m.joint.Bead) < 3 {
		return
	}
	bead := m.joint.Bead
	var piece []r2.Point
	facing := true
	end := func() {
		if facing {
			d.Line(draw.Ghost, piece...)
		} else {
			d.Line(draw.Hidden, piece...)
		}
	}
	for k := range len(bead) + 1 {
		q := bead[k%len(bead)]
		s, _ := t.bar.Path.Closest(q)
		on, _ := t.bar.Path.At(s)
		now := facingReader(q.Sub(on), v)
		if k > 0 && now != facing {
			piece = append(piece, v.point(q))
			end()
			piece = piece[:0:0]
		}
		facing = now
		piece = append(piece, v.point(q))
	}
	end()
}

func facingReader(d r3.Vector, v view) bool { return d.Dot(v.normal) >= 0 }
