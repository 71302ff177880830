package tube_test

import (
	"math"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/tube"
)

// The checks of this file are against figures from outside the project. Each
// names its source; "read" means that the page was read, "from memory" that it
// was not, "computed" that the figure was worked out independently from the
// formula named.

const inch = 25.4

func v(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

func path(t testing.TB, radius float64, nodes ...r3.Vector) *tube.Path {
	t.Helper()
	p, err := tube.NewPath(nodes, radius)
	require.NoError(t, err)
	return p
}

// within asserts |got - want| <= tol, where tol is half a unit of the last
// printed digit of the source unless said otherwise.
func within(t testing.TB, want, got, tol float64, what string) {
	t.Helper()
	assert.InDelta(t, want, got, tol, what)
}

// Elastic unloading, Mp = sy (D^3-d^3)/6, I = pi (D^4-d^4)/64, f = Mp R/(E I):
// textbook plasticity from memory, every row computed independently.
func TestSpringbackEstimate(t *testing.T) {
	rows := []struct {
		name                 string
		od, wall             float64
		yield, e             float64
		clr                  float64
		moment, second, f    float64 // N m, mm4, -
		overbend             float64 // degrees for 90
		material             string  // built-in with these figures; "": none
		momentTol, secondTol float64
	}{
		{"38x2.5", 38, 2.5, 350, 210e3, 114, 1104.5, 44140, .013584, 1.239, "E235+SR", .05, .5},
		{"45x2.5", 45, 2.5, 350, 210e3, 135, 1582.3, 75625, .013450, 1.227, "E235+SR", .05, .5},
		{"50x2", 50, 2, 350, 210e3, 150, 1613.7, 87010, .013248, 1.208, "E235+SR", .05, .5},
		{"45x2.5 N", 45, 2.5, 355, 210e3, 135, 1604.9, 75625, .013643, 1.245, "E355+N", .05, .5},
		{"45x2.5 SR", 45, 2.5, 450, 210e3, 135, 2034.4, 75625, .017293, 1.584, "E355+SR", .05, .5},
		{"44.45x2.413 DOM", 44.45, 2.413, 414, 205e3, 133.35, 1767.2, 70622, .016278, 1.489, "1020 DOM", .05, .5},
		{"44.45x2.413 4130", 44.45, 2.413, 483, 205e3, 133.35, 2061.8, 70622, .018991, 1.742, "4130 N", .05, .5},
		{"38.1x2.413 4130", 38.1, 2.413, 483, 205e3, 114.3, 1486.6, 43264, .019158, 1.758, "4130 N", .05, .5},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			m, ok := tube.LookupMaterial(r.material)
			require.True(t, ok)
			assert.Equal(t, r.yield, m.Yield)
			assert.Equal(t, r.e, m.E)
			s := &tube.Spec{OD: r.od, Wall: r.wall, Material: m, Die: &tube.Die{CLR: r.clr}}
			within(t, r.moment, s.PlasticMoment()/1000, r.momentTol, "Mp in N m")
			within(t, r.second, s.SecondMoment(), r.secondTol, "I in mm4")
			within(t, r.f, s.SpringbackFactor(), 5e-7, "f")
			set, estimated := s.SetAngle(90 * s1.Degree)
			assert.True(t, estimated)
			within(t, 90+r.overbend, set.Degrees(), 5e-4, "set angle for 90 degrees")
		})
	}
}

