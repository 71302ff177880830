package align

import (
	"context"
	"math"
	"slices"

	"github.com/golang/geo/r3"

	"barwright/mesh/internal/cloud"
)

// plane is the set of places with n . (p - centre) = d, where centre is the
// body's. Heights over it are taken from places given from that centre too.
type plane struct {
	n r3.Vector // unit
	d float64   // mm
}

func (m plane) height(p r3.Vector) float64 { return m.n.Dot(p) - m.d }

// mirror returns the mirror image of a place given from the centre.
func (m plane) mirror(p r3.Vector) r3.Vector { return p.Sub(m.n.Mul(2 * m.height(p))) }

// turn returns the mirror image of a direction.
func (m plane) turn(v r3.Vector) r3.Vector { return v.Sub(m.n.Mul(2 * m.n.Dot(v))) }

// apart tells whether two planes differ by more than the angle, in radians, or
// the offset, in mm.
func (m plane) apart(o plane, angle, offset float64) bool {
	c, d := m.n.Dot(o.n), o.d
	if c < 0 {
		c, d = -c, -d
	}
	return c < math.Cos(angle) || math.Abs(m.d-d) > offset
}

// across returns two unit vectors that make a right-handed frame with n.
func across(n r3.Vector) (a, b r3.Vector) {
	a = n.Ortho()
	return a, n.Cross(a)
}

// match is a sample whose mirror image lies near another one.
type match struct {
	sample int
	at     r3.Vector // the sample, from the centre, mm
	r      float64   // distance of its image from the other's plane, signed, mm
	weight float64   // 1/mm2, for how flat both are
	j      [unknowns]float64
}

// alike is the cosine of the largest angle between the normals of a mirror
// image and its counterpart.
const alike = 0.85

// matches calls visit for every step-th sample of c that has a counterpart. The
// rows j are derivatives of r by the plane's two angles about across(n), times
// the body's half size, and by its offset.
func (b *body) matches(m plane, c *cloud.Cloud, step int, visit func(match)) {
	e1, e2 := across(m.n)
	for i := 0; i < c.Len(); i += step {
		if math.IsInf(c.Rough[i], 1) {
			continue
		}
		p := c.Points[i].Sub(b.centre)
		image := m.mirror(p)
		k, ok := c.Nearest(image.Add(b.centre))
		if !ok || math.IsInf(c.Rough[k], 1) {
			continue
		}
		n := c.Normals[k]
		if math.Abs(m.turn(c.Normals[i]).Dot(n)) < alike {
			continue
		}
		off := image.Sub(c.Points[k].Sub(b.centre))
		r := n.Dot(off)
		// An image beside the other's neighbourhood lies over a hole or beyond
		// an edge.
		if aside := off.Sub(n.Mul(r)).Norm(); aside > 1.5*c.Spacing {
			continue
		}
		h, square := m.height(p), n.Dot(m.n)
		visit(match{
			sample: i, at: p, r: r,
			weight: 1 / (1 + c.Rough[i]*c.Rough[i] + c.Rough[k]*c.Rough[k]),
			j: [unknowns]float64{
				-4 / b.size * (e1.Dot(p)*square + h*n.Dot(e1)),
				-4 / b.size * (e2.Dot(p)*square + h*n.Dot(e2)),
				2 * square,
			},
		})
	}
}

// biweight is Tukey's weight for a residual: 1 at 0, falling to 0 at c and
// beyond.
func biweight(r, c float64) float64 {
	t := r / c
	if t = 1 - t*t; t <= 0 {
		return 0
	}
	return t * t
}

// refine moves a plane to where the body matches its mirror image best, point
// to plane, residuals beyond 3 scale left out. With fixed, only its offset
// moves. It stops when it stands still or after the given steps. The method is
// that of Chen and Medioni, with the plane itself as the unknown in place of a
// rigid motion (from memory; references.md G for the residual).
func (b *body) refine(m plane, c *cloud.Cloud, step int, scale float64, steps int, fixed bool) plane {
	still := scale * 1e-3 // mm
	for range steps {
		s := system{n: unknowns}
		if fixed {
			s.n = 1
		}
		b.matches(m, c, step, func(k match) {
			w := k.weight * biweight(k.r, 3*scale)
			if fixed {
				k.j[0] = k.j[2]
			}
			s.add(k.j, k.r, w)
		})
		x, ok := s.solve()
		if !ok {
			return m
		}
		if fixed {
			x[0], x[1], x[2] = 0, 0, x[0]
		}
		// A step stays within what the linear rows are good for.
		most := max(math.Abs(x[0]), math.Abs(x[1]), math.Abs(x[2]))
		if limit := b.size / 20; most > limit {
			for a := range x {
				x[a] *= limit / most
			}
		}
		e1, e2 := across(m.n)
		m.n = m.n.Add(e1.Mul(x[0] * 2 / b.size)).Add(e2.Mul(x[1] * 2 / b.size)).Normalize()
		m.d += x[2]
		if most < still {
			break
		}
	}
	return m
}

