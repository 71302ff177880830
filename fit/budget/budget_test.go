package budget

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
	"barwright/mesh/sample"
)

func trials(few, all int) int {
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		return all
	}
	return few
}

// radius and clr are those of the test's tube, mm.
const radius, clr = 20.0, 120.0

// newBar is a bar with free ends and a clearance of 12 mm.
func newBar(t testing.TB, name string, nodes ...r3.Vector) *fit.Bar {
	t.Helper()
	p, err := tube.NewPath(nodes, clr)
	require.NoError(t, err)
	spec := &tube.Spec{Name: "main", OD: 2 * radius, Wall: 2.5, Material: tube.Materials()[0]}
	free := job.End{Kind: job.Free}
	return &fit.Bar{Name: name, Tube: spec, Path: p, Table: spec.Table(p), Clearance: 12, Ends: [2]job.End{free, free}}
}

// boxShell is a room of 3000 x 2000 x 1600 mm, y = 0 in its middle, z = 0 its floor.
func boxShell(t testing.TB) *mesh.Shell {
	t.Helper()
	sh, err := box()
	require.NoError(t, err)
	return sh
}

var box = sync.OnceValues(func() (*mesh.Shell, error) {
	room := sample.Box(3000, 2000, 1600, 200)
	return mesh.Prepare(context.Background(), room.Mesh, mesh.PrepareOptions{Seeds: []r3.Vector{room.Centre}})
})

func budgetOf(t testing.TB, b *fit.Bar, sh *mesh.Shell, tol Tolerances) *fit.Budget {
	t.Helper()
	require.NoError(t, Work(context.Background(), &fit.Cage{Bars: []*fit.Bar{b}}, sh, tol, 1))
	return b.Budget
}

// wallHoop is a flat hoop across the box of boxShell whose leg B runs down beside
// the wall y = -1000 at a gap of 12 mm; everything else is far from any wall.
func wallHoop(t testing.TB) *fit.Bar {
	y := -1000 + radius + 12
	return newBar(t, "hoop", r3.Vector{Y: 300, Z: 500}, r3.Vector{Y: 300, Z: 1200}, r3.Vector{Y: y, Z: 1200}, r3.Vector{Y: y, Z: 400})
}

// What follows a bend turns about the arc's centre, or for its rotation about the
// straight before it: a chord of 2 d sin(1/2 degree), d the distance of the far
// end. Elementary geometry.
func TestSensitivityOfAFlatHoop(t *testing.T) {
	b := wallHoop(t)
	got := budgetOf(t, b, boxShell(t), Tolerances{}).Bends
	require.Len(t, got, 2)

	chord := func(d float64) float64 { return 2 * d * math.Sin(0.5*math.Pi/180) }
	end := b.Path.Nodes[3]
	arcs := []tube.Segment{b.Path.Segments[1], b.Path.Segments[3]}
	for i, arc := range arcs {
		assert.InDelta(t, chord(end.Sub(arc.Centre).Norm()), got[i].EndPerDegree, 1e-9, "bend %d", i+1)
		assert.InDelta(t, 1, got[i].EndPerMM, 1e-9)
	}
	assert.Zero(t, got[0].EndPerTurn, "a bar is turned to fit")
	assert.InDelta(t, chord(800), got[1].EndPerTurn, 1e-9)

	// Towards the wall. Bend 2 a degree short: the leg leans out and its end is
	// nearest; a degree more: the arc still comes as near as before.
	wall := func(p, centre r3.Vector, deg float64) float64 { // how much nearer after a turn in the plane
		sin, cos := math.Sincos(deg * math.Pi / 180)
		d := p.Sub(centre)
		return d.Y - (d.Y*cos - d.Z*sin)
	}
	assert.InDelta(t, -wall(end, arcs[1].Centre, -1), got[1].GapPerDegree, 2*fineTol)
	assert.Less(t, got[1].GapPerDegree, -11.0)
	assert.InDelta(t, 0, got[1].GapPerTurn, 2*fineTol, "about an axis square to the wall")
	assert.InDelta(t, -1, got[1].GapPerMM, 2*fineTol)
	assert.InDelta(t, 0, got[0].GapPerMM, 2*fineTol, "along the wall")
	assert.Zero(t, got[0].GapPerTurn)
	// Bend 1: the leg turns about the first arc's centre as a whole.
	assert.InDelta(t, -wall(end, arcs[0].Centre, -1), got[0].GapPerDegree, 2*fineTol)
}

