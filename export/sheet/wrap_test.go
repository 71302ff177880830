package sheet

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/export/draw"
	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/cope"
	"barwright/fit/job"
	"barwright/fit/tube"
)

func tubeBar(t require.TestingT, name string, od float64, ends [2]job.End, nodes ...r3.Vector) *fit.Bar {
	p, err := tube.NewPath(nodes, 3*od)
	require.NoError(t, err)
	spec := &tube.Spec{Name: "t", OD: od, Wall: 2}
	return &fit.Bar{Name: name, Tube: spec, Path: p, Ends: ends, Table: spec.Table(p)}
}

func landing(name string) job.End { return job.End{Kind: job.Landed, Onto: name} }

var freeEnd = job.End{Kind: job.Free}

// joined works a cage's joints and blanks out.
func joined(t require.TestingT, bars ...*fit.Bar) (*fit.Cage, []Wrap) {
	c := &fit.Cage{Bars: bars}
	cope.Work(c, &job.Job{}, nil, 1)
	for _, b := range c.Bars {
		b.Blank = bender.Plan(b.Tube, b.Path, [2]float64{b.Cuts[0].Beyond(), b.Cuts[1].Beyond()})
	}
	wraps, err := Wraps(c, false)
	require.NoError(t, err)
	return c, wraps
}

func named(t require.TestingT, c *fit.Cage, bar string) *fit.Bar {
	for _, b := range c.Bars {
		if b.Name == bar {
			return b
		}
	}
	require.Fail(t, "no bar "+bar)
	return nil
}

// cutLine returns the curve along which the paper is cut.
func cutLine(t require.TestingT, d *draw.Drawing) []r2.Point {
	var out []r2.Point
	for _, s := range d.Strokes {
		if s.Kind == draw.Cut {
			require.Empty(t, out, "one curve")
			out = s.Polyline(0.001)
		}
	}
	require.Len(t, out, 361)
	return out
}

// roll lays a point of the paper on the tube: printed side out, with the paper's
// y along the tube from A to B and its left edge on the reference line. The way
// to the right then follows from the paper alone: of a sheet that is looked at,
// right is y cross what points to the eye.
func roll(b *fit.Bar, end int, p r2.Point) r3.Vector {
	s := float64(end) * b.Path.Length
	node, up := b.Path.At(s)
	eye := tube.ReferenceAt(b.Path, s)
	right := up.Cross(eye)
	sin, cos := math.Sincos(p.X / b.Radius())
	return node.Add(up.Mul(p.Y)).Add(eye.Mul(b.Radius() * cos)).Add(right.Mul(b.Radius() * sin))
}

func endOfWrap(w Wrap) int { return int(w.End[0] - 'A') }

func jointOf(t require.TestingT, c *fit.Cage, name string) *fit.Joint {
	for i := range c.Joints {
		if c.Joints[i].Name == name {
			return &c.Joints[i]
		}
	}
	require.Fail(t, "no joint "+name)
	return nil
}

