package mesh

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/golang/geo/r3"
)

// Reduction tells what [Reduce] did.
type Reduction struct {
	From, To int     // triangles before and after
	Bound    float64 // as asked for, mm
	// Worst is the largest of the proven distances between the two surfaces, mm,
	// at most Bound. The true distance is often well under it.
	Worst float64
	// Fixed is the number of vertices that could not be taken away whatever the
	// bound: on the rims of holes, on edges of more than two triangles.
	Fixed int
	// Kept has, for each vertex of the result, its number in the mesh that was
	// given, rising.
	Kept []int32
}

// Figures of Reduce. All are common practice, no source, but for their effect on
// the proof, which is nil.
const (
	reduceBlock  = 40_000 // triangles in a usual block: its working set fits the cache of a core
	reduceCells  = 1 << 20
	reduceRounds = 4
	reduceGain   = 0.03 // a round that takes away less than this share of the triangles is the last one
	sweepGain    = 0.04 // likewise a sweep over a block
	maxSweeps    = 12
	maxRing      = 16   // vertices with more neighbours stay
	leastFacing  = 0.3  // cosine to the ring's normal under which no new triangle may turn
	leastShape   = 0.12 // no new triangle may be thinner, unless an old one was; see shape
)

// reduceSteps are the shares of the bound that are used up one after the other:
// what costs little goes first, all over the mesh.
var reduceSteps = [...]float64{0.3, 1}

// Reduce returns a mesh of fewer triangles whose surface is within bound (mm) of
// that of m, both ways: no point of either surface is farther than bound from
// the other. m is left alone. Its triangles may have any orientation, and
// triangles that are left keep theirs. The vertices that are left have not moved;
// the rims of holes are kept vertex by vertex. Where m has the noise of a scan, and
// bound is not well over it, few triangles can go: then the result is large, not
// wrong. The result depends on m and bound alone.
//
// # Method and proof
//
// One vertex u after the other is drawn into one of its neighbours, v: the fan
// of triangles around u gives way to a fan from v over the same ring. Seen
// along the fan's mean normal n, no triangle of either may show its back and
// the ring must go around u once; then it is a simple polygon, and either fan
// covers it once. (With all triangles facing the same way, the number of them
// over a point is how often the ring winds around it.) So a point of one fan
// has a partner straight above or below it on the other. Their distance is
// linear between the corners of the two fans laid over each other: u, the ring,
// and the crossings of old spokes with new ones. Its range [d0, d1] is
// therefore known from those.
//
// Every triangle carries a box that holds the steps from the points of m to
// their partners on it. New triangles get the smallest box around those of the
// old fan, widened by the segment from d0 n to d1 n. A collapse whose box has a
// corner farther from 0 than bound is not done. Each point of either surface
// has a partner to begin with, itself, and keeps one, so that in the end none
// is farther from the other surface than bound.
//
// Blocks of space are worked on independently, their borders fixed, and again
// with other borders.
func Reduce(m *Mesh, bound float64, workers int) (*Mesh, *Reduction, error) {
	if !(bound > 0) || math.IsInf(bound, 1) {
		return nil, nil, fmt.Errorf("bound %v mm is not a length", bound)
	}
	r := &reduction{m: m, bound: bound, triangles: m.Triangles, workers: workers}
	r.pool.New = func() any { return &reducer{number: make([]int32, len(m.Vertices))} }
	for round := range reduceRounds {
		before := len(r.triangles)
		r.round(round)
		if float64(before-len(r.triangles)) < reduceGain*float64(before) {
			break
		}
	}
	report := &Reduction{From: len(m.Triangles), To: len(r.triangles), Bound: bound, Fixed: r.fixed}
	for i := range r.drift {
		report.Worst = max(report.Worst, r.drift[i].size())
	}
	out := &Mesh{Triangles: r.triangles}
	if len(r.triangles) == len(m.Triangles) {
		out.Triangles = slices.Clone(m.Triangles)
	}
	number := make([]int32, len(m.Vertices))
	for _, tri := range out.Triangles {
		for _, v := range tri {
			number[v] = 1
		}
	}
	for v, used := range number {
		if used != 0 {
			number[v] = int32(len(report.Kept))
			report.Kept = append(report.Kept, int32(v))
		}
	}
	out.Vertices = make([]r3.Vector, len(report.Kept))
	for i, v := range report.Kept {
		out.Vertices[i] = m.Vertices[v]
	}
	for t := range out.Triangles {
		tri := &out.Triangles[t]
		tri[0], tri[1], tri[2] = number[tri[0]], number[tri[1]], number[tri[2]]
	}
	return out, report, nil
}