// A bar bent at right angles points with its bend to the wall z = 0. Errors turn
// it, laid in place, about the middle, which leaves the arc's centre on the
// line through the middle; what takes the arc to the wall is the centre's share
// of the shift that keeps the middle where it is. So the gap is
// 12 - dy/dangle e - weight sin(45 degrees) / 2 (d1 + d2), normal to first order.
func TestClearsIsTheNormalProbability(t *testing.T) {
	const leg = 600.0 // straight, mm
	gap := 1.2
	tip := radius + gap + clr - clr*math.Sqrt2 // height of the node, where the legs would meet
	reach := (leg + clr) / math.Sqrt2
	b := newBar(t, "vee", r3.Vector{Y: -reach, Z: tip + reach}, r3.Vector{Z: tip}, r3.Vector{Y: reach, Z: tip + reach})
	b.Clearance = gap
	tol := Tolerances{Angle: s1.Degree, Length: 2, Draws: trials(20_000, 200_000)}
	got := budgetOf(t, b, boxShell(t), tol)

	// Mean height over the centre of what has the planned lengths as weights.
	half := math.Pi / 4
	total := 2*leg + clr*2*half
	mean := func(h float64) float64 {
		arc := -clr * math.Sin(h) / h
		straight := -clr*math.Cos(h) + leg/2*math.Sin(h)
		return (2*leg*straight + clr*2*half*arc) / total
	}
	const e = 1e-5
	perAngle := (mean(half+e/2) - mean(half-e/2)) / (2 * e) // of the whole angle
	perLength := leg / total * math.Sin(half) / 2
	a, l := float64(tol.Angle)/1.96, tol.Length/1.96
	sigma := math.Sqrt(perAngle*perAngle*a*a + 2*perLength*perLength*l*l)
	want := distuv.Normal{Sigma: sigma}.CDF(gap) // gonum's stat/distuv
	require.Greater(t, want, 0.6)
	require.Less(t, want, 0.9)

	n := float64(tol.Draws)
	t.Logf("sigma %.3f mm, clears %.4f, closed form %.4f, one sigma of the draws %.4f; need95 %.3f", sigma, got.Clears, want, math.Sqrt(want*(1-want)/n), got.Need95)
	// Three sigma of the draws; a gap is up to drawTol under the truth.
	low := distuv.Normal{Sigma: sigma}.CDF(gap - drawTol)
	assert.Less(t, got.Clears, want+3*math.Sqrt(want*(1-want)/n))
	assert.Greater(t, got.Clears, low-3*math.Sqrt(want*(1-want)/n))
	// The standard error of a quantile is sqrt(p (1-p) / n) / density.
	need := distuv.Normal{Sigma: sigma}.Quantile(0.95)
	spread := math.Sqrt(0.05*0.95/n) / (distuv.Normal{Sigma: sigma}.Prob(need))
	assert.Greater(t, got.Need95, need-3*spread)
	assert.Less(t, got.Need95, need+3*spread+drawTol)
	assert.Equal(t, tol.Draws, got.Draws)
}

