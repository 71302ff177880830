package cope

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/tube"
)

// Every point of the cut lies on the upper side of the plate, at both ends.
func TestSeatCutsForThePlate(t *testing.T) {
	p, err := tube.NewPath([]r3.Vector{{X: 10, Y: 20, Z: 5}, {X: 40, Y: -30, Z: 900}}, 0)
	require.NoError(t, err)
	for end, up := range []float64{1, -1} {
		b := &fit.Bar{Name: "b", Tube: &tube.Spec{OD: 44, Wall: 2}, Path: p}
		before := fit.EndCut{Kind: fit.Mitre, Outer: []float64{1}, Inner: []float64{1}}
		b.Cuts[end] = before
		plate := fit.Plate{
			Bar: "b", End: end, Thickness: 3, Normal: r3.Vector{X: 0.2, Y: -0.1, Z: up}.Normalize(),
			Centre: p.Nodes[end].Add(r3.Vector{X: 3, Y: 1, Z: -2}),
		}
		c := &fit.Cage{Bars: []*fit.Bar{b}, Plates: []fit.Plate{plate}}
		Seat(c)
		require.Equal(t, before, b.Cuts[end], "nothing is known of what lies under it")
		c.Plates[0].Fitted = true
		Seat(c)
		require.Len(t, b.Cuts[end].Outer, clocks)
		s := float64(end) * p.Length
		_, w := p.At(s)
		if end == 1 {
			w = w.Mul(-1)
		}
		for i := range clocks {
			dir := tube.AtClock(p, s, s1.Angle(i)*s1.Degree)
			for radius, x := range map[float64]float64{22: b.Cuts[end].Outer[i], 20: b.Cuts[end].Inner[i]} {
				q := p.Nodes[end].Add(w.Mul(x)).Add(dir.Mul(radius))
				require.InDelta(t, 3, q.Sub(plate.Centre).Dot(plate.Normal), 1e-9)
			}
		}
		// A plate along the tube can't have its end cut to it.
		b.Cuts[end] = before
		c.Plates[0].Normal = w.Ortho()
		Seat(c)
		require.Equal(t, before, b.Cuts[end])
		require.False(t, math.IsNaN(b.Cuts[end].Beyond()))
	}
}