// The paper is wrapped round the tube by arithmetic, and its edge must come to
// lie on the bead and on the surface of the other bar.
func TestWrapFitsTheJoint(t *testing.T) {
	mirrorShows := 0
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		od := f(30, 60, "target od")
		target := tubeBar(t, "target", od, [2]job.End{freeEnd, freeEnd}, vec(0, -700, 300), vec(f(-80, 80, "x"), 0, 320), vec(0, 700, 300))
		at, d := target.Path.At(f(500, 900, "at"))
		// A branch from 40 to 140 degrees off the target, all ways round it, that is
		// bent away from its end.
		e := d.Ortho()
		round := tube.Rotate(e, d, s1.Angle(f(0, 360, "round"))*s1.Degree)
		sin, cos := math.Sincos(f(40, 140, "angle") * math.Pi / 180)
		w := d.Mul(cos).Add(round.Mul(sin))
		corner := at.Add(w.Mul(500))
		far := corner.Add(w.Add(tube.Rotate(w.Ortho(), w, s1.Angle(f(0, 360, "bend"))*s1.Degree)).Mul(400))
		branch := tubeBar(t, "branch", od*f(0.5, 1, "ratio"), [2]job.End{landing("target"), freeEnd}, at, corner, far)
		if rapid.Bool().Draw(t, "end B") {
			branch.Path, branch.Ends = branch.Path.Reversed(), [2]job.End{freeEnd, landing("target")}
		}
		c, wraps := joined(t, target, branch)
		require.Len(t, wraps, 1)
		j := jointOf(t, c, wraps[0].Joint)
		line := cutLine(t, wraps[0].Drawing)
		require.InDelta(t, math.Pi*branch.Tube.OD, line[360].X-line[0].X, 1e-9)
		require.InDelta(t, line[0].Y, line[360].Y, 1e-9, "the seam closes")
		for _, s := range wraps[0].Drawing.Strokes {
			if s.Kind != draw.Hidden {
				continue
			}
			// The bore's edge at the same clock, that much nearer to the axis.
			for _, p := range s.Polyline(0.01) {
				q := roll(branch, endOfWrap(wraps[0]), p)
				axis := roll(branch, endOfWrap(wraps[0]), r2.Point{X: p.X + math.Pi*branch.Radius(), Y: p.Y}).Add(q).Mul(0.5)
				_, distance := target.Path.Closest(axis.Add(q.Sub(axis).Mul(branch.Tube.Inner() / branch.Tube.OD)))
				require.InDelta(t, target.Radius(), distance, 0.01)
			}
		}
		off := 0.0
		for k, p := range line {
			q := roll(branch, endOfWrap(wraps[0]), p)
			_, distance := target.Path.Closest(q)
			require.InDelta(t, target.Radius(), distance, 0.01)
			if k%5 == 0 && k < 360 {
				require.InDelta(t, 0, q.Sub(j.Bead[k/5]).Norm(), 0.01)
				turned := roll(branch, endOfWrap(wraps[0]), r2.Point{X: -p.X, Y: p.Y})
				_, distance := target.Path.Closest(turned)
				off = max(off, math.Abs(distance-target.Radius()))
			}
		}
		if off > 1 {
			mirrorShows++
		}
	})
	assert.Positive(t, mirrorShows, "a sheet printed as its mirror image must not pass")
}

// references.md C7: saddles of two tubes of one size, in diameters, from the
// deepest point of the notch, at every 22.5 degrees (worked out there from the
// closed form of the intersection of two cylinders).
func TestWrapDepthOfEqualTubes(t *testing.T) {
	for angle, want := range map[float64][]float64{
		90: {0, .0381, .1464, .3087, .5},
		60: {0, .0659, .2537, .5346, .8660, .7556, .6619, .5993, .5774},
		45: {0, .0919, .3536, .7452, 1.2071, 1.1279, 1.0607, 1.0158, 1.0},
		30: {0, .1420, .5465, 1.1519, 1.8660, 1.8148, 1.7713, 1.7422, 1.7321},
	} {
		sin, cos := math.Sincos(angle * math.Pi / 180)
		header := tubeBar(t, "header", 50, [2]job.End{freeEnd, freeEnd}, vec(-500, 0, 0), vec(500, 0, 0))
		branch := tubeBar(t, "branch", 50, [2]job.End{landing("header"), freeEnd}, vec(0, 0, 0), vec(600*cos, 0, 600*sin))
		_, wraps := joined(t, header, branch)
		require.Len(t, wraps, 1)
		line := cutLine(t, wraps[0].Drawing)
		// The reference line is the upper one, away from the crotch, but for the
		// upright branch, whose line is in front.
		crotch := 180.0
		if angle == 90 {
			crotch = 0
		}
		for k, depth := range want {
			clock := math.Mod(crotch+22.5*float64(k), 360)
			i, part := math.Modf(clock)
			y := line[int(i)].Y + part*(line[int(i)+1].Y-line[int(i)].Y)
			// The printed digits; halfway between two degrees the chord is under
			// 1e-4 diameters off.
			assert.InDelta(t, depth, (line[int(crotch)].Y-y)/50, 1.5e-4, "%v degrees, %v from the crotch", angle, 22.5*float64(k))
		}
	}
}