// Kilograms a metre, from published tables; the tables' factor 0.02466 and the
// exact pi x 7850e-6 differ by 6.1e-5, so the comparison is to 2e-4 or half a
// unit of the last printed digit, whichever is more.
func TestMass(t *testing.T) {
	rows := []struct {
		od, wall, kg, digit float64
		source              string
	}{
		{60.3, 4, 5.55, .01, "tubecon.co.za (read)"},
		{75, 1, 1.825, .001, "aerospace tube sheet, scribd 358775155 (read)"},
		{10, .5, .117, .001, "same (read)"},
		// The sheet prints 2.961 kg/m, 1.989 lb/ft: 7.86 g/cm3. With 7.85 it is 2.956, computed.
		{4 * inch, .047 * inch, 2.961, .01, "same (read)"},
		{38, 2.5, 2.1886, 0, "W = 0.02466 (D-t) t (read), computed"},
		{40, 2, 1.8742, 0, "same"},
		{45, 2.5, 2.6201, 0, "same"},
		{50, 2, 2.3674, 0, "same"},
		{38.1, 2.413, 2.1237, 0, "pi (D-t) t x 7.85e-3, computed"},
		{38.1, 3.048, 2.6348, 0, "same"},
		{41.275, 3.048, 2.8735, 0, "same"},
		{44.45, 2.413, 2.5015, 0, "same"},
		{44.45, 3.048, 3.1121, 0, "same"},
		{50.8, 2.108, 2.5313, 0, "same"},
	}
	steel, _ := tube.LookupMaterial("S355")
	for _, r := range rows {
		s := &tube.Spec{OD: r.od, Wall: r.wall, Material: steel}
		within(t, r.kg, s.Mass(1000), max(2e-4*r.kg, r.digit/2), r.source)
	}
}

// lb/ft = 10.69 (D-t) t in inches (read, dealers' tables): four digits.
func TestMassPoundsPerFoot(t *testing.T) {
	steel, _ := tube.LookupMaterial("1020 DOM")
	for _, r := range [][2]float64{{1.75, .095}, {1.5, .120}, {1.625, .120}} {
		s := &tube.Spec{OD: r[0] * inch, Wall: r[1] * inch, Material: steel}
		const pound, foot = 0.45359237, 304.8 // kg, mm: exact
		assert.InEpsilon(t, 10.69*(r[0]-r[1])*r[1], s.Mass(foot)/pound, 1e-3)
	}
}

// Section properties, computed independently; the last three rows are the
// least figures for tube sizes in a student formula's rules 2024, F.3.4.1
// (read), which are those of the sizes named there.
func TestSection(t *testing.T) {
	rows := []struct{ od, wall, area, second float64 }{
		{38, 2.5, 278.82, 44140},
		{40, 2, 238.76, 43216},
		{45, 2.5, 333.79, 75625},
		{50, 2, 301.59, 87010},
		{44.45, 3.048, 396.45, 85406},
		{38.1, 2.413, 270.53, 43264},
	}
	for _, r := range rows {
		s := &tube.Spec{OD: r.od, Wall: r.wall}
		within(t, r.area, s.Area(), .005, "area")
		within(t, r.second, s.SecondMoment(), .5, "second moment")
	}
	for _, r := range []struct{ od, wall, second float64 }{
		{25, 2.5, 11320.8}, {25.4, 1.6, 8508.8}, {25.4, 1.2, 6695.0},
	} {
		s := &tube.Spec{OD: r.od, Wall: r.wall}
		within(t, r.second, s.SecondMoment(), .05, "second moment")
	}
}

// Yields: EN 10305-1 minimum properties from a mill's sheet (read; the +N rows
// also from a second dealer); ASTM A513 in ksi from two dealers' tables (read);
// S355 and 4130 N (A519 normalized, 70 ksi) from memory.
func TestMaterials(t *testing.T) {
	const ksi = 6.894757 // N/mm2
	want := map[string]float64{
		"E235+N": 235, "E235+SR": 350, "E255+N": 255, "E255+SR": 375, "E355+N": 355, "E355+SR": 450,
		"S355": 355, "1020 ERW": 38 * ksi, "1026 ERW": 45 * ksi, "1020 N": 35 * ksi,
		"1020 DOM": 60 * ksi, "1026 DOM": 70 * ksi, "1020 DOM SR": 55 * ksi, "1026 DOM SR": 65 * ksi,
		"4130 DOM": 85 * ksi, "4130 N": 70 * ksi, "25CrMo4": 70 * ksi,
	}
	all := tube.Materials()
	assert.Len(t, all, len(want))
	for _, m := range all {
		within(t, want[m.Name], m.Yield, .5, m.Name)
		assert.Equal(t, 7850.0, m.Density, m.Name)
		assert.GreaterOrEqual(t, m.E, 200e3, m.Name) // 200 GPa: the student formula's rules, F.3.4.2 (read)
		assert.LessOrEqual(t, m.E, 210e3, m.Name)    // 210 GPa: Eurocode 3 (from memory)
		assert.NotEmpty(t, m.Source, m.Name)
		again, ok := tube.LookupMaterial(m.Name)
		assert.True(t, ok)
		assert.Equal(t, m, again)
	}
	m, ok := tube.LookupMaterial(" e235 + sr")
	assert.True(t, ok)
	assert.Equal(t, "E235+SR", m.Name)
	_, ok = tube.LookupMaterial("cheese")
	assert.False(t, ok)
	all[0].Name = "changed"
	assert.NotEqual(t, "changed", tube.Materials()[0].Name, "the list handed out is a copy")
}

