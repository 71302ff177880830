package sample

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/mesh"
)

// edges counts how often each directed edge occurs.
func edges(m *mesh.Mesh) map[[2]int32]int {
	count := make(map[[2]int32]int, 3*len(m.Triangles))
	for _, t := range m.Triangles {
		for k := range t {
			count[[2]int32{t[k], t[(k+1)%3]}]++
		}
	}
	return count
}

// requireClosed checks that every edge has two triangles, one each way, that
// every triangle has an area and that every vertex is used.
func requireClosed(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	require.NotEmpty(t, m.Triangles)
	count := edges(m)
	bad := 0
	for e, n := range count {
		if n != 1 || count[[2]int32{e[1], e[0]}] != 1 {
			bad++
		}
	}
	require.Zero(t, bad, "edges without exactly one partner")
	used := make([]bool, len(m.Vertices))
	for i, tri := range m.Triangles {
		a, b, c := m.Corners(i)
		if n := cross(b.Sub(a), c.Sub(a)); dot(n, n) == 0 {
			require.Fail(t, "no area", "triangle %d", i)
		}
		for _, v := range tri {
			used[v] = true
		}
	}
	require.Equal(t, -1, slices.Index(used, false), "unused vertex")
}

// volume is what the mesh encloses by the divergence theorem, mm3; positive if
// the normals point outwards.
func volume(m *mesh.Mesh) float64 {
	v := 0.0
	for i := range m.Triangles {
		a, b, c := m.Corners(i)
		v += dot(a, cross(b, c)) / 6
	}
	return v
}

// checksum is a fingerprint of all coordinates and indices.
func checksum(m *mesh.Mesh) string {
	h := sha256.New()
	var buf [24]byte
	for _, v := range m.Vertices {
		for k, x := range [3]float64{v.X, v.Y, v.Z} {
			binary.LittleEndian.PutUint64(buf[8*k:], math.Float64bits(x))
		}
		h.Write(buf[:])
	}
	for _, t := range m.Triangles {
		for k, x := range t {
			binary.LittleEndian.PutUint32(buf[4*k:], uint32(x))
		}
		h.Write(buf[:12])
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:8])
}

func requireFloat32(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	for _, v := range m.Vertices {
		for _, x := range [3]float64{v.X, v.Y, v.Z} {
			if x != float64(float32(x)) || x == 0 && math.Signbit(x) {
				require.Fail(t, "not a plain float32", "%v", x)
			}
		}
	}
}

var rooms = map[string]func() *Room{
	"box":           func() *Room { return Box(2000, 1300, 1100, 60) },
	"tumblehome 2":  func() *Room { return Tumblehome(2, 1500, 50) },
	"tumblehome 4":  func() *Room { return Tumblehome(4, 1500, 50) },
	"tumblehome 6":  func() *Room { return Tumblehome(6, 1500, 50) },
	"half cylinder": func() *Room { return HalfCylinder(650, 1500, 50) },
	"coarse box":    func() *Room { return Box(2000, 1300, 1100, 5000) },
}

func polygonArea(section []r2.Point) float64 {
	a := 0.0
	for i, p := range section {
		a += p.Cross(section[(i+1)%len(section)]) / 2
	}
	return a
}

func TestRoomsAreExactAndClosed(t *testing.T) {
	for name, build := range rooms {
		t.Run(name, func(t *testing.T) {
			r := build()
			requireClosed(t, r.Mesh)
			requireFloat32(t, r.Mesh)

			// Prism: volume = section x length, negative because the normals
			// point inwards.
			want := -polygonArea(r.Section) * (r.X1 - r.X0)
			assert.InEpsilon(t, want, volume(r.Mesh), 1e-6)

			// Every vertex lies on a facet line or on an end wall, and none
			// outside.
			for _, v := range r.Mesh.Vertices {
				nearest := math.Min(v.X-r.X0, r.X1-v.X)
				require.GreaterOrEqual(t, nearest, 0.0)
				for i, a := range r.Section {
					b := r.Section[(i+1)%len(r.Section)]
					d := b.Sub(a).Normalize().Cross(r2.Point{X: v.Y, Y: v.Z}.Sub(a))
					require.GreaterOrEqual(t, d, -grain)
					nearest = math.Min(nearest, d)
				}
				require.LessOrEqual(t, nearest, grain, "%v floats", v)
			}

			assert.True(t, r.Inside(r.Centre))
			assert.False(t, r.Inside(r3.Vector{X: r.Centre.X, Z: -1e-6}))
			assert.True(t, r.Inside(r3.Vector{X: r.Centre.X, Z: 1e-6}))
			assert.False(t, r.Inside(r3.Vector{X: r.X1 + 1e-6, Z: 500}))
			assert.False(t, r.Inside(r3.Vector{X: math.NaN(), Z: 500}))
			for i, p := range r.Section { // symmetric
				q := r.Section[(len(r.Section)+1-i)%len(r.Section)]
				assert.Equal(t, r2.Point{X: -p.X, Y: p.Y}, q)
			}
		})
	}
}

