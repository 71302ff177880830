package sheet_test

import (
	"bytes"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/export/draw"
	"barwright/export/sheet"
	"barwright/fit"
	"barwright/fit/tube"
)

// The rings on the paper are where the tube's surface meets the plate's plane in
// space.
func TestPlateRingsLieOnTheTube(t *testing.T) {
	const lean, turn = 35.0, 130.0
	b := &fit.Bar{Name: "stay", Tube: &tube.Spec{OD: 40, Wall: 2}}
	p := &fit.Plate{Bar: "stay", End: 1, Size: [2]float64{150, 120}, Thickness: 3, Tube: [2]float64{12, -7}, Lean: lean, Turn: turn}
	d := sheet.Plate(p, b, false)
	sin, cos := math.Sincos(lean * math.Pi / 180)
	ts, tc := math.Sincos(turn * math.Pi / 180)
	axis := r3.Vector{X: sin * tc, Y: sin * ts, Z: cos} // x: first, y: second, z: the normal
	rings := map[draw.Kind]float64{draw.Thin: 20, draw.Hidden: 18}
	seen := 0
	for _, s := range d.Strokes {
		radius, ok := rings[s.Kind]
		if !ok || !s.Closed {
			continue
		}
		seen++
		for _, v := range s.Vertices {
			// First points up the paper, second to the left.
			q := r3.Vector{X: v.Y - 12, Y: -v.X + 7}
			require.InDelta(t, radius, q.Cross(axis).Norm(), 1e-9)
		}
	}
	require.Equal(t, 2, seen)
	var out bytes.Buffer
	require.NoError(t, draw.WriteDXF(&out, d))

	files, err := sheet.PlateFiles(&fit.Cage{Bars: []*fit.Bar{b}, Plates: []fit.Plate{*p}}, draw.A4, true)
	require.NoError(t, err)
	require.Len(t, files, 3)
	for _, f := range files {
		require.NoError(t, f.Write(&out), f.Name)
	}
	_, err = sheet.PlateFiles(&fit.Cage{Plates: []fit.Plate{*p}}, draw.A4, false)
	require.ErrorContains(t, err, `"stay"`)
}
