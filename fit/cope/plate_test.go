package cope

import (
	"context"
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
	"barwright/mesh"
	"barwright/mesh/sample"
)

// floorRoom is a room 1400 long, 1400 wide and 1100 high whose floor is the surface
// z = height(x, y), on a grid of 10 mm near the middle; skip leaves parts of the
// floor out.
func floorRoom(height func(x, y float64) float64, skip func(x, y float64) bool) *mesh.Mesh {
	m := &mesh.Mesh{}
	var lines []float64
	for x := -700.0; x <= 700; x += 10 {
		if math.Abs(x) <= 200 || math.Mod(x, 50) == 0 {
			lines = append(lines, x)
		}
	}
	n := len(lines)
	for _, x := range lines {
		for _, y := range lines {
			m.Vertices = append(m.Vertices, v(x, y, height(x, y)))
		}
	}
	at := func(i, k int) int32 { return int32(i*n + k) }
	for i := range n - 1 {
		for k := range n - 1 {
			if skip != nil && skip((lines[i]+lines[i+1])/2, (lines[k]+lines[k+1])/2) {
				continue
			}
			m.Triangles = append(m.Triangles, [3]int32{at(i, k), at(i+1, k), at(i+1, k+1)}, [3]int32{at(i, k), at(i+1, k+1), at(i, k+1)})
		}
	}
	// Walls from the floor's rim up, and a roof: two triangles for each edge.
	var rim []int32
	for i := range n - 1 {
		rim = append(rim, at(i, 0))
	}
	for k := range n - 1 {
		rim = append(rim, at(n-1, k))
	}
	for i := n - 1; i > 0; i-- {
		rim = append(rim, at(i, n-1))
	}
	for k := n - 1; k > 0; k-- {
		rim = append(rim, at(0, k))
	}
	top := int32(len(m.Vertices))
	for _, r := range rim {
		p := m.Vertices[r]
		p.Z = 1100
		m.Vertices = append(m.Vertices, p)
	}
	middle := int32(len(m.Vertices))
	m.Vertices = append(m.Vertices, v(0, 0, 1100))
	for i := range rim {
		k := (i + 1) % len(rim)
		a, b, c, d := rim[i], rim[k], top+int32(i), top+int32(k)
		m.Triangles = append(m.Triangles, [3]int32{b, a, c}, [3]int32{b, c, d}, [3]int32{d, c, middle})
	}
	return m
}

// bare takes a mesh as it is for a shell: without caps, with that noise.
func bare(m *mesh.Mesh, noise float64) scan {
	return scan{mesh.NewIndex(m), func(int32) bool { return false }, noise}
}

func flat(float64, float64) float64 { return 0 }

// leg is a straight bar of 40 x 2 mm that stands on the shell at a point, with a
// plate of 120 x 100 x 3 mm.
func leg(t require.TestingT, name string, at, dir, normal r3.Vector) *fit.Bar {
	b := bar(t, name, 40, 2, 0, [2]job.End{foot, free}, at, at.Add(dir.Normalize().Mul(600)))
	b.Job = &job.Bar{Plate: job.Plate{Size: [2]float64{120, 100}, Thickness: 3}}
	b.Feet = []fit.Foot{{Point: at, Normal: normal.Normalize()}}
	return b
}

var upward = v(0, 0, 1)

// standing is a leg that stands upright on a level floor.
func standing(t require.TestingT, name string, at r3.Vector) *fit.Bar {
	return leg(t, name, at, upward, upward)
}

func vectorsNear(t require.TestingT, want, got r3.Vector, delta float64, what string) {
	require.LessOrEqual(t, want.Sub(got).Norm(), delta, "%s: want %v, got %v", what, want, got)
}

