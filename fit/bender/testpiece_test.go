package bender_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// The arc keeps its length when the bend opens. The estimate's two results, the
// angle that is left and the radius that is left, say the same: angle = set (1 - f)
// and R = R loaded / (1 - f) (textbook plasticity, from memory; f of the rows
// computed independently, see fit/tube's TestSpringbackEstimate).
func TestRadiusAndSpringbackAgree(t *testing.T) {
	for _, r := range []struct{ clr, f, overbend float64 }{
		{114, .013584, 1.239}, {135, .013450, 1.227}, {150, .013248, 1.208}, {135, .013643, 1.245},
		{135, .017293, 1.584}, {133.35, .016278, 1.489}, {133.35, .018991, 1.742}, {114.3, .019158, 1.758},
	} {
		angle, set := 90*s1.Degree, s1.Angle(90+r.overbend)*s1.Degree
		free := bender.FreeRadius(r.clr, angle, set)
		// The overbend is rounded to 5e-4 degrees: 6e-6 of 90.
		assert.InEpsilon(t, r.clr/(1-r.f), free, 7e-6)
		assert.InEpsilon(t, r.clr, bender.LoadedRadius(free, angle, set), 1e-15)
		assert.InEpsilon(t, free*float64(angle), r.clr*float64(set), 1e-15)
	}
}

// The same for what is solved: pieces of a bender whose tube opens from a loaded
// radius give that radius back, and the arc of every piece has the length that it
// had in the bender.
func TestSolvedRadiusIsConsistent(t *testing.T) {
	c, err := bender.Solve([]bender.Piece{bench.bend("A", 31, bender.EdgeOutside), bench.bend("B", 93, bender.EdgeOutside)}, bender.Setting{OD: bench.od})
	require.NoError(t, err)
	for _, f := range c.Fits {
		held := f.Angle * s1.Angle(1+c.B.Value) // without the play
		assert.InDelta(t, c.CLR.Value*float64(f.Angle), c.Loaded.Value*float64(held), 1e-9)
		assert.InDelta(t, c.Loaded.Value, bender.LoadedRadius(c.CLR.Value, f.Angle, held), 1e-9)
	}
	assert.InDelta(t, bench.clr/(1+bench.b), c.Loaded.Value, 1e-6)
}

// Setback, gain and arc as published, in terms of legs. Inches and degrees.
func TestLegsPublished(t *testing.T) {
	// A leg to the node is its straight and R tan(A/2) (pertneer.net/tubebending.php,
	// read): 25.732 degrees on R 7.5 gives 1.713 (ajgest.substack, 2024-09-16, read).
	leg := func(straight, clr, od, deg float64, to bender.Edge) float64 {
		return bender.LegLength(straight, clr, od, s1.Angle(deg)*s1.Degree, to)
	}
	assert.InDelta(t, 1.713, leg(0, 7.5, 0, 25.732, bender.EdgeOutside), 5e-4)
	// Gain of a right angle, 0.42920 R (2 - pi/2; rescuingprovidence, second hand): both
	// legs to the node less the tube that is in them.
	const r = 6.0
	blank := 10 + 10 + r*math.Pi/2
	assert.InDelta(t, 0.42920*r, leg(10, r, 0, 90, bender.EdgeOutside)*2-blank, 5e-5*r)
	// R 5/8 at 90 takes 0.98 in of tube (alexwetmore.org/archives/474, read): a blank of
	// that and two straights of 10 gives these legs less the gain.
	assert.InDelta(t, 10+0.98+10, 2*leg(10, .625, 0, 90, bender.EdgeOutside)-0.42920*.625, 5e-3)
	// At 90 degrees the back of a leg is half a diameter beyond the node and the
	// inside half a diameter before it; at 60 it is 0.5774 of that (advance of a 60
	// degree offset, brainscape, read).
	for _, c := range []struct{ deg, part float64 }{{90, 1}, {60, 0.5774}} {
		node := leg(10, r, 0, c.deg, bender.EdgeOutside)
		assert.InDelta(t, node+c.part*1.75/2, leg(10, r, 1.75, c.deg, bender.EdgeOutside), 5e-5)
		assert.InDelta(t, node-c.part*1.75/2, leg(10, r, 1.75, c.deg, bender.EdgeInside), 5e-5)
	}
}

