package sheet

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"

	"barwright/export/draw"
)

// Heights of capital letters, mm: of the series of ISO 3098-1, as large as there
// is room for, to be read from an arm's length.
const (
	huge   = 14.0
	large  = 7.0
	medium = 5.0
	small  = 3.5
)

// Figures of the layout, mm. (Taste, no source.)
const (
	feed      = 1.6  // from line to line, in heights
	clear     = 4.0  // between a tube's edge and what is written beside it
	labelRoom = 7.5  // between the middles of two labels
	leader    = 14.0 // from a tube's edge to its labels
)

// label is a line of words that stands beside a tube, at right angles to it.
type label struct {
	at    float64 // along the bar from end A, mm
	from  float64 // least distance of the words from the centreline, mm
	words string
	bold  bool
}

// beside writes labels along one side of a run (left: 1, right: -1 of the way
// from A to B), each with a line to its place. Labels that would run into each
// other are moved apart. radius is the tube's, mm.
func (b *board) beside(r run, side, radius float64, labels []label) {
	labels = slices.Clone(labels)
	slices.SortStableFunc(labels, func(a, b label) int { return cmp.Compare(a.at, b.at) })
	at := make([]float64, len(labels))
	for i, l := range labels {
		at[i] = r.stretch(l.at, side, radius+leader)
	}
	for i, u := range spread(at, labelRoom) {
		l := labels[i]
		s := r.shrink(u, side, radius+leader)
		foot, dir := r.at(l.at)
		head, way := r.at(s)
		foot = foot.Add(left(dir).Mul(side * radius))
		out := left(way).Mul(side)
		start := max(l.from, radius+leader)
		b.Line(draw.Thin, foot, head.Add(out.Mul(radius+leader/2)), head.Add(out.Mul(start-1)))
		words(b.Drawing, head.Add(out.Mul(start)), out, medium, l.words, l.bold)
		wide := draw.Text{Height: medium, Words: l.words, Bold: l.bold}.Width()
		for x := 0.0; x < wide; x += medium {
			b.taken = append(b.taken, r2.RectFromCenterSize(head.Add(out.Mul(start+x)), r2.Point{X: medium, Y: medium}))
		}
	}
}

// words writes a line that starts at p and runs along dir, or ends at p where it
// would be upside down otherwise; its middle is level with p.
func words(d *draw.Drawing, p, dir r2.Point, height float64, text string, bold bool) {
	t := draw.Text{Height: height, Words: text, Bold: bold, Anchor: draw.Left}
	if dir.X < -upright || dir.X < upright && dir.Y < 0 {
		dir, t.Anchor = dir.Mul(-1), draw.Right
	}
	t.Turn = s1.Angle(math.Atan2(dir.Y, dir.X))
	t.At = p.Sub(left(dir).Mul(height / 2))
	d.Texts = append(d.Texts, t)
}

// upright is the cosine below which a line counts as upright, whatever rounding
// made of it: 0.06 degrees.
const upright = 1e-3

// line is a line of a block.
type line struct {
	height float64
	words  string
	bold   bool
}

// blockAt returns the lines of a level, centred block that lies beside p in the
// direction dir (unit), and the rectangle that they fill.
func blockAt(p, dir r2.Point, lines []line) ([]draw.Text, r2.Rect) {
	var wide, high float64
	for i, l := range lines {
		wide = max(wide, draw.Text{Height: l.height, Words: l.words, Bold: l.bold}.Width())
		high += l.height
		if i > 0 {
			high += (feed - 1) * l.height
		}
	}
	// The block's box slides round p as dir turns; the factor keeps its corners
	// off the tube at slanting directions.
	slide := func(x float64) float64 { return max(-1, min(1, 1.5*x)) / 2 }
	p = p.Add(r2.Point{X: slide(dir.X) * wide, Y: slide(dir.Y) * high})
	box := r2.RectFromCenterSize(p, r2.Point{X: wide, Y: high})
	p.Y = box.Y.Hi
	var out []draw.Text
	for i, l := range lines {
		if i > 0 {
			p.Y -= (feed - 1) * l.height
		}
		p.Y -= l.height
		out = append(out, draw.Text{At: p, Height: l.height, Anchor: draw.Middle, Words: l.words, Bold: l.bold})
	}
	return out, box
}

