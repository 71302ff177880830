package mesh

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
)

// ball returns a sphere of the given radius as rings by 2 rings triangles,
// normals outward, without those that leave drops.
func ball(radius float64, rings int, leave func(middle r3.Vector) bool) *Mesh {
	m := &Mesh{}
	around := 2 * rings
	for i := 0; i <= rings; i++ {
		polar := math.Pi * float64(i) / float64(rings)
		for j := range around {
			az := 2 * math.Pi * float64(j) / float64(around)
			m.Vertices = append(m.Vertices, r3.Vector{
				X: radius * math.Sin(polar) * math.Cos(az), Y: radius * math.Sin(polar) * math.Sin(az), Z: radius * math.Cos(polar),
			})
		}
	}
	at := func(i, j int) int32 { return int32(i*around + j%around) }
	for i := range rings {
		for j := range around {
			for _, tri := range [2][3]int32{{at(i, j), at(i+1, j), at(i+1, j+1)}, {at(i, j), at(i+1, j+1), at(i, j+1)}} {
				a, b, c := m.Vertices[tri[0]], m.Vertices[tri[1]], m.Vertices[tri[2]]
				if b.Sub(a).Cross(c.Sub(a)).Norm() > 1e-9 && (leave == nil || !leave(a.Add(b).Add(c).Mul(1./3))) {
					m.Triangles = append(m.Triangles, tri)
				}
			}
		}
	}
	return m
}

func allSides(m *Mesh) []int8 {
	side := make([]int8, len(m.Triangles))
	for i := range side {
		side[i] = 1
	}
	return side
}

func randomPoint(r *rand.Rand, size float64) r3.Vector {
	return r3.Vector{X: r.Float64() - 0.5, Y: r.Float64() - 0.5, Z: r.Float64() - 0.5}.Mul(size)
}

// The octant fills an eighth of the sphere: pi/2 (plain geometry). The
// series branch is checked against the arc tangent.
func TestSolidAngle(t *testing.T) {
	x, y, z := r3.Vector{X: 1}, r3.Vector{Y: 1}, r3.Vector{Z: 1}
	require.InDelta(t, math.Pi/2, solidAngle(x, y, z), 1e-15)
	require.InDelta(t, -math.Pi/2, solidAngle(y, x, z), 1e-15)
	r := rand.New(rand.NewPCG(1, 1))
	for range 2000 {
		a := randomPoint(r, 10)
		b, c := a.Add(randomPoint(r, 3)), a.Add(randomPoint(r, 3))
		la, lb, lc := a.Norm(), b.Norm(), c.Norm()
		want := 2 * math.Atan2(a.Dot(b.Cross(c)), la*lb*lc+a.Dot(b)*lc+b.Dot(c)*la+c.Dot(a)*lb)
		require.InDelta(t, want, solidAngle(a, b, c), 1e-9)
	}
}

// Around a closed surface the winding number is 1 inside and 0 outside: the
// definition, and the divergence theorem.
func TestWindingOfClosedSurface(t *testing.T) {
	m := ball(600, 40, nil)
	w := newWinding(m, allSides(m), 0)
	r := rand.New(rand.NewPCG(2, 1))
	for range 3000 {
		p := randomPoint(r, 1600)
		d := p.Norm()
		if d > 595 && d < 601 {
			continue // between facets and sphere
		}
		want := 0.0
		if d < 600 {
			want = 1
		}
		require.InDelta(t, want, w.at(p), windingError, "at %v", p)
		require.InDelta(t, want, w.coarse(p), coarseError, "at %v", p)
	}
}

// The tree against the sum over all triangles, on a holed shell with half its
// triangles counted in reverse and in reverse order: anywhere, and close to the
// surface.
func TestWindingAgainstDirectSum(t *testing.T) {
	m := ball(600, 60, func(q r3.Vector) bool { return q.Z > 300 && q.X > -200 || q.Y < -550 })
	side := allSides(m)
	r := rand.New(rand.NewPCG(3, 1))
	for i := range m.Triangles {
		if r.IntN(2) == 0 {
			tri := &m.Triangles[i]
			tri[1], tri[2] = tri[2], tri[1]
			side[i] = -1
		}
		if r.IntN(50) == 0 {
			side[i] = 0
		}
	}
	w := newWinding(m, side, 0)
	var worst, worstCoarse float64
	for i := range 600 {
		p := randomPoint(r, 1800)
		if i%2 == 0 {
			p = p.Normalize().Mul(600 + 60*(r.Float64()-0.5))
		}
		var sum float64
		for t, s := range side {
			a, b, c := m.Corners(t)
			la, lb, lc := a.Sub(p), b.Sub(p), c.Sub(p)
			na, nb, nc := la.Norm(), lb.Norm(), lc.Norm()
			sum += float64(s) * 2 * math.Atan2(la.Dot(lb.Cross(lc)), na*nb*nc+la.Dot(lb)*nc+lb.Dot(lc)*na+lc.Dot(la)*nb)
		}
		want := sum / (4 * math.Pi)
		worst = max(worst, math.Abs(w.at(p)-want))
		worstCoarse = max(worstCoarse, math.Abs(w.coarse(p)-want))
	}
	t.Logf("largest error %.4f, coarse %.4f", worst, worstCoarse)
	require.Less(t, worst, windingError)
	require.Less(t, worstCoarse, coarseError)
}

func TestWindingDoesNotDependOnWorkers(t *testing.T) {
	m := ball(600, 60, func(q r3.Vector) bool { return q.Z > 300 })
	a, b := newWinding(m, allSides(m), 1), newWinding(m, allSides(m), 4)
	require.Equal(t, a.order, b.order)
	require.Equal(t, a.nodes, b.nodes)
}

func TestWindingOfNothing(t *testing.T) {
	m := ball(10, 4, nil)
	require.Zero(t, newWinding(m, make([]int8, len(m.Triangles)), 0).at(r3.Vector{}))
}
