package fit

import (
	"math"

	"github.com/golang/geo/r3"
)

// curve is a bar's centreline while it is being fitted: like tube.Path, but it
// also stands for shapes that cannot be bent (straights of negative length),
// which the solver passes through, and it differentiates.
//
// Fillet at node i with leg directions u (in) and v (out), half turn h, w = v-u
// and t = u+v, so that |w| = 2 sin h and |t| = 2 cos h. The arc's point at
// parameter m in [-1, 1], with f = m h, is
//
//	X = P + A w + B t,  A = R (sec h - cos f) / (2 sin h),  B = R sin f / (2 cos h).
//
// Derivatives are taken backwards: for a direction n, pull adds the gradient of
// n.X with respect to every node. With a' = n.w, b' = n.t and
// dh = (|t| d|w| - |w| d|t|) / 4 (from |w|^2 + |t|^2 = 4) there is no division
// by sin 2h, so that a vanishing bend does no harm.
type curve struct {
	radius float64
	nodes  []r3.Vector
	dir    []r3.Vector // of leg i, from node i to i+1
	leg    []float64
	half   []float64 // half turn at node i; 0 at the ends
	sec    []float64
	w, t   []r3.Vector
	wl, tl []float64 // |w|, |t|
	// straight[i] is leg i without its setbacks; it may be negative.
	straight []float64
}

// station is a place on a curve: on leg seg/2 at fraction f of its straight
// when seg is even, on the arc at node (seg+1)/2 at m = f when it is odd.
type station struct {
	seg int
	f   float64
}

// minLeg keeps directions defined while two nodes coincide during a solve, mm.
const minLeg = 1e-6

func newCurve(nodes []r3.Vector, radius float64) *curve {
	n := len(nodes)
	c := &curve{
		radius: radius, nodes: nodes,
		dir: make([]r3.Vector, n-1), leg: make([]float64, n-1), straight: make([]float64, n-1),
		half: make([]float64, n), sec: make([]float64, n), w: make([]r3.Vector, n), t: make([]r3.Vector, n),
		wl: make([]float64, n), tl: make([]float64, n),
	}
	for i := range c.dir {
		d := nodes[i+1].Sub(nodes[i])
		c.leg[i] = math.Max(d.Norm(), minLeg)
		c.dir[i] = d.Mul(1 / c.leg[i])
		c.straight[i] = c.leg[i]
	}
	for i := 1; i < n-1; i++ {
		u, v := c.dir[i-1], c.dir[i]
		c.w[i], c.t[i] = v.Sub(u), u.Add(v)
		c.wl[i], c.tl[i] = c.w[i].Norm(), c.t[i].Norm()
		// A full reversal has no fillet; stop just short of it.
		c.tl[i] = math.Max(c.tl[i], 1e-3)
		c.half[i] = math.Atan2(c.wl[i], c.tl[i])
		c.sec[i] = 2 / c.tl[i]
		set := c.setback(i)
		c.straight[i-1] -= set
		c.straight[i] -= set
	}
	return c
}

func (c *curve) segments() int { return 2*len(c.dir) - 1 }

// setback is the length that the fillet at node i takes from each leg.
func (c *curve) setback(i int) float64 { return c.radius * c.wl[i] / c.tl[i] }

func (c *curve) length() float64 {
	total := 0.0
	for i, s := range c.straight {
		total += s + 2*c.radius*c.half[i]
	}
	return total
}

// segLength is the length of a segment; negative for a straight that does not
// exist.
func (c *curve) segLength(seg int) float64 {
	if seg%2 == 0 {
		return c.straight[seg/2]
	}
	return 2 * c.radius * c.half[(seg+1)/2]
}

