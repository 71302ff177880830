package fit

import (
	"context"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// evaluated makes a bar of 44.45 tube with both feet on the shell and clearance
// 12, and evaluates it.
func evaluated(t *testing.T, m *mesh.Mesh, seed r3.Vector, nodes []r3.Vector, mirror job.Mirror) (*Bar, *mesh.Shell) {
	t.Helper()
	sh, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: []r3.Vector{seed}})
	require.NoError(t, err)
	p, err := tube.NewPath(nodes, 152.4)
	require.NoError(t, err)
	feet := [2]job.End{{Kind: job.Foot}, {Kind: job.Foot}}
	b := &Bar{Name: "hoop", Tube: &tube.Spec{OD: 44.45}, Path: p, Clearance: 12, Ends: feet, Job: &job.Bar{Mirror: mirror, Ends: feet}}
	Evaluate(b, sh, 30*s1.Degree)
	return b, sh
}

// A room has a hoop whose every distance is known: straights parallel to the
// facets at the offset, feet square on the floor.
func TestEvaluateKnownHoop(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 60)
	const off = 22.225 + 12.5
	b, _ := evaluated(t, room.Mesh, room.Centre, room.Hoop(0, off), job.Self)
	assert.InDelta(t, 12.5, b.Gap.CertifiedMin, Resolution)
	assert.InDelta(t, 12.5, b.Gap.Min, Resolution)
	assert.InDelta(t, 12.5, b.Gap.RawMin, Resolution)
	// In a bend the gap grows to what the corner leaves: the arc's middle is
	// R - (R - off) / ... from both walls.
	inCorner := 152.4 + off - 152.4/math.Sqrt2 - 22.225
	assert.InDelta(t, inCorner, b.Gap.Max, 0.1)
	assert.LessOrEqual(t, b.Gap.Deficit, Resolution)
	assert.False(t, b.Gap.Outside)
	assert.False(t, b.Gap.CapHeld)
	require.Len(t, b.Feet, 2)
	for e, f := range b.Feet {
		assert.Equal(t, e, f.End)
		assert.InDelta(t, 90, f.Angle, 1e-6)
		assert.InDelta(t, 0, f.Error, 1e-6)
		assert.Zero(t, f.Packer)
		assert.InDelta(t, 1, f.Normal.Z, 1e-9)
	}
}

// Feet that hang in the air or stick through the floor, and one that leans.
func TestEvaluateFeet(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 60)
	nodes := room.Hoop(0, 22.225+40)
	lift := append([]r3.Vector(nil), nodes...)
	lift[0].Z += 3
	lift[len(lift)-1].Z -= 0.5
	b, _ := evaluated(t, room.Mesh, room.Centre, lift, job.Self)
	assert.InDelta(t, 3, b.Feet[0].Error, 1e-6)
	assert.InDelta(t, 3, b.Feet[0].Packer, 1e-6)
	assert.InDelta(t, 0.5, b.Feet[1].Error, 1e-6)
	assert.Zero(t, b.Feet[1].Packer)
	assert.True(t, b.Gap.Outside, "half a millimetre through the floor")
	assert.InDelta(t, 0.5, b.Gap.Deficit, Resolution)

	b, _ = evaluated(t, room.Mesh, room.Centre, lift, job.None)
	assert.Zero(t, b.Feet[0].Packer, "only a bar that stands on both sides has one")

	straight := []r3.Vector{{X: -300}, {X: 300, Z: 600 * math.Tan(25*math.Pi/180)}}
	b, _ = evaluated(t, room.Mesh, room.Centre, straight, job.None)
	assert.InDelta(t, 25, b.Feet[0].Angle, 1e-6)
	// At the zone's end, 68.45 mm on, 34.225 are required and x sin 25 there.
	assert.InDelta(t, 34.225-68.45*math.Sin(25*math.Pi/180), b.Gap.Deficit, Resolution)
}

// On a noisy scan a foot is judged by the plane under it, and what was left out
// of the fit still shows in RawMin.
func TestEvaluateNoisyScan(t *testing.T) {
	room := sample.Box(2000, 1300, 1100, 25)
	dirty := room.Scan(sample.Dirt{Sigma: 1.5, Spikes: 40, Islands: 6, Seed: 3})
	b, sh := evaluated(t, dirty, room.Centre, room.Hoop(0, 22.225+40), job.Self)
	require.InDelta(t, 1.5, sh.Noise, 0.4)
	for _, f := range b.Feet {
		assert.Less(t, f.Error, 1.5)
		// Two rings of six rays at 22 and 11 mm tell the tilt to 2 degrees, one sigma.
		assert.InDelta(t, 90, f.Angle, 6)
	}
	assert.False(t, b.Gap.Outside)
	assert.LessOrEqual(t, b.Gap.RawMin, b.Gap.CertifiedMin+Resolution)
	assert.InDelta(t, 40, b.Gap.CertifiedMin, 6*1.5)
}