// On a flat floor all figures are those of geometry.
func TestPlateOnFlatFloor(t *testing.T) {
	sh := bare(floorRoom(flat, nil), 0)
	plates, found := layAll(cage(standing(t, "up", v(0, 0, 0))), shop(), sh)
	require.Len(t, plates, 1)
	assert.Empty(t, found)
	p := plates[0]
	assert.Equal(t, "up", p.Bar)
	assert.True(t, p.Fitted)
	assert.False(t, p.Along)
	vectorsNear(t, v(0, 0, 0), p.Centre, 1e-9, "centre")
	vectorsNear(t, upward, p.Normal, 1e-12, "normal")
	vectorsNear(t, v(1, 0, 0), p.First, 1e-12, "first")
	vectorsNear(t, v(-60, -50, 0), p.Corners[0], 1e-9, "corner")
	vectorsNear(t, v(60, 50, 0), p.Corners[2], 1e-9, "corner")
	assert.Equal(t, 12000.0, p.Area)
	assert.InDelta(t, 12000, p.Contact, 1e-6)
	for _, x := range []float64{p.Above, p.Below, p.RMS, p.Tilt, p.Height, p.Lean, p.Tube[0], p.Tube[1], p.Missing, p.Walls, p.Stuck} {
		assert.InDelta(t, 0, x, 1e-6)
	}

	// One that leans 45 degrees to the rear left: its axis comes through the upper
	// side 3 mm tan 45 away from the node.
	plates, found = layAll(cage(leg(t, "slope", v(20, 30, 0), v(-1, 1, math.Sqrt2), upward)), shop(), sh)
	assert.Empty(t, found)
	p = plates[0]
	assert.True(t, p.Along)
	vectorsNear(t, v(-1, 1, 0).Normalize(), p.First, 1e-9, "first")
	vectorsNear(t, v(20, 30, 0), p.Centre, 1e-9, "centre")
	assert.InDelta(t, 45, p.Lean, 1e-9)
	assert.InDelta(t, 0, p.Turn, 1e-9)
	assert.InDelta(t, 3, p.Tube[0], 1e-9)
	assert.InDelta(t, 0, p.Tube[1], 1e-9)

	// A node on a packer, 25 mm up: the plate lies on the shell all the same.
	plates, found = layAll(cage(standing(t, "up", v(0, 0, 25))), shop(), sh)
	assert.Empty(t, found)
	assert.InDelta(t, 25, plates[0].Height, 1e-9)
	assert.InDelta(t, 0, plates[0].Centre.Z, 1e-9)
}

// Without shell there are no plates, and without feet.
func TestNoPlates(t *testing.T) {
	b := standing(t, "up", v(0, 0, 0))
	plates, found := Plates(cage(b), shop(), nil)
	assert.Empty(t, plates)
	assert.Empty(t, found)
	sh := bare(floorRoom(flat, nil), 0)
	b.Feet[0].Normal = r3.Vector{}
	plates, found = layAll(cage(b, &fit.Bar{Name: "none"}), shop(), sh)
	assert.Empty(t, plates)
	assert.Empty(t, found)
	// High above its floor, and running along it.
	plates, found = layAll(cage(standing(t, "up", v(0, 0, 200)), leg(t, "flat", v(0, 0, 0), v(1, 0, 0), upward)), shop(), sh)
	require.Len(t, plates, 2)
	assert.False(t, plates[0].Fitted)
	assert.True(t, math.IsNaN(plates[0].Above) && math.IsNaN(plates[0].RMS))
	require.Len(t, found, 1)
	assert.Equal(t, "the plate at end A finds too little shell to lie on: 100 % of it has none within 15 mm and 0 % is behind a wall", found[0].Message)
	assert.InDelta(t, 90, plates[1].Lean, 1e-9)
}

