package draw

import (
	"fmt"
	"math"
	"strings"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
)

// Page is one page of a PDF. Its coordinates are in mm from the lower left corner
// of the paper.
type Page struct {
	Paper Paper    // as it is printed: on its side it is wider than high
	Title string   // of what is drawn on it
	Tile  string   // column and row of a page of many, as "B2"; else empty
	Net   r2.Rect  // the part of the drawing that the page is for, in the drawing's mm
	At    r2.Point // where Net's lower left corner is on the page

	under   Drawing // its own marks, below what is drawn
	views   []view
	over    Drawing // its own marks, above it
	numbers r2.Rect // where the page's number goes
	titled  bool    // without a title of its own: shows that of the file
}

// view is a drawing put on a page.
type view struct {
	d    *Drawing
	at   r2.Point // of the drawing's origin
	clip r2.Rect  // nothing is drawn outside
}

// Figures of pages, mm.
const (
	printMargin = 10.0 // stays white: what printers can't reach (common practice, no source)
	flapWide    = 10.0 // on the right and at the foot, for the next tile to be glued onto
	wasteWide   = 5.0  // on the left and at the top, to be cut off
	stripGap    = 3.0  // above the strip at the foot
	mapWide     = 42.0 // of the strip of a tile, for the map of all
	nameWide    = 26.0 // and, to the left of it, for its name
	tileStrip   = 36.0 // least height of a tile's strip: what the map needs
	stripTitle  = 4.0  // height of letters
	stripLines  = 5    // of notes at most; more get a page of their own
	cellGap     = 5.0  // between drawings that share a page
	cellPad     = 3.0  // around each of them
	cellWide    = 80.0 // least width, for words: so two find room side by side on A4
	crossArm    = 5.0
	largestSide = 5080.0 // of a page: 14400 units of 1/72 in, a limit of PDF readers (ISO 32000-1, annex C; from memory)
	leastSide   = 190.0  // of the paper: strip, flap and a tile of some size must find room
	mostTiles   = 1000   // of one drawing; a car is drawn in under 200 of A4
	linePad     = 0.5    // half the widest line, and what chords are off in picking tiles
	tileChord   = 0.1    // chord error in picking tiles
	mapChord    = 0.1    // chord error on the map, on paper
)

// room is how a page is divided: the strip with title, notes, check lines and map
// at the foot, and the area above it.
type room struct {
	paper Paper
	strip r2.Rect
	area  r2.Rect
	words float64  // width for title and notes in the strip
	notes []string // as they are shown there
	more  bool     // not all of them could be
}

const howToGlue = "Cut along dashed lines. Glue each page onto the grey flaps of its neighbours, rings and crosses on each other."

// newRoom divides paper, which lies on its side or doesn't, for a page with notes,
// which is one of many or isn't.
func newRoom(p Paper, onSide bool, notes []string, tiled bool) room {
	if onSide {
		p.Width, p.Height = p.Height, p.Width
	}
	r := room{paper: p}
	wide := p.Width - 2*printMargin
	r.words = wide
	if tiled {
		r.words -= mapWide + nameWide
		notes = append(notes[:len(notes):len(notes)], howToGlue)
	}
	for _, n := range notes {
		r.notes = append(r.notes, wrapped(n, smallHeight, r.words)...)
	}
	if len(r.notes) > stripLines {
		r.more = true
		r.notes = []string{"Read the notes on the page before this drawing first."}
		if tiled {
			r.notes = append(r.notes, wrapped(howToGlue, smallHeight, r.words)...)
		}
	}
	high := stripTitle*lineFeed + float64(len(r.notes))*smallHeight*lineFeed + 2 + checkHigh
	if tiled {
		high = max(high, tileStrip)
	}
	low := r2.Point{X: printMargin, Y: printMargin}
	r.strip = r2.RectFromPoints(low, low.Add(r2.Point{X: wide, Y: high}))
	r.area = r2.RectFromPoints(
		r2.Point{X: printMargin, Y: r.strip.Y.Hi + stripGap},
		r2.Point{X: p.Width - printMargin, Y: p.Height - printMargin})
	return r
}