func TestRoomEdgesFollowTheWantedLength(t *testing.T) {
	r := Tumblehome(4, 1500, 40)
	longest := 0.0
	for e := range edges(r.Mesh) {
		longest = math.Max(longest, r.Mesh.Vertices[e[0]].Distance(r.Mesh.Vertices[e[1]]))
	}
	assert.LessOrEqual(t, longest, 2*40.0) // the end walls' rings are zipped askew
	// A wall of area A takes about 2 A / edge^2 triangles.
	area := 0.0
	for i := range r.Mesh.Triangles {
		a, b, c := r.Mesh.Corners(i)
		area += b.Sub(a).Cross(c.Sub(a)).Norm() / 2
	}
	assert.InEpsilon(t, 2*area/(40*40), float64(len(r.Mesh.Triangles)), 0.25)
}

// The outside check of a half-round room: area pi r^2 / 2 less what the chords
// cut off, r^2/2 (n sin(pi/n)) for n chords (regular polygon, school geometry).
func TestHalfCylinderSection(t *testing.T) {
	const radius = 650.0
	r := HalfCylinder(radius, 1500, 50)
	n := len(r.Section) - 1
	for _, p := range r.Section {
		assert.InDelta(t, radius, p.Norm(), grain)
	}
	assert.InEpsilon(t, radius*radius/2*float64(n)*math.Sin(math.Pi/float64(n)), polygonArea(r.Section), 1e-6)
	for k := 0; k <= 64; k++ {
		c, s := quarter(float64(k) / 64)
		assert.InDelta(t, math.Cos(float64(k)/64*math.Pi/2), c, 1e-15)
		assert.InDelta(t, math.Sin(float64(k)/64*math.Pi/2), s, 1e-15)
	}
}

// The known optimum: every straight at the offset from its facet and nowhere
// closer, feet on the floor, and straights of 100 mm left at a radius of 180 mm
// (setback R tan(A/2): references.md B3, V).
func TestHoopIsTheOffsetSection(t *testing.T) {
	for name, bends := range map[string]int{"box": 2, "tumblehome 2": 2, "tumblehome 4": 4, "tumblehome 6": 6} {
		for _, offset := range []float64{20, 22.225 + 12, 60} {
			t.Run(fmt.Sprint(name, " ", offset), func(t *testing.T) {
				r := rooms[name]()
				hoop := r.Hoop(100, offset)
				require.Len(t, hoop, bends+2)
				assert.Zero(t, hoop[0].Z)
				assert.InDelta(t, 0, hoop[len(hoop)-1].Z, 1e-12)
				assert.Greater(t, hoop[0].Y, 0.0)
				setback := make([]float64, len(hoop))
				for i := 1; i+1 < len(hoop); i++ {
					turn := hoop[i].Sub(hoop[i-1]).Angle(hoop[i+1].Sub(hoop[i]))
					setback[i] = 180 * math.Tan(turn.Radians()/2)
				}
				for i := 0; i+1 < len(hoop); i++ {
					a, b := hoop[i], hoop[i+1]
					assert.GreaterOrEqual(t, b.Sub(a).Norm()-setback[i]-setback[i+1], 100.0)
					for k := 0; k <= 20; k++ {
						p := a.Add(b.Sub(a).Mul(float64(k) / 20))
						assert.Equal(t, 100.0, p.X)
						nearest, at := math.Inf(1), 0
						for f := 1; f < len(r.Section); f++ { // all facets but the floor
							q := r.Section[f]
							d := r.Section[(f+1)%len(r.Section)].Sub(q).Normalize().Cross(r2.Point{X: p.Y, Y: p.Z}.Sub(q))
							if d < nearest-1e-9 {
								nearest, at = d, f
							}
						}
						assert.InDelta(t, offset, nearest, 1e-9)
						if k > 0 && k < 20 {
							assert.Equal(t, i+1, at, "straight %d follows another facet", i)
						}
					}
				}
			})
		}
	}
}

