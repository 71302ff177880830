package sheet

import (
	"bytes"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/export/draw"
	"barwright/fit"
	"barwright/fit/tube"
)

// plated is an invented plate under an upright bar, with the car's front up.
func plated() (*fit.Plate, *fit.Bar) {
	return &fit.Plate{
		Bar: "main hoop", Size: [2]float64{120, 100}, Thickness: 3, Normal: r3.Vector{Z: 1}, First: r3.Vector{X: 1},
		Area: 12000, Fitted: true, Above: 0.5, Below: 0.25, Contact: 11999,
	}, &fit.Bar{Name: "main hoop", Tube: &tube.Spec{OD: 45, Wall: 2.5}}
}

// A machine sees the outline on a layer of its own, in true size, and the tube; no
// check line, and no word but that of the unit on a layer of its own.
func TestPlateForAMachine(t *testing.T) {
	p, b := plated()
	var out bytes.Buffer
	require.NoError(t, draw.WriteDXF(&out, PlateMachine(p, b)))
	_, entities, ok := strings.Cut(out.String(), "ENTITIES")
	require.True(t, ok)
	count := map[string]int{}
	for _, m := range regexp.MustCompile(`(?m)^ *0\r?\n(POLYLINE|LINE|TEXT|SOLID|ARC|CIRCLE)\r?\n *8\r?\n(\w+)`).FindAllStringSubmatch(entities, -1) {
		count[m[1]+" "+m[2]]++
	}
	assert.Equal(t, map[string]int{"POLYLINE CUT": 1, "POLYLINE THIN": 1, "POLYLINE HIDDEN": 1, "TEXT TEXT": 1}, count)
	d := PlateMachine(p, b)
	box := draw.Drawing{Strokes: d.Strokes[:1]}
	assert.Equal(t, draw.Cut, d.Strokes[0].Kind)
	assert.Equal(t, r2.RectFromPoints(r2.Point{X: -50, Y: -60}, r2.Point{X: 50, Y: 60}), box.Bounds())
	ring := draw.Drawing{Strokes: d.Strokes[1:2]}
	assert.InDelta(t, 45, ring.Bounds().Size().X, 1e-9)
	// No larger than the plate: a border would move it on the machine's table.
	assert.Equal(t, box.Bounds(), d.Sheet)
}

// Words stay clear of the tube and on the plate, or are left to the notes; the
// arrow says which way is ahead.
func TestPlateWords(t *testing.T) {
	texts := func(d *draw.Drawing) (all string) {
		for _, x := range d.Texts {
			all += x.Words + "\n"
		}
		return all
	}
	p, b := plated()
	d := Plate(p, b, false)
	assert.Equal(t, "Plate: main hoop, end A", d.Title)
	assert.Contains(t, texts(d), "main hoop, end A\n3 mm thick, this side to the tube\n")
	assert.Contains(t, texts(d), "FRONT\n")
	assert.Contains(t, strings.Join(d.Notes, "\n"), "119.9 cm² in contact")

	p.Normal, p.First = r3.Vector{X: -1}, r3.Vector{Z: 1}
	d = Plate(p, b, true)
	assert.Contains(t, texts(d), "UP\n")
	assert.Contains(t, strings.Join(d.Notes, "\n"), "18.5 in²") // 11999 / 645.16 = 18.598

	p.Size = [2]float64{55, 50} // the tube fills it
	d = Plate(p, b, false)
	assert.NotContains(t, texts(d), "this side to the tube")
	p.Lean, p.Turn = 89, 0
	require.NotPanics(t, func() { Plate(p, b, false) })

	c := &fit.Cage{Bars: []*fit.Bar{b}, Plates: []fit.Plate{*p}}
	c.Plates[0].Tube[0] = math.NaN()
	_, err := PlateFiles(c, draw.A4, false)
	require.EqualError(t, err, `bar "main hoop", plate at end A: it has a figure that is no number`)
	c.Plates[0].Size[0] = 0
	_, err = PlateFiles(c, draw.A4, false)
	require.ErrorContains(t, err, "is no size")
	files, err := PlateFiles(&fit.Cage{}, draw.A4, false)
	require.NoError(t, err)
	assert.Empty(t, files)
}
