package mesh

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// full asks for the counts that the figures in the documentation come from.
var full = os.Getenv("BARWRIGHT_FULL") == "1"

// wavyShell returns a closed shell the size of a car's cabin, of about n
// triangles: crowned panels with rounded corners and waves pressed into them,
// sides that lean in and screens that are raked, square to the car's axes or
// turned by 37 degrees about a skew axis.
func wavyShell(n int, turned bool) *Mesh {
	m := max(1, int(math.Round(math.Sqrt(float64(n)/12))))
	mesh := &Mesh{}
	border := map[[3]int]int32{}
	place := func(i, j, k int) r3.Vector { // lattice of the cube's surface, 0..m
		v := r3.Vector{X: 2*float64(i)/float64(m) - 1, Y: 2*float64(j)/float64(m) - 1, Z: 2*float64(k)/float64(m) - 1}
		p := math.Pow(math.Pow(math.Abs(v.X), 4)+math.Pow(math.Abs(v.Y), 4)+math.Pow(math.Abs(v.Z), 4), 1.0/4)
		v = v.Mul(1 / p)
		wave := 1 + 0.006*math.Sin(9*v.X+2*v.Z) + 0.005*math.Sin(11*v.Y-4*v.X) + 0.003*math.Cos(17*v.Z+5*v.Y)
		lean := 1 - 0.12*v.Z
		w := r3.Vector{X: 1100*v.X*wave*lean - 100*v.Z, Y: 700 * v.Y * wave * lean, Z: 600*v.Z*wave + 600}
		if turned {
			w = turn(w)
		}
		return w
	}
	for face := range 6 {
		index := make([]int32, (m+1)*(m+1))
		for a := range m + 1 {
			for b := range m + 1 {
				var c [3]int
				axis := face / 2
				c[axis], c[(axis+1)%3], c[(axis+2)%3] = (face%2)*m, a, b
				edge := a == 0 || b == 0 || a == m || b == m
				id, ok := int32(0), false
				if edge {
					id, ok = border[c]
				}
				if !ok {
					id = int32(len(mesh.Vertices))
					mesh.Vertices = append(mesh.Vertices, place(c[0], c[1], c[2]))
					if edge {
						border[c] = id
					}
				}
				index[a*(m+1)+b] = id
			}
		}
		for a := range m {
			for b := range m {
				q := [4]int32{index[a*(m+1)+b], index[(a+1)*(m+1)+b], index[(a+1)*(m+1)+b+1], index[a*(m+1)+b+1]}
				mesh.Triangles = append(mesh.Triangles, [3]int32{q[0], q[1], q[2]}, [3]int32{q[0], q[2], q[3]})
			}
		}
	}
	return mesh
}

// turn rotates v by 37 degrees about (1, 2, 3), after Rodrigues.
func turn(v r3.Vector) r3.Vector {
	k := r3.Vector{X: 1, Y: 2, Z: 3}.Normalize()
	s, c := math.Sincos(37 * math.Pi / 180)
	return v.Mul(c).Add(k.Cross(v).Mul(s)).Add(k.Mul(k.Dot(v) * (1 - c)))
}

// slowClosest is the reference: all triangles, in float64, by a method of its
// own. The nearest of: the foot on the plane, exact, and the feet on the sides,
// found by ternary search.
func slowClosest(m *Mesh, p r3.Vector) float64 {
	best := math.Inf(1)
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		best = min(best, slowTriangle(p, a, b, c))
	}
	return best
}

func slowTriangle(p, a, b, c r3.Vector) float64 {
	best := math.Inf(1)
	for _, s := range [3][2]r3.Vector{{a, b}, {b, c}, {c, a}} {
		lo, hi := 0.0, 1.0
		at := func(t float64) float64 { return s[0].Mul(1 - t).Add(s[1].Mul(t)).Sub(p).Norm2() }
		for range 60 {
			third := (hi - lo) / 3
			if at(lo+third) <= at(hi-third) {
				hi -= third
			} else {
				lo += third
			}
		}
		best = min(best, math.Sqrt(at(lo)), math.Sqrt(at(hi)))
	}
	if d, ok := exactFoot(p, a, b, c); ok {
		best = min(best, d)
	}
	return best
}