func TestCoupeIsClosedAndOnItsSurface(t *testing.T) {
	for _, o := range []CoupeOptions{
		{Triangles: 10_000}, {Triangles: 20_000}, {Triangles: 50_000}, {}, {Triangles: 50_000, Skew: 12}, {Edge: 60},
	} {
		t.Run(fmt.Sprintf("%+v", o), func(t *testing.T) {
			c := NewCoupe(o)
			requireClosed(t, c.Mesh)
			requireFloat32(t, c.Mesh)
			require.Len(t, c.Pane, len(c.Mesh.Triangles))
			if o.Edge == 0 {
				n := o.Triangles
				if n == 0 {
					n = 200_000
				}
				assert.InEpsilon(t, n, len(c.Mesh.Triangles), 0.03)
			}
			b := body{skew: o.Skew}
			off := 0
			for _, v := range c.Mesh.Vertices {
				if math.Abs(b.at(v.X, v.Y, v.Z)) > 2*grain {
					off++
				}
			}
			if o.Edge < 60 { // the coarsest net is longer in the tooth than the creases
				assert.LessOrEqual(t, float64(off), 0.01*float64(len(c.Mesh.Vertices)), "vertices off the surface")
			}
			assert.True(t, c.Inside(c.Centre))

			// Normals point into the cabin.
			assert.Less(t, volume(c.Mesh), 0.0)
			wrong := 0
			for i := range c.Mesh.Triangles {
				a, bb, cc := c.Mesh.Corners(i)
				n := unit(cross(bb.Sub(a), cc.Sub(a)))
				mid := a.Add(bb).Add(cc).Mul(1. / 3)
				if !(b.at(mid.X+n.X, mid.Y+n.Y, mid.Z+n.Z) < b.at(mid.X-n.X, mid.Y-n.Y, mid.Z-n.Z)) {
					wrong++
				}
			}
			assert.LessOrEqual(t, wrong, len(c.Mesh.Triangles)/2000, "folded triangles")
		})
	}
}

// The net rules blocks out by the field's steepness: it must hold.
func TestFieldIsNoSteeperThanItClaims(t *testing.T) {
	f := field{body{}.at, 1.6, bodyBox}
	steepest := 0.0
	const d = 0.01
	size := f.box.Size()
	for i := range 60 {
		for j := range 40 {
			for k := range 40 {
				x := f.box.Min.X + size.X*float64(i)/60
				y := f.box.Min.Y + size.Y*float64(j)/40
				z := f.box.Min.Z + size.Z*float64(k)/40
				g := r3.Vector{
					X: f.at(x+d, y, z) - f.at(x-d, y, z),
					Y: f.at(x, y+d, z) - f.at(x, y-d, z),
					Z: f.at(x, y, z+d) - f.at(x, y, z-d),
				}
				steepest = math.Max(steepest, g.Norm()/(2*d))
			}
		}
	}
	assert.Less(t, steepest, f.slope)
	assert.Greater(t, steepest, 0.9) // not flat by mistake
}

func TestCoupeSizes(t *testing.T) {
	size := NewCoupe(CoupeOptions{Triangles: 50_000}).Mesh.Bounds()
	assert.InDelta(t, 0, size.Min.Z, grain)
	assert.InDelta(t, 1150, size.Max.Z, 3)
	assert.InDelta(t, 1370, size.Size().Y, 5)
	assert.InDelta(t, 1170, size.Max.X, 30)
	assert.InDelta(t, -1450, size.Min.X, 30)
}

