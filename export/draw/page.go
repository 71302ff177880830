package draw

import (
	"fmt"
	"strings"

	"github.com/golang/geo/r2"
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
	stripLines  = 10   // of notes at most; more get a page of their own
	tileLines   = 6    // the same on a tile, where they cost room on every page
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
	most := stripLines
	if tiled {
		most = tileLines
	}
	if len(r.notes) > most {
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

// wholePage returns a page as large as the drawing needs.
func wholePage(d *Drawing) (Page, error) {
	framed, box := d.framed()
	box = box.ExpandedByMargin(printMargin - around)
	if framed == d { // a sheet of its own knows of no page numbers
		box.Y.Lo -= checkHigh
	}
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
		lines = append(append(lines, wrapped(n, noteHeight, r.area.Size().X)...), "")
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
