package tube_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/tube"
)

// TestMain fixes the seed of the property tests, so that a run can be repeated,
// and keeps failure files out of the tree; BARWRIGHT_FULL=1 runs many more.
func TestMain(m *testing.M) {
	settings := map[string]string{"rapid.seed": "1", "rapid.nofailfile": "true", "rapid.checks": "400"}
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		settings["rapid.checks"] = "5000"
	}
	for name, value := range settings {
		if err := flag.Set(name, value); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

func TestNewPathErrors(t *testing.T) {
	for _, r := range []struct {
		name   string
		radius float64
		nodes  []r3.Vector
		want   string
	}{
		{"none", 100, nil, "a path needs at least 2 nodes, got 0"},
		{"one", 100, []r3.Vector{v(1, 2, 3)}, "a path needs at least 2 nodes, got 1"},
		{"NaN", 100, []r3.Vector{v(0, 0, 0), v(0, math.NaN(), 0)}, "node 1 is not finite: (0, NaN, 0)"},
		{"infinite", 100, []r3.Vector{v(math.Inf(1), 0, 0), v(math.Inf(-1), 0, 0)}, "node 0 is not finite: (+Inf, 0, 0)"},
		{"coincident", 100, []r3.Vector{v(0, 0, 0), v(0, 500, 0), v(0, 500, 0)}, "nodes 1 and 2 coincide"},
		{"radius below 0", -1, []r3.Vector{v(0, 0, 0), v(1, 0, 0)}, "centreline radius must be finite and not negative, got -1 mm"},
		{"radius NaN", math.NaN(), []r3.Vector{v(0, 0, 0), v(1, 0, 0)}, "centreline radius must be finite and not negative, got NaN mm"},
		{"radius infinite", math.Inf(1), []r3.Vector{v(0, 0, 0), v(1, 0, 0)}, "centreline radius must be finite and not negative, got +Inf mm"},
		{"bend without radius", 0, []r3.Vector{v(0, 0, 0), v(500, 0, 0), v(500, 500, 0)}, "node 1 is a bend, but the centreline radius is 0"},
		{"back", 100, []r3.Vector{v(0, 0, 0), v(500, 0, 0), v(100, 0, 0)}, "the path turns straight back at node 1"},
		{"first leg short", 100, []r3.Vector{v(0, 0, 0), v(60, 0, 0), v(60, 500, 0)}, "bends overlap between nodes 0 and 1: 40.000 mm too short"},
		{"middle leg short", 100, []r3.Vector{v(0, 0, 0), v(500, 0, 0), v(500, 150, 0), v(900, 150, 0)}, "bends overlap between nodes 1 and 2: 50.000 mm too short"},
		{"last leg short", 100, []r3.Vector{v(0, 0, 0), v(500, 0, 0), v(500, 99.5, 0)}, "bends overlap between nodes 1 and 2: 0.500 mm too short"},
		{"nearly back", 100, []r3.Vector{v(0, 0, 0), v(5000, 0, 0), v(0, 100, 0)}, "bends overlap between nodes 0 and 1: 5001.000 mm too short"},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := tube.NewPath(r.nodes, r.radius)
			assert.EqualError(t, err, r.want)
		})
	}
}

// A node that is not a bend stays a node and gives no segment border.
func TestNodesInLine(t *testing.T) {
	p := path(t, 100, v(0, 0, 0), v(0, 0, 300), v(0, 0, 500), v(0, 0, 900), v(0, 400, 900), v(0, 600, 900))
	assert.Len(t, p.Nodes, 6)
	require.Len(t, p.Segments, 3)
	assert.Equal(t, 3, p.Segments[1].Node)
	assert.Equal(t, 800.0, p.Segments[0].Length)
	table := (&tube.Spec{}).Table(p)
	require.Len(t, table.Bends, 1)
	assert.Equal(t, 3, table.Bends[0].Node)
	assert.Equal(t, 500.0, table.Tail)

	straight := path(t, 0, v(0, 0, 0), v(100, 0, 0), v(200, 1e-7, 0), v(300, 0, 0))
	require.Len(t, straight.Segments, 1)
	assert.Equal(t, 300.0, straight.Length)
	assert.Equal(t, 300.0, (&tube.Spec{}).Table(straight).Tail)
}