func TestBentSection(t *testing.T) {
	// 33.40 x 3.38 mm on R = 40: a reader measured 2.5 mm on the outside
	// (engineersedge thread 5308, read); the formula gives 2.384, computed.
	within(t, 2.384, tube.ThinnedWall(3.38, 33.40, 40), .0005, "extrados")
	within(t, 2.5, tube.ThinnedWall(3.38, 33.40, 40), .12, "against the measured wall")
	// R = 3 D: 0.857 t and 1.200 t (from memory, computed).
	within(t, .857, tube.ThinnedWall(1, 1, 3), .0005, "extrados at 3 D")
	within(t, 1.200, tube.ThickenedWall(1, 1, 3), .0005, "intrados at 3 D")
	// ASME B31.1 bend factors, printed to 0.01 (scribd 454414014, read) and
	// computed to 0.0001. The printed 0.86 for R = 114.3 and 1.33, 1.32 are
	// rounded; the last row's 0.88 is 0.875 rounded up.
	for _, r := range []struct{ od, clr, in, ex, in4, ex4 float64 }{
		{60.3, 76.2, 1.33, .86, 1.3274, .8583},
		{88.9, 114.3, 1.32, .86, 1.3182, .8600},
		{114.3, 152.4, 1.30, .86, 1.3000, .8636},
		{355.6, 533.4, 1.25, .88, 1.25, .875},
	} {
		within(t, r.in, tube.IntradosFactor(r.od, r.clr), .00501, "intrados")
		within(t, r.ex, tube.ExtradosFactor(r.od, r.clr), .00501, "extrados")
		within(t, r.in4, tube.IntradosFactor(r.od, r.clr), 5e-5, "intrados")
		within(t, r.ex4, tube.ExtradosFactor(r.od, r.clr), 5e-5, "extrados")
	}
	// Wall to order before bending, ASME B31.1 table 102.4.5 as reprinted in
	// UFGS 4_159_01 table 5-4 (read): 1.06, 1.08, 1.14, 1.25 times the least
	// wall at R = 6, 5, 4, 3 D. What our formula leaves of it must still be
	// at least the least wall, and at the tight end not by more than a tenth.
	for _, r := range []struct{ k, ordered float64 }{{6, 1.06}, {5, 1.08}, {4, 1.14}, {3, 1.25}} {
		left := tube.ThinnedWall(r.ordered, 1, r.k)
		assert.Greater(t, left, .975, "R = %g D", r.k)
		assert.Less(t, left, 1.1, "R = %g D", r.k)
	}
	// A cage rule's ratio of 0.90 is about 10.5 % of the mean diameter (computed).
	within(t, .105, tube.Ovality(.90, 1, .95), .0005, "ovality")
	within(t, .90, tube.Flatness(40.5, 45), 1e-12, "flatness")
}

