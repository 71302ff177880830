package cope

import (
	"flag"
	"math"
	"os"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// TestMain keeps properties light; BARWRIGHT_FULL=1 draws more.
func TestMain(m *testing.M) {
	checks := "40"
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		checks = "1000"
	}
	if err := flag.Set("rapid.checks", checks); err != nil { // the command line, parsed later, still wins
		panic(err)
	}
	os.Exit(m.Run())
}

func v(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

var (
	foot = job.End{Kind: job.Foot}
	free = job.End{Kind: job.Free}
)

func onto(name string) job.End { return job.End{Kind: job.Landed, Onto: name} }

// bar makes a bar of a tube of the given outside diameter and wall, bent to the
// radius clr.
func bar(t require.TestingT, name string, od, wall, clr float64, ends [2]job.End, nodes ...r3.Vector) *fit.Bar {
	p, err := tube.NewPath(nodes, clr)
	require.NoError(t, err)
	return &fit.Bar{Name: name, Tube: &tube.Spec{Name: name, OD: od, Wall: wall}, Path: p, Ends: ends}
}

// on makes a straight bar that lands with end A on a bar, s mm along it, and
// runs off from there along dir.
func on(t require.TestingT, name string, od, wall float64, target *fit.Bar, s float64, dir r3.Vector, length float64) *fit.Bar {
	at, _ := target.Path.At(s)
	return bar(t, name, od, wall, 0, [2]job.End{onto(target.Name), free}, at, at.Add(dir.Normalize().Mul(length)))
}

func cage(bars ...*fit.Bar) *fit.Cage { return &fit.Cage{Bars: bars} }

func shop() *job.Job { return &job.Job{Joints: job.Joints{Vent: 3, Bare: 25, Apart: 25}} }

// drawUnit draws a direction.
func drawUnit(t *rapid.T, name string) r3.Vector {
	z := rapid.Float64Range(-1, 1).Draw(t, name+".z")
	a := rapid.Float64Range(0, 2*math.Pi).Draw(t, name+".a")
	h := math.Sqrt(1 - z*z)
	return v(h*math.Cos(a), h*math.Sin(a), z)
}

// around returns the unit vector at the angle (degrees) to dir, turned by clock
// degrees about it.
func around(dir r3.Vector, angle, clock float64) r3.Vector {
	e := dir.Ortho()
	f := dir.Cross(e)
	sin, cos := math.Sincos(clock * math.Pi / 180)
	side := e.Mul(cos).Add(f.Mul(sin))
	sin, cos = math.Sincos(angle * math.Pi / 180)
	return dir.Mul(cos).Add(side.Mul(sin))
}

// drawTarget draws a bent bar and a place on it, well away from its ends.
func drawTarget(t *rapid.T) (*fit.Bar, float64) {
	od := rapid.Float64Range(25, 60).Draw(t, "target od")
	clr := rapid.Float64Range(2, 5).Draw(t, "clr") * od
	turn := rapid.Float64Range(5, 120).Draw(t, "turn") * math.Pi / 180
	leg := 300 + clr*math.Tan(turn/2)
	u := drawUnit(t, "u")
	w := around(u, turn*180/math.Pi, rapid.Float64Range(0, 360).Draw(t, "plane"))
	corner := drawUnit(t, "corner").Mul(800)
	b := bar(t, "target", od, 2, clr, [2]job.End{foot, free}, corner.Sub(u.Mul(leg)), corner, corner.Add(w.Mul(leg)))
	return b, rapid.Float64Range(140, b.Path.Length-140).Draw(t, "at")
}

// drawBranch draws a bar that lands on the target.
func drawBranch(t *rapid.T, name string, target *fit.Bar, at float64) *fit.Bar {
	od := target.Tube.OD * rapid.Float64Range(.4, 1).Draw(t, name+" od")
	if rapid.Bool().Draw(t, name+" equal") {
		od = target.Tube.OD
	}
	_, d := target.Path.At(at)
	w := around(d, rapid.Float64Range(10, 170).Draw(t, name+" angle"), rapid.Float64Range(0, 360).Draw(t, name+" clock"))
	b := on(t, name, od, 2, target, at, w, 700)
	if rapid.Bool().Draw(t, name+" end B") {
		b.Path, b.Ends = b.Path.Reversed(), [2]job.End{b.Ends[1], b.Ends[0]}
	}
	return b
}

// landed returns the cut of a bar's landed end, with the node and the direction
// back along the bar.
func landed(b *fit.Bar) (cut fit.EndCut, s float64, node, w r3.Vector) {
	e := 0
	if b.Ends[0].Kind != job.Landed {
		e = 1
	}
	s = station(b, e)
	node, w = b.Path.At(s)
	if e == 1 {
		w = w.Mul(-1)
	}
	return b.Cuts[e], s, node, w
}

// A cage as it may come: a hoop with a bar and its mirror image landing on it, a
// cross between those two, and another that lands where one of them does.
func drawCage(t *rapid.T) *fit.Cage {
	f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	od := rapid.SampledFrom([]float64{38, 40, 44.45, 50}).Draw(t, "od")
	small := rapid.SampledFrom([]float64{30, 38}).Draw(t, "small")
	half, high := f(450, 650, "half"), f(900, 1100, "high")
	hoop := bar(t, "hoop", od, 2, 3*od, [2]job.End{foot, foot},
		v(0, half, 0), v(0, half-f(0, 80, "in"), high), v(0, -half, high), v(0, -half, 0))
	s := f(600, hoop.Path.Length-200, "s")
	stay := on(t, "stay", small, 2, hoop, s, v(-1, f(-.6, -.2, "y"), f(-1, .3, "z")), 900)
	more := on(t, "more", small, 1.5, hoop, s+f(-60, 60, "beside"), v(-1, f(.2, .6, "y2"), f(-1, .3, "z2")), 900)
	end, _ := stay.Path.At(f(300, 700, "on stay"))
	from, _ := hoop.Path.At(f(150, 300, "on hoop"))
	brace := bar(t, "brace", small, 1.5, 0, [2]job.End{onto("stay"), onto("hoop")}, end, from)
	return cage(hoop, more, stay, brace)
}

// moved returns the cage moved by a rigid motion, its joints worked out anew.
func moved(c *fit.Cage, move func(r3.Vector) r3.Vector) *fit.Cage {
	out := &fit.Cage{}
	for _, b := range c.Bars {
		t := *b
		t.Path = b.Path.Transformed(move)
		out.Bars = append(out.Bars, &t)
	}
	return out
}
