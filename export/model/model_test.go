package model

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit"
	"barwright/fit/tube"
	"barwright/mesh"
)

func vec(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

// hoop is an invented main hoop with bends in one plane; twisted one with bends
// in several, among them a slight one.
var (
	hoop    = []r3.Vector{vec(0, -600, 0), vec(0, -600, 900), vec(0, -450, 1150), vec(0, 450, 1150), vec(0, 600, 900), vec(0, 600, 0)}
	twisted = []r3.Vector{vec(900, 600, 0), vec(700, 620, 500), vec(350, 560, 1050), vec(-20, 470, 1120), vec(-400, 480, 1100)}
	upright = []r3.Vector{vec(0, 0, 0), vec(0, 0, 800)}
	level   = []r3.Vector{vec(0, -500, 300), vec(0, 500, 300)}
	// quarter has no straights at all.
	quarter = []r3.Vector{vec(0, 0, 0), vec(0, 0, 135), vec(135, 0, 135)}
)

func path(t require.TestingT, nodes []r3.Vector, radius float64) *tube.Path {
	p, err := tube.NewPath(nodes, radius)
	require.NoError(t, err)
	return p
}

// checkClosed checks guarantee 1 but for the volume: each directed edge occurs
// once, and so does its opposite.
func checkClosed(t require.TestingT, m *mesh.Mesh) {
	edges := map[[2]int32]int{}
	for _, tri := range m.Triangles {
		for k := range 3 {
			edges[[2]int32{tri[k], tri[(k+1)%3]}]++
		}
	}
	for e, n := range edges {
		if n != 1 || edges[[2]int32{e[1], e[0]}] != 1 {
			require.Fail(t, "edge is not shared by two triangles of opposite direction", "%v: %d and %d", e, n, edges[[2]int32{e[1], e[0]}])
		}
	}
}

// volume is the signed volume inside a closed mesh, by the divergence theorem.
func volume(m *mesh.Mesh) float64 {
	sum := 0.0
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		sum += a.Dot(b.Cross(c))
	}
	return sum / 6
}

func TestTubeIsClosedHollowAndTrue(t *testing.T) {
	for _, c := range []struct {
		name     string
		nodes    []r3.Vector
		clr      float64
		od, wall float64
		chord    float64
	}{
		{"hoop", hoop, 152.4, 44.45, 2.41, 0},
		{"twisted", twisted, 114, 38, 2.5, 0},
		{"upright", upright, 135, 45, 2.5, 0},
		{"level", level, 0, 40, 2, 0},
		{"one arc", quarter, 135, 45, 2.5, 0},
		{"coarse", hoop, 152.4, 44.45, 2.41, 0.5},
		{"thick", twisted, 114, 38, 18.5, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := path(t, c.nodes, c.clr)
			m, err := Tube(p, c.od, c.wall, Options{Chord: c.chord})
			require.NoError(t, err)
			checkClosed(t, m)

			chord := c.chord
			if chord == 0 {
				chord = 0.05
			}
			outer, inner := c.od/2, c.od/2-c.wall
			worst := 0.0
			seen := [2]bool{}
			wall := len(m.Triangles)
			for k := range m.Triangles {
				a, b, d := m.Corners(k)
				side := -1
				for _, corner := range []r3.Vector{a, b, d} {
					_, dist := p.Closest(corner)
					s := 0
					if math.Abs(dist-inner) < math.Abs(dist-outer) {
						s = 1
					}
					require.InDelta(t, [2]float64{outer, inner}[s], dist, 1e-6, "a corner lies on the surface")
					if side >= 0 && side != s {
						side = 2 // of an end ring
						break
					}
					side = s
				}
				if side == 2 {
					wall--
					continue
				}
				seen[side] = true
				want := [2]float64{outer, inner}[side]
				for i := 0; i <= 4; i++ {
					for j := 0; i+j <= 4; j++ {
						u, v := float64(i)/4, float64(j)/4
						q := a.Mul(1 - u - v).Add(b.Mul(u)).Add(d.Mul(v))
						_, dist := p.Closest(q)
						worst = max(worst, math.Abs(dist-want))
					}
				}
			}
			assert.Equal(t, [2]bool{true, true}, seen, "it has both walls")
			assert.Greater(t, len(m.Triangles), wall, "it has end rings")
			assert.LessOrEqual(t, worst, chord, "chord error")
			// Half the error is the least that keeps the mesh from being needlessly
			// fine: the bound is used, not just met. A straight tube's corners are as
			// many as its volume needs.
			if c.chord == 0 && len(p.Segments) == 1 {
				assert.Len(t, m.Vertices, 4*defaultSides)
			} else {
				assert.Greater(t, worst, 0.4*chord, "chord error")
			}

			// Volume of steel: section times centreline length, by Pappus's second
			// theorem (textbook, from memory). Both walls lie inside their circles by
			// at most the chord error all round.
			exact := math.Pi * (outer*outer - inner*inner) * p.Length
			assert.InDelta(t, exact, volume(m), 2*math.Pi*(outer+inner)*chord*p.Length)
			assert.Positive(t, volume(m))
			if c.chord == 0 {
				assert.InDelta(t, exact*(1-0.0006), volume(m), 0.0006*exact, "guarantee 5")
			}
		})
	}
}