// exactFoot returns the distance of p from the triangle's plane where the foot
// lies inside it, worked out with enough digits (math/big) to be exact however
// thin the triangle is.
func exactFoot(p, a, b, c r3.Vector) (float64, bool) {
	type vec [3]*big.Float
	num := func(x float64) *big.Float { return new(big.Float).SetPrec(600).SetFloat64(x) }
	zero := func() *big.Float { return num(0) }
	sub := func(a, b r3.Vector) vec {
		return vec{
			zero().Sub(num(a.X), num(b.X)), zero().Sub(num(a.Y), num(b.Y)), zero().Sub(num(a.Z), num(b.Z)),
		}
	}
	cross := func(a, b vec) (r vec) {
		for i := range 3 {
			j, k := (i+1)%3, (i+2)%3
			r[i] = zero().Sub(zero().Mul(a[j], b[k]), zero().Mul(a[k], b[j]))
		}
		return r
	}
	dot := func(a, b vec) *big.Float {
		r := zero()
		for i := range 3 {
			r.Add(r, zero().Mul(a[i], b[i]))
		}
		return r
	}
	n := cross(sub(b, a), sub(c, a))
	nn := dot(n, n)
	if nn.Sign() == 0 {
		return 0, false
	}
	for _, s := range [3][2]r3.Vector{{a, b}, {b, c}, {c, a}} {
		if dot(cross(n, sub(s[1], s[0])), sub(p, s[0])).Sign() < 0 {
			return 0, false
		}
	}
	k := dot(sub(p, a), n)
	d, _ := k.Quo(k.Abs(k), nn.Sqrt(nn)).Float64()
	return d, true
}

// drawSoup draws a mesh of unrelated and related triangles: plain ones, slivers,
// needles, points, and repeats of earlier corners.
func drawSoup(t *rapid.T, offset r3.Vector) *Mesh {
	m := &Mesh{}
	size := rapid.SampledFrom([]float64{1, 50, 2000}).Draw(t, "size")
	coord := rapid.Float64Range(-size, size)
	draw := func(label string) r3.Vector {
		if len(m.Vertices) > 0 && rapid.IntRange(0, 2).Draw(t, label+" shared") == 0 {
			return m.Vertices[rapid.IntRange(0, len(m.Vertices)-1).Draw(t, label)]
		}
		return r3.Vector{X: coord.Draw(t, label), Y: coord.Draw(t, label), Z: coord.Draw(t, label)}.Add(offset)
	}
	for range rapid.IntRange(1, 60).Draw(t, "triangles") {
		a, b, c := draw("a"), draw("b"), draw("c")
		thin := math.Pow(10, -rapid.Float64Range(0, 12).Draw(t, "thin"))
		switch rapid.IntRange(0, 5).Draw(t, "shape") {
		case 0: // sliver: c close to the side
			s := rapid.Float64Range(-0.2, 1.2).Draw(t, "place")
			c = a.Add(b.Sub(a).Mul(s)).Add(c.Sub(a).Mul(thin))
		case 1: // needle: b close to a
			b = a.Add(b.Sub(a).Mul(thin))
		case 2: // no area
			c = a.Add(b.Sub(a).Mul(rapid.Float64Range(0, 1).Draw(t, "place")))
		case 3:
			if rapid.Bool().Draw(t, "point") {
				b, c = a, a
			}
		}
		i := int32(len(m.Vertices))
		m.Vertices = append(m.Vertices, a, b, c)
		m.Triangles = append(m.Triangles, [3]int32{i, i + 1, i + 2})
	}
	return m
}

// drawQuery draws a point anywhere, near a corner, near a side, near or on a
// plane, in between two corners of the mesh, or far away.
func drawQuery(t *rapid.T, m *Mesh) r3.Vector {
	pick := func() (a, b, c r3.Vector) {
		return m.Corners(rapid.IntRange(0, len(m.Triangles)-1).Draw(t, "near"))
	}
	a, b, c := pick()
	unit := rapid.Float64Range(-1, 1)
	off := r3.Vector{X: unit.Draw(t, "x"), Y: unit.Draw(t, "y"), Z: unit.Draw(t, "z")}
	near := math.Pow(10, rapid.Float64Range(-9, 1).Draw(t, "off"))
	s := rapid.Float64Range(0, 1).Draw(t, "s")
	switch rapid.IntRange(0, 6).Draw(t, "where") {
	case 0:
		return a.Add(off.Mul(near))
	case 1:
		return a.Add(b.Sub(a).Mul(s)).Add(off.Mul(near))
	case 2:
		return a.Add(b.Sub(a).Mul(s)).Add(c.Sub(b).Mul(s * rapid.Float64Range(0, 1).Draw(t, "r"))).Add(off.Mul(near))
	case 3:
		d, _, _ := pick()
		return a.Add(d).Mul(0.5)
	case 4:
		return a.Add(off.Mul(1e5))
	case 5:
		return a
	}
	return a.Add(off.Mul(500))
}

