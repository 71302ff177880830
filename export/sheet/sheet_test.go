package sheet

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

func vec(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

var (
	d44  = &tube.Die{Name: "d44", OD: 44.45, CLR: 152.4, MaxAngle: 120 * s1.Degree}
	main = &tube.Spec{Name: "main", OD: 44.45, Wall: 2.41, Die: d44}

	hoopNodes = []r3.Vector{vec(0, -600, 0), vec(0, -600, 900), vec(0, -450, 1150), vec(0, 450, 1150), vec(0, 600, 900), vec(0, 600, 0)}
	sideNodes = []r3.Vector{vec(900, 600, 0), vec(700, 560, 900), vec(0, 500, 1150), vec(-600, 640, 1000)}
)

func bar(t testing.TB, name string, nodes []r3.Vector) *fit.Bar {
	t.Helper()
	p, err := tube.NewPath(nodes, d44.CLR)
	require.NoError(t, err)
	return &fit.Bar{Name: name, Tube: main, Path: p, Table: main.Table(p)}
}

func mirrored(b *fit.Bar) *fit.Bar {
	m := *b
	m.Name, m.Mirrored, m.MirrorOf = b.Name+job.MirrorSuffix, true, b.Name
	m.Path = b.Path.Mirrored()
	m.Table = main.Table(m.Path)
	return &m
}

// coupe is a small cage: a flat hoop, a pair that is bent in space, a straight.
func coupe(t testing.TB) *fit.Cage {
	side := bar(t, "side bar", sideNodes)
	twin := mirrored(side)
	return &fit.Cage{Title: "coupe", Bars: []*fit.Bar{
		bar(t, "main hoop", hoopNodes), side, twin, bar(t, "cross", []r3.Vector{vec(0, -600, 400), vec(0, 600, 400)}),
	}, Joints: []fit.Joint{
		{Name: "J1", Bar: "cross", End: "A", Onto: "main hoop", At: 400, Clock: 180},
		{Name: "J2", Bar: "stay", End: "B", Onto: "side bar", At: 500, Clock: 75},
		{Name: "J3", Bar: "stay (mirror)", End: "B", Onto: "side bar (mirror)", At: 500, Clock: 285},
	}}
}

// templaterOf returns what draws the bar i of a cage.
func templaterOf(c *fit.Cage, i int) *templater {
	for _, f := range families(c.Bars) {
		if f.first == i {
			return &templater{cage: c, family: f, bar: c.Bars[i], slug: "bar"}
		}
	}
	return nil
}

func TestViews(t *testing.T) {
	for _, c := range []struct {
		normal, a, b r3.Vector
		face         string
		right, up    r3.Vector
	}{
		{vec(-1, 0, 0), vec(0, 600, 0), vec(0, -600, 0), "seen from the front of the car", vec(0, 1, 0), vec(0, 0, 1)},
		{vec(0, 1, 0), vec(900, 600, 0), vec(-100, 600, 0), "seen from the right of the car", vec(1, 0, 0), vec(0, 0, 1)},
		{vec(0, 0, -1), vec(0, -5, 3), vec(100, -5, 3), "seen from above", vec(1, 0, 0), vec(0, 1, 0)},
		{vec(0.8, 0, 0.6), vec(0, 0, 0), vec(0, 100, 0), "seen roughly from the front of the car", vec(0, 1, 0), vec(-0.6, 0, 0.8)},
		// A bar that ends where it starts lies as its first straight.
		{vec(0, 0, 1), vec(7, 7, 7), vec(7, 7, 7), "seen from above", vec(1, 0, 0), vec(0, 1, 0)},
	} {
		v := newView(c.normal, c.a, c.b, vec(1, 0, 0))
		assert.Equal(t, c.face, v.face)
		assert.InDelta(t, 0, v.right.Sub(c.right).Norm(), 1e-12, c.face)
		assert.InDelta(t, 0, v.up.Sub(c.up).Norm(), 1e-12, c.face)
	}
}

// outlines returns the two edges of the tube in a drawing.
func outlines(d *draw.Drawing) []draw.Stroke {
	var out []draw.Stroke
	for _, s := range d.Strokes {
		if s.Kind == draw.Outline {
			out = append(out, s)
		}
	}
	return out
}

// checkEdges holds points of the drawn edges against the path itself, which knows
// nothing of drawings: they must be half a diameter off it.
func checkEdges(t require.TestingT, p *tube.Path, v view, d *draw.Drawing, radius float64) {
	edges := outlines(d)
	require.Len(t, edges, 2)
	for _, e := range edges {
		for _, q := range e.Polyline(0.001) {
			_, off := p.Closest(v.origin.Add(v.right.Mul(q.X)).Add(v.up.Mul(q.Y)))
			require.InDelta(t, radius, off, 0.05)
		}
	}
	a, b := edges[0].Polyline(0.01), edges[1].Polyline(0.01)
	require.InDelta(t, 2*radius, a[0].Sub(b[0]).Norm(), 0.01, "one edge on each side")
}

func TestEdgesOfFlatBars(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		float := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		n := rapid.IntRange(1, 5).Draw(t, "bends")
		table := tube.Table{Tail: float(0, 400, "tail")}
		for i := range n {
			b := tube.Bend{Feed: float(0, 400, "feed"), Angle: s1.Angle(float(2, 110, "angle")) * s1.Degree}
			if i > 0 && rapid.Bool().Draw(t, "other way") {
				b.Rotation = 180 * s1.Degree
			}
			table.Bends = append(table.Bends, b)
		}
		nodes := tube.Nodes(table, d44.CLR, vec(float(-900, 900, "x"), 200, 300), vec(float(-1, 1, "u"), 1, float(-1, 1, "w")), vec(0.3, float(-1, 1, "n"), 2))
		p, err := tube.NewPath(nodes, d44.CLR)
		if err != nil {
			t.Skip(err)
		}
		c := &fit.Cage{Bars: []*fit.Bar{{Name: "bar", Tube: main, Path: p}}}
		sheets, err := Templates(c, false)
		require.NoError(t, err)
		require.Len(t, sheets, 1)
		// A path may come near to itself, which is not what is tested here.
		for s := 0.0; s < p.Length; s += 10 {
			q, _ := p.At(s)
			for far := s + 3*d44.CLR; far < p.Length; far += 10 {
				if f, _ := p.At(far); f.Sub(q).Norm() < 60 {
					t.Skip("crosses itself")
				}
			}
		}
		normal, ok := flatPlane(p)
		require.True(t, ok)
		v := newView(normal, nodes[0], nodes[len(nodes)-1], p.Segments[0].Dir)
		checkEdges(t, p, v, sheets[0].Drawing, main.OD/2)
	})
}

