package align

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"barwright/mesh"
	"barwright/mesh/sample"
)

// raked is a room, symmetric about y = 0 and nothing else, floor at z = 0: a
// tumblehome section whose front end leans back.
func raked() *mesh.Mesh {
	m := sample.Tumblehome(4, 2000, 25).Mesh
	for i, v := range m.Vertices {
		if v.X > 0 {
			m.Vertices[i].X *= 1 - 0.5*v.Z/1150
		}
	}
	return m
}

// inScan returns a car's mesh as it lies in a scan in which its frame is f.
func inScan(m *mesh.Mesh, f Frame) *mesh.Mesh {
	out := &mesh.Mesh{Triangles: m.Triangles}
	for _, v := range m.Vertices {
		out.Vertices = append(out.Vertices, f.Invert(v))
	}
	return out
}

func requireProper(t *testing.T, f Frame) {
	t.Helper()
	for _, v := range []r3.Vector{f.X, f.Y, f.Z} {
		require.InDelta(t, 1, v.Norm(), 1e-12)
	}
	require.InDelta(t, 0, f.X.Cross(f.Y).Sub(f.Z).Norm(), 1e-12)
}

func TestFrameGoesThereAndBack(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	for range 50 {
		f := attitude(random, true)
		requireProper(t, f)
		p := r3.Vector{X: 100, Y: -200, Z: 300}
		require.InDelta(t, 0, f.Apply(f.Invert(p)).Sub(p).Norm(), 1e-9)
		require.InDelta(t, 0, f.Direction(f.Z).Sub(r3.Vector{Z: 1}).Norm(), 1e-12)
	}
	m := sample.Box(1000, 800, 600, 200).Mesh
	f := attitude(random, true)
	back := f.Mesh(inScan(m, f))
	require.Equal(t, m.Triangles, back.Triangles)
	for i, v := range back.Vertices {
		require.InDelta(t, 0, v.Sub(m.Vertices[i]).Norm(), 1e-9)
	}
}

// The room's mirror plane and floor are known exactly.
func TestAutoOnAnExactRoom(t *testing.T) {
	room := raked()
	random := rand.New(rand.NewPCG(4, 4))
	for range 3 {
		want := attitude(random, true)
		got, err := Align(context.Background(), inScan(room, want), Options{Mode: Auto, Front: nearest(want.X)})
		require.NoError(t, err)
		requireProper(t, got.Frame)
		e := off(got.Frame, want)
		require.Less(t, e.plane, 0.01)
		require.Less(t, e.offset, 0.05)
		require.Less(t, e.up, 0.01)
		require.Less(t, e.front, 0.02)
		require.Less(t, e.level, 0.05)
		require.True(t, got.Sure, got.Notes)
		require.Less(t, got.MirrorResidual, 0.5)
		require.Greater(t, got.MirrorOverlap, 0.95)
		// Half-way along: from 1000 behind to 1000 ahead at the floor.
		require.InDelta(t, 0, want.Apply(got.Frame.Origin).X, 30)
	}
}

