package bender_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// truth is a bender that the tests know all about.
type truth struct {
	od, clr, stretch, offset float64 // mm; stretch mm per rad
	a                        float64 // rad
	b                        float64
	round                    float64
}

var bench = truth{od: 44.45, clr: 154.5, stretch: 0.69, offset: 3.1, a: 0.6 * math.Pi / 180, b: 0.018, round: 0.95}

// bend makes a piece as the bender would, with nothing measured wrong. It works on
// its own from the points where edges meet, in a plane: the tube comes along +x
// and turns towards +y.
func (b truth) bend(name string, set float64, to bender.Edge) bender.Piece {
	s := set * math.Pi / 180
	t := (s - b.a) / (1 + b.b)
	mark := 200.0
	length := max(650, mark+b.offset+b.clr*t+150) // some straight is left
	p := bender.Piece{Name: name, Length: length, Mark: mark, Set: s1.Angle(s), Angle: s1.Angle(t), Legs: to}
	straightA := mark + b.offset
	straightB := length + b.stretch*t - b.clr*t - straightA
	// Outer edge of leg A: y = -r. Of leg B: through the arc's end, moved outwards.
	r := b.od / 2
	if to == bender.EdgeInside {
		r = -r
	}
	endX, endY := straightA+b.clr*math.Sin(t), b.clr*(1-math.Cos(t))
	outX, outY := endX+r*math.Sin(t), endY-r*math.Cos(t)
	// Along leg B's edge back to y = -r.
	back := (outY + r) / math.Sin(t)
	apexX := outX - back*math.Cos(t)
	p.LegA = apexX            // from end A at x = 0
	p.LegB = straightB + back // its edge begins at the arc's end
	// Chord over 0.8 of the arc, on the outside.
	q := b.clr + b.od/2
	half := 0.4 * t
	p.Chord, p.Height, p.ChordOn = 2*q*math.Sin(half), q*(1-math.Cos(half)), bender.EdgeOutside
	p.Largest = b.od * 1.02
	p.Smallest = b.round * p.Largest
	return p
}

func bare(p bender.Piece) bender.Piece {
	p.Chord, p.Height, p.ChordOn = 0, 0, ""
	return p
}

// measured adds what a builder's tape, level and caliper add.
func measured(p bender.Piece, rng *rand.Rand, n bender.Noise) bender.Piece {
	p.Angle += n.Angle * s1.Angle(rng.NormFloat64())
	p.LegA += n.Length * rng.NormFloat64()
	p.LegB += n.Length * rng.NormFloat64()
	if p.Chord > 0 {
		p.Chord += n.Length * rng.NormFloat64()
		p.Height += n.Length * rng.NormFloat64()
	}
	p.Smallest += n.Diameter * rng.NormFloat64()
	p.Largest += n.Diameter * rng.NormFloat64()
	p.Set += n.Set * s1.Angle(rng.NormFloat64())
	return p
}

var usual = bender.Noise{Length: 0.5, Angle: 0.25 * s1.Degree, Diameter: 0.1}

type truthSet struct {
	name   string
	pieces []bender.Piece
	noise  bender.Noise
}

func sets() []truthSet {
	b := bench
	piece := func(set float64, to bender.Edge) bender.Piece { return bare(b.bend(fmt.Sprintf("%g", set), set, to)) }
	out, in := bender.EdgeOutside, bender.EdgeInside
	loose := usual
	loose.Set = 0.2 * s1.Degree
	return []truthSet{
		{"3 angles", []bender.Piece{piece(31, out), piece(62, out), piece(93, out)}, usual},
		{"5 angles", []bender.Piece{piece(21, out), piece(41, in), piece(62, out), piece(93, in), piece(124, out)}, usual},
		{"2 angles, 5 pieces", []bender.Piece{piece(31, out), piece(31, in), piece(93, out), piece(93, out), piece(93, in)}, usual},
		{"3 angles, chords", []bender.Piece{b.bend("1", 31, out), b.bend("2", 62, in), b.bend("3", 93, out)}, usual},
		{"3 angles, the bender scatters", []bender.Piece{piece(31, out), piece(62, out), piece(93, out)}, loose},
	}
}

