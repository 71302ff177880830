package sample

import (
	"fmt"
	"math"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"

	"barwright/mesh"
)

// Room is a closed prism along x: a convex section between two flat end walls.
type Room struct {
	Mesh *mesh.Mesh // closed, normals into the room, mm

	// Section is the closed cross section, convex, symmetric about y = 0, as
	// y (X) and z (Y) in mm. It starts at the right end of the floor and runs
	// over the floor to the left, up the left side, over the roof and down the
	// right side.
	Section []r2.Point
	X0, X1  float64                // rear and front wall, mm
	Inside  func(p r3.Vector) bool // exact: p is strictly inside Section and X0 < x < X1
	Centre  r3.Vector              // a point in open air, mm
}

// Box returns a closed room with an upright rectangular section: length along
// x, centred on x = 0 and y = 0, floor at z = 0, triangles with edges of about
// edge. All in mm; sizes that are not positive are a programming error and
// panic.
func Box(length, width, height, edge float64) *Room {
	mustBePositive(length, width, height, edge)
	w := width / 2
	return newRoom([]r2.Point{{X: -w}, {X: w}, {X: w, Y: height}, {X: -w, Y: height}}, length, edge)
}

// Tumblehome returns a closed room whose section has one facet for every
// straight of a hoop with that many bends, so that the hoop's best place is
// known exactly: see [Room.Hoop].
//
//	2  leaning side, roof
//	4  leaning side, roof rail chamfer, roof
//	6  sill leaning outwards, leaning side, roof rail chamfer, roof
//
// Corners bent at a centreline radius of 180 mm leave straights of at least
// 100 mm at every offset from the wall up to 60 mm. length along x and edge as
// in [Box], mm. Other numbers of bends are a programming error and panic.
func Tumblehome(bends int, length, edge float64) *Room {
	var left []r2.Point // the left side from the floor up
	switch bends {
	case 2:
		left = []r2.Point{{X: 680}, {X: 500, Y: 1150}}
	case 4:
		left = []r2.Point{{X: 680}, {X: 610, Y: 790}, {X: 400, Y: 1150}}
	case 6:
		left = []r2.Point{{X: 560}, {X: 690, Y: 420}, {X: 590, Y: 880}, {X: 375, Y: 1180}}
	default:
		panic(fmt.Sprintf("sample: no tumblehome room for %d bends", bends))
	}
	section := []r2.Point{{X: -left[0].X, Y: left[0].Y}}
	section = append(section, left...)
	for i := len(left) - 1; i > 0; i-- {
		section = append(section, r2.Point{X: -left[i].X, Y: left[i].Y})
	}
	return newRoom(section, length, edge)
}

// HalfCylinder returns a closed room with a flat floor of twice the radius and
// a half-round roof, drawn as a polygon with corners on the circle about edge
// apart. length along x and edge as in [Box], mm.
func HalfCylinder(radius, length, edge float64) *Room {
	mustBePositive(radius, length, edge)
	n := max(4, int(math.Ceil(math.Pi*radius/edge)))
	n += n % 2 // a corner at the top
	// The left quarter; the right one is its mirror image.
	arc := make([]r2.Point, n/2+1)
	for i := range arc {
		c, s := quarter(float64(i) / float64(n/2))
		arc[i] = r2.Point{X: radius * c, Y: radius * s}
	}
	section := []r2.Point{{X: -radius}}
	section = append(section, arc...)
	for i := len(arc) - 2; i > 0; i-- {
		section = append(section, r2.Point{X: -arc[i].X, Y: arc[i].Y})
	}
	return newRoom(section, length, edge)
}

// quarter returns cosine and sine of t quarter turns, 0 <= t <= 1, alike on
// every machine, which math.Sincos does not promise: Taylor sums about 0, whose
// 14 terms leave less than 1e-16 up to an eighth turn; beyond it the two change
// places.
func quarter(t float64) (c, s float64) {
	if t > 0.5 {
		s, c = quarter(1 - t)
		return c, s
	}
	a := t * math.Pi / 2
	c, s = 1, a
	tc, ts := 1.0, a
	for k := 1; k < 14; k++ {
		f := float64(2 * k)
		tc = -tc * a * a / (f * (f - 1))
		ts = -ts * a * a / (f * (f + 1))
		c += tc
		s += ts
	}
	return c, s
}

func mustBePositive(sizes ...float64) {
	for _, v := range sizes {
		if !(v > 0) || math.IsInf(v, 1) {
			panic(fmt.Sprintf("sample: sizes must be positive and finite: %v", sizes))
		}
	}
}

// newRoom draws a convex section out along x.
func newRoom(section []r2.Point, length, edge float64) *Room {
	mustBePositive(length, edge)
	for i := range section {
		section[i] = r2.Point{X: round(section[i].X), Y: round(section[i].Y)}
	}
	r := &Room{Section: section, X0: round(-length / 2), X1: round(length / 2)}
	top := 0.0
	for _, p := range section {
		top = max(top, p.Y)
	}
	r.Centre = r3.Vector{X: 0, Y: 0, Z: round(0.55 * top)}
	r.Inside = func(p r3.Vector) bool {
		if !(p.X > r.X0 && p.X < r.X1) {
			return false
		}
		for i, a := range section {
			b := section[(i+1)%len(section)]
			if !(float64((b.X-a.X)*(p.Z-a.Y))-float64((b.Y-a.Y)*(p.Y-a.X)) > 0) {
				return false
			}
		}
		return true
	}
	r.Mesh = r.build(edge)
	return r
}