// board is a drawing on which blocks keep clear of each other and of the tube.
type board struct {
	*draw.Drawing
	taken []r2.Rect
}

// newBoard takes the room of a run of a tube: squares along it, a little smaller
// than it is wide, so that a block may touch it.
func newBoard(d *draw.Drawing, r run, radius float64) *board {
	b := &board{Drawing: d}
	side := r2.Point{X: 1.6 * radius, Y: 1.6 * radius}
	for s := r.start(); s < r.end(); s += radius / 2 {
		p, _ := r.at(s)
		b.taken = append(b.taken, r2.RectFromCenterSize(p, side))
	}
	return b
}

// place is where a block may go: beside a point, in a direction.
type place struct{ at, dir r2.Point }

// block writes a block at the first place at which it is clear of everything, or
// at the first if there is none.
func (b *board) block(places []place, lines ...line) {
	var best []draw.Text
	var bestBox r2.Rect
	for i, p := range places {
		texts, box := blockAt(p.at, p.dir, lines)
		free := !slices.ContainsFunc(b.taken, box.Intersects)
		if i == 0 || free {
			best, bestBox = texts, box
		}
		if free {
			break
		}
	}
	b.taken = append(b.taken, bestBox.ExpandedByMargin(1))
	b.Texts = append(b.Texts, best...)
}

// outwards returns places at growing distances (mm) from p along dir (unit).
func outwards(p, dir r2.Point, from, to float64) []place {
	var out []place
	for x := from; x <= to; x += clear {
		out = append(out, place{p.Add(dir.Mul(x)), dir})
	}
	return out
}

// stretch turns a distance along the bar into one along its parallel at an
// offset to that side, on which labels are kept apart; shrink is its inverse.
func (r run) stretch(s, side, offset float64) float64 {
	u := 0.0
	for i := range r {
		l := &r[i]
		x := s - l.start
		if i > 0 {
			x = max(0, x)
		}
		if i+1 < len(r) {
			x = min(x, l.length)
		}
		u += x * l.factor(side, offset)
	}
	return u
}

func (r run) shrink(u, side, offset float64) float64 {
	for i := range r {
		l := &r[i]
		f := l.factor(side, offset)
		if i+1 == len(r) || u <= l.length*f {
			return l.start + u/f
		}
		u -= l.length * f
	}
	return r.end()
}

// factor is how much longer the parallel is than the leg. On the inside of a
// bend it ends in a point; a fifth keeps labels there in order.
func (l *leg) factor(side, offset float64) float64 {
	if !l.arc {
		return 1
	}
	return max(0.2, 1-math.Copysign(1, l.turn)*side*offset/l.radius)
}

// spread moves sorted places apart so that neighbours have at least that room,
// and as little as that takes: groups that touch are centred on where their
// members would be.
func spread(at []float64, room float64) []float64 {
	type group struct {
		n   int
		sum float64 // of (place - room x number in the group)
	}
	first := func(g group) float64 { return g.sum / float64(g.n) }
	var groups []group
	for _, x := range at {
		g := group{1, x}
		for len(groups) > 0 {
			last := groups[len(groups)-1]
			if first(last)+float64(last.n)*room <= first(g) {
				break
			}
			g = group{last.n + g.n, last.sum + g.sum - float64(g.n)*float64(last.n)*room}
			groups = groups[:len(groups)-1]
		}
		groups = append(groups, g)
	}
	var out []float64
	for _, g := range groups {
		for i := range g.n {
			out = append(out, first(g)+float64(i)*room)
		}
	}
	return out
}