// TestIntervalsCover draws measurements with the noise that the solver is told of:
// intervals of 95 % must hold the truth in 95 % of the draws. The bounds are 93 and
// 97 %, three times the chance error of 1,000 draws; with BARWRIGHT_FULL=1 5,000 draws must
// come to 93.8 to 96.2 %, four times theirs.
func TestIntervalsCover(t *testing.T) {
	n, bound := 1000, 0.02
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		n, bound = 5000, 0.012
	}
	for k, set := range sets() {
		t.Run(set.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, uint64(k)))
			names := []string{"clr", "stretch", "offset", "a", "b", "loaded", "ovality", "set for 45"}
			loaded := bench.clr / (1 + bench.b)
			set45 := bench.a + (1+bench.b)*math.Pi/4
			want := []float64{bench.clr, bench.stretch, bench.offset, bench.a, bench.b, loaded, bench.round, set45}
			hits, half := make([]int, len(names)), make([]float64, len(names))
			refused := 0
			for range n {
				pieces := make([]bender.Piece, len(set.pieces))
				for i, p := range set.pieces {
					pieces[i] = measured(p, rng, set.noise)
				}
				c, err := bender.Solve(pieces, bender.Setting{OD: bench.od, Noise: set.noise})
				if err != nil {
					refused++ // counts as missed
					continue
				}
				require.Equal(t, []bender.Basis{bender.Measured, bender.Measured, bender.Measured}, []bender.Basis{c.CLR.Basis, c.Stretch.Basis, c.A.Basis})
				at45, half45 := c.SetAngle(45 * s1.Degree)
				for i, v := range []bender.Value{c.CLR, c.Stretch, c.Offset, c.A, c.B, c.Loaded, c.Roundness, {Value: float64(at45), Half: float64(half45)}} {
					if math.Abs(v.Value-want[i]) <= v.Half {
						hits[i]++
					}
					half[i] += v.Half / float64(n)
				}
			}
			assert.LessOrEqual(t, refused, n/1000, "good measurements refused")
			for i, name := range names {
				got := float64(hits[i]) / float64(n)
				t.Logf("%-10s %.4f covered, +- %.4g", name, got, half[i])
				assert.InDelta(t, 0.95, got, bound, name)
			}
		})
	}
}

// Where something is assumed, the intervals hold the truth as often as they say if
// benders are spread as the assumption has it: pieces of one angle, of benders that
// are drawn from it.
func TestAssumptionsCover(t *testing.T) {
	n, bound := 1000, 0.02
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		n, bound = 5000, 0.012
	}
	for k, stamped := range []bool{true, false} {
		rng := rand.New(rand.NewPCG(21, uint64(k)))
		hits, refused := make([]int, 5), 0
		for range n {
			b := bench
			b.a = 0.5 * math.Pi / 180 * rng.NormFloat64()
			setting := bender.Setting{OD: b.od}
			if stamped {
				setting.CLR = b.clr / (1 + b.b) / (1 + 0.02*rng.NormFloat64())
			} else {
				b.stretch = 0.025 * b.od * rng.NormFloat64()
			}
			var pieces []bender.Piece
			for i, to := range []bender.Edge{bender.EdgeOutside, bender.EdgeInside} {
				pieces = append(pieces, measured(bare(b.bend(fmt.Sprint(i), 93, to)), rng, usual))
			}
			c, err := bender.Solve(pieces, setting)
			if err != nil {
				refused++ // counts as missed
				continue
			}
			require.Equal(t, bender.Assumed, c.A.Basis)
			if stamped {
				require.Equal(t, bender.Assumed, c.CLR.Basis)
			} else {
				require.Equal(t, bender.Assumed, c.Stretch.Basis)
			}
			for i, v := range []bender.Value{c.CLR, c.Stretch, c.Offset, c.A, c.B} {
				if math.Abs(v.Value-[]float64{b.clr, b.stretch, b.offset, b.a, b.b}[i]) <= v.Half {
					hits[i]++
				}
			}
		}
		assert.LessOrEqual(t, refused, n/1000, "good measurements refused")
		for i, name := range []string{"clr", "stretch", "offset", "a", "b"} {
			got := float64(hits[i]) / float64(n)
			t.Logf("stamp %v: %-8s %.4f covered", stamped, name, got)
			assert.InDelta(t, 0.95, got, bound, name)
		}
	}
}