// kabsch returns the rotation r, det +1, and the shift that take p onto q best
// (Kabsch 1976; from memory).
func kabsch(p, q []r3.Vector) (r *mat.Dense, from, to r3.Vector) {
	for i := range p {
		from, to = from.Add(p[i]), to.Add(q[i])
	}
	from, to = from.Mul(1/float64(len(p))), to.Mul(1/float64(len(q)))
	h := mat.NewDense(3, 3, nil)
	for i := range p {
		a, b := p[i].Sub(from), q[i].Sub(to)
		for j, x := range []float64{a.X, a.Y, a.Z} {
			for k, y := range []float64{b.X, b.Y, b.Z} {
				h.Set(j, k, h.At(j, k)+x*y)
			}
		}
	}
	var svd mat.SVD
	if !svd.Factorize(h, mat.SVDFull) {
		panic("no singular values")
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	var vu mat.Dense
	vu.Mul(&v, u.T())
	d := mat.NewDiagDense(3, []float64{1, 1, math.Copysign(1, mat.Det(&vu))})
	r = &mat.Dense{}
	r.Product(&v, d, u.T())
	return r, from, to
}

// The mirror plane against an independent method: the coupe's vertices come in
// mirrored pairs, so that gonum's singular values give the rigid motion between
// a noisy body and its mirror image in closed form, and the motion the plane.
func TestMirrorPlaneAgreesWithKabsch(t *testing.T) {
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 40_000}).Mesh
	number := map[r3.Vector]int{}
	for i, v := range coupe.Vertices {
		number[v] = i
	}
	random := rand.New(rand.NewPCG(6, 6))
	frame := attitude(random, true)
	m := inScan(coupe, frame)
	for i := range m.Vertices {
		m.Vertices[i] = m.Vertices[i].Add(r3.Vector{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}.Mul(2))
	}
	// Mirror in the scan's plane x = 0, then move onto the partner.
	var p, q []r3.Vector
	for i, v := range coupe.Vertices {
		if k, ok := number[r3.Vector{X: v.X, Y: -v.Y + 0, Z: v.Z}]; ok {
			w := m.Vertices[i]
			p = append(p, r3.Vector{X: -w.X, Y: w.Y, Z: w.Z})
			q = append(q, m.Vertices[k])
		}
	}
	require.Greater(t, len(p), len(m.Vertices)*9/10)
	r, from, to := kabsch(p, q)
	require.InDelta(t, 1, mat.Det(r), 1e-9)
	// R diag(-1, 1, 1) = 1 - 2 n n^T: n is any column of 1 less that.
	var n r3.Vector
	for c := range 3 {
		col := r3.Vector{X: r.At(0, c), Y: r.At(1, c), Z: r.At(2, c)}
		if c == 0 {
			col = col.Mul(-1)
		}
		one := [3]r3.Vector{{X: 1}, {Y: 1}, {Z: 1}}[c]
		if d := one.Sub(col); d.Norm() > n.Norm() {
			n = d
		}
	}
	n = n.Normalize()
	middle := r3.Vector{X: -from.X, Y: from.Y, Z: from.Z}.Add(to).Mul(0.5)

	got, err := Align(context.Background(), m, Options{Mode: Auto, Front: nearest(frame.X)})
	require.NoError(t, err)
	require.Greater(t, math.Abs(n.Dot(got.Frame.Y)), math.Cos((0.02 * s1.Degree).Radians()))
	require.Less(t, math.Abs(got.Frame.Apply(middle).Y), 0.15)
}

func TestAxes(t *testing.T) {
	// z up and x forward in the car; in the scan y is up and -z forward.
	want := Frame{X: r3.Vector{Z: -1}, Y: r3.Vector{X: -1}, Z: r3.Vector{Y: 1}, Origin: r3.Vector{X: 50, Y: -300, Z: 900}}
	requireProper(t, want)
	m := inScan(raked(), want)
	got, err := Align(context.Background(), m, Options{Mode: Axes, Up: "y", Front: "-z"})
	require.NoError(t, err)
	require.Equal(t, want.X, got.Frame.X)
	require.Equal(t, want.Y, got.Frame.Y)
	require.Equal(t, want.Z, got.Frame.Z)
	require.True(t, got.Sure, got.Notes)
	require.InDelta(t, 0, want.Apply(got.Frame.Origin).Y, 0.05, "on the mirror plane")
	require.InDelta(t, 0, want.Apply(got.Frame.Origin).Z, 0.05, "at floor level")

	origin := r3.Vector{X: 1, Y: 2, Z: 3}
	got, err = Align(context.Background(), m, Options{Mode: Axes, Up: "+Y", Front: "-Z", Origin: &origin})
	require.NoError(t, err)
	require.Equal(t, origin, got.Frame.Origin)
	require.False(t, got.Sure, "49 mm off the mirror plane")
	require.Contains(t, strings.Join(got.Notes, "\n"), "49 mm off")

	// A scan that is turned by 4 degrees against its own axes.
	yaw := turned(want, r3.Vector{Y: 1}, 4*s1.Degree)
	got, err = Align(context.Background(), inScan(raked(), yaw), Options{Mode: Axes, Up: "y", Front: "-z"})
	require.NoError(t, err)
	require.False(t, got.Sure)
	require.Contains(t, strings.Join(got.Notes, "\n"), "turned by 4.0 degrees")
}

