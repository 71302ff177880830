package cope

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// Every edge of every cut lies on the branch's own surface and on that of a bar
// that it is notched round, and inside none of them.
func TestCutsLieOnBothSurfaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCage(t)
		Work(c, shop(), nil, 1)
		require.Len(t, c.Joints, 4)
		for _, l := range landings(c) {
			if l.grazing {
				return
			}
		}
		byName := map[string]*fit.Bar{}
		for _, b := range c.Bars {
			byName[b.Name] = b
		}
		for _, j := range c.Joints {
			b := byName[j.Bar]
			e := int(j.End[0] - 'A')
			s := station(b, e)
			w := j.Node.Sub(byAxis(b, e, 1)).Mul(-1)
			for i := range 360 {
				u := tube.AtClock(b.Path, s, s1.Angle(i)*s1.Degree)
				for _, edge := range []struct{ rho, x float64 }{{b.Radius(), b.Cuts[e].Outer[i]}, {b.Tube.Inner() / 2, b.Cuts[e].Inner[i]}} {
					p := j.Node.Add(u.Mul(edge.rho)).Add(w.Mul(edge.x))
					least := math.Inf(1) // height over the nearest surface
					for _, name := range append([]string{j.Onto}, j.Around...) {
						_, d := byName[name].Path.Closest(p)
						least = min(least, d-byName[name].Radius())
					}
					require.InDelta(t, 0, least, 1e-6)
				}
				if i%5 == 0 {
					require.InDelta(t, 0, j.Bead[i/5].Sub(j.Node.Add(u.Mul(b.Radius())).Add(w.Mul(b.Cuts[e].Outer[i]))).Norm(), 1e-9)
				}
				require.LessOrEqual(t, b.Cuts[e].Outer[i], j.Long)
				require.GreaterOrEqual(t, b.Cuts[e].Outer[i], j.Short)
			}
		}
	})
}

// byAxis returns the point x mm from a bar's end along its axis.
func byAxis(b *fit.Bar, e int, x float64) r3.Vector {
	if e == 1 {
		x = b.Path.Length - x
	}
	p, _ := b.Path.At(x)
	return p
}

// sameScalars compares what does not depend on where a bar's reference line is.
func sameScalars(t require.TestingT, want, got fit.Joint, offset float64) {
	require.InDelta(t, want.Angle, got.Angle, 1e-7)
	require.InDelta(t, want.Offset*offset, got.Offset, 1e-7)
	require.InDelta(t, want.At, got.At, 1e-6)
	require.Equal(t, want.Order, got.Order)
	if len(want.Around)+len(got.Around) > 0 {
		return // where two bars meet a notch may have a slit that is narrower than a degree
	}
	require.InDelta(t, want.Long, got.Long, 1e-6)
	require.InDelta(t, want.Short, got.Short, 1e-4) // lines that only touch magnify rounding to its square root
}

// sameCurve compares two edges of a bar's end, read in the same direction or (sign
// -1) against each other. Where a notch goes round two bars a line may just touch
// the second: rounding says whether it stops there or goes on to the first.
func sameCurve(t require.TestingT, c *fit.Cage, b *fit.Bar, e int, want, got []float64, sign int) {
	most := 0
	for _, j := range c.Joints {
		if j.Bar == b.Name && j.End == endName(e) && len(j.Around) > 0 {
			most = 4
		}
	}
	differ := 0
	for k := range want {
		if math.Abs(want[k]-got[(360+sign*k)%360]) > 1e-4 { // see sameScalars
			differ++
		}
	}
	require.LessOrEqual(t, differ, most)
}

func TestMirrorImage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCage(t)
		mirror := func(p r3.Vector) r3.Vector { return v(p.X, -p.Y, p.Z) }
		m := moved(c, mirror)
		Work(c, shop(), nil, 1)
		Work(m, shop(), nil, 1)
		for i, want := range c.Joints {
			got := m.Joints[i]
			sameScalars(t, want, got, -1)
			if len(want.Around) == 0 {
				require.InDelta(t, want.Length, got.Length, 1e-4)
				require.InDelta(t, want.WedgeMin, got.WedgeMin, 1e-5)
				require.InDelta(t, want.WedgeMax, got.WedgeMax, 1e-5)
			}
			require.InDelta(t, 0, math.Mod(want.Clock+got.Clock+.5, 360)-.5, 1e-6)
			if len(want.Around) == 0 {
				for k, p := range want.Bead {
					require.Less(t, mirror(p).Sub(got.Bead[(beads-k)%beads]).Norm(), 1e-4)
				}
			}
		}
		for i, b := range c.Bars {
			for e, cut := range b.Cuts {
				other := m.Bars[i].Cuts[e]
				require.Equal(t, cut.Kind, other.Kind)
				sameCurve(t, c, b, e, cut.Outer, other.Outer, -1)
				sameCurve(t, c, b, e, cut.Inner, other.Inner, -1)
			}
		}
	})
}

