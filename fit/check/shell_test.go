package check

import (
	"context"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
	"barwright/mesh/sample"
)

func prepare(t *testing.T, m *mesh.Mesh, seed r3.Vector) *mesh.Shell {
	t.Helper()
	sh, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: []r3.Vector{seed}})
	require.NoError(t, err)
	return sh
}

// A bar through a prepared shell: found by the certificate, the outside rule and
// the landing rule, with figures that geometry gives.
func TestCageInShell(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 60)
	sh := prepare(t, room.Mesh, room.Centre)
	j := testJob()
	check := func(b *fit.Bar) []fit.Finding {
		fit.Evaluate(b, sh, j.Shell.LandingAngle)
		b.Solved = false // nobody asked the solver how tight it is
		return Cage(&fit.Cage{Bars: []*fit.Bar{b}}, j, sh, Options{})
	}
	feet := [2]job.End{{Kind: job.Foot}, {Kind: job.Foot}}

	good := testBar(t, "main hoop", room.Hoop(0, 22.225+12)...)
	good.Ends = feet
	assert.Empty(t, check(good))

	near := testBar(t, "main hoop", room.Hoop(0, 22.225+11.9)...)
	near.Ends = feet
	found := check(near)
	require.Len(t, found, 1)
	assert.Equal(t, "clearance", found[0].Rule)
	assert.InDelta(t, 11.9, found[0].Got, fit.Resolution)
	assert.Equal(t, 12.0, found[0].Limit)

	through := testBar(t, "brace", r3.Vector{Y: 400, Z: 500}, r3.Vector{Y: 700, Z: 500})
	found = check(through)
	require.Len(t, found, 2)
	assert.Equal(t, []string{"clearance", "outside"}, []string{found[0].Rule, found[1].Rule})
	assert.InDelta(t, -50-22.225, found[0].Got, fit.Resolution)
	assert.Equal(t, "the tube is 72.2 mm into the shell 300 mm from end A, asked 12.0 mm clear of it", found[0].Message)
	assert.InDelta(t, 50, found[1].Got, 1e-6)
	assert.Equal(t, "the bar is outside the cabin, 50.0 mm deep 300 mm from end A", found[1].Message)

	// A foot 25 degrees flat is too flat, and too near the floor on its way up.
	flat := testBar(t, "stay", r3.Vector{X: -300}, r3.Vector{X: 300, Z: 600 * math.Tan(25*math.Pi/180)})
	flat.Ends = [2]job.End{{Kind: job.Foot}, {Kind: job.Free}}
	found = check(flat)
	require.Len(t, found, 2)
	assert.Equal(t, []string{"clearance", "landing"}, []string{found[0].Rule, found[1].Rule})
	assert.InDelta(t, 25, found[1].Got, 1e-6)
}

// A loose piece that the fit left out is named with its place and distance to
// the tubes it is too close to, and to no other.
func TestSuspectNearBar(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 60)
	m := &mesh.Mesh{Vertices: append([]r3.Vector(nil), room.Mesh.Vertices...), Triangles: append([][3]int32(nil), room.Mesh.Triangles...)}
	n := int32(len(m.Vertices))
	// A 40 mm patch 30.225 mm below an axis at z = 500: 8 mm from the tube.
	z := 500 - 22.225 - 8.0
	for _, c := range [][2]float64{{-20, -20}, {20, -20}, {20, 20}, {-20, 20}} {
		m.Vertices = append(m.Vertices, r3.Vector{X: c[0], Y: c[1], Z: z})
	}
	m.Triangles = append(m.Triangles, [3]int32{n, n + 1, n + 2}, [3]int32{n, n + 2, n + 3})
	sh := prepare(t, m, r3.Vector{X: 600, Z: 800})
	require.Len(t, sh.Suspects, 1)

	j := testJob()
	beside := testBar(t, "cross bar", r3.Vector{Y: -300, Z: 500}, r3.Vector{Y: 400, Z: 500})
	clear := testBar(t, "other bar", r3.Vector{X: 300, Y: -300, Z: 500}, r3.Vector{X: 300, Y: 400, Z: 500})
	bars := []*fit.Bar{beside, clear}
	for _, b := range bars {
		fit.Evaluate(b, sh, j.Shell.LandingAngle)
		b.Solved = false
	}
	found := Cage(&fit.Cage{Bars: bars}, j, sh, Options{})
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, fit.Warning, f.Severity)
	assert.Equal(t, "scan-accuracy", f.Rule)
	assert.Equal(t, "cross bar", f.Bar)
	assert.InDelta(t, 8, f.Got, fit.Resolution)
	assert.InDelta(t, 8, beside.Gap.RawMin, fit.Resolution)
	assert.Contains(t, f.Message, "8.0 mm from the tube")
	assert.Contains(t, f.Message, "from end A; the fit left it out")
	assert.NotContains(t, f.Message, "[", "the place is in At")

	// Kept, the certificate counts it, and it is named where it holds a bar.
	j.Shell.KeepSuspects = true
	kept, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: []r3.Vector{{X: 600, Z: 800}}, KeepSuspects: true})
	require.NoError(t, err)
	for _, b := range bars {
		fit.Evaluate(b, kept, j.Shell.LandingAngle)
		b.Solved = false
	}
	found = Cage(&fit.Cage{Bars: bars}, j, kept, Options{})
	require.Len(t, found, 2)
	assert.Equal(t, "clearance", found[0].Rule)
	assert.Equal(t, fit.Note, found[1].Severity)
	assert.Equal(t, "cross bar", found[1].Bar)
	assert.Contains(t, found[1].Message, "a loose piece of 57 mm, kept as the job asks, holds the bar off the shell")
}

