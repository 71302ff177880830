package mesh

import (
	"math"

	"github.com/golang/geo/r3"
)

// RayHit is where a ray meets the mesh: Point = o + T dir on Triangle.
type RayHit struct {
	T        float64
	Point    r3.Vector
	Triangle int32
}

// Ray returns the first triangle that the ray o + t dir meets, 0 <= t <= tmax.
// dir need not be of unit length; tmax and T are in units of it, and tmax may
// be +Inf. It is watertight: a ray can't slip between two triangles that share
// the vertices of an edge. Rays along a triangle's plane don't meet it.
func (ix *Index) Ray(o, dir r3.Vector, tmax float64) (RayHit, bool) {
	best := RayHit{T: tmax, Triangle: -1}
	ix.rays(o, dir, tmax, func(h RayHit) (float64, bool) {
		if h.T < best.T || h.T == best.T && (best.Triangle < 0 || h.Triangle < best.Triangle) {
			best = h
		}
		return best.T, true
	})
	return best, best.Triangle >= 0
}

// RayAll calls visit for every triangle that the ray meets, in an order that
// depends on mesh and ray alone, until visit returns false. A ray through an
// edge or a vertex meets every triangle there.
func (ix *Index) RayAll(o, dir r3.Vector, tmax float64, visit func(RayHit) bool) bool {
	return ix.rays(o, dir, tmax, func(h RayHit) (float64, bool) { return tmax, visit(h) })
}

// rays calls visit for every hit up to the t that visit returned last; it
// returns false if visit stopped it.
func (ix *Index) rays(o, dir r3.Vector, tmax float64, visit func(RayHit) (float64, bool)) bool {
	r, ok := newRay(o, dir)
	if !ok {
		return true
	}
	q, ok := ix.query(o)
	if !ok {
		for t := range ix.mesh.Triangles {
			if h, hit := r.meet(ix.mesh, int32(t)); hit && h.T <= tmax {
				var more bool
				if tmax, more = visit(h); !more {
					return false
				}
			}
		}
		return true
	}
	if ix.blocks == 0 {
		return true
	}
	return ix.rayWalk(&r, &q, tmax, visit)
}

// ray is a ray in the frame of the watertight test: z is the axis along which
// it runs most, and x and y are sheared so that it runs along z.
type ray struct {
	o          r3.Vector
	dir        r3.Vector
	x, y, z    int // axes
	sx, sy, sz float64
}

func component(v *r3.Vector, i int) float64 {
	switch i {
	case 0:
		return v.X
	case 1:
		return v.Y
	}
	return v.Z
}

// newRay returns false for a direction that is zero or not finite.
func newRay(o, dir r3.Vector) (ray, bool) {
	abs := dir.Abs()
	z := 0
	if abs.Y > abs.X {
		z = 1
	}
	if abs.Z > max(abs.X, abs.Y) {
		z = 2
	}
	r := ray{o: o, dir: dir, x: (z + 1) % 3, y: (z + 2) % 3, z: z}
	dz := component(&dir, z)
	r.sx, r.sy, r.sz = component(&dir, r.x)/dz, component(&dir, r.y)/dz, 1/dz
	ok := math.Abs(r.sx) <= 1 && math.Abs(r.sy) <= 1 && dz != 0 && !math.IsInf(r.sz, 0) && r.sz != 0
	return r, ok
}

