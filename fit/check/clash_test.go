package check

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// bruteGap is the least distance between parts of two paths that keep lets
// through: pairs of points every 4 mm, then ever finer round the best ones.
func bruteGap(a, b *tube.Path, keep func(s, t float64) bool) float64 {
	const step = 4
	sample := func(p *tube.Path) (s []float64, at []r3.Vector) {
		n := int(math.Ceil(p.Length / step))
		for i := range n + 1 {
			x := p.Length * float64(i) / float64(n)
			v, _ := p.At(x)
			s, at = append(s, x), append(at, v)
		}
		return s, at
	}
	sa, pa := sample(a)
	sb, pb := sample(b)
	coarse := math.Inf(1)
	for i := range pa {
		for j := range pb {
			if keep(sa[i], sb[j]) {
				coarse = min(coarse, pa[i].Sub(pb[j]).Norm())
			}
		}
	}
	best := coarse
	tried := 0
	for i := range pa {
		for j := range pb {
			// Both points may be half a step off.
			if pa[i].Sub(pb[j]).Norm() > best+step || tried > 4000 {
				continue
			}
			tried++
			s, t := sa[i], sb[j]
			for h := float64(step); h > 1e-4; h /= 2 {
				bs, bt, d := s, t, math.Inf(1)
				for u := -2.0; u <= 2; u++ {
					for v := -2.0; v <= 2; v++ {
						x := min(max(s+u*h/2, 0), a.Length)
						y := min(max(t+v*h/2, 0), b.Length)
						if !keep(x, y) {
							continue
						}
						p, _ := a.At(x)
						q, _ := b.At(y)
						if e := p.Sub(q).Norm(); e < d {
							bs, bt, d = x, y, e
						}
					}
				}
				s, t, best = bs, bt, min(best, d)
			}
		}
	}
	return best
}

func all(float64, float64) bool { return true }

func randomBar(t testing.TB, rng *rand.Rand, name string, n int) *fit.Bar {
	for {
		nodes := make([]r3.Vector, n)
		for i := range nodes {
			nodes[i] = r3.Vector{X: 1000 * rng.Float64(), Y: 800 * rng.Float64(), Z: 500 * rng.Float64()}
		}
		if _, err := tube.NewPath(nodes, 152.4); err == nil {
			return testBar(t, name, nodes...)
		}
	}
}

func rounds(few, full int) int {
	if os.Getenv("BARWRIGHT_FULL") != "" {
		return full
	}
	return few
}

// The distance of two centrelines against pairs of points.
func TestGapAgainstPairs(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for i := range rounds(40, 1000) {
		a, b := randomBar(t, rng, "a", 2+i%3), randomBar(t, rng, "b", 2+rng.IntN(3))
		want := bruteGap(a.Path, b.Path, all)
		got, p, q := gap(a.Path, centrelines{b.Path})
		require.LessOrEqual(t, got, want+1e-9)
		require.GreaterOrEqual(t, got, want-fit.Resolution-0.001)
		require.InDelta(t, got, p.Sub(q).Norm(), fit.Resolution)

		found := clash(a, b)
		require.Equal(t, 44.45-want > lengthTol, len(found) == 1, "%v", want)
		if len(found) == 1 {
			assert.InDelta(t, 44.45-want, found[0].Got, fit.Resolution+0.001)
			_, da := a.Path.Closest(*found[0].At)
			_, db := b.Path.Closest(*found[0].At)
			assert.LessOrEqual(t, da, 22.23, "the place is in both tubes")
			assert.LessOrEqual(t, db, 22.23)
		}
	}
}

// Landed bars at random: what the joint's zones leave must be what pairs of
// points outside the zones give.
func TestClashOutsideZones(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	hits := 0
	for i := range rounds(40, 600) {
		b := randomBar(t, rng, "target", 2+i%3)
		node, _ := b.Path.At(b.Path.Length * rng.Float64())
		var a *fit.Bar
		for a == nil {
			nodes := []r3.Vector{node}
			for range 1 + rng.IntN(2) {
				nodes = append(nodes, r3.Vector{X: 1000 * rng.Float64(), Y: 800 * rng.Float64(), Z: 500 * rng.Float64()})
			}
			if _, err := tube.NewPath(nodes, 152.4); err == nil {
				a = testBar(t, "branch", nodes...)
			}
		}
		a.Ends[0] = job.End{Kind: job.Landed, Onto: "target"}
		zones := joints(a, b)
		require.Len(t, zones, 1)
		z := zones[0]
		want := bruteGap(a.Path, b.Path, func(s, u float64) bool { return s >= z.a1 && z.a1 < a.Path.Length || u <= z.b0 || u >= z.b1 })
		found := clash(a, b)
		if 44.45-want > lengthTol+fit.Resolution {
			require.Len(t, found, 1)
			assert.InDelta(t, 44.45-want, found[0].Got, fit.Resolution+0.001)
			hits++
		} else if 44.45-want < lengthTol-fit.Resolution {
			require.Empty(t, found)
		}
	}
	assert.Positive(t, hits, "some branches come back to their target")
}

