package mesh

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/r3"
)

// Polyline is a chain of straight pieces, in mm. A closed one goes on from its
// last point to its first, which is not repeated.
type Polyline struct {
	Points []r3.Vector
	Closed bool
}

// Length returns the length of the polyline in mm.
func (p Polyline) Length() float64 {
	sum := 0.0
	for i := 1; i < len(p.Points); i++ {
		sum += p.Points[i].Sub(p.Points[i-1]).Norm()
	}
	if n := len(p.Points); p.Closed && n > 1 {
		sum += p.Points[0].Sub(p.Points[n-1]).Norm()
	}
	return sum
}

// Section cuts m by the plane through origin with the given normal (any length
// but zero) and returns the outline, longest polyline first, equal ones in the
// order of the triangles. It is empty where the plane meets no triangle, and
// where origin or normal are not finite or the normal is zero.
//
// Every point lies on an edge of the mesh and, to the rounding of float64, in
// the plane: there is no tolerance that would move or join anything. Triangles
// that lie in the plane are an area, of which the border is returned: edges that
// they share with a triangle out of the plane, or with none. An edge in the plane
// that the mesh only touches counts too, a single vertex does not. Polylines end
// where the mesh has a border; where more than two pieces meet, a line goes on
// as straight as it can. Which way round a polyline runs means nothing.
//
// Section takes time linear in the size of the mesh: about as long as reading
// the vertices once.
func Section(m *Mesh, origin, normal r3.Vector) []Polyline {
	n := normal.Normalize()
	if !finiteVector(origin) || !finiteVector(n) || n.Norm2() == 0 {
		return nil
	}
	c := cutter{m: m, off: offPlane(m, origin, n), number: map[[2]int32]int32{}, flat: map[[2]int32]*flatEdge{}}
	for t := range m.Triangles {
		c.triangle(t)
	}
	c.flatEdges()
	return c.chains()
}

// offPlane returns the signed distance of each vertex from the plane, in mm,
// with those that rounding may have made out of 0 set to 0. Their sides would
// change at random, and a flat floor cut along itself would come out in rags.
//
// With u = 2^-53: the difference p - origin is good to u in each component, the
// three products and their sums to 3u of their sizes, the unit normal to 3u (a
// square root and a division). In all at most 8u (|p| + |origin|) by
// Cauchy-Schwarz; corners rounded by half a step themselves (unit conversion)
// add u |p|. Twice that is taken.
func offPlane(m *Mesh, origin, n r3.Vector) []float64 {
	const k = 9 * roundoff
	at := origin.Norm()
	off := make([]float64, len(m.Vertices))
	for i, p := range m.Vertices {
		d := p.Sub(origin).Dot(n)
		if math.Abs(d) > k*(p.Norm()+at) {
			off[i] = d
		}
	}
	return off
}

// cutter gathers the pieces of a section. A node is a place where the plane
// crosses an edge, known by the edge's two vertices, or a vertex in the plane,
// known by that vertex twice. So pieces of neighbouring triangles meet by number
// and not by place.
type cutter struct {
	m      *Mesh
	off    []float64
	number map[[2]int32]int32 // of a node
	nodes  []r3.Vector
	pieces [][2]int32 // pairs of nodes
	flat   map[[2]int32]*flatEdge
	edges  []*flatEdge // in the order of the triangles
}

// flatEdge is an edge in the plane.
type flatEdge struct {
	ends [2]int32 // vertices
	in   int      // triangles in the plane that share it
	out  int      // other triangles that share it
}

// triangle adds what the plane and triangle t have in common.
func (c *cutter) triangle(t int) {
	tri := c.m.Triangles[t]
	s := [3]float64{c.off[tri[0]], c.off[tri[1]], c.off[tri[2]]}
	if s[0] > 0 && s[1] > 0 && s[2] > 0 || s[0] < 0 && s[1] < 0 && s[2] < 0 {
		return
	}
	zeros := 0
	for _, d := range s {
		if d == 0 {
			zeros++
		}
	}
	if zeros >= 2 {
		for i := range 3 {
			j := (i + 1) % 3
			if s[i] == 0 && s[j] == 0 {
				c.flatEdge(tri[i], tri[j], zeros == 3)
			}
		}
		return
	}
	var ends [2]int32
	n := 0
	for i := range 3 {
		if j := (i + 1) % 3; s[i] == 0 {
			ends[n] = c.node(tri[i], tri[i])
			n++
		} else if s[i] < 0 && s[j] > 0 || s[i] > 0 && s[j] < 0 {
			ends[n] = c.node(tri[i], tri[j])
			n++
		}
	}
	if n == 2 { // else it only touches the plane, with one corner
		c.pieces = append(c.pieces, ends)
	}
}

