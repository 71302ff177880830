package stock

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// shop is an invented cage of two tubes that share a die, and its job.
func shop() (*fit.Cage, *job.Job) {
	steel := tube.Material{Name: "invented steel", Density: 7850}
	die := &tube.Die{Name: "d45", OD: 45, CLR: 135, Tail: 90}
	main := &tube.Spec{Name: "main", OD: 45, Wall: 2.5, Die: die, Stick: 6000, Material: steel}
	thin := &tube.Spec{Name: "thin", OD: 45, Wall: 2, Die: die, Trim: 5, Material: steel, Stick: 4000, Sticks: []tube.Stick{
		{Length: 4000, Price: 30, Stock: -1}, {Length: 2500, Price: 18, Stock: -1},
	}}
	brace := &tube.Spec{Name: "brace", OD: 38, Wall: 2.5, Material: steel}
	bent := []tube.Bend{{}}
	c := &fit.Cage{Bars: []*fit.Bar{
		{Name: "main hoop", Tube: main, Table: tube.Table{Bends: bent, Cut: 4100}, Blank: &bender.Blank{Length: 4321.5}},
		{Name: "leg", Tube: thin, Table: tube.Table{Bends: bent, Cut: 2000},
			Cuts: [2]fit.EndCut{{Kind: fit.Notch, Outer: []float64{-7, 3}}, {}}},
		{Name: "leg (mirror)", Tube: thin, Table: tube.Table{Bends: bent, Cut: 2000}},
		{Name: "as built", Tube: main, Job: &job.Bar{Fixed: true}, Table: tube.Table{Bends: bent, Cut: 3000}},
		{Name: "cross", Tube: brace, Table: tube.Table{Cut: 1100}},
	}}
	j := &job.Job{Tubes: []*tube.Spec{thin, main}, Saw: job.Saw{Kerf: 2, Test: true}}
	return c, j
}

func TestForCage(t *testing.T) {
	c, j := shop()
	plans := ForCage(c, j, 0)
	require.Len(t, plans, 3)

	thin, main, brace := plans[0], plans[1], plans[2]
	assert.Equal(t, "thin", thin.Tube.Name, "in the order of the job, unknown ones last")
	// 2 x (90 + 50) + 135 pi / 2 = 492.06, rounded up to 500.
	assert.Equal(t, []Piece{{"leg", 2017, 1}, {"leg (mirror)", 2010, 1}, {"test piece, die d45", 500, 1}}, thin.Pieces)
	require.NoError(t, thin.Err)
	assert.True(t, thin.Plan.Priced)
	assert.Equal(t, 48.0, thin.Plan.Cost, "no two of 2500 hold a leg and the test piece: 2010 + 2 + 500")
	assert.True(t, thin.Plan.Proven)
	// references.md D, M: mass per metre of 45 x 2 is 0.02466 (D - t) t = 2.1208.
	assert.InDelta(t, 6.5*2.1208, thin.Bought, 2e-4*14)
	assert.InDelta(t, (2.017+2.010+0.5)*2.1208, thin.Mass, 2e-4*10)

	assert.Equal(t, []Piece{{"main hoop", 4321.5, 1}, {"test piece, die d45", 500, 1}}, main.Pieces, "what is in the car needs no metal")
	require.Len(t, main.Plan.Sticks, 1)
	assert.InDelta(t, 6000-4321.5-500-4, main.Plan.Sticks[0].Remnant, 1e-9)
	assert.InDelta(t, 6*2.6201, main.Bought, 2e-4*16) // references.md D: 45 x 2.5 is 2.6201 kg/m (C)

	assert.Nil(t, brace.Plan, "no stick length is known")
	assert.NoError(t, brace.Err)
	assert.Equal(t, []Piece{{"cross", 1100, 1}}, brace.Pieces, "nothing is bent, so no test piece")
	assert.Zero(t, brace.Bought)

	j.Saw.Test = false
	assert.Len(t, ForCage(c, j, 0)[0].Pieces, 2)
}

func TestForCageTooLong(t *testing.T) {
	c, j := shop()
	c.Bars[0].Blank.Length = 6000.5
	p := ForCage(c, j, 0)[1]
	require.EqualError(t, p.Err, `tube "main": piece "main hoop" is 6000.5 mm long, the longest stick 6000.0 mm`)
	assert.Nil(t, p.Plan)
	assert.Len(t, p.Pieces, 2)

	c.Bars[0].Blank.Length = math.NaN()
	assert.ErrorContains(t, ForCage(c, j, 0)[1].Err, `tube "main": piece "main hoop": length must be`)
}