// drift is a box around 0: the steps, in mm, that points of the given mesh are
// from their partners. Bounds are rounded away from 0.
type drift struct{ lo, hi [3]float32 }

// size returns the distance of the farthest corner from 0, mm.
func (d *drift) size() float64 {
	var s float64
	for i := range d.lo {
		c := float64(max(-d.lo[i], d.hi[i]))
		s += c * c
	}
	return math.Sqrt(s)
}

// add makes d the smallest box around d and o.
func (d *drift) add(o *drift) {
	for i := range d.lo {
		d.lo[i], d.hi[i] = min(d.lo[i], o.lo[i]), max(d.hi[i], o.hi[i])
	}
}

// widened returns d plus the segment from lo n to hi n, where lo <= 0 <= hi.
func (d *drift) widened(n r3.Vector, lo, hi float64) drift {
	// Rounding to float32 takes away a relative 6e-8 at most, float64 far less.
	const outward = 1 + 2e-7
	w := *d
	for i, c := range [3]float64{n.X, n.Y, n.Z} {
		a, b := min(lo*c, hi*c), max(lo*c, hi*c)
		w.lo[i] = float32((float64(d.lo[i]) + a) * outward)
		w.hi[i] = float32((float64(d.hi[i]) + b) * outward)
	}
	return w
}

// reduction is the state of Reduce.
type reduction struct {
	m         *Mesh
	bound     float64
	workers   int
	triangles [][3]int32 // of what is left, with vertices of m
	drift     []drift    // for each of them; nil: nothing has moved yet
	fixed     int
	pool      sync.Pool // of *reducer
}

// round cuts what is left into blocks and reduces each.
func (r *reduction) round(round int) {
	uses := make([]uint16, len(r.m.Vertices))
	for _, tri := range r.triangles {
		for _, v := range tri {
			uses[v] = min(uses[v], math.MaxUint16-1) + 1
		}
	}
	start, list := r.blocks(round)
	type part struct {
		triangles [][3]int32
		drift     []drift
		fixed     int
	}
	parts := make([]part, len(start)-1)
	spread(r.workers, len(parts), 1, func(lo, hi int) {
		w := r.pool.Get().(*reducer)
		defer r.pool.Put(w)
		for b := lo; b < hi; b++ {
			p := &parts[b]
			ids := list[start[b]:start[b+1]]
			if len(ids) == 0 {
				continue
			}
			w.load(r, ids, uses)
			w.run(r.bound)
			p.triangles, p.drift = w.left()
			p.fixed = w.fixed
		}
	})
	var n int
	for i := range parts {
		n += len(parts[i].triangles)
	}
	r.triangles, r.drift, r.fixed = make([][3]int32, 0, n), make([]drift, 0, n), 0
	for i := range parts {
		r.triangles = append(r.triangles, parts[i].triangles...)
		r.drift = append(r.drift, parts[i].drift...)
		r.fixed += parts[i].fixed
		parts[i] = part{}
	}
}