// page returns a page with its strip.
func (r room) page(title string) Page {
	g := Page{Paper: r.paper, Title: title, titled: title == ""}
	low := r.strip.Lo()
	g.over.checkLines(low)
	g.numbers = r2.RectFromPoints(low.Add(r2.Point{X: checkInch + cellGap}), low.Add(r2.Point{X: r.strip.Size().X, Y: checkHigh}))
	if r.words < r.strip.Size().X { // a map is to its right
		g.numbers.X.Hi -= mapWide
	}
	y := r.strip.Y.Hi - stripTitle*lineFeed
	width := r.words
	if title != "" {
		g.over.Texts = append(g.over.Texts, Text{At: r2.Point{X: low.X, Y: y + stripTitle/2}, Height: stripTitle, Words: fitted(title, stripTitle, true, width), Bold: true})
	}
	for _, n := range r.notes {
		y -= smallHeight * lineFeed
		g.over.Text(r2.Point{X: low.X, Y: y + smallHeight/2}, smallHeight, Left, n)
	}
	return g
}

// checkPaper returns an error for paper on which nothing can be laid out.
func (p Paper) check() error {
	if !finite(p.Width, p.Height) || min(p.Width, p.Height) < leastSide || max(p.Width, p.Height) > largestSide {
		return fmt.Errorf("paper %q of %g x %g mm: sides must be from %g to %g mm", fitted(p.Name, 1, false, 60), p.Width, p.Height, leastSide, largestSide)
	}
	return nil
}

func (p Paper) whole() bool { return p.Width == 0 && p.Height == 0 }

// Tile lays a drawing out on paper in true size. A drawing that is larger than the
// paper goes on several pages, which are trimmed and glued together: columns have
// letters from the left, rows numbers from the top. Pages come row by row, those
// on which nothing would be drawn are left out. Whether the paper stands or lies
// and where the drawing is cut is chosen so that they are few.
func Tile(d *Drawing, p Paper) ([]Page, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	if p.whole() {
		g, err := wholePage(d)
		if err != nil {
			return nil, err
		}
		return []Page{g}, nil
	}
	if err := p.check(); err != nil {
		return nil, err
	}
	box := d.Bounds().ExpandedByMargin(linePad)
	for _, onSide := range [2]bool{false, true} {
		r := newRoom(p, onSide, d.Notes, false)
		if size, has := box.Size(), r.area.Size(); size.X <= has.X && size.Y <= has.Y {
			g := r.page(d.Title)
			g.Net = box
			g.At = r.area.Center().Sub(box.Center()).Add(box.Lo())
			g.views = []view{{d, g.At.Sub(box.Lo()), r.area}}
			return r.withNotes(d, []Page{g}), nil
		}
	}
	var best *grid
	for _, onSide := range [2]bool{false, true} {
		r := newRoom(p, onSide, d.Notes, true)
		g, err := newGrid(d, box, r)
		if err != nil {
			return nil, err
		}
		if best == nil || g.count < best.count {
			best = g
		}
	}
	return best.room.withNotes(d, best.pages()), nil
}

// wholePage returns a page as large as the drawing needs.
func wholePage(d *Drawing) (Page, error) {
	framed, box := d.framed()
	box = box.ExpandedByMargin(printMargin - around)
	box.X.Hi = max(box.X.Hi, box.X.Lo+leastWide+2*printMargin)
	size := box.Size()
	if max(size.X, size.Y) > largestSide {
		return Page{}, fmt.Errorf("drawing %q needs a page of %.0f x %.0f mm, and a PDF page has at most %g mm (200 in): print it in tiles", fitted(d.Title, 1, false, 60), size.X, size.Y, largestSide)
	}
	g := Page{
		Paper: Paper{Whole.Name, size.X, size.Y}, Title: d.Title, Net: box,
		views: []view{{framed, box.Lo().Mul(-1), r2.RectFromPoints(r2.Point{}, size)}},
	}
	g.numbers = r2.RectFromPoints(
		r2.Point{X: printMargin + checkInch + cellGap, Y: printMargin},
		r2.Point{X: size.X - printMargin, Y: printMargin + checkHigh})
	return g, nil
}

// withNotes puts pages with all notes in front, if the strip can't hold them.
func (r room) withNotes(d *Drawing, pages []Page) []Page {
	if !r.more {
		return pages
	}
	return append(notesPages(d, Paper{r.paper.Name, min(r.paper.Width, r.paper.Height), max(r.paper.Width, r.paper.Height)}), pages...)
}

