package mesh

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// slowSegment is the reference: the distance from a point to a convex set is
// convex, so that a ternary search along the segment finds the smallest.
func slowSegment(a, b, v0, v1, v2 r3.Vector) float64 {
	at := func(t float64) float64 { return slowSide(a.Mul(1-t).Add(b.Mul(t)), v0, v1, v2) }
	lo, hi := 0.0, 1.0
	for range 80 {
		third := (hi - lo) / 3
		if at(lo+third) <= at(hi-third) {
			hi -= third
		} else {
			lo += third
		}
	}
	return min(at(lo), at(hi), at(0), at(1))
}

// slowSide is slowTriangle without its exact digits, for triangles of sound
// shape.
func slowSide(p, a, b, c r3.Vector) float64 {
	n := b.Sub(a).Cross(c.Sub(a)).Normalize()
	inside := true
	best := math.Inf(1)
	for _, s := range [3][2]r3.Vector{{a, b}, {b, c}, {c, a}} {
		side := s[1].Sub(s[0])
		inside = inside && n.Cross(side).Dot(p.Sub(s[0])) >= 0
		t := max(0, min(1, p.Sub(s[0]).Dot(side)/side.Norm2()))
		best = min(best, s[0].Add(side.Mul(t)).Sub(p).Norm())
	}
	if inside {
		return math.Abs(p.Sub(a).Dot(n))
	}
	return best
}

func TestSegmentToTriangle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Whole coordinates bring out parallel, touching and coplanar cases.
		coord := rapid.Map(rapid.IntRange(-6, 6), func(i int) float64 { return float64(i) })
		if rapid.Bool().Draw(t, "any place") {
			coord = rapid.Float64Range(-6, 6)
		}
		draw := func() r3.Vector {
			return r3.Vector{X: coord.Draw(t, "x"), Y: coord.Draw(t, "y"), Z: coord.Draw(t, "z")}
		}
		a, b, v0, v1, v2 := draw(), draw(), draw(), draw(), draw()
		if v1.Sub(v0).Cross(v2.Sub(v0)).Norm() < 1e-3 {
			t.Skip("the reference needs a triangle of sound shape")
		}
		s, on, q := segmentToTriangle(a, b, v0, v1, v2)
		want := slowSegment(a, b, v0, v1, v2)
		if got := on.Sub(q).Norm(); math.Abs(got-want) > 1e-6 {
			t.Fatalf("%v %v to %v %v %v: got %v, want %v", a, b, v0, v1, v2, got, want)
		}
		if d := a.Add(b.Sub(a).Mul(s)).Sub(on).Norm(); d > 1e-12 {
			t.Fatalf("place and point differ by %v", d)
		}
		if d := slowSide(q, v0, v1, v2); d > 1e-9 {
			t.Fatalf("the point is %v off the triangle", d)
		}
	})
}

func TestSegmentAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMesh(t)
		ix := NewIndex(m)
		a, b := drawQuery(t, m), drawQuery(t, m)
		if rapid.Bool().Draw(t, "short") {
			b = a.Add(b.Sub(a).Mul(1e-3))
		}
		s := newSegmentQuery(ix, a, b)
		want := SegmentHit{Hit: none()}
		for i := range m.Triangles {
			s.consider(int32(i), &want)
		}
		got, ok := ix.Segment(a, b, math.Inf(1))
		if !ok || got != want {
			t.Fatalf("%v %v: got %v, want %v", a, b, got, want)
		}
		if h, _ := newLeanIndex(m).Segment(a, b, math.Inf(1)); h != want {
			t.Fatalf("lean: got %v, want %v", h, want)
		}
		if h, ok := ix.Segment(a, b, want.Distance); ok {
			t.Fatalf("closer than the closest: %v", h)
		}
		if h, ok := ix.Segment(a, b, want.Distance*(1+1e-12)+1e-300); !ok || h != want {
			t.Fatalf("a little more: %v, want %v", h, want)
		}
	})
}

func TestSegmentOnShell(t *testing.T) {
	for _, n := range []int{3000, 80000} {
		m := wavyShell(n, true)
		ix := NewIndex(m)
		points := coherentPoints(m, 400)
		for i := 0; i+20 < len(points); i += 20 {
			for _, j := range []int{i + 1, i + 20, (i + 200) % len(points)} {
				s := newSegmentQuery(ix, points[i], points[j])
				want := SegmentHit{Hit: none()}
				for k := range m.Triangles {
					s.consider(int32(k), &want)
				}
				got, ok := ix.Segment(points[i], points[j], math.Inf(1))
				require.True(t, ok)
				require.Equal(t, want, got)
			}
		}
	}
}