// The draws against certificates of the same bars, made by way of bend table,
// nodes and path. Room and car, errors that bring a bar to the shell and, in the
// second half, through it.
func TestGapsAgreeWithCertificates(t *testing.T) {
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 20_000})
	car, err := mesh.Prepare(context.Background(), coupe.Mesh, mesh.PrepareOptions{Seeds: []r3.Vector{coupe.Centre}})
	require.NoError(t, err)
	foot := job.End{Kind: job.Foot}
	hoop := newBar(t, "hoop", r3.Vector{Y: -560, Z: 150}, r3.Vector{Y: -555, Z: 590}, r3.Vector{Y: -430, Z: 1030}, r3.Vector{Y: 430, Z: 1030}, r3.Vector{Y: 555, Z: 590}, r3.Vector{Y: 560, Z: 150})
	hoop.Ends = [2]job.End{foot, foot}
	side := newBar(t, "side", r3.Vector{X: 900, Y: 530, Z: 150}, r3.Vector{X: 870, Y: 510, Z: 600}, r3.Vector{X: 300, Y: 430, Z: 960}, r3.Vector{Y: 470, Z: 970})
	side.Ends[0] = foot
	allTouching, allThrough := 0, 0
	for _, c := range []struct {
		bar *fit.Bar
		sh  *mesh.Shell
	}{{wallHoop(t), boxShell(t)}, {hoop, car}, {side, car}} {
		p, err := newPlan(c.bar, c.sh, 30*s1.Degree)
		require.NoError(t, err)
		certified := func() fit.Certificate {
			e := p.entries
			table := tube.Table{Tail: e.tail}
			for i := range e.angles {
				table.Bends = append(table.Bends, tube.Bend{Feed: e.feeds[i], Rotation: s1.Angle(e.rotations[i]), Angle: s1.Angle(e.angles[i])})
			}
			first, arc := p.bent[0], p.bent[1]
			path, err := tube.NewPath(tube.Nodes(table, clr, first.from, first.dir, arc.out.Mul(-1)), clr)
			require.NoError(t, err)
			return fit.Certify(path, c.bar.Requirement(30*s1.Degree, c.sh.Noise), c.sh.CertIndex(), c.sh.Inside)
		}
		p.bent = p.entries.shape(nil, p.frame, clr)
		at := certified()
		require.False(t, at.Outside)
		assert.InDelta(t, at.CertifiedMin, p.prober.planned-radius, fit.Resolution, c.bar.Name)

		rng := rand.New(rand.NewPCG(7, 7))
		touching, through := 0, 0
		n := trials(60, 2000)
		for i := range n {
			tol := Tolerances{Angle: s1.Degree, Length: 2}
			slack := drawTol
			if i >= n/2 {
				tol = Tolerances{Angle: 8 * s1.Degree, Length: 60}
			}
			p.draw(rng, tol)
			cert := certified()
			got := p.prober.least(p.bent, drawTol) - radius
			if got < 0 {
				touching++
			}
			if got < -radius {
				through++
				slack = 20 * drawTol
			}
			assert.GreaterOrEqual(t, cert.CertifiedMin+fit.Resolution, got, "%s, draw %d", c.bar.Name, i)
			assert.LessOrEqual(t, cert.CertifiedMin, got+slack, "%s, draw %d", c.bar.Name, i)
		}
		t.Logf("%s: %d draws, %d touch, %d go through", c.bar.Name, n, touching, through)
		allTouching, allThrough = allTouching+touching, allThrough+through

		// And one entry at a time.
		for i := range p.table.angles {
			got := p.sensitivity(i)
			for k, entry := range []*float64{&p.entries.angles[i], &p.entries.rotations[i], &p.entries.feeds[i]} {
				step := []float64{float64(s1.Degree), float64(s1.Degree), 1}[k]
				worse, far := math.Inf(1), 0.0
				for _, by := range []float64{step, -step} {
					kept := *entry
					*entry += by
					p.bent = p.entries.shape(p.bent[:0], p.frame, clr)
					cert := certified()
					worse = min(worse, cert.CertifiedMin-at.CertifiedMin)
					far = max(far, farEnd(p.bent).Sub(c.bar.Path.Nodes[len(c.bar.Path.Nodes)-1]).Norm())
					*entry = kept
				}
				slack := fit.Resolution + fineTol
				if worse+at.CertifiedMin < -radius {
					slack += 20 * fineTol
				}
				assert.InDelta(t, worse, []float64{got.GapPerDegree, got.GapPerTurn, got.GapPerMM}[k], slack, "%s, bend %d", c.bar.Name, i+1)
				assert.InDelta(t, far, []float64{got.EndPerDegree, got.EndPerTurn, got.EndPerMM}[k], 1e-9)
			}
		}
	}
	assert.Greater(t, allTouching, 20)
	assert.Greater(t, allThrough, 5)
}

