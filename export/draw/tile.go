package draw

import (
	"fmt"
	"math"

	"github.com/golang/geo/r2"
)

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
// tried: 2 x 81 tries of 10,000 took 0.36 s on two busy cores.
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
