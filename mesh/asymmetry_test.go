package mesh_test

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/mesh"
	"barwright/mesh/sample"
)

// A box 3 mm off the mirror plane: both sides are 6 mm off their image, the
// rest not at all.
func TestAsymmetryOfAShiftedBox(t *testing.T) {
	m := sample.Box(1500, 1200, 1000, 40).Mesh
	for i := range m.Vertices {
		m.Vertices[i].Y += 3
	}
	a := mesh.Asymmetry(m, mesh.NewIndex(m))
	require.Less(t, a.Median, 0.5, "floor, roof and ends are two thirds of it")
	require.InDelta(t, 6, a.P95, 1e-9)
	require.InDelta(t, 6, a.Worst, 1e-9)
	require.InDelta(t, 600, math.Abs(a.At.Y), 5)
	require.Less(t, a.Alone, 0.005)
	require.Equal(t, a, mesh.Asymmetry(m, nil))
}

// A wall that is missing is no asymmetry of the rest: its opposite stands
// alone, a known share of the area.
func TestAsymmetryLeavesOutWhatStandsAlone(t *testing.T) {
	m := sample.Box(1500, 1200, 1000, 40).Mesh
	kept := m.Triangles[:0]
	for i, tri := range m.Triangles {
		a, b, c := m.Corners(i)
		if !(a.Y > 599 && b.Y > 599 && c.Y > 599) {
			kept = append(kept, tri)
		}
	}
	m.Triangles = kept
	a := mesh.Asymmetry(m, nil)
	wall, rest := 1500.0*1000, 2*1500.0*1200+2*1200*1000.0
	require.InDelta(t, wall/(wall+rest), a.Alone, 0.015, "along its edges the next wall may pass for it")
	require.Less(t, a.P95, 0.01)
	require.Less(t, a.Worst, 3.0)
}

func TestAsymmetryOfTheCoupe(t *testing.T) {
	even := sample.NewCoupe(sample.CoupeOptions{Triangles: 60_000})
	a := mesh.Asymmetry(even.Mesh, nil)
	require.Less(t, a.P95, 0.8, "chords and flattened creases only")
	require.Less(t, a.Alone, 0.005)

	noisy := even.Scan(sample.Dirt{Sigma: 2, Seed: 3})
	n := mesh.Asymmetry(noisy, nil)
	require.Less(t, n.Median, 2.0)
	require.Less(t, n.Worst, 4.0)

	// The right side 20 mm wider than the left at its widest; its panels stand
	// nearly upright there.
	skew := sample.NewCoupe(sample.CoupeOptions{Triangles: 60_000, Skew: 20})
	s := mesh.Asymmetry(skew.Mesh, nil)
	require.InDelta(t, 20, s.Worst, 2.5)
	require.Greater(t, math.Abs(s.At.Y), 500.0)
	require.Greater(t, s.Median, 3*a.Median)
	require.Less(t, s.Alone, 0.05)
}

func TestAsymmetryOfNothing(t *testing.T) {
	require.Zero(t, mesh.Asymmetry(&mesh.Mesh{}, nil))
	// All of it on the left.
	left := &mesh.Mesh{
		Vertices:  []r3.Vector{{Y: 500}, {X: 800, Y: 500}, {Y: 500, Z: 800}},
		Triangles: [][3]int32{{0, 1, 2}},
	}
	a := mesh.Asymmetry(left, nil)
	require.Equal(t, mesh.LeftRight{Alone: 1}, a)
}