// randomEntries are those of a bar of one to six bends.
func randomEntries(t *rapid.T) entries {
	var e entries
	for range rapid.IntRange(1, 6).Draw(t, "bends") {
		e.feeds = append(e.feeds, rapid.Float64Range(1, 900).Draw(t, "feed"))
		e.angles = append(e.angles, rapid.Float64Range(0.02, 2.6).Draw(t, "angle"))
		e.rotations = append(e.rotations, rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "rotation"))
	}
	e.tail = rapid.Float64Range(1, 900).Draw(t, "tail")
	return e
}

func randomUnit(t *rapid.T, name string) r3.Vector {
	v := r3.Vector{X: rapid.Float64Range(-1, 1).Draw(t, name), Y: rapid.Float64Range(-1, 1).Draw(t, name), Z: rapid.Float64Range(-1, 1).Draw(t, name)}
	if v.Norm() < 0.1 {
		return r3.Vector{X: 1}
	}
	return v.Normalize()
}

func TestShapeIsThatOfNodesAndPath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := randomEntries(t)
		dir := randomUnit(t, "dir")
		f := frame{at: r3.Vector{X: 100, Y: -200, Z: 300}, dir: dir, axis: dir.Ortho()}
		table := tube.Table{Tail: e.tail}
		for i := range e.angles {
			table.Bends = append(table.Bends, tube.Bend{Feed: e.feeds[i], Rotation: s1.Angle(e.rotations[i]), Angle: s1.Angle(e.angles[i])})
		}
		path, err := tube.NewPath(tube.Nodes(table, clr, f.at, f.dir, f.axis.Cross(f.dir)), clr)
		require.NoError(t, err)
		shape := e.shape(nil, f, clr)
		require.Len(t, shape, len(path.Segments))
		for k, g := range path.Segments {
			for _, share := range []float64{0, 0.3, 1} {
				at, _ := path.At(g.Start + share*g.Length)
				assert.InDelta(t, 0, at.Sub(shape[k].at(share*shape[k].length)).Norm(), 1e-7)
			}
		}
	})
}

// moved returns a shape turned about an axis through the origin and shifted.
func moved(shape []segment, axis r3.Vector, angle float64, by r3.Vector) []segment {
	sin, cos := math.Sincos(angle)
	turn := func(v r3.Vector) r3.Vector {
		return v.Mul(cos).Add(axis.Cross(v).Mul(sin)).Add(axis.Mul(axis.Dot(v) * (1 - cos)))
	}
	out := append([]segment(nil), shape...)
	for i := range out {
		g := &out[i]
		g.from, g.dir, g.out = turn(g.from).Add(by), turn(g.dir), turn(g.out)
	}
	return out
}

// A bar without errors is laid where it was planned, flat ones too, however it
// lay before. How a nearly straight one is rolled about itself is not so sure: of a
// leg of 900 mm bent by a degree, rounding leaves 1e-6 mm. One with errors is laid as the quaternion method says:
// the eigenvector of the largest eigenvalue of a 4 x 4 matrix (Journal of the
// Optical Society of America A 4, 1987, 629; from memory), by gonum's EigenSym.
func TestPlacement(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := randomEntries(t)
		if rapid.Bool().Draw(t, "flat") {
			clear(e.rotations)
		}
		f := frame{at: r3.Vector{X: 500, Y: 100, Z: 300}, dir: r3.Vector{X: 1}, axis: r3.Vector{Z: 1}}
		plan := e.shape(nil, f, clr)
		placer := newPlacer(plan)
		axis, angle := randomUnit(t, "axis"), rapid.Float64Range(-3, 3).Draw(t, "turn")
		bent := moved(plan, axis, angle, r3.Vector{X: 40, Y: -70, Z: 11})
		placer.place(bent)
		for k := range plan {
			for _, share := range []float64{0, 0.5, 1} {
				d := plan[k].at(share * plan[k].length).Sub(bent[k].at(share * bent[k].length)).Norm()
				assert.InDelta(t, 0, d, 1e-5)
			}
		}

		for i := range e.angles {
			e.angles[i] += rapid.Float64Range(-0.02, 0.02).Draw(t, "angle error")
			e.feeds[i] += rapid.Float64Range(-1, 3).Draw(t, "feed error")
		}
		bent = moved(e.shape(nil, f, clr), axis, angle, r3.Vector{Z: 5})
		want := sumOfSquares(&placer, quaternion(&placer, bent))
		placer.place(bent)
		got := sumOfSquares(&placer, bent)
		assert.InDelta(t, want, got, 1e-6*(1+want))
		for k := range bent {
			assert.InDelta(t, 1, bent[k].dir.Norm(), 1e-9)
		}
	})
}