// A cylinder's mesh volume in closed form: regular n-gons of the two radii.
func TestTubeVolumeOfStraight(t *testing.T) {
	m, err := Tube(path(t, upright, 0), 45, 2.5, Options{})
	require.NoError(t, err)
	n := float64(len(m.Vertices) / 4)
	want := n / 2 * math.Sin(2*math.Pi/n) * (22.5*22.5 - 20*20) * 800
	assert.InDelta(t, want, volume(m), 1e-6)
}

func TestFirstCornerIsReferenceLine(t *testing.T) {
	for _, nodes := range [][]r3.Vector{hoop, twisted, upright, level} {
		p := path(t, nodes, 114)
		m, err := Tube(p, 38, 2.5, Options{})
		require.NoError(t, err)
		want := p.Nodes[0].Add(tube.ReferenceLine(p).Mul(19))
		assert.InDelta(t, 0, m.Vertices[0].Sub(want).Norm(), 1e-9)
	}
}

// The mesh's rings do not twist against the tube: seen along the path, corner 0
// of neighbouring rings of a straight differ by the straight alone.
func TestFrameIsParallel(t *testing.T) {
	p := path(t, twisted, 114)
	m, err := Tube(p, 38, 2.5, Options{})
	require.NoError(t, err)
	n := len(slicesOfRing(m))
	for i := 0; (i+1)*2*n < len(m.Vertices); i++ {
		a, b := m.Vertices[i*2*n], m.Vertices[(i+1)*2*n]
		sa, da := p.Closest(a)
		sb, db := p.Closest(b)
		_, ta := p.At(sa)
		ca, _ := p.At(sa)
		cb, tb := p.At(sb)
		require.InDelta(t, da, db, 1e-6)
		// Parallel transport by the smallest rotation that takes ta to tb.
		axis := ta.Cross(tb)
		across := a.Sub(ca)
		if s := axis.Norm(); s > 1e-12 {
			across = tube.Rotate(across, axis.Mul(1/s), s1.Angle(math.Asin(min(1, s))))
		}
		require.InDelta(t, 0, across.Sub(b.Sub(cb)).Norm(), 1e-6, "ring %d", i)
	}
}

// slicesOfRing returns the outer corners of the first ring.
func slicesOfRing(m *mesh.Mesh) []r3.Vector {
	n := 1
	first := m.Vertices[0].Sub(m.Vertices[1]).Norm()
	for m.Vertices[n].Sub(m.Vertices[n-1]).Norm() > 0.5*first && m.Vertices[n].Sub(m.Vertices[n-1]).Norm() < 1.5*first {
		n++
	}
	return m.Vertices[:n]
}

func TestTubeOfAnyPath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nodes := []r3.Vector{{}}
		for range rapid.IntRange(1, 5).Draw(t, "legs") {
			step := vec(
				rapid.Float64Range(-1000, 1000).Draw(t, "x"),
				rapid.Float64Range(-1000, 1000).Draw(t, "y"),
				rapid.Float64Range(-1000, 1000).Draw(t, "z"))
			nodes = append(nodes, nodes[len(nodes)-1].Add(step))
		}
		p, err := tube.NewPath(nodes, 114)
		if err != nil {
			t.Skip(err)
		}
		if p.Length < 1 {
			t.Skip("nothing to make a tube of")
		}
		m, err := Tube(p, 38, 2.5, Options{Chord: 0.4})
		require.NoError(t, err)
		checkClosed(t, m)
		assert.Positive(t, volume(m))
		for k := range m.Triangles {
			a, b, c := m.Corners(k)
			require.Positive(t, b.Sub(a).Cross(c.Sub(a)).Norm(), "triangle %d has an area", k)
		}
	})
}