func TestCoupeIsSymmetric(t *testing.T) {
	mirror := func(v r3.Vector) r3.Vector { return r3.Vector{X: v.X, Y: -v.Y + 0, Z: v.Z} }
	c := NewCoupe(CoupeOptions{Triangles: 50_000})
	index := map[r3.Vector]int32{}
	for i, v := range c.Mesh.Vertices {
		index[v] = int32(i)
	}
	twin := make([]int32, len(c.Mesh.Vertices))
	for i, v := range c.Mesh.Vertices {
		j, ok := index[mirror(v)]
		if !ok {
			require.Fail(t, "no mirror image", "%v", v)
		}
		twin[i] = j
	}
	sorted := func(t [3]int32) [3]int32 { // same cycle, smallest first
		for t[0] > t[1] || t[0] > t[2] {
			t[0], t[1], t[2] = t[1], t[2], t[0]
		}
		return t
	}
	have := map[[3]int32]Windows{}
	for i, tri := range c.Mesh.Triangles {
		have[sorted(tri)] = c.Pane[i]
	}
	for i, tri := range c.Mesh.Triangles {
		left, right := false, false
		for _, v := range tri {
			left = left || c.Mesh.Vertices[v].Y > 0
			right = right || c.Mesh.Vertices[v].Y < 0
		}
		if left && right {
			continue // quads across the mirror plane are plane, either diagonal will do
		}
		pane, ok := have[sorted([3]int32{twin[tri[0]], twin[tri[2]], twin[tri[1]]})]
		if !ok || pane != c.Pane[i] {
			require.Fail(t, "no mirror image", "triangle %d", i)
		}
	}

	// A skewed body is not.
	s := NewCoupe(CoupeOptions{Triangles: 50_000, Skew: 12}).Mesh.Bounds()
	assert.InDelta(t, 12, -s.Min.Y-s.Max.Y, 1)
}

func TestOpenWindowsLeaveTheRestAlone(t *testing.T) {
	closed := NewCoupe(CoupeOptions{Triangles: 50_000})
	area := map[Windows]float64{}
	for i, p := range closed.Pane {
		a, b, c := closed.Mesh.Corners(i)
		area[p] += b.Sub(a).Cross(c.Sub(a)).Norm() / 2e6
	}
	// In square metres, about what such a small car has.
	assert.InDelta(t, 0.9, area[SideWindows], 0.5)
	assert.InDelta(t, 0.5, area[Windscreen], 0.25)
	assert.InDelta(t, 0.5, area[RearScreen], 0.25)

	for _, open := range []Windows{SideWindows, Windscreen, RearScreen, AllWindows} {
		c := NewCoupe(CoupeOptions{Triangles: 50_000, Open: open})
		want := 0
		for _, p := range closed.Pane {
			if p&open == 0 {
				want++
			}
		}
		assert.Len(t, c.Mesh.Triangles, want)
		require.Len(t, c.Pane, want)
		require.False(t, slices.ContainsFunc(c.Pane, func(p Windows) bool { return p&open != 0 }))
		assert.Equal(t, closed.Mesh.Bounds(), c.Mesh.Bounds())
		assert.True(t, c.Inside(c.Centre))
		// Rims: closed loops, each rim vertex left as often as entered.
		count, balance := edges(c.Mesh), map[int32]int{}
		for e := range count {
			if count[[2]int32{e[1], e[0]}] == 0 {
				balance[e[0]]++
				balance[e[1]]--
			}
		}
		assert.NotEmpty(t, balance)
		for _, b := range balance {
			require.Zero(t, b)
		}
	}
}

// Same bytes everywhere. The sums were taken on amd64; they must hold with
// GOAMD64=v3 (fused multiply-add) and on other machines too.
func TestSameBytesEverywhere(t *testing.T) {
	coupe := NewCoupe(CoupeOptions{Triangles: 20_000, Skew: 7})
	dirt := Dirt{Sigma: 1.5, Spikes: 20, Islands: 5, Holes: 12, FlipShare: 0.5, DropWindows: true, Seed: 3}
	for sum, m := range map[string]*mesh.Mesh{
		"6fc61951b024e5b8": Box(2000, 1300, 1100, 60).Mesh,
		"1ec2c86c81b21dff": Tumblehome(6, 1500, 50).Mesh,
		"0a7f429e02a5cf76": HalfCylinder(650, 1500, 50).Mesh,
		"f9f55ad7cfbe279a": coupe.Mesh,
		"c814db0f27d0e064": coupe.Scan(dirt),
		"80fd491d0903e575": Double(NewCoupe(CoupeOptions{Triangles: 20_000, Open: AllWindows}).Mesh, 40),
	} {
		assert.Equal(t, sum, checksum(m))
	}
}

