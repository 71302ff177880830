package fit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/tube"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// The truth of these tests is closed-form geometry (distance to a box, a
// cylinder, a torus, a triangle) sampled far more densely than the certificate
// does; nothing of the certificate is used to get it.

// analytic is a shell with a closed-form closest point.
type analytic struct {
	name    string
	closest func(p r3.Vector) r3.Vector
	inside  func(p r3.Vector) bool
}

func (a analytic) ClosestFrom(p r3.Vector, _ int32) mesh.Hit {
	q := a.closest(p)
	return mesh.Hit{Point: q, Distance: p.Sub(q).Norm()}
}

// boxShell is the surface of the box with the given half sizes.
func boxShell(h r3.Vector) analytic {
	in := func(p r3.Vector) bool {
		return math.Abs(p.X) < h.X && math.Abs(p.Y) < h.Y && math.Abs(p.Z) < h.Z
	}
	return analytic{"box", func(p r3.Vector) r3.Vector {
		q := r3.Vector{
			X: math.Copysign(min(math.Abs(p.X), h.X), p.X),
			Y: math.Copysign(min(math.Abs(p.Y), h.Y), p.Y),
			Z: math.Copysign(min(math.Abs(p.Z), h.Z), p.Z),
		}
		if in(p) {
			switch gx, gy, gz := h.X-math.Abs(p.X), h.Y-math.Abs(p.Y), h.Z-math.Abs(p.Z); {
			case gx <= gy && gx <= gz:
				q.X = math.Copysign(h.X, p.X)
			case gy <= gz:
				q.Y = math.Copysign(h.Y, p.Y)
			default:
				q.Z = math.Copysign(h.Z, p.Z)
			}
		}
		return q
	}, in}
}

// cylinderShell is the infinite cylinder about the x axis.
func cylinderShell(radius float64) analytic {
	return analytic{"cylinder", func(p r3.Vector) r3.Vector {
		rho := math.Hypot(p.Y, p.Z)
		if rho == 0 {
			return r3.Vector{X: p.X, Y: radius}
		}
		return r3.Vector{X: p.X, Y: p.Y * radius / rho, Z: p.Z * radius / rho}
	}, func(p r3.Vector) bool { return math.Hypot(p.Y, p.Z) < radius }}
}

// torusShell is the torus about the x axis.
func torusShell(ring, radius float64) analytic {
	return analytic{"torus", func(p r3.Vector) r3.Vector {
		rho := math.Hypot(p.Y, p.Z)
		c := r3.Vector{Y: ring}
		if rho > 0 {
			c = r3.Vector{Y: p.Y * ring / rho, Z: p.Z * ring / rho}
		}
		d := p.Sub(c)
		if d.Norm() == 0 {
			return c.Add(r3.Vector{X: radius})
		}
		return c.Add(d.Mul(radius / d.Norm()))
	}, func(p r3.Vector) bool { return math.Hypot(p.X, math.Hypot(p.Y, p.Z)-ring) < radius }}
}

// triangles is a surface searched triangle by triangle.
type triangles struct{ *mesh.Mesh }

func (s triangles) ClosestFrom(p r3.Vector, _ int32) mesh.Hit {
	best := mesh.Hit{Distance: math.Inf(1), Triangle: -1}
	for i := range s.Triangles {
		a, b, c := s.Corners(i)
		q := onTriangle(p, a, b, c)
		if d := p.Sub(q).Norm(); d < best.Distance {
			best = mesh.Hit{Point: q, Distance: d, Triangle: int32(i)}
		}
	}
	return best
}