func (c *cutter) flatEdge(a, b int32, in bool) {
	key := [2]int32{min(a, b), max(a, b)}
	e := c.flat[key]
	if e == nil {
		e = &flatEdge{ends: key}
		c.flat[key] = e
		c.edges = append(c.edges, e)
	}
	if in {
		e.in++
	} else {
		e.out++
	}
}

func (c *cutter) flatEdges() {
	for _, e := range c.edges {
		if e.out > 0 || e.in == 1 {
			c.pieces = append(c.pieces, [2]int32{c.node(e.ends[0], e.ends[0]), c.node(e.ends[1], e.ends[1])})
		}
	}
}

// node returns the number of the place where the plane meets edge a-b.
func (c *cutter) node(a, b int32) int32 {
	key := [2]int32{min(a, b), max(a, b)}
	if i, ok := c.number[key]; ok {
		return i
	}
	p := c.m.Vertices[key[0]]
	if a != b {
		q := c.m.Vertices[key[1]]
		s, t := c.off[key[0]], c.off[key[1]]
		p = p.Add(q.Sub(p).Mul(s / (s - t)))
	}
	i := int32(len(c.nodes))
	c.number[key] = i
	c.nodes = append(c.nodes, p)
	return i
}

// chains joins the pieces.
func (c *cutter) chains() []Polyline {
	at := make([][]int32, len(c.nodes)) // pieces that end there, rising
	for i, p := range c.pieces {
		at[p[0]] = append(at[p[0]], int32(i))
		at[p[1]] = append(at[p[1]], int32(i))
	}
	used := make([]bool, len(c.pieces))
	left := make([]int, len(c.nodes))
	for i := range at {
		left[i] = len(at[i])
	}
	// walk goes on from node from over piece first until there is none left or,
	// for a ring, until it is back.
	walk := func(from, first int32, ring bool) Polyline {
		line := Polyline{Points: []r3.Vector{c.nodes[from]}}
		node, piece := from, first
		for piece >= 0 {
			used[piece] = true
			next := c.pieces[piece][0] + c.pieces[piece][1] - node
			left[node]--
			left[next]--
			if next == from && ring {
				line.Closed = true
				break
			}
			line.Points = append(line.Points, c.nodes[next])
			piece = c.straightest(at[next], used, node, next)
			node = next
		}
		return line
	}
	var lines []Polyline
	// Lines with loose ends first, from their ends; then from what else has an
	// odd number of pieces; what is left are rings.
	for _, loose := range []func(n int) bool{
		func(n int) bool { return n == 1 },
		func(n int) bool { return n%2 == 1 },
	} {
		for i := range at {
			for loose(left[i]) {
				lines = append(lines, walk(int32(i), firstUnused(at[i], used), false))
			}
		}
	}
	for i := range c.pieces {
		if !used[i] {
			lines = append(lines, walk(c.pieces[i][0], int32(i), true))
		}
	}
	lines = slices.DeleteFunc(lines, func(l Polyline) bool { return len(l.Points) < 2 })
	for i := range lines {
		lines[i] = tidy(lines[i])
	}
	lines = slices.DeleteFunc(lines, func(l Polyline) bool { return len(l.Points) < 2 })
	slices.SortStableFunc(lines, func(a, b Polyline) int { return cmp.Compare(b.Length(), a.Length()) })
	return lines
}

func firstUnused(pieces []int32, used []bool) int32 {
	for _, p := range pieces {
		if !used[p] {
			return p
		}
	}
	return -1
}

// straightest returns the piece, of those not used yet, that leads on from node
// at with the least turn after the way from the node before; -1: none.
func (c *cutter) straightest(pieces []int32, used []bool, before, at int32) int32 {
	first := firstUnused(pieces, used)
	if len(pieces) <= 2 || first < 0 {
		return first
	}
	dir := c.nodes[at].Sub(c.nodes[before]).Normalize()
	best, bestCos := int32(-1), math.Inf(-1)
	for _, p := range pieces {
		if used[p] {
			continue
		}
		to := c.nodes[c.pieces[p][0]+c.pieces[p][1]-at]
		if cos := to.Sub(c.nodes[at]).Normalize().Dot(dir); cos > bestCos {
			best, bestCos = p, cos
		}
	}
	return best
}

// tidy drops points that repeat the one before: where the plane passes within
// rounding of a vertex, several edges are cut in one place.
func tidy(l Polyline) Polyline {
	l.Points = slices.Compact(l.Points)
	for l.Closed && len(l.Points) > 1 && l.Points[0] == l.Points[len(l.Points)-1] {
		l.Points = l.Points[:len(l.Points)-1]
	}
	l.Closed = l.Closed && len(l.Points) > 2
	return l
}