// NewPath keeps a copy of what it is given.
func TestNewPathCopies(t *testing.T) {
	nodes := []r3.Vector{v(0, 0, 0), v(100, 0, 0)}
	p := path(t, 0, nodes...)
	nodes[0].X = 7
	assert.Equal(t, v(0, 0, 0), p.Nodes[0])
}

func TestAtIsClamped(t *testing.T) {
	p := path(t, 100, v(0, 0, 0), v(500, 0, 0), v(500, 500, 0))
	for _, s := range []float64{-5, 0, math.NaN(), math.Inf(-1)} {
		at, tangent := p.At(s)
		assert.Equal(t, v(0, 0, 0), at)
		assert.Equal(t, v(1, 0, 0), tangent)
	}
	for _, s := range []float64{p.Length, p.Length + 1, math.Inf(1)} {
		at, tangent := p.At(s)
		assert.InDelta(t, 0, at.Sub(v(500, 500, 0)).Norm(), 1e-9)
		assert.InDelta(t, 0, tangent.Sub(v(0, 1, 0)).Norm(), 1e-12)
	}
}

func TestSampleAndPolylineOfOddSteps(t *testing.T) {
	p := path(t, 100, v(0, 0, 0), v(500, 0, 0), v(500, 500, 0))
	for _, step := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		assert.Equal(t, []float64{0, 400, 400 + 50*math.Pi, p.Length}, p.Sample(step))
	}
	assert.Equal(t, p.Polyline(.05), p.Polyline(0))
	assert.Equal(t, p.Polyline(.05), p.Polyline(math.NaN()))
	assert.Len(t, p.Polyline(1e9), 4)
	assert.Less(t, len(p.Polyline(1e-300)), 2_000_000)
}

// Closest to an arc: on its axis, beyond its ends, on the far side.
func TestClosestOnArc(t *testing.T) {
	// Two quarter arcs that meet: a half circle about (0, 100, 0) from (0,0,0)
	// to (0,200,0), with 1 mm of straight at the ends.
	p := path(t, 100, v(-1, 0, 0), v(100, 0, 0), v(100, 200, 0), v(-1, 200, 0))
	for _, r := range []struct {
		q           r3.Vector
		s, distance float64
	}{
		{v(0, 100, 70), -1, math.Hypot(100, 70)}, // anywhere on the arc
		{v(130, 100, 40), 1 + 50*math.Pi, 50},
		{v(-31, -40, 0), 0, 50},
		{v(-31, 240, 0), 2 + 100*math.Pi, 50},
		{v(-100, 90, 0), 0, math.Hypot(99, 90)},
		{v(-100, 110, 0), 2 + 100*math.Pi, math.Hypot(99, 90)},
		{v(30, 100+40, 0), 1 + 100*(math.Pi/2+math.Atan2(40, 30)), 50},
	} {
		s, d := p.Closest(r.q)
		assert.InDelta(t, r.distance, d, 1e-9)
		if r.s >= 0 {
			assert.InDelta(t, r.s, s, 1e-7, "%v", r.q)
		}
	}
}

func TestMarksAndCut(t *testing.T) {
	p := path(t, 135, v(0, 0, 0), v(0, 0, 1000), v(1000, 0, 1000), v(1000, 800, 1000))
	arc := 135 * math.Pi / 2
	table := (&tube.Spec{}).Table(p)
	assert.InDelta(t, 865, table.Bends[0].Mark, 1e-9)
	assert.InDelta(t, 865+arc+730, table.Bends[1].Mark, 1e-9)
	assert.InDelta(t, table.Developed, table.Cut, 1e-9)

	// A tube that grows 2 mm in a quarter turn needs that much less blank for
	// each bend behind it, and a die whose bend starts 12 mm behind the mark is
	// marked 12 mm sooner.
	die := &tube.Die{CLR: 135, Stretch: 2 / (math.Pi / 2), Offset: 12}
	table = (&tube.Spec{Die: die}).Table(p)
	assert.InDelta(t, 865-12, table.Bends[0].Mark, 1e-9)
	assert.InDelta(t, 865+arc+730-2-12, table.Bends[1].Mark, 1e-9)
	assert.InDelta(t, table.Developed-4, table.Cut, 1e-9)
}

