package cloud

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

// square returns a square in the plane z = 100 as n x n pairs of triangles,
// half of it cut much finer.
func square(n int) (vertices []r3.Vector, triangles [][3]int32) {
	at := func(i int) float64 { // columns four times finer below the middle
		if i < 4*n {
			return float64(i) * 500 / float64(4*n)
		}
		return 500 + float64(i-4*n)*500/float64(n)
	}
	for i := 0; i <= 5*n; i++ {
		for j := 0; j <= n; j++ {
			vertices = append(vertices, r3.Vector{X: at(i), Y: 1000 * float64(j) / float64(n), Z: 100})
		}
	}
	for i := range 5 * n {
		for j := range n {
			a := int32(i*(n+1) + j)
			b := a + int32(n+1)
			triangles = append(triangles, [3]int32{a, b, b + 1}, [3]int32{a, b + 1, a + 1})
		}
	}
	return vertices, triangles
}

func TestSamplesAreSpreadByArea(t *testing.T) {
	v, tri := square(20)
	c := New(v, tri, 4000)
	require.InDelta(t, 4000, c.Len(), 1)
	require.InDelta(t, 1000*1000, c.Area*float64(c.Len()), 300)
	fine, bare := 0, 0
	for i, p := range c.Points {
		if p.X < 500 {
			fine++
		}
		require.InDelta(t, 100, p.Z, 1e-9)
		require.InDelta(t, 1, math.Abs(c.Normals[i].Z), 1e-9)
		if math.IsInf(c.Rough[i], 1) {
			bare++
			continue
		}
		require.Less(t, c.Rough[i], 1e-4)
	}
	require.Less(t, bare, 8, "only corners lack neighbours")
	require.InDelta(t, 0.5, float64(fine)/float64(c.Len()), 0.01, "half of the area, four fifths of the triangles")
	require.Equal(t, c, New(v, tri, 4000))
}

func TestRoughnessIsTheNoise(t *testing.T) {
	v, tri := square(40)
	random := rand.New(rand.NewPCG(1, 1))
	for i := range v {
		v[i].Z += 3 * (random.Float64() - random.Float64())
	}
	c := New(v, tri, 4000)
	sum, off := 0.0, 0.0
	for i, p := range c.Points {
		if math.IsInf(c.Rough[i], 1) {
			continue
		}
		sum += c.Rough[i]
		off += (p.Z - 100) * (p.Z - 100)
	}
	rough, left := sum/float64(c.Len()), math.Sqrt(off/float64(c.Len()))
	// A place of a triangle is a weighted mean of its corners with, on average,
	// half their variance: 3/sqrt(6) mm of the vertices over sqrt(2).
	require.InDelta(t, 3/math.Sqrt(12), rough, 0.12)
	require.Less(t, left, 0.6*rough, "laying onto planes takes noise out")
}

func TestNearestAgreesWithALoop(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	c := &Cloud{}
	for range 500 {
		c.Points = append(c.Points, r3.Vector{X: random.Float64(), Y: random.Float64(), Z: random.Float64()}.Mul(1000).Sub(r3.Vector{X: 400}))
	}
	c.grid = newGrid(c.Points, 120)
	found := 0
	for range 2000 {
		p := r3.Vector{X: random.Float64(), Y: random.Float64(), Z: random.Float64()}.Mul(1200).Sub(r3.Vector{X: 500})
		want, d := -1, c.Reach()
		for i, q := range c.Points {
			if e := q.Sub(p).Norm(); e < d {
				want, d = i, e
			}
		}
		got, ok := c.Nearest(p)
		require.Equal(t, want >= 0, ok)
		require.Equal(t, want, got)
		if ok {
			found++
		}
	}
	require.Greater(t, found, 1000)
}

// Against gonum's symmetric eigenvalues, an independent method.
func TestLeastAxisAgreesWithGonum(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for range 300 {
		var s [6]float64
		for range 8 {
			p := r3.Vector{X: random.NormFloat64(), Y: 4 * random.NormFloat64(), Z: 0.2 * random.NormFloat64()}
			p = r3.Vector{X: p.X + p.Z, Y: p.Y - 2*p.Z, Z: p.X + p.Y + p.Z}
			for i, v := range [6]float64{p.X * p.X, p.Y * p.Y, p.Z * p.Z, p.X * p.Y, p.X * p.Z, p.Y * p.Z} {
				s[i] += v
			}
		}
		axis, least, ok := leastAxis(s)
		require.True(t, ok)
		var e mat.EigenSym
		require.True(t, e.Factorize(mat.NewSymDense(3, []float64{s[0], s[3], s[4], s[3], s[1], s[5], s[4], s[5], s[2]}), true))
		var vectors mat.Dense
		e.VectorsTo(&vectors)
		values := e.Values(nil)
		require.InDelta(t, values[0], least, 1e-9*values[2])
		along := axis.Dot(r3.Vector{X: vectors.At(0, 0), Y: vectors.At(1, 0), Z: vectors.At(2, 0)})
		require.InDelta(t, 1, math.Abs(along), 1e-9)
	}
	_, _, ok := leastAxis([6]float64{1, 0, 0, 0, 0, 0})
	require.False(t, ok, "points on a line have no plane")
}

func TestNothingToSample(t *testing.T) {
	c := New(nil, nil, 100)
	require.Zero(t, c.Len())
	_, ok := c.Nearest(r3.Vector{})
	require.False(t, ok)
	nan := math.NaN()
	c = New([]r3.Vector{{X: nan}, {Y: 1}, {Z: 1}}, [][3]int32{{0, 1, 2}}, 100)
	require.Zero(t, c.Len())
}