func TestDirtStaysWithinItsFigures(t *testing.T) {
	c := NewCoupe(CoupeOptions{Triangles: 50_000})
	before := checksum(c.Mesh)
	clean := c.Mesh

	t.Run("none", func(t *testing.T) {
		assert.Equal(t, before, checksum(c.Scan(Dirt{Seed: 9})))
	})
	t.Run("noise", func(t *testing.T) {
		m := c.Scan(Dirt{Sigma: 1.5, Seed: 1})
		require.Len(t, m.Vertices, len(clean.Vertices))
		assert.Equal(t, clean.Triangles, m.Triangles)
		sum, sum2, beyond2 := 0.0, 0.0, 0
		for i, n := range vertexNormals(clean) {
			d := m.Vertices[i].Sub(clean.Vertices[i])
			e := d.Dot(n)
			if d.Sub(n.Mul(e)).Norm() > 2*grain {
				require.Fail(t, "off the normal", "vertex %d", i)
			}
			sum += e
			sum2 += e * e
			if math.Abs(e) > 3 {
				beyond2++
			}
		}
		n := float64(len(m.Vertices))
		assert.InDelta(t, 0, sum/n, 5*1.5/math.Sqrt(n))
		assert.InEpsilon(t, 1.5, math.Sqrt(sum2/n), 0.02)
		assert.InDelta(t, 0.0455, float64(beyond2)/n, 0.006) // normal distribution, 2 sigma: 4.55 % (handbook value, from memory)
	})
	t.Run("spikes", func(t *testing.T) {
		m := c.Scan(Dirt{Spikes: 30, SpikeHeight: 80, Seed: 2})
		moved := 0
		for i, v := range m.Vertices {
			if d := v.Distance(clean.Vertices[i]); d > 0 {
				moved++
				assert.GreaterOrEqual(t, d, 40-grain)
				assert.LessOrEqual(t, d, 80+grain)
			}
		}
		assert.InDelta(t, 30, moved, 2) // two spikes may meet
	})
	t.Run("islands", func(t *testing.T) {
		m := c.Scan(Dirt{Islands: 8, Seed: 4})
		assert.Equal(t, clean.Triangles, m.Triangles[:len(clean.Triangles)])
		extra := m.Vertices[len(clean.Vertices):]
		require.Len(t, extra, 8*16)
		for k := 0; k < 8; k++ {
			patch := extra[16*k : 16*k+16]
			for _, p := range patch {
				assert.LessOrEqual(t, p.Distance(patch[0]), 120.0)
			}
			assert.GreaterOrEqual(t, patch[15].Distance(patch[0]), 19.0)
			mid := patch[5].Add(patch[10]).Mul(0.5)
			assert.True(t, c.Inside(mid), "island %d outside", k)
			nearest := math.Inf(1)
			for _, v := range clean.Vertices {
				nearest = math.Min(nearest, v.Distance(mid))
			}
			assert.LessOrEqual(t, nearest, 251.0)
			assert.Greater(t, nearest, 10.0)
		}
	})
	t.Run("holes", func(t *testing.T) {
		m := c.Scan(Dirt{Holes: 12, HoleSize: 150, Seed: 5})
		kept := map[[3]r3.Vector]bool{}
		for i := range m.Triangles {
			a, b, c := m.Corners(i)
			kept[[3]r3.Vector{a, b, c}] = true
		}
		gone := 0
		area := 0.0
		for i := range clean.Triangles {
			a, b, c := clean.Corners(i)
			if !kept[[3]r3.Vector{a, b, c}] {
				gone++
				area += b.Sub(a).Cross(c.Sub(a)).Norm() / 2
			}
		}
		assert.Equal(t, len(clean.Triangles)-gone, len(m.Triangles))
		// Twelve discs of 75 to 150 mm, 1.5 x for curved and for doubled sheet.
		assert.Greater(t, area, 6*math.Pi*37*37)
		assert.Less(t, area, 1.5*12*math.Pi*75*75)
	})
	t.Run("flips", func(t *testing.T) {
		m := c.Scan(Dirt{FlipShare: 0.5, Seed: 6})
		flipped := 0
		for i, tri := range m.Triangles {
			o := clean.Triangles[i]
			if tri != o {
				flipped++
				if tri != [3]int32{o[0], o[2], o[1]} {
					require.Fail(t, "not a flip", "triangle %d", i)
				}
			}
		}
		assert.InDelta(t, 0.5, float64(flipped)/float64(len(m.Triangles)), 0.02)
	})
	t.Run("windows", func(t *testing.T) {
		open := NewCoupe(CoupeOptions{Triangles: 50_000, Open: AllWindows})
		assert.Equal(t, checksum(open.Mesh), checksum(c.Scan(Dirt{DropWindows: true})))
	})
	t.Run("streams", func(t *testing.T) { // one kind of dirt does not move another
		a := c.Scan(Dirt{Spikes: 10, Seed: 7})
		b := c.Scan(Dirt{Spikes: 10, FlipShare: 0.2, Islands: 2, Seed: 7})
		assert.Equal(t, a.Vertices, b.Vertices[:len(a.Vertices)])
	})
	assert.Equal(t, before, checksum(c.Mesh), "the clean mesh was changed")

	room := Box(2000, 1300, 1100, 60)
	assert.Equal(t, checksum(room.Mesh), checksum(room.Scan(Dirt{DropWindows: true})))
	assert.NotEqual(t, checksum(room.Scan(Dirt{Sigma: 1, Seed: 1})), checksum(room.Scan(Dirt{Sigma: 1, Seed: 2})))
}

