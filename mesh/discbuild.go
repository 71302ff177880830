package mesh

import (
	"math"
	"sync"

	"github.com/golang/geo/r3"
)

// parallelBlocks is the size from which a node's two halves are built at the
// same time. They share nothing, so that the tree does not depend on it.
const parallelBlocks = 8192

// NewIndex builds an index of m, which must not change while the index is in
// use. It takes about half a second for a million triangles.
func NewIndex(m *Mesh) *Index { return newIndex(m, false) }

// newLeanIndex returns a lean index of m: see [Index].
func newLeanIndex(m *Mesh) *Index { return newIndex(m, true) }

func newIndex(m *Mesh, lean bool) *Index {
	ix := &Index{mesh: m}
	n := len(m.Triangles)
	if n == 0 {
		return ix
	}
	bounds := m.Bounds()
	ix.extent = bounds.Size().Norm()
	ix.origin = bounds.Min.Add(bounds.Max).Mul(0.5)
	if !(ix.extent <= maxExtent) || !(ix.origin.Norm() <= math.MaxFloat64) {
		ix.brute = true
		return ix
	}
	nb := (n + blockSize - 1) / blockSize
	ix.blocks = int32(nb)
	b := builder{ix: ix, items: make([]item, n), lean: lean}
	for t := range m.Triangles {
		p, q, r := m.Corners(t)
		c := p.Add(q).Add(r).Mul(1.0 / 3).Sub(ix.origin)
		b.items[t] = item{[3]float32{float32(c.X), float32(c.Y), float32(c.Z)}, int32(t)}
	}
	ix.boxes = make([]boxPair, nb-1)
	if lean {
		b.build(0, int32(nb))
		ix.ids = make([]int32, n)
		for i := range b.items {
			ix.ids[i] = b.items[i].id
		}
		return ix
	}
	b.corners = make([]cornerSet, nb)
	ix.pairs = make([]discPair, nb-1)
	ix.tris = make([]leafBlock, nb)
	b.build(0, int32(nb))
	return ix
}

// item is a triangle on its way to its place: its centroid and its id.
type item struct {
	at [3]float32
	id int32
}

// cornerSet holds the different corners of a block's triangles.
type cornerSet struct {
	n  int
	at [3 * blockSize][3]float32
}

// minScale is the smallest step of lengths, mm: its square is a normal float32.
const minScale = 1e-18

type builder struct {
	ix      *Index
	items   []item
	corners []cornerSet
	lean    bool // boxes alone are wanted
}

// part is what a node's parent must know of it: the box and the sum of its
// triangles' area vectors, each turned to agree with the others, as scans are
// often unoriented.
type part struct {
	box    box
	normal r3.Vector
}

func (b *builder) build(lo, k int32) part {
	if k == 1 {
		if b.lean {
			return part{box: b.around(lo)}
		}
		return b.leaf(lo)
	}
	kl := (k + 1) >> 1
	items := b.items[lo*blockSize : min(int(lo+k)*blockSize, len(b.items))]
	selectNth(items, int(kl)*blockSize)
	var p0, p1 part
	if k >= parallelBlocks {
		var wg sync.WaitGroup
		wg.Go(func() { p0 = b.build(lo, kl) })
		p1 = b.build(lo+kl, k-kl)
		wg.Wait()
	} else {
		p0, p1 = b.build(lo, kl), b.build(lo+kl, k-kl)
	}
	at := lo + kl - 1
	b.ix.boxes[at] = boxPair{p0.box, p1.box}
	if k <= discBlocks && !b.lean {
		b.ix.pairs[at] = discPair{b.disc(lo, kl, p0), b.disc(lo+kl, k-kl, p1)}
	}
	if p0.normal.Dot(p1.normal) < 0 {
		p1.normal = p1.normal.Mul(-1)
	}
	whole := part{normal: p0.normal.Add(p1.normal)}
	for i := range 3 {
		whole.box.at[0][i] = min(p0.box.at[0][i], p1.box.at[0][i])
		whole.box.at[1][i] = max(p0.box.at[1][i], p1.box.at[1][i])
	}
	return whole
}

// selectNth reorders items so that none of the first n lies beyond any of the
// others along the longest axis of their centroids.
func selectNth(items []item, n int) {
	lo, hi := items[0].at, items[0].at
	for i := range items {
		for j, x := range items[i].at {
			if x < lo[j] {
				lo[j] = x
			}
			if x > hi[j] {
				hi[j] = x
			}
		}
	}
	axis := 0
	for j := range 3 {
		if hi[j]-lo[j] > hi[axis]-lo[axis] {
			axis = j
		}
	}
	// Bisect the range of values by counting into bins, keep the bin that
	// holds the n-th, and repeat on it: linear whatever the order of the items.
	// Values closer than tiny may stay in any order; its inverse must not
	// overflow.
	const tiny = 1e-30
	left, right := 0, len(items)
	for from, to := lo[axis], hi[axis]; to-from > tiny; {
		left, right = narrow(items, left, right, n, axis, from, to)
		if left >= n || right <= n {
			return
		}
		from, to = items[left].at[axis], items[left].at[axis]
		for i := left + 1; i < right; i++ {
			x := items[i].at[axis]
			from, to = min(from, x), max(to, x)
		}
	}
}