// arcCoefficients returns A and B and their derivatives by h. Below a half turn
// of 1e-4 the series is used: its first neglected term is of relative order
// h^2 = 1e-8, where the quotient's cancellation error is eps/h^2 = 1e-8 too.
func (c *curve) arcCoefficients(i int, m float64) (a, b, da, db float64) {
	h := c.half[i]
	f := m * h
	r := c.radius
	if h < 1e-4 {
		a = r * h * (1 + m*m) / 4
		da = r * (1 + m*m) / 4
		b = r * f / 2
		db = r * m / 2
		return a, b, da, db
	}
	sh, ch := math.Sincos(h)
	sf, cf := math.Sincos(f)
	num := 1/ch - cf
	a = r * num / (2 * sh)
	da = r*(sh/(ch*ch)+m*sf)/(2*sh) - a*ch/sh
	b = r * sf / (2 * ch)
	db = r*m*cf/(2*ch) + b*sh/ch
	return a, b, da, db
}

func (c *curve) arcPoint(i int, m float64) r3.Vector {
	if i == 0 || i == len(c.nodes)-1 {
		return c.nodes[i]
	}
	a, b, _, _ := c.arcCoefficients(i, m)
	return c.nodes[i].Add(c.w[i].Mul(a)).Add(c.t[i].Mul(b))
}

// point returns the place of a station.
func (c *curve) point(s station) r3.Vector {
	if s.seg%2 == 1 {
		return c.arcPoint((s.seg+1)/2, s.f)
	}
	i := s.seg / 2
	return c.arcPoint(i, 1).Mul(1 - s.f).Add(c.arcPoint(i+1, -1).Mul(s.f))
}

// pull adds to grad (one vector a node) the gradient of n.point(s).
func (c *curve) pull(s station, n r3.Vector, grad []r3.Vector) {
	if s.seg%2 == 1 {
		c.pullArc((s.seg+1)/2, s.f, n, grad)
		return
	}
	i := s.seg / 2
	c.pullArc(i, 1, n.Mul(1-s.f), grad)
	c.pullArc(i+1, -1, n.Mul(s.f), grad)
}

func (c *curve) pullArc(i int, m float64, n r3.Vector, grad []r3.Vector) {
	grad[i] = grad[i].Add(n)
	if i == 0 || i == len(c.nodes)-1 {
		return
	}
	a, b, da, db := c.arcCoefficients(i, m)
	c.pullBend(i, n.Mul(a), n.Mul(b), n.Dot(c.w[i])*da+n.Dot(c.t[i])*db, grad)
}

// pullBend passes gradients by w, t and h of node i on to the nodes.
func (c *curve) pullBend(i int, gw, gt r3.Vector, gh float64, grad []r3.Vector) {
	if c.wl[i] > 0 {
		gw = gw.Add(c.w[i].Mul(gh * c.tl[i] / (4 * c.wl[i])))
	}
	gt = gt.Sub(c.t[i].Mul(gh * c.wl[i] / (4 * c.tl[i])))
	c.pullDir(i-1, gt.Sub(gw), grad)
	c.pullDir(i, gt.Add(gw), grad)
}

func (c *curve) pullDir(leg int, g r3.Vector, grad []r3.Vector) {
	u := c.dir[leg]
	g = g.Sub(u.Mul(g.Dot(u))).Mul(1 / c.leg[leg])
	grad[leg] = grad[leg].Sub(g)
	grad[leg+1] = grad[leg+1].Add(g)
}

func (c *curve) pullLeg(leg int, k float64, grad []r3.Vector) {
	g := c.dir[leg].Mul(k)
	grad[leg] = grad[leg].Sub(g)
	grad[leg+1] = grad[leg+1].Add(g)
}

// pullHalf adds k times the gradient of the half turn at node i.
func (c *curve) pullHalf(i int, k float64, grad []r3.Vector) {
	if i > 0 && i < len(c.nodes)-1 {
		c.pullBend(i, r3.Vector{}, r3.Vector{}, k, grad)
	}
}

// pullLength adds k times the gradient of a segment's length.
func (c *curve) pullLength(seg int, k float64, grad []r3.Vector) {
	if seg%2 == 1 {
		c.pullHalf((seg+1)/2, 2*c.radius*k, grad)
		return
	}
	i := seg / 2
	c.pullLeg(i, k, grad)
	c.pullHalf(i, -k*c.radius*c.sec[i]*c.sec[i], grad)
	c.pullHalf(i+1, -k*c.radius*c.sec[i+1]*c.sec[i+1], grad)
}