func notesPages(d *Drawing, p Paper) []Page {
	r := newRoom(p, false, nil, false)
	var lines []string
	for _, n := range d.Notes {
		lines = append(lines, wrapped(n, noteHeight, r.area.Size().X)...)
	}
	var pages []Page
	most := int(r.area.Size().Y / (noteHeight * lineFeed))
	for len(lines) > 0 {
		g := r.page(d.Title)
		n := min(most, len(lines))
		for i, words := range lines[:n] {
			g.over.Text(r2.Point{X: r.area.X.Lo, Y: r.area.Y.Hi - noteHeight*(1+lineFeed*float64(i))}, noteHeight, Left, words)
		}
		lines = lines[n:]
		pages = append(pages, g)
	}
	return pages
}

// Arrange lays several drawings out on paper in true size, in their order and
// several to a page where they find room; each has its title and notes above it.
// None is split, but for one that is larger than the paper, which is laid out by
// [Tile]. On [Whole] each gets a page of its own.
func Arrange(ds []*Drawing, p Paper) ([]Page, error) {
	var pages []Page
	if p.whole() {
		for _, d := range ds {
			g, err := Tile(d, p)
			if err != nil {
				return nil, err
			}
			pages = append(pages, g...)
		}
		return pages, nil
	}
	if err := p.check(); err != nil {
		return nil, err
	}
	var open *shelf
	closeIt := func() {
		if open != nil {
			pages = append(pages, open.page)
			open = nil
		}
	}
	for _, d := range ds {
		if err := d.check(); err != nil {
			return nil, err
		}
		c := newCell(d)
		if open != nil && open.put(c) {
			continue
		}
		closeIt()
		for _, onSide := range [2]bool{false, true} {
			r := newRoom(p, onSide, nil, false)
			s := &shelf{room: r, page: r.page(""), top: r.area.Y.Hi, x: r.area.X.Lo}
			if s.put(c) {
				open = s
				break
			}
		}
		if open != nil {
			continue
		}
		tiles, err := Tile(d, p)
		if err != nil {
			return nil, err
		}
		pages = append(pages, tiles...)
	}
	closeIt()
	return pages, nil
}

// cell is a drawing with its heading, ready to be put on a shared page.
type cell struct {
	d    *Drawing
	box  r2.Rect // of the drawing
	head Drawing // its top left corner is at 0
	high float64 // of the heading
	size r2.Point
}

func newCell(d *Drawing) cell {
	c := cell{d: d, box: d.Bounds().ExpandedByMargin(linePad)}
	width := max(c.box.Size().X, cellWide)
	c.high = c.head.heading(r2.Point{}, width, stripTitle, d.Title, d.Notes)
	c.size = r2.Point{X: width + 2*cellPad, Y: c.high + c.box.Size().Y + 2*cellPad}
	return c
}

// shelf fills a page from the top, in rows from the left.
type shelf struct {
	room room
	page Page
	top  float64 // of the row
	low  float64 // foot of the row; 0: nothing is in it
	x    float64 // where the next one goes
}

// put puts a cell on the page, if there is room.
func (s *shelf) put(c cell) bool {
	if s.x+c.size.X > s.room.area.X.Hi && s.low > 0 {
		s.top, s.low, s.x = s.low-cellGap, 0, s.room.area.X.Lo
	}
	if s.x+c.size.X > s.room.area.X.Hi || s.top-c.size.Y < s.room.area.Y.Lo {
		return false
	}
	corner := r2.Point{X: s.x, Y: s.top}
	box := r2.RectFromPoints(corner, corner.Add(r2.Point{X: c.size.X, Y: -c.size.Y}))
	s.page.over.rect(frameLine, box)
	inner := corner.Add(r2.Point{X: cellPad, Y: -cellPad})
	s.page.over.Add(&c.head, inner, 0)
	// A drawing that is narrower than its heading stands in the middle.
	at := r2.Point{X: box.Center().X - c.box.Center().X, Y: inner.Y - c.high - c.box.Y.Hi}
	s.page.views = append(s.page.views, view{c.d, at, box})
	if s.low == 0 || box.Y.Lo < s.low {
		s.low = box.Y.Lo
	}
	s.x = box.X.Hi + cellGap
	return true
}