// room is a straight bar between two others, one end up and one end down.
func room(t require.TestingT) (*fit.Cage, []Wrap) {
	left := tubeBar(t, "left", 45, [2]job.End{freeEnd, freeEnd}, vec(-400, 500, 0), vec(400, 500, 200))
	right := tubeBar(t, "right", 45, [2]job.End{freeEnd, freeEnd}, vec(-400, -500, 0), vec(400, -500, 100))
	cross := tubeBar(t, "cross", 38, [2]job.End{landing("left"), landing("right")}, vec(0, 500, 100), vec(200, -500, 75))
	foot := tubeBar(t, "leg", 38, [2]job.End{{Kind: job.Foot}, landing("cross")}, vec(0, 0, -300), vec(50, 0, -150), vec(100, 0, 87.5))
	foot.Feet = []fit.Foot{{End: 0, Point: vec(0, 0, -300), Normal: vec(0.1, 0.2, 0.97).Normalize()}}
	return joined(t, left, right, cross, foot)
}

// figure finds the length that a template gives for something.
func figure(t require.TestingT, w Wrap, what string) float64 {
	all := append([]string{}, w.Drawing.Notes...)
	for _, s := range w.Drawing.Texts {
		all = append(all, s.Words)
	}
	m := regexp.MustCompile(regexp.QuoteMeta(what) + `: (-?[0-9.]+)`).FindStringSubmatch(strings.Join(all, "\n"))
	require.NotNil(t, m, "%s in %q", what, all)
	v, err := strconv.ParseFloat(strings.TrimSuffix(m[1], "."), 64)
	require.NoError(t, err)
	return v
}

// straightEdge returns the y of the edge that is measured from: the paper's own
// outline on the side away from the waste.
func straightEdge(w Wrap) float64 {
	y := 0.0
	for _, s := range w.Drawing.Strokes {
		if s.Kind == draw.Outline {
			for _, v := range s.Vertices {
				if w.End == "A" {
					y = max(y, v.Y)
				} else {
					y = min(y, v.Y)
				}
			}
		}
	}
	return y
}

// Distances are held against places in space.
func TestWrapFigures(t *testing.T) {
	c, wraps := room(t)
	require.Len(t, wraps, 4)
	for _, w := range wraps {
		b, e := named(t, c, w.Bar), endOfWrap(w)
		node, _ := b.Path.At(float64(e) * b.Path.Length)
		edge := roll(b, e, r2.Point{Y: straightEdge(w)}).Sub(tube.ReferenceAt(b.Path, float64(e)*b.Path.Length).Mul(b.Radius()))
		reach := edge.Sub(node).Norm()
		if w.Bar == "cross" {
			far, _ := b.Path.At(float64(1-e) * b.Path.Length)
			other := string("BA"[e])
			assert.InDelta(t, edge.Sub(far).Norm()+b.Blank.Beyond[1-e], figure(t, w, "edge to sawn end "+other), 0.051)
			assert.InDelta(t, 0, math.Mod(reach+1e-9, 5), 1e-6, "set on a rule")
			continue
		}
		arc := b.Path.Arcs()[0]
		if e == 0 {
			require.Equal(t, 0, b.Blank.First)
			assert.InDelta(t, edge.Sub(arc.From).Norm(), figure(t, w, "edge to start and mark of bend 1"), 0.051)
			assert.InDelta(t, reach+b.Blank.Beyond[0], figure(t, w, "to sawn end A"), 0.051)
			assert.InDelta(t, reach, figure(t, w, "node N0"), 0.051)
			// A die whose mark lies 12 mm before the bend.
			b.Blank.Steps[0].Mark[0] -= 12
			moved, err := Wraps(c, false)
			require.NoError(t, err)
			reach = math.Abs(straightEdge(moved[2]))
			require.Equal(t, w.Name, moved[2].Name)
			assert.InDelta(t, figure(t, moved[2], "edge to start of bend 1")-12, figure(t, moved[2], "to mark of bend 1"), 0.101)
			assert.InDelta(t, b.Blank.Steps[0].Mark[0], figure(t, moved[2], "to mark of bend 1")+reach+b.Blank.Beyond[0], 0.051)
		} else {
			assert.InDelta(t, edge.Sub(arc.To).Norm(), figure(t, w, "edge to end of bend 1"), 0.051)
			assert.InDelta(t, reach, figure(t, w, "node N2"), 0.051)
		}
	}
}