func TestDatum(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	room := raked()
	for range 2 {
		want := attitude(random, true)
		at := func(x, y, z float64) r3.Vector { return want.Invert(r3.Vector{X: x, Y: y, Z: z}) }
		opt := Options{
			Mode:  Datum,
			Floor: [3]r3.Vector{at(-500, 300, 0), at(-400, -300, 0), at(600, 10, 0)},
			Left:  at(100, 600, 500), Right: at(100, -600, 500), Ahead: at(700, 150, 600),
		}
		m := inScan(room, want)
		got, err := Align(context.Background(), m, opt)
		require.NoError(t, err)
		requireProper(t, got.Frame)
		require.Less(t, degrees(got.Frame.X, want.X), 1e-5)
		require.Less(t, degrees(got.Frame.Z, want.Z), 1e-5)
		require.InDelta(t, 0, want.Apply(got.Frame.Origin).Sub(r3.Vector{X: 100}).Norm(), 1e-6)
		require.True(t, got.Sure, got.Notes)

		// The order of the floor points does not matter.
		opt.Floor[0], opt.Floor[1] = opt.Floor[1], opt.Floor[0]
		again, err := Align(context.Background(), m, opt)
		require.NoError(t, err)
		require.InDelta(t, 0, again.Frame.Z.Sub(got.Frame.Z).Norm(), 1e-12)

		// A pair that is no pair: the left point 40 mm too far ahead.
		wrong := opt
		wrong.Left = at(140, 600, 500)
		got, err = Align(context.Background(), m, wrong)
		require.NoError(t, err)
		require.False(t, got.Sure)

		for _, bad := range []struct {
			why    string
			change func(o *Options)
		}{
			{"lie on a line", func(o *Options) { o.Floor[2] = o.Floor[0].Add(o.Floor[1]).Mul(0.5) }},
			{"lie on a line", func(o *Options) { o.Floor = [3]r3.Vector{} }},
			{"left and right points are the same", func(o *Options) { o.Left = o.Right }},
			{"neither ahead", func(o *Options) { o.Ahead = at(100, 80, 900) }},
			{"would hang below its floor", func(o *Options) { o.Left, o.Right = o.Right, o.Left }},
			{"would hang below its floor", func(o *Options) { o.Ahead = at(-700, 0, 600) }},
			{"degrees to the floor", func(o *Options) { o.Left = at(100, 600, 1500) }},
			{"not finite", func(o *Options) { o.Ahead.X = math.NaN() }},
			{"not finite", func(o *Options) { o.Origin = &r3.Vector{Y: math.Inf(1)} }},
		} {
			o := opt
			bad.change(&o)
			_, err := Align(context.Background(), m, o)
			require.ErrorContains(t, err, bad.why)
		}
	}
}

func TestBadOptions(t *testing.T) {
	m := raked()
	for why, opt := range map[string]Options{
		`up "w"`:             {Mode: Axes, Up: "w", Front: "x"},
		`front "--x"`:        {Mode: Auto, Front: "--x"},
		`front "+"`:          {Mode: Auto, Front: "+"},
		"same axis":          {Mode: Axes, Up: "x", Front: "-x"},
		"need both up and":   {Mode: Axes, Up: "z"},
		"unknown mode 9":     {Mode: 9},
		"no surface to meas": {Mode: Auto},
	} {
		scan := m
		if strings.HasPrefix(why, "no surface") {
			scan = &mesh.Mesh{}
		}
		_, err := Align(context.Background(), scan, opt)
		require.ErrorContains(t, err, why)
	}
	one := &mesh.Mesh{Vertices: []r3.Vector{{}, {}, {}}, Triangles: [][3]int32{{0, 1, 2}}}
	_, err := Align(context.Background(), one, Options{Mode: Auto})
	require.ErrorContains(t, err, "no surface")
	for _, size := range []float64{1e-9, 1e-3, 1e6, 1e12, 1e18} { // wrong units, and worse: an answer or an error
		odd := &mesh.Mesh{Triangles: m.Triangles}
		for _, v := range m.Vertices {
			odd.Vertices = append(odd.Vertices, v.Mul(size))
		}
		got, err := Align(context.Background(), odd, Options{Mode: Auto})
		if err == nil {
			require.False(t, got.Sure)
		}
	}
	stopped, stop := context.WithCancel(context.Background())
	stop()
	_, err = Align(stopped, m, Options{Mode: Auto})
	require.ErrorIs(t, err, context.Canceled)

	got, err := Align(context.Background(), nil, Options{})
	require.NoError(t, err)
	require.Equal(t, Result{Frame: Identity(), Sure: true}, got)
}

func TestModeNames(t *testing.T) {
	for m := None; m <= Auto; m++ {
		got, err := ParseMode(m.String())
		require.NoError(t, err)
		require.Equal(t, m, got)
	}
	_, err := ParseMode("automatic")
	require.ErrorContains(t, err, `alignment "automatic"`)
}

