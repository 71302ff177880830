package mesh

import (
	"math"

	"github.com/golang/geo/r3"
)

// SegmentHit is the answer of a segment query: Hit.Point is the point of the
// mesh, On that of the segment, T its place from 0 at the start to 1 at the end.
type SegmentHit struct {
	Hit
	T  float64
	On r3.Vector
}

// Segment returns the smallest distance between segment ab and the mesh, exact
// like Closest, if it is below bound (mm; +Inf is allowed). Where the segment
// pierces a triangle the distance is 0 and both points are where it does.
// Ends that are not finite, or so far apart that their squared distance is not,
// give no answer.
func (ix *Index) Segment(a, b r3.Vector, bound float64) (SegmentHit, bool) {
	best := SegmentHit{Hit: none()}
	best.Distance = bound
	s := newSegmentQuery(ix, a, b)
	if !(b.Sub(a).Norm2() <= math.MaxFloat64) || !(a.Norm2() <= math.MaxFloat64) {
		return SegmentHit{Hit: none()}, false
	}
	if !s.ok {
		for t := range ix.mesh.Triangles {
			s.consider(int32(t), &best)
		}
	} else if ix.blocks > 0 {
		s.search(&best)
	}
	if best.Triangle < 0 {
		return SegmentHit{Hit: none()}, false
	}
	return best, true
}

// segmentQuery is a segment as the tree sees it: its ends, its middle, and its
// whole length as a vector.
type segmentQuery struct {
	ix         *Index
	a, b       r3.Vector
	ok         bool
	q          query   // the start; slack for either end
	dx, dy, dz float32 // from start to end
	dd         float32 // squared length
	end, mid   query
	half       float32 // half its length, rounded up
}

func newSegmentQuery(ix *Index, a, b r3.Vector) segmentQuery {
	s := segmentQuery{ix: ix, a: a, b: b}
	qa, ok := ix.query(a)
	qb, ok2 := ix.query(b)
	d := b.Sub(a)
	s.ok = ok && ok2
	s.q, s.end = qa, qb
	s.q.slack = max(qa.slack, qb.slack)
	s.mid = query{exact: qa.exact.Add(qb.exact).Mul(0.5), slack: s.q.slack}
	s.dx, s.dy, s.dz = float32(d.X), float32(d.Y), float32(d.Z)
	s.dd = s.dx*s.dx + s.dy*s.dy + s.dz*s.dz
	s.half = float32(d.Norm() / 2 * (1 + 4*unit))
	return s
}

// discDistance returns a lower bound of the squared distance between the
// segment and anything in the disc. Along the axis and aside of it the segment
// is treated on its own: each is a lower bound for all of its points.
//
// Rounding: the squares of the start's distance w and of the segment's own
// length enter as in squareError, the latter through a parameter of at most 1.
func (s *segmentQuery) discDistance(d *disc) float32 {
	x, y, z := s.q.x-d.cx, s.q.y-d.cy, s.q.z-d.cz
	ww := x*x + y*y + z*z
	w0 := x*d.nx + y*d.ny + z*d.nz
	dn := s.dx*d.nx + s.dy*d.ny + s.dz*d.nz
	w1 := w0 + dn
	var along float32
	switch {
	case w0 > d.h && w1 > d.h:
		along = min(w0, w1) - d.h
	case w0 < -d.h && w1 < -d.h:
		along = -max(w0, w1) - d.h
	}
	// Aside: |w + t d|^2 less the part along the axis.
	aa := s.dd - dn*dn
	ab := x*s.dx + y*s.dy + z*s.dz - w0*dn
	t := float32(0)
	if ab < 0 {
		t = 1
		if -ab < aa {
			t = -ab / aa
		}
	}
	rho2 := ww - w0*w0 + t*(2*ab+t*aa)
	aside := max(0, float32(math.Sqrt(float64(max(0, rho2))))-d.r)
	return along*along + aside*aside - 2*squareError*(ww+s.dd)
}

// boxDistance returns a lower bound of the squared distance between the
// segment and the box: between their boxes.
func (s *segmentQuery) boxDistance(b *box) float32 {
	gap := func(lo, hi, p, d float32) float32 {
		return max(0, lo-max(p, p+d), min(p, p+d)-hi)
	}
	x := gap(b.at[0][0], b.at[1][0], s.q.x, s.dx)
	y := gap(b.at[0][1], b.at[1][1], s.q.y, s.dy)
	z := gap(b.at[0][2], b.at[1][2], s.q.z, s.dz)
	return x*x + y*y + z*z
}