// On a floor that is tilted, the plate is, and so is the foot: no angle between.
// A foot whose own plane is wrong is told the angle.
func TestPlateOnTiltedFloor(t *testing.T) {
	tan := math.Tan(8 * math.Pi / 180)
	sh := bare(floorRoom(func(x, _ float64) float64 { return x * tan }, nil), 0)
	for _, c := range []struct {
		normal r3.Vector
		tilt   float64
	}{{v(-tan, 0, 1), 0}, {upward, 8}} {
		plates, found := layAll(cage(leg(t, "up", v(10, 20, 10*tan), upward, c.normal)), shop(), sh)
		assert.Empty(t, found)
		p := plates[0]
		vectorsNear(t, v(-tan, 0, 1).Normalize(), p.Normal, 1e-9, "normal")
		vectorsNear(t, v(1, 0, tan).Normalize(), p.First, 1e-9, "first")
		assert.InDelta(t, 8, p.Lean, 1e-9)
		assert.InDelta(t, 0, p.Turn, 1e-6)
		assert.InDelta(t, c.tilt, p.Tilt, 1e-5) // an arc cosine near 1
		assert.InDelta(t, 0, p.RMS, 1e-9)
		assert.InDelta(t, 12000, p.Contact, 1e-6)
	}
}

// A step of height h in the middle of the length 2 L of a plate, which the mesh
// makes a ramp of half width r. The least squares line has the slope
// 3 h (L2 - r2/3) / (4 L3) (derived: the integral of z u over that of u squared)
// and is off most at the ends of the ramp, by h / 2 less r times the slope.
func TestPlateOnStep(t *testing.T) {
	const h, L, r = 8.0, 60.0, 5.0
	sh := bare(floorRoom(func(x, _ float64) float64 {
		if x > 0 {
			return h
		}
		return 0
	}, nil), 0)
	plates, found := layAll(cage(standing(t, "up", v(5, 0, h/2))), shop(), sh)
	p := plates[0]
	assert.True(t, p.Fitted)
	slope := 3 * h * (L*L - r*r/3) / (4 * L * L * L)
	assert.InDelta(t, math.Atan(slope)*180/math.Pi, p.Tilt, 0.1)
	off := h/2 - r*slope
	assert.InDelta(t, off, p.Above, 0.3) // samples are 5 mm apart
	assert.InDelta(t, off, p.Below, 0.3)
	require.Len(t, found, 1)
	assert.Equal(t, "landing", found[0].Rule)
	assert.Equal(t, fit.Warning, found[0].Severity)
	assert.Equal(t, 3.0, found[0].Limit)
	assert.Equal(t, max(p.Above, p.Below), found[0].Got)
	assert.Contains(t, found[0].Message, "the plate at end A does not sit flat: the shell is 3.")

	// With a sixth of it on the step it is moved off: the ramp is 3 mm high, the
	// plate's thickness, 3.75 mm from its foot.
	plates, found = layAll(cage(standing(t, "up", v(-40, 0, 0))), shop(), sh)
	p = plates[0]
	require.Len(t, found, 1)
	assert.Equal(t, fit.Note, found[0].Severity)
	assert.InDelta(t, 20-3.75, p.Stuck, 1e-6)
	assert.Equal(t, [2]float64{-20, 0}, p.Shift)
	assert.InDelta(t, 20, p.Tube[0], 1e-6)
	assert.InDelta(t, 0, p.Tilt, 1e-5)
	assert.InDelta(t, 0, p.Above, 1e-6)
}