// agreement returns how well a body matches its mirror image, 0 to 1: the share
// of samples with a counterpart, those 15 mm off its plane counted as 0.6.
func (b *body) agreement(m plane, c *cloud.Cloud, step int) float64 {
	const soft = 15.0 // mm; bodies are made and worn to about that
	sum := 0.0
	b.matches(m, c, step, func(k match) { sum += math.Exp(-k.r * k.r / (2 * soft * soft)) })
	return sum / float64((c.Len()+step-1)/step)
}

// fit is a mirror plane with what the data say about it.
type fit struct {
	plane
	agreement float64
	residual  float64 // median distance of images with a counterpart, mm
	overlap   float64 // share of samples with a counterpart
	angle     float64 // one sigma of the plane's direction, radians; +Inf: not determined
	offset    float64 // one sigma of its offset, mm
}

// tolerance is how far off its counterpart's plane an image may lie, mm: noise
// of both, and 8 mm for what is never quite alike.
func (b *body) tolerance() float64 { return max(8, 4*b.noise) }

// measure judges a plane.
func (b *body) measure(m plane) fit {
	f := fit{plane: m, agreement: b.agreement(m, b.fine, 1), angle: math.Inf(1), offset: math.Inf(1)}
	blocks, limit := b.blocks(), b.tolerance()
	s := system{n: unknowns}
	var off []float64
	var parts [][unknowns]float64
	b.matches(m, b.fine, 1, func(k match) {
		if math.Abs(k.r) > limit {
			return
		}
		off = append(off, math.Abs(k.r))
		w := k.weight * biweight(k.r, limit)
		s.add(k.j, k.r, w)
		// A place and its image are one piece of evidence: both sides' blocks
		// are one.
		at := k.at
		if m.height(at) < 0 {
			at = m.mirror(at)
		}
		n := blocks.of(at)
		if n == len(parts) {
			parts = append(parts, [unknowns]float64{})
		}
		for a := range unknowns {
			parts[n][a] += w * k.j[a] * k.r
		}
	})
	f.overlap = float64(len(off)) / float64(b.fine.Len())
	if len(off) == 0 {
		return f
	}
	f.residual = quantile(off, 0.5)
	if sigma, ok := s.sigmas(parts); ok && len(parts) > 2*unknowns {
		f.angle = 2 / b.size * math.Hypot(sigma[0], sigma[1])
		f.offset = sigma[2]
	}
	return f
}

// Figures of the search for a mirror plane. Directions are 5 degrees apart,
// offsets a hundredth of the body's size, 30 mm on a cabin: well within what the
// refinement draws in. The body's middle may be off its mirror plane by fifteen
// such steps when parts of one side are missing. Planes closer than sameAngle and sameOffset are one answer.
const (
	directions = 700
	offsetStep = 0.01 // of the body's size
	reach      = 15
	tries      = 10 // planes that are refined
	glance     = 250
	sameAngle  = 6 * math.Pi / 180
	sameOffset = 60.0 // mm
)

// schedule is the scale, mm, of each round of refinement of a try.
var schedule = [...]float64{40, 25, 15}