func (s *segmentQuery) search(best *SegmentHit) {
	ix := s.ix
	var (
		stack [stackSize]span
		leaf  segmentLeaf
		found candidates
		limit = s.q.limit(best.Distance)
		tight = roundUp(best.Distance)
	)
	stack[0] = span{0, ix.blocks, 0}
	for top := 1; top > 0; {
		top--
		n := stack[top]
		if n.bound >= limit {
			continue
		}
		if n.k == 1 {
			upper := leaf.bounds(s, n.lo, tight)
			if upper < tight {
				tight = upper
				limit = min(limit, s.q.limit(float64(tight)))
			}
			for i, id := range leaf.ids {
				if leaf.lower[i] <= tight {
					if found.n == len(found.id) {
						s.settle(tight, &found, best)
						tight = min(tight, roundUp(best.Distance))
						limit = min(limit, s.q.limit(best.Distance))
					}
					found.id[found.n], found.lower[found.n] = id, leaf.lower[i]
					found.n++
				}
			}
			continue
		}
		kl := (n.k + 1) >> 1
		at := n.lo + kl - 1
		var l0, l1 float32
		if n.k > discBlocks || ix.ids != nil {
			l0, l1 = s.boxDistance(&ix.boxes[at][0]), s.boxDistance(&ix.boxes[at][1])
		} else {
			l0, l1 = s.discDistance(&ix.pairs[at][0]), s.discDistance(&ix.pairs[at][1])
		}
		left, right := span{n.lo, kl, l0}, span{n.lo + kl, n.k - kl, l1}
		if l0 <= l1 {
			left, right = right, left
		}
		stack[top], stack[top+1] = left, right // the nearer one on top
		top += 2
	}
	s.settle(tight, &found, best)
}

// settle works the candidates out in float64 and empties the list.
func (s *segmentQuery) settle(tight float32, c *candidates, best *SegmentHit) {
	for i := range c.n {
		if c.lower[i] <= tight {
			s.consider(c.id[i], best)
			tight = min(tight, roundUp(best.Distance))
		}
	}
	c.n = 0
}

// roundUp returns a float32 that is not below d, at most its largest value.
func roundUp(d float64) float32 {
	if d >= maxQuery {
		return math.MaxFloat32
	}
	return float32(d*(1+4*unit)) + minSlack
}

// segmentLeaf holds the triangles of a block and lower bounds of their
// distances, in mm, from a segment.
type segmentLeaf struct {
	ids        []int32
	lower      [blockSize]float32
	aa, mm, bb [blockSize]float32 // squared distances from start, middle and end
	buf        [blockSize]int32
}

// bounds fills in leaf for block at and returns an upper bound of the smallest
// distance. Triangles whose lower bounds are over tight need not be bounded
// well.
//
// Along the segment the distance f from a triangle is convex. With f known at
// both ends a, b and in the middle m, the line through f(b) and f(m), drawn on,
// lies below f between m and a, and likewise on the other side: f is nowhere
// below f(m), 2 f(m) - f(b) and 2 f(m) - f(a). Close to a wall that is far
// better than what the length alone says, f(m) - |ab|/2. And f^2(t) - t^2, with
// t in mm along the segment, is concave, as it is the smallest of |p(t)-y|^2 -
// t^2 over all points y of the triangle, each of them linear in t: between a
// and m it lies above its chord, which gives the bound of parabola. That is the
// better one beside corners and edges, the other one beside flats.
func (l *segmentLeaf) bounds(s *segmentQuery, at int32, tight float32) float32 {
	// down and up make room for the rounding of roots and differences.
	const down, up = 1 - 8*unit, 1 + 8*unit
	var slop float32
	slop, l.ids = s.ix.distances(at, &s.mid, &l.mm, &l.buf)
	least := float32(math.MaxFloat32)
	for i := range l.ids {
		least = min(least, l.mm[i])
	}
	upper := root(least+slop) * up
	if root(least-slop)*down-s.half > tight {
		l.ids = nil
		return upper
	}
	slopA, _ := s.ix.distances(at, &s.q, &l.aa, &l.buf)
	slopB, _ := s.ix.distances(at, &s.end, &l.bb, &l.buf)
	hh := s.half * s.half
	for i := range l.ids {
		aa, bb := positive(l.aa[i]-slopA), positive(l.bb[i]-slopB)
		mm := positive(l.mm[i] - slop)
		fa, fb := root(l.aa[i]+slopA)*up, root(l.bb[i]+slopB)*up
		fm := root(mm) * down
		upper = min(upper, fa, fb)
		l.lower[i] = max(
			min(fm, 2*fm-max(fa, fb)),
			root(min(parabola(aa, mm, hh), parabola(bb, mm, hh))-8*unit*(aa+bb+mm+hh))*down)
	}
	return upper
}