// onTriangle returns the point of a triangle closest to p: the foot of the
// perpendicular if it is in the triangle, else the closest point of an edge.
func onTriangle(p, a, b, c r3.Vector) r3.Vector {
	n := b.Sub(a).Cross(c.Sub(a))
	if n.Norm2() > 0 {
		q := p.Sub(n.Mul(p.Sub(a).Dot(n) / n.Norm2()))
		if b.Sub(a).Cross(q.Sub(a)).Dot(n) >= 0 && c.Sub(b).Cross(q.Sub(b)).Dot(n) >= 0 && a.Sub(c).Cross(q.Sub(c)).Dot(n) >= 0 {
			return q
		}
	}
	best, least := a, math.Inf(1)
	for _, e := range [][2]r3.Vector{{a, b}, {b, c}, {c, a}} {
		d := e[1].Sub(e[0])
		t := 0.0
		if d.Norm2() > 0 {
			t = min(max(p.Sub(e[0]).Dot(d)/d.Norm2(), 0), 1)
		}
		q := e[0].Add(d.Mul(t))
		if w := p.Sub(q).Norm(); w < least {
			best, least = q, w
		}
	}
	return best
}

// least returns the minimum of a function with the given Lipschitz constant on
// [lo, hi], at most 0.002 above the true one, by dense sampling: every 0.2 mm,
// then every 0.004 / lipschitz mm wherever the minimum can still be.
func least(f func(float64) float64, lo, hi, lipschitz float64) float64 {
	n := int(math.Ceil((hi-lo)/0.2)) + 1
	h := (hi - lo) / float64(n)
	values := make([]float64, n+1)
	best := math.Inf(1)
	for i := range values {
		values[i] = f(lo + h*float64(i))
		best = min(best, values[i])
	}
	fine := int(math.Ceil(h * lipschitz / 0.004))
	for i := 0; i < n; i++ {
		if (values[i]+values[i+1]-lipschitz*h)/2 > best {
			continue
		}
		for k := 1; k < fine; k++ {
			best = min(best, f(lo+h*(float64(i)+float64(k)/float64(fine))))
		}
	}
	return best
}

const slack = 0.0021 // what least may be off, and rounding

// checkCertificate compares a certificate with dense sampling.
func checkCertificate(t *testing.T, p *tube.Path, r Requirement, s Surface, inside func(r3.Vector) bool) Certificate {
	t.Helper()
	c := Certify(p, r, s, inside)
	distance := func(x float64) float64 {
		at, _ := p.At(x)
		d := s.ClosestFrom(at, -1).Distance
		if inside != nil && !inside(at) {
			return -d
		}
		return d
	}

	lo, hi := 0.0, p.Length
	zone := math.Inf(1)
	if r.Landing > 0 {
		zone = r.Full() / math.Sin(float64(r.Landing))
	}
	if r.Feet[0] {
		lo = zone
	}
	if r.Feet[1] {
		hi = p.Length - zone
	}
	if lo < hi {
		truth := least(distance, lo, hi, 1) - r.Radius
		assert.LessOrEqual(t, c.CertifiedMin, truth, "never above the true minimum")
		assert.GreaterOrEqual(t, c.CertifiedMin, truth-Resolution-slack, "at most 0.01 mm below")
		at, _ := p.At(c.WorstS)
		assert.Less(t, at.Sub(c.WorstAt).Norm(), 1e-9)
		assert.InDelta(t, truth, distance(c.WorstS)-r.Radius, Resolution+slack, "the place named")
	} else {
		assert.Equal(t, r.Clearance-c.Deficit, c.CertifiedMin)
	}

	// The requirement, as design.md section 4 words it: foot by foot, then the
	// rest. In the middle between two feet whose zones meet, the nearer counts.
	truth := math.Inf(-1)
	for end, foot := range r.Feet {
		if !foot {
			continue
		}
		from, to := 0.0, min(zone, p.Length)
		if r.Feet[1-end] {
			to = min(to, p.Length/2)
		}
		if end == 1 {
			from, to = p.Length-to, p.Length
		}
		spare := func(s float64) float64 {
			x := s
			if end == 1 {
				x = p.Length - s
			}
			return distance(s) - (x*math.Sin(float64(r.Landing)) - r.FootAllowance)
		}
		truth = max(truth, -least(spare, from, to, 2))
	}
	if lo < hi {
		truth = max(truth, r.Full()-least(distance, lo, hi, 1))
	}
	assert.GreaterOrEqual(t, c.Deficit, truth, "never below the true deficit")
	assert.LessOrEqual(t, c.Deficit, truth+Resolution+slack, "at most 0.01 mm above")

	lo, hi = 0, p.Length
	if r.Feet[0] || r.Landed[0] {
		lo = 4 * r.Radius
	}
	if r.Feet[1] || r.Landed[1] {
		hi = p.Length - 4*r.Radius
	}
	if lo < hi {
		n := 20000
		sum, square, most, small := 0.0, 0.0, math.Inf(-1), math.Inf(1)
		for i := 0; i < n; i++ {
			g := distance(lo+(hi-lo)*(float64(i)+0.5)/float64(n)) - r.Radius
			sum += g
			square += (g - r.Clearance) * (g - r.Clearance)
			most, small = max(most, g), min(small, g)
		}
		h := (hi - lo) / float64(n)
		assert.InDelta(t, sum/float64(n), c.Mean, meanTol+h/4)
		assert.InDelta(t, math.Sqrt(square/float64(n)), c.RMSOver, 2*meanTol+h)
		assert.InDelta(t, most, c.Max, 0.1+h)
		assert.InDelta(t, small, c.Min, Resolution+h)
	}
	return c
}