func (d *Drawing) rect(k Kind, b r2.Rect) {
	v := b.Vertices()
	d.Polygon(k, v[:]...)
}

func (d *Drawing) area(grey float64, b r2.Rect) {
	f := Fill{Grey: grey}
	for _, v := range b.Vertices() {
		f.Vertices = append(f.Vertices, Vertex{Point: v})
	}
	d.Fills = append(d.Fills, f)
}

// grid is a drawing cut into tiles.
type grid struct {
	d      *Drawing
	room   room
	net    r2.Point // size of a tile
	origin r2.Point // top left corner, in the drawing
	cols   int
	rows   int
	used   []bool // by row, then column
	drawn  []bool // something is drawn there; else the tile only joins others
	count  int    // of used ones
}

// shifts are the places at which the cuts are tried, in eighths of the room to
// spare: in the middle first.
var shifts = [...]float64{4, 3, 5, 2, 6, 1, 7, 0, 8}

// mostSegments is how many straight pieces a drawing may have for all shifts to be
// tried: 2 x 81 tries of so many take about a tenth of a second.
const mostSegments = 20000

func newGrid(d *Drawing, box r2.Rect, r room) (*grid, error) {
	has := r.area.Size()
	net := r2.Point{X: has.X - wasteWide - flapWide, Y: has.Y - wasteWide - flapWide}
	size := box.Size()
	cols, rows := math.Ceil(size.X/net.X), math.Ceil(size.Y/net.Y)
	if cols*rows > mostTiles {
		return nil, fmt.Errorf("drawing %q is %.0f x %.0f mm: too large for %s, which would take %.0f pages", fitted(d.Title, 1, false, 60), size.X, size.Y, r.paper.Name, cols*rows)
	}
	segments, areas := d.marks()
	tries := shifts[:]
	if len(segments) > mostSegments {
		tries = shifts[:1]
	}
	spare := r2.Point{X: cols*net.X - size.X, Y: rows*net.Y - size.Y}
	var best *grid
	for _, sy := range tries {
		for _, sx := range tries {
			g := &grid{
				d: d, room: r, net: net, cols: int(cols), rows: int(rows),
				origin: r2.Point{X: box.X.Lo - spare.X*sx/8, Y: box.Y.Hi + spare.Y*sy/8},
			}
			g.drawn = make([]bool, g.cols*g.rows)
			for _, s := range segments {
				g.mark(s[0], s[1])
			}
			for _, a := range areas {
				g.markAll(a)
			}
			g.join()
			if best == nil || g.count < best.count {
				best = g
			}
		}
	}
	return best, nil
}

// marks returns what is drawn, as straight pieces and, of words and areas, as
// rectangles.
func (d *Drawing) marks() (segments [][2]r2.Point, areas []r2.Rect) {
	for _, s := range d.Strokes {
		pts := s.Polyline(tileChord)
		for i := 1; i < len(pts); i++ {
			segments = append(segments, [2]r2.Point{pts[i-1], pts[i]})
		}
	}
	for _, f := range d.Fills {
		areas = append(areas, boundsOf(f.Vertices, true))
	}
	for _, t := range d.Texts {
		c := t.corners()
		areas = append(areas, r2.RectFromPoints(c[:]...))
	}
	return segments, areas
}

// cells returns the first and last of the cells that lo to hi meets, counted from
// 0 and bounded by n.
func cells(lo, hi, size float64, n int) (int, int) {
	first, last := math.Floor((lo-linePad)/size), math.Floor((hi+linePad)/size)
	return int(min(max(first, 0), float64(n-1))), int(min(max(last, 0), float64(n-1)))
}