func TestEdgesOfBarsInSpace(t *testing.T) {
	c := coupe(t)
	sheets, err := Templates(c, true)
	require.NoError(t, err)
	p := c.Bars[1].Path
	for i, g := range p.Arcs() {
		before, after := &p.Segments[2*i], &p.Segments[2*i+2]
		part, err := tube.NewPath([]r3.Vector{before.From, p.Nodes[g.Node], after.To}, p.Radius)
		require.NoError(t, err)
		v := newView(g.Axis, before.From, after.To, before.Dir)
		checkEdges(t, part, v, sheets[1+i].Drawing, main.OD/2)
	}
}

// The same bounds as in fit/check's own test of its rule.
func TestFlatWithinTolerance(t *testing.T) {
	for _, off := range []float64{0, 0.049, 0.2} {
		nodes := append([]r3.Vector{}, hoopNodes...)
		nodes[5].X = off
		sheets, err := Templates(&fit.Cage{Bars: []*fit.Bar{bar(t, "hoop", nodes)}}, false)
		require.NoError(t, err)
		if off < 0.05 {
			require.Len(t, sheets, 1)
			assert.Equal(t, "template-hoop", sheets[0].Name)
		} else {
			assert.Greater(t, len(sheets), 1)
		}
	}
}

func TestSheetsOfACage(t *testing.T) {
	sheets, err := Templates(coupe(t), false)
	require.NoError(t, err)
	var names []string
	for _, s := range sheets {
		names = append(names, s.Name)
	}
	assert.Equal(t, []string{"template-main-hoop", "template-side-bar.bend-1", "template-side-bar.bend-2", "template-side-bar.turn-2"}, names)
	assert.Equal(t, []string{"main hoop"}, sheets[0].Bars)
	assert.Equal(t, []string{"side bar", "side bar (mirror)"}, sheets[1].Bars)
	notes := strings.Join(sheets[1].Drawing.Notes, "\n")
	assert.Contains(t, notes, "also for side bar (mirror): turn the sheet over")
	assert.Contains(t, strings.Join(sheets[0].Drawing.Notes, "\n"), "J1  at 400.0, clock 180.0°, edge away from the figures: cross")
	assert.Contains(t, notes, "J3  at 500.0")
	assert.Contains(t, notes, "(on side bar (mirror) only)")
	for _, want := range []string{"bend 1", "bend 4", "A", "B", "N0", "N5", "cut square", "J1  400.0", "main hoop, seen from the front of the car", "reference line"} {
		assert.True(t, says(sheets[0].Drawing, want), want)
	}
	assert.True(t, says(sheets[1].Drawing, "bend 2 starts here"))
	assert.True(t, says(sheets[2].Drawing, "bend 1 ends here"))
}

func says(d *draw.Drawing, words string) bool {
	for _, t := range d.Texts {
		if t.Words == words {
			return true
		}
	}
	return false
}

// Distances at the tangent points, worked out by hand: legs of 900 mm and
// sqrt(150^2 + 250^2) = 291.548 mm, a turn of atan(150 / 250) = 30.9638 degrees
// with a setback of 152.4 tan(15.4819 deg) = 42.2108 mm and an arc of 82.3593 mm.
func TestDistances(t *testing.T) {
	sheets, err := Templates(&fit.Cage{Bars: []*fit.Bar{bar(t, "hoop", hoopNodes)}}, false)
	require.NoError(t, err)
	for _, want := range []string{"857.8", "940.1", "31.0°"} {
		assert.True(t, says(sheets[0].Drawing, want), want)
	}
	assert.Contains(t, sheets[0].Drawing.Notes[1], "over all 1244.4 by 1172.2") // 1200 + OD, 1150 + OD/2
	// In inches: 857.79 mm are 33.771 in, nearest 33 3/4.
	sheets, err = Templates(&fit.Cage{Bars: []*fit.Bar{bar(t, "hoop", hoopNodes)}}, true)
	require.NoError(t, err)
	assert.True(t, says(sheets[0].Drawing, "33.771 (33 3/4)"))
	assert.Contains(t, sheets[0].Drawing.Notes[0], "Tube 1.75 in x 0.0949 in, CLR 6 in.")
}