// A hole or an edge under the plate: its share and place.
func TestPlateOverHole(t *testing.T) {
	hole := func(x, y float64) bool { return x > 20 && x < 110 && math.Abs(y) < 200 }
	check := func(sh scan) {
		plates, found := layAll(cage(standing(t, "up", v(-10, 0, 0))), shop(), sh)
		p := plates[0]
		assert.InDelta(t, 30.0/120, p.Missing, 0.03)
		vectorsNear(t, v(35, 0, 0), p.MissingAt, 3, "middle of what is missing")
		assert.InDelta(t, (1-p.Missing)*12000, p.Contact, 1)
		assert.InDelta(t, 0, p.Tilt, 1e-5)
		require.Len(t, found, 1)
		assert.Equal(t, fit.Warning, found[0].Severity)
		assert.InDelta(t, 100*p.Missing, found[0].Got, 1e-9)
		assert.Contains(t, found[0].Message, "overhangs a hole or an edge of the scan: there is none within 15 mm under 2")
		assert.Contains(t, found[0].Message, "at its front side; one of ")
		assert.InDelta(t, 120, p.Flat[0], 1e-9) // moved back by 30 mm it is on the floor
	}
	m := floorRoom(flat, hole)
	check(bare(m, 0)) // an open scan
	capped, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: []r3.Vector{{Z: 500}}})
	require.NoError(t, err)
	require.NotEmpty(t, capped.Caps)
	check(scan{capped.Index, capped.IsCap, capped.Noise})

	// A drain hole beside the tube is nobody's worry.
	drain := func(x, y float64) bool { return math.Abs(x) < 5 && math.Abs(y) < 5 }
	_, found := layAll(cage(standing(t, "up", v(30, 0, 0))), shop(), bare(floorRoom(flat, drain), 0))
	assert.Empty(t, found)

	// The scan ends beside the foot, along a slanting line.
	edge := bare(floorRoom(flat, func(x, y float64) bool { return y > 30+x/10 }), 0)
	plates, found := layAll(cage(standing(t, "up", v(0, 0, 0))), shop(), edge)
	assert.InDelta(t, 0.2, plates[0].Missing, 0.05)
	require.Len(t, found, 1)
	assert.Contains(t, found[0].Message, "at its left side")
}

// Beside a wall the plate is moved by what sticks into it; where the tube would
// come off it, it says so.
func TestPlateBesideWall(t *testing.T) {
	sh := bare(sample.Box(2000, 1400, 1100, 50).Mesh, 0)
	lay := func(y float64) (fit.Plate, []fit.Finding) {
		plates, found := layAll(cage(standing(t, "up", v(0, y, 0))), shop(), sh)
		assert.InDelta(t, 0, plates[0].Tilt, 1e-5)
		return plates[0], found
	}
	for _, y := range []float64{640, 649, 650.5} { // a file takes half a millimetre off
		p, found := lay(y)
		assert.Empty(t, found)
		assert.Zero(t, p.Shift)
		assert.Zero(t, p.Stuck)
	}
	for _, c := range []struct {
		sign  float64
		words string
	}{
		{1, "the plate at end A would run 22 mm into the shell on its left side if it were centred: it is moved 25 mm towards its right side"},
		{-1, "the plate at end A would run 22 mm into the shell on its right side if it were centred: it is moved 25 mm towards its left side"},
	} {
		p, found := lay(c.sign * 672)
		assert.InDelta(t, 22, p.Stuck, 1e-6)
		assert.InDelta(t, -25*c.sign, p.Shift[1], 1e-9)
		assert.InDelta(t, 0, p.Shift[0], 1e-9)
		vectorsNear(t, v(0, c.sign*647, 0), p.Centre, 1e-9, "centre")
		assert.InDelta(t, 25*c.sign, p.Tube[1], 1e-9)
		require.Len(t, found, 1)
		assert.Equal(t, fit.Note, found[0].Severity)
		assert.InDelta(t, 22, found[0].Got, 1e-6)
		assert.Equal(t, c.words, found[0].Message)
		assert.Zero(t, p.Walls)
		assert.InDelta(t, 12000, p.Contact, 1e-6)
	}
	p, found := lay(678) // the tube's edge is 2 mm from the wall: no room for its weld on a plate
	require.Len(t, found, 1)
	assert.Equal(t, fit.Warning, found[0].Severity)
	assert.Contains(t, found[0].Message, "runs 28 mm into the shell on its left side, and there is no room to move it to: cut it down")
	assert.Zero(t, p.Shift)
	assert.InDelta(t, 28, p.Stuck, 1e-6)
	assert.InDelta(t, 0.28, p.Walls, 0.03)

	// In a corner it is moved both ways.
	plates, found := layAll(cage(standing(t, "up", v(968, 670, 0))), shop(), sh)
	require.Len(t, found, 1)
	assert.Equal(t, "the plate at end A would run 28 mm into the shell on its front and left side if it were centred: it is moved 36 mm towards its rear right side", found[0].Message)
	assert.InDelta(t, -30, plates[0].Shift[0], 1e-9)
	assert.InDelta(t, -20, plates[0].Shift[1], 1e-9)

	// On a sill 80 mm wide between a wall and a drop there is no room for it. Both
	// are slopes of 10 mm in the mesh.
	sill := bare(floorRoom(func(_, y float64) float64 {
		switch {
		case y < -40:
			return -150
		case y > 40:
			return 200
		}
		return 0
	}, nil), 0)
	plates, found = layAll(cage(standing(t, "up", v(0, 10, 0))), shop(), sill)
	assert.Zero(t, plates[0].Shift)
	assert.InDelta(t, 20-15.0/20, plates[0].Stuck, 1e-6) // looked for 15 mm up a slope of 20 to 1
	assert.Zero(t, plates[0].Missing)
	assert.Equal(t, "the plate at end A runs 19 mm into the shell on its left side, and there is no room to move it to: cut it down; one of 120 x 80 mm finds flat shell 10 mm towards its right side", found[0].Message)
	plates, found = layAll(cage(standing(t, "up", v(0, -10, 0))), shop(), sill)
	assert.Zero(t, plates[0].Stuck)
	assert.InDelta(t, 0.175, plates[0].Missing, 0.03)
	assert.Contains(t, found[0].Message, "overhangs an edge of the shell: it drops by more than 15 mm under 17 % of it, at its right side; one of 120 x 80 mm finds flat shell 10 mm towards its left side")

	// On the wall itself, and on one across the car.
	plates, found = layAll(cage(leg(t, "side", v(0, 700, 500), v(0, -1, 0), v(0, -1, 0)), leg(t, "front", v(1000, 0, 500), v(-1, 0, 0), v(-1, 0, 0))), shop(), sh)
	assert.Empty(t, found)
	vectorsNear(t, v(1, 0, 0), plates[0].First, 1e-9, "first")
	vectorsNear(t, upward, plates[1].First, 1e-9, "first")
}