func TestSetAngle(t *testing.T) {
	deg := func(a float64) s1.Angle { return s1.Angle(a) * s1.Degree }
	die := &tube.Die{CLR: 152.4, Springback: []tube.Springback{{Want: deg(30), Set: deg(31.4)}, {Want: deg(90), Set: deg(93.1)}}}
	s := &tube.Spec{Die: die}
	for want, set := range map[float64]float64{
		0: 0, 15: 15.7, 30: 31.4, 60: 62.25, 90: 93.1, 120: 123.95,
	} {
		got, estimated := s.SetAngle(deg(want))
		assert.InDelta(t, set, got.Degrees(), 1e-9)
		assert.False(t, estimated)
	}
	// Nothing to work with: the angle itself, and said to be an estimate.
	for _, s := range []*tube.Spec{{}, {OD: 40, Wall: 2, Die: &tube.Die{CLR: 120}}} {
		got, estimated := s.SetAngle(deg(90))
		assert.Equal(t, deg(90), got)
		assert.True(t, estimated)
	}
	// A radius so large that the tube springs back altogether.
	m, _ := tube.LookupMaterial("4130 N")
	s = &tube.Spec{OD: 40, Wall: 2, Material: m, Die: &tube.Die{CLR: 1e5}}
	assert.Greater(t, s.SpringbackFactor(), 1.0)
	got, estimated := s.SetAngle(deg(90))
	assert.Equal(t, deg(90), got)
	assert.True(t, estimated)
}

func TestGivenAngle(t *testing.T) {
	deg := func(a float64) s1.Angle { return s1.Angle(a) * s1.Degree }
	die := &tube.Die{CLR: 152.4, Springback: []tube.Springback{{Want: deg(30), Set: deg(31.4)}, {Want: deg(90), Set: deg(93.1)}}}
	s := &tube.Spec{Die: die}
	for set, given := range map[float64]float64{
		0: 0, 15.7: 15, 31.4: 30, 62.25: 60, 93.1: 90, 123.95: 120,
	} {
		assert.InDelta(t, given, s.GivenAngle(deg(set)).Degrees(), 1e-9)
	}
	// No model: the angle itself.
	assert.Equal(t, deg(90), (&tube.Spec{}).GivenAngle(deg(90)))
	// No inverse: a number all the same.
	s = &tube.Spec{Die: &tube.Die{Springback: []tube.Springback{{Want: deg(30), Set: deg(0)}}}}
	assert.Equal(t, deg(0), s.GivenAngle(deg(10)))
}

func TestReferenceLineOfStraightBars(t *testing.T) {
	for _, r := range []struct{ end, want r3.Vector }{
		{v(100, 0, 0), v(0, 0, 1)},
		{v(0, -100, 0), v(0, 0, 1)},
		{v(0, 0, 100), v(1, 0, 0)},
		{v(0, 0, -100), v(1, 0, 0)},
		{v(100, 0, 100), v(-math.Sqrt2/2, 0, math.Sqrt2/2)},
		{v(0, 60, 80), v(0, -.8, .6)},
	} {
		got := tube.ReferenceLine(path(t, 0, v(0, 0, 0), r.end))
		assert.InDelta(t, 0, got.Sub(r.want).Norm(), 1e-12, "%v", r.end)
	}
	// With a bend: away from where it turns.
	got := tube.ReferenceLine(path(t, 100, v(0, 0, 0), v(0, 0, 500), v(0, 500, 500)))
	assert.InDelta(t, 0, got.Sub(v(0, -1, 0)).Norm(), 1e-12)
}

func TestNodesOfOddDirections(t *testing.T) {
	bent := tube.Table{Bends: []tube.Bend{{Feed: 100, Angle: 90 * s1.Degree}}, Tail: 100}
	// A normal along the feed is replaced by some perpendicular one.
	nodes := tube.Nodes(bent, 50, v(0, 0, 0), v(0, 0, 2), v(0, 0, 5))
	assert.InDelta(t, 150, nodes[1].Z, 1e-9)
	assert.InDelta(t, 150, nodes[2].Z, 1e-9)
	assert.InDelta(t, 150, math.Hypot(nodes[2].X, nodes[2].Y), 1e-9)
	// Only the part of the normal across the feed counts.
	nodes = tube.Nodes(bent, 50, v(0, 0, 0), v(0, 0, 2), v(0, -3, 500))
	assert.InDelta(t, 0, nodes[2].Sub(v(0, -150, 150)).Norm(), 1e-9)
	assert.Equal(t, []r3.Vector{v(1, 2, 3), v(1, 2, 43)}, tube.Nodes(tube.Table{Tail: 40}, 0, v(1, 2, 3), v(0, 0, 1), r3.Vector{}))
}