// The saddle of a tee as published: ordinates of header radius 136.5 and branch
// radius 131.5 mm, 36.56 at 45 and 99.89 at 90 degrees (fitterkipurijankari.com
// 2023/09/16; those between them computed from the same formula). Seen along the
// header, the cut must lie on the header's circle.
func TestEndCutOfPublishedTee(t *testing.T) {
	const header, branch = 136.5, 131.5
	ordinates := []float64{0, 9.615, 36.56, 74.271, 99.89, 74.271, 36.56, 9.615}
	cut := fit.EndCut{Kind: fit.Notch}
	for k := range 16 {
		cut.Outer = append(cut.Outer, header-ordinates[k%8])
	}
	die := &tube.Die{Name: "big", OD: 2 * branch, CLR: 600}
	spec := &tube.Spec{Name: "big", OD: 2 * branch, Wall: 5, Die: die}
	for end := range 2 {
		nodes := []r3.Vector{vec(0, 0, 0), vec(0, 0, 2000), vec(0, 1500, 3000)}
		if end == 1 {
			nodes[0], nodes[2] = nodes[2], nodes[0]
		}
		p, err := tube.NewPath(nodes, die.CLR)
		require.NoError(t, err)
		b := &fit.Bar{Name: "branch", Tube: spec, Path: p, Ends: [2]job.End{}}
		b.Cuts[end] = cut
		// The ordinate is 0 at generators that lie beside the node along the header's
		// axis, so that runs along clock 0, in the plane of the view; with the cut
		// turned by a quarter it is seen end-on.
		for _, turned := range []int{0, 4} {
			b.Cuts[end].Outer = append(append([]float64{}, cut.Outer[turned:]...), cut.Outer[:turned]...)
			tm := templaterOf(&fit.Cage{Bars: []*fit.Bar{b}}, 0)
			v := newView(vec(1, 0, 0), nodes[0], nodes[2], p.Segments[0].Dir)
			got := tm.cutAt(v, newRun(v, p, 0, len(p.Segments), 0), end)
			assert.Equal(t, "notch", got.words)
			assert.Zero(t, got.beyond)
			kinds := map[draw.Kind]int{}
			node := v.point(p.Nodes[end*2])
			for _, s := range got.strokes {
				kinds[s.Kind] += len(s.Vertices)
				for _, q := range s.Vertices {
					if turned == 4 {
						assert.InDelta(t, header, q.Point.Sub(node).Norm(), 0.02)
					}
				}
			}
			assert.GreaterOrEqual(t, kinds[draw.Cut], 9)
			assert.GreaterOrEqual(t, kinds[draw.Hidden], 9)
			want := [2]float64{header, header - 99.89} // at the edges, in the middle
			if turned == 4 {
				want = [2]float64{want[1], want[0]}
			}
			assert.InDelta(t, want[0], got.edge(1), 1e-9)
			assert.InDelta(t, want[0], got.edge(-1), 1e-9)
			assert.InDelta(t, want[1], got.middle, 1e-9)
		}
	}
}

// The edges of the tube end where the cut passes the outline, also where one is
// longer than the other: an oblique plane at some clock, x = r tan(35 deg) cos.
func TestEdgesEndAtTheCut(t *testing.T) {
	for end := range 2 {
		for _, phase := range []float64{0, 40, 130, 270} {
			b := bar(t, "hoop", hoopNodes)
			for k := range 72 {
				b.Cuts[end].Outer = append(b.Cuts[end].Outer, main.OD/2*math.Tan(35*math.Pi/180)*math.Cos((float64(5*k)-phase)*math.Pi/180))
			}
			b.Cuts[end].Kind = fit.Mitre
			sheets, err := Templates(&fit.Cage{Bars: []*fit.Bar{b}}, false)
			require.NoError(t, err)
			d := sheets[0].Drawing
			var cuts []draw.Stroke
			for _, s := range d.Strokes {
				if s.Kind == draw.Cut && len(s.Vertices) > 2 {
					cuts = append(cuts, s)
				}
			}
			require.Len(t, cuts, 1)
			for _, e := range outlines(d) {
				tip := e.Vertices[0].Point
				if end == 1 {
					tip = e.Vertices[len(e.Vertices)-1].Point
				}
				first, last := cuts[0].Vertices[0].Point, cuts[0].Vertices[len(cuts[0].Vertices)-1].Point
				assert.Less(t, min(tip.Sub(first).Norm(), tip.Sub(last).Norm()), 0.05)
			}
			assert.True(t, says(d, "oblique cut"))
		}
	}
}

// Turned over, the sheet of a pair must show the twin's joints where they are: a
// joint's place around the twin, mirrored in y = 0, is that on the bar drawn.
func TestTwinsShareMarks(t *testing.T) {
	c := coupe(t)
	a, b := c.Joints[1], c.Joints[2]
	p, q := c.Bars[1].Path, c.Bars[2].Path
	one := tube.AtClock(p, a.At, s1.Angle(a.Clock)*s1.Degree)
	two := tube.AtClock(q, b.At, s1.Angle(b.Clock)*s1.Degree)
	two.Y = -two.Y
	require.InDelta(t, 0, one.Sub(two).Norm(), 1e-9, "the joints of this test are mirror images")

	tm := templaterOf(c, 1)
	v := newView(p.Segments[1].Axis, p.Segments[0].From, p.Segments[2].To, p.Segments[0].Dir)
	marks := tm.marks(v, newRun(v, p, 0, 3, 0))
	require.Len(t, marks, 2)
	assert.Equal(t, marks[0].side, marks[1].side)
	assert.Equal(t, "side bar (mirror)", marks[1].other)
}