// randomPath joins points of a box with half sizes h, n nodes, R 150.
func randomPath(rng *rand.Rand, h r3.Vector, n int) *tube.Path {
	for {
		nodes := make([]r3.Vector, n)
		for i := range nodes {
			nodes[i] = r3.Vector{X: h.X * (2*rng.Float64() - 1), Y: h.Y * (2*rng.Float64() - 1), Z: h.Z * (2*rng.Float64() - 1)}
		}
		if p, err := tube.NewPath(nodes, 150); err == nil {
			return p
		}
	}
}

func randomRequirement(rng *rand.Rand) Requirement {
	return Requirement{
		Radius: 19 + 6*rng.Float64(), Clearance: 20 * rng.Float64(),
		Feet:          [2]bool{rng.IntN(2) == 0, rng.IntN(3) == 0},
		Landed:        [2]bool{rng.IntN(3) == 0, rng.IntN(3) == 0},
		Landing:       s1.Angle(10+70*rng.Float64()) * s1.Degree,
		FootAllowance: float64(rng.IntN(2)) * 3,
	}
}

// rounds returns how many random cases to try: few, or with BARWRIGHT_FULL=1
// as many as the full counts ask.
func rounds(few, full int) int {
	if os.Getenv("BARWRIGHT_FULL") != "" {
		return full
	}
	return few
}

func TestCertifyAnalytic(t *testing.T) {
	shells := []analytic{
		boxShell(r3.Vector{X: 900, Y: 600, Z: 500}),
		cylinderShell(620),
		torusShell(700, 400),
	}
	for _, shell := range shells {
		t.Run(shell.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 2))
			for i := range rounds(25, 600) {
				// Paths inside, paths that stick out, short and long ones.
				h := r3.Vector{X: 800, Y: 500, Z: 450}
				if i%3 == 1 {
					h = h.Mul(1.6)
				}
				p := randomPath(rng, h, 2+rng.IntN(4))
				checkCertificate(t, p, randomRequirement(rng), shell, shell.inside)
			}
		})
	}
}

