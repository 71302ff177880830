package table

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/cope"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// table reads what a writer wrote: by row, then by the name of the column.
func table(t testing.TB, write func(*bytes.Buffer) error) (header []string, rows []map[string]string) {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b))
	all, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	for _, r := range all[1:] {
		row := map[string]string{}
		for i, cell := range r {
			row[all[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return all[0], rows
}

func value(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	require.NoError(t, err)
	return v
}

func TestJointTablesGolden(t *testing.T) {
	c := cage(t)
	var joints, landings, zones bytes.Buffer
	require.NoError(t, WriteJoints(&joints, c))
	golden(t, "joints.csv", joints.String())
	require.NoError(t, WriteLandings(&landings, c))
	golden(t, "landings.csv", landings.String())
	foot := fit.Zone{Bar: "brace", From: 975, To: 1003, Round: true}
	require.NoError(t, WriteZones(&zones, c, append([]fit.Zone{foot}, c.Joints[0].Zones...)))
	golden(t, "zones.csv", zones.String())
}

// The contract's columns, design.md section 6, spelled out a second time, come
// first and in its order.
func TestJointsHaveTheContractsColumns(t *testing.T) {
	header, _ := table(t, func(b *bytes.Buffer) error { return WriteJoints(b, &fit.Cage{}) })
	assert.True(t, strings.HasPrefix(strings.Join(header, ","), "joint,bar,end,onto,angle_deg,offset_mm,clock_deg,at_mm,long_mm,short_mm,"))
}

// bentHoop is a hoop of a tube that grows 20 mm per radian, with a post on each
// straight and one on a bend, worked out; a tee is square to its straight.
func bentHoop(t testing.TB) *fit.Cage {
	die := &tube.Die{Name: "d", OD: 45, CLR: 135, Stretch: 20}
	spec := &tube.Spec{Name: "t", OD: 45, Wall: 2.5, Die: die}
	made := func(name string, ends [2]job.End, nodes ...r3.Vector) *fit.Bar {
		p, err := tube.NewPath(nodes, die.CLR)
		require.NoError(t, err)
		b := &fit.Bar{Name: name, Tube: spec, Path: p, Ends: ends, Table: spec.Table(p)}
		return b
	}
	free := job.End{Kind: job.Free}
	hoop := made("hoop", [2]job.End{free, free}, xyz(0, -500, 0), xyz(0, -500, 800), xyz(0, 500, 800), xyz(0, 500, 0))
	c := &fit.Cage{Bars: []*fit.Bar{hoop}}
	on := func(name string, s float64, dir r3.Vector) {
		at, _ := hoop.Path.At(s)
		c.Bars = append(c.Bars, made(name, [2]job.End{{Kind: job.Landed, Onto: "hoop"}, free}, at, at.Add(dir.Mul(600))))
	}
	quarter := 135 * math.Pi / 2
	on("last", 665+quarter+730+quarter+300, xyz(-1, 0, 0))
	on("first", 300, xyz(-1, 0, 0))
	on("middle", 665+quarter+365, xyz(-1, 0, 0))
	on("bend", 665+quarter/2, xyz(-1, 0, 0))
	on("slanting", 665+quarter+130, xyz(-math.Sqrt2/2, math.Sqrt2/2, 0))
	cope.Work(c, &job.Job{Joints: job.Joints{Vent: 3, Bare: 25}}, nil, 1)
	for _, b := range c.Bars {
		b.Blank = bender.Plan(b.Tube, b.Path, [2]float64{5, 7})
	}
	return c
}

// The hoop's straights are 665, 730, 665 and its bends 135 pi / 2 long. A blank is
// shorter by 20 pi / 2 after a bend, by half of that in the middle of one.
func TestLandingsAlongTheBlank(t *testing.T) {
	c := bentHoop(t)
	read := func(c *fit.Cage) []map[string]string {
		_, rows := table(t, func(b *bytes.Buffer) error { return WriteLandings(b, c) })
		var bars []map[string]string
		for _, r := range rows {
			if r["mark"] == "bar" {
				bars = append(bars, r)
			} else {
				require.Equal(t, "vent", r["mark"])
				require.Equal(t, "3.00", r["diameter_mm"])
				require.Empty(t, r["bead_from_mm"])
			}
		}
		return bars
	}
	rows := read(c)
	require.Len(t, rows, 5)
	quarter, short := 135*math.Pi/2, 20*math.Pi/2
	for i, want := range []struct {
		branch, part    string
		at, along, less float64
	}{
		{"first", "straight 1", 300, 300, 0},
		{"bend", "bend 1", 665 + quarter/2, quarter / 2, short / 2},
		{"slanting", "straight 2", 665 + quarter + 130, 130, short},
		{"middle", "straight 2", 665 + quarter + 365, 365, short},
		{"last", "straight 3", 665 + 2*quarter + 730 + 300, 300, 2 * short},
	} {
		r := rows[i]
		assert.Equal(t, "hoop", r["bar"])
		assert.Equal(t, want.branch, r["branch"])
		assert.Equal(t, "A", r["branch_end"])
		assert.Equal(t, want.part, r["part"])
		assert.InDelta(t, want.at, value(t, r["at_mm"]), 0.051)
		assert.InDelta(t, want.along, value(t, r["part_mm"]), 0.051)
		assert.InDelta(t, 5+want.at-want.less, value(t, r["from_a_mm"]), 0.051)
		assert.Equal(t, "45.00", r["diameter_mm"])
		// All stand square to the hoop's plane, a quarter round from its outside, but
		// for the slanting one, which only leans along it.
		assert.Contains(t, []string{"90.0", "270.0"}, r["clock_deg"])
		assert.InDelta(t, math.Pi*45/360*value(t, r["clock_deg"]), value(t, r["wrap_mm"]), 0.051)
	}
	// Tubes of one size at 90 degrees: the weld reaches a radius to either side. At
	// 45 degrees from 0.2071 diameters before the node to 1.2071 behind it
	// (references.md C4).
	assert.InDelta(t, 300-22.5, value(t, rows[0]["bead_from_mm"]), 0.1)
	assert.InDelta(t, 300+22.5, value(t, rows[0]["bead_to_mm"]), 0.1)
	at := 665 + quarter + 130
	long, lead := value(t, rows[2]["bead_to_mm"])-at, at-value(t, rows[2]["bead_from_mm"])
	assert.InDelta(t, 1.2071*45, max(long, -lead), 0.1)
	assert.InDelta(t, 0.2071*45, -min(long, -lead), 0.1)

	// A cage that was written and read is marked alike, stretch included.
	var file bytes.Buffer
	require.NoError(t, WriteCage(&file, c))
	back, err := ReadCage(&file)
	require.NoError(t, err)
	assert.Equal(t, rows, read(back))
}

func TestJointCells(t *testing.T) {
	c := bentHoop(t)
	_, rows := table(t, func(b *bytes.Buffer) error { return WriteJoints(b, c) })
	require.Len(t, rows, 5)
	for i, r := range rows {
		j := c.Joints[i]
		assert.Equal(t, j.Bar, r["bar"])
		assert.Equal(t, "hoop", r["vent_on"])
		assert.InDelta(t, j.Length, value(t, r["bead_mm"]), 0.051)
		assert.InDelta(t, j.Saw.Depth, value(t, r["saw_depth_mm"]), 0.051)
		assert.Equal(t, "45.00", r["saw_mm"])
	}
	assert.Equal(t, "44.45", rows[0]["saw_nearest_mm"], "1 3/4 in is the nearest to 45 mm")
	assert.Equal(t, "no", rows[3]["saw_exact"], "on a bend")
	assert.Equal(t, "0", rows[3]["saw_passes"])
	assert.Equal(t, "yes", rows[0]["saw_exact"])

	c.Joints[0].Vent, c.Joints[0].WedgeMin = nil, math.NaN()
	_, rows = table(t, func(b *bytes.Buffer) error { return WriteJoints(b, c) })
	for _, name := range []string{"vent_on", "vent_at_mm", "vent_clock_deg", "vent_wrap_mm", "vent_mm", "wedge_min_deg"} {
		assert.Empty(t, rows[0][name])
	}
}

// Zones come sorted along each bar, and are those of the joints and feet.
func TestZonesAlongTheBars(t *testing.T) {
	c := bentHoop(t)
	zones := cope.Zones(c, 25)
	_, rows := table(t, func(b *bytes.Buffer) error {
		return WriteZones(b, c, append(zones, fit.Zone{Bar: "gone", Round: true}))
	})
	require.Len(t, rows, len(zones)+1)
	assert.Equal(t, "gone", rows[len(rows)-1]["bar"])
	last, hoop := math.Inf(-1), 0
	for _, r := range rows {
		if r["bar"] != "hoop" {
			continue
		}
		hoop++
		from := value(t, r["from_mm"])
		assert.GreaterOrEqual(t, from, last)
		last = from
		require.Equal(t, "no", r["round"])
		// Posts are as wide as the hoop and stand at 270 degrees: bare is all but a
		// strip on the far side.
		a, b := value(t, r["clock_from_deg"]), value(t, r["clock_to_deg"])
		assert.InDelta(t, 90, math.Mod(b+math.Mod(a-b+360, 360)/2, 360), 0.11)
	}
	assert.Equal(t, 5, hoop)
	assert.Equal(t, "yes", rows[5]["round"], "a branch is bare all round")
	assert.Empty(t, rows[5]["clock_from_deg"])
	assert.Len(t, zones, 10, "the caller's zones are left in their order")
	assert.Equal(t, "last", zones[0].Bar)
}

func TestClock(t *testing.T) {
	for deg, want := range map[float64]string{0: "0.0", 359.94: "359.9", 359.96: "0.0", 360: "0.0", -0.04: "0.0", -90: "270.0", 725: "5.0", math.NaN(): ""} {
		assert.Equal(t, want, clock(deg), "%v", deg)
	}
}

func TestPartAt(t *testing.T) {
	p, err := tube.NewPath([]r3.Vector{xyz(0, 0, 0), xyz(0, 0, 100), xyz(100, 0, 100)}, 100)
	require.NoError(t, err) // a quarter of a circle, with straights of no length
	part, along, turned := partAt(p, 50*math.Pi/2)
	assert.Equal(t, "bend 1", part)
	assert.InDelta(t, 50*math.Pi/2, along, 1e-9)
	assert.InDelta(t, 45, s1.Angle(turned).Degrees(), 1e-9)
	part, along, turned = partAt(p, p.Length)
	assert.Equal(t, "straight 2", part)
	assert.InDelta(t, 0, along, 1e-9)
	assert.InDelta(t, 90, s1.Angle(turned).Degrees(), 1e-9)
}

// Names that a spreadsheet would take for formulas are guarded in every table.
func TestJointTablesHoldNoFormula(t *testing.T) {
	c := cage(t)
	for _, write := range []func(*bytes.Buffer) error{
		func(b *bytes.Buffer) error { return WriteJoints(b, c) },
		func(b *bytes.Buffer) error { return WriteLandings(b, c) },
		func(b *bytes.Buffer) error { return WriteZones(b, c, c.Joints[0].Zones) },
	} {
		_, rows := table(t, write)
		require.NotEmpty(t, rows)
		guarded := 0
		for _, r := range rows {
			for _, cell := range r {
				if strings.Contains(cell, "HOOP") {
					assert.True(t, strings.HasPrefix(cell, "'="), cell)
					guarded++
				}
			}
		}
		assert.Positive(t, guarded)
	}
}