// Hatching lies on the side that is sawn off.
func TestWrapHatchesTheWaste(t *testing.T) {
	_, wraps := room(t)
	for _, w := range wraps {
		line := cutLine(t, w.Drawing)
		wide := line[360].X
		hatched := 0
		for _, s := range w.Drawing.Strokes {
			a, b := s.Vertices[0], s.Vertices[len(s.Vertices)-1]
			if s.Kind != draw.Thin || len(s.Vertices) != 2 || math.Abs(math.Abs(b.X-a.X)-math.Abs(b.Y-a.Y)) > 1e-6 || b.X == a.X {
				continue
			}
			hatched++
			m := a.Add(b.Point).Mul(0.5)
			i := min(int(m.X/wide*360), 359)
			y := line[i].Y + (m.X/wide*360-float64(i))*(line[i+1].Y-line[i].Y)
			if w.End == "A" {
				assert.LessOrEqual(t, m.Y, y+1e-6)
			} else {
				assert.GreaterOrEqual(t, m.Y, y-1e-6)
			}
		}
		assert.Greater(t, hatched, 5, w.Name)
	}
}

// On a plate's plane both edges of the wall are flat cuts: the bore's shows where
// it must be ground back.
func TestWrapOfAFoot(t *testing.T) {
	c, wraps := room(t)
	w := wraps[2]
	require.Equal(t, "wrap-leg.a", w.Name)
	require.Empty(t, w.Joint)
	b := named(t, c, "leg")
	for _, p := range cutLine(t, w.Drawing) {
		assert.InDelta(t, 0, roll(b, 0, p).Sub(b.Feet[0].Point).Dot(b.Feet[0].Normal), 1e-9)
	}
	for _, s := range w.Drawing.Strokes {
		if s.Kind != draw.Hidden {
			continue
		}
		for _, p := range s.Polyline(0.01) {
			q := roll(b, 0, p)
			axis := b.Path.Nodes[0].Add(b.Path.Segments[0].Dir.Mul(p.Y))
			bore := axis.Add(q.Sub(axis).Mul(b.Tube.Inner() / b.Tube.OD))
			assert.InDelta(t, 0, bore.Sub(b.Feet[0].Point).Dot(b.Feet[0].Normal), 1e-9)
		}
	}
}

func TestWrapsOfAPairAreMirrorImages(t *testing.T) {
	hoop := tubeBar(t, "hoop", 45, [2]job.End{freeEnd, freeEnd}, vec(0, -500, 0), vec(0, -500, 900), vec(0, 500, 900), vec(0, 500, 0))
	stay := tubeBar(t, "stay", 38, [2]job.End{landing("hoop"), freeEnd}, vec(0, 300, 900), vec(-400, 350, 700), vec(-700, 330, 200))
	twin := *stay
	twin.Name, twin.Mirrored, twin.MirrorOf, twin.Path = "stay (mirror)", true, "stay", stay.Path.Mirrored()
	_, wraps := joined(t, hoop, stay, &twin)
	require.Len(t, wraps, 2)
	a, b := cutLine(t, wraps[0].Drawing), cutLine(t, wraps[1].Drawing)
	for k := range a {
		assert.InDelta(t, a[k].Y, b[360-k].Y, 1e-6)
	}
	assert.NotEqual(t, wraps[0].Name, wraps[1].Name)
}