// Bars that do what fitted bars do: run along walls at a constant gap, with feet
// on the floor. A box room 1200 wide and 1000 high, its floor at z = -500.
func TestCertifyHuggingHoop(t *testing.T) {
	room := boxShell(r3.Vector{X: 900, Y: 600, Z: 500})
	for _, off := range []float64{22.225 + 8, 22.225 + 12, 22.225 + 11.9, 22.225 + 40} {
		nodes := []r3.Vector{{Y: -600 + off, Z: -500}, {Y: -600 + off, Z: 500 - off}, {Y: 600 - off, Z: 500 - off}, {Y: 600 - off, Z: -500}}
		p, err := tube.NewPath(nodes, 152.4)
		require.NoError(t, err)
		r := Requirement{Radius: 22.225, Clearance: 12, Feet: [2]bool{true, true}, Landing: 30 * s1.Degree}
		c := checkCertificate(t, p, r, room, room.inside)
		assert.InDelta(t, off-22.225, c.Min, 1e-9, "the gap is known: the offset of the hoop")
		assert.InDelta(t, off-22.225, c.CertifiedMin, Resolution)
		assert.False(t, c.Outside)
		if off >= 34.225 {
			assert.LessOrEqual(t, c.Deficit, Resolution, "requirement met everywhere, feet included")
		}
		assert.Less(t, c.Queries, 6000)
	}
}

// A foot that meets the floor at exactly the landing angle meets its requirement
// with equality all along the foot zone.
func TestCertifyFootAtLandingAngle(t *testing.T) {
	room := boxShell(r3.Vector{X: 900, Y: 600, Z: 500})
	for _, degrees := range []float64{29, 30, 31} {
		a := degrees * math.Pi / 180
		p, err := tube.NewPath([]r3.Vector{{X: -300, Z: -500}, {X: -300 + 600*math.Cos(a), Z: -500 + 600*math.Sin(a)}}, 0)
		require.NoError(t, err)
		r := Requirement{Radius: 22, Clearance: 12, Feet: [2]bool{true, false}, Landing: 30 * s1.Degree}
		c := checkCertificate(t, p, r, room, room.inside)
		// The zone ends 68 mm from the foot, where 34 mm are required.
		want := max(0, 34-68*math.Sin(a))
		assert.InDelta(t, want, c.Deficit, Resolution)
	}
}

// A path through the shell and out again is never clear, however small the
// tube, and what is beyond counts negative.
func TestCertifyThroughShell(t *testing.T) {
	room := boxShell(r3.Vector{X: 900, Y: 600, Z: 500})
	p, err := tube.NewPath([]r3.Vector{{Y: 0}, {Y: 800}}, 0)
	require.NoError(t, err)
	c := checkCertificate(t, p, Requirement{Radius: 1}, room, room.inside)
	assert.InDelta(t, -201, c.CertifiedMin, Resolution)
	assert.True(t, c.Outside)
	assert.Equal(t, r3.Vector{Y: 800}, c.OutsideAt)

	// Even with an inside test that is no use at all.
	blind := Certify(p, Requirement{Radius: 1}, room, nil)
	assert.Less(t, blind.CertifiedMin, -0.99)

	// A thin fin: both sides of it are in the cabin.
	fin := triangles{&mesh.Mesh{
		Vertices:  []r3.Vector{{X: -1, Y: 300.3, Z: -1}, {X: 2, Y: 300.3, Z: -1}, {X: -1, Y: 300.3, Z: 2}},
		Triangles: [][3]int32{{0, 1, 2}},
	}}
	c = Certify(p, Requirement{Radius: 20, Clearance: 5}, fin, nil)
	assert.InDelta(t, -20, c.CertifiedMin, Resolution)
	assert.LessOrEqual(t, c.CertifiedMin, -20.0)
	assert.InDelta(t, 300.3, c.WorstAt.Y, Resolution)
	assert.False(t, c.Outside)
}