func sumOfSquares(p *placer, bent []segment) float64 {
	sum := 0.0
	for _, a := range p.points {
		g := bent[a.segment]
		sum += a.weight * g.at(a.share*g.length).Sub(a.plan).Sub(p.middle).Norm2()
	}
	return sum
}

func quaternion(p *placer, bent []segment) []segment {
	var middle r3.Vector
	for _, a := range p.points {
		g := bent[a.segment]
		middle = middle.Add(g.at(a.share * g.length).Mul(a.weight))
	}
	var s [3][3]float64
	for _, a := range p.points {
		g := bent[a.segment]
		q := g.at(a.share * g.length).Sub(middle)
		for i, x := range []float64{q.X, q.Y, q.Z} {
			for j, y := range []float64{a.plan.X, a.plan.Y, a.plan.Z} {
				s[i][j] += a.weight * x * y
			}
		}
	}
	n := mat.NewSymDense(4, []float64{
		s[0][0] + s[1][1] + s[2][2], s[1][2] - s[2][1], s[2][0] - s[0][2], s[0][1] - s[1][0],
		0, s[0][0] - s[1][1] - s[2][2], s[0][1] + s[1][0], s[2][0] + s[0][2],
		0, 0, -s[0][0] + s[1][1] - s[2][2], s[1][2] + s[2][1],
		0, 0, 0, -s[0][0] - s[1][1] + s[2][2],
	})
	var eigen mat.EigenSym
	eigen.Factorize(n, true)
	var v mat.Dense
	eigen.VectorsTo(&v)
	w, axis := v.At(0, 3), r3.Vector{X: v.At(1, 3), Y: v.At(2, 3), Z: v.At(3, 3)}
	angle := 2 * math.Atan2(axis.Norm(), w)
	if axis.Norm() > 0 {
		axis = axis.Normalize()
	}
	out := moved(bent, r3.Vector{X: 1}, 0, middle.Mul(-1))
	return moved(out, axis, angle, p.middle)
}

// The figures per degree and mm are those of small errors, as long as no other
// point of the bar becomes the nearest: a tenth of the error gives a tenth.
func TestFiguresAreLinear(t *testing.T) {
	b := wallHoop(t)
	p, err := newPlan(b, boxShell(t), 30*s1.Degree)
	require.NoError(t, err)
	for i := range p.table.angles {
		for _, entry := range []*float64{&p.entries.angles[i], &p.entries.rotations[i]} {
			end, gap := p.off(entry, float64(s1.Degree))
			endTenth, gapTenth := p.off(entry, float64(s1.Degree)/10)
			assert.InEpsilon(t, 1+end, 1+10*endTenth, 1e-3)
			assert.InDelta(t, gap, 10*gapTenth, 0.01*math.Abs(gap)+20*fineTol)
		}
		end, gap := p.off(&p.entries.feeds[i], 1)
		endTenth, gapTenth := p.off(&p.entries.feeds[i], 0.1)
		assert.InDelta(t, end, 10*endTenth, 1e-9)
		assert.InDelta(t, gap, 10*gapTenth, 20*fineTol)
	}
}