func drawMesh(t *rapid.T) *Mesh {
	return drawSoup(t, rapid.SampledFrom([]r3.Vector{{}, {X: 10000, Y: -10000, Z: 10000}, {X: 3e5}}).Draw(t, "offset"))
}

// TestClosestAgainstBruteForce is design.md section 9's "agrees with brute
// force in float64 to 1e-6 mm", and the stronger promise of the same triangle
// whatever the start.
func TestClosestAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t)
		ix := NewIndex(m)
		for range 4 {
			p := drawQuery(t, m)
			want := slowClosest(m, p)
			got := ix.Closest(p)
			// The reference itself is good to about 1e-8 of the size: its
			// ternary search stops at half the digits of the squared distance.
			tol := 1e-6 + 1e-12*p.Norm()
			if math.Abs(got.Distance-want) > tol {
				t.Fatalf("closest to %v: got %v, want %v", p, got, want)
			}
			if d := got.Point.Sub(p).Norm(); d != got.Distance {
				t.Fatalf("point is %v away, distance says %v", d, got.Distance)
			}
			a, b, c := m.Corners(int(got.Triangle))
			if d := slowTriangle(got.Point, a, b, c); d > tol {
				t.Fatalf("the point is %v off its triangle", d)
			}
			brute := none()
			for i := range m.Triangles {
				ix.consider(p, int32(i), &brute)
			}
			if brute != got {
				t.Fatalf("a loop over all triangles gives %v, the tree %v", brute, got)
			}
			if h := newLeanIndex(m).Closest(p); h != got {
				t.Fatalf("lean: %v, want %v", h, got)
			}
			start := int32(rapid.IntRange(-1, len(m.Triangles)).Draw(t, "start"))
			if warm := ix.ClosestFrom(p, start); warm != got {
				t.Fatalf("from %d: %v, cold: %v", start, warm, got)
			}
			if h, ok := ix.ClosestWithin(p, got.Distance*(1+1e-12)+1e-300); !ok || h != got {
				t.Fatalf("within a little more: %v %v, want %v", h, ok, got)
			}
			if h, ok := ix.ClosestWithin(p, got.Distance); ok {
				t.Fatalf("within its own distance: %v", h)
			}
		}
	})
}

// TestSmoothShell does the same on shells large enough for boxes and for
// several levels of discs, at distances a fit asks for.
func TestSmoothShell(t *testing.T) {
	sizes, queries := []int{300, 5000, 80000}, 60
	if full {
		sizes, queries = []int{300, 5000, 80000, 1000000}, 1000
	}
	for _, n := range sizes {
		for _, turned := range []bool{false, true} {
			m := wavyShell(n, turned)
			ix := NewIndex(m)
			lean := newLeanIndex(m)
			var last int32 = -1
			for i, p := range coherentPoints(m, queries) {
				brute := none()
				for t := range m.Triangles {
					ix.consider(p, int32(t), &brute)
				}
				require.Equal(t, brute, ix.Closest(p), "point %d", i)
				require.Equal(t, brute, ix.ClosestFrom(p, last), "point %d", i)
				require.Equal(t, brute, lean.ClosestFrom(p, last), "point %d", i)
				last = brute.Triangle
			}
		}
	}
}

func TestWithinAndAway(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t)
		ix := NewIndex(m)
		p := drawQuery(t, m)
		r := ix.Closest(p).Distance * rapid.Float64Range(0.5, 3).Draw(t, "reach")
		got := map[int32]float64{}
		ix.Within(p, r, func(tri int32, d float64) bool {
			if _, twice := got[tri]; twice {
				t.Fatalf("triangle %d twice", tri)
			}
			got[tri] = d
			return true
		})
		dir := r3.Vector{X: rapid.Float64Range(-1, 1).Draw(t, "x"), Y: 0.1, Z: rapid.Float64Range(-1, 1).Draw(t, "z")}.Normalize()
		angle := s1.Angle(rapid.Float64Range(-0.1, math.Pi).Draw(t, "angle"))
		away := none()
		for i := range m.Triangles {
			a, b, c := m.Corners(i)
			q := closestOnTriangle(p, a, b, c)
			d := q.Sub(p).Norm()
			if _, ok := got[int32(i)]; ok != (d < r) {
				t.Fatalf("triangle %d at %v, reach %v: visited %v", i, d, r, ok)
			}
			if d > 0 && q.Sub(p).Dot(dir) < math.Cos(angle.Radians())*d && d < away.Distance {
				away = Hit{q, d, int32(i)}
			}
		}
		for _, ix := range []*Index{ix, newLeanIndex(m)} {
			if h, ok := ix.ClosestAway(p, dir, angle, math.Inf(1)); h != away || ok != (away.Triangle >= 0) {
				t.Fatalf("away: %v, want %v", h, away)
			}
		}
	})
}