// Plates that are too small, or on each other.
func TestPlateSizesAndOverlaps(t *testing.T) {
	sh := bare(floorRoom(flat, nil), 0)
	b := standing(t, "up", v(0, 0, 0))
	b.Job.Plate.Size = [2]float64{36, 80}
	_, found := layAll(cage(b), shop(), sh)
	require.Len(t, found, 1)
	assert.Equal(t, "the plate at end A is too small: the tube's end reaches 2.0 mm over its edge", found[0].Message)

	// 120 along x and 100 along y: 119 apart along x they overlap by 1, across by 20.
	for _, c := range []struct{ x, y, want float64 }{{119, 0, 1}, {121, 0, 0}, {100, 80, 20}, {90, 95, 5}, {90, 101, 0}} {
		_, found := layAll(cage(standing(t, "one", v(0, 0, 0)), standing(t, "other", v(c.x, c.y, 0))), shop(), sh)
		if c.want == 0 {
			assert.Empty(t, found, "%v", c)
			continue
		}
		require.Len(t, found, 1, "%v", c)
		assert.Equal(t, "other", found[0].Bar)
		assert.Equal(t, "one", found[0].Other)
		assert.InDelta(t, c.want, found[0].Got, 1e-6)
	}
	// One turned by 45 degrees reaches (60 + 50) / sqrt 2 mm along the other's side.
	p := fit.Plate{Size: [2]float64{120, 100}, Thickness: 3, Normal: upward, First: v(1, 0, 0)}
	q := p
	q.First = v(1, 1, 0).Normalize()
	for _, c := range []struct{ x, want float64 }{{130, 60 + 110/math.Sqrt2 - 130}, {138, 0}} {
		q.Centre = v(c.x, 0, 0)
		assert.InDelta(t, c.want, overlap(&p, &q), 1e-9)
		assert.InDelta(t, c.want, overlap(&q, &p), 1e-9)
	}
	q.Centre = v(0, 0, 200)
	assert.Zero(t, overlap(&p, &q), "one above the other")
}

