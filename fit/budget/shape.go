package budget

import (
	"math"

	"github.com/golang/geo/r3"
	"gonum.org/v1/gonum/mat"

	"barwright/fit/tube"
)

// entries are the numbers of a bend table: mm and radians.
type entries struct {
	feeds, rotations, angles []float64
	tail                     float64
}

func entriesOf(t tube.Table) entries {
	e := entries{tail: t.Tail}
	for _, b := range t.Bends {
		e.feeds = append(e.feeds, b.Feed)
		e.rotations = append(e.rotations, float64(b.Rotation))
		e.angles = append(e.angles, float64(b.Angle))
	}
	return e
}

// frame is where a bar starts: end A, the unit direction of its first straight
// and the unit axis of its first bend.
type frame struct{ at, dir, axis r3.Vector }

// segment is a straight or an arc. It holds what a rigid motion has to move and
// nothing else: tube.Path has more, and refuses bars that can't be made.
type segment struct {
	from, dir r3.Vector
	out       r3.Vector // arcs: unit vector from the centre to from
	length    float64   // mm
	radius    float64   // arcs: mm; 0: a straight
}

// at returns the point x mm along the segment.
func (g *segment) at(x float64) r3.Vector {
	if g.radius == 0 {
		return g.from.Add(g.dir.Mul(x))
	}
	sin, cos := math.Sincos(x / g.radius)
	along, across := g.radius*sin, g.radius*(cos-1)
	return r3.Vector{
		X: g.from.X + along*g.dir.X + across*g.out.X,
		Y: g.from.Y + along*g.dir.Y + across*g.out.Y,
		Z: g.from.Z + along*g.dir.Z + across*g.out.Z,
	}
}

// shape appends the segments of the bar that starts at f: straight, arc, ...,
// straight. It is tube.Nodes and tube.NewPath in one; straights and angles below
// 0 count as 0.
func (e *entries) shape(dst []segment, f frame, radius float64) []segment {
	at, u, m := f.at, f.dir, f.axis
	straight := func(length float64) {
		length = max(0, length)
		dst = append(dst, segment{from: at, dir: u, length: length})
		at = at.Add(u.Mul(length))
	}
	for i, angle := range e.angles {
		straight(e.feeds[i])
		if i > 0 {
			m = turned(m, u, e.rotations[i])
		}
		angle = max(0, angle)
		arc := segment{from: at, dir: u, out: u.Cross(m), length: radius * angle, radius: radius}
		dst = append(dst, arc)
		at, u = arc.at(arc.length), turned(u, m, angle)
	}
	straight(e.tail)
	return dst
}

// turned rotates the unit vector v about the unit axis, right-handed; the two are
// perpendicular.
func turned(v, axis r3.Vector, angle float64) r3.Vector {
	sin, cos := math.Sincos(angle)
	return v.Mul(cos).Add(axis.Cross(v).Mul(sin)).Normalize()
}

func farEnd(shape []segment) r3.Vector {
	last := &shape[len(shape)-1]
	return last.at(last.length)
}

// placeStep is the distance in mm of the points that a placement goes by. The
// mean over a straight of what is linear and quadratic along it is off by
// (25 / length)^2 of itself: a bar is laid to 1e-3 of its errors.
const placeStep = 25

// placer lays a bar in error as near to the planned one as it goes.
type placer struct {
	points []placed
	middle r3.Vector // of the planned points
	svd    mat.SVD
	u, v   mat.Dense
}

// placed is a point that a placement goes by.
type placed struct {
	segment int
	share   float64   // of the segment's length
	weight  float64   // mm of the planned bar that it stands for, all of them: 1
	plan    r3.Vector // where it should be, from the middle
}

func newPlacer(plan []segment) placer {
	var p placer
	total := 0.0
	for k := range plan {
		g := &plan[k]
		n := int(math.Ceil(g.length / placeStep))
		for i := range n {
			share := (float64(i) + 0.5) / float64(n)
			p.points = append(p.points, placed{segment: k, share: share, weight: g.length / float64(n), plan: g.at(share * g.length)})
		}
		total += g.length
	}
	for i := range p.points {
		p.points[i].weight /= total
		p.middle = p.middle.Add(p.points[i].plan.Mul(p.points[i].weight))
	}
	for i := range p.points {
		p.points[i].plan = p.points[i].plan.Sub(p.middle)
	}
	return p
}

// place moves a bar: turns and shifts that take its points to the plan's with the
// least sum of squares.
func (p *placer) place(bent []segment) {
	var middle r3.Vector
	var h [9]float64 // sum of weight x point x plan^T; plan sums to 0, so the points need no middle taken off
	for i := range p.points {
		a := &p.points[i]
		g := &bent[a.segment]
		q := g.at(a.share * g.length).Sub(p.middle).Mul(a.weight)
		middle = middle.Add(q)
		h[0] += q.X * a.plan.X
		h[1] += q.X * a.plan.Y
		h[2] += q.X * a.plan.Z
		h[3] += q.Y * a.plan.X
		h[4] += q.Y * a.plan.Y
		h[5] += q.Y * a.plan.Z
		h[6] += q.Z * a.plan.X
		h[7] += q.Z * a.plan.Y
		h[8] += q.Z * a.plan.Z
	}
	middle = middle.Add(p.middle)
	rotation := [3]r3.Vector{{X: 1}, {Y: 1}, {Z: 1}} // rows
	if p.svd.Factorize(mat.NewDense(3, 3, h[:]), mat.SVDFull) {
		p.svd.UTo(&p.u)
		p.svd.VTo(&p.v)
		u, v := columns(&p.u), columns(&p.v)
		// A reflection would be nearer still for a flat bar; the direction of the
		// least singular value costs least to turn round.
		if u[0].Cross(u[1]).Dot(u[2])*v[0].Cross(v[1]).Dot(v[2]) < 0 {
			u[2] = u[2].Mul(-1)
		}
		// R = sum of v_i u_i^T.
		for r, of := range [3]func(r3.Vector) float64{
			func(w r3.Vector) float64 { return w.X }, func(w r3.Vector) float64 { return w.Y }, func(w r3.Vector) float64 { return w.Z },
		} {
			rotation[r] = u[0].Mul(of(v[0])).Add(u[1].Mul(of(v[1]))).Add(u[2].Mul(of(v[2])))
		}
	}
	turn := func(w r3.Vector) r3.Vector {
		return r3.Vector{X: rotation[0].Dot(w), Y: rotation[1].Dot(w), Z: rotation[2].Dot(w)}
	}
	for k := range bent {
		g := &bent[k]
		g.from = turn(g.from.Sub(middle)).Add(p.middle)
		g.dir, g.out = turn(g.dir), turn(g.out)
	}
}

func columns(m *mat.Dense) (c [3]r3.Vector) {
	for k := range c {
		c[k] = r3.Vector{X: m.At(0, k), Y: m.At(1, k), Z: m.At(2, k)}
	}
	return c
}
