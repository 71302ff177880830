package fit_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
	"barwright/mesh/sample"
)

func coupeShell(t testing.TB, o sample.CoupeOptions) *mesh.Shell {
	t.Helper()
	c := sample.NewCoupe(o)
	return prepare(t, c.Mesh, c.Centre)
}

func hoopSketch() []r3.Vector {
	return []r3.Vector{{Y: -560, Z: 150}, {Y: -555, Z: 590}, {Y: -430, Z: 1040}, {Y: 430, Z: 1040}, {Y: 555, Z: 590}, {Y: 560, Z: 150}}
}

func mustFit(t testing.TB, j *job.Job, sh *mesh.Shell, opt fit.Options) *fit.Cage {
	t.Helper()
	cage, err := fit.Fit(context.Background(), j, sh, opt)
	require.NoError(t, err)
	return cage
}

// Every kind of bar at once: flat and leaning, self-mirrored, paired, landed.
func TestKindsOfBars(t *testing.T) {
	sh := coupeShell(t, sample.CoupeOptions{Triangles: 30_000})
	lean := 4 * s1.Degree
	j := oneBar(hoopSketch(), func(b *job.Bar) { b.Name, b.Flat, b.Lean, b.Mirror = "main hoop", true, &lean, job.Self })
	side := j.Bars[0]
	side.Name, side.Flat, side.Lean, side.Mirror = "side bar", false, nil, job.Pair
	side.Sketch = []r3.Vector{{X: 900, Y: 530, Z: 150}, {X: 870, Y: 510, Z: 600}, {X: 300, Y: 430, Z: 970}, {X: 0, Y: 480, Z: 980}}
	side.Ends[1] = job.End{Kind: job.Landed, Onto: "main hoop"}
	cross := side
	cross.Name, cross.Mirror, cross.Hug = "screen bar", job.Self, false
	cross.Sketch = []r3.Vector{{X: 320, Y: -450, Z: 980}, {X: 320, Y: 450, Z: 980}}
	cross.Ends = [2]job.End{{Kind: job.Landed, Onto: "side bar (mirror)"}, {Kind: job.Landed, Onto: "side bar"}}
	j.Bars = append(j.Bars, side, cross)
	cage := mustFit(t, j, sh, fit.Options{})
	require.Len(t, cage.Bars, 4)
	byName := map[string]*fit.Bar{}
	for _, b := range cage.Bars {
		byName[b.Name] = b
		require.Empty(t, b.Blocking, b.Name)
		require.GreaterOrEqual(t, b.Gap.CertifiedMin, b.Clearance, b.Name)
	}
	hoop := byName["main hoop"].Path.Nodes
	for i, p := range hoop {
		q := hoop[len(hoop)-1-i]
		require.Equal(t, p, r3.Vector{X: q.X, Y: -q.Y, Z: q.Z})
		// The plane leans back by 4 degrees: x falls by tan 4 deg for every mm of height.
		require.InDelta(t, hoop[0].X-(p.Z-hoop[0].Z)*math.Tan(lean.Radians()), p.X, 1e-9)
	}
	left, right := byName["side bar"], byName["side bar (mirror)"]
	require.Equal(t, "side bar", right.MirrorOf)
	for i, p := range left.Path.Nodes {
		q := right.Path.Nodes[i]
		require.Equal(t, p, r3.Vector{X: q.X, Y: -q.Y, Z: q.Z})
	}
	for i, b := range left.Table.Bends {
		m := right.Table.Bends[i]
		require.InDelta(t, b.Rotation.Degrees(), -m.Rotation.Degrees(), 1e-9)
		require.InDelta(t, b.Angle.Degrees(), m.Angle.Degrees(), 1e-9)
	}
	for _, l := range []struct {
		bar, onto string
		end       int
	}{{"side bar", "main hoop", 1}, {"side bar (mirror)", "main hoop", 1}, {"screen bar", "side bar (mirror)", 0}, {"screen bar", "side bar", 1}} {
		nodes := byName[l.bar].Path.Nodes
		_, off := byName[l.onto].Path.Closest(nodes[l.end*(len(nodes)-1)])
		require.Less(t, off, 1e-3, "%s onto %s", l.bar, l.onto)
		require.Equal(t, l.onto, byName[l.bar].Ends[l.end].Onto)
	}
}