// blocks puts the triangles into cells of a grid, by their first corner: those
// of cell b are list[start[b]:start[b+1]]. Each round shifts the grid.
func (r *reduction) blocks(round int) (start, list []int32) {
	left := Mesh{Vertices: r.m.Vertices, Triangles: r.triangles}
	box := left.Bounds()
	var area float64
	for t := range r.triangles {
		a, b, c := left.Corners(t)
		area += b.Sub(a).Cross(c.Sub(a)).Norm() / 2
	}
	size := box.Size()
	edge := math.Sqrt(area * reduceBlock / float64(len(r.triangles)))
	if !(edge > 0) || math.IsInf(edge, 1) {
		all := make([]int32, len(r.triangles))
		for t := range all {
			all[t] = int32(t)
		}
		return []int32{0, int32(len(all))}, all
	}
	edge = max(edge, max(size.X, size.Y, size.Z)/1000)
	count := func(length float64) int { return int(length/edge) + 2 }
	for count(size.X)*count(size.Y)*count(size.Z) > reduceCells {
		edge *= 1.25
	}
	nx, ny, nz := count(size.X), count(size.Y), count(size.Z)
	shift := edge * [reduceRounds]float64{0.9, 0.4, 0.65, 0.15}[round]
	cell := func(length float64, n int) int {
		return min(max(int((length+shift)/edge), 0), n-1)
	}
	return intoBuckets(nx*ny*nz, len(r.triangles), func(t int) int32 {
		p := r.m.Vertices[r.triangles[t][0]].Sub(box.Min)
		return int32((cell(p.Z, nz)*ny+cell(p.Y, ny))*nx + cell(p.X, nx))
	})
}

// Marks of a reducer's vertices.
const (
	markAlways = 1 << iota // stays whatever happens
	markCut                // has triangles in other blocks: nothing is drawn to it either
	markGone
	markTouched // something around it has changed in this sweep
	markSettled // has been looked at with this bound, and nothing has changed since
)

// reducer works on one block at a time and keeps its memory.
type reducer struct {
	number []int32 // of the mesh's vertices: local number + 1, 0: not in the block

	vertex    []int32     // local to the mesh's
	at        []r3.Vector // mm
	mark      []uint8
	head      []int32    // first corner of a vertex's list, as 3 x triangle + corner; -1: none
	next      []int32    // for each corner: the next one of the same vertex
	triangles [][3]int32 // local; gone: first corner negative
	drift     []drift
	fixed     int

	ring ring
}

// load takes triangles ids of r for the block.
func (w *reducer) load(r *reduction, ids []int32, uses []uint16) {
	for _, v := range w.vertex {
		w.number[v] = 0
	}
	w.vertex, w.at, w.mark, w.head = w.vertex[:0], w.at[:0], w.mark[:0], w.head[:0]
	w.next, w.triangles, w.drift = w.next[:0], w.triangles[:0], w.drift[:0]
	for _, t := range ids {
		var tri [3]int32
		for c, v := range r.triangles[t] {
			if w.number[v] == 0 {
				w.vertex = append(w.vertex, v)
				w.at = append(w.at, r.m.Vertices[v])
				w.mark = append(w.mark, 0)
				w.head = append(w.head, -1)
				w.number[v] = int32(len(w.vertex))
			}
			tri[c] = w.number[v] - 1
		}
		for c, v := range tri {
			w.next = append(w.next, w.head[v])
			w.head[v] = int32(3*len(w.triangles) + c)
		}
		w.triangles = append(w.triangles, tri)
		if r.drift != nil {
			w.drift = append(w.drift, r.drift[t])
		} else {
			w.drift = append(w.drift, drift{})
		}
	}
	w.fixed = 0
	for v := range w.vertex {
		n := 0
		for c := w.head[v]; c >= 0; c = w.next[c] {
			n++
		}
		if n < int(uses[w.vertex[v]]) {
			w.mark[v] |= markAlways | markCut
		} else if !w.gather(int32(v)) && len(w.ring.at) <= maxRing {
			w.mark[v] |= markAlways
			w.fixed++
		}
	}
}

