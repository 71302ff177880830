package fit

import (
	"math"

	"github.com/golang/geo/r3"
	"gonum.org/v1/gonum/mat"
)

// layout maps the unknowns q of a bar (mm; angles are scaled by angleScale) to
// its nodes, so that flatness and symmetry hold exactly, whatever the solver
// does:
//
//	free             q = x, y, z of every node
//	free, self       the same for the first half; the rest is mirrored at y = 0,
//	                 a middle node has x, z only
//	flat             q = offset along the plane's normal, two tilts, two in-plane
//	                 coordinates a node
//	flat, fixed lean q = offset, yaw, two coordinates a node
//	flat, self       q = offset, lean, two coordinates a node of the first half
//	                 (a middle node: one); the plane contains the y direction
//	both             q = offset, coordinates
//	pinned           the plane stays; the coordinates alone
type layout struct {
	nodes, dim int
	self, flat bool
	pinned     bool    // flat, in the plane of the start, which has the y direction and the lean
	lean       float64 // rad, NaN: free
	plane      int     // how many unknowns describe the plane

	origin     r3.Vector
	e1, e2, en r3.Vector // base frame; en is the plane's normal
	base       float64   // base yaw (fixed lean) or base lean (self), rad
}

// angleScale makes one unit of an angle move a point at a hoop's typical
// distance of 600 mm from the origin by about a millimetre.
const angleScale = 600

// entry is a partial derivative of a node by unknown v.
type entry struct {
	v int
	d r3.Vector
}

// newLayout prepares the unknowns for a bar whose start is near the given
// nodes. lean is NaN when free.
func newLayout(nodes []r3.Vector, self, flat, pinned bool, lean float64) *layout {
	l := &layout{nodes: len(nodes), self: self, flat: flat && len(nodes) > 2, lean: lean}
	l.pinned = pinned && l.flat
	half := len(nodes) / 2
	odd := len(nodes)%2 == 1
	switch {
	case !l.flat && !self:
		l.dim = 3 * len(nodes)
	case !l.flat:
		l.dim = 3 * half
		if odd {
			l.dim += 2
		}
	case self:
		l.plane = 1
		switch {
		case l.pinned:
			l.plane = 0
		case math.IsNaN(lean):
			l.plane = 2
		}
		l.dim = l.plane + 2*half
		if odd {
			l.dim++
		}
		l.baseSelf(nodes)
	default:
		l.plane = 2
		switch {
		case l.pinned:
			l.plane = 0
		case math.IsNaN(lean):
			l.plane = 3
		}
		l.dim = l.plane + 2*len(nodes)
		l.baseFlat(nodes)
	}
	return l
}

// baseSelf finds the plane through the y direction that lies best in the nodes.
func (l *layout) baseSelf(nodes []r3.Vector) {
	o := centroid(nodes)
	o.Y = 0
	l.origin = o
	var sxx, sxz, szz float64
	for _, p := range nodes {
		x, z := p.X-o.X, p.Z-o.Z
		sxx += x * x
		sxz += x * z
		szz += z * z
	}
	up := r3.Vector{Z: 1}
	if sxx+szz > 1 {
		phi := 0.5 * math.Atan2(2*sxz, sxx-szz) // direction of the largest spread
		up = r3.Vector{X: math.Cos(phi), Z: math.Sin(phi)}
		if up.Z < 0 {
			up = up.Mul(-1)
		}
	}
	l.base = math.Atan2(-up.X, up.Z)
	if !math.IsNaN(l.lean) {
		l.base = l.lean
	}
}

// baseFlat finds the plane that lies best in the nodes.
func (l *layout) baseFlat(nodes []r3.Vector) {
	l.origin = centroid(nodes)
	n := planeNormal(nodes, l.origin)
	if !math.IsNaN(l.lean) {
		if n.X < 0 || (n.X == 0 && n.Y < 0) {
			n = n.Mul(-1)
		}
		l.base = math.Atan2(n.Y, n.X)
		return
	}
	l.en = n
	l.e1 = n.Ortho()
	l.e2 = n.Cross(l.e1)
}

func centroid(p []r3.Vector) r3.Vector {
	var o r3.Vector
	for _, v := range p {
		o = o.Add(v)
	}
	return o.Mul(1 / float64(len(p)))
}

