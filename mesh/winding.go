package mesh

import (
	"math"

	"github.com/golang/geo/r3"
)

// Figures of the winding number tree.
const (
	windingLeaf = 8 // triangles in a leaf
	// A node stands for its triangles when it is farther away than so many of
	// its radii. The expansion holds dipoles and their first moments, so what
	// it leaves out falls with the square of that ratio. Measured against the
	// direct sum, and held by the tests: errors up to windingError and
	// coarseError.
	windingOpen = 2.4
	coarseOpen  = 1.3
)

// Bounds on the error of winding.at and winding.coarse, on scans of a cabin
// with open windows. The thresholds they are compared with have half a turn of
// room to a whole sheet on both sides.
const (
	windingError = 0.04
	coarseError  = 0.15
)

// winding answers how often a surface goes around a point: the generalised
// winding number, the sum of the solid angles of all triangles, each with the
// sign of the side that is seen, divided by the whole sphere. (Jacobson,
// Kavan, Sorkine-Hornung, "Robust inside-outside segmentation using
// generalized winding numbers", ACM Transactions on Graphics 32(4), 2013; the
// hierarchy of expansions after Barill et al., "Fast winding numbers for soups
// and clouds", 37(4), 2018; both cited from memory.)
//
// Triangles lie in the order of a space-filling curve; blocks of windingLeaf
// are the leaves, and each level above joins neighbours by two. No Go pointers
// but to the mesh.
type winding struct {
	m      *Mesh
	order  []int32 // triangle t, or ^t if its corners count in reverse order
	nodes  []windingNode
	levels []int32 // first node of each level, leaves first; the last level is the root
	centre r3.Vector
}

// windingNode is an expansion about a centre, relative to winding.centre.
type windingNode struct {
	c      [3]float32    // area centre of what lies below
	radius float32       // of a ball about c that holds it
	d      [3]float32    // sum of area x normal, mm2
	m      [3][3]float32 // sum of area x normal_j x (centroid - c)_k, mm3
}

// newWinding takes the triangles of m with side[t] != 0; a negative side
// reverses the triangle.
func newWinding(m *Mesh, side []int8, workers int) *winding {
	w := &winding{m: m}
	box := m.Bounds()
	w.centre = box.Min.Add(box.Max).Mul(0.5)
	w.order = curveOrder(m, box, side, workers)
	leaves := (len(w.order) + windingLeaf - 1) / windingLeaf
	if leaves == 0 {
		return w
	}
	total := 0
	for n := leaves; ; n = (n + 1) / 2 {
		w.levels = append(w.levels, int32(total))
		total += n
		if n == 1 {
			break
		}
	}
	w.nodes = make([]windingNode, total)
	boxes := make([][6]float32, total)
	areas := make([]float32, total)
	spread(workers, leaves, 1<<12, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			w.nodes[i], boxes[i], areas[i] = w.leaf(i)
		}
	})
	for l := 1; l < len(w.levels); l++ {
		below, first := int(w.levels[l-1]), int(w.levels[l])
		end := total
		if l+1 < len(w.levels) {
			end = int(w.levels[l+1])
		}
		spread(workers, end-first, 1<<12, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				a := below + 2*i
				b := a + 1
				if b >= first {
					w.nodes[first+i], boxes[first+i], areas[first+i] = w.nodes[a], boxes[a], areas[a]
					continue
				}
				w.nodes[first+i], boxes[first+i], areas[first+i] =
					joinWinding(&w.nodes[a], &w.nodes[b], boxes[a], boxes[b], areas[a], areas[b])
			}
		})
	}
	return w
}

// curveOrder sorts the triangles that count along a Morton curve through their
// centroids, 16 bits an axis.
func curveOrder(m *Mesh, box Box, side []int8, workers int) []int32 {
	size := box.Size()
	scale := 65535 / max(size.X, size.Y, size.Z, 1e-9)
	keys := make([]uint64, len(m.Triangles))
	spread(workers, len(keys), 1<<14, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			a, b, c := m.Corners(t)
			p := a.Add(b).Add(c).Mul(1. / 3).Sub(box.Min).Mul(scale)
			keys[t] = spaced(uint64(p.X)) | spaced(uint64(p.Y))<<1 | spaced(uint64(p.Z))<<2
		}
	})
	order := make([]int32, 0, len(keys))
	for t, s := range side {
		if s != 0 {
			order = append(order, int32(t))
		}
	}
	other := make([]int32, len(order))
	const bits = 12
	for shift := 0; shift < 48; shift += bits {
		var count [1<<bits + 1]int32
		for _, t := range order {
			count[keys[t]>>shift&(1<<bits-1)+1]++
		}
		for i := 1; i < len(count); i++ {
			count[i] += count[i-1]
		}
		for _, t := range order {
			k := keys[t] >> shift & (1<<bits - 1)
			other[count[k]] = t
			count[k]++
		}
		order, other = other, order
	}
	for i, t := range order {
		if side[t] < 0 {
			order[i] = ^t
		}
	}
	return order
}