// run draws vertices together until nothing more is to be had.
func (w *reducer) run(bound float64) {
	// Coordinates up to 1e5 mm are good to 1.5e-11 mm; what is worked out from
	// them here loses a few of those steps.
	bound = bound*(1-1e-6) - 1e-9
	for _, share := range reduceSteps {
		for v := range w.mark {
			w.mark[v] &^= markSettled
		}
		for range maxSweeps {
			live, gone := 0, 0
			for v := range w.mark {
				w.mark[v] &^= markTouched
			}
			for v := range w.mark {
				if w.mark[v]&markGone != 0 {
					continue
				}
				live++
				if w.mark[v]&(markAlways|markTouched|markSettled) != 0 {
					continue
				}
				if w.draw(int32(v), bound*share) {
					gone++
				} else {
					w.mark[v] |= markSettled
				}
			}
			if float64(gone) <= sweepGain*float64(live) {
				break
			}
		}
	}
}

// left returns the triangles that are left, with the mesh's vertices, in the order
// they came in.
func (w *reducer) left() ([][3]int32, []drift) {
	n := 0
	for _, tri := range w.triangles {
		if tri[0] >= 0 {
			n++
		}
	}
	triangles, drifts := make([][3]int32, 0, n), make([]drift, 0, n)
	for t, tri := range w.triangles {
		if tri[0] >= 0 {
			triangles = append(triangles, [3]int32{w.vertex[tri[0]], w.vertex[tri[1]], w.vertex[tri[2]]})
			drifts = append(drifts, w.drift[t])
		}
	}
	return triangles, drifts
}

// ring is what lies around a vertex: its neighbours in order, and the triangle
// between each and the next.
type ring struct {
	at       []int32
	triangle []int32
	edges    [][3]int32 // work: two ends and the triangle

	// Seen along the normal, the vertex in the middle:
	normal  r3.Vector
	x, y, h [maxRing]float64
	drift   drift // around those of the triangles
	shape   float64
}

// gather fills the ring with what is around v; false: not a single closed fan, or more
// than maxRing (then the ring is longer than that).
func (w *reducer) gather(v int32) bool {
	g := &w.ring
	g.at, g.triangle, g.edges = g.at[:0], g.triangle[:0], g.edges[:0]
	from := &w.head[v]
	for *from >= 0 {
		c := *from
		t := c / 3
		tri := w.triangles[t]
		if tri[0] < 0 {
			*from = w.next[c] // gone since
			continue
		}
		k := c % 3
		g.edges = append(g.edges, [3]int32{tri[(k+1)%3], tri[(k+2)%3], t})
		from = &w.next[c]
	}
	e := g.edges
	if len(e) > maxRing {
		for range e {
			g.at = append(g.at, 0)
		}
		return false
	}
	if len(e) < 3 {
		return false
	}
	first, end := e[0][0], e[0][1]
	g.at, g.triangle = append(g.at, first), append(g.triangle, e[0][2])
	for i := 1; i < len(e); i++ {
		found := -1
		for j := i; j < len(e); j++ {
			if e[j][0] == end || e[j][1] == end {
				found = j
				break
			}
		}
		if found < 0 || slices.Contains(g.at, end) {
			return false
		}
		e[i], e[found] = e[found], e[i]
		g.at, g.triangle = append(g.at, end), append(g.triangle, e[i][2])
		end = e[i][0] ^ e[i][1] ^ end
	}
	return end == first
}