// ChordRadius against circles; a semicircle's chord is its diameter.
func TestChordRadius(t *testing.T) {
	assert.Equal(t, 50.0, bender.ChordRadius(100, 50))
	// 3-4-5: a chord of 8 at distance 3 from the middle of a circle of radius 5 has the
	// height 2 (Euclid).
	assert.InDelta(t, 5, bender.ChordRadius(8, 2), 1e-15)
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(20, 1000).Draw(t, "radius")
		half := rapid.Float64Range(0.05, math.Pi/2).Draw(t, "half")
		assert.InEpsilon(t, r, bender.ChordRadius(2*r*math.Sin(half), 2*r*math.Sin(half/2)*math.Sin(half/2)), 1e-9)
	})
}

// A piece is what the bend table of its bar says: the legs of a bar with one bend,
// made by the table's mark and cut length on the die that was solved, are the legs
// that were measured.
func TestPiecesMatchTheTable(t *testing.T) {
	pieces := []bender.Piece{bench.bend("A", 31, bender.EdgeOutside), bench.bend("B", 62, bender.EdgeInside), bench.bend("C", 93, bender.EdgeOutside)}
	c, err := bender.Solve(pieces, bender.Setting{OD: bench.od})
	require.NoError(t, err)
	die := tube.Die{OD: c.OD, CLR: c.CLR.Value, Stretch: c.Stretch.Value, Offset: c.Offset.Value}
	spec := &tube.Spec{OD: c.OD, Wall: 2.4, Die: &die}
	for _, p := range pieces {
		side := bench.od / 2 * math.Tan(float64(p.Angle)/2)
		if p.Legs == bender.EdgeInside {
			side = -side
		}
		a, b := p.LegA-side, p.LegB-side // to the node
		sin, cos := math.Sincos(float64(p.Angle))
		path, err := tube.NewPath([]r3.Vector{{}, {X: a}, {X: a + b*cos, Y: b * sin}}, die.CLR)
		require.NoError(t, err)
		table := spec.Table(path)
		assert.InDelta(t, p.Length, table.Cut, 1e-5, p.Name)
		assert.InDelta(t, p.Mark, table.Bends[0].Mark, 1e-5, p.Name)
	}
}

// parseDie reads a printed block back with the job's own reader.
func parseDie(t *testing.T, block string, unit job.Unit) *tube.Die {
	t.Helper()
	scale := 1.0
	if unit == job.Inch {
		scale = 25.4
	}
	text := fmt.Sprintf(`units = "%s"
[shell]
file = "s.stl"
clearance = 0.4
%s
[tube.t]
od = %g
wall = %g
material = "1020 DOM"
[[bar]]
name = "bar"
tube = "t"
sketch = [[0, 0, 0], [0, 0, 40]]
ends = ["shell", "shell"]
`, unit, block, 44.45/scale, 2.4/scale)
	j, err := job.Parse("job.toml", []byte(text))
	require.NoError(t, err, text)
	require.Len(t, j.Dies, 1)
	return j.Dies[0]
}

