package tube_test

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/tube"
)

// drawTable draws a bend table of 0 to 6 bends whose nodes lie within some
// metres, with legs of at least 10 mm: the range of doc.go's guarantees.
// Straights of zero length are among them.
func drawTable(t *rapid.T) (tube.Table, float64) {
	var table tube.Table
	radius := rapid.Float64Range(20, 300).Draw(t, "radius")
	for i := range rapid.IntRange(0, 6).Draw(t, "bends") {
		b := tube.Bend{
			Feed:  rapid.Float64Range(0, 900).Draw(t, "feed"),
			Angle: s1.Angle(rapid.Float64Range(.01, 170).Draw(t, "angle")) * s1.Degree,
		}
		if b.Feed+tube.Setback(radius, b.Angle) < 10 {
			b.Feed += 10
		}
		if i > 0 {
			b.Rotation = s1.Angle(rapid.Float64Range(-179.99, 180).Draw(t, "rotation")) * s1.Degree
		}
		table.Bends = append(table.Bends, b)
	}
	table.Tail = rapid.Float64Range(10, 900).Draw(t, "tail")
	return table, radius
}

func drawVector(t *rapid.T, name string, size float64) r3.Vector {
	c := rapid.Float64Range(-size, size)
	return r3.Vector{X: c.Draw(t, name+".x"), Y: c.Draw(t, name+".y"), Z: c.Draw(t, name+".z")}
}

func drawUnit(t *rapid.T, name string) r3.Vector {
	z := rapid.Float64Range(-1, 1).Draw(t, name+".z")
	a := rapid.Float64Range(0, 2*math.Pi).Draw(t, name+".a")
	h := math.Sqrt(1 - z*z)
	return r3.Vector{X: h * math.Cos(a), Y: h * math.Sin(a), Z: z}
}

func drawPath(t *rapid.T) *tube.Path {
	table, radius := drawTable(t)
	dir := drawUnit(t, "dir")
	nodes := tube.Nodes(table, radius, drawVector(t, "at", 2000), dir, drawUnit(t, "normal"))
	p, err := tube.NewPath(nodes, radius)
	require.NoError(t, err)
	return p
}

// Tolerances of the comparisons, as doc.go promises them.
const (
	lengthTol = 1e-6 // mm
	angleTol  = 1e-7 // degrees
	smallTol  = 1e-6 // degrees, rotations next to a bend under half a degree
)

func sameAngle(t require.TestingT, want, got s1.Angle, small bool, what string) {
	d := math.Mod(float64(want-got), 2*math.Pi)
	if d > math.Pi {
		d -= 2 * math.Pi
	} else if d < -math.Pi {
		d += 2 * math.Pi
	}
	tol := angleTol
	if small {
		tol = smallTol
	}
	require.InDelta(t, 0, d*180/math.Pi, tol, what)
}

// sameTable compares what geometry gives: feeds, rotations, angles, tail.
// turned maps the wanted rotation.
func sameTable(t require.TestingT, want, got tube.Table, turned func(s1.Angle) s1.Angle) {
	require.Len(t, got.Bends, len(want.Bends))
	for i, b := range want.Bends {
		g := got.Bends[i]
		small := b.Angle < .5*s1.Degree || i > 0 && want.Bends[i-1].Angle < .5*s1.Degree
		require.InDelta(t, b.Feed, g.Feed, lengthTol)
		sameAngle(t, b.Angle, g.Angle, false, "angle")
		sameAngle(t, turned(b.Rotation), g.Rotation, small, "rotation")
		require.Greater(t, float64(g.Rotation), -math.Pi)
		require.LessOrEqual(t, float64(g.Rotation), math.Pi)
	}
	require.InDelta(t, want.Tail, got.Tail, lengthTol)
}

func keep(a s1.Angle) s1.Angle   { return a }
func negate(a s1.Angle) s1.Angle { return -a }

func TestTableThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table, radius := drawTable(t)
		at, dir, normal := drawVector(t, "at", 3000), drawUnit(t, "dir"), drawUnit(t, "normal")
		nodes := tube.Nodes(table, radius, at, dir, normal)
		require.Len(t, nodes, len(table.Bends)+2)
		p, err := tube.NewPath(nodes, radius)
		require.NoError(t, err)
		require.Equal(t, at, nodes[0])
		require.InDelta(t, 1, p.Segments[0].Dir.Dot(dir), 1e-9)
		if len(table.Bends) > 0 {
			require.GreaterOrEqual(t, nodes[2].Sub(nodes[1]).Dot(normal.Sub(dir.Mul(normal.Dot(dir)))), -lengthTol, "the first bend turns towards normal")
		}
		got := (&tube.Spec{}).Table(p)
		sameTable(t, table, got, keep)

		developed := table.Tail
		for _, b := range table.Bends {
			developed += b.Feed + radius*float64(b.Angle)
		}
		require.InDelta(t, developed, got.Developed, lengthTol)
		require.InDelta(t, developed, got.Cut, lengthTol, "a die without stretch")

		// And once more: nodes to table to nodes.
		again := tube.Nodes(got, radius, nodes[0], p.Segments[0].Dir, normal)
		for i := range nodes {
			require.InDelta(t, 0, again[i].Sub(nodes[i]).Norm(), 1e-5)
		}
	})
}

func TestTableReadFromTheOtherEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		a, b := (&tube.Spec{}).Table(p), (&tube.Spec{}).Table(p.Reversed())
		n := len(a.Bends)
		want := tube.Table{Tail: a.Tail}
		if n > 0 {
			want.Tail = a.Bends[0].Feed
		}
		feed := a.Tail
		for i := n - 1; i >= 0; i-- {
			r := tube.Bend{Feed: feed, Angle: a.Bends[i].Angle}
			if i < n-1 {
				r.Rotation = a.Bends[i+1].Rotation
			}
			want.Bends = append(want.Bends, r)
			feed = a.Bends[i].Feed
		}
		sameTable(t, want, b, keep)
		for i, bend := range b.Bends {
			require.Equal(t, len(p.Nodes)-1-a.Bends[n-1-i].Node, bend.Node)
		}
		// A path built from the nodes in reverse is the same one.
		nodes := p.Reversed().Nodes
		q, err := tube.NewPath(nodes, p.Radius)
		require.NoError(t, err)
		samePath(t, q, p.Reversed())
		samePath(t, p, p.Reversed().Reversed())
	})
}

func samePath(t require.TestingT, want, got *tube.Path) {
	require.Len(t, got.Segments, len(want.Segments))
	for i, w := range want.Segments {
		g := got.Segments[i]
		require.Equal(t, w.Kind, g.Kind)
		require.Equal(t, w.Node, g.Node)
		require.InDelta(t, w.Start, g.Start, lengthTol)
		require.InDelta(t, w.Length, g.Length, lengthTol)
		require.InDelta(t, 0, w.From.Sub(g.From).Norm(), lengthTol)
		require.InDelta(t, 0, w.To.Sub(g.To).Norm(), lengthTol)
		require.InDelta(t, 0, w.Dir.Sub(g.Dir).Norm(), 1e-9)
		if w.Kind == tube.Arc && w.Angle > .5*s1.Degree {
			require.InDelta(t, 0, w.Centre.Sub(g.Centre).Norm(), lengthTol)
			require.InDelta(t, 0, w.Axis.Sub(g.Axis).Norm(), 1e-9)
		}
	}
	require.InDelta(t, want.Length, got.Length, lengthTol)
}

func TestMirrorNegatesRotations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		m := p.Mirrored()
		sameTable(t, (&tube.Spec{}).Table(p), (&tube.Spec{}).Table(m), negate)
		for i, n := range m.Nodes {
			require.Equal(t, r3.Vector{X: p.Nodes[i].X, Y: -p.Nodes[i].Y, Z: p.Nodes[i].Z}, n)
		}
		q, err := tube.NewPath(m.Nodes, p.Radius)
		require.NoError(t, err)
		samePath(t, q, m)
		require.InDelta(t, 0, tube.ReferenceLine(m).Sub(mirror(tube.ReferenceLine(p))).Norm(), 1e-7)
	})
}