// exact is the accuracy to which measurements without noise give the truth back: the
// step at which the solver stops, in mm, and a little more for the set angle's weight.
const exact = 1e-6

// Any bender's pieces without noise give that bender back.
func TestExactPiecesGiveTheTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		od := rapid.Float64Range(20, 80).Draw(t, "od")
		b := truth{
			od: od, clr: od * rapid.Float64Range(2, 5).Draw(t, "clr"), stretch: od * rapid.Float64Range(-0.05, 0.05).Draw(t, "stretch"),
			offset: rapid.Float64Range(-50, 80).Draw(t, "offset"), a: rapid.Float64Range(0, 0.02).Draw(t, "a"),
			b: rapid.Float64Range(0.005, 0.04).Draw(t, "b"), round: rapid.Float64Range(0.85, 0.98).Draw(t, "round"),
		}
		edges := []bender.Edge{bender.EdgeOutside, bender.EdgeInside}
		var pieces []bender.Piece
		for i, set := range []float64{rapid.Float64Range(20, 45).Draw(t, "first"), rapid.Float64Range(80, 130).Draw(t, "second"), rapid.Float64Range(20, 130).Draw(t, "third")} {
			p := b.bend(fmt.Sprint(i), set, rapid.SampledFrom(edges).Draw(t, "to"))
			if rapid.Bool().Draw(t, "bare") {
				p = bare(p)
			}
			if i == 2 && rapid.Bool().Draw(t, "unmarked") {
				p.Mark = 0
			}
			pieces = append(pieces, p)
		}
		c, err := bender.Solve(pieces, bender.Setting{OD: od})
		require.NoError(t, err)
		assert.InDelta(t, b.clr, c.CLR.Value, exact)
		assert.InDelta(t, b.stretch, c.Stretch.Value, exact)
		assert.InDelta(t, b.offset, c.Offset.Value, exact)
		assert.InDelta(t, b.a, c.A.Value, exact)
		assert.InDelta(t, b.b, c.B.Value, exact)
		assert.InDelta(t, b.round, c.Roundness.Value, 1e-12)
		assert.InDelta(t, (1-b.round)*1.02, c.Ovality.Value, 1e-12)
		assert.Equal(t, 1.0, c.Scatter)
		for i, f := range c.Fits {
			assert.InDelta(t, float64(pieces[i].Angle), float64(f.Angle), exact)
		}
	})
}

func whats(c *bender.Calibration) (weak []string) {
	for _, w := range c.Weak {
		weak = append(weak, w.What)
	}
	return weak
}