func TestMarksSayWhichSide(t *testing.T) {
	c := &fit.Cage{Bars: []*fit.Bar{bar(t, "hoop", hoopNodes)}}
	p := c.Bars[0].Path
	// Seen from the front: +x faces the reader; 0, -600, 450 is on the leg on the
	// left, whose outside is -y.
	for _, k := range []struct {
		towards r3.Vector
		side    string
	}{{vec(1, 0, 0), "facing you"}, {vec(-1, 0, 0), "far side"}, {vec(0, -1, 0), "edge beside the figures"}, {vec(0, 1, 0), "edge away from the figures"}} {
		c.Joints = []fit.Joint{{Name: "J1", Bar: "x", Onto: "hoop", At: 450, Clock: tube.ClockOf(p, 450, k.towards).Degrees()}}
		sheets, err := Templates(c, false)
		require.NoError(t, err)
		notes := sheets[0].Drawing.Notes
		assert.Contains(t, notes[len(notes)-1], k.side)
	}
}

// The bead of a joint is drawn full where it faces the reader.
func TestBeadsAreDrawn(t *testing.T) {
	c := &fit.Cage{Bars: []*fit.Bar{bar(t, "hoop", hoopNodes)}}
	j := fit.Joint{Name: "J1", Bar: "x", Onto: "hoop", At: 450}
	for k := range 36 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 18)
		j.Bead = append(j.Bead, vec(15, -600+19*cos, 450+19*sin))
	}
	count := func(x float64) map[draw.Kind]int {
		for k := range j.Bead {
			j.Bead[k].X = x
		}
		c.Joints = []fit.Joint{j}
		sheets, err := Templates(c, false)
		require.NoError(t, err)
		out := map[draw.Kind]int{}
		for _, s := range sheets[0].Drawing.Strokes {
			out[s.Kind]++
		}
		return out
	}
	assert.Equal(t, 1, count(15)[draw.Ghost])
	assert.Equal(t, 0, count(-15)[draw.Ghost])
	assert.Equal(t, 1, count(-15)[draw.Hidden])
}

// bent simulates a bender, whose die stays where it is: the tube is fed along -x,
// turned as a dial says by a builder who stands on +x and looks along -x, and its
// bent part is swung about z. It returns the nodes in the machine's axes.
func bent(table tube.Table, turned map[int]s1.Angle) []r3.Vector {
	turn := func(p, axis r3.Vector, a s1.Angle) r3.Vector { // Rodrigues' formula
		sin, cos := math.Sincos(a.Radians())
		return p.Mul(cos).Add(axis.Cross(p).Mul(sin)).Add(axis.Mul(axis.Dot(p) * (1 - cos)))
	}
	var nodes []r3.Vector
	shift := func(by float64) {
		for i := range nodes {
			nodes[i].X -= by
		}
	}
	setback := 0.0
	nodes = append(nodes, r3.Vector{})
	for i, b := range table.Bends {
		next := d44.CLR * math.Tan(b.Angle.Radians()/2)
		shift(setback + b.Feed + next)
		for k := range nodes {
			// Clockwise for one who looks along -x: right-handed about -x.
			nodes[k] = turn(nodes[k], r3.Vector{X: -1}, turned[i+1])
			nodes[k] = turn(nodes[k], r3.Vector{Z: 1}, b.Angle)
		}
		nodes = append(nodes, r3.Vector{})
		setback = next
	}
	shift(setback + table.Tail)
	return append(nodes, r3.Vector{})
}

// What a dial says must make the bar, not its mirror image.
func TestDialsMakeTheBar(t *testing.T) {
	for _, nodes := range [][]r3.Vector{sideNodes, {vec(0, 0, 0), vec(0, 0, 1000), vec(1000, 0, 1000), vec(1000, 800, 1000), vec(1500, 1500, 0)}} {
		b := bar(t, "bar", nodes)
		for _, b := range []*fit.Bar{b, mirrored(b)} {
			tm := templaterOf(&fit.Cage{Bars: []*fit.Bar{b}}, 0)
			turned := map[int]s1.Angle{}
			for _, u := range tm.turns() {
				turned[u.to] = u.angle
				assert.Equal(t, 1, u.last)
			}
			got := bent(b.Table, turned)
			want := b.Path.Nodes
			for i := range want {
				for k := range want[:i] {
					require.InDelta(t, want[i].Sub(want[k]).Norm(), got[i].Sub(got[k]).Norm(), 1e-6)
				}
			}
			hand := func(n []r3.Vector) float64 {
				return n[1].Sub(n[0]).Cross(n[2].Sub(n[1])).Dot(n[3].Sub(n[2]))
			}
			require.InDelta(t, hand(want), hand(got), 1e-3*math.Abs(hand(want)))
		}
	}
}

// The same for blanks as they are planned, whichever end goes in first.
func TestDialsOfPlansMakeTheBar(t *testing.T) {
	long := []r3.Vector{vec(0, 0, 0), vec(0, 0, 300), vec(700, 0, 900), vec(900, 900, 1000), vec(1500, 2500, 200)}
	back := append([]r3.Vector{}, long...)
	slices.Reverse(back)
	die := *d44
	die.Machine = &tube.Machine{Bends: tube.BendsLeft, Height: 500}
	spec := *main
	spec.Die = &die
	seen := map[int]bool{}
	for _, nodes := range [][]r3.Vector{long, back} {
		b := bar(t, "bar", nodes)
		b.Tube = &spec
		b.Blank = bender.Plan(b.Tube, b.Path, [2]float64{})
		first := b.Blank.First
		seen[first] = true
		p := b.Path
		if first == 1 {
			p = p.Reversed()
		}
		turned := map[int]s1.Angle{}
		for _, u := range templaterOf(&fit.Cage{Bars: []*fit.Bar{b}}, 0).turns() {
			k := u.to
			if first == 1 {
				k = len(b.Blank.Steps) + 1 - u.to
			}
			turned[k] = u.angle
			assert.Equal(t, 1-first, u.last)
		}
		require.Len(t, turned, 2)
		got := bent(b.Tube.Table(p), turned)
		for i := range got {
			for k := range got[:i] {
				require.InDelta(t, p.Nodes[i].Sub(p.Nodes[k]).Norm(), got[i].Sub(got[k]).Norm(), 1e-6)
			}
		}
		hand := func(n []r3.Vector) float64 {
			return n[1].Sub(n[0]).Cross(n[2].Sub(n[1])).Dot(n[3].Sub(n[2]))
		}
		require.InDelta(t, hand(p.Nodes), hand(got), 1e-3*math.Abs(hand(got)))
	}
	assert.Equal(t, map[int]bool{0: true, 1: true}, seen, "both ends go first once")
}