// parabola returns the smallest value between its ends of the parabola t^2 + ..
// that is x at one end and y at the other, a distance sqrt(hh) away.
func parabola(x, y, hh float32) float32 {
	slope := y - x - hh // at x, times the distance
	switch {
	case slope >= 0:
		return x
	case slope <= -2*hh:
		return y
	}
	return x - slope*slope/(4*hh)
}

func root(x float32) float32 { return float32(math.Sqrt(float64(positive(x)))) }

// consider puts triangle t into best if it is closer, or as close and of a
// smaller id.
func (s *segmentQuery) consider(t int32, best *SegmentHit) {
	v0, v1, v2 := s.ix.mesh.Corners(int(t))
	at, on, q := segmentToTriangle(s.a, s.b, v0, v1, v2)
	d := q.Sub(on).Norm()
	if d < best.Distance || d == best.Distance && t < best.Triangle {
		*best = SegmentHit{Hit{q, d, t}, at, on}
	}
}

// segmentToTriangle returns the closest pair of points of segment ab and a
// triangle, and the place of the first one on the segment.
//
// If they don't meet, the closest pair lies at an end of the segment, at a
// corner of the triangle, or inside both the segment and a side. All of these
// are tried, and each is a pair of points that are really there, so that an
// ill-conditioned one can only lose. Two nearly parallel lines, the one bad
// case, have their distance at an end to within that rounding.
func segmentToTriangle(a, b, v0, v1, v2 r3.Vector) (t float64, on, q r3.Vector) {
	if t, ok := pierce(a, b, v0, v1, v2); ok {
		on = segmentPoint(a, b, t)
		return t, on, on
	}
	best := math.Inf(1)
	try := func(s float64, p, r r3.Vector) {
		if d := p.Sub(r).Norm2(); d < best {
			best, t, on, q = d, s, p, r
		}
	}
	try(0, a, closestOnTriangle(a, v0, v1, v2))
	try(1, b, closestOnTriangle(b, v0, v1, v2))
	for _, v := range [3]r3.Vector{v0, v1, v2} {
		s := segmentParam(v, a, b)
		try(s, segmentPoint(a, b, s), v)
	}
	for _, side := range [3][2]r3.Vector{{v0, v1}, {v1, v2}, {v2, v0}} {
		s := crossing(a, b, side[0], side[1])
		// One exact step on each line takes out what rounding the solution of
		// the two together has left.
		on := segmentPoint(a, b, s)
		foot := closestOnSegment(on, side[0], side[1])
		s = segmentParam(foot, a, b)
		try(s, segmentPoint(a, b, s), foot)
	}
	return t, on, q
}

// crossing returns the place on segment ab, in 0..1, where its line passes
// line cd; 0.5 for parallel ones.
func crossing(a, b, c, d r3.Vector) float64 {
	u, v, w := b.Sub(a), d.Sub(c), a.Sub(c)
	uu, uv, vv := u.Norm2(), u.Dot(v), v.Norm2()
	den := uu*vv - uv*uv
	if !(den > 0) {
		return 0.5
	}
	return max(0, min(1, (uv*w.Dot(v)-vv*w.Dot(u))/den))
}

// pierce returns the place where segment ab goes through the triangle's
// inside or border. Slivers are left to their sides: with a sine of the angle
// at v0 under 1e-10 no normal is good enough to tell, and the sides are right
// to within that much of their length. The same goes for areas whose squares
// float64 can't hold.
func pierce(a, b, v0, v1, v2 r3.Vector) (float64, bool) {
	const sound, least = 1e-20, 1e-290
	e, f := v1.Sub(v0), v2.Sub(v0)
	n := e.Cross(f)
	nn := n.Norm2()
	da, db := a.Sub(v0).Dot(n), b.Sub(v0).Dot(n)
	if da > 0 == (db > 0) && da < 0 == (db < 0) {
		return 0, false // the same side, or both in the plane: sides decide
	}
	if !(nn > least && nn > sound*e.Norm2()*f.Norm2()) {
		return 0, false
	}
	t := da / (da - db)
	x := segmentPoint(a, b, t).Sub(v0)
	v, w := x.Cross(f).Dot(n), e.Cross(x).Dot(n)
	return t, v >= 0 && w >= 0 && v+w <= nn
}