// What one piece, or pieces of one angle, can't tell is said so, taken from where it
// should be, and the piece that would tell is named.
func TestWhatPiecesDontTell(t *testing.T) {
	out := bender.EdgeOutside
	set := 93.0
	one := bench.bend("1", set, out)
	angle := float64(one.Angle)
	stamped := bench.clr / (1 + bench.b) // what the die is, before the bend opens
	proportional := float64(one.Set)/angle - 1

	t.Run("one piece with a chord", func(t *testing.T) {
		c, err := bender.Solve([]bender.Piece{one}, bender.Setting{OD: bench.od, CLR: 120})
		require.NoError(t, err)
		assert.Equal(t, bender.Measured, c.CLR.Basis)
		assert.InDelta(t, bench.clr, c.CLR.Value, exact, "the chord goes before the stamp")
		assert.InDelta(t, bench.stretch, c.Stretch.Value, exact)
		assert.InDelta(t, bench.offset, c.Offset.Value, exact)
		assert.Equal(t, bender.Assumed, c.A.Basis)
		assert.Equal(t, bender.Leaning, c.B.Basis)
		assert.InDelta(t, 0, c.A.Value, exact)
		assert.InDelta(t, proportional, c.B.Value, exact)
		assert.Contains(t, c.Sure, "ovality")
		assert.Contains(t, whats(c), "springback")
		assert.Equal(t, 30*s1.Degree, c.Next)
		assert.Contains(t, c.Solid, "springback")
	})
	t.Run("one piece and the stamp", func(t *testing.T) {
		c, err := bender.Solve([]bender.Piece{bare(one)}, bender.Setting{OD: bench.od, CLR: stamped})
		require.NoError(t, err)
		assert.Equal(t, bender.Assumed, c.CLR.Basis)
		assert.Equal(t, bender.Leaning, c.Stretch.Basis)
		// The stamp is opened by the springback as one piece shows it.
		assert.InDelta(t, stamped*(1+proportional), c.CLR.Value, exact)
		assert.InDelta(t, stamped, c.Loaded.Value, exact)
		assert.InDelta(t, 0.02*1.96*stamped, c.Loaded.Half, 1e-3*stamped)
		// The offset follows from leg A.
		assert.InDelta(t, one.LegA-one.Mark-(c.CLR.Value+bench.od/2)*math.Tan(angle/2), c.Offset.Value, exact)
		assert.Equal(t, []string{"ovality"}, c.Sure)
		assert.Equal(t, []string{"clr", "stretch", "offset", "springback"}, c.Solid)
	})
	t.Run("one piece alone", func(t *testing.T) {
		c, err := bender.Solve([]bender.Piece{bare(one)}, bender.Setting{OD: bench.od})
		require.NoError(t, err)
		assert.Equal(t, bender.Assumed, c.Stretch.Basis)
		assert.InDelta(t, 0, c.Stretch.Value, exact)
		assert.Equal(t, bender.Leaning, c.CLR.Basis)
		// Without stretch, the blank is its two straights and the arc.
		tan := math.Tan(angle / 2)
		clr := (one.LegA + one.LegB - one.Length - bench.od*tan) / (2*tan - angle)
		assert.InDelta(t, clr, c.CLR.Value, exact)
		assert.Equal(t, 30*s1.Degree, c.Next)
	})
	t.Run("three of one angle", func(t *testing.T) {
		c, err := bender.Solve([]bender.Piece{bare(one), bare(bench.bend("2", set, out)), bare(bench.bend("3", set, bender.EdgeInside))}, bender.Setting{OD: bench.od, CLR: stamped})
		require.NoError(t, err)
		assert.Equal(t, []bender.Basis{bender.Assumed, bender.Leaning, bender.Leaning, bender.Assumed, bender.Leaning},
			[]bender.Basis{c.CLR.Basis, c.Stretch.Basis, c.Offset.Basis, c.A.Basis, c.B.Basis})
	})
	t.Run("no marks", func(t *testing.T) {
		unmarked := func(p bender.Piece) bender.Piece { p.Mark = 0; return bare(p) }
		c, err := bender.Solve([]bender.Piece{unmarked(bench.bend("1", 25, out)), unmarked(one), unmarked(bench.bend("3", 125, out))}, bender.Setting{OD: bench.od})
		require.NoError(t, err)
		assert.Equal(t, bender.Unknown, c.Offset.Basis)
		assert.Zero(t, c.Offset.Value)
		assert.Zero(t, c.Die().Offset)
		assert.InDelta(t, bench.clr, c.CLR.Value, 1e-4)
		assert.Contains(t, whats(c), "offset")
		assert.Contains(t, c.Solid, "offset")
		assert.NotContains(t, c.Block(job.MM), "offset")
	})
	t.Run("leg A alone", func(t *testing.T) {
		short := func(p bender.Piece) bender.Piece { p.LegB, p.Length = 0, 0; return bare(p) }
		c, err := bender.Solve([]bender.Piece{short(bench.bend("1", 31, out)), short(one)}, bender.Setting{OD: bench.od})
		require.NoError(t, err)
		assert.Equal(t, []bender.Basis{bender.Measured, bender.Unknown, bender.Measured}, []bender.Basis{c.CLR.Basis, c.Stretch.Basis, c.Offset.Basis})
		assert.InDelta(t, bench.clr, c.CLR.Value, exact)
		assert.InDelta(t, bench.offset, c.Offset.Value, exact)
		assert.Contains(t, c.Solid, "stretch")
	})
	t.Run("springback alone", func(t *testing.T) {
		c, err := bender.Solve([]bender.Piece{{Name: "1", Set: 31 * s1.Degree, Angle: 30 * s1.Degree}, {Name: "2", Set: 93 * s1.Degree, Angle: 90 * s1.Degree}}, bender.Setting{OD: bench.od, CLR: stamped})
		require.NoError(t, err)
		assert.Equal(t, []bender.Basis{bender.Assumed, bender.Unknown, bender.Unknown, bender.Measured}, []bender.Basis{c.CLR.Basis, c.Stretch.Basis, c.Offset.Basis, c.A.Basis})
		// The line through two points.
		assert.InDelta(t, 2./60, c.B.Value, exact)
		assert.InDelta(t, 0, c.A.Value, exact)
		assert.Contains(t, c.Sure, "springback")
	})
	t.Run("nothing for the radius", func(t *testing.T) {
		_, err := bender.Solve([]bender.Piece{{Name: "1", Set: 31 * s1.Degree, Angle: 30 * s1.Degree}}, bender.Setting{OD: bench.od})
		require.ErrorContains(t, err, "nothing tells the bend's radius")
	})
}