// A scan's spikes and noise do not tilt a plate.
func TestPlateOnDirtyScan(t *testing.T) {
	// A spike of 12 mm on a mesh finer than the samples.
	spiky := floorRoom(flat, nil)
	tip := int32(len(spiky.Vertices))
	spiky.Vertices = append(spiky.Vertices, v(28, 22, 0), v(32, 22, 0), v(30, 18, 0), v(30, 20.2, 12))
	for n := range int32(3) {
		spiky.Triangles = append(spiky.Triangles, [3]int32{tip + n, tip + (n+1)%3, tip + 3})
	}
	plates, found := layAll(cage(standing(t, "up", v(0, 0, 0))), shop(), bare(spiky, 0))
	assert.Equal(t, 1, plates[0].Spikes)
	assert.InDelta(t, 0, plates[0].RMS, 1e-9)
	assert.Empty(t, found)

	// A vertex that stands 14 mm out of a mesh of 10 mm is no spike for the samples;
	// mesh.Prepare levels it. A weld nut looks the same, so it is told of.
	nut := func(x, y float64) float64 {
		if x == 40 && y == 30 {
			return 14
		}
		return 0
	}
	plates, found = layAll(cage(standing(t, "up", v(0, 0, 0))), shop(), bare(floorRoom(nut, nil), 0))
	require.Len(t, found, 1)
	assert.Contains(t, found[0].Message, "does not sit flat")
	assert.Greater(t, plates[0].Above, 6.0)

	// The normal is good to the noise over the square root of the number of
	// vertices, 83 here, and the root mean square lever, 100 mm / sqrt 12: 0.3 degrees.
	room := sample.Box(1600, 1300, 1100, 12)
	sh := bare(room.Scan(sample.Dirt{Sigma: 1.5, Seed: 7}), 1.5)
	plates, found = layAll(cage(standing(t, "up", v(100, 50, 0))), shop(), sh)
	assert.Less(t, plates[0].Tilt, 3*0.33)
	assert.Empty(t, found)
	assert.InDelta(t, 1, plates[0].RMS, 0.5) // between vertices their mean is less noisy
	assert.Less(t, plates[0].Above, 3*1.5)
}