func TestDegrees(t *testing.T) {
	for d := -360; d <= 360; d++ {
		assert.Equal(t, float64(d), tube.Degrees(s1.Angle(d)*s1.Degree))
	}
	assert.Equal(t, 22.5, tube.Degrees(22.5*s1.Degree))
	assert.False(t, math.Signbit(tube.Degrees(-1e-15)))
	assert.True(t, math.IsNaN(tube.Degrees(s1.Angle(math.NaN()))))
}

func ExampleNewPath() {
	nodes := []r3.Vector{{}, {Z: 1000}, {X: 1000, Z: 1000}, {X: 1000, Y: 800, Z: 1000}}
	p, err := tube.NewPath(nodes, 135)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d segments, %.1f mm of tube\n", len(p.Segments), p.Length)
	s, distance := p.Closest(r3.Vector{X: 500, Z: 1100})
	fmt.Printf("closest at %.1f mm from end A, %.1f mm away\n", s, distance)
	// Output:
	// 5 segments, 2684.1 mm of tube
	// closest at 1442.1 mm from end A, 100.0 mm away
}

func ExampleSpec_Table() {
	steel, _ := tube.LookupMaterial("1020 DOM")
	die := &tube.Die{Name: "d44", OD: 44.45, CLR: 135}
	spec := &tube.Spec{Name: "main", OD: 44.45, Wall: 2.41, Die: die, Material: steel}
	p, err := tube.NewPath([]r3.Vector{{}, {Z: 1000}, {X: 1000, Z: 1000}, {X: 1000, Y: 800, Z: 1000}}, die.CLR)
	if err != nil {
		fmt.Println(err)
		return
	}
	table := spec.Table(p)
	for i, b := range table.Bends {
		fmt.Printf("bend %d: feed %.1f, rotate %.1f, bend to %.1f (set %.1f), mark at %.1f\n", i+1,
			b.Feed, tube.Degrees(b.Rotation), tube.Degrees(b.Angle), tube.Degrees(b.Set), b.Mark)
	}
	fmt.Printf("tail %.1f, cut %.1f mm, %.2f kg\n", table.Tail, table.Cut, spec.Mass(table.Cut))
	// Output:
	// bend 1: feed 865.0, rotate 0.0, bend to 90.0 (set 91.5), mark at 865.0
	// bend 2: feed 730.0, rotate 90.0, bend to 90.0 (set 91.5), mark at 1807.1
	// tail 665.0, cut 2684.1 mm, 6.71 kg
}

func ExampleNodes() {
	table := tube.Table{
		Bends: []tube.Bend{
			{Feed: 865, Angle: 90 * s1.Degree},
			{Feed: 730, Rotation: 90 * s1.Degree, Angle: 90 * s1.Degree},
		},
		Tail: 665,
	}
	for _, n := range tube.Nodes(table, 135, r3.Vector{}, r3.Vector{Z: 1}, r3.Vector{X: 1}) {
		fmt.Printf("%.0f %.0f %.0f\n", n.X, n.Y, n.Z)
	}
	// Output:
	// 0 0 0
	// 0 0 1000
	// 1000 0 1000
	// 1000 800 1000
}

func ExampleDegrees() {
	fmt.Println((60 * s1.Degree).Degrees(), tube.Degrees(60*s1.Degree))
	// Output: 59.99999999999999 60
}

func BenchmarkClosest(b *testing.B) {
	p, err := tube.NewPath([]r3.Vector{v(0, -600, 0), v(0, -600, 900), v(0, -450, 1150), v(0, 450, 1150), v(0, 600, 900), v(0, 600, 0)}, 100)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		p.Closest(v(50, 300, 1000))
	}
}

func BenchmarkAt(b *testing.B) {
	p, err := tube.NewPath([]r3.Vector{v(0, -600, 0), v(0, -600, 900), v(0, -450, 1150), v(0, 450, 1150), v(0, 600, 900), v(0, 600, 0)}, 100)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		p.At(1700)
	}
}
