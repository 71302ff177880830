package mesh

import (
	"bytes"
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseUnit(t *testing.T) {
	for _, u := range []Unit{AutoUnit, Millimetre, Centimetre, Metre, Inch} {
		got, err := ParseUnit(u.String())
		require.NoError(t, err)
		assert.Equal(t, u, got)
	}
	for _, s := range []string{"", "MM", "inch", "ft", "mm "} {
		_, err := ParseUnit(s)
		assert.ErrorContains(t, err, "unknown unit")
	}
}

// TestUnitLengths: the inch is 25.4 mm exactly (CSS values: 1in = 25.4mm,
// references.md F, status V).
func TestUnitLengths(t *testing.T) {
	assert.Equal(t, []float64{0, 1, 10, 1000, 25.4},
		[]float64{AutoUnit.Millimetres(), Millimetre.Millimetres(), Centimetre.Millimetres(), Metre.Millimetres(), Inch.Millimetres()})
}

// TestGuessUnit writes bodies of invented sizes in every unit and wants it found.
// The sizes are those of cabins (1 to 4 m) and cars (to about 6 m): common
// practice, no source.
func TestGuessUnit(t *testing.T) {
	bodies := map[string]r3.Vector{ // mm
		"small cabin":    {X: 1500, Y: 1250, Z: 1100},
		"coupe cabin":    {X: 2000, Y: 1400, Z: 1150},
		"estate cabin":   {X: 2900, Y: 1500, Z: 1200},
		"van":            {X: 4000, Y: 1900, Z: 1900},
		"small car":      {X: 3600, Y: 1650, Z: 1400},
		"large car":      {X: 5200, Y: 1950, Z: 1500},
		"lying on side":  {X: 1400, Y: 1150, Z: 2000},
		"across the car": {X: 1450, Y: 4300, Z: 1700},
	}
	for name, size := range bodies {
		for _, u := range units {
			scaled := size.Mul(1 / u.Millimetres())
			m, rep, err := Read(bytes.NewReader(binarySTLOf(stlBox(scaled.X, scaled.Y, scaled.Z))), ReadOptions{})
			require.NoError(t, err, "%s in %s", name, u)
			assert.Equal(t, u, rep.Unit, "%s", name)
			assert.True(t, rep.UnitGuessed)
			got := m.Bounds().Size()
			assert.InDelta(t, 0, got.Sub(size).Norm(), 1e-3, "%s in %s", name, u)
		}
	}
	for name, size := range map[string]r3.Vector{
		"dust":        {X: 0.2, Y: 0.1, Z: 0.1},
		"between":     {X: 20, Y: 15, Z: 10},
		"a house":     {X: 12000, Y: 8000, Z: 6000},
		"a mark only": {X: 180, Y: 96, Z: 60},
	} {
		_, _, err := Read(bytes.NewReader(binarySTLOf(stlBox(size.X, size.Y, size.Z))), ReadOptions{})
		assert.ErrorIs(t, err, ErrUnit, name)
		// Named, any size is taken as it stands.
		m, rep, err := Read(bytes.NewReader(binarySTLOf(stlBox(size.X, size.Y, size.Z))), ReadOptions{Unit: Inch})
		require.NoError(t, err)
		assert.False(t, rep.UnitGuessed)
		assert.InEpsilon(t, 25.4*size.X, m.Bounds().Size().X, 1e-6)
	}
}

func TestLongestTwo(t *testing.T) {
	for _, v := range []r3.Vector{{X: 3, Y: 2, Z: 1}, {X: 1, Y: 3, Z: 2}, {X: 2, Y: 1, Z: 3}, {X: 3, Y: 1, Z: 2}, {X: 1, Y: 2, Z: 3}, {X: 2, Y: 3, Z: 1}} {
		a, b := longestTwo(v)
		assert.Equal(t, [2]float64{3, 2}, [2]float64{a, b})
	}
	a, _ := longestTwo(r3.Vector{X: math.Pi})
	assert.Equal(t, math.Pi, a)
}