// Plates follow a rigid motion of the car: all figures stay, all places move. The
// bars lean, so that their plates follow them and not the car's axes. Mirrored,
// what is to the left of First is to its right.
func TestPlatesFollowTheCar(t *testing.T) {
	height := func(x, y float64) float64 {
		if x > 140 {
			return 40
		}
		return 2*math.Sin(x/40) + y/60
	}
	base := floorRoom(height, func(x, y float64) bool { return x < -90 && y > 90 })
	at := []r3.Vector{v(30, 20, 0), v(100, -40, 0), v(-70, 80, 0)}
	dirs := []r3.Vector{v(1, 0.4, 1), v(-0.9, 0.2, 1), v(0.3, -1, 1)}
	lay := func(t require.TestingT, f func(r3.Vector) r3.Vector) []fit.Plate {
		m := &mesh.Mesh{Triangles: base.Triangles}
		for _, p := range base.Vertices {
			m.Vertices = append(m.Vertices, f(p))
		}
		var bars []*fit.Bar
		for i, p := range at {
			p.Z = height(p.X, p.Y)
			bars = append(bars, leg(t, "leg", f(p), f(p.Add(dirs[i])).Sub(f(p)), f(p.Add(upward)).Sub(f(p))))
		}
		out, _ := layAll(cage(bars...), shop(), bare(m, 0))
		require.Len(t, out, len(at))
		return out
	}
	same := func(t require.TestingT, want, got []fit.Plate, f func(r3.Vector) r3.Vector, sign float64) {
		for i := range want {
			a, b := &want[i], &got[i]
			require.True(t, a.Along && b.Along)
			for _, pair := range [][2]float64{
				{a.Above, b.Above}, {a.Below, b.Below}, {a.RMS, b.RMS}, {a.Stuck, b.Stuck}, {a.Tilt, b.Tilt}, {a.Lean, b.Lean},
				{a.Shift[0], b.Shift[0]}, {sign * a.Shift[1], b.Shift[1]}, {a.Tube[0], b.Tube[0]}, {sign * a.Tube[1], b.Tube[1]},
				{sign * a.Turn, b.Turn}, {a.Missing, b.Missing}, {a.Walls, b.Walls},
			} {
				require.InDelta(t, pair[0], pair[1], 1e-4)
			}
			vectorsNear(t, f(a.Centre), b.Centre, 1e-4, "centre")
			for n := range a.Corners {
				m := n
				if sign < 0 {
					m = 3 - n
				}
				vectorsNear(t, f(a.Corners[n]), b.Corners[m], 1e-4, "corner")
			}
		}
	}
	want := lay(t, func(p r3.Vector) r3.Vector { return p })
	require.Positive(t, want[1].Stuck, "one is beside the step")
	require.Positive(t, want[2].Missing, "one is over the hole")
	require.Equal(t, want, lay(t, func(p r3.Vector) r3.Vector { return p }), "the same twice")

	mirror := func(p r3.Vector) r3.Vector { return v(p.X, -p.Y, p.Z) }
	same(t, want, lay(t, mirror), mirror, -1)

	rapid.Check(t, func(t *rapid.T) {
		axis, turn := drawUnit(t, "axis"), rapid.Float64Range(-3, 3).Draw(t, "turn")
		by := drawUnit(t, "by").Mul(2000)
		f := func(p r3.Vector) r3.Vector { return tube.Rotate(p, axis, s1.Angle(turn)).Add(by) }
		same(t, want, lay(t, f), f, 1)
	})
}

// On the invented coupe, which is the same left and right, the plates of a pair
// are mirror images: on the sill, on the floor, on the rear floor, beside the
// tunnel and on a wheel arch.
func TestPlatesOnCoupe(t *testing.T) {
	c := sample.NewCoupe(sample.CoupeOptions{Triangles: 30_000})
	sh := bare(c.Mesh, 0)
	var bars []*fit.Bar
	for _, p := range []r3.Vector{v(600, 330, 400), v(0, 570, 400), v(-500, 200, 400), v(100, 200, 400), v(-650, 520, 800)} {
		for _, side := range []float64{1, -1} {
			from := v(p.X, side*p.Y, p.Z)
			h, ok := sh.index.Ray(from, v(0, 0, -1), 1000)
			require.True(t, ok)
			bars = append(bars, leg(t, "leg", h.Point, v(0.2, -0.1*side, 1), upward))
		}
	}
	plates, found := layAll(cage(bars...), shop(), sh)
	require.Len(t, plates, len(bars))
	for i := 0; i < len(plates); i += 2 {
		a, b := &plates[i], &plates[i+1]
		require.True(t, a.Fitted && b.Fitted)
		mirror := func(p r3.Vector) r3.Vector { return v(p.X, -p.Y, p.Z) }
		vectorsNear(t, mirror(a.Centre), b.Centre, 0.05, "centre")
		vectorsNear(t, mirror(a.Normal), b.Normal, 1e-3, "normal")
		assert.InDelta(t, a.Above, b.Above, 0.05)
		assert.InDelta(t, a.Below, b.Below, 0.05)
		assert.InDelta(t, a.Missing, b.Missing, 0.01)
		assert.Equal(t, a.Size, b.Size)
	}
	assert.Empty(t, plates[0].Shift, "the open floor has room")
	assert.Less(t, plates[0].RMS, 0.5)
	assert.NotEmpty(t, found, "the sill is narrower than its plate")
}