// The line to turn to is on the right of the card for a positive rotation, and
// the card says so.
func TestDial(t *testing.T) {
	tm := templaterOf(coupe(t), 1)
	for _, angle := range []s1.Angle{30, -30, 2, 150, -150, 180} {
		angle *= s1.Degree
		d := tm.dial(turn{from: 1, to: 2, angle: angle, last: 1})
		var cuts []draw.Stroke
		for _, s := range d.Strokes {
			if s.Kind == draw.Cut {
				cuts = append(cuts, s)
			}
		}
		require.Len(t, cuts, 2, "hole and line")
		hole := draw.Drawing{Strokes: cuts[:1]}
		assert.InDelta(t, main.OD, hole.Bounds().Size().X, 1e-9)
		tip := cuts[1].Vertices[1]
		assert.InDelta(t, math.Sin(angle.Radians()), tip.X/tip.Norm(), 1e-9)
		assert.InDelta(t, math.Cos(angle.Radians()), tip.Y/tip.Norm(), 1e-9)
		want := degrees(angle.Abs()) + " CLOCKWISE"
		if angle < 0 {
			want = degrees(angle.Abs()) + " COUNTERCLOCKWISE"
		}
		assert.True(t, says(d, want), want)
		assert.True(t, says(d, "between bend 1 and bend 2, seen from end B"))
		notes := strings.Join(d.Notes, "\n")
		assert.Contains(t, notes, "Stand at end B, which goes into the bender last, and look along the tube towards the die. + is clockwise.")
		other := "counterclockwise"
		if angle < 0 {
			other = "clockwise"
		}
		assert.Contains(t, notes, "Also for side bar (mirror), between bends 1 and 2: turn "+other+" to the dashed line.")
		assert.LessOrEqual(t, d.Bounds().Size().X, 190.0, "fits on A4")
	}
}

// With a plan of the blank, dials follow the order in which bends are made.
func TestDialsFollowThePlan(t *testing.T) {
	c := coupe(t)
	b := c.Bars[1]
	rotation := b.Table.Bends[1].Rotation
	b.Blank = &bender.Blank{Length: 2500, First: 1, Steps: []bender.Step{
		{Bend: 2, Mark: [2]float64{1400, 1100}, Angle: b.Table.Bends[1].Angle, Set: 50 * s1.Degree, Estimated: true},
		{Bend: 1, Mark: [2]float64{800, 1700}, Rotation: rotation, Angle: b.Table.Bends[0].Angle, Set: 60 * s1.Degree},
	}}
	sheets, err := Templates(c, false)
	require.NoError(t, err)
	require.Len(t, sheets, 4)
	assert.Equal(t, "template-side-bar.turn-1", sheets[3].Name)
	assert.True(t, says(sheets[3].Drawing, "between bend 2 and bend 1, seen from end A"))
	assert.True(t, says(sheets[1].Drawing, "set 60.0°"))
	assert.True(t, says(sheets[1].Drawing, "mark 1700.0"))
	assert.True(t, says(sheets[1].Drawing, "from sawn end B"))
	assert.True(t, says(sheets[2].Drawing, "set 50.0° (estimate)"))
}

// A pair whose blanks are not marked alike says so.
func TestTwinsWithOtherMarks(t *testing.T) {
	for _, c := range []struct {
		off   float64
		first int
		same  bool
	}{{0, 0, true}, {0.04, 0, true}, {0.06, 0, false}, {0, 1, false}} {
		cage := coupe(t)
		step := func(off float64) []bender.Step {
			return []bender.Step{{Bend: 1, Mark: [2]float64{700 + off, 1300}}, {Bend: 2, Mark: [2]float64{1500, 500}}}
		}
		cage.Bars[1].Blank = &bender.Blank{Steps: step(0)}
		cage.Bars[2].Blank = &bender.Blank{First: c.first, Steps: step(c.off)}
		sheets, err := Templates(cage, false)
		require.NoError(t, err)
		notes := strings.Join(sheets[1].Drawing.Notes, "\n")
		assert.Equal(t, !c.same, strings.Contains(notes, "Marks on the blank are those of side bar; the other's differ."), "%+v", c)
	}
}