// Sketches in cm in a job of mm.
func TestSketchInTheWrongUnit(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 60)
	sh := prepare(t, room.Mesh, room.Centre)
	for _, unit := range []float64{1, 10} {
		j := testJob()
		j.Bars = []job.Bar{{Name: "hoop"}}
		for _, p := range room.Hoop(0, 22.225+40) {
			j.Bars[0].Sketch = append(j.Bars[0].Sketch, p.Mul(1/unit))
		}
		found := Cage(&fit.Cage{}, j, sh, Options{})
		if unit == 1 {
			assert.Empty(t, found)
			continue
		}
		require.Len(t, found, 1)
		assert.Equal(t, "outside", found[0].Rule)
		assert.Contains(t, found[0].Message, "are both in the right unit?")
	}
}

// A foot on a hole, or on its rim, is doubtful; beside it it is not.
func TestFootOnHole(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 40)
	open := &mesh.Mesh{Vertices: room.Mesh.Vertices}
	for i, tri := range room.Mesh.Triangles {
		a, b, c := room.Mesh.Corners(i)
		mid := a.Add(b).Add(c).Mul(1.0 / 3)
		if mid.Z < 1 && math.Abs(mid.X) < 160 && math.Abs(mid.Y) < 160 {
			continue
		}
		open.Triangles = append(open.Triangles, tri)
	}
	sh := prepare(t, open, room.Centre)
	require.NotEmpty(t, sh.Caps)
	rim := 0.0 // of the hole, along x
	for i := range open.Triangles {
		for _, v := range open.Triangles[i] {
			if p := open.Vertices[v]; p.Z < 1 && math.Abs(p.Y) < 100 && (rim == 0 || math.Abs(p.X) < rim) {
				rim = math.Abs(p.X)
			}
		}
	}
	require.Greater(t, rim, 100.0)
	j := testJob()
	for _, c := range []struct {
		x    float64
		over bool
	}{{0, true}, {rim + 18, true}, {rim + 60, false}} {
		b := testBar(t, "stay", r3.Vector{X: c.x, Z: 0.001}, r3.Vector{X: c.x, Z: 700})
		b.Ends = [2]job.End{{Kind: job.Foot}, {Kind: job.Free}}
		fit.Evaluate(b, sh, j.Shell.LandingAngle)
		b.Solved = false
		over := 0
		for _, f := range Cage(&fit.Cage{Bars: []*fit.Bar{b}}, j, sh, Options{}) {
			if strings.Contains(f.Message, "foot A stands on a hole in the scan") {
				assert.Equal(t, fit.Warning, f.Severity)
				assert.Equal(t, "landing", f.Rule)
				over++
			}
		}
		assert.Equal(t, c.over, over == 1, "x = %g", c.x)
	}
}

// A bar along a window that is missing in the scan leans on a cap, and the note
// says so.
func TestHeldByCap(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 40)
	open := &mesh.Mesh{Vertices: room.Mesh.Vertices}
	for i, tri := range room.Mesh.Triangles {
		a, b, c := room.Mesh.Corners(i)
		mid := a.Add(b).Add(c).Mul(1.0 / 3)
		if mid.Y > 649 && math.Abs(mid.X) < 250 && mid.Z > 400 && mid.Z < 800 {
			continue
		}
		open.Triangles = append(open.Triangles, tri)
	}
	sh := prepare(t, open, room.Centre)
	require.NotEmpty(t, sh.Caps)
	j := testJob()
	for _, side := range []float64{1, -1} {
		y := side * (650 - 22.225 - 12.02)
		b := testBar(t, "door bar", r3.Vector{X: -100, Y: y, Z: 600}, r3.Vector{X: 100, Y: y, Z: 600})
		fit.Evaluate(b, sh, j.Shell.LandingAngle)
		b.Solved = false
		assert.Equal(t, side > 0, b.Gap.CapHeld)
		var notes int
		for _, f := range Cage(&fit.Cage{Bars: []*fit.Bar{b}}, j, sh, Options{}) {
			if f.Severity == fit.Note {
				notes++
				assert.Contains(t, f.Message, "closed with a cap")
			}
		}
		assert.Equal(t, side > 0, notes == 1)
	}
}