func mirror(a r3.Vector) r3.Vector { return r3.Vector{X: a.X, Y: -a.Y, Z: a.Z} }

func TestRigidMotion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		x, along := drawUnit(t, "x"), drawUnit(t, "along")
		y := along.Sub(x.Mul(along.Dot(x)))
		if y.Norm() < .01 {
			return // no frame from two directions that are nearly one
		}
		y = y.Normalize()
		z := x.Cross(y)
		shift := drawVector(t, "shift", 5000)
		move := func(a r3.Vector) r3.Vector {
			return x.Mul(a.X).Add(y.Mul(a.Y)).Add(z.Mul(a.Z)).Add(shift)
		}
		m := p.Transformed(move)
		spec := &tube.Spec{}
		sameTable(t, spec.Table(p), spec.Table(m), keep)
		q, err := tube.NewPath(m.Nodes, p.Radius)
		require.NoError(t, err)
		samePath(t, q, m)
		s := rapid.Float64Range(0, 1).Draw(t, "s") * p.Length
		at, tangent := p.At(s)
		at2, tangent2 := m.At(s)
		require.InDelta(t, 0, move(at).Sub(at2).Norm(), lengthTol)
		require.InDelta(t, 0, move(tangent).Sub(shift).Sub(tangent2).Norm(), 1e-9)
	})
}

func TestPathIsOneSmoothCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		start := 0.0
		for i, g := range p.Segments {
			require.Equal(t, i%2 == 1, g.Kind == tube.Arc)
			require.InDelta(t, start, g.Start, 1e-9)
			require.GreaterOrEqual(t, g.Length, 0.0)
			start += g.Length
			at, tangent := p.At(g.Start)
			require.InDelta(t, 0, at.Sub(g.From).Norm(), 1e-9)
			require.InDelta(t, 0, tangent.Sub(g.Dir).Norm(), 1e-9)
			end, last := p.At(math.Nextafter(g.Start+g.Length, g.Start))
			require.InDelta(t, 0, end.Sub(g.To).Norm(), 1e-9)
			if i+1 < len(p.Segments) {
				next := p.Segments[i+1]
				require.Equal(t, g.To, next.From)
				require.InDelta(t, 0, last.Sub(next.Dir).Norm(), 1e-9)
			}
			if g.Kind == tube.Arc {
				node := p.Nodes[g.Node]
				require.InDelta(t, tube.Setback(p.Radius, g.Angle), node.Sub(g.From).Norm(), 1e-9)
				require.InDelta(t, p.Radius, g.From.Sub(g.Centre).Norm(), 1e-9)
				require.InDelta(t, p.Radius, g.To.Sub(g.Centre).Norm(), 1e-9)
			}
		}
		require.InDelta(t, start, p.Length, 1e-9)

		// The arc length parameter is one: the polyline of dense points has
		// nearly the path's length.
		s := p.Sample(1)
		require.Equal(t, 0.0, s[0])
		require.Equal(t, p.Length, s[len(s)-1])
		sum := 0.0
		for i := 1; i < len(s); i++ {
			require.Greater(t, s[i], s[i-1])
			require.LessOrEqual(t, s[i]-s[i-1], 1+1e-9)
			a, _ := p.At(s[i-1])
			b, _ := p.At(s[i])
			sum += b.Sub(a).Norm()
		}
		// A chord of 1 mm on R >= 20 is at most 1/(24 R^2) short, 1.1e-4 a mm.
		require.InDelta(t, p.Length, sum, 1.1e-4*p.Length+1e-6)
	})
}

func TestClosestAgainstDenseSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		mid, _ := p.At(rapid.Float64Range(0, 1).Draw(t, "near") * p.Length)
		q := mid.Add(drawVector(t, "off", rapid.Float64Range(0, 1500).Draw(t, "size")))
		s, distance := p.Closest(q)
		require.GreaterOrEqual(t, s, 0.0)
		require.LessOrEqual(t, s, p.Length)
		at, _ := p.At(s)
		require.InDelta(t, distance, q.Sub(at).Norm(), 1e-9)
		const step = 2.0
		best := math.Inf(1)
		for _, x := range p.Sample(step) {
			a, _ := p.At(x)
			best = min(best, q.Sub(a).Norm())
		}
		require.LessOrEqual(t, distance, best+1e-9, "no sample is closer")
		// Distance changes by no more than the way along the path.
		require.GreaterOrEqual(t, distance, best-step/2-1e-9)
	})
}