// A way out through an open hole meets no surface; the inside test tells.
func TestCertifyOutThroughHole(t *testing.T) {
	// Four walls of a box, open at the end y = 600.
	m := &mesh.Mesh{}
	quad := func(a, b, c, d r3.Vector) {
		n := int32(len(m.Vertices))
		m.Vertices = append(m.Vertices, a, b, c, d)
		m.Triangles = append(m.Triangles, [3]int32{n, n + 1, n + 2}, [3]int32{n, n + 2, n + 3})
	}
	for _, z := range []float64{-300, 300} {
		quad(r3.Vector{X: -300, Y: -600, Z: z}, r3.Vector{X: 300, Y: -600, Z: z}, r3.Vector{X: 300, Y: 600, Z: z}, r3.Vector{X: -300, Y: 600, Z: z})
		quad(r3.Vector{X: z, Y: -600, Z: -300}, r3.Vector{X: z, Y: -600, Z: 300}, r3.Vector{X: z, Y: 600, Z: 300}, r3.Vector{X: z, Y: 600, Z: -300})
	}
	inside := func(p r3.Vector) bool { return p.Y < 600 }
	p, err := tube.NewPath([]r3.Vector{{Y: -400}, {Y: 700}}, 0)
	require.NoError(t, err)
	c := Certify(p, Requirement{Radius: 20, Clearance: 10}, triangles{m}, inside)
	assert.True(t, c.Outside)
	assert.InDelta(t, 700, c.OutsideAt.Y, 1e-9)
	// Deepest outside: 316.2 mm from the rim's nearest edge.
	assert.InDelta(t, -math.Hypot(300, 100)-20, c.CertifiedMin, Resolution)

	// With a wall in front of the hole, the path is deepest outside as it leaves,
	// and more air is around it before.
	quad(r3.Vector{X: -900, Y: 760, Z: -900}, r3.Vector{X: 900, Y: 760, Z: -900}, r3.Vector{X: 900, Y: 760, Z: 900}, r3.Vector{X: -900, Y: 760, Z: 900})
	p, err = tube.NewPath([]r3.Vector{{Y: -400}, {Y: 700, Z: 100}}, 0)
	require.NoError(t, err)
	truth := 0.0
	for x := 0.0; x <= p.Length; x += 0.01 {
		at, _ := p.At(x)
		if !inside(at) {
			truth = min(truth, -triangles{m}.ClosestFrom(at, -1).Distance)
		}
	}
	c = Certify(p, Requirement{Radius: 20, Clearance: 10}, triangles{m}, inside)
	assert.True(t, c.Outside)
	assert.InDelta(t, 600, c.OutsideAt.Y, baseStep)
	assert.LessOrEqual(t, c.CertifiedMin, truth-20)
	assert.GreaterOrEqual(t, c.CertifiedMin, truth-20-Resolution-0.01)
}

// points is a cloud of points as a surface: the sharpest there is.
type points []r3.Vector

func (s points) ClosestFrom(p r3.Vector, _ int32) mesh.Hit {
	best := mesh.Hit{Distance: math.Inf(1), Triangle: -1}
	for i, q := range s {
		if d := p.Sub(q).Norm(); d < best.Distance {
			best = mesh.Hit{Point: q, Distance: d, Triangle: int32(i)}
		}
	}
	return best
}

// Tips of spikes beside the path, whose distances are closed form.
func TestCertifyPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	for range rounds(200, 5000) {
		p := randomPath(rng, r3.Vector{X: 800, Y: 500, Z: 450}, 2+rng.IntN(3))
		var s points
		truth := math.Inf(1)
		for range 1 + rng.IntN(20) {
			at, _ := p.At(p.Length * rng.Float64())
			at = at.Add(r3.Vector{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Mul(20))
			s = append(s, at)
			_, d := p.Closest(at)
			truth = min(truth, d)
		}
		c := Certify(p, Requirement{}, s, nil)
		require.LessOrEqual(t, c.CertifiedMin, truth)
		require.GreaterOrEqual(t, c.CertifiedMin, truth-Resolution)
		require.InDelta(t, truth, c.Min, Resolution)
	}
}

