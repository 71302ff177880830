package mesh

import (
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
)

// Index answers distance and ray queries on a mesh. It is immutable and safe
// for concurrent readers. Triangle ids in its answers are those of the mesh.
//
// The tree is binary and implicit: a node is a run of whole blocks of eight
// triangles, k blocks from block lo on, split after the first (k+1)/2. The
// bounds of its two children lie side by side at place lo+(k+1)/2-1 of pairs
// (discs) and boxes, so that no child pointers are stored, a subtree is one
// contiguous stretch of memory, and the garbage collector has nothing to scan.
//
// What the tree holds is float32, relative to the middle of the mesh, and
// padded so that it may only bring in too many triangles, never too few; every
// answer is worked out in float64 from the mesh's own vertices. An answer is
// therefore the same, bit for bit, as that of a loop over all triangles: the
// smallest distance and, where several triangles share it, the smallest id.
type Index struct {
	mesh   *Mesh
	origin r3.Vector // middle of the mesh; the tree's coordinates are relative to it
	extent float64   // length of the mesh's diagonal, mm
	blocks int32
	brute  bool // coordinates that float32 squares can't hold: loop over all triangles
	pairs  []discPair
	boxes  []boxPair
	tris   []leafBlock

	// A lean index has no discs and blocks of nothing but ids: a fifth of the
	// memory, and slower.
	ids []int32
}

const (
	blockSize = 8

	// Above this many blocks (32768 triangles) a node is bounded by its box:
	// a body shell of that size is no longer anything like flat.
	discBlocks = 4096

	// unit is the largest relative error of rounding a real to float32.
	unit = 1.0 / (1 << 24)

	// squareError bounds the rounding error of a disc's squared bound, in units
	// of the squared distance dd from the query to the disc's middle. With u =
	// unit and every component of the difference d = p - c good to u: dd is
	// good to 5u dd; a product n.d with a rounded unit vector to 5u |d| (u from
	// n, u from d, u per product, 2u from the sums, by Cauchy-Schwarz over the
	// components), its square to 11u dd. So dd - (n.d)^2 is good to 17u dd. Its
	// root rho enters as max(0, rho-R)^2, which is off by at most twice as much
	// (2 (rho-R) drho is at most the error of rho^2, and so is drho^2), 34u dd,
	// and max(0, |n.d|-H)^2 is off by 12u dd.
	squareError = 64 * unit

	// shiftError bounds, in units of extent plus the distance of the query
	// from the origin, how far rounding the query moves it: sqrt3 u |p|. Boxes
	// and discs are padded for their own rounding. The rest is for the plain
	// arithmetic of boxes, good to 5u of the squared distance, for a ray's
	// figures (mayMeet) and for rounding the limits that bounds are held
	// against.
	shiftError = 16 * unit

	// Beyond these sizes float32 squares could overflow. The lower one keeps
	// the squares of the smallest slack clear of underflow.
	maxExtent = 1e12
	maxQuery  = 1e15
	minSlack  = 1e-15
	minSquare = 1e-37 // well above the steps of numbers too small for float32
)

// query is a point as the tree sees it.
type query struct {
	x, y, z float32
	exact   r3.Vector // relative to the index's origin
	slack   float64   // how much a node's distance may be misjudged by rounding, mm
}

// query prepares p; false: outside what float32 can hold.
func (ix *Index) query(p r3.Vector) (query, bool) {
	d := p.Sub(ix.origin)
	far := math.Abs(d.X) + math.Abs(d.Y) + math.Abs(d.Z)
	if !(far <= maxQuery) || ix.brute {
		return query{}, false
	}
	return query{
		float32(d.X), float32(d.Y), float32(d.Z), d,
		shiftError*(ix.extent+far) + minSlack,
	}, true
}

// limit is the squared distance, as the tree computes it, above which no node
// can hold anything as close as d. It is also above d^2 itself, for the blocks.
func (q *query) limit(d float64) float32 {
	d += 2 * q.slack
	if d >= maxQuery {
		return math.MaxFloat32
	}
	return float32(d * d)
}

// span is a node waiting on a search's stack.
type span struct {
	lo, k int32
	bound float32
}

// stackSize suffices for 2^31 triangles: one entry for each of 28 levels.
const stackSize = 32

// candidates collects triangles that may be the closest, so that the float64
// work is done once the bound is tight.
type candidates struct {
	n     int
	id    [24]int32
	lower [24]float32
}

// Closest returns the point of the mesh closest to p. An empty mesh, or a p
// that is not finite, gives Triangle -1 and Distance +Inf.
func (ix *Index) Closest(p r3.Vector) Hit { return ix.closest(p, none()) }

// ClosestFrom is Closest with a head start: tri is a triangle that is likely
// to be close, such as the answer for a neighbouring point. The answer is the
// same for every tri; a tri that does not exist (negative) is a cold start.
func (ix *Index) ClosestFrom(p r3.Vector, tri int32) Hit {
	best := none()
	if tri >= 0 && int(tri) < len(ix.mesh.Triangles) {
		ix.consider(p, tri, &best)
	}
	return ix.closest(p, best)
}