func TestDoubleSkin(t *testing.T) {
	open := NewCoupe(CoupeOptions{Triangles: 30_000, Open: AllWindows})
	m := Double(open.Mesh, 30)
	requireClosed(t, m)
	assert.Equal(t, open.Mesh.Triangles, m.Triangles[:len(open.Mesh.Triangles)])
	n := len(open.Mesh.Vertices)
	require.Len(t, m.Vertices, 2*n)
	for i, v := range open.Mesh.Vertices {
		if math.Abs(v.Distance(m.Vertices[n+i])-30) > 2*grain {
			require.Fail(t, "wrong gap", "vertex %d", i)
		}
	}

	closed := NewCoupe(CoupeOptions{Triangles: 30_000})
	both := Double(closed.Mesh, 30)
	requireClosed(t, both)
	assert.Len(t, both.Triangles, 2*len(closed.Mesh.Triangles))
	assert.Greater(t, volume(both), 0.0) // metal: outer volume less cabin
}

func TestBadSizesPanic(t *testing.T) {
	for name, build := range map[string]func(){
		"edge":   func() { Box(1, 1, 1, 0) },
		"nan":    func() { Box(math.NaN(), 1, 1, 1) },
		"inf":    func() { HalfCylinder(math.Inf(1), 1, 1) },
		"bends":  func() { Tumblehome(3, 1, 1) },
		"coarse": func() { NewCoupe(CoupeOptions{Edge: 100}) },
	} {
		assert.Panics(t, build, name)
	}
	for _, o := range []CoupeOptions{
		{Edge: 1}, {Edge: math.NaN()}, {Triangles: 9}, {Triangles: 1e8}, {Skew: 51}, {Skew: math.NaN()}, {Open: 8},
	} {
		assert.Error(t, o.Validate(), "%+v", o)
	}
}

func BenchmarkCoupe(b *testing.B) {
	sizes := []int{50_000, 200_000, 1_000_000}
	if os.Getenv("BARWRIGHT_FULL") != "" {
		sizes = append(sizes, 5_000_000)
	}
	for _, n := range sizes {
		b.Run(fmt.Sprintf("%dk", n/1000), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				NewCoupe(CoupeOptions{Triangles: n})
			}
		})
	}
}

func ExampleRoom_Hoop() {
	room := Tumblehome(2, 1500, 100)
	for _, node := range room.Hoop(0, 40) {
		fmt.Printf("%.1f %.1f\n", node.Y, node.Z)
	}
	// Output:
	// 639.5 0.0
	// 465.8 1110.0
	// -465.8 1110.0
	// -639.5 0.0
}