// Least squares of springback alone is the regression line of the angles on the set
// angles: with weights that are all the same, gonum's LinearRegression gives it.
func TestSpringbackIsTheRegressionLine(t *testing.T) {
	set := []float64{21.3, 46.2, 61.9, 92.8, 123.7}
	angle := []float64{20.4, 45.1, 60.2, 90.6, 120.5}
	var pieces []bender.Piece
	for i := range set {
		pieces = append(pieces, bender.Piece{Name: fmt.Sprint(i), Set: s1.Angle(set[i]) * s1.Degree, Angle: s1.Angle(angle[i]) * s1.Degree})
	}
	c, err := bender.Solve(pieces, bender.Setting{OD: bench.od, CLR: 150})
	require.NoError(t, err)
	alpha, beta := stat.LinearRegression(set, angle, nil, false)
	// angle = alpha + beta set, so set = -alpha / beta + angle / beta. The set angles'
	// small error, a 250th of the angles', turns the line by 1.6e-5 of itself.
	assert.InDelta(t, -alpha/beta, tube.Degrees(s1.Angle(c.A.Value)), 1e-3)
	assert.InDelta(t, 1/beta-1, c.B.Value, 1e-5)
}

// A slip in one measurement is named, with the piece and by how much.
func TestSlipsAreNamed(t *testing.T) {
	out := bender.EdgeOutside
	good := func() []bender.Piece {
		return []bender.Piece{bench.bend("A", 31, out), bench.bend("B", 62, bender.EdgeInside), bench.bend("C", 93, out), bench.bend("D", 93, out), bench.bend("E", 124, out)}
	}
	for _, c := range []struct {
		name string
		slip func(p []bender.Piece)
		keys []string // of what can't be told apart
		by   float64  // mm or degrees, of the first
	}{
		{"leg A", func(p []bender.Piece) { p[2].LegA += 5 }, []string{"leg_a"}, 5},
		{"leg B", func(p []bender.Piece) { p[2].LegB -= 10 }, []string{"leg_b", "length"}, -10},
		{"angle", func(p []bender.Piece) { p[2].Angle -= 2 * s1.Degree }, []string{"angle"}, -2},
		{"height", func(p []bender.Piece) { p[2].Height += 5 }, []string{"height"}, 5},
		{"mark", func(p []bender.Piece) { p[2].Mark += 10 }, []string{"mark"}, 10},
		{"length", func(p []bender.Piece) { p[2].Length -= 20 }, []string{"leg_b", "length"}, 20},
		{"edge", func(p []bender.Piece) { p[2].LegA -= 7; p[2].LegB -= 7 }, []string{"to"}, -7},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(3, 4))
			for range 20 {
				pieces := good()
				for i := range pieces {
					pieces[i] = measured(pieces[i], rng, bender.Noise{Length: 0.01, Angle: 0.005 * s1.Degree})
				}
				c.slip(pieces)
				_, err := bender.Solve(pieces, bender.Setting{OD: bench.od})
				var wrong *bender.Contradiction
				require.ErrorAs(t, err, &wrong)
				var keys []string
				for _, f := range wrong.Faults {
					assert.Equal(t, []any{2, "C"}, []any{f.Piece, f.Name})
					keys = append(keys, f.Key)
				}
				require.Equal(t, c.keys, keys, wrong.Error())
				// How far off it is said to be is what the slip was, but for the noise and the
				// curvature.
				var got float64
				text := wrong.Faults[0].Text
				_, err = fmt.Sscanf(text[strings.Index(text, "off by"):], "off by %g", &got)
				require.NoError(t, err)
				assert.InEpsilon(t, c.by, got, 0.1)
			}
		})
	}

	// The bender slipped: set and angle of one piece do not go with the others.
	pieces := good()
	pieces[2] = bench.bend("C", 95, out)
	pieces[2].Set = 93 * s1.Degree
	_, err := bender.Solve(pieces, bender.Setting{OD: bench.od})
	require.ErrorContains(t, err, `piece "C": set 93.00 degrees does not fit`)

	// Two pieces have one measurement more than there are unknowns: a slip is seen, but
	// not which of the measurements it is in.
	two := []bender.Piece{bare(bench.bend("A", 31, out)), bare(bench.bend("B", 93, out))}
	two[1].LegB += 12
	_, err = bender.Solve(two, bender.Setting{OD: bench.od})
	var wrong *bender.Contradiction
	require.ErrorAs(t, err, &wrong)
	require.Len(t, wrong.Faults, 1)
	assert.Contains(t, wrong.Error(), "too few tell which is wrong")
	for _, one := range []string{`leg_a of "A" by -`, `leg_b of "B" by +1`, `mark of "B" by`, `angle of "B" by`} {
		assert.Contains(t, wrong.Error(), one)
	}
}