func TestArcLengthAndSetback(t *testing.T) {
	// L = R deg 0.01745, setback = R tan(A/2): pertneer.net/tubebending.php (read).
	within(t, 150*60*.01745, path(t, 150, v(0, 0, 0), v(1000, 0, 0), v(1500, 1000*math.Sin(math.Pi/3), 0)).Segments[1].Length, .05, "arc")
	// R = 5/8 in, 90 degrees: 0.98 in (alexwetmore.org/archives/474, read).
	p := path(t, .625, v(0, 0, 0), v(2, 0, 0), v(2, 2, 0))
	within(t, .98, p.Segments[1].Length, .005, "90 degrees on 5/8 in")
	// Two 90s on R = 20 with a rise of 40: 62.8 in (knowledge-builders.org, read).
	p = path(t, 20, v(0, 0, 0), v(20, 0, 0), v(20, 40, 0), v(40, 40, 0))
	within(t, 62.8, p.Length, .05, "two 90s that meet")
	assert.Equal(t, 0.0, p.Segments[2].Length, "no straight between them")
	// Gain of a 90 degree bend: 0.42 to 0.43 of the centreline radius (a forum,
	// second hand); 2 - pi/2 exactly.
	within(t, 2-math.Pi/2, tube.Gain(1, 90*s1.Degree), 1e-15, "gain")
	within(t, .425, tube.Gain(1, 90*s1.Degree), .005, "gain")
	legs := path(t, 135, v(0, 0, 0), v(500, 0, 0), v(500, 700, 0))
	within(t, 1200-.42920*135, legs.Length, .001, "legs less the gain")
	// Setback of 25.732 degrees on R 7.5 is 1.713; from the start of the first
	// bend to the second corner of a 4 in offset at that angle it is 10.0
	// (ajgest.substack 9-16 and 9-23-2024, read); computed 1.7131 and 10.012.
	a := s1.Angle(25.732) * s1.Degree
	within(t, 1.713, tube.Setback(7.5, a), .0005, "setback")
	p = offset(t, a, 4, 7.5)
	within(t, 10.0, p.Nodes[2].X-p.Segments[1].From.X, .05, "advance")
	within(t, 10.012, p.Nodes[2].X-p.Segments[1].From.X, .001, "advance") // its parts were rounded
}

// offset is the path of two equal bends that shift a tube sideways by rise.
func offset(t *testing.T, angle s1.Angle, rise, radius float64) *tube.Path {
	run := rise / math.Tan(angle.Radians())
	return path(t, radius, v(-1000, 0, 0), v(0, 0, 0), v(run, 0, rise), v(run+1000, 0, rise))
}

// Offset bends: travel, advance and shrink for an inch of rise.
func TestOffsetMultipliers(t *testing.T) {
	for _, r := range []struct {
		angle, travel, tol float64
		source             string
	}{
		{60, 1.155, .0005, "brainscape, section six (read)"},
		{45, 1.414, .0005, "same"},
		{30, 2.000, .0005, "same"},
		{22.5, 2.613, .0005, "same"},
		{11.25, 5.126, .0005, "computed"},
		{5.625, 10.202, .0005, "computed"},
		// Conduit bender's manual, manualslib.mx 507759 p. 9 (read): rounded for use with a rule.
		{10, 6.0, .25, "manual"}, {15, 3.86, .01, "manual"}, {22.5, 2.6, .05, "manual"},
		{30, 2.0, .05, "manual"}, {45, 1.4, .05, "manual"}, {60, 1.2, .05, "manual"},
	} {
		p := offset(t, s1.Angle(r.angle)*s1.Degree, 1000, 10)
		within(t, r.travel, p.Nodes[2].Sub(p.Nodes[1]).Norm()/1000, r.tol, r.source)
	}
	// Advance for a unit of rise (forum, second hand).
	for angle, advance := range map[float64]float64{60: .577, 45: 1.000, 22.5: 2.414} {
		p := offset(t, s1.Angle(angle)*s1.Degree, 1000, 10)
		within(t, advance, (p.Nodes[2].X-p.Nodes[1].X)/1000, .0005, "advance")
	}
	// A 60 degree fitting: B = A 0.5774, C = A 1.1547: A = 12 gives 6.9288 and
	// 13.8564 (jkworthy.com/plumbing/page3, read). 0.5774 is rounded up, so B
	// is good to 1e-3.
	p := offset(t, 60*s1.Degree, 12, .01)
	within(t, 6.9288, p.Nodes[2].X-p.Nodes[1].X, 1e-3, "B")
	within(t, 13.8564, p.Nodes[2].Sub(p.Nodes[1]).Norm(), 1e-3, "C")
	// Shrink: by how much the way along the legs is longer than the straight
	// way, tan(A/2) for a unit of rise (computed); the manual rounds to 1/16 in.
	for _, r := range []struct{ angle, exact, printed float64 }{
		{10, .0875, 1. / 16}, {15, .1317, 1. / 8}, {22.5, .1989, 3. / 16},
		{30, .2679, 1. / 4}, {45, .4142, 3. / 8}, {60, .5774, 1. / 2},
	} {
		p := offset(t, s1.Angle(r.angle)*s1.Degree, 1000, 10)
		shrink := (p.Nodes[2].Sub(p.Nodes[1]).Norm() - (p.Nodes[2].X - p.Nodes[1].X)) / 1000
		within(t, r.exact, shrink, 5e-5, "shrink")
		within(t, r.printed, shrink, .08, "shrink as the manual rounds it")
	}
	// The manual's worked example: 6 in at 30 degrees, marks 12 in apart,
	// shrink 1.5 in; exactly 1.608.
	p = offset(t, 30*s1.Degree, 6*inch, 1)
	travel := p.Nodes[2].Sub(p.Nodes[1]).Norm() / inch
	within(t, 12, travel, 1e-12, "marks")
	within(t, 1.608, travel-(p.Nodes[2].X-p.Nodes[1].X)/inch, .0005, "shrink")
}

