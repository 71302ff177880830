package table

import (
	"bytes"
	"encoding/csv"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
)

// plates are two invented ones: one with every field set, one that found no shell.
func plates() []fit.Plate {
	return []fit.Plate{{
		Bar: "=HOOP", End: 1, Size: [2]float64{120, 100}, Thickness: 3, Centre: xyz(1, -2, 3), Normal: xyz(0, 0, 1), First: xyz(1, 0, 0),
		Along: true, Corners: [4]r3.Vector{xyz(-59, -52, 3), xyz(61, -52, 3), xyz(61, 48, 3), xyz(-59, 48, 3)}, Area: 12000,
		Fitted: true, Above: 1.25, Below: 2.5, RMS: 0.75, AboveAt: xyz(4, 5, 6), BelowAt: xyz(7, 8, 9), Contact: 9999, Spikes: 2,
		Tilt: 1.5, Height: -0.25, Missing: 0.1251, MissingAt: xyz(50, 1, 3), Walls: 0.03125, Flat: [2]float64{110, 80}, FlatAt: [2]float64{5, -2.5},
		Shift: [2]float64{-10, 5}, Stuck: 11.5, Tube: [2]float64{10.5, -5}, Lean: 12.5, Turn: -90,
	}, {
		Bar: "brace", Size: [2]float64{80, 80}, Thickness: 4, Normal: xyz(0, 0, 1), First: xyz(1, 0, 0), Area: 6400,
		Above: math.NaN(), Below: math.NaN(), RMS: math.NaN(), Missing: 1,
	}}
}

func TestPlatesRoundTrip(t *testing.T) {
	c := cage(t)
	c.Plates = plates()
	for s, i := reflect.ValueOf(c.Plates[0]), 0; i < s.NumField(); i++ {
		assert.False(t, s.Field(i).IsZero(), "%s: the test's plate leaves it empty", s.Type().Field(i).Name)
	}
	first := written(t, c)
	back, err := ReadCage(strings.NewReader(first))
	require.NoError(t, err)
	require.Len(t, back.Plates, 2)
	assert.Equal(t, c.Plates[0], back.Plates[0])
	assert.True(t, math.IsNaN(back.Plates[1].RMS))
	assert.Equal(t, first, written(t, back), "the same bytes again")
}

func TestPlatesCSV(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WritePlates(&b, &fit.Cage{Plates: plates()}))
	rows, err := csv.NewReader(&b).ReadAll() // which refuses rows of unequal length
	require.NoError(t, err)
	require.Len(t, rows, 3)
	cell := func(row int, column string) string {
		for i, name := range rows[0] {
			if name == column {
				return rows[row][i]
			}
		}
		t.Fatalf("no column %s", column)
		return ""
	}
	for column, want := range map[string]string{
		"bar": "'=HOOP", "end": "B", "side_1_mm": "120.0", "side_2_mm": "100.0", "thickness_mm": "3.0",
		"area_cm2": "120.0", "contact_cm2": "99.9", "above_mm": "1.2", "below_mm": "2.5", "rms_mm": "0.8", "tilt_deg": "1.5",
		"tube_1_mm": "10.5", "tube_2_mm": "-5.0", "lean_deg": "12.5", "turn_deg": "-90.0", "missing_percent": "12.6",
		"shift_1_mm": "-10.0", "shift_2_mm": "5.0", "flat_1_mm": "110.0", "flat_2_mm": "80.0", "x_mm": "1.0", "y_mm": "-2.0", "z_mm": "3.0",
	} {
		assert.Equal(t, want, cell(1, column), column)
	}
	for _, column := range []string{"above_mm", "below_mm", "rms_mm", "flat_1_mm", "flat_2_mm"} {
		assert.Empty(t, cell(2, column), column)
	}
	assert.Equal(t, "100.0", cell(2, "missing_percent"))
}