// Chance alone must hardly ever have good measurements refused.
func TestGoodMeasurementsAreTaken(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	n, refused := 500, 0
	for range n {
		set := 20 + 100*rng.Float64()
		pieces := []bender.Piece{
			measured(bench.bend("A", set, bender.EdgeOutside), rng, usual),
			measured(bare(bench.bend("B", 20+100*rng.Float64(), bender.EdgeInside)), rng, usual),
		}
		if _, err := bender.Solve(pieces, bender.Setting{OD: bench.od}); err != nil {
			t.Log(err)
			refused++
		}
	}
	assert.LessOrEqual(t, refused, 2)
}

// More scatter than stated, without a single culprit, widens the intervals.
func TestScatterIsTakenIn(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	wide := bender.Noise{Length: 1.5, Angle: 0.6 * s1.Degree, Diameter: 0.1}
	seen := 0
	for range 40 {
		var pieces []bender.Piece
		for i, set := range []float64{25, 45, 62, 93, 93, 124} {
			pieces = append(pieces, measured(bare(bench.bend(fmt.Sprint(i), set, bender.EdgeOutside)), rng, wide))
		}
		c, err := bender.Solve(pieces, bender.Setting{OD: bench.od})
		if err != nil || c.Scatter == 1 {
			continue
		}
		told, err := bender.Solve(pieces, bender.Setting{OD: bench.od, Noise: bender.Noise{Length: 0.5 * c.Scatter, Angle: 0.25 * s1.Angle(c.Scatter) * s1.Degree}})
		require.NoError(t, err)
		assert.InEpsilon(t, told.CLR.Half, c.CLR.Half, 1e-3)
		assert.InEpsilon(t, told.Offset.Half, c.Offset.Half, 1e-3)
		seen++
	}
	assert.Greater(t, seen, 5)
}