// planeNormal is the unit direction of least spread.
func planeNormal(p []r3.Vector, o r3.Vector) r3.Vector {
	s := mat.NewSymDense(3, nil)
	for _, v := range p {
		d := v.Sub(o)
		c := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for j := i; j < 3; j++ {
				s.SetSym(i, j, s.At(i, j)+c[i]*c[j])
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(s, true) {
		return r3.Vector{X: 1}
	}
	var v mat.Dense
	e.VectorsTo(&v)
	n := r3.Vector{X: v.At(0, 0), Y: v.At(1, 0), Z: v.At(2, 0)}
	// One sign, whatever the library does: the largest component is positive.
	big := n.X
	if math.Abs(n.Y) > math.Abs(big) {
		big = n.Y
	}
	if math.Abs(n.Z) > math.Abs(big) {
		big = n.Z
	}
	if big < 0 {
		n = n.Mul(-1)
	}
	return n.Normalize()
}

// frame returns the plane's in-plane directions, normal, and their derivatives
// by the plane's angles (in unknowns' units).
func (l *layout) frame(q []float64) (e [3]r3.Vector, de [][3]r3.Vector) {
	switch {
	case l.pinned:
		s, c := math.Sincos(l.lean)
		e = [3]r3.Vector{{Y: 1}, {X: -s, Z: c}, {X: c, Z: s}}
	case l.self:
		lean := l.base
		if l.plane == 2 {
			lean += q[1] / angleScale
		}
		s, c := math.Sincos(lean)
		e = [3]r3.Vector{{Y: 1}, {X: -s, Z: c}, {X: c, Z: s}}
		if l.plane == 2 {
			de = [][3]r3.Vector{{{}, r3.Vector{X: -c, Z: -s}.Mul(1. / angleScale), r3.Vector{X: -s, Z: c}.Mul(1. / angleScale)}}
		}
	case !math.IsNaN(l.lean):
		yaw := l.base + q[1]/angleScale
		s, c := math.Sincos(yaw)
		sl, cl := math.Sincos(l.lean)
		e = [3]r3.Vector{{X: -s, Y: c}, {X: -sl * c, Y: -sl * s, Z: cl}, {X: c * cl, Y: s * cl, Z: sl}}
		k := 1. / angleScale
		de = [][3]r3.Vector{{r3.Vector{X: -c, Y: -s}.Mul(k), r3.Vector{X: sl * s, Y: -sl * c}.Mul(k), r3.Vector{X: -s * cl, Y: c * cl}.Mul(k)}}
	default:
		a, b := q[1]/angleScale, q[2]/angleScale
		var da, db [3]r3.Vector
		for i, v := range [3]r3.Vector{l.e1, l.e2, l.en} {
			inner := rotate(l.e2, b, v)
			e[i] = rotate(l.e1, a, inner)
			da[i] = l.e1.Cross(e[i]).Mul(1. / angleScale)
			db[i] = rotate(l.e1, a, l.e2.Cross(inner)).Mul(1. / angleScale)
		}
		de = [][3]r3.Vector{da, db}
	}
	return e, de
}

// rotate turns v about the unit axis k by the angle a (Rodrigues).
func rotate(k r3.Vector, a float64, v r3.Vector) r3.Vector {
	s, c := math.Sincos(a)
	return v.Mul(c).Add(k.Cross(v).Mul(s)).Add(k.Mul(k.Dot(v) * (1 - c)))
}

func mirrorY(v r3.Vector) r3.Vector { return r3.Vector{X: v.X, Y: -v.Y, Z: v.Z} }

// place returns the nodes at q and, for each node, its derivatives.
func (l *layout) place(q []float64) (nodes []r3.Vector, jac [][]entry) {
	nodes = make([]r3.Vector, l.nodes)
	jac = make([][]entry, l.nodes)
	own := l.nodes
	if l.self {
		own = (l.nodes + 1) / 2
	}
	var e [3]r3.Vector
	var de [][3]r3.Vector
	if l.flat {
		e, de = l.frame(q)
	}
	v := l.plane
	for i := range own {
		middle := l.self && 2*i == l.nodes-1
		switch {
		case !l.flat && middle:
			nodes[i] = r3.Vector{X: q[v], Z: q[v+1]}
			jac[i] = []entry{{v, r3.Vector{X: 1}}, {v + 1, r3.Vector{Z: 1}}}
			v += 2
		case !l.flat:
			nodes[i] = r3.Vector{X: q[v], Y: q[v+1], Z: q[v+2]}
			jac[i] = []entry{{v, r3.Vector{X: 1}}, {v + 1, r3.Vector{Y: 1}}, {v + 2, r3.Vector{Z: 1}}}
			v += 3
		default:
			var a float64
			if !middle {
				a = q[v]
				jac[i] = append(jac[i], entry{v, e[0]})
				v++
			}
			b := q[v]
			jac[i] = append(jac[i], entry{v, e[1]})
			v++
			off := 0.0
			if !l.pinned {
				off = q[0]
				jac[i] = append(jac[i], entry{0, e[2]})
			}
			nodes[i] = l.origin.Add(e[2].Mul(off)).Add(e[0].Mul(a)).Add(e[1].Mul(b))
			for k, d := range de {
				jac[i] = append(jac[i], entry{1 + k, d[2].Mul(off).Add(d[0].Mul(a)).Add(d[1].Mul(b))})
			}
		}
	}
	for i := own; i < l.nodes; i++ {
		twin := l.nodes - 1 - i
		nodes[i] = mirrorY(nodes[twin])
		for _, t := range jac[twin] {
			jac[i] = append(jac[i], entry{t.v, mirrorY(t.d)})
		}
	}
	return nodes, jac
}

// start returns the unknowns whose nodes lie nearest to the given ones.
func (l *layout) start(nodes []r3.Vector) []float64 {
	p := nodes
	own := l.nodes
	if l.self {
		own = (l.nodes + 1) / 2
		p = make([]r3.Vector, own)
		for i := range p {
			p[i] = nodes[i].Add(mirrorY(nodes[l.nodes-1-i])).Mul(0.5)
		}
	}
	q := make([]float64, l.dim)
	var e [3]r3.Vector
	if l.flat {
		e, _ = l.frame(q)
		for i := 0; i < own && !l.pinned; i++ {
			q[0] += p[i].Sub(l.origin).Dot(e[2]) / float64(own)
		}
	}
	v := l.plane
	for i := range own {
		middle := l.self && 2*i == l.nodes-1
		switch {
		case !l.flat && middle:
			q[v], q[v+1] = p[i].X, p[i].Z
			v += 2
		case !l.flat:
			q[v], q[v+1], q[v+2] = p[i].X, p[i].Y, p[i].Z
			v += 3
		default:
			d := p[i].Sub(l.origin)
			if !middle {
				q[v] = d.Dot(e[0])
				v++
			}
			q[v] = d.Dot(e[1])
			v++
		}
	}
	return q
}