// pairCage has a pair, a straight bar and the hoop.
func pairCage(t testing.TB) *fit.Cage {
	one := newBar(t, "side", r3.Vector{X: -800, Y: 960, Z: 300}, r3.Vector{X: -700, Y: 965, Z: 1200}, r3.Vector{X: 500, Y: 900, Z: 1300})
	one.Clearance = 40
	twin := *one
	twin.Name, twin.Mirrored, twin.MirrorOf = "side (mirror)", true, "side"
	twin.Path = one.Path.Mirrored()
	twin.Table = twin.Tube.Table(twin.Path)
	return &fit.Cage{Bars: []*fit.Bar{one, &twin, newBar(t, "brace", r3.Vector{Z: 200}, r3.Vector{X: 700, Z: 900}), wallHoop(t)}}
}

func TestWorkersDoNotMatter(t *testing.T) {
	sh := boxShell(t)
	var first *fit.Cage
	for _, workers := range []int{1, 2, 7, 0} {
		c := pairCage(t)
		require.NoError(t, Work(context.Background(), c, sh, Tolerances{Draws: 200}, workers))
		if first == nil {
			first = c
		}
		for i, b := range c.Bars {
			assert.Equal(t, first.Bars[i].Budget, b.Budget, b.Name)
		}
	}
	side, twin := first.Bars[0].Budget, first.Bars[1].Budget
	assert.Nil(t, first.Bars[2].Budget, "a straight bar has none")
	// In a symmetric room a pair's figures are alike, its draws are not.
	for i := range side.Bends {
		assert.InDelta(t, side.Bends[i].EndPerTurn, twin.Bends[i].EndPerTurn, 1e-9)
		assert.InDelta(t, side.Bends[i].GapPerDegree, twin.Bends[i].GapPerDegree, 2*fineTol)
	}
	assert.NotEqual(t, side.Need95, twin.Need95)
	assert.InDelta(t, side.Need95, twin.Need95, 1)

	other := pairCage(t)
	require.NoError(t, Work(context.Background(), other, sh, Tolerances{Draws: 200, Seed: 1}, 1))
	assert.NotEqual(t, side.Need95, other.Bars[0].Budget.Need95)
	assert.Equal(t, side.Bends, other.Bars[0].Budget.Bends)
}

// Bars in wider tolerances clear less often and need more.
func TestWiderTolerancesNeedMore(t *testing.T) {
	sh := boxShell(t)
	last := -1.0
	for _, deg := range []float64{0.01, 0.25, 0.5, 1, 2} {
		b := wallHoop(t)
		got := budgetOf(t, b, sh, Tolerances{Angle: s1.Angle(deg) * s1.Degree, Length: 2 * deg})
		assert.Greater(t, got.Need95, last)
		last = got.Need95
		if deg == 0.01 {
			assert.InDelta(t, 0, got.Need95, 0.3)
			assert.Equal(t, 1.0, got.Clears)
		}
	}
	assert.Greater(t, last, 12.0)
}

func TestZeroTolerances(t *testing.T) {
	got := budgetOf(t, wallHoop(t), boxShell(t), Tolerances{})
	assert.Equal(t, s1.Degree/2, got.Angle)
	assert.Equal(t, 1.0, got.Length)
	assert.Equal(t, 1000, got.Draws)

	// Exact angles: straights that are 1 mm off move the leg by a part of a mm.
	got = budgetOf(t, wallHoop(t), boxShell(t), Tolerances{Length: 1})
	assert.Zero(t, got.Angle)
	assert.Equal(t, 1.0, got.Clears)
	assert.Less(t, got.Need95, 1.0)
	got = budgetOf(t, wallHoop(t), boxShell(t), Tolerances{Angle: s1.Degree / 2})
	assert.Zero(t, got.Length)
	assert.Greater(t, got.Need95, 1.0)
}

func TestWithoutShell(t *testing.T) {
	b := wallHoop(t)
	got := budgetOf(t, b, nil, Tolerances{})
	with := budgetOf(t, wallHoop(t), boxShell(t), Tolerances{})
	assert.Zero(t, got.Draws)
	assert.True(t, math.IsNaN(got.Clears) && math.IsNaN(got.Need95))
	for i, s := range got.Bends {
		assert.Equal(t, with.Bends[i].EndPerDegree, s.EndPerDegree)
		assert.Equal(t, with.Bends[i].EndPerTurn, s.EndPerTurn)
		assert.Equal(t, with.Bends[i].EndPerMM, s.EndPerMM)
		assert.True(t, math.IsNaN(s.GapPerDegree) && math.IsNaN(s.GapPerTurn) && math.IsNaN(s.GapPerMM))
	}
	assert.Equal(t, 1, Worst(got), "the far end counts where there is no gap")
}

