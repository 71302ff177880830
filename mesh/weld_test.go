package mesh

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/hschendel/stl"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestSoupAgainstMap compares the soup's open addressing with a Go map: same
// numbers for same corners, through several growths of the table.
func TestSoupAgainstMap(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, spread := range []int{1, 7, 60, 100_000} {
		s := newSoup(0)
		seen := map[[3]float32]int32{}
		var all [][3]int32
		for range 20_000 {
			var tri stl.Triangle
			var want [3]int32
			for c := range tri.Vertices {
				for axis := range 3 {
					// Lattice points of both signs, -0 among them: the map
					// finds it equal to 0 as well.
					tri.Vertices[c][axis] = float32(rng.IntN(spread)) * float32(math.Copysign(0.25, rng.Float64()-0.5))
				}
				v := [3]float32(tri.Vertices[c])
				if _, ok := seen[v]; !ok {
					seen[v] = int32(len(seen))
				}
				want[c] = seen[v]
			}
			s.AppendTriangle(tri)
			require.Nil(t, s.err)
			all = append(all, want)
		}
		require.Equal(t, len(all), s.count())
		s.flush()
		require.Equal(t, all, s.triangles)
		require.Len(t, s.vertices, len(seen))
		for v, i := range seen {
			require.Equal(t, v, s.vertices[i])
		}
	}
}

// weldSlowly is weldNear as its comment defines it, over all pairs.
func weldSlowly(vertices []r3.Vector, weld float64) (kept []r3.Vector, number []int32) {
	for _, v := range vertices {
		best, bestD := -1, math.Inf(1)
		for k, w := range kept {
			if d := v.Sub(w).Norm2(); d <= weld*weld && d < bestD {
				best, bestD = k, d
			}
		}
		if best < 0 {
			best = len(kept)
			kept = append(kept, v)
		}
		number = append(number, int32(best))
	}
	return kept, number
}

// TestWeldNear compares with all pairs, over clusters, lattices whose spacing
// is the welding distance itself, and scales from micrometres to kilometres.
func TestWeldNear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scale := math.Pow(10, rapid.Float64Range(-3, 6).Draw(t, "log scale"))
		rel := rapid.SampledFrom([]float64{1e-9, 1e-6, 1e-3, 0.05, 0.25, 1, 10}).Draw(t, "weld / scale")
		lattice := rapid.Bool().Draw(t, "lattice")
		n := rapid.IntRange(2, 150).Draw(t, "vertices")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		weld := rel * scale
		origin := r3.Vector{X: scale * rng.NormFloat64(), Y: scale * rng.NormFloat64(), Z: scale * rng.NormFloat64()}
		m := &Mesh{}
		for range n {
			var v r3.Vector
			switch {
			case lattice:
				v = r3.Vector{X: float64(rng.IntN(4)), Y: float64(rng.IntN(4)), Z: float64(rng.IntN(2))}.Mul(weld)
			case len(m.Vertices) > 0 && rng.IntN(2) == 0:
				near := m.Vertices[rng.IntN(len(m.Vertices))].Sub(origin)
				v = near.Add(r3.Vector{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Mul(weld / 2))
			default:
				v = r3.Vector{X: rng.Float64(), Y: rng.Float64(), Z: rng.Float64()}.Mul(scale)
			}
			m.Vertices = append(m.Vertices, origin.Add(v))
		}
		for i := range n {
			m.Triangles = append(m.Triangles, [3]int32{int32(i), int32((i + 1) % n), int32((i + 2) % n)})
		}
		before := append([]r3.Vector(nil), m.Vertices...)
		kept, number := weldSlowly(before, weld)

		gone := weldNear(m, weld)
		if gone != n-len(kept) {
			t.Fatalf("%d vertices went, want %d of %d", gone, n-len(kept), n)
		}
		assert.Equal(t, kept, m.Vertices)
		for i, tri := range m.Triangles {
			want := [3]int32{number[i], number[(i+1)%n], number[(i+2)%n]}
			if tri != want {
				t.Fatalf("triangle %d is %v, want %v", i, tri, want)
			}
		}
		// What Read promises: nothing moves further than weld, and nothing
		// that is left can still be welded.
		for i, v := range before {
			if d := v.Distance(m.Vertices[number[i]]); d > weld*(1+1e-15) {
				t.Fatalf("vertex %d moved by %v > %v", i, d, weld)
			}
		}
	})
}