// narrow sorts items[left:right], whose values along axis span from..to, into
// those below, in and above one of 256 bins, such that place n falls into the
// bin; it returns the bin's range.
func narrow(items []item, left, right, n, axis int, from, to float32) (int, int) {
	const bins = 256
	part := items[left:right]
	scale := float32(bins) / (to - from)
	bin := func(x float32) int { return max(0, min(bins-1, int((x-from)*scale))) }
	var count [bins]int
	for i := range part {
		count[bin(part[i].at[axis])]++
	}
	below, pick := left, 0
	for ; pick < bins-1 && below+count[pick] <= n; pick++ {
		below += count[pick]
	}
	l, r := 0, len(part)
	for i := 0; i < r; {
		switch k := bin(part[i].at[axis]); {
		case k < pick:
			part[i], part[l] = part[l], part[i]
			l++
			i++
		case k > pick:
			r--
			part[i], part[r] = part[r], part[i]
		default:
			i++
		}
	}
	return left + l, left + r
}

// leaf writes the triangles of block lo.
func (b *builder) leaf(lo int32) part {
	ix := b.ix
	var (
		p     part
		set   = &b.corners[lo]
		seen  [3 * blockSize]int32
		items = b.items[lo*blockSize : min(int(lo+1)*blockSize, len(b.items))]
	)
	block := &ix.tris[lo]
	block.n = int32(len(items))
	corners := make([][3]r3.Vector, 0, blockSize)
	low := ix.mesh.Vertices[ix.mesh.Triangles[items[0].id][0]].Sub(ix.origin)
	top := low
	for _, it := range items {
		var v [3]r3.Vector
	corner:
		for j, k := range ix.mesh.Triangles[it.id] {
			v[j] = ix.mesh.Vertices[k].Sub(ix.origin)
			for _, s := range seen[:set.n] {
				if s == k {
					continue corner
				}
			}
			seen[set.n] = k
			set.at[set.n] = [3]float32{float32(v[j].X), float32(v[j].Y), float32(v[j].Z)}
			set.n++
			low = r3.Vector{X: min(low.X, v[j].X), Y: min(low.Y, v[j].Y), Z: min(low.Z, v[j].Z)}
			top = r3.Vector{X: max(top.X, v[j].X), Y: max(top.Y, v[j].Y), Z: max(top.Z, v[j].Z)}
		}
		corners = append(corners, v)
		n := v[1].Sub(v[0]).Cross(v[2].Sub(v[0]))
		if n.Dot(p.normal) < 0 {
			n = n.Mul(-1)
		}
		p.normal = p.normal.Add(n)
	}
	c := low.Add(top).Mul(0.5)
	block.cx, block.cy, block.cz = float32(c.X), float32(c.Y), float32(c.Z)
	c = r3.Vector{X: float64(block.cx), Y: float64(block.cy), Z: float64(block.cz)}
	var rr float64
	for i := range corners {
		for j := range corners[i] {
			corners[i][j] = corners[i][j].Sub(c)
			rr = max(rr, corners[i][j].Norm2())
		}
	}
	block.r = float32(math.Sqrt(rr) * (1 + 4*unit))
	block.scale = max(block.r/lengthSteps*(1+4*unit), minScale)
	for i, v := range corners {
		block.tri[i] = newLeafTri(v[0], v[1], v[2], float64(block.scale), items[i].id)
	}
	p.box = boxAround(low, top)
	return p
}

// boxAround returns a box that holds all from low to top.
func boxAround(low, top r3.Vector) box {
	b := box{[2][3]float32{
		{float32(low.X), float32(low.Y), float32(low.Z)},
		{float32(top.X), float32(top.Y), float32(top.Z)},
	}}
	// That was rounded to the nearest: one step outwards holds it.
	for j := range 3 {
		b.at[0][j] = math.Nextafter32(b.at[0][j], float32(math.Inf(-1)))
		b.at[1][j] = math.Nextafter32(b.at[1][j], float32(math.Inf(1)))
	}
	return b
}

