package cope

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/internal/golden"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// A quartic made of its roots gives them back.
func TestRoots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 4).Draw(t, "real roots")
		var want []float64
		c := quartic{rapid.SampledFrom([]float64{-2, .5, 1}).Draw(t, "scale")}
		degree := 0
		times := func(f ...float64) { // by the polynomial f[0] + f[1] x + f[2] x^2
			var next quartic
			for i, a := range c[:degree+1] {
				for k, b := range f {
					next[i+k] += a * b
				}
			}
			c, degree = next, degree+len(f)-1
		}
		at := -3.0
		for range n {
			at += rapid.Float64Range(.01, 1.4).Draw(t, "next")
			want = append(want, at)
			times(-at, 1)
		}
		for degree < 3 {
			a := rapid.Float64Range(-1, 1).Draw(t, "a")
			times(a*a+rapid.Float64Range(.1, 2).Draw(t, "b"), -2*a, 1) // never zero
		}
		var got [4]float64
		k := c.roots(degree, -5, 5, &got)
		require.Len(t, got[:k], n)
		for i := range want {
			require.InDelta(t, want[i], got[i], 1e-7)
		}
	})
}

// Lines through a piece of ring with a ball at either end, against stepping
// along them: also where they start inside the rest of the full ring.
func TestLeaveRing(t *testing.T) {
	hits := 0
	rapid.Check(t, func(t *rapid.T) {
		radius := rapid.Float64Range(60, 200).Draw(t, "clr")
		turn := rapid.Float64Range(3, 170).Draw(t, "turn") * math.Pi / 180
		leg := radius * math.Tan(turn/2)
		u := drawUnit(t, "u")
		w := around(u, turn*180/math.Pi, rapid.Float64Range(0, 360).Draw(t, "plane"))
		b := bar(t, "arc", 40, 2, radius, [2]job.End{free, free}, u.Mul(-leg), v(0, 0, 0), w.Mul(leg))
		p := *b.Path
		for _, g := range p.Segments {
			if g.Kind == tube.Arc {
				p.Segments = []tube.Segment{g}
			}
		}
		s := newSolid(0, &p, 20, v(0, 0, 0), 1e4)
		at, _ := p.At(rapid.Float64Range(0, p.Length).Draw(t, "at"))
		dir := drawUnit(t, "dir")
		from := at.Add(dir.Ortho().Mul(rapid.Float64Range(-20, 20).Draw(t, "beside")))
		line := ray{from, dir}
		lo, hi := rapid.Float64Range(-200, 20).Draw(t, "lo"), rapid.Float64Range(20, 300).Draw(t, "hi")
		if s.distance(line.at(hi)) < 20.1 {
			return
		}
		want, ok := 0.0, false
		const step = .02
		for x := hi; x > lo; x -= step {
			if s.distance(line.at(x)) <= 20 {
				want, ok = x, true
				break
			}
		}
		got, found := s.leave(line, lo, hi)
		if !ok { // it may touch between two steps, by step^2 / (8 x 20) at most
			require.True(t, !found || s.distance(line.at(got)) < 20+1e-6)
			return
		}
		if !found { // a line that only touches is seen by cut, with the same slack
			_, least := golden.Search(func(x float64) float64 { return s.distance(line.at(x)) }, want-2*step, want+2*step, 60, 0).Least()
			require.Greater(t, least, 20-touching)
			return
		}
		hits++
		require.InDelta(t, 20, s.distance(line.at(got)), 1e-6)
		if math.Abs(got-want) > 1.01*step {
			mid := s.distance(line.at((got + want) / 2))
			require.InDelta(t, 20, mid, 1e-4, "%g or %g", got, want)
		}
	})
	require.Positive(t, hits)
}