func TestBlockIsTheDie(t *testing.T) {
	full := []bender.Piece{bench.bend("A", 31, bender.EdgeOutside), bench.bend("B", 93, bender.EdgeOutside)}
	plain := bare(bench.bend("A", 93, bender.EdgeOutside))
	plain.Smallest, plain.Largest = 0, 0
	backOnly := bender.Piece{Name: "A", Set: 93 * s1.Degree, Angle: 91 * s1.Degree}
	for _, c := range []struct {
		name    string
		pieces  []bender.Piece
		setting bender.Setting
	}{
		{"all", full, bender.Setting{Name: "d44", OD: bench.od}},
		{"one piece, the stamp", []bender.Piece{plain}, bender.Setting{Name: "die of the \"shed\" \\ 2", OD: bench.od, CLR: 152.4}},
		{"one piece", []bender.Piece{plain}, bender.Setting{Name: "é", OD: bench.od}},
		{"springback only", []bender.Piece{backOnly}, bender.Setting{Name: "x_1-b", OD: bench.od, CLR: 152.4}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cal, err := bender.Solve(c.pieces, c.setting)
			require.NoError(t, err)
			want := cal.Die()
			for _, unit := range []job.Unit{job.MM, job.Inch} {
				got := parseDie(t, cal.Block(unit), unit)
				// In mm what is read is what was printed, but for the last bits of degrees to
				// radians; in inches half a unit of the last digit printed, and that of mm.
				length, stretch := 1e-9, 1e-9
				if unit == job.Inch {
					length, stretch = 0.005+0.5e-4*25.4, (0.5e-4+0.5e-6*25.4)*180/math.Pi
				}
				assert.Equal(t, want.Name, got.Name)
				assert.InDelta(t, want.OD, got.OD, 1e-9)
				assert.InDelta(t, want.CLR, got.CLR, length)
				assert.InDelta(t, want.Offset, got.Offset, length)
				assert.InDelta(t, want.Stretch, got.Stretch, stretch)
				assert.InDelta(t, want.Roundness, got.Roundness, 1e-12)
				require.Len(t, got.Springback, len(want.Springback))
				for i, pair := range want.Springback {
					assert.InDelta(t, float64(pair.Want), float64(got.Springback[i].Want), 1e-12)
					assert.InDelta(t, float64(pair.Set), float64(got.Springback[i].Set), 1e-12)
				}
				// The fitted line and the job's way between the pairs agree at the pieces.
				for _, at := range []s1.Angle{cal.Least, cal.Most} {
					set, _ := (&tube.Spec{Die: got}).SetAngle(at)
					line, _ := cal.SetAngle(at)
					assert.InDelta(t, line.Degrees(), set.Degrees(), 0.02)
				}
			}
		})
	}
}

// Before any piece, set angles are the estimate's: 1.489 degrees more than 90 for
// 44.45 x 2.413 in 1020 DOM on 133.35, 1.742 in 4130 (elastic unloading, computed
// independently).
func TestProposeEstimated(t *testing.T) {
	for name, overbend := range map[string]float64{"1020 DOM": 1.489, "4130 N": 1.742} {
		m, ok := tube.LookupMaterial(name)
		require.True(t, ok)
		p := bender.Propose(&tube.Spec{OD: 44.45, Wall: 2.413, Material: m, Die: &tube.Die{CLR: 133.35}}, 90*s1.Degree, 10)
		assert.True(t, p.Estimated)
		assert.InDelta(t, 90+overbend, p.Set.Degrees(), 5e-4)
	}
}

// Made as proposed, on the bender it was proposed for, a piece has the legs that it
// should have, and leaves straight tube on both sides.
func TestPropose(t *testing.T) {
	c, err := bender.Solve([]bender.Piece{bench.bend("A", 31, bender.EdgeOutside), bench.bend("B", 93, bender.EdgeOutside)}, bender.Setting{OD: bench.od})
	require.NoError(t, err)
	die := tube.Die{CLR: c.CLR.Value, Stretch: c.Stretch.Value, Offset: c.Offset.Value, Springback: []tube.Springback{{Want: 90 * s1.Degree, Set: 93 * s1.Degree}}}
	for _, angle := range []float64{30, 45, 60, 90, 120} {
		for _, step := range []float64{10, 12.7} {
			p := bender.Propose(&tube.Spec{OD: bench.od, Wall: 2.4, Die: &die}, s1.Angle(angle)*s1.Degree, step)
			assert.False(t, p.Estimated)
			assert.InDelta(t, 0, math.Remainder(p.Length, step), 1e-9)
			assert.InDelta(t, 0, math.Remainder(p.Mark, step), 1e-9)
			made := bench.bend("", angle*(1+bench.b)+bench.a*180/math.Pi, bender.EdgeOutside)
			assert.InDelta(t, angle, made.Angle.Degrees(), 1e-9)
			moved := made.LegA - made.Mark + p.Mark
			assert.InDelta(t, moved, p.LegA, 1e-4)
			assert.InDelta(t, made.LegA+made.LegB-made.Length, p.LegA+p.LegB-p.Length, 1e-4)
			reach := (bench.clr + bench.od/2) * math.Tan(angle*math.Pi/360)
			assert.Greater(t, p.LegA-reach, 2*bench.od)
			assert.Greater(t, p.LegB-reach, 2*bench.od)
		}
	}
}