func TestCertifyOddCases(t *testing.T) {
	room := boxShell(r3.Vector{X: 900, Y: 600, Z: 500})
	short, err := tube.NewPath([]r3.Vector{{X: 0, Z: -500}, {X: 30, Z: -480}, {X: 60, Z: -500}}, 25)
	require.NoError(t, err)
	r := Requirement{Radius: 22, Clearance: 12, Feet: [2]bool{true, true}, Landing: 30 * s1.Degree}
	c := checkCertificate(t, short, r, room, room.inside)
	assert.Equal(t, c.Min, c.Max, "judged at one point")
	assert.False(t, math.IsNaN(c.Mean) || math.IsInf(c.CertifiedMin, 0))

	// A landing angle of 0 asks nothing of a bar with a foot.
	r.Landing = 0
	c = Certify(short, r, room, room.inside)
	assert.LessOrEqual(t, c.Deficit, Resolution)

	// No surface at all.
	c = Certify(short, r, triangles{&mesh.Mesh{}}, nil)
	assert.True(t, math.IsInf(c.CertifiedMin, 1))
	assert.False(t, math.IsNaN(c.Mean))

	// On the surface along its whole length: settled, not searched for ever.
	flat, err := tube.NewPath([]r3.Vector{{X: -400, Z: -500}, {X: 400, Z: -500}}, 0)
	require.NoError(t, err)
	c = Certify(flat, Requirement{Radius: 22, Clearance: 12}, room, room.inside)
	assert.InDelta(t, -22, c.CertifiedMin, Resolution)
}

// Random lumpy meshes, some with slivers and needles.
func TestCertifyRandomMesh(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range rounds(8, 200) {
		m := lump(rng, 10, 5)
		s := triangles{m}
		p := randomPath(rng, r3.Vector{X: 700, Y: 500, Z: 500}, 2+rng.IntN(3))
		r := randomRequirement(rng)
		inside := func(q r3.Vector) bool { return oddCrossings(m, q) }
		checkCoarse(t, p, r, s, inside)
	}
}

// checkCoarse is the clearance part of checkCertificate for surfaces that are
// slow to ask.
func checkCoarse(t *testing.T, p *tube.Path, r Requirement, s Surface, inside func(r3.Vector) bool) {
	t.Helper()
	r.Feet = [2]bool{}
	c := Certify(p, r, s, inside)
	d := func(x float64) float64 {
		at, _ := p.At(x)
		h := s.ClosestFrom(at, -1).Distance
		if !inside(at) {
			h = -h
		}
		return h
	}
	n := 400
	h := p.Length / float64(n)
	best, where := math.Inf(1), 0.0
	for i := range n + 1 {
		if v := d(h * float64(i)); v < best {
			best, where = v, h*float64(i)
		}
	}
	truth := least(d, max(0, where-h), min(p.Length, where+h), 1)
	assert.LessOrEqual(t, c.CertifiedMin+r.Radius, truth+1e-9)
	// The search above is local: the certificate may know a lower place.
	at := d(c.WorstS)
	assert.GreaterOrEqual(t, c.CertifiedMin+r.Radius, min(truth, at)-Resolution-slack)
	assert.LessOrEqual(t, math.Abs(at-c.CertifiedMin-r.Radius), Resolution+slack)
}

// lump is a closed lumpy sphere of about 600 mm, n x 2n cells; stretch pulls its
// cells apart unevenly.
func lump(rng *rand.Rand, n int, lumps float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	phase := [4]float64{rng.Float64() * 6, rng.Float64() * 6, rng.Float64() * 6, rng.Float64() * 6}
	point := func(i, j int) r3.Vector {
		u := math.Pi * math.Pow(float64(i)/float64(n), 1.3)
		v := 2 * math.Pi * float64(j%(2*n)) / float64(2*n)
		if i == 0 || i == n {
			v = 0
		}
		r := 600 + 90*math.Sin(2*u+phase[0])*math.Sin(lumps*v+phase[1]) + 40*math.Sin(5*u+phase[2])*math.Cos(v+phase[3])
		if i == 0 || i == n {
			r = 600
		}
		return r3.Vector{X: r * math.Cos(u), Y: r * math.Sin(u) * math.Cos(v), Z: r * math.Sin(u) * math.Sin(v)}
	}
	for i := range n {
		for j := range 2 * n {
			k := int32(len(m.Vertices))
			m.Vertices = append(m.Vertices, point(i, j), point(i+1, j), point(i+1, j+1), point(i, j+1))
			if i+1 < n {
				m.Triangles = append(m.Triangles, [3]int32{k, k + 1, k + 2})
			}
			if i > 0 {
				m.Triangles = append(m.Triangles, [3]int32{k, k + 2, k + 3})
			}
		}
	}
	return m
}