// Hoop returns the nodes of the flat hoop across the room at station x that
// keeps its centreline at distance offset from side walls and roof and stands
// on the floor: feet and the corners of the section moved inwards by offset,
// from the left foot to the right one, mm. Each straight is parallel to a
// facet, so no hoop with this number of bends lies closer; corners rounded at
// any radius keep the distance. It makes sense for rooms with few facets.
func (r *Room) Hoop(x, offset float64) []r3.Vector {
	n := len(r.Section)
	line := func(i int) (p, d r2.Point) { // facet i moved inwards
		a, b := r.Section[i%n], r.Section[(i+1)%n]
		d = b.Sub(a)
		d = d.Mul(1 / math.Hypot(d.X, d.Y))
		if i%n != 0 {
			a = a.Add(d.Ortho().Mul(offset)) // left of a counter-clockwise facet is inside
		}
		return a, d
	}
	nodes := make([]r3.Vector, 0, n)
	for i := 0; i < n; i++ {
		p, u := line(i)
		q, v := line(i + 1)
		t := q.Sub(p).Cross(v) / u.Cross(v)
		c := p.Add(u.Mul(t))
		nodes = append(nodes, r3.Vector{X: x, Y: c.X, Z: c.Y})
	}
	return nodes
}

// build meshes the prism: walls as grids, end walls as rings of shrunken
// sections around their centre, neighbouring rings zipped together.
func (r *Room) build(edge float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	add := func(x float64, p r2.Point) int32 {
		m.Vertices = append(m.Vertices, roundVec(r3.Vector{X: x, Y: p.X, Z: p.Y}))
		return int32(len(m.Vertices) - 1)
	}
	triangle := func(a, b, c int32) { m.Triangles = append(m.Triangles, [3]int32{a, b, c}) }
	n := len(r.Section)

	// ring returns the corners of the section shrunk towards the centre, with
	// each facet split to about edge; facet i's points run from start[i] to
	// start[i+1], the last point being the first again.
	centre := r2.Point{X: 0, Y: r.Centre.Z}
	ring := func(x, scale float64) (ids []int32, start []int) {
		for i, a := range r.Section {
			b := r.Section[(i+1)%n]
			d := b.Sub(a)
			parts := max(1, int(math.Ceil(math.Sqrt(float64(d.X*d.X)+float64(d.Y*d.Y))*scale/edge-1e-9)))
			start = append(start, len(ids))
			for k := 0; k < parts; k++ {
				t := float64(k) / float64(parts)
				// Weighing both ends keeps mirror images exact.
				p := r2.Point{X: float64(a.X*(1-t)) + float64(b.X*t), Y: float64(a.Y*(1-t)) + float64(b.Y*t)}
				p = r2.Point{X: float64(p.X * scale), Y: centre.Y + float64((p.Y-centre.Y)*scale)}
				ids = append(ids, add(x, p))
			}
		}
		start = append(start, len(ids))
		return append(ids, ids[0]), start
	}

	// Walls.
	slices := max(1, int(math.Ceil((r.X1-r.X0)/edge-1e-9)))
	var first, last []int32
	var starts []int
	for s := 0; s <= slices; s++ {
		t := float64(s) / float64(slices)
		ids, st := ring(float64(r.X0*(1-t))+float64(r.X1*t), 1)
		if s == 0 {
			first, starts = ids, st
		} else {
			for i := 0; i+1 < len(ids); i++ {
				// Section counter-clockwise about +x: (x, then along) faces in.
				a, b, c, d := last[i], ids[i], ids[i+1], last[i+1]
				if (i+s)%2 == 0 {
					triangle(a, b, c)
					triangle(a, c, d)
				} else {
					triangle(a, b, d)
					triangle(b, c, d)
				}
			}
		}
		last = ids
	}

	// End walls. front: normal along -x, else along +x.
	end := func(x float64, outer []int32, front bool) {
		face := func(a, b, c int32) {
			if front {
				b, c = c, b
			}
			triangle(a, b, c)
		}
		reach := 0.0
		for _, p := range r.Section {
			reach = max(reach, hypot(p.X, p.Y-centre.Y))
		}
		rings := max(1, int(math.Ceil(reach/edge-1e-9)))
		oStart := starts
		for k := rings - 1; k >= 1; k-- {
			inner, iStart := ring(x, float64(k)/float64(rings))
			for f := 0; f < n; f++ {
				zip(outer[oStart[f]:oStart[f+1]+1], inner[iStart[f]:iStart[f+1]+1], face)
			}
			outer, oStart = inner, iStart
		}
		c := add(x, centre)
		for i := 0; i+1 < len(outer); i++ {
			face(outer[i], outer[i+1], c)
		}
	}
	end(r.X0, first, false)
	end(r.X1, last, true)
	return m
}

// zip fills the strip between two polylines that run side by side, the outer
// one to the right.
func zip(outer, inner []int32, face func(a, b, c int32)) {
	i, j := 0, 0
	for i+1 < len(outer) || j+1 < len(inner) {
		// Step on the side that lags; both counted in shares of its length.
		if j+1 == len(inner) || i+1 < len(outer) && (2*i+1)*(len(inner)-1) <= (2*j+1)*(len(outer)-1) {
			face(outer[i], outer[i+1], inner[j])
			i++
		} else {
			face(outer[i], inner[j+1], inner[j])
			j++
		}
	}
}