// spaced moves the 16 low bits of x three places apart, by halves: 8, 4, 2 and
// 1 bits at a time.
func spaced(x uint64) uint64 {
	x &= 0xffff
	x = (x | x<<16) & 0x0000_ff00_00ff
	x = (x | x<<8) & 0x00f0_0f00_f00f
	x = (x | x<<4) & 0x0c30_c30c_30c3
	x = (x | x<<2) & 0x2492_4924_9249
	return x
}

// leaf returns leaf i with its box and area.
func (w *winding) leaf(i int) (n windingNode, box [6]float32, area float32) {
	ts := w.order[i*windingLeaf : min((i+1)*windingLeaf, len(w.order))]
	// Twice the area vector and the centroid of each triangle, about the
	// mesh's centre.
	var normals, centroids [windingLeaf]r3.Vector
	var centre, lo, hi r3.Vector
	var weight float64
	for k, t := range ts {
		a, b, c := w.corners(t)
		a, b, c = a.Sub(w.centre), b.Sub(w.centre), c.Sub(w.centre)
		normals[k] = b.Sub(a).Cross(c.Sub(a)).Mul(0.5)
		centroids[k] = a.Add(b).Add(c).Mul(1. / 3)
		s := normals[k].Norm()
		centre = centre.Add(centroids[k].Mul(s))
		weight += s
		if k == 0 {
			lo, hi = a, a
		}
		bb := Box{lo, hi}.Add(a).Add(b).Add(c)
		lo, hi = bb.Min, bb.Max
	}
	if weight > 0 {
		centre = centre.Mul(1 / weight)
	} else {
		centre = lo.Add(hi).Mul(0.5)
	}
	n.c = floats(centre)
	var far float64
	var d r3.Vector
	for k, t := range ts {
		a, b, c := w.corners(t)
		for _, p := range [3]r3.Vector{a, b, c} {
			far = max(far, p.Sub(w.centre).Sub(centre).Norm2())
		}
		d = d.Add(normals[k])
		nk, e := floats(normals[k]), floats(centroids[k].Sub(centre))
		for r := range nk {
			for s := range e {
				n.m[r][s] += nk[r] * e[s]
			}
		}
	}
	n.radius = float32(math.Sqrt(far)) * windingRound
	n.d = floats(d)
	l, h := floats(lo), floats(hi)
	return n, [6]float32{l[0], l[1], l[2], h[0], h[1], h[2]}, float32(weight)
}

// windingRound covers float32 rounding of radii and centres.
const windingRound = 1 + 1e-5

// joinWinding returns the expansion of a and b together.
func joinWinding(a, b *windingNode, boxA, boxB [6]float32, areaA, areaB float32) (n windingNode, box [6]float32, area float32) {
	area = areaA + areaB
	for k := range 3 {
		box[k], box[k+3] = min(boxA[k], boxB[k]), max(boxA[k+3], boxB[k+3])
		if area > 0 {
			n.c[k] = (a.c[k]*areaA + b.c[k]*areaB) / area
		} else {
			n.c[k] = (box[k] + box[k+3]) / 2
		}
		n.d[k] = a.d[k] + b.d[k]
	}
	// The ball about c: around both balls, or around the box.
	var far float32
	for k := range 3 {
		e := max(n.c[k]-box[k], box[k+3]-n.c[k])
		far += e * e
	}
	n.radius = float32(math.Sqrt(float64(far)))
	var balls float32
	for _, child := range [2]*windingNode{a, b} {
		var e [3]float32
		var d2 float32
		for k := range 3 {
			e[k] = child.c[k] - n.c[k]
			d2 += e[k] * e[k]
		}
		balls = max(balls, float32(math.Sqrt(float64(d2)))+child.radius)
		for r := range 3 {
			for s := range 3 {
				n.m[r][s] += child.m[r][s] + child.d[r]*e[s]
			}
		}
	}
	n.radius = min(n.radius, balls) * windingRound
	return n, box, area
}