// For straight tubes the zone is closed form: the axes are x sin(angle) apart at
// x from the node, so the tubes part at (sum of radii) / sin(angle).
func TestZoneOfStraightJoint(t *testing.T) {
	for _, degrees := range []float64{11, 16, 30, 45, 70, 90, 120, 150} {
		a := degrees * math.Pi / 180
		target := testBar(t, "target", r3.Vector{X: -900}, r3.Vector{X: 900})
		branch := testBar(t, "branch", r3.Vector{X: 50}, r3.Vector{X: 50 + 800*math.Cos(a), Z: 800 * math.Sin(a)})
		branch.Ends[0] = job.End{Kind: job.Landed, Onto: "target"}
		z, ok := meeting(branch, 0, target)
		require.True(t, ok)
		assert.InDelta(t, 44.45/math.Sin(a), z.a1, 0.05)
		assert.InDelta(t, 950, (z.b0+z.b1)/2, 1e-9)
		assert.Empty(t, clash(branch, target), "%v degrees", degrees)

		// From the other end too.
		p := branch.Path.Reversed()
		branch.Path, branch.Ends = p, [2]job.End{branch.Ends[1], branch.Ends[0]}
		z, ok = meeting(branch, 1, target)
		require.True(t, ok)
		assert.InDelta(t, p.Length-44.45/math.Sin(a), z.a0, 0.05)
		assert.Empty(t, clash(branch, target))
	}
}

// Two tubes that run side by side from a joint do clash: their zone ends.
func TestGrazingJointIsAClash(t *testing.T) {
	target := testBar(t, "target", r3.Vector{X: -900}, r3.Vector{X: 900})
	branch := testBar(t, "branch", r3.Vector{X: 0}, r3.Vector{X: 800, Z: 80})
	branch.Ends[0] = job.End{Kind: job.Landed, Onto: "target"}
	found := clash(branch, target)
	require.Len(t, found, 1)
	// Deepest where the zone ends, 44.45 / sin 10 = 256.0 mm from the node.
	assert.InDelta(t, 44.45-255.98*80/math.Hypot(800, 80), found[0].Got, 0.05)
	assert.Contains(t, found[0].Message, "do not come apart")

	// Without being landed there is no zone at all.
	branch.Ends[0] = job.End{Kind: job.Free}
	assert.InDelta(t, 44.45, clash(branch, target)[0].Got, fit.Resolution)
}

// Branches that meet at one node of a third bar may overlap there, and only
// there.
func TestBranchesAtOneNode(t *testing.T) {
	on := job.End{Kind: job.Landed, Onto: "hoop"}
	hoop := testBar(t, "hoop", r3.Vector{Y: -600}, r3.Vector{Y: 600})
	one := testBar(t, "diagonal", r3.Vector{}, r3.Vector{X: 500, Y: 200, Z: -300})
	two := testBar(t, "backstay", r3.Vector{Y: 10}, r3.Vector{X: 600, Y: -100, Z: -200})
	three := testBar(t, "roof bar", r3.Vector{Y: -20}, r3.Vector{X: -700})
	for _, b := range []*fit.Bar{one, two, three} {
		b.Ends[0] = on
	}
	assert.Empty(t, run(hoop, one, two, three))

	// The same two branches crossing farther on.
	two = testBar(t, "backstay", r3.Vector{Y: 300}, r3.Vector{X: 500, Y: 100, Z: -300})
	two.Ends[0] = on
	found := run(hoop, one, two)
	require.Len(t, found, 1)
	assert.Equal(t, "clash", found[0].Rule)
	assert.InDelta(t, 44.45-bruteGap(one.Path, two.Path, all), found[0].Got, fit.Resolution)
}

// A bar that crosses itself: a loop of three bends.
func TestSelfClash(t *testing.T) {
	loop := testBar(t, "loop", r3.Vector{X: -100}, r3.Vector{X: 1200}, r3.Vector{X: 1200, Y: 1000}, r3.Vector{X: 400, Y: 1000, Z: 20.05}, r3.Vector{X: 400, Y: -400, Z: 20.05})
	found := run(loop)
	require.Len(t, found, 1)
	assert.Equal(t, "clash", found[0].Rule)
	assert.Contains(t, found[0].Message, "overlaps itself by 24.4 mm") // 44.45 - 20.05

	open := testBar(t, "open", r3.Vector{X: -100}, r3.Vector{X: 1200}, r3.Vector{X: 1200, Y: 1000}, r3.Vector{X: 400, Y: 1000, Z: 60}, r3.Vector{X: 400, Y: -400, Z: 60})
	assert.Empty(t, run(open))
}

// trim gives the same points as the whole path.
func TestTrim(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 50 {
		p := randomBar(t, rng, "a", 4).Path
		from := p.Length * rng.Float64()
		to := from + (p.Length-from)*rng.Float64()
		part := trim(p, from, to)
		require.InDelta(t, to-from, part.Length, 1e-9)
		for range 20 {
			x := part.Length * rng.Float64()
			a, u := part.At(x)
			b, v := p.At(from + x)
			require.Less(t, a.Sub(b).Norm(), 1e-8)
			require.Less(t, u.Sub(v).Norm(), 1e-9)
			s, d := part.Closest(b)
			require.InDelta(t, x, s, 1e-6)
			require.Less(t, d, 1e-8)
		}
	}
}

func BenchmarkClash(b *testing.B) {
	rng := rand.New(rand.NewPCG(13, 14))
	for _, n := range []int{15, 30} {
		b.Run(fmt.Sprintf("%dbars", n), func(b *testing.B) {
			var bars []*fit.Bar
			for i := range n {
				bars = append(bars, randomBar(b, rng, fmt.Sprint(i), 4))
			}
			c := &fit.Cage{Bars: bars}
			for b.Loop() {
				Cage(c, testJob(), nil, Options{Workers: 1})
			}
		})
	}
}