// mark marks the tiles that a straight piece meets, or passes by within linePad.
func (g *grid) mark(a, b r2.Point) {
	// From the grid's corner, y down.
	a, b = r2.Point{X: a.X - g.origin.X, Y: g.origin.Y - a.Y}, r2.Point{X: b.X - g.origin.X, Y: g.origin.Y - b.Y}
	if a.X > b.X {
		a, b = b, a
	}
	first, last := cells(a.X, b.X, g.net.X, g.cols)
	for c := first; c <= last; c++ {
		y0, y1 := a.Y, b.Y
		if first != last {
			// The part of it within the column, with the pad on both sides.
			at := func(x float64) float64 {
				s := (min(max(x, a.X), b.X) - a.X) / (b.X - a.X)
				return a.Y + s*(b.Y-a.Y)
			}
			if b.X > a.X {
				y0, y1 = at(float64(c)*g.net.X-linePad), at(float64(c+1)*g.net.X+linePad)
			}
		}
		top, foot := cells(min(y0, y1), max(y0, y1), g.net.Y, g.rows)
		for r := top; r <= foot; r++ {
			g.drawn[r*g.cols+c] = true
		}
	}
}

func (g *grid) markAll(b r2.Rect) {
	first, last := cells(b.X.Lo-g.origin.X, b.X.Hi-g.origin.X, g.net.X, g.cols)
	top, foot := cells(g.origin.Y-b.Y.Hi, g.origin.Y-b.Y.Lo, g.net.Y, g.rows)
	for r := top; r <= foot; r++ {
		for c := first; c <= last; c++ {
			g.drawn[r*g.cols+c] = true
		}
	}
}

// join adds tiles, though nothing is drawn on them, until all hang together: parts
// of a drawing that lie apart could not be put in place to each other otherwise.
func (g *grid) join() {
	g.used = append([]bool(nil), g.drawn...)
	for {
		// A walk over the grid from the first used tile, on used tiles for nothing
		// and on others for one: the nearest tile that is used but costs is the
		// next part. Costs are small whole numbers, so one queue a cost does.
		n := len(g.used)
		cost, from := make([]int, n), make([]int, n)
		for i := range cost {
			cost[i], from[i] = math.MaxInt, -1
		}
		start := -1
		for i, u := range g.used {
			if u {
				start = i
				break
			}
		}
		if start < 0 {
			return
		}
		cost[start] = 0
		queue, next := []int{start}, []int(nil)
		found := -1
		for level := 0; len(queue) > 0 && found < 0; level++ {
			for len(queue) > 0 {
				i := queue[0]
				queue = queue[1:]
				if cost[i] < level {
					continue
				}
				if level > 0 && g.used[i] {
					found = i
					break
				}
				for _, k := range g.around(i) {
					c := level
					if !g.used[k] || level > 0 {
						c++
					}
					if c < cost[k] {
						cost[k], from[k] = c, i
						if c == level {
							queue = append(queue, k)
						} else {
							next = append(next, k)
						}
					}
				}
			}
			queue, next = next, nil
		}
		if found < 0 {
			break
		}
		for i := found; i >= 0; i = from[i] {
			g.used[i] = true
		}
	}
	g.count = 0
	for _, u := range g.used {
		if u {
			g.count++
		}
	}
}

// around returns the tiles above, left, right of and below a tile.
func (g *grid) around(i int) []int {
	c, r := i%g.cols, i/g.cols
	var out []int
	for _, d := range [4][2]int{{0, -1}, {-1, 0}, {1, 0}, {0, 1}} {
		if x, y := c+d[0], r+d[1]; x >= 0 && x < g.cols && y >= 0 && y < g.rows {
			out = append(out, y*g.cols+x)
		}
	}
	return out
}

// tileName returns column and row as on a map: "A1" is at the top left, and column
// 27 is "AA".
func tileName(col, row int) string { return columnName(col) + fmt.Sprint(row+1) }

func columnName(col int) string {
	name := ""
	for col++; col > 0; col = (col - 1) / 26 {
		name = string(rune('A'+(col-1)%26)) + name
	}
	return name
}

// name returns the name of the tile at a place, if there is one.
func (g *grid) name(col, row int) string {
	if col < 0 || col >= g.cols || row < 0 || row >= g.rows || !g.used[row*g.cols+col] {
		return ""
	}
	return tileName(col, row)
}

// pages returns the tiles, row by row.
func (g *grid) pages() []Page {
	little := g.little()
	var out []Page
	for row := range g.rows {
		for col := range g.cols {
			if g.name(col, row) != "" {
				out = append(out, g.page(col, row, little))
			}
		}
	}
	return out
}