// mirrors returns the best mirror planes found, no two alike, best first; at
// most two, at least one.
func (b *body) mirrors(ctx context.Context) ([]fit, error) {
	starts := b.starts()
	var found []fit
	for _, m := range starts {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for _, scale := range schedule {
			m = b.refine(m, b.thin, 1, scale, 6, false)
		}
		found = append(found, fit{plane: m, agreement: b.agreement(m, b.thin, 1)})
	}
	slices.SortStableFunc(found, func(x, y fit) int { return compare(y.agreement, x.agreement) })
	var best []fit
	for _, f := range found {
		if len(best) > 0 && !f.apart(best[0].plane, sameAngle, sameOffset) {
			continue
		}
		m := b.refine(f.plane, b.fine, 4, 12, 6, false)
		if len(best) == 0 {
			m = b.refine(m, b.fine, 1, b.tolerance()/2, 12, false)
		}
		best = append(best, b.measure(m))
		if len(best) == 2 {
			break
		}
	}
	slices.SortStableFunc(best, func(x, y fit) int { return compare(y.agreement, x.agreement) })
	return best, nil
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// starts returns the planes at which a coarse map of the body lies best on its
// mirror image.
func (b *body) starts() []plane {
	near := b.newProximity()
	step := max(1, b.thin.Len()/glance)
	var points []r3.Vector
	for i := 0; i < b.thin.Len(); i += step {
		points = append(points, b.thin.Points[i].Sub(b.centre))
	}
	type try struct {
		plane
		score float64
	}
	var all []try
	for k := range directions {
		// A Fibonacci lattice: equal areas of the upper half sphere, turned by
		// the golden angle from one to the next.
		z := 1 - (float64(k)+0.5)/directions
		turn := float64(k) * math.Pi * (3 - math.Sqrt(5))
		r := math.Sqrt(1 - z*z)
		best := try{score: -1}
		m := plane{n: r3.Vector{X: r * math.Cos(turn), Y: r * math.Sin(turn), Z: z}}
		for o := -reach; o <= reach; o++ {
			m.d = float64(o) * offsetStep * b.size
			sum := 0.0
			for _, p := range points {
				sum += near.at(m.mirror(p))
			}
			if sum > best.score {
				best = try{m, sum}
			}
		}
		all = append(all, best)
	}
	slices.SortStableFunc(all, func(x, y try) int { return compare(y.score, x.score) })
	var starts []plane
	for _, t := range all {
		alone := true
		for _, s := range starts {
			alone = alone && t.apart(s, 2*sameAngle, 2*sameOffset)
		}
		if alone {
			starts = append(starts, t.plane)
		}
		if len(starts) == tries {
			break
		}
	}
	return starts
}

// offsets returns the best mirror plane with the given direction.
func (b *body) offsets(n r3.Vector) fit {
	best := fit{agreement: -1}
	for o := -reach; o <= reach; o++ {
		m := plane{n, float64(o) * offsetStep * b.size}
		if a := b.agreement(m, b.thin, 1); a > best.agreement {
			best = fit{plane: m, agreement: a}
		}
	}
	m := best.plane
	for _, scale := range schedule {
		m = b.refine(m, b.thin, 1, scale, 6, true)
	}
	m = b.refine(m, b.fine, 1, b.tolerance()/2, 12, true)
	return b.measure(m)
}

// proximity is a coarse map of how near to a body's surface a place is.
type proximity struct {
	corner r3.Vector // of cell 0, from the centre
	cell   float64   // mm
	n      [3]int
	value  []float32 // 1 at the surface, 0 from nearCells cells on
}

const (
	mapCells  = 72 // along the diagonal
	nearCells = 3
)

func (b *body) newProximity() *proximity {
	lo, hi := b.box()
	q := &proximity{cell: b.size / mapCells}
	margin := r3.Vector{X: 1, Y: 1, Z: 1}.Mul(nearCells * q.cell)
	q.corner = lo.Sub(b.centre).Sub(margin)
	size := hi.Sub(lo).Add(margin.Mul(2))
	q.n = [3]int{int(size.X/q.cell) + 1, int(size.Y/q.cell) + 1, int(size.Z/q.cell) + 1}
	q.value = make([]float32, q.n[0]*q.n[1]*q.n[2])
	for i := 0; i < b.fine.Len(); i += 3 {
		p := b.fine.Points[i].Sub(b.centre).Sub(q.corner).Mul(1 / q.cell)
		at := [3]int{int(math.Floor(p.X)), int(math.Floor(p.Y)), int(math.Floor(p.Z))}
		for x := max(0, at[0]-nearCells); x <= min(q.n[0]-1, at[0]+nearCells); x++ {
			for y := max(0, at[1]-nearCells); y <= min(q.n[1]-1, at[1]+nearCells); y++ {
				for z := max(0, at[2]-nearCells); z <= min(q.n[2]-1, at[2]+nearCells); z++ {
					d := r3.Vector{X: float64(x) + 0.5, Y: float64(y) + 0.5, Z: float64(z) + 0.5}.Sub(p).Norm()
					v := &q.value[(x*q.n[1]+y)*q.n[2]+z]
					*v = max(*v, float32(1-d/nearCells))
				}
			}
		}
	}
	return q
}

// at returns the nearness of a place given from the centre.
func (q *proximity) at(p r3.Vector) float64 {
	x := int(math.Floor((p.X - q.corner.X) / q.cell))
	y := int(math.Floor((p.Y - q.corner.Y) / q.cell))
	z := int(math.Floor((p.Z - q.corner.Z) / q.cell))
	if x < 0 || y < 0 || z < 0 || x >= q.n[0] || y >= q.n[1] || z >= q.n[2] {
		return 0
	}
	return float64(q.value[(x*q.n[1]+y)*q.n[2]+z])
}
