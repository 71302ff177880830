package check

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// shopBar is a bar with one bend of 90 degrees and straights of the given
// lengths, planned for its bender.
func shopBar(t *testing.T, spec *tube.Spec, first, last float64) *fit.Bar {
	t.Helper()
	setback := tube.Setback(spec.Die.CLR, 90*s1.Degree)
	p, err := tube.NewPath([]r3.Vector{{}, {X: first + setback}, {X: first + setback, Y: last + setback}}, spec.Die.CLR)
	require.NoError(t, err)
	b := &fit.Bar{Name: "bar", Tube: spec, Path: p, Table: spec.Table(p), Ends: [2]job.End{{Kind: job.Free}, {Kind: job.Free}}}
	b.Blank = bender.Plan(spec, p, [2]float64{})
	return b
}

func shopTube() *tube.Spec {
	return &tube.Spec{Name: "t", OD: 40, Wall: 2, Die: &tube.Die{
		Name: "d", OD: 40, CLR: 120, MaxAngle: 180 * s1.Degree, Grip: 60, Tail: 80,
		Springback: []tube.Springback{{Want: 90 * s1.Degree, Set: 92 * s1.Degree}},
	}}
}

func TestSwingIsAnErrorWithWhatWouldHelp(t *testing.T) {
	spec := shopTube()
	b := shopBar(t, spec, 900, 500)
	require.Empty(t, swing(b), "nothing is known of the room")
	// Bending downwards, the leg that goes in first sweeps to 900 or 500 mm less
	// than nothing below the die.
	spec.Die.Machine = &tube.Machine{Bends: tube.BendsDown, Height: 700}
	b = shopBar(t, spec, 900, 500)
	require.Empty(t, swing(b), "with end B first it stays above the floor")
	require.Equal(t, 1, b.Blank.First)
	spec.Die.Machine.Height = 300
	found := swing(shopBar(t, spec, 900, 500))
	require.Len(t, found, 1)
	require.Equal(t, "swing", found[0].Rule)
	require.Equal(t, fit.Error, found[0].Severity)
	require.Equal(t, 1, found[0].Bend)
	require.NotNil(t, found[0].At)
	require.Contains(t, found[0].Message, "floor")
}

func TestTrimMakesUpForAShortTail(t *testing.T) {
	spec := shopTube()
	found := straights(shopBar(t, spec, 60, 500))
	require.Len(t, found, 1)
	require.Contains(t, found[0].Message, "60.0 mm, die \"d\" needs 80.0 mm")
	require.Regexp(t, "; .*20", found[0].Message, "it says how much is missing")
	spec.Trim = 20
	require.Empty(t, straights(shopBar(t, spec, 60, 500)), "what is cut off later can be held")
}

func TestSetAngleOverTheLargestIsADoubt(t *testing.T) {
	spec := shopTube()
	spec.Die.MaxAngle = 91 * s1.Degree // the bend needs 90, to be set at 92
	found := swing(shopBar(t, spec, 500, 500))
	require.Len(t, found, 1)
	require.Equal(t, fit.Warning, found[0].Severity)
	require.Equal(t, "angle", found[0].Rule)
	spec.Die.MaxAngle = 89 * s1.Degree
	require.Empty(t, swing(shopBar(t, spec, 500, 500)), "the bend itself is too much, which bends says")
	spec.Die.MaxAngle = 92 * s1.Degree
	require.Empty(t, swing(shopBar(t, spec, 500, 500)))
}

func TestRoundedAnglesAreSaid(t *testing.T) {
	spec := shopTube()
	spec.Die.Step = 2.5 * s1.Degree // 92 becomes 92.5, which gives 90 x 92.5 / 92
	found := swing(shopBar(t, spec, 500, 500))
	require.Len(t, found, 1)
	require.Equal(t, fit.Note, found[0].Severity)
	// The last straight of 500 mm turns by that; what the arc is longer, the
	// straight is shorter.
	require.InDelta(t, 500*(90*92.5/92-90)*math.Pi/180, found[0].Got, 0.02)
	spec.Die.Step = 0.1 * s1.Degree
	require.Empty(t, swing(shopBar(t, spec, 500, 500)))
}

func TestSpread(t *testing.T) {
	b := shopBar(t, shopTube(), 500, 500)
	b.Budget = &fit.Budget{Angle: s1.Degree, Length: 1, Draws: 1000, Clears: 0.95, Need95: 12}
	require.Empty(t, spread(b))
	b.Budget.Clears = 0.949
	found := spread(b)
	require.Len(t, found, 1)
	require.Equal(t, fit.Warning, found[0].Severity)
	require.Contains(t, found[0].Message, "within 1 degrees and 1 mm, 95 % of such bars")
	b.Budget.Draws = 0
	require.Empty(t, spread(b), "without a shell nothing is known")
}

// Motorsport UK NCR 2026, chapter 7, appendix 3, 20.3 (references.md A2, V): at
// least 0.9.
func TestRoundnessAgainstTheCommonRule(t *testing.T) {
	spec := shopTube()
	spec.Die.Roundness = 0.9
	require.Empty(t, quality(spec))
	spec.Die.Roundness = 0.899
	require.Len(t, quality(spec), 1)
	spec.Die.Roundness, spec.Wall, spec.Die.CLR = 0, 1, 80
	found := quality(spec)
	require.Len(t, found, 1)
	require.Contains(t, found[0].Message, "mandrel")
}