func (g *grid) page(col, row int, little *Drawing) Page {
	p := g.room.page(g.d.Title)
	p.Tile = tileName(col, row)
	low := r2.Point{X: g.origin.X + float64(col)*g.net.X, Y: g.origin.Y - float64(row+1)*g.net.Y}
	p.Net = r2.RectFromPoints(low, low.Add(g.net))
	p.At = g.room.area.Lo().Add(r2.Point{X: wasteWide, Y: flapWide})
	net := r2.RectFromPoints(p.At, p.At.Add(g.net))
	clip := net.ExpandedByMargin(1)
	clip.X.Hi, clip.Y.Lo = net.X.Hi+flapWide, net.Y.Lo-flapWide
	p.views = []view{{g.d, p.At.Sub(low), clip}}
	p.joints(net, g.name(col-1, row), g.name(col, row-1), g.name(col+1, row), g.name(col, row+1))
	if !g.drawn[row*g.cols+col] {
		p.over.Text(net.Center(), noteHeight, Middle, "Nothing is drawn here: this page holds its neighbours in place.")
	}
	g.addMap(&p, col, row, little)
	return p
}

// joints draws what is needed to put a tile to its neighbours, which have names:
// a frame, to be cut along where a neighbour is to the left or above, flaps for
// those to the right and below, and crosses and rings that come to lie on each
// other.
func (p *Page) joints(net r2.Rect, left, above, right, below string) {
	p.over.rect(frameLine, net)
	for _, c := range net.Vertices() {
		p.over.cross(c, crossArm)
	}
	// Edges: from its start, words read along the edge.
	v := net.Vertices() // lower left, lower right, upper right, upper left
	for _, e := range []struct {
		name   string
		from   r2.Point
		length float64
		turn   s1.Angle
		flap   bool
	}{
		{left, v[0], net.Size().Y, math.Pi / 2, false},
		{above, v[3], net.Size().X, 0, false},
		{right, v[1], net.Size().Y, math.Pi / 2, true},
		{below, v[0], net.Size().X, 0, true},
	} {
		if e.name == "" {
			continue
		}
		// In the edge's own frame x runs along it. Outside is where the waste or the
		// flap is: to the left of the left edge and above the upper one, and to the
		// right of the right edge and under the lower one.
		m := newMove(e.from, e.turn)
		along := func(x, y float64) r2.Point { return m.point(r2.Point{X: x, Y: y}) }
		p.over.Circle(Thin, along(e.length/2, 0), crossArm/2)
		p.over.cross(along(e.length/2, 0), crossArm/2+1)
		if e.flap {
			p.under.area(0.93, r2.RectFromPoints(along(0, 0), along(e.length, -flapWide)))
			for _, x := range [2]float64{0.25, 0.75} {
				p.over.label(along(x*e.length, -flapWide/2), 3.5, e.turn, "glue "+e.name+" here", true)
			}
		} else {
			p.over.Line(Hidden, along(0, 0), along(e.length, 0))
			for _, x := range [2]float64{0.25, 0.75} {
				p.over.label(along(x*e.length, wasteWide/2), smallHeight, e.turn, "cut here, glue on "+e.name, false)
			}
		}
	}
}

func (d *Drawing) cross(c r2.Point, arm float64) {
	d.Line(Thin, r2.Point{X: c.X - arm, Y: c.Y}, r2.Point{X: c.X + arm, Y: c.Y})
	d.Line(Thin, r2.Point{X: c.X, Y: c.Y - arm}, r2.Point{X: c.X, Y: c.Y + arm})
}

// label puts words with their middle at a point, on a white ground.
func (d *Drawing) label(at r2.Point, height float64, turn s1.Angle, words string, bold bool) {
	m := newMove(at, turn)
	t := Text{At: m.point(r2.Point{Y: -height / 2}), Height: height, Anchor: Middle, Turn: turn, Words: words, Bold: bold}
	f := Fill{Grey: 1}
	for _, c := range t.corners() {
		f.Vertices = append(f.Vertices, Vertex{Point: c})
	}
	d.Fills = append(d.Fills, f)
	d.Texts = append(d.Texts, t)
}

// Figures of the map of tiles, mm.
const (
	mapName   = 7.0 // height of the tile's name beside it
	mapLetter = 1.8
	mapEdge   = 4.0 // for letters and numbers
)