func TestRigidMotion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCage(t)
		angle := rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn")
		axis := v(0, 0, 1) // keeps upper generators where they are
		level := rapid.Bool().Draw(t, "level")
		if !level {
			axis = drawUnit(t, "axis")
		}
		shift := drawUnit(t, "shift").Mul(1000)
		m := moved(c, func(p r3.Vector) r3.Vector {
			sin, cos := math.Sincos(angle)
			p = p.Mul(cos).Add(axis.Cross(p).Mul(sin)).Add(axis.Mul(axis.Dot(p) * (1 - cos)))
			return p.Add(shift)
		})
		Work(c, shop(), nil, 1)
		Work(m, shop(), nil, 1)
		for i, want := range c.Joints {
			sameScalars(t, want, m.Joints[i], 1)
		}
		if !level {
			return
		}
		for i, b := range c.Bars {
			for e, cut := range b.Cuts {
				sameCurve(t, c, b, e, cut.Outer, m.Bars[i].Cuts[e].Outer, 1)
				sameCurve(t, c, b, e, cut.Inner, m.Bars[i].Cuts[e].Inner, 1)
			}
		}
	})
}

// The number of workers does not show.
func TestWorkers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCage(t)
		m := moved(c, func(p r3.Vector) r3.Vector { return p })
		one, more := Work(c, shop(), nil, 1), Work(m, shop(), nil, 5)
		require.Equal(t, one, more)
		require.Equal(t, c.Joints, m.Joints)
	})
}

// Names go by bar and end; a free end is square, a foot without a known plane
// too.
func TestNamesAndSquareEnds(t *testing.T) {
	hoop := bar(t, "hoop", 45, 2.5, 135, [2]job.End{foot, free}, v(0, 600, 0), v(0, 600, 1000), v(0, -600, 1000))
	at, _ := hoop.Path.At(700)
	to, _ := hoop.Path.At(1700)
	across := bar(t, "across", 38, 2.5, 0, [2]job.End{onto("hoop"), onto("hoop")}, to, at)
	stay := on(t, "stay", 38, 2.5, hoop, 1400, v(-1, 0, -1), 900)
	c := cage(across, stay, hoop)
	found := Work(c, shop(), nil, 0)
	assert.Empty(t, onlyRule(found, "landing"))
	var names []string
	for _, j := range c.Joints {
		names = append(names, j.Name+j.Bar+j.End+j.Onto)
	}
	assert.Equal(t, []string{"J1acrossAhoop", "J2acrossBhoop", "J3stayAhoop"}, names)
	for _, cut := range hoop.Cuts {
		assert.Equal(t, fit.EndCut{Kind: fit.Square, Outer: make([]float64, 360), Inner: make([]float64, 360)}, cut)
	}
	assert.Equal(t, fit.Notch, across.Cuts[0].Kind)
	assert.Less(t, c.Joints[1].Long, 60.0, "not out to where it meets the hoop's other side")
	assert.Equal(t, fit.Square, stay.Cuts[1].Kind)
}

func onlyRule(found []fit.Finding, rule string) []fit.Finding {
	var out []fit.Finding
	for _, f := range found {
		if f.Rule == rule {
			out = append(out, f)
		}
	}
	return out
}

// After all cuts no two bars claim the same place near a joint: a point of one
// bar's metal that is inside another's tube is past the other's cut.
func TestNoPlaceTwice(t *testing.T) {
	looked, shared := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		c := drawCage(t)
		all := landings(c)
		order(c, all)
		for _, l := range all {
			if l.grazing {
				return
			}
		}
		for _, l := range all {
			for range 40 {
				u := l.direction(rapid.Float64Range(0, 2*math.Pi).Draw(t, "clock"))
				rho := rapid.Float64Range(0, .995).Draw(t, "rho") * l.branch.Radius()
				x := l.cut(rho, u).x + rapid.Float64Range(0, 60).Draw(t, "x")
				p := l.node.Add(u.Mul(rho)).Add(l.w.Mul(x))
				looked++
				for k, b := range c.Bars {
					if s, d := b.Path.Closest(p); k == l.bar || d > b.Radius()-.01 || s == 0 || s == b.Path.Length {
						continue
					}
					// Inside another: it must be where that one is cut away. Bars that
					// part and meet again farther out clash, which is not of the node.
					away, here := false, false
					for _, o := range all {
						if o.bar != k {
							continue
						}
						off := p.Sub(o.node)
						along := off.Dot(o.w)
						out := off.Sub(o.w.Mul(along))
						here = here || along < o.hi && x < l.hi
						if out.Norm() > 0 {
							away = away || along < o.cut(out.Norm(), out.Normalize()).x+1e-6
						}
					}
					if !here {
						continue
					}
					shared++
					require.True(t, away, "%s end %d in %s, %g mm from the node", l.branch.Name, l.end, b.Name, x)
				}
			}
		}
	})
	require.Positive(t, shared)
	t.Logf("%d points, %d of them in other bars' cut ends", looked, shared)
}