func TestTubeErrors(t *testing.T) {
	p := path(t, hoop, 152.4)
	for _, c := range []struct {
		od, wall float64
		opt      Options
		want     string
	}{
		{44.45, 0, Options{}, "no tube has outside diameter 44.45 and wall 0 mm"},
		{44.45, 22.225, Options{}, "no tube has"},
		{math.NaN(), 2, Options{}, "no tube has"},
		{math.Inf(1), 2, Options{}, "no tube has"},
		{44.45, 2, Options{Chord: -1}, "chord error must be positive"},
		{44.45, 2, Options{Chord: math.NaN()}, "chord error must be positive"},
		{310, 2, Options{}, "arc of radius 152.4 mm is too tight"},
	} {
		_, err := Tube(p, c.od, c.wall, c.opt)
		assert.ErrorContains(t, err, c.want)
	}
	_, err := Tube(&tube.Path{}, 45, 2, Options{})
	assert.ErrorContains(t, err, "no segments")
}

func TestCagePutsBarsTogether(t *testing.T) {
	spec := &tube.Spec{OD: 44.45, Wall: 2.41}
	c := &fit.Cage{Bars: []*fit.Bar{
		{Name: "main hoop", Tube: spec, Path: path(t, hoop, 152.4)},
		{Name: "cross", Tube: spec, Path: path(t, level, 0)},
	}}
	bars, all, err := Cage(c, Options{})
	require.NoError(t, err)
	require.Len(t, bars, 2)
	checkClosed(t, all)
	assert.Equal(t, len(bars[0].Triangles)+len(bars[1].Triangles), len(all.Triangles))
	assert.InDelta(t, volume(bars[0])+volume(bars[1]), volume(all), 1e-3)

	c.Bars[1].Tube = &tube.Spec{OD: 1, Wall: 1}
	_, _, err = Cage(c, Options{})
	assert.ErrorContains(t, err, `bar "cross": no tube`)
}

func TestSlugs(t *testing.T) {
	for _, c := range []struct{ in, want []string }{
		{[]string{"main hoop", "Main  Hoop", "main-hoop"}, []string{"main-hoop", "main-hoop-2", "main-hoop-3"}},
		{[]string{"a", "a", "a-2", "A"}, []string{"a", "a-2", "a-2-2", "a-3"}},
		{[]string{"door bar", "door bar (mirror)"}, []string{"door-bar", "door-bar-mirror"}},
		{[]string{"con", "NUL", "com7", "lpt0", "com10", "aux.stl", "cage"}, []string{"con-bar", "nul-bar", "com7-bar", "lpt0-bar", "com10", "aux-stl", "cage-bar"}},
		{[]string{"", "  ", "..", "../../etc", "日本", "🚗"}, []string{"bar", "bar-2", "bar-3", "etc", "bar-4", "bar-5"}},
		{[]string{"Überrollbügel hinten", "arceau côté gauche", "cote\u0301"}, []string{"ueberrollbuegel-hinten", "arceau-cote-gauche", "cote"}},
		{[]string{"-x-", "=1+2", "a/b\\c:d*e?f\"g<h>i|j\x00k"}, []string{"x", "1-2", "a-b-c-d-e-f-g-h-i-j-k"}},
	} {
		assert.Equal(t, c.want, Slugs(c.in))
	}
}

func TestSlugsAreSafeAndUnique(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.StringMatching(`[aA \-2]{0,4}`)), 0, 12).Draw(t, "names")
		if len(in) > 0 {
			in = append(in, strings.Repeat("x", 53)+" y", strings.Repeat("x", 70), strings.Repeat("x", 70))
		}
		out := Slugs(in)
		require.Len(t, out, len(in))
		seen := map[string]bool{}
		for _, s := range out {
			assert.Regexp(t, `^[a-z0-9]+(-[a-z0-9]+)*$`, s)
			assert.LessOrEqual(t, len(s), 60)
			assert.False(t, seen[s], "%q comes twice", s)
			assert.False(t, reserved[s] || isPort(s))
			seen[s] = true
		}
	})
}

func ExampleSlugs() {
	fmt.Println(Slugs([]string{"main hoop", "door bar", "door bar (mirror)", "con"}))
	// Output: [main-hoop door-bar door-bar-mirror con-bar]
}

func BenchmarkTube(b *testing.B) {
	p := path(b, hoop, 152.4)
	b.ReportAllocs()
	for b.Loop() {
		m, err := Tube(p, 44.45, 2.41, Options{})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(m.Triangles)), "triangles")
	}
}