// around returns the box of block lo.
func (b *builder) around(lo int32) box {
	items := b.items[lo*blockSize : min(int(lo+1)*blockSize, len(b.items))]
	low := b.ix.mesh.Vertices[b.ix.mesh.Triangles[items[0].id][0]]
	top := low
	for _, it := range items {
		for _, k := range b.ix.mesh.Triangles[it.id] {
			v := b.ix.mesh.Vertices[k]
			low = r3.Vector{X: min(low.X, v.X), Y: min(low.Y, v.Y), Z: min(low.Z, v.Z)}
			top = r3.Vector{X: max(top.X, v.X), Y: max(top.Y, v.Y), Z: max(top.Z, v.Z)}
		}
	}
	return boxAround(low.Sub(b.ix.origin), top.Sub(b.ix.origin))
}

// disc fits a disc to the k blocks from lo on.
func (b *builder) disc(lo, k int32, p part) disc {
	n := p.normal
	if size := n.Norm(); size > 0 {
		n = n.Mul(1 / size)
	} else {
		n = r3.Vector{Z: 1}
	}
	e := n.Ortho()
	f := n.Cross(e)
	inf := math.Inf(1)
	lowE, lowF, lowN := inf, inf, inf
	topE, topF, topN := -inf, -inf, -inf
	sets := b.corners[lo : lo+k]
	for i := range sets {
		for j := range sets[i].n {
			v := &sets[i].at[j]
			x, y, z := float64(v[0]), float64(v[1]), float64(v[2])
			s := x*e.X + y*e.Y + z*e.Z
			if s < lowE {
				lowE = s
			}
			if s > topE {
				topE = s
			}
			s = x*f.X + y*f.Y + z*f.Z
			if s < lowF {
				lowF = s
			}
			if s > topF {
				topF = s
			}
			s = x*n.X + y*n.Y + z*n.Z
			if s < lowN {
				lowN = s
			}
			if s > topN {
				topN = s
			}
		}
	}
	c := e.Mul((lowE + topE) / 2).Add(f.Mul((lowF + topF) / 2)).Add(n.Mul((lowN + topN) / 2))
	d := disc{
		cx: float32(c.X), cy: float32(c.Y), cz: float32(c.Z),
		nx: float32(n.X), ny: float32(n.Y), nz: float32(n.Z),
	}
	c = r3.Vector{X: float64(d.cx), Y: float64(d.cy), Z: float64(d.cz)}
	var h, rr float64
	for i := range sets {
		for j := range sets[i].n {
			v := &sets[i].at[j]
			x, y, z := float64(v[0])-c.X, float64(v[1])-c.Y, float64(v[2])-c.Z
			s := x*n.X + y*n.Y + z*n.Z
			if w := x*x + y*y + z*z - s*s; w > rr {
				rr = w
			}
			if s < 0 {
				s = -s
			}
			if s > h {
				h = s
			}
		}
	}
	// Rounding the corners moves them by at most sqrt3/2 u extent; 2u extent
	// also covers rounding h and r, which are no larger than the extent.
	pad := 2 * unit * b.ix.extent
	d.h, d.r = float32(h+pad), float32(math.Sqrt(rr)+pad)
	return d
}

// newLeafTri works out the frame of triangle abc, in steps of scale.
func newLeafTri(a, b, c r3.Vector, scale float64, id int32) leafTri {
	// Turn it so that ab is the longest side.
	ab, bc, ca := b.Sub(a).Norm2(), c.Sub(b).Norm2(), a.Sub(c).Norm2()
	switch {
	case bc >= ab && bc >= ca:
		a, b, c = b, c, a
	case ca >= ab && ca >= bc:
		a, b, c = c, a, b
	}
	side := b.Sub(a)
	length := side.Norm()
	e := r3.Vector{X: 1}
	if length > 0 {
		e = side.Mul(1 / length)
	}
	// The height, made square to the side a second time; a height that is
	// lost in rounding (under 1e-12 of the side) is taken as none.
	ac := c.Sub(a)
	left := max(0, min(length, ac.Dot(e)))
	up := ac.Sub(e.Mul(ac.Dot(e)))
	h := up.Norm()
	g := e.Ortho()
	if h > 1e-12*length {
		g = up.Mul(1 / h)
		g = g.Sub(e.Mul(g.Dot(e))).Normalize()
	} else {
		h = 0
	}
	foot := a.Add(e.Mul(left))
	steps := func(x float64) float64 { return math.Round(x / scale) }
	t := leafTri{
		e: packUnit(e), g: packUnit(g),
		f:    [3]int16{int16(steps(foot.X)), int16(steps(foot.Y)), int16(steps(foot.Z))},
		h:    uint16(steps(h)),
		half: [2]uint16{uint16(steps(length - left)), uint16(steps(left))},
		id:   id,
	}
	if t.h == 0 {
		t.half[0], t.half[1] = max(t.half[0], 1), max(t.half[1], 1)
	}
	return t
}
