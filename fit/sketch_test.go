package fit_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// Sketches made from a station or two points lead to at least as good a mean
// gap as a hand's sketches with 80 mm noise do, on the coupe and two rooms.
func TestMadeSketchesAreAsGoodAsAHands(t *testing.T) {
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 30_000})
	tumble := sample.Tumblehome(4, 2000, 60)
	round := sample.HalfCylinder(700, 2000, 40)
	offset := studyTube().OD/2 + studyClearance
	for _, c := range []struct {
		name   string
		shell  *mesh.Shell
		centre r3.Vector
		hand   []r3.Vector
		bends  int
	}{
		{"coupe", prepare(t, coupe.Mesh, coupe.Centre), coupe.Centre, hoopSketch(), 4},
		{"tumblehome", prepare(t, tumble.Mesh, tumble.Centre), tumble.Centre, tumble.Hoop(0, offset), 4},
		{"half-cylinder", prepare(t, round.Mesh, round.Centre), round.Centre, []r3.Vector{{Y: 620}, {Y: 600, Z: 300}, {Y: 330, Z: 600}, {Y: -330, Z: 600}, {Y: -600, Z: 300}, {Y: -620}}, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := fit.Sketcher{Shell: c.shell, Inside: c.centre, Offset: offset}
			sketch, err := s.Station(c.hand[0].X, 0, c.bends)
			require.NoError(t, err)
			require.Len(t, sketch, c.bends+2)
			for _, p := range sketch[1 : len(sketch)-1] {
				require.True(t, c.shell.Inside(p), "%v", p)
				require.InDelta(t, c.hand[0].X, p.X, 1e-6)
			}
			fitted := func(sketch []r3.Vector) *fit.Bar {
				return mustFit(t, oneBar(sketch, upright), c.shell, fit.Options{}).Bars[0]
			}
			made := fitted(sketch)
			require.True(t, certified(made), "%+v %+v", made.Gap, made.Blocking)
			mean := 0.0
			n := trials(2, 20)
			for i := range n {
				mean += fitted(noisy(uint64(500+i), c.hand, 80)).Gap.Mean / float64(n)
			}
			t.Logf("%s: mean gap %.2f from the station, %.2f from hands' sketches", c.name, made.Gap.Mean, mean)
			require.LessOrEqual(t, made.Gap.Mean, mean+0.1)
		})
	}
	t.Run("follow", func(t *testing.T) {
		sh := prepare(t, coupe.Mesh, coupe.Centre)
		hand := []r3.Vector{{X: 900, Y: 530, Z: 150}, {X: 870, Y: 510, Z: 600}, {X: 300, Y: 430, Z: 970}, {X: 0, Y: 480, Z: 980}}
		sketch, err := fit.Sketcher{Shell: sh, Inside: coupe.Centre, Offset: offset}.Follow(hand[0], hand[3], 2)
		require.NoError(t, err)
		require.Equal(t, hand[0], sketch[0])
		require.Equal(t, hand[3], sketch[3])
		free := func(b *job.Bar) { b.Ends[1].Kind = job.Free }
		made := mustFit(t, oneBar(sketch, free), sh, fit.Options{}).Bars[0]
		require.True(t, certified(made), "%+v %+v", made.Gap, made.Blocking)
		mean := 0.0
		n := trials(2, 20)
		for i := range n {
			mean += mustFit(t, oneBar(noisy(uint64(700+i), hand, 80), free), sh, fit.Options{}).Bars[0].Gap.Mean / float64(n)
		}
		t.Logf("follow: sketch %.0f, mean gap %.2f, %.2f from hands' sketches", sketch, made.Gap.Mean, mean)
		require.LessOrEqual(t, made.Gap.Mean, mean+0.1)
	})
}

func TestSketchesThatCannotBeMade(t *testing.T) {
	room := sample.Box(2000, 1400, 1200, 100)
	s := fit.Sketcher{Shell: prepare(t, room.Mesh, room.Centre), Inside: room.Centre, Offset: 30}
	for want, f := range map[string]func() ([]r3.Vector, error){
		"at x = 5000 mm there is no open air between floor and roof in the middle of the car": func() ([]r3.Vector, error) { return s.Station(5000, 0, 4) },
		"a hoop needs 2 to 12 bends, not 1":                                                   func() ([]r3.Vector, error) { return s.Station(0, 0, 1) },
		"its two points are only 10 mm apart":                                                 func() ([]r3.Vector, error) { return s.Follow(r3.Vector{}, r3.Vector{X: 10}, 2) },
		"a bar along the shell needs 0 to 12 bends, not 40":                                   func() ([]r3.Vector, error) { return s.Follow(r3.Vector{}, r3.Vector{X: 900}, 40) },
	} {
		_, err := f()
		require.EqualError(t, err, want)
	}
}

func ExampleSketcher_Station() {
	room := sample.Box(2000, 1400, 1200, 100)
	sh, err := mesh.Prepare(context.Background(), room.Mesh, mesh.PrepareOptions{Seeds: []r3.Vector{room.Centre}})
	if err != nil {
		fmt.Println(err)
		return
	}
	hoop, err := fit.Sketcher{Shell: sh, Inside: room.Centre, Offset: 30}.Station(250, 0, 2)
	fmt.Println(len(hoop), err)
	// Output: 4 <nil>
}

// A bar that gives a station in place of a sketch stays in that plane.
func TestStationInAJob(t *testing.T) {
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 20_000})
	sh := prepare(t, coupe.Mesh, coupe.Centre)
	for _, self := range []bool{false, true} {
		j, err := job.Parse("job.toml", []byte(fmt.Sprintf(`
[shell]
file = "cabin.stl"
clearance = 8
[die.d]
od = 44.45
clr = 152.4
[tube.main]
od = 44.45
wall = 2.41
die = "d"
material = "1020 DOM"
[[bar]]
name = "main hoop"
tube = "main"
station = 100
lean = 5
bends = 4
ends = ["shell", "shell"]
mirror = %q
`, map[bool]string{false: "none", true: "self"}[self])))
		require.NoError(t, err)
		b := mustFit(t, j, sh, fit.Options{}).Bars[0]
		require.Empty(t, b.Blocking)
		require.GreaterOrEqual(t, b.Gap.CertifiedMin, 8.0)
		for _, p := range b.Path.Nodes {
			// Leaning to the rear by 5 degrees: x falls by tan 5 deg a mm of height.
			require.InDelta(t, 100-0.0874886635*p.Z, p.X, 1e-6)
		}
	}
}