func TestKeepoutPushesTheBarAway(t *testing.T) {
	sh := coupeShell(t, sample.CoupeOptions{Triangles: 20_000})
	j := oneBar(hoopSketch(), upright)
	free := mustFit(t, j, sh, fit.Options{}).Bars[0]
	at, _ := free.Path.At(free.Path.Length / 2)
	j.Keepouts = []job.Keepout{{Name: "helmet", Sphere: &job.Sphere{Centre: at.Add(r3.Vector{Z: -150}), Radius: 160}}}
	b := mustFit(t, j, sh, fit.Options{}).Bars[0]
	require.Empty(t, b.Blocking)
	for _, s := range b.Path.Sample(2) {
		p, _ := b.Path.At(s)
		require.GreaterOrEqual(t, p.Sub(j.Keepouts[0].Sphere.Centre).Norm(), 160+b.Radius()-0.01)
	}
}

// The result does not depend on the number of workers.
func TestWorkersDoNotMatter(t *testing.T) {
	sh := coupeShell(t, sample.CoupeOptions{Triangles: 20_000})
	j := demoJob(t)
	j.Bars = j.Bars[:3]
	print := func(workers int) string {
		out := ""
		for _, b := range mustFit(t, j, sh, fit.Options{Workers: workers}).Bars {
			out += fmt.Sprintln(b.Name, b.Path.Nodes, b.Gap, b.Feet)
		}
		return out
	}
	require.Equal(t, print(1), print(3))
}

// A refit from the neighbouring solution keeps the clearance and is nearly as good
// as a cold fit: it stays in the basin where the bar was, and does not look for
// another.
func TestRefit(t *testing.T) {
	sh := coupeShell(t, sample.CoupeOptions{Triangles: 20_000})
	j := demoJob(t)
	j.Bars = j.Bars[:3]
	from := mustFit(t, j, sh, fit.Options{})
	for _, clearance := range []float64{8, 20} {
		for i := range j.Bars {
			j.Bars[i].Clearance = clearance
		}
		warm := mustFit(t, j, sh, fit.Options{From: from})
		cold := mustFit(t, j, sh, fit.Options{})
		for i, b := range warm.Bars {
			require.Empty(t, b.Blocking, "%s at %g", b.Name, clearance)
			require.GreaterOrEqual(t, b.Gap.CertifiedMin, clearance-1e-9, "%s at %g", b.Name, clearance)
			if b.Job.Hug {
				require.Less(t, b.Gap.Mean, cold.Bars[i].Gap.Mean+2, "%s at %g", b.Name, clearance)
			}
		}
	}
}

// What cannot be done is a result that names what blocks.
func TestImpossibleRequestsNameWhatBlocks(t *testing.T) {
	box := sample.Box(2000, 1400, 1200, 60)
	sh := prepare(t, box.Mesh, box.Centre)
	hoop := box.Hoop(0, 40)
	for _, c := range []struct {
		name   string
		rules  []string
		change func(*job.Bar)
	}{
		{"stick too short", []string{"stick", "clearance", "landing"}, func(b *job.Bar) { b.Tube.Stick = 2000 }},
		{"grip longer than the room is wide", []string{"grip", "clearance", "outside", "landing"}, func(b *job.Bar) { b.Tube.Die.Grip = 1500 }},
		{"clearance larger than the room", []string{"clearance", "outside", "landing", "tail", "grip"}, func(b *job.Bar) { b.Clearance = 900 }},
		{"bends that the die cannot make", []string{"angle", "clearance", "landing", "outside"}, func(b *job.Bar) { b.Tube.Die.MaxAngle = 45 * s1.Degree }},
	} {
		t.Run(c.name, func(t *testing.T) {
			cage := mustFit(t, oneBar(hoop, func(b *job.Bar) { b.Reach = 100; c.change(b) }), sh, fit.Options{})
			b := cage.Bars[0]
			require.NotEmpty(t, b.Blocking)
			require.NotNil(t, b.Path)
			found := false
			for _, block := range b.Blocking {
				require.Contains(t, append(c.rules, "reach"), block.Rule)
				found = found || block.Rule == c.rules[0]
				require.NotEqual(t, block.Got, block.Limit)
			}
			require.True(t, found, "%+v", b.Blocking)
		})
	}
}