// oddCrossings is the parity rule along an odd direction.
func oddCrossings(m *mesh.Mesh, p r3.Vector) bool {
	dir := r3.Vector{X: 0.5377, Y: 0.3188, Z: 0.7801}
	odd := false
	for i := range m.Triangles {
		a, b, c := m.Corners(i)
		e, f := b.Sub(a), c.Sub(a)
		h := dir.Cross(f)
		det := e.Dot(h)
		if det == 0 {
			continue
		}
		q := p.Sub(a)
		u := q.Dot(h) / det
		g := q.Cross(e)
		v := dir.Dot(g) / det
		if u >= 0 && v >= 0 && u+v <= 1 && f.Dot(g)/det > 0 {
			odd = !odd
		}
	}
	return odd
}

func TestRequirement(t *testing.T) {
	r := Requirement{Radius: 22, Clearance: 12, Feet: [2]bool{true, false}, Landed: [2]bool{false, true}, Landing: 30 * s1.Degree}
	assert.InDelta(t, 0, r.At(0, 1000), 1e-12)
	assert.InDelta(t, 17, r.At(34, 1000), 1e-12)
	assert.InDelta(t, 34, r.At(69, 1000), 1e-12)
	assert.InDelta(t, 34, r.At(1000, 1000), 1e-12, "a landed end is not exempt")
	assert.True(t, r.InFootZone(67.9, 1000))
	assert.False(t, r.InFootZone(68.1, 1000))
	for s, want := range map[float64]bool{87: false, 89: true, 911: true, 913: false} {
		assert.Equal(t, want, r.Stat(s, 1000), "%g", s)
	}
	r.FootAllowance = 4.5
	assert.InDelta(t, 12.5, r.At(34, 1000), 1e-12)
	assert.InDelta(t, 34, r.At(69, 1000), 1e-12)
	r.Feet[1] = true
	assert.InDelta(t, 12.5, r.At(66, 100), 1e-12, "the nearer foot counts")
	assert.False(t, r.Stat(10, 100))
	assert.True(t, r.Stat(50, 100), "a short bar is judged at its middle")
}

// A hoop along the walls of a room, the most work there is: its straights are
// at one distance from the shell all along. With the inside test of a prepared
// shell.
func BenchmarkCertify(b *testing.B) {
	for _, size := range []int{50, 200, 1000} {
		b.Run(fmt.Sprintf("%dk", size), func(b *testing.B) {
			// The room's 12.5 m2 in triangles of edge^2 sqrt(3) / 4.
			room := sample.Box(2000, 1300, 1100, math.Sqrt(12.5e6/float64(size*1000)*4/math.Sqrt(3)))
			sh, err := mesh.Prepare(b.Context(), room.Mesh, mesh.PrepareOptions{Seeds: []r3.Vector{room.Centre}})
			if err != nil {
				b.Fatal(err)
			}
			p, err := tube.NewPath(room.Hoop(0, 22.225+12), 152.4)
			if err != nil {
				b.Fatal(err)
			}
			r := Requirement{Radius: 22.225, Clearance: 12, Feet: [2]bool{true, true}, Landing: 30 * s1.Degree}
			queries := 0
			b.ReportAllocs()
			for b.Loop() {
				queries = Certify(p, r, sh.Index, sh.Inside).Queries
			}
			b.ReportMetric(float64(len(room.Mesh.Triangles))/1000, "ktriangles")
			b.ReportMetric(float64(queries), "queries/op")
			b.ReportMetric(p.Length, "mm/op")
		})
	}
}
