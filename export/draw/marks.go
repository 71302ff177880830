package draw

import (
	"fmt"
	"math"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
)

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

// little returns the drawing's main lines as they go on the map: those that are
// more than half as wide as the widest, so neither hatching nor a grid.
func (g *grid) little() *Drawing {
	scale, corner := g.mapScale()
	out := &Drawing{}
	widest := 0.0
	for _, s := range g.d.styles() {
		widest = max(widest, s.Width)
	}
	for _, s := range g.d.Strokes {
		if g.d.styles()[s.Kind].Width <= widest/2 {
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