// All of it is foot zone when a foot may lie ever so flat.
func TestAllFootZone(t *testing.T) {
	b := wallHoop(t)
	b.Ends = [2]job.End{{Kind: job.Foot}, {Kind: job.Foot}}
	got := budgetOf(t, b, boxShell(t), Tolerances{Landing: 1 * s1.Degree})
	assert.True(t, math.IsNaN(got.Clears) && math.IsNaN(got.Bends[0].GapPerDegree))
	assert.Positive(t, got.Bends[0].EndPerDegree)

	// With a zone that is only just shorter than half of the bar, draws whose bar
	// is shorter have no domain; they are judged at the middle.
	half := math.Asin((radius + 12) / (b.Path.Length/2 - 0.05))
	got = budgetOf(t, b, boxShell(t), Tolerances{Landing: s1.Angle(half)})
	assert.Equal(t, 1.0, got.Clears)
}

// Straights and angles near nothing do not turn negative.
func TestShortStraightsAndSmallBends(t *testing.T) {
	e := entries{feeds: []float64{0, 0.2}, rotations: []float64{0, math.Pi}, angles: []float64{0.5 * math.Pi / 180, math.Pi / 2}, tail: 0}
	spec := &tube.Spec{Name: "main", OD: 2 * radius}
	table := tube.Table{Tail: e.tail}
	for i := range e.angles {
		table.Bends = append(table.Bends, tube.Bend{Feed: e.feeds[i], Rotation: s1.Angle(e.rotations[i]), Angle: s1.Angle(e.angles[i])})
	}
	path, err := tube.NewPath(tube.Nodes(table, clr, r3.Vector{Z: 800}, r3.Vector{X: 1}, r3.Vector{Y: 1}), clr)
	require.NoError(t, err)
	b := &fit.Bar{Name: "stub", Tube: spec, Path: path, Table: spec.Table(path), Clearance: 12}
	got := budgetOf(t, b, boxShell(t), Tolerances{})
	assert.Equal(t, 1.0, got.Clears)
	assert.InDelta(t, 1, got.Bends[0].EndPerMM, 1e-9)
	for _, g := range e.shape(nil, frame{dir: r3.Vector{X: 1}, axis: r3.Vector{Z: 1}}, clr) {
		assert.GreaterOrEqual(t, g.length, 0.0)
	}
}

// A bar planned through the wall has a budget as well.
func TestBarThroughTheShell(t *testing.T) {
	b := newBar(t, "out", r3.Vector{Y: 300, Z: 500}, r3.Vector{Y: 300, Z: 1200}, r3.Vector{Y: -1100, Z: 1200}, r3.Vector{Y: -1100, Z: 400})
	got := budgetOf(t, b, boxShell(t), Tolerances{Draws: 100})
	assert.Zero(t, got.Clears)
	assert.InDelta(t, 12+radius+100, got.Need95, 15)
	assert.InDelta(t, -1, got.Bends[1].GapPerMM, 0.2)
}

func TestStops(t *testing.T) {
	sh := boxShell(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	c := pairCage(t)
	require.ErrorIs(t, Work(ctx, c, sh, Tolerances{}, 2), context.Canceled)
	for _, b := range c.Bars {
		assert.Nil(t, b.Budget)
	}
	// While it draws.
	p, err := newPlan(wallHoop(t), sh, 30*s1.Degree)
	require.NoError(t, err)
	_, err = p.draws(ctx, Tolerances{Draws: 100}.filled())
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, Work(context.Background(), &fit.Cage{}, sh, Tolerances{}, 2))
}