// Rolling offset: rise 30 5/8, roll 17 5/8, true offset 35.3346 (printed 35 3/8;
// 602apprentice.blogspot 2011/01, read), travel at 45 degrees 49.9706 (printed
// 50.02 from the rounded offset). Rise 12, roll 16: 20 and 28.28 (second hand,
// computed).
func TestRollingOffset(t *testing.T) {
	for _, r := range []struct{ rise, roll, true_, travel, tol float64 }{
		{30.625, 17.625, 35.3346, 49.9706, 5e-5},
		{12, 16, 20, 28.28, .005},
	} {
		off := math.Hypot(r.rise, r.roll)
		p := path(t, 6, v(0, 0, 0), v(20, 0, 0), v(20+off, r.roll, r.rise), v(40+off, r.roll, r.rise))
		within(t, r.true_, off, 5e-5, "true offset")
		within(t, r.travel, p.Nodes[2].Sub(p.Nodes[1]).Norm(), r.tol, "travel")
		table := (&tube.Spec{}).Table(p)
		within(t, 45, tube.Degrees(table.Bends[0].Angle), 1e-9, "first bend")
		within(t, 45, tube.Degrees(table.Bends[1].Angle), 1e-9, "second bend")
		assert.Equal(t, 180.0, tube.Degrees(table.Bends[1].Rotation))
	}
}

// The two examples from points to bend table, both computed independently.
func TestBendVectors(t *testing.T) {
	p := path(t, 6, v(0, 0, 0), v(20, 0, 0), v(55.33456, 17.625, 30.625), v(75.33456, 17.625, 30.625))
	table := (&tube.Spec{}).Table(p)
	require.Len(t, table.Bends, 2)
	within(t, 2.48528, tube.Setback(6, table.Bends[0].Angle), 5e-6, "setback")
	for i, b := range table.Bends {
		within(t, 45, b.Angle.Degrees(), 5e-6, "angle")
		within(t, []float64{17.51472, 45.00005}[i], b.Feed, 6e-6, "feed")
		within(t, []float64{0, 180}[i], tube.Degrees(b.Rotation), 5e-6, "rotation")
		within(t, 4.71239, p.Segments[2*i+1].Length, 5e-6, "arc")
	}
	within(t, 17.51472, table.Tail, 6e-6, "tail")
	within(t, 89.45427, table.Developed, 6e-6, "developed")

	p = path(t, 135, v(0, 0, 0), v(0, 0, 1000), v(1000, 0, 1000), v(1000, 800, 1000))
	table = (&tube.Spec{}).Table(p)
	require.Len(t, table.Bends, 2)
	for i, b := range table.Bends {
		assert.Equal(t, 90.0, tube.Degrees(b.Angle))
		within(t, []float64{865, 730}[i], b.Feed, 1e-9, "feed")
		within(t, 212.0575, p.Segments[2*i+1].Length, 5e-5, "arc")
	}
	// Feeding along +x after the first bend, whose normal is +y, the second
	// bend's normal is +z: a quarter turn right-handed about +x.
	assert.Equal(t, 0.0, tube.Degrees(table.Bends[0].Rotation))
	assert.Equal(t, 90.0, tube.Degrees(table.Bends[1].Rotation))
	within(t, 665, table.Tail, 1e-9, "tail")
	within(t, 2684.1150, table.Developed, 5e-5, "developed")
}