// ClosestWithin is Closest limited to distances under bound (mm); false:
// nothing is that close.
func (ix *Index) ClosestWithin(p r3.Vector, bound float64) (Hit, bool) {
	best := none()
	best.Distance = bound
	best = ix.closest(p, best)
	if best.Triangle < 0 {
		return none(), false
	}
	return best, true
}

func none() Hit { return Hit{Distance: math.Inf(1), Triangle: -1} }

// consider puts triangle t into best if it is closer, or as close and of a
// smaller id. A best without triangle is a bound that must be beaten.
func (ix *Index) consider(p r3.Vector, t int32, best *Hit) {
	a, b, c := ix.mesh.Corners(int(t))
	q := closestOnTriangle(p, a, b, c)
	d := q.Sub(p).Norm()
	if d < best.Distance || d == best.Distance && t < best.Triangle {
		*best = Hit{q, d, t}
	}
}

func (ix *Index) closest(p r3.Vector, best Hit) Hit {
	q, ok := ix.query(p)
	if !ok {
		for t := range ix.mesh.Triangles {
			ix.consider(p, int32(t), &best)
		}
		return best
	}
	if ix.blocks == 0 {
		return best
	}
	var (
		stack  [stackSize]span
		top    int
		d2     [blockSize]float32
		found  candidates
		limit  = q.limit(best.Distance)
		tight  = square(best.Distance) // the same for triangles
		lo, k  = int32(0), ix.blocks
		px     = q.x
		py     = q.y
		pz     = q.z
		l0, l1 float32
	)
	for {
		for k > 1 {
			kl := (k + 1) >> 1
			at := lo + kl - 1
			if k > discBlocks || ix.ids != nil {
				l0, l1 = ix.boxes[at].distances(px, py, pz)
			} else {
				l0, l1 = ix.pairs[at].distances(px, py, pz)
			}
			if l0 <= l1 {
				if l1 < limit {
					stack[top&(stackSize-1)] = span{lo + kl, k - kl, l1}
					top++
				}
				if l0 >= limit {
					goto pop
				}
				k = kl
			} else {
				if l0 < limit {
					stack[top&(stackSize-1)] = span{lo, kl, l0}
					top++
				}
				if l1 >= limit {
					goto pop
				}
				lo, k = lo+kl, k-kl
			}
		}
		if ix.ids != nil {
			for _, id := range ix.block(lo) {
				ix.consider(p, id, &best)
			}
			limit = min(limit, q.limit(best.Distance))
		} else {
			block := &ix.tris[lo]
			slop, least := block.distances(&q, &d2)
			if upper := least + slop; upper < tight {
				tight = upper
				limit = min(limit, q.limit(math.Sqrt(float64(upper))))
			}
			for i, d := range d2[:block.n&(2*blockSize-1)] {
				if d-slop <= tight {
					if found.n == len(found.id) {
						ix.settle(p, tight, &found, &best)
						tight = min(tight, square(best.Distance))
						limit = min(limit, q.limit(best.Distance))
					}
					found.id[found.n], found.lower[found.n] = block.tri[i].id, d-slop
					found.n++
				}
			}
		}
	pop:
		for {
			if top == 0 {
				ix.settle(p, tight, &found, &best)
				return best
			}
			top--
			if s := &stack[top&(stackSize-1)]; s.bound < limit {
				lo, k = s.lo, s.k
				break
			}
		}
	}
}

// square returns d^2 rounded up to float32, at most its largest value.
func square(d float64) float32 {
	if d >= maxQuery {
		return math.MaxFloat32
	}
	return float32(d*d*(1+4*unit)) + math.SmallestNonzeroFloat32
}

// settle works the candidates out in float64 and empties the list.
func (ix *Index) settle(p r3.Vector, tight float32, c *candidates, best *Hit) {
	for i := range c.n {
		if c.lower[i] <= tight && c.id[i] != best.Triangle {
			ix.consider(p, c.id[i], best)
			tight = min(tight, square(best.Distance))
		}
	}
	c.n = 0
}