func TestPolylineStaysWithinChord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		chord := rapid.Float64Range(.01, 5).Draw(t, "chord")
		points := p.Polyline(chord)
		require.Equal(t, p.Nodes[0], points[0])
		require.InDelta(t, 0, p.Nodes[len(p.Nodes)-1].Sub(points[len(points)-1]).Norm(), 1e-9)
		for i := 1; i < len(points); i++ {
			require.Greater(t, points[i].Sub(points[i-1]).Norm(), 0.0)
			_, d := p.Closest(points[i].Add(points[i-1]).Mul(.5))
			require.LessOrEqual(t, d, chord+1e-9)
			_, d = p.Closest(points[i])
			require.LessOrEqual(t, d, 1e-9)
		}
	})
}

func TestReferenceLineIsOutside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		r := tube.ReferenceLine(p)
		require.InDelta(t, 1, r.Norm(), 1e-12)
		require.InDelta(t, 0, r.Dot(p.Segments[0].Dir), 1e-7)
		if len(p.Segments) > 1 {
			require.Less(t, r.Dot(p.Segments[2].Dir), 0.0, "bend 1 turns away from its outside")
		} else {
			require.GreaterOrEqual(t, r.Z, 0.0)
		}
	})
}

// Set angles grow with the wanted angle, meet the pairs and the origin.
func TestSetAngleMeetsThePairs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		die := &tube.Die{CLR: 150}
		var want, set float64
		for range rapid.IntRange(1, 5).Draw(t, "pairs") {
			want += rapid.Float64Range(1, 35).Draw(t, "want")
			set = max(set+.1, want+rapid.Float64Range(0, 5).Draw(t, "over"))
			die.Springback = append(die.Springback, tube.Springback{Want: s1.Angle(want) * s1.Degree, Set: s1.Angle(set) * s1.Degree})
		}
		s := &tube.Spec{Die: die}
		for _, pair := range die.Springback {
			got, estimated := s.SetAngle(pair.Want)
			require.False(t, estimated)
			require.InDelta(t, float64(pair.Set), float64(got), 1e-12)
		}
		zero, _ := s.SetAngle(0)
		require.Equal(t, s1.Angle(0), zero)
		a := s1.Angle(rapid.Float64Range(0, 180).Draw(t, "a")) * s1.Degree
		b := s1.Angle(rapid.Float64Range(0, 180).Draw(t, "b")) * s1.Degree
		setA, _ := s.SetAngle(a)
		setB, _ := s.SetAngle(b)
		require.Equal(t, a < b, setA < setB)
	})
}

// What is set gives what was wanted, with and without test pieces.
func TestGivenAngleUndoesSetAngle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steel, _ := tube.LookupMaterial("4130 N")
		s := &tube.Spec{OD: 44.45, Wall: 2.41, Material: steel, Die: &tube.Die{CLR: rapid.Float64Range(80, 300).Draw(t, "clr")}}
		want, set := s1.Angle(0), s1.Angle(0)
		for range rapid.IntRange(0, 4).Draw(t, "pairs") {
			want += s1.Angle(rapid.Float64Range(1, 60).Draw(t, "want")) * s1.Degree
			set += s1.Angle(rapid.Float64Range(1, 63).Draw(t, "set")) * s1.Degree
			s.Die.Springback = append(s.Die.Springback, tube.Springback{Want: want, Set: set})
		}
		angle := s1.Angle(rapid.Float64Range(0, 180).Draw(t, "angle")) * s1.Degree
		exact, _ := s.SetAngle(angle)
		// Slopes of 1 to 60 either way lose no more than four digits of 1e-16.
		require.InDelta(t, float64(angle), float64(s.GivenAngle(exact)), 1e-12)
	})
}