func TestFitStopsWithItsContext(t *testing.T) {
	box := sample.Box(2000, 1400, 1200, 60)
	sh := prepare(t, box.Mesh, box.Centre)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := fit.Fit(ctx, oneBar(box.Hoop(0, 40), nil), sh, fit.Options{})
	require.True(t, errors.Is(err, context.Canceled), "%v", err)
}

// A pair on a body whose sides differ says what its symmetry costs.
func TestSymmetryHasACost(t *testing.T) {
	side := []r3.Vector{{X: 900, Y: 530, Z: 150}, {X: 870, Y: 510, Z: 600}, {X: 300, Y: 430, Z: 970}, {X: 0, Y: 480, Z: 980}}
	pair := func(b *job.Bar) { b.Mirror, b.Ends[1].Kind = job.Pair, job.Free }
	alike := mustFit(t, oneBar(side, pair), coupeShell(t, sample.CoupeOptions{Triangles: 20_000}), fit.Options{})
	skewed := mustFit(t, oneBar(side, pair), coupeShell(t, sample.CoupeOptions{Triangles: 20_000, Skew: 12}), fit.Options{})
	cost := func(c *fit.Cage) float64 { return max(c.Bars[0].Symmetry, c.Bars[1].Symmetry) }
	t.Logf("costs %.2f %.2f on a symmetric body, %.2f %.2f on a skewed one", alike.Bars[0].Symmetry, alike.Bars[1].Symmetry, skewed.Bars[0].Symmetry, skewed.Bars[1].Symmetry)
	require.Less(t, cost(alike), 1.0)
	require.Greater(t, cost(skewed), cost(alike)+0.5)
}

// A fit to a reduced scan is certified on the full one and ends within the
// reduction's bound of a fit to the full scan.
func TestReducedScanGivesTheSameBar(t *testing.T) {
	const bound = 0.5
	c := sample.NewCoupe(sample.CoupeOptions{Triangles: 100_000})
	full := prepare(t, c.Mesh, c.Centre)
	reduced, err := mesh.Prepare(context.Background(), c.Mesh, mesh.PrepareOptions{Seeds: []r3.Vector{c.Centre}, Reduce: bound})
	require.NoError(t, err)
	require.Less(t, len(reduced.Used.Triangles), len(full.Used.Triangles)/2)
	a := mustFit(t, oneBar(hoopSketch(), upright), full, fit.Options{}).Bars[0]
	b := mustFit(t, oneBar(hoopSketch(), upright), reduced, fit.Options{}).Bars[0]
	require.True(t, certified(a) && certified(b), "%+v %+v", a.Gap, b.Gap)
	// The certificate of the reduced fit, once more and on the full scan.
	again := fit.Certify(b.Path, b.Requirement(30*s1.Degree, 0), full.Index, full.Inside)
	require.GreaterOrEqual(t, again.CertifiedMin, b.Clearance)
	for _, g := range [][2]float64{{a.Gap.Min, b.Gap.Min}, {a.Gap.Mean, b.Gap.Mean}, {a.Gap.Max, b.Gap.Max}} {
		require.InDelta(t, g[0], g[1], bound)
	}
}