// walk visits, left to right, every triangle whose distance from p may be
// below the reach that was returned last (mm, at first reach). skip, where
// given, leaves out nodes, and of the others the nearer one comes first: it gets
// the middle, relative to origin, and the radius of a ball that holds the node.
func (ix *Index) walk(p r3.Vector, reach float64, skip func(c r3.Vector, r float64) bool, visit func(t int32) (float64, bool)) {
	q, ok := ix.query(p)
	if !ok {
		for t := range ix.mesh.Triangles {
			if _, more := visit(int32(t)); !more {
				return
			}
		}
		return
	}
	if ix.blocks == 0 {
		return
	}
	var (
		stack [stackSize]span
		d2    [blockSize]float32
		ids   [blockSize]int32
		limit = q.limit(reach)
	)
	stack[0] = span{0, ix.blocks, 0}
	for top := 1; top > 0; {
		top--
		s := stack[top]
		if s.bound >= limit {
			continue
		}
		if s.k == 1 {
			slop, ids := ix.distances(s.lo, &q, &d2, &ids)
			for i, id := range ids {
				if d2[i]-slop < limit {
					r, more := visit(id)
					if !more {
						return
					}
					limit = q.limit(r)
				}
			}
			continue
		}
		kl := (s.k + 1) >> 1
		at := s.lo + kl - 1
		var l0, l1 float32
		var far0, far1 bool
		if s.k > discBlocks || ix.ids != nil {
			l0, l1 = ix.boxes[at].distances(q.x, q.y, q.z)
		} else {
			l0, l1 = ix.pairs[at].distances(q.x, q.y, q.z)
			if skip != nil {
				far0, far1 = skip(ix.pairs[at][0].ball()), skip(ix.pairs[at][1].ball())
			}
		}
		first, second := span{s.lo, kl, l0}, span{s.lo + kl, s.k - kl, l1}
		if skip != nil && l1 < l0 {
			first, second = second, first
			far0, far1 = far1, far0
		}
		if !far1 {
			stack[top] = second
			top++
		}
		if !far0 {
			stack[top] = first
			top++
		}
	}
}

// Within calls visit for every triangle whose distance d from p is below r
// (both mm), in an order that depends on the mesh alone, until visit returns
// false.
func (ix *Index) Within(p r3.Vector, r float64, visit func(tri int32, d float64) bool) {
	ix.walk(p, r, nil, func(t int32) (float64, bool) {
		a, b, c := ix.mesh.Corners(int(t))
		if d := closestOnTriangle(p, a, b, c).Sub(p).Norm(); d < r {
			return r, visit(t, d)
		}
		return r, true
	})
}

// ClosestAway returns the closest of those points, one on each triangle, that
// are their triangle's closest to p and lie in a direction from p that differs
// from the unit vector dir by more than minAngle, if it is closer than bound
// (mm). A triangle that p lies on has no direction and is left out.
func (ix *Index) ClosestAway(p, dir r3.Vector, minAngle s1.Angle, bound float64) (Hit, bool) {
	best := none()
	best.Distance = bound
	cosMin := math.Cos(minAngle.Radians())
	local := p.Sub(ix.origin)
	// A ball wholly inside the cone about dir holds no point that counts: with
	// a the angle to its middle and b that of its tangent cone, a < cone - b.
	// 1e-5 rad is far more than the rounding of its float32 figures seen from
	// the ball's own radius away. In terms of distances, with sin b = r / dist,
	// cos a > cos(cone - b), where cone - b must not be negative.
	cone := minAngle.Radians() - 1e-5
	sinCone, cosCone := math.Sincos(cone)
	inCone := func(c r3.Vector, r float64) bool {
		d := c.Sub(local)
		dd := d.Norm2()
		if !(dd > 4*r*r) || cosCone > 0 && r*r > sinCone*sinCone*dd {
			return false
		}
		return d.Dot(dir) > cosCone*math.Sqrt(dd-r*r)+sinCone*r
	}
	if !(cone > 0 && cone < math.Pi) {
		inCone = nil
	}
	ix.walk(p, bound, inCone, func(t int32) (float64, bool) {
		a, b, c := ix.mesh.Corners(int(t))
		q := closestOnTriangle(p, a, b, c)
		away := q.Sub(p)
		d := away.Norm()
		if d > 0 && away.Dot(dir) < cosMin*d && (d < best.Distance || d == best.Distance && t < best.Triangle) {
			best = Hit{q, d, t}
		}
		return best.Distance, true
	})
	if best.Triangle < 0 {
		return none(), false
	}
	return best, true
}

// block returns the triangles of block at of a lean index.
func (ix *Index) block(at int32) []int32 {
	first := int(at) * blockSize
	return ix.ids[first:min(first+blockSize, len(ix.ids))]
}

// distances is leafBlock.distances for block at, together with the ids of its
// triangles, for which buf has room. A lean index knows no distances: its slop
// is without bounds.
func (ix *Index) distances(at int32, q *query, d2 *[blockSize]float32, buf *[blockSize]int32) (float32, []int32) {
	if ix.ids != nil {
		*d2 = [blockSize]float32{}
		return math.MaxFloat32, ix.block(at)
	}
	b := &ix.tris[at]
	slop, _ := b.distances(q, d2)
	for i := range b.tri {
		buf[i] = b.tri[i].id
	}
	return slop, buf[:b.n]
}

// Bytes returns the memory that the index holds besides the mesh.
func (ix *Index) Bytes() int {
	return 4*len(ix.ids) + len(ix.pairs)*discPairBytes + len(ix.boxes)*boxPairBytes + len(ix.tris)*leafBlockBytes
}