// Words that stand level may not lie on each other, nor on the tube.
func TestWordsKeepClear(t *testing.T) {
	sBend := tube.Nodes(tube.Table{Tail: 200, Bends: []tube.Bend{
		{Feed: 200, Angle: 45 * s1.Degree}, {Feed: 100, Angle: 60 * s1.Degree, Rotation: 180 * s1.Degree}, {Feed: 150, Angle: 20 * s1.Degree},
	}}, d44.CLR, vec(0, 0, 0), vec(0, 0, 1), vec(0, 1, 0))
	ring := tube.Nodes(tube.Table{Tail: 120, Bends: []tube.Bend{
		{Feed: 100, Angle: 90 * s1.Degree}, {Feed: 60, Angle: 90 * s1.Degree}, {Feed: 60, Angle: 80 * s1.Degree},
	}}, d44.CLR, vec(0, 0, 0), vec(0, 0, 1), vec(0, 1, 0))
	for i, nodes := range [][]r3.Vector{hoopNodes, sBend, ring} {
		b := bar(t, "bar", nodes)
		c := &fit.Cage{Bars: []*fit.Bar{b}}
		for k := range 5 {
			c.Joints = append(c.Joints, fit.Joint{Name: "J", Bar: "x", Onto: "bar", At: b.Path.Length * float64(k+1) / 6})
		}
		sheets, err := Templates(c, true)
		require.NoError(t, err)
		d := sheets[0].Drawing
		var boxes []r2.Rect
		for _, text := range d.Texts {
			if text.Turn == 0 && !strings.Contains(text.Words, "over all") && !strings.Contains(text.Words, "middle to middle") {
				one := draw.Drawing{Texts: []draw.Text{text}}
				boxes = append(boxes, one.Bounds().ExpandedByMargin(-1))
			}
		}
		require.Greater(t, len(boxes), 8)
		for k, a := range boxes {
			for _, b := range boxes[:k] {
				assert.False(t, a.Intersects(b), "bar %d: words on words", i)
			}
			for _, e := range outlines(d) {
				for _, p := range e.Polyline(0.1) {
					assert.False(t, a.ContainsPoint(p), "bar %d: words on the tube", i)
				}
			}
		}
	}
}

func TestSameShapesShareATemplate(t *testing.T) {
	a := bar(t, "first", []r3.Vector{vec(0, 0, 0), vec(0, 0, 600), vec(0, 700, 900)})
	b := bar(t, "second", []r3.Vector{vec(500, 700, 900), vec(500, 0, 600), vec(500, 0, 0)}) // from its other end
	sheets, err := Templates(&fit.Cage{Bars: []*fit.Bar{a, b}}, false)
	require.NoError(t, err)
	require.Len(t, sheets, 1)
	assert.Equal(t, []string{"first", "second"}, sheets[0].Bars)
	notes := strings.Join(sheets[0].Drawing.Notes, "\n")
	assert.Contains(t, notes, "also for second: read from the other end (A and B change places).")
	assert.Contains(t, notes, "ends, joints and marks shown are those of first")
}

func TestTooTightIsAnError(t *testing.T) {
	b := bar(t, "fat", hoopNodes)
	b.Tube = &tube.Spec{OD: 310, Wall: 2}
	_, err := Templates(&fit.Cage{Bars: []*fit.Bar{b}}, false)
	assert.EqualError(t, err, `bar "fat": no tube of 310 mm bends to a radius of 152.4 mm`)
}

// What a file of another program may hold in place of a path is an error.
func TestOddPathsAreErrors(t *testing.T) {
	good := bar(t, "bar", hoopNodes)
	for _, segments := range [][]tube.Segment{good.Path.Segments[1:], good.Path.Segments[:2], good.Path.Segments[1:2]} {
		p := *good.Path
		p.Segments = segments
		_, err := Templates(&fit.Cage{Bars: []*fit.Bar{{Name: "bar", Tube: main, Path: &p}}}, false)
		assert.EqualError(t, err, `bar "bar": its path is not one of straights joined by arcs`)
	}
}

// Bars may be called anything, also like the files of others.
func TestHostileNames(t *testing.T) {
	c := coupe(t)
	for i, n := range []string{"side bar.bend-1", "", "</svg>\x00\n\"%s", "con", strings.Repeat("länge ", 2000), "../../etc"} {
		nodes := append([]r3.Vector{}, sideNodes...)
		nodes[3].X -= 20 * float64(i+1)
		c.Bars = append(c.Bars, bar(t, n, nodes))
		c.Joints = append(c.Joints, fit.Joint{Name: n, Bar: n, Onto: n, At: 300})
	}
	files, err := Files(c, []*tube.Die{d44, {Name: "d44", OD: 38, CLR: 114}, {Name: "../x\n", OD: 30, CLR: 90}}, draw.A3, false)
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, f := range files {
		assert.Regexp(t, `^sheets/(template|gauge)-[a-z0-9-]+(\.(bend|turn)-\d+)?\.(pdf|svg|dxf|stl)$`, f.Name)
		assert.False(t, seen[f.Name], "%s comes twice", f.Name)
		seen[f.Name] = true
		require.NoError(t, f.Write(io.Discard), f.Name)
	}
	assert.True(t, seen["sheets/gauge-d44-2.stl"])
}

func TestFilesAreTheSameEveryTime(t *testing.T) {
	write := func() map[string][]byte {
		files, err := Files(coupe(t), []*tube.Die{d44}, draw.A4, true)
		require.NoError(t, err)
		out := map[string][]byte{}
		for _, f := range files {
			var b bytes.Buffer
			require.NoError(t, f.Write(&b))
			out[f.Name] = b.Bytes()
		}
		return out
	}
	first := write()
	assert.Equal(t, 2+2*4+4, len(first))
	assert.True(t, bytes.HasPrefix(first["sheets/template-side-bar.pdf"], []byte("%PDF-")))
	assert.Contains(t, string(first["sheets/template-main-hoop.dxf"]), "\n31.0%%d\n", "DXF's degree sign")
	assert.NotContains(t, string(first["sheets/template-main-hoop.dxf"]), "31.0?")
	for name, data := range write() {
		assert.True(t, bytes.Equal(first[name], data), name)
	}
}