// sphere is a coarse ball: every plane through its middle mirrors it.
func sphere(r float64) *mesh.Mesh {
	const n = 60
	m := &mesh.Mesh{}
	for i := 0; i <= n; i++ {
		for j := range 2 * n {
			a, b := math.Pi*float64(i)/n, math.Pi*float64(j)/n
			m.Vertices = append(m.Vertices, r3.Vector{X: math.Sin(a) * math.Cos(b), Y: math.Sin(a) * math.Sin(b), Z: math.Cos(a)}.Mul(r))
		}
	}
	at := func(i, j int) int32 { return int32(i*2*n + j%(2*n)) }
	for i := range n {
		for j := range 2 * n {
			m.Triangles = append(m.Triangles,
				[3]int32{at(i, j), at(i+1, j), at(i+1, j+1)}, [3]int32{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
	}
	return m
}

// Bodies that have no frame of their own must not get a sure one.
func TestNotSure(t *testing.T) {
	coupe := sample.NewCoupe(sample.CoupeOptions{Triangles: 16_000})
	half := &mesh.Mesh{Vertices: coupe.Mesh.Vertices}
	for i, tri := range coupe.Mesh.Triangles {
		if a, b, c := coupe.Mesh.Corners(i); a.Y+b.Y+c.Y > 300 {
			half.Triangles = append(half.Triangles, tri)
		}
	}
	sheet := &mesh.Mesh{
		Vertices:  []r3.Vector{{}, {X: 2000}, {X: 2000, Y: 1000}, {Y: 1000}},
		Triangles: [][3]int32{{0, 1, 2}, {0, 2, 3}},
	}
	one := &mesh.Mesh{Vertices: sheet.Vertices, Triangles: sheet.Triangles[:1]}
	skew := sample.NewCoupe(sample.CoupeOptions{Triangles: 30_000, Skew: 20}).Scan(sample.Dirt{Sigma: 2, Seed: 2})
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		opt  Options
		why  string
	}{
		{"no front", coupe.Mesh, Options{Mode: Auto}, "which end is the front"},
		{"front across", coupe.Mesh, Options{Mode: Auto, Front: "y"}, "off the body's length"},
		{"box", sample.Box(2000, 1400, 1100, 40).Mesh, Options{Mode: Auto, Front: "x", Up: "z"}, "nearly as well"},
		{"ball", sphere(800), Options{Mode: Auto, Front: "x"}, "nearly as well"},
		{"one side only", half, Options{Mode: Auto, Front: "x"}, ""},
		{"sheet", sheet, Options{Mode: Auto, Front: "x"}, ""},
		{"one triangle", one, Options{Mode: Auto, Front: "x"}, ""},
		{"uneven", skew, Options{Mode: Auto, Front: "x"}, "a compromise"},
		{"one side, axes", half, Options{Mode: Axes, Front: "x", Up: "z"}, ""},
		{"upside down", coupe.Mesh, Options{Mode: Auto, Front: "x", Up: "-z"}, "floor"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Align(context.Background(), c.m, c.opt)
			require.NoError(t, err)
			requireProper(t, got.Frame)
			require.False(t, got.Sure, "%+v", got)
			require.NotEmpty(t, got.Notes)
			require.Contains(t, strings.Join(got.Notes, "\n"), c.why)
		})
	}
}

// On a scan as rough as 10 mm floor and roof look much alike: the user's word
// for up settles it.
func TestUpHintSettlesARoughScan(t *testing.T) {
	random := rand.New(rand.NewPCG(0, 77))
	car := scan(sample.NewCoupe(sample.CoupeOptions{Triangles: 40_000}), random, 10, 0.1)
	want := attitude(random, true)
	m := inScan(car, want)
	opt := Options{Mode: Auto, Front: nearest(want.X)}
	got, err := Align(context.Background(), m, opt)
	require.NoError(t, err)
	require.False(t, got.Sure)
	require.Contains(t, strings.Join(got.Notes, "\n"), "say which axis is up")

	opt.Up = nearest(want.Z)
	got, err = Align(context.Background(), m, opt)
	require.NoError(t, err)
	require.True(t, got.Sure, got.Notes)
	require.True(t, off(got.Frame, want).good())
}

func TestSameScanSameFrame(t *testing.T) {
	m := sample.NewCoupe(sample.CoupeOptions{Triangles: 20_000}).Scan(sample.Dirt{Sigma: 2, Seed: 5, FlipShare: 0.5, DropWindows: true, Islands: 5, Spikes: 50})
	a, err := Align(context.Background(), m, Options{Mode: Auto, Front: "x"})
	require.NoError(t, err)
	b, err := Align(context.Background(), m, Options{Mode: Auto, Front: "x"})
	require.NoError(t, err)
	require.Equal(t, a, b)
	require.True(t, a.Sure, a.Notes)
	e := off(a.Frame, Identity())
	require.Less(t, e.plane, 0.1)
	require.Less(t, e.up, 0.2)
}