// flatten looks at the ring around v along its normal; false: it does not lie
// around v as a simple polygon.
func (w *reducer) flatten(v int32) bool {
	g := &w.ring
	n := len(g.at)
	o := w.at[v]
	var d [maxRing]r3.Vector
	for i, a := range g.at {
		d[i] = w.at[a].Sub(o)
	}
	var sum r3.Vector
	for i := range n {
		sum = sum.Add(d[i].Cross(d[(i+1)%n]))
	}
	size := sum.Norm()
	if !(size > 0) {
		return false
	}
	g.normal = sum.Mul(1 / size)
	ex := g.normal.Ortho()
	ey := g.normal.Cross(ex)
	for i := range n {
		g.x[i], g.y[i], g.h[i] = d[i].Dot(ex), d[i].Dot(ey), d[i].Dot(g.normal)
	}
	turns := 0
	g.shape = 1
	g.drift = drift{}
	for i := range n {
		j := (i + 1) % n
		if !(g.x[i]*g.y[j]-g.y[i]*g.x[j] > 0) {
			return false
		}
		if g.y[i] < 0 && g.y[j] >= 0 {
			turns++
		}
		_, s := faceShape(r3.Vector{X: g.x[i], Y: g.y[i], Z: g.h[i]}, r3.Vector{X: g.x[j], Y: g.y[j], Z: g.h[j]})
		g.shape = min(g.shape, s)
		g.drift.add(&w.drift[g.triangle[i]])
	}
	return turns == 1
}

// faceShape returns, for the triangle with edges a and b in the ring's frame,
// the cosine of its normal to the ring's, and its shape: 1 for equal sides, 0
// for corners on a line. (4 sqrt 3 times the area over the sum of the squared
// sides.)
func faceShape(a, b r3.Vector) (facing, shape float64) {
	c := a.Cross(b)
	size := c.Norm()
	if size == 0 {
		return 0, 0
	}
	sides := a.Norm2() + b.Norm2() + b.Sub(a).Norm2()
	return c.Z / size, 2 * math.Sqrt(3) * size / sides
}

// draw takes v away if that is allowed within limit, mm.
func (w *reducer) draw(v int32, limit float64) bool {
	if !w.gather(v) || !w.flatten(v) {
		return false
	}
	g := &w.ring
	if g.drift.size() > limit {
		return false
	}
	best, bestWorth := -1, 0.0
	var bestDrift drift
	for j := range g.at {
		if w.mark[g.at[j]]&markCut != 0 {
			continue
		}
		// The cheap half of the proof first.
		d, ok := g.middle(j)
		if !ok {
			continue
		}
		lo, hi := min(d, 0), max(d, 0)
		moved := g.drift.widened(g.normal, lo, hi)
		if !(moved.size() <= limit) {
			continue
		}
		shape, ok := g.fan(j)
		if !ok || shape <= bestWorth {
			continue
		}
		lo, hi = g.crossings(j, lo, hi)
		moved = g.drift.widened(g.normal, lo, hi)
		size := moved.size()
		if !(size <= limit) {
			continue
		}
		// Of what is allowed, good shapes count, and being near.
		worth := shape * (1 - 0.5*size/limit)
		if worth <= bestWorth || !w.linked(v, j) {
			continue
		}
		best, bestWorth, bestDrift = j, worth, moved
	}
	if best < 0 {
		return false
	}
	w.collapse(v, best, bestDrift)
	return true
}

// fan returns the shape of the worst triangle of the fan from ring vertex j; false: one
// of them shows its back or is too thin.
func (g *ring) fan(j int) (float64, bool) {
	n := len(g.at)
	worst := 1.0
	i := (j + 1) % n
	ax, ay, ah := g.x[i]-g.x[j], g.y[i]-g.y[j], g.h[i]-g.h[j]
	for range n - 2 {
		if i++; i == n {
			i = 0
		}
		bx, by, bh := g.x[i]-g.x[j], g.y[i]-g.y[j], g.h[i]-g.h[j]
		up := ax*by - ay*bx
		if !(up > 0) {
			return 0, false
		}
		facing, shape := faceShape(r3.Vector{X: ax, Y: ay, Z: ah}, r3.Vector{X: bx, Y: by, Z: bh})
		if facing < leastFacing || shape < leastShape && shape <= g.shape {
			return 0, false
		}
		worst = min(worst, shape)
		ax, ay, ah = bx, by, bh
	}
	return worst, true
}