// The labels beside a tube: in order, apart, and no farther from their places
// than that takes.
func TestSpread(t *testing.T) {
	assert.Equal(t, []float64{0, 10, 30}, spread([]float64{0, 10, 30}, 10))
	assert.Equal(t, []float64{-5, 5}, spread([]float64{0, 0}, 10))
	assert.Equal(t, []float64{-10, 0, 10, 20}, spread([]float64{0, 0, 0, 20}, 10))
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.SliceOfN(rapid.Float64Range(0, 100), 0, 12).Draw(t, "at")
		for i := 1; i < len(at); i++ {
			at[i] += at[i-1]
		}
		got := spread(at, 10)
		require.Len(t, got, len(at))
		move := 0.0
		for i := range got {
			if i > 0 {
				require.GreaterOrEqual(t, got[i]-got[i-1], 10-1e-9)
			}
			move += got[i] - at[i]
		}
		require.InDelta(t, 0, move, 1e-6, "groups are centred")
	})
}

func TestStretchAndShrink(t *testing.T) {
	p := bar(t, "hoop", hoopNodes).Path
	normal, _ := flatPlane(p)
	v := newView(normal, p.Nodes[0], p.Nodes[5], p.Segments[0].Dir)
	r := newRun(v, p, 0, len(p.Segments), 0)
	for _, side := range []float64{1, -1} {
		last := math.Inf(-1)
		for s := -50.0; s < p.Length+50; s += 7 {
			u := r.stretch(s, side, 40)
			assert.Greater(t, u, last)
			assert.InDelta(t, s, r.shrink(u, side, 40), 1e-9)
			last = u
		}
	}
}

func TestFigures(t *testing.T) {
	f, in := figures{}, figures{inches: true}
	for _, c := range []struct {
		mm                    float64
		metric, inch, metric2 string
	}{
		{0, "0.0", "0.000 (0)", "0 mm"},
		{25.4, "25.4", "1.000 (1)", "25.4 mm"},
		{41.3, "41.3", "1.626 (1 5/8)", "41.3 mm"},
		{-3.175, "-3.2", "-0.125 (-1/8)", "-3.17 mm"},
		{44.45, "44.5", "1.750 (1 3/4)", "44.45 mm"},
	} {
		assert.Equal(t, c.metric, f.length(c.mm))
		assert.Equal(t, c.inch, in.length(c.mm))
		assert.Equal(t, c.metric2, f.size(c.mm))
	}
	assert.Equal(t, "1.75 in", in.size(44.45))
}

// The scales of a gauge have a line for each degree, in three lengths.
func TestGaugeScales(t *testing.T) {
	d := Gauge(d44, 44.45, false)
	lengths := map[string]int{}
	for _, s := range d.Strokes {
		if s.Kind == draw.Thin && len(s.Vertices) == 2 {
			a, b := s.Vertices[0].Point, s.Vertices[1].Point
			if math.Abs(a.Cross(b)) < 1e-6*a.Norm()*b.Norm() && min(a.Norm(), b.Norm()) > 50 {
				lengths[fmt.Sprintf("%.0f", math.Abs(a.Norm()-b.Norm()))]++
			}
		}
	}
	// 0 to 120: 13 tens, 12 fives, 96 others, twice; the inner tens go across the tube.
	assert.Equal(t, map[string]int{"4": 192, "7": 24, "11": 13, "55": 13}, lengths)
	for _, want := range []string{"CLR 152.4 mm", "tube 44.45 mm", "120"} {
		assert.True(t, says(d, want), want)
	}
	assert.False(t, says(d, "130"))
	assert.True(t, says(Gauge(&tube.Die{Name: "d", CLR: 100}, 30, true), "180"))
}

// The outer scale against a bend made of it: where the far leg's outer edge meets
// the scale's circle, found on the bent path by bisection, is the line of the
// bend's angle.
func TestGaugeReadsBends(t *testing.T) {
	d := Gauge(d44, 44.45, false)
	var scale draw.Stroke
	for _, s := range d.Strokes {
		if s.Kind == draw.Thin && s.Vertices[0].Bulge != 0 {
			scale = s
		}
	}
	box := scale.Polyline(0.001)
	radius, from := box[0].Norm(), box[0]
	for _, deg := range []float64{5, 30, 90, 117} {
		angle := s1.Angle(deg) * s1.Degree
		nodes := tube.Nodes(tube.Table{Bends: []tube.Bend{{Feed: 200, Angle: angle}}, Tail: 400}, d44.CLR,
			vec(-d44.CLR, -200, 0), vec(0, 1, 0), vec(1, 0, 0))
		p, err := tube.NewPath(nodes, d44.CLR)
		require.NoError(t, err)
		arc := p.Segments[1]
		edge := func(s float64) r2.Point {
			at, dir := p.At(s)
			q := at.Add(dir.Cross(arc.Axis).Mul(main.OD / 2))
			return r2.Point{X: q.X, Y: q.Y}
		}
		lo, hi := arc.Start+arc.Length, p.Length
		for range 60 {
			if mid := (lo + hi) / 2; edge(mid).Norm() < radius {
				lo = mid
			} else {
				hi = mid
			}
		}
		hit := edge(lo)
		read := math.Atan2(-from.Cross(hit), from.Dot(hit)) // clockwise
		if read < 0 {
			read += 2 * math.Pi
		}
		assert.InDelta(t, deg, read*180/math.Pi, 1e-6)
	}
}