// meet tests triangle t. The sheared place of a corner depends on that corner
// alone, and an edge's function is a difference of two rounded products, which
// changes nothing but its sign when the edge is run the other way (the
// conversions keep the compiler from fusing one of them): both triangles at an
// edge see the ray on the same side of it, or both on it.
func (r *ray) meet(m *Mesh, t int32) (RayHit, bool) {
	var px, py, pz [3]float64
	for i, k := range m.Triangles[t] {
		v := m.Vertices[k].Sub(r.o)
		z := component(&v, r.z)
		px[i] = component(&v, r.x) - float64(r.sx*z)
		py[i] = component(&v, r.y) - float64(r.sy*z)
		pz[i] = float64(r.sz * z)
	}
	u := float64(px[2]*py[1]) - float64(py[2]*px[1])
	v := float64(px[0]*py[2]) - float64(py[0]*px[2])
	w := float64(px[1]*py[0]) - float64(py[1]*px[0])
	if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) {
		return RayHit{}, false
	}
	// Beyond the end of a sliver all three may have the same sign by rounding
	// alone: the ray meets nothing whose shadow lies all to one side of it.
	if aside(&px) || aside(&py) {
		return RayHit{}, false
	}
	det := u + v + w
	if det == 0 {
		return RayHit{}, false
	}
	at := (u*pz[0] + v*pz[1] + w*pz[2]) / det
	if !(at >= 0) {
		return RayHit{}, false
	}
	return RayHit{at, r.o.Add(r.dir.Mul(at)), t}, true
}

func aside(x *[3]float64) bool {
	return min(x[0], x[1], x[2]) > 0 || max(x[0], x[1], x[2]) < 0
}

// raySlabs tests boxes in float32, in units of mm along the ray.
type raySlabs struct {
	axis [3]struct {
		near, far float32 // the origin, moved by the slack so that boxes grow by it
		inv       float32 // inverse of the unit direction
		first     uint32  // the side of a box met first: 0 lower, 1 upper
	}
	exact r3.Vector  // the origin
	o, d  [3]float32 // the origin, relative to the block at hand, and the unit direction
	slack float32
	scale float32 // of the block at hand, mm
	block float32 // slack together with the rounding of the block's lengths
}

func newRaySlabs(q *query, dir r3.Vector) raySlabs {
	// A direction square to an axis is turned by 1e-10 rad, which over any
	// length is a thousandth of the slack.
	const least = 1e-10
	var s raySlabs
	o := [3]float32{q.x, q.y, q.z}
	unitDir := dir.Mul(1 / max(math.Abs(dir.X), math.Abs(dir.Y), math.Abs(dir.Z))).Normalize()
	for i, d := range [3]float64{unitDir.X, unitDir.Y, unitDir.Z} {
		if math.Abs(d) < least {
			d = math.Copysign(least, d)
		}
		shift := math.Copysign(q.slack, d)
		a := &s.axis[i]
		a.near, a.far, a.inv = o[i]+float32(shift), o[i]-float32(shift), float32(1/d)
		if d < 0 {
			a.first = 1
		}
		s.d[i] = float32(d)
	}
	s.exact, s.slack = q.exact, float32(8*q.slack)
	return s
}

// enterBlock makes ready for mayMeet on the block's triangles.
func (s *raySlabs) enterBlock(b *leafBlock) {
	s.o = [3]float32{
		float32(s.exact.X - float64(b.cx)), float32(s.exact.Y - float64(b.cy)), float32(s.exact.Z - float64(b.cz)),
	}
	s.scale, s.block = b.scale, s.slack+2*b.scale
}

// mayMeet says whether the ray may meet the triangle before limit, as far as
// float32 can tell.
//
// With L = extent + distance of the origin, the axes good to 14u and their
// product, the normal, to 30u, the height w above the plane is good to 40u L,
// the slope nd to 40u, so that the place t where the ray crosses the plane is
// good to 80u L / |nd| for any t up to L, and the place in the plane to that and
// another 20u L. The slack of a query is 16u L; eight times that much is
// allowed, and two steps of the block's lengths. A ray in the plane (nd 0) makes
// the allowance infinite, or the figures NaN, and both mean yes.
func (s *raySlabs) mayMeet(t *leafTri, limit float32) bool {
	const k = 1.0 / unitSteps
	ex, ey, ez := unpack(t.e)
	gx, gy, gz := unpack(t.g)
	ex, ey, ez, gx, gy, gz = ex*k, ey*k, ez*k, gx*k, gy*k, gz*k
	nx, ny, nz := ey*gz-ez*gy, ez*gx-ex*gz, ex*gy-ey*gx
	x, y, z := s.o[0]-float32(t.f[0])*s.scale, s.o[1]-float32(t.f[1])*s.scale, s.o[2]-float32(t.f[2])*s.scale
	inv := 1 / (s.d[0]*nx + s.d[1]*ny + s.d[2]*nz)
	at := -(x*nx + y*ny + z*nz) * inv
	margin := s.block * (1 + abs(inv))
	if at < -margin || at > limit+margin {
		return false
	}
	x, y, z = x+at*s.d[0], y+at*s.d[1], z+at*s.d[2]
	h := float32(t.h) * s.scale
	v := x*gx + y*gy + z*gz
	if v < -margin || v > h+margin {
		return false
	}
	u := x*ex + y*ey + z*ez
	side := float32(t.half[math.Float32bits(u)>>31]) * s.scale
	u = abs(u)
	out := positive((u-side)*h + v*side)
	return !(out*out > margin*margin*(side*side+h*h)) && !(u > side+margin)
}