func floats(v r3.Vector) [3]float32 {
	return [3]float32{float32(v.X), float32(v.Y), float32(v.Z)}
}

// corners returns the corners of triangle t of order, the way round in which
// they count.
func (w *winding) corners(t int32) (a, b, c r3.Vector) {
	if t >= 0 {
		return w.m.Corners(int(t))
	}
	a, c, b = w.m.Corners(int(^t))
	return a, b, c
}

// at returns the winding number at p, within windingError of the direct sum.
func (w *winding) at(p r3.Vector) float64 { return w.sum(p, windingOpen) }

// coarse returns the winding number at p within coarseError, in a third of the
// time.
func (w *winding) coarse(p r3.Vector) float64 { return w.sum(p, coarseOpen) }

func (w *winding) sum(p r3.Vector, open float64) float64 {
	if len(w.nodes) == 0 {
		return 0
	}
	q := p.Sub(w.centre)
	x, y, z := q.X, q.Y, q.Z
	type place struct{ level, index int32 }
	var stack [64]place // each step down replaces one place by two
	stack[0] = place{int32(len(w.levels)) - 1, 0}
	depth := 1
	sum := 0.0
	for depth > 0 {
		depth--
		at := stack[depth]
		n := &w.nodes[w.levels[at.level]+at.index]
		rx, ry, rz := float64(n.c[0])-x, float64(n.c[1])-y, float64(n.c[2])-z
		r2 := rx*rx + ry*ry + rz*rz
		if reach := open * float64(n.radius); r2 > reach*reach {
			inv2 := 1 / r2
			inv3 := inv2 * math.Sqrt(inv2)
			dot := float64(n.d[0])*rx + float64(n.d[1])*ry + float64(n.d[2])*rz
			trace := float64(n.m[0][0]) + float64(n.m[1][1]) + float64(n.m[2][2])
			quad := rx*(float64(n.m[0][0])*rx+float64(n.m[0][1])*ry+float64(n.m[0][2])*rz) +
				ry*(float64(n.m[1][0])*rx+float64(n.m[1][1])*ry+float64(n.m[1][2])*rz) +
				rz*(float64(n.m[2][0])*rx+float64(n.m[2][1])*ry+float64(n.m[2][2])*rz)
			sum += inv3 * (dot + trace - 3*quad*inv2)
			continue
		}
		if at.level == 0 {
			i := int(at.index) * windingLeaf
			for _, t := range w.order[i:min(i+windingLeaf, len(w.order))] {
				a, b, c := w.corners(t)
				sum += solidAngle(a.Sub(p), b.Sub(p), c.Sub(p))
			}
			continue
		}
		below := at.level - 1
		size := w.levels[at.level] - w.levels[below]
		stack[depth] = place{below, 2 * at.index}
		depth++
		if 2*at.index+1 < size {
			stack[depth] = place{below, 2*at.index + 1}
			depth++
		}
	}
	return sum / (4 * math.Pi)
}

// solidAngle returns the signed solid angle, in steradians, under which the
// triangle a, b, c is seen from the origin; positive from the side from which
// its corners run clockwise, so that a closed surface with its normals outward
// gives 4 pi inside. (Van Oosterom, Strackee, "The solid angle of a plane
// triangle", IEEE Transactions on Biomedical Engineering 30(2), 1983; from
// memory, checked in the tests against the octant and the cube.)
func solidAngle(a, b, c r3.Vector) float64 {
	la, lb, lc := a.Norm(), b.Norm(), c.Norm()
	y := a.Dot(b.Cross(c))
	x := la*lb*lc + a.Dot(b)*lc + b.Dot(c)*la + c.Dot(a)*lb
	if math.Abs(y) < 0.1*x {
		// The series of the arc tangent; the next term is under 1e-9 of the
		// first.
		t := y / x
		t2 := t * t
		return 2 * t * (1 - t2*(1./3-t2*(1./5-t2*(1./7-t2/9))))
	}
	return 2 * math.Atan2(y, x)
}