func TestGaugeSolid(t *testing.T) {
	for _, c := range []struct{ od, clr, span float64 }{
		{44.45, 152.4, 90}, {38.1, 133.35, 90}, {25, 40, 90}, {50, 250, 50}, {50, 1000, 10},
	} {
		die := &tube.Die{CLR: c.clr}
		assert.InDelta(t, c.span, GaugeSpan(die, c.od).Degrees(), 1e-9)
		m, err := GaugeSolid(die, c.od)
		require.NoError(t, err)
		checkClosed(t, m)

		size := m.Bounds().Size()
		assert.LessOrEqual(t, max(size.X, size.Y), 200.0)
		assert.Equal(t, 4.0, size.Z)
		r := c.clr - c.od/2
		on := 0
		for _, v := range m.Vertices {
			d := math.Hypot(v.X, v.Y)
			assert.LessOrEqual(t, d, r+1e-9)
			if math.Abs(d-r) < 1e-9 {
				on++
			}
		}
		assert.Greater(t, on, int(c.span), "the edge is the inside of the bend")

		// The volume of a sector of a ring less its notches, triangles of 1.8 mm width
		// and 3 or 6 mm depth (a handbook's formulas, from memory). Chords of one
		// degree take 5e-5 of a sector.
		back := r - min(35, r-4)
		area := (r*r - back*back) / 2 * c.span * math.Pi / 180
		for k := 10.0; k < c.span; k += 10 {
			area -= 0.9 * 3
			if math.Mod(k, 30) == 0 {
				area -= 0.9 * 3
			}
		}
		assert.InEpsilon(t, 4*area, volume(m), 1e-3)
	}
	for _, c := range [][2]float64{{50, 25}, {50, 30}, {50, math.Inf(1)}, {50, math.NaN()}, {50, 5000}} {
		_, err := GaugeSolid(&tube.Die{CLR: c[1]}, c[0])
		assert.ErrorContains(t, err, "no gauge can be printed")
	}
}

// A checker of STL files of the printing trade (Debian's admesh) finds nothing to
// mend in the file as written.
func TestGaugeSTLByAdmesh(t *testing.T) {
	admesh, err := exec.LookPath("admesh")
	if err != nil {
		t.Skip("admesh is not installed")
	}
	m, err := GaugeSolid(d44, d44.OD)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, mesh.WriteSTL(&b, "gauge", m))
	file := filepath.Join(t.TempDir(), "gauge.stl")
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o666))
	out, err := exec.Command(admesh, file).Output()
	require.NoError(t, err)
	for _, zero := range []string{"Total disconnected facets", "Degenerate facets", "Edges fixed", "Facets removed", "Facets added", "Facets reversed", "Backwards edges", "Normals fixed"} {
		assert.Regexp(t, zero+` +: +0\b`, string(out))
	}
	assert.Regexp(t, `Number of parts +: +1\b`, string(out))
}

// checkClosed counts edges: each must come once in each direction.
func checkClosed(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	count := map[[2]int32]int{}
	for _, tri := range m.Triangles {
		for k := range 3 {
			count[[2]int32{tri[k], tri[(k+1)%3]}]++
		}
	}
	for e, n := range count {
		require.Equal(t, 1, n)
		require.Equal(t, 1, count[[2]int32{e[1], e[0]}])
	}
}

func volume(m *mesh.Mesh) float64 {
	sum := 0.0
	for k := range m.Triangles {
		a, b, c := m.Corners(k)
		sum += a.Dot(b.Cross(c)) / 6
	}
	return sum
}

func TestGaugeFilesErrors(t *testing.T) {
	_, err := GaugeFiles([]*tube.Die{{Name: "d", OD: 44, CLR: 20}}, draw.A4, false)
	assert.EqualError(t, err, `die "d": no tube of 44 mm bends to a radius of 20 mm`)
	// Too wide a bend for a plate: everything but the STL.
	files, err := GaugeFiles([]*tube.Die{{Name: "d", OD: 44, CLR: 2000, MaxAngle: 20 * s1.Degree}}, draw.Whole, false)
	require.NoError(t, err)
	assert.Len(t, files, 3)
}

// Every page of every sheet, on every paper: BARWRIGHT_FULL=1.
func TestAllPapers(t *testing.T) {
	if os.Getenv("BARWRIGHT_FULL") != "1" {
		t.Skip("BARWRIGHT_FULL is not 1")
	}
	for _, paper := range []draw.Paper{draw.A4, draw.A3, draw.Letter, draw.Whole} {
		files, err := Files(coupe(t), []*tube.Die{d44}, paper, true)
		require.NoError(t, err)
		for _, f := range files {
			require.NoError(t, f.Write(io.Discard), f.Name)
		}
	}
}

func ExampleTemplates() {
	die := &tube.Die{Name: "d45", OD: 45, CLR: 135}
	spec := &tube.Spec{Name: "main", OD: 45, Wall: 2.5, Die: die}
	path, err := tube.NewPath([]r3.Vector{{Y: -600}, {Y: -600, Z: 1000}, {Y: 600, Z: 1000}, {Y: 600}}, die.CLR)
	if err != nil {
		fmt.Println(err)
		return
	}
	cage := &fit.Cage{Bars: []*fit.Bar{{Name: "main hoop", Tube: spec, Path: path, Table: spec.Table(path)}}}
	sheets, err := Templates(cage, false)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range sheets {
		fmt.Println(s.Name)
		for _, n := range s.Drawing.Notes {
			fmt.Println(" ", n)
		}
	}
	// Output:
	// template-main-hoop
	//   Tube 45 mm x 2.5 mm, CLR 135 mm. Seen from the front of the car. Figures: mm, along the tube's middle from end A.
	//   Wide: the tube's outside, over all 1245.0 by 1022.5. Lines across: start and end of a bend.
	//   Reference line (on the outside of bend 1): here the edge drawn double.
}

func BenchmarkTemplates(b *testing.B) {
	c := coupe(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Templates(c, false); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFilesA4(b *testing.B) {
	c := coupe(b)
	for b.Loop() {
		files, err := Files(c, []*tube.Die{d44}, draw.A4, false)
		if err != nil {
			b.Fatal(err)
		}
		for _, f := range files {
			if err := f.Write(io.Discard); err != nil {
				b.Fatal(err)
			}
		}
	}
}