// TestWeldDefault reads a box whose facets were rounded apart by up to two steps
// of float32 an axis, as exporters do: the default joins it to eight vertices,
// and says so; corners of one millimetre side stay apart.
func TestWeldDefault(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	b := stlBox(2400, 1500, 1200)
	soup := &Mesh{}
	for i := range b.Triangles {
		p, q, r := b.Corners(i)
		for _, v := range []r3.Vector{p, q, r} {
			step := func(x float64) float64 {
				f := float32(x)
				for range rng.IntN(3) {
					f = math.Nextafter32(f, 0)
				}
				return float64(f)
			}
			soup.Vertices = append(soup.Vertices, r3.Vector{X: step(v.X), Y: step(v.Y), Z: step(v.Z)})
		}
		n := int32(3 * i)
		soup.Triangles = append(soup.Triangles, [3]int32{n, n + 1, n + 2})
	}
	m, rep, err := Read(bytes.NewReader(binarySTLOf(soup)), ReadOptions{})
	require.NoError(t, err)
	assert.Len(t, m.Vertices, 8)
	assert.Zero(t, OpenEdges(m))
	assert.Positive(t, rep.Welded)
	assert.InDelta(t, 4*2400/math.Exp2(23), rep.Weld, 1e-6)

	m, rep, err = Read(bytes.NewReader(binarySTLOf(stlBox(1, 1, 1))), ReadOptions{Unit: Millimetre})
	require.NoError(t, err)
	assert.Len(t, m.Vertices, 8)
	assert.Zero(t, rep.Welded)
	_, _, err = Read(bytes.NewReader(binarySTLOf(stlBox(1, 1, 1))), ReadOptions{Unit: Millimetre, Weld: 2})
	assert.EqualError(t, err, "input: none of the 12 triangles has an area")

	assert.Equal(t, maxDefaultWeld, defaultWeld(1e9), "the default never eats the shape")
}

// TestParseFloat32 compares with strconv.ParseFloat, an outside implementation: same
// bits for every number that it takes, and nothing taken that it refuses.
func TestParseFloat32(t *testing.T) {
	check := func(t interface{ Errorf(string, ...any) }, s string) {
		want, err := strconv.ParseFloat(s, 32)
		got, ok := parseFloat32([]byte(s))
		finite := err == nil && !math.IsInf(want, 0) && !math.IsNaN(want)
		if ok != finite || ok && math.Float32bits(got) != math.Float32bits(float32(want)) {
			t.Errorf("%q: got %v, %v, want %v, %v", s, got, ok, want, err)
		}
	}
	for _, s := range []string{
		"0", "-0", "+1", "1.", ".5", "1e5", "1E+05", "1e-5", "-1.25e+02", "00001.5000", "0.000000000000000001",
		// 2^24 + 1 and its neighbours: half-way cases, and just beside them.
		"16777217", "16777217.0000001", "16777216.9999999", "16777219", "1.00000005960464477539", "1.000000059604644775390625", "1.0000000596046448",
		"9007199254740993", "123456789012345678901234567890", "3.4028235e38", "3.4028236e38", "3.40282357e38", "1e39", "1e400", "-1e400",
		"1.17549435e-38", "1.17549428e-38", "1e-45", "7e-46", "1e-400", "0e9999999999999", "1e22", "1e23", "1e-22", "1e-23",
		"", "+", "-", ".", "-.", "e5", "1e", "1e+", "1e5.", "1.2.3", "1,5", "--1", "1-", "nan", "inf", "-Infinity", "vertex", "1f", "0b1",
	} {
		check(t, s)
	}
	rng := rand.New(rand.NewPCG(5, 6))
	for range 100_000 {
		x := math.Float32frombits(rng.Uint32())
		y := float32(rng.NormFloat64() * 1000)
		for _, format := range []byte{'e', 'f', 'g'} {
			check(t, strconv.FormatFloat(float64(y), format, rng.IntN(12), 32))
		}
		check(t, strconv.FormatFloat(float64(x), 'g', 1+rng.IntN(12), 32))
		// Half-way between y and the next float32, written out in full.
		half := (float64(y) + float64(math.Nextafter32(y, 1e9))) / 2
		check(t, strconv.FormatFloat(half, 'f', -1, 64))
	}
	for _, s := range []string{"0x1p4", "0X5", "1_000"} {
		_, ok := parseFloat32([]byte(s))
		assert.False(t, ok, "%s: Go numbers that are none in STL", s)
	}
}