// A straight that is too short for all the words keeps its template off the bend
// as long as there is room for the bar's name; the rest stands above.
func TestWrapOnAShortStraight(t *testing.T) {
	for _, c := range []struct {
		straight float64
		words    string
	}{{90, "edge to start and mark of bend 1"}, {45, "edge to start and mark of bend 1"}, {25, "edge beyond start and mark of bend 1"}} {
		beam := tubeBar(t, "beam", 40, [2]job.End{freeEnd, freeEnd}, vec(-300, 0, 0), vec(300, 0, 0))
		back := 120.0 * math.Tan(math.Pi/8)
		post := tubeBar(t, "post", 40, [2]job.End{landing("beam"), freeEnd}, vec(0, 0, 0), vec(0, 0, c.straight+back), vec(400, 0, c.straight+back+400))
		_, wraps := joined(t, beam, post)
		require.Len(t, wraps, 1)
		edge := straightEdge(wraps[0])
		assert.InDelta(t, math.Abs(c.straight-edge), figure(t, wraps[0], c.words), 0.051)
		if c.straight > 40 {
			assert.LessOrEqual(t, edge, c.straight)
		}
		assert.GreaterOrEqual(t, edge, 20+wrapLeast-1e-9, "room for the name")
		// Words keep within the paper that is left.
		for _, text := range wraps[0].Drawing.Texts {
			if text.Words == "post, end A" {
				assert.Greater(t, text.At.Y, 20.0)
				assert.Less(t, text.At.Y+text.Height, edge)
			}
		}
	}
}

func TestWrapsRefuse(t *testing.T) {
	c, _ := room(t)
	cut := &named(t, c, "cross").Cuts[1]
	good := *cut
	for _, bad := range []fit.EndCut{
		{Kind: fit.Notch},
		{Kind: fit.Notch, Outer: good.Outer, Inner: good.Inner[:10]},
		{Kind: fit.Notch, Outer: append([]float64{math.NaN()}, good.Outer[1:]...), Inner: good.Inner},
	} {
		*cut = bad
		_, err := Wraps(c, false)
		require.ErrorContains(t, err, `bar "cross", end B: its cut `)
		_, err = WrapFiles(c, draw.A4, false)
		require.Error(t, err)
	}
	*cut = fit.EndCut{Kind: fit.Square, Outer: make([]float64, 360), Inner: make([]float64, 360)}
	wraps, err := Wraps(c, false)
	require.NoError(t, err)
	assert.Len(t, wraps, 3, "a square end needs none")
	files, err := WrapFiles(&fit.Cage{Bars: []*fit.Bar{{}}}, draw.A4, false)
	require.NoError(t, err)
	assert.Empty(t, files)
}

func TestWrapFiles(t *testing.T) {
	c, wraps := room(t)
	named(t, c, "cross").Name, c.Joints[0].Bar, c.Joints[1].Bar = "../ÜBER <b>&", "../ÜBER <b>&", "../ÜBER <b>&"
	for _, paper := range []draw.Paper{draw.A4, draw.Letter, draw.Whole} {
		for _, inches := range []bool{false, true} {
			files, err := WrapFiles(c, paper, inches)
			require.NoError(t, err)
			require.Len(t, files, 1+2*len(wraps))
			seen := map[string]bool{}
			for _, f := range files {
				assert.Regexp(t, `^sheets/[a-z0-9.-]+\.(pdf|svg|dxf)$`, f.Name)
				assert.False(t, seen[f.Name])
				seen[f.Name] = true
				var a, b bytes.Buffer
				require.NoError(t, f.Write(&a))
				require.NoError(t, f.Write(&b))
				assert.Equal(t, a.Bytes(), b.Bytes())
				if strings.HasSuffix(f.Name, ".svg") {
					assert.Contains(t, a.String(), fmt.Sprintf("Figures: %s", figures{inches}.unit()))
				}
			}
			assert.True(t, seen["sheets/wrap-j1.ueber-b.a.svg"])
		}
	}
}

func BenchmarkWraps(b *testing.B) {
	c, _ := room(b)
	for b.Loop() {
		if _, err := Wraps(c, false); err != nil {
			b.Fatal(err)
		}
	}
}