// mapScale returns the map's scale and its top left corner on the page.
func (g *grid) mapScale() (float64, r2.Point) {
	s := g.room.strip
	wide := mapWide - mapEdge
	high := s.Size().Y - mapEdge
	scale := min(wide/(float64(g.cols)*g.net.X), high/(float64(g.rows)*g.net.Y))
	return scale, r2.Point{X: s.X.Hi - scale*float64(g.cols)*g.net.X, Y: s.Y.Hi - mapEdge}
}

// little returns the drawing's main lines as they go on the map.
func (g *grid) little() *Drawing {
	scale, corner := g.mapScale()
	out := &Drawing{}
	for _, s := range g.d.Strokes {
		if s.Kind != Outline && s.Kind != Cut {
			continue
		}
		pts := s.Polyline(mapChord / scale)
		for i, p := range pts {
			pts[i] = r2.Point{X: corner.X + scale*(p.X-g.origin.X), Y: corner.Y + scale*(p.Y-g.origin.Y)}
		}
		out.Line(mapLine, pts...)
	}
	return out
}

// addMap draws the map of tiles: this one is filled, those left out are crossed.
func (g *grid) addMap(p *Page, col, row int, little *Drawing) {
	scale, corner := g.mapScale()
	cell := r2.Point{X: g.net.X * scale, Y: g.net.Y * scale}
	at := func(c, r float64) r2.Point {
		return r2.Point{X: corner.X + c*cell.X, Y: corner.Y - r*cell.Y}
	}
	strip := g.room.strip
	name := r2.Point{X: strip.X.Hi - mapWide - 2, Y: strip.Y.Hi - mapName}
	p.over.Texts = append(p.over.Texts, Text{At: name, Height: mapName, Anchor: Right, Words: p.Tile, Bold: true})
	p.over.Text(name.Sub(r2.Point{Y: smallHeight * lineFeed}), smallHeight, Right, fmt.Sprintf("one of %d", g.count))
	p.under.area(0.7, r2.RectFromPoints(at(float64(col), float64(row)), at(float64(col+1), float64(row+1))))
	for r := range g.rows {
		for c := range g.cols {
			x, y := float64(c), float64(r)
			p.over.rect(frameLine, r2.RectFromPoints(at(x, y), at(x+1, y+1)))
			if g.name(c, r) == "" {
				p.over.Line(frameLine, at(x, y), at(x+1, y+1))
				p.over.Line(frameLine, at(x, y+1), at(x+1, y))
			}
		}
	}
	letter := min(mapLetter, 0.8*cell.X, 0.8*cell.Y)
	for c := range g.cols {
		p.over.Text(at(float64(c)+0.5, 0).Add(r2.Point{Y: 0.8}), letter, Middle, columnName(c))
	}
	for r := range g.rows {
		p.over.Text(at(0, float64(r)+0.5).Add(r2.Point{X: -0.8, Y: -letter / 2}), letter, Right, fmt.Sprint(r+1))
	}
	p.over.Strokes = append(p.over.Strokes, little.Strokes...)
}

// numbered returns the page's own marks with what is known only once all pages are
// there: its number, and the title of the file.
func (p Page) numbered(n, of int, title string) *Drawing {
	out := &Drawing{}
	out.Add(&p.over, r2.Point{}, 0)
	lines := []string{fmt.Sprintf("page %d of %d", n, of)}
	if p.titled {
		p.Title = title
		out.Texts = append(out.Texts, Text{At: p.stripTitleAt(), Height: stripTitle, Words: fitted(title, stripTitle, true, p.Paper.Width-2*printMargin), Bold: true})
	} else if strings.TrimSpace(title) != "" && title != p.Title {
		lines = append(lines, title)
	}
	lines = append(lines, "print at 100 %, "+p.Paper.Name)
	y := p.numbers.Y.Hi - 4
	for _, l := range lines {
		out.Text(r2.Point{X: p.numbers.X.Lo, Y: y}, smallHeight, Left, fitted(l, smallHeight, false, p.numbers.Size().X))
		y -= smallHeight * lineFeed
	}
	return out
}

// stripTitleAt is where the title of a page without notes stands.
func (p Page) stripTitleAt() r2.Point {
	return r2.Point{X: printMargin, Y: printMargin + checkHigh + 2 + stripTitle/2}
}