// enter returns the t at which the ray enters the box; +Inf: it misses, or
// enters after limit.
//
// The two ends of an interval are each good to 3u of themselves (difference,
// inverse, product), which the last factor makes up for. Floats that are not
// negative are ordered like their bits, and negative ones are below all of
// them, which is all that matters here: integers are compared without branches.
func (s *raySlabs) enter(b *box, limit float32) float32 {
	x, y, z := &s.axis[0], &s.axis[1], &s.axis[2]
	near := max(0,
		int32(math.Float32bits((b.at[x.first&1][0]-x.near)*x.inv)),
		int32(math.Float32bits((b.at[y.first&1][1]-y.near)*y.inv)),
		int32(math.Float32bits((b.at[z.first&1][2]-z.near)*z.inv)))
	far := min(int32(math.Float32bits(limit)),
		int32(math.Float32bits((b.at[^x.first&1][0]-x.far)*x.inv)),
		int32(math.Float32bits((b.at[^y.first&1][1]-y.far)*y.inv)),
		int32(math.Float32bits((b.at[^z.first&1][2]-z.far)*z.inv)))
	t := math.Float32frombits(uint32(near))
	if far >= 0 && t <= math.Float32frombits(uint32(far))*(1+8*unit) {
		return t
	}
	return float32(math.Inf(1))
}

func (ix *Index) rayWalk(r *ray, q *query, tmax float64, visit func(RayHit) (float64, bool)) bool {
	size := r.dir.Norm()
	bound := func(t float64) float32 {
		return float32(min(math.MaxFloat32/4, t*size*(1+8*unit)+q.slack))
	}
	var (
		s     = newRaySlabs(q, r.dir)
		ids   [blockSize]int32
		stack [stackSize]span
		limit = bound(tmax)
		inf   = float32(math.Inf(1))
	)
	stack[0] = span{0, ix.blocks, 0}
	for top := 1; top > 0; {
		top--
		n := stack[top]
		if n.bound > limit {
			continue
		}
		if n.k == 1 {
			ids := ids[:0]
			if ix.ids != nil {
				ids = ix.block(n.lo)
			} else {
				block := &ix.tris[n.lo]
				s.enterBlock(block)
				for i := range block.tri[:block.n] {
					if s.mayMeet(&block.tri[i], limit) {
						ids = append(ids, block.tri[i].id)
					}
				}
			}
			for _, id := range ids {
				if h, hit := r.meet(ix.mesh, id); hit && h.T <= tmax {
					var more bool
					if tmax, more = visit(h); !more {
						return false
					}
					limit = bound(tmax)
				}
			}
			continue
		}
		kl := (n.k + 1) >> 1
		at := n.lo + kl - 1
		pair := &ix.boxes[at]
		t0, t1 := s.enter(&pair[0], limit), s.enter(&pair[1], limit)
		left, right := span{n.lo, kl, t0}, span{n.lo + kl, n.k - kl, t1}
		if t0 <= t1 {
			left, right = right, left
		}
		if left.bound < inf {
			stack[top&(stackSize-1)] = left
			top++
		}
		if right.bound < inf {
			stack[top&(stackSize-1)] = right
			top++
		}
	}
	return true
}