func TestBadInput(t *testing.T) {
	for _, c := range []struct {
		tol  Tolerances
		want string
	}{
		{Tolerances{Angle: -s1.Degree}, "angle tolerance of -1 degrees: 0 to 45 are possible"},
		{Tolerances{Angle: 50 * s1.Degree}, "angle tolerance"},
		{Tolerances{Angle: s1.Angle(math.NaN())}, "angle tolerance"},
		{Tolerances{Length: -1}, "length tolerance of -1 mm"},
		{Tolerances{Length: math.Inf(1)}, "length tolerance"},
		{Tolerances{Draws: -1}, "-1 draws"},
		{Tolerances{Draws: 50}, "50 draws: 100 to 1000000 are possible"},
		{Tolerances{Draws: 2_000_000}, "draws"},
		{Tolerances{Landing: 91 * s1.Degree}, "landing angle"},
	} {
		require.ErrorContains(t, Work(context.Background(), pairCage(t), nil, c.tol, 1), c.want)
	}
	require.NoError(t, Tolerances{}.Validate())

	for _, c := range []struct {
		spoil func(*fit.Bar)
		want  string
	}{
		{func(b *fit.Bar) { b.Table.Bends[1].Feed += 3.2 }, `bar "hoop": its bend table gives a bar that is 3.2 mm from its path`},
		{func(b *fit.Bar) { b.Table.Bends[1].Rotation = s1.Angle(math.NaN()) }, "NaN mm from its path"},
		{func(b *fit.Bar) { b.Table.Bends = b.Table.Bends[:1] }, "its bend table has 1 bends, its path 2"},
		{func(b *fit.Bar) { b.Path = nil }, "no path"},
	} {
		cage := pairCage(t)
		c.spoil(cage.Bars[3])
		require.ErrorContains(t, Work(context.Background(), cage, nil, Tolerances{}, 1), c.want)
		assert.Nil(t, cage.Bars[0].Budget)
	}
}

func TestWorst(t *testing.T) {
	gap := func(perDegree, end float64) fit.Sensitivity {
		return fit.Sensitivity{GapPerDegree: perDegree, EndPerDegree: end}
	}
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		bends []fit.Sensitivity
		want  int
	}{
		{"no bend", nil, 0},
		{"the gap", []fit.Sensitivity{gap(-1, 20), gap(-5, 10), gap(0, 30)}, 2},
		{"then the far end", []fit.Sensitivity{gap(-5, 10), gap(-4.95, 20), gap(-1, 30)}, 2},
		{"then the first", []fit.Sensitivity{gap(0, 10), gap(0, 10)}, 1},
		{"no shell", []fit.Sensitivity{gap(nan, 10), gap(nan, 12)}, 2},
	} {
		assert.Equal(t, c.want, Worst(&fit.Budget{Angle: s1.Degree / 2, Bends: c.bends}), c.name)
	}
	assert.Zero(t, Worst(nil))
}

// A hoop on its own, without a shell: what a degree too much in each bend does to
// the foot at its far end.
func ExampleWork() {
	spec := &tube.Spec{Name: "main", OD: 40, Wall: 2.5}
	path, err := tube.NewPath([]r3.Vector{{Y: 600}, {Y: 600, Z: 1000}, {Y: -600, Z: 1000}, {Y: -600}}, 120)
	if err != nil {
		fmt.Println(err)
		return
	}
	hoop := &fit.Bar{Name: "main hoop", Tube: spec, Path: path, Table: spec.Table(path)}
	cage := &fit.Cage{Bars: []*fit.Bar{hoop}}
	if err := Work(context.Background(), cage, nil, Tolerances{}, 0); err != nil {
		fmt.Println(err)
		return
	}
	for i, s := range hoop.Budget.Bends {
		fmt.Printf("bend %d: %.1f mm per degree of angle, %.1f of rotation\n", i+1, s.EndPerDegree, s.EndPerTurn)
	}
	fmt.Println("check bend", Worst(hoop.Budget))
	// Output:
	// bend 1: 24.3 mm per degree of angle, 0.0 of rotation
	// bend 2: 15.5 mm per degree of angle, 17.5 of rotation
	// check bend 1
}