func TestAwayFindsTheSecondWall(t *testing.T) {
	m := wavyShell(20000, false)
	ix := NewIndex(m)
	for _, p := range []r3.Vector{{X: 900, Y: 0, Z: 1100}, {X: 0, Y: 600, Z: 1100}, {X: -950, Y: -550, Z: 700}} {
		first := ix.Closest(p)
		dir := first.Point.Sub(p).Normalize()
		want := none()
		for i := range m.Triangles {
			a, b, c := m.Corners(i)
			q := closestOnTriangle(p, a, b, c)
			if d := q.Sub(p); d.Norm() < want.Distance && d.Angle(dir) > 66*s1.Degree {
				want = Hit{q, d.Norm(), int32(i)}
			}
		}
		got, ok := ix.ClosestAway(p, dir, 66*s1.Degree, math.Inf(1))
		require.True(t, ok)
		require.Equal(t, want, got)
		_, ok = ix.ClosestAway(p, dir, 66*s1.Degree, got.Distance)
		require.False(t, ok)
	}
}

func TestNothingToFind(t *testing.T) {
	p := r3.Vector{X: 1}
	empty := NewIndex(&Mesh{})
	require.Equal(t, none(), empty.Closest(p))
	_, ok := empty.Segment(p, r3.Vector{}, math.Inf(1))
	require.False(t, ok)
	_, ok = empty.Ray(p, p, math.Inf(1))
	require.False(t, ok)

	ix := NewIndex(wavyShell(300, false))
	nan := r3.Vector{X: math.NaN()}
	require.Equal(t, int32(-1), ix.Closest(nan).Triangle)
	_, ok = ix.Segment(nan, p, math.Inf(1))
	require.False(t, ok)
	_, ok = ix.Ray(nan, p, math.Inf(1))
	require.False(t, ok)
	_, ok = ix.Ray(p, r3.Vector{}, math.Inf(1))
	require.False(t, ok)
	_, ok = ix.ClosestWithin(p, math.NaN())
	require.False(t, ok)
	_, ok = ix.ClosestWithin(p, -5)
	require.False(t, ok)
}

// TestHugeAndTiny: figures that float32 can't square are answered all the same.
func TestHugeAndTiny(t *testing.T) {
	for _, scale := range []float64{1e-20, 1e-12, 1e-3, 1e9, 1e13, 1e40} {
		m := wavyShell(300, true)
		for i := range m.Vertices {
			m.Vertices[i] = m.Vertices[i].Mul(scale)
		}
		ix := NewIndex(m)
		for _, at := range []float64{0.1, 1, 1e3, 1e9, 1e20} {
			p := r3.Vector{X: 1000, Y: 700, Z: 900}.Mul(scale * at)
			brute := none()
			for i := range m.Triangles {
				ix.consider(p, int32(i), &brute)
			}
			require.Equal(t, brute, ix.Closest(p), "scale %g at %g", scale, at)
		}
	}
}

// coherentPoints returns n points along smooth curves that wind around inside
// the shell, 5 to 300 mm from it.
func coherentPoints(m *Mesh, n int) []r3.Vector {
	rng := rand.New(rand.NewPCG(5, 6))
	const curve = 400
	points := make([]r3.Vector, 0, n)
	size := m.Bounds().Size().Norm()
	centre := m.Bounds().Min.Add(m.Bounds().Max).Mul(0.5)
	ix := NewIndex(m)
	for len(points) < n {
		// A great circle about the middle, cast outwards to the shell, then
		// held off it by a slowly changing distance; steps of about 5 mm.
		u := r3.Vector{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Normalize()
		v := u.Ortho()
		start, phase := rng.Float64()*2*math.Pi, rng.Float64()*2*math.Pi
		for i := 0; i < curve && len(points) < n; i++ {
			s, c := math.Sincos(start + float64(i)*5/900)
			dir := u.Mul(c).Add(v.Mul(s))
			h, ok := ix.Ray(centre, dir, size)
			if !ok {
				continue
			}
			off := 152.5 - 147.5*math.Cos(phase+float64(i)/60)
			points = append(points, h.Point.Sub(dir.Mul(off)))
		}
	}
	return points
}

func sizeName(n int) string { return fmt.Sprintf("%dk", n/1000) }
