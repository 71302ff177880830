package bender_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/bender"
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
	length, mark := 650.0, 200.0
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
	p.LegA = apexX          // from end A at x = 0
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

func draws() int {
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		return 20000
	}
	return 1000
}

func TestIntervalsCover(t *testing.T) {
	for k, set := range sets() {
		t.Run(set.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, uint64(k)))
			var hits [6]int
			names := []string{"clr", "stretch", "offset", "a", "b", "ovality"}
			n := draws()
			half := make([]float64, 6)
			refused := 0
			for range n {
				pieces := make([]bender.Piece, len(set.pieces))
				for i, p := range set.pieces {
					pieces[i] = measured(p, rng, set.noise)
				}
				c, err := bender.Solve(pieces, bender.Setting{OD: bench.od, Noise: set.noise})
				if err != nil {
					refused++
					continue
				}
				for i, v := range []bender.Value{c.CLR, c.Stretch, c.Offset, c.A, c.B, c.Roundness} {
					require.Equal(t, bender.Measured, v.Basis, names[i])
					want := []float64{bench.clr, bench.stretch, bench.offset, bench.a, bench.b, bench.round}[i]
					if math.Abs(v.Value-want) <= v.Half {
						hits[i]++
					}
					half[i] += v.Half / float64(n)
				}
			}
			t.Logf("refused %d, half widths %.4g", refused, half)
			for i, name := range names {
				got := float64(hits[i]) / float64(n)
				t.Logf("%s: %.3f", name, got)
				assert.Less(t, math.Abs(got-0.95), 0.05, name)
			}
		})
	}
}