// What can't be is refused, with the measurement and the reason.
func TestWhatCantBe(t *testing.T) {
	out, in := bender.EdgeOutside, bender.EdgeInside
	for _, c := range []struct {
		name    string
		change  func(p *bender.Piece)
		setting bender.Setting
		want    string
	}{
		{"more than set", func(p *bender.Piece) { p.Angle = p.Set + 1*s1.Degree }, bender.Setting{}, `piece "A": angle 94.00 degrees is 1.00 more than the 93.00 it was set to, but a bend opens when it is let go`},
		{"much springback", func(p *bender.Piece) { p.Set = 120 * s1.Degree }, bender.Setting{}, `piece "A": set 120.00 degrees for an angle of 90.77 is 29.23 of springback, more than any tube has`},
		{"legs too long", func(p *bender.Piece) { p.LegB += 40 }, bender.Setting{CLR: 152}, `piece "A": leg_a and leg_b add up to`},
		{"legs too short", func(p *bender.Piece) { p.LegB -= 60 }, bender.Setting{CLR: 152}, `mm too short`},
		{"the other edge", func(p *bender.Piece) { p.Legs = in }, bender.Setting{CLR: 152}, `to the outside they would fit`},
		{"the other edge, by chord", func(p *bender.Piece) { p.Legs = in }, bender.Setting{}, `to the outside they would fit`},
		{"to", func(p *bender.Piece) { p.Legs = "" }, bender.Setting{}, `piece "A": to is missing`},
		{"mark beyond", func(p *bender.Piece) { p.Mark = p.Length + 1 }, bender.Setting{}, `piece "A": mark 651.0 mm is beyond the end of the blank, which has 650.0 mm`},
		{"no mark", func(p *bender.Piece) { p.Mark, p.LegB = 0, 0 }, bender.Setting{}, `piece "A": mark is missing: without it both legs and the length are needed`},
		{"no length", func(p *bender.Piece) { p.Length = 0 }, bender.Setting{}, `piece "A": leg_b needs the length of the blank`},
		{"height missing", func(p *bender.Piece) { p.Height = 0 }, bender.Setting{}, `chord and height go together: height is missing`},
		{"chord_on", func(p *bender.Piece) { p.ChordOn = "" }, bender.Setting{}, `piece "A": chord_on is missing`},
		{"chord on the legs", func(p *bender.Piece) { p.Chord, p.Height = 400, 120 }, bender.Setting{}, `spans 124 degrees of arc, more than the bend's 91`},
		{"height of more than a semicircle", func(p *bender.Piece) { p.Chord, p.Height = 100, 60 }, bender.Setting{}, `height 60.0 mm is not less than half of the chord, 50.0 mm`},
		{"smallest over largest", func(p *bender.Piece) { p.Smallest, p.Largest = 45, 44 }, bender.Setting{}, `piece "A": smallest diameter 45.00 mm is more than the largest, 44.00 mm`},
		{"smallest over od", func(p *bender.Piece) { p.Smallest, p.Largest = 46, 47 }, bender.Setting{}, `piece "A": smallest diameter 46.00 mm is 1.55 mm more than od, 44.45 mm`},
		{"a kink", func(p *bender.Piece) { p.Smallest = 20 }, bender.Setting{}, `that is a kink`},
		{"wide", func(p *bender.Piece) { p.Largest = 70 }, bender.Setting{}, `over one and a half of od`},
		{"largest missing", func(p *bender.Piece) { p.Largest = 0 }, bender.Setting{}, `largest is missing`},
		{"NaN", func(p *bender.Piece) { p.LegA = math.NaN() }, bender.Setting{}, `leg_a NaN mm is not a length`},
		{"Inf", func(p *bender.Piece) { p.Angle = s1.InfAngle() }, bender.Setting{}, `is not between 0 and 180`},
		{"too far round", func(p *bender.Piece) { p.Angle, p.Set = 170*s1.Degree, 175*s1.Degree }, bender.Setting{}, `meet too far out`},
		{"stamp under half of od", func(*bender.Piece) {}, bender.Setting{CLR: 20}, `clr 20.0 mm is not more than half of od 44.5 mm`},
		{"another die's stamp", func(p *bender.Piece) {}, bender.Setting{CLR: 95}, `bent to 90.8 degrees on a die of 95.0 mm gives about 738.1 mm`},
		{"leg within the bend", func(p *bender.Piece) { d := p.LegA - 150; p.LegA -= d; p.LegB += d; *p = bare(*p) }, bender.Setting{CLR: 152}, `piece "A": leg_a 150.0 mm is shorter than the bend alone`},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := bench.bend("A", 93, out)
			c.change(&p)
			c.setting.OD = bench.od
			_, err := bender.Solve([]bender.Piece{p}, c.setting)
			require.ErrorContains(t, err, c.want)
		})
	}
	_, err := bender.Solve(nil, bender.Setting{OD: 40})
	require.ErrorContains(t, err, "there are no test pieces")
	_, err = bender.Solve([]bender.Piece{{}}, bender.Setting{})
	require.ErrorContains(t, err, "od, the tube's outside diameter, is missing")
	_, err = bender.Solve(make([]bender.Piece, 101), bender.Setting{OD: 40})
	require.ErrorContains(t, err, "101 test pieces are too many")
}