// middle returns how far the fan from ring vertex j lies over the vertex in the
// middle, mm; false: it can't be told.
func (g *ring) middle(j int) (float64, bool) {
	n := len(g.at)
	xj, yj, hj := g.x[j], g.y[j], g.h[j]
	i := (j + 1) % n
	dx, dy := g.x[i]-xj, g.y[i]-yj
	t := xj*dy - yj*dx // twice the area of 0, j, i
	for range n - 2 {
		m := i
		if i++; i == n {
			i = 0
		}
		ex, ey := g.x[i]-xj, g.y[i]-yj
		s := yj*ex - xj*ey
		if all := dx*ey - dy*ex; s >= 0 && t >= 0 && s+t <= all {
			return hj + s/all*(g.h[m]-hj) + t/all*(g.h[i]-hj), true
		}
		dx, dy, t = ex, ey, -s
	}
	return 0, false
}

// crossings widens the range lo to hi by how far, in mm, the new spokes from ring vertex
// j lie over the old ones where they cross.
func (g *ring) crossings(j int, lo, hi float64) (float64, float64) {
	n := len(g.at)
	xj, yj, hj := g.x[j], g.y[j], g.h[j]
	for m := range n {
		if m == j || m == (j+1)%n || j == (m+1)%n {
			continue // an edge of the ring
		}
		dx, dy := g.x[m]-xj, g.y[m]-yj
		top := xj*dy - yj*dx
		for i := range n {
			if i == j || i == m {
				continue
			}
			// 0 + along (i - 0) = j + on (m - j)
			det := g.x[i]*dy - g.y[i]*dx
			if det == 0 {
				continue
			}
			along, on := top/det, (xj*g.y[i]-yj*g.x[i])/det
			if along >= 0 && along <= 1 && on >= 0 && on <= 1 {
				d := hj + on*(g.h[m]-hj) - along*g.h[i]
				lo, hi = min(lo, d), max(hi, d)
			}
		}
	}
	return lo, hi
}

// linked tells whether v may be drawn to ring vertex j without an edge or a triangle
// coming to be there twice: apart from the two ring vertices beside j, none that
// v is joined to may be joined to j.
func (w *reducer) linked(v int32, j int) bool {
	g := &w.ring
	n := len(g.at)
	u, before, after := g.at[j], g.at[(j+n-1)%n], g.at[(j+1)%n]
	for c := w.head[u]; c >= 0; c = w.next[c] {
		tri := w.triangles[c/3]
		if tri[0] < 0 || tri[0] == v || tri[1] == v || tri[2] == v {
			continue
		}
		k := c % 3
		a, b := tri[(k+1)%3], tri[(k+2)%3]
		if a == before && b == after || a == after && b == before {
			return false
		}
		for _, x := range [2]int32{a, b} {
			if x != before && x != after && slices.Contains(g.at, x) {
				return false
			}
		}
	}
	return true
}

// collapse draws v, whose ring is known, to ring vertex j.
func (w *reducer) collapse(v int32, j int, moved drift) {
	g := &w.ring
	n := len(g.at)
	u := g.at[j]
	for _, t := range [2]int32{g.triangle[j], g.triangle[(j+n-1)%n]} {
		w.triangles[t][0] = -1
	}
	for c := w.head[v]; c >= 0; {
		after := w.next[c]
		t := c / 3
		if w.triangles[t][0] >= 0 {
			w.triangles[t][c%3] = u
			w.drift[t] = moved
			w.next[c] = w.head[u]
			w.head[u] = c
		}
		c = after
	}
	w.head[v] = -1
	w.mark[v] |= markGone
	for _, a := range g.at {
		w.mark[a] = w.mark[a]&^markSettled | markTouched
	}
}