// Pieces that differ in roundness by more than a caliper's error: the worst counts.
func TestUnevenRoundness(t *testing.T) {
	a, b := bench.bend("A", 31, bender.EdgeOutside), bench.bend("B", 93, bender.EdgeOutside)
	b.Smallest = 0.91 * b.Largest
	c, err := bender.Solve([]bender.Piece{a, b}, bender.Setting{OD: bench.od})
	require.NoError(t, err)
	assert.True(t, c.Uneven)
	assert.InDelta(t, 0.91, c.Roundness.Value, 1e-12)
	assert.InDelta(t, 0.09*1.02, c.Ovality.Value, 1e-12)
}

func ExampleSolve() {
	c, err := bender.Solve([]bender.Piece{
		{Name: "A", Length: 650, Mark: 200, Set: 31.4 * s1.Degree, Angle: 30.1 * s1.Degree, LegA: 250.5, LegB: 413.8, Legs: bender.EdgeOutside},
		{Name: "B", Length: 650, Mark: 200, Set: 93.1 * s1.Degree, Angle: 90.5 * s1.Degree, LegA: 381.5, LegB: 382, Legs: bender.EdgeOutside},
	}, bender.Setting{Name: "d44", OD: 44.45})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("radius %.1f +- %.1f mm\n", c.CLR.Value, c.CLR.Half)
	set, half := c.SetAngle(60 * s1.Degree)
	fmt.Printf("for 60 degrees set %.1f +- %.1f\n", tube.Degrees(set), tube.Degrees(half))
	fmt.Println("sure:", c.Sure)
	// Output:
	// radius 155.0 +- 2.6 mm
	// for 60 degrees set 61.9 +- 0.4
	// sure: [clr stretch offset springback]
}

func BenchmarkSolve(b *testing.B) {
	for _, n := range []int{1, 5, 50} {
		var pieces []bender.Piece
		for i := range n {
			pieces = append(pieces, bench.bend(fmt.Sprint(i), 30+90*float64(i)/float64(n), bender.EdgeOutside))
		}
		b.Run(fmt.Sprintf("%d_pieces", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := bender.Solve(pieces, bender.Setting{OD: bench.od}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
