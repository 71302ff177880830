package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

var update = flag.Bool("update", false, "write the golden files anew")

func xyz(x, y, z float64) r3.Vector { return r3.Vector{X: x, Y: y, Z: z} }

// cage is an invented cage of a bent pair and a straight bar, with awkward names
// and numbers.
func cage(t testing.TB) *fit.Cage {
	t.Helper()
	steel := tube.Material{Name: "invented steel", Yield: 350, E: 205000, Density: 7850, Source: "test"}
	bent := &tube.Spec{
		Name: "main", OD: 45, Wall: 2.5, Stick: 6000, Material: steel,
		Die: &tube.Die{Name: "d45", OD: 45, CLR: 135, Springback: []tube.Springback{{Want: 90 * s1.Degree, Set: 93 * s1.Degree}}},
	}
	straight := &tube.Spec{Name: "-brace", OD: 38, Wall: 2.5, Material: steel}
	// Worked example (ii) of references.md B3 (computed there, not published):
	// straights 865/730/665, developed 2684.1150 mm, rotation 90 degrees.
	p, err := tube.NewPath([]r3.Vector{xyz(0, 0, 0), xyz(0, 0, 1000), xyz(1000, 0, 1000), xyz(1000, 800, 1000)}, 135)
	require.NoError(t, err)
	q, err := tube.NewPath([]r3.Vector{xyz(0, 0, 1000), xyz(0, -1.0/3, 0)}, 0)
	require.NoError(t, err)
	at := xyz(1, -2, 3.00000000004)
	bar := &fit.Bar{
		Name: "=HOOP", Tube: bent, Ends: [2]job.End{{Kind: job.Foot}, {Kind: job.Free}},
		Path: p, Table: bent.Table(p), Clearance: 12, Solved: true,
		Gap: fit.Gap{
			Min: 12.04, Mean: 15.25, Max: 1.0 / 3 * 100, RMSOver: 4, CertifiedMin: 12.0399, Deficit: -0.03,
			DeficitAt: xyz(1, 2, 3), RawMin: 11.9, Gain: 0.1, Residual: 1e-4, Contacts: []r3.Vector{xyz(0, 0, 5)}, CapHeld: true,
			WorstAt: xyz(4, 5, 6), Outside: true, OutsideAt: xyz(7, 8, 9),
		},
		Blank: &bender.Blank{
			Length: 2690.5, Beyond: [2]float64{6.385, 0}, First: 1, Why: "end B first: the tube clears the floor", Drift: 0.7,
			Steps: []bender.Step{
				{Bend: 2, Mark: [2]float64{2025.5, 665}, Angle: 90 * s1.Degree, Exact: 92.9 * s1.Degree, Set: 93 * s1.Degree, Gives: 90.1 * s1.Degree, Estimated: true},
				{Bend: 1, Mark: [2]float64{1083.4, 1607.1}, Rotation: -90 * s1.Degree, Angle: 90 * s1.Degree, Exact: 93 * s1.Degree, Set: 93 * s1.Degree, Gives: 90 * s1.Degree},
			},
			Limits: []bender.Limit{{Rule: "grip", Bend: 2, Got: 40, Limit: 60, Unit: "mm", Detail: "short", Change: "20 mm more straight before bend 2"}},
		},
		Budget: &fit.Budget{
			Angle: s1.Degree / 2, Length: 1, Draws: 1000, Clears: 0.953, Need95: 11.9,
			Bends: []fit.Sensitivity{
				{EndPerDegree: 13, EndPerTurn: 2, EndPerMM: 1, GapPerDegree: -3, GapPerTurn: -0.5, GapPerMM: -1},
				{EndPerDegree: 11, EndPerMM: 1, GapPerDegree: -2, GapPerMM: -0.25},
			},
		},
		Feet: []fit.Foot{{End: 0, Point: xyz(0, 0, 0), Normal: xyz(0, 0, 1), Error: 0.02, Packer: 1.5, Angle: 88}},
	}
	mirrored := *bar
	mirrored.Name, mirrored.Mirrored, mirrored.MirrorOf = "=HOOP (mirror)", true, "=HOOP"
	mirrored.Path = p.Mirrored()
	mirrored.Table = bent.Table(mirrored.Path)
	return &fit.Cage{
		Title: `a "quoted" <title>, with ünicode`,
		Shell: fit.ShellInfo{File: "cabin.stl", Triangles: 1234, Unit: job.MM, Clearance: 12, Noise: 1.5, Suspects: 3},
		Bars: []*fit.Bar{bar, &mirrored, {
			Name: "brace", Tube: straight, Ends: [2]job.End{{Kind: job.Landed, Onto: "=HOOP"}, {Kind: job.Foot}},
			Path: q, Table: straight.Table(q), Clearance: 12,
			Gap:      fit.Gap{Min: math.Inf(1), Mean: math.NaN(), Max: math.Inf(-1)},
			Blocking: []fit.Blocker{{Rule: "clearance", Bend: 0, Got: 3, Limit: 12, Unit: "mm", At: xyz(0, 0, 500), Detail: "side wall"}},
		}},
		// Invented figures: every field is set, to see that it comes back.
		Joints: []fit.Joint{{
			Name: "J1", Bar: "brace", End: "A", Onto: "=HOOP", Angle: 71.25, Offset: -2.5, Clock: 270.125, Wrap: 106.08, At: 1005.5,
			Long: 27.5, Short: -4.25, Node: xyz(0, 0, 1000), Bead: []r3.Vector{xyz(1, 1, 1), xyz(20, -3, 999.5)}, Length: 141.375,
			WedgeMin: 62.5, WedgeMax: 128.75, Order: 2, Around: []string{"=HOOP (mirror)", "stay"}, Open: 0.0125,
			Saw: fit.Saw{
				Size: 45, Nearest: 44.45, Angle: 18.75, Offset: -2.5, Clock: 359.97, Depth: 40.125, Deepest: 27.5, Shallowest: -4.25,
				Passes: 2, Exact: true,
			},
			Vent: &fit.Vent{Bar: "=HOOP", At: 1004.25, Clock: 268.5, Wrap: 105.44, Point: xyz(3, -22, 998), Diameter: 3.2, Margin: 11.5},
			Zones: []fit.Zone{
				{Joint: "J1", Bar: "brace", From: -4.25, To: 52.5, Round: true},
				{Joint: "J1", Bar: "=HOOP", From: 960.5, To: 1050.5, Clock: [2]float64{190.5, 349.96}},
			},
		}},
		Findings: []fit.Finding{
			{Severity: fit.Error, Rule: "clearance", Bar: "brace", Got: 3, Limit: 12, Unit: "mm", At: &at, Message: "too close"},
			{Severity: fit.Warning, Rule: "clash", Bar: "=HOOP", Other: "=HOOP (mirror)", Got: 5, Limit: 0, Unit: "mm", Message: "touch"},
			{Severity: fit.Note, Rule: "tight", Bar: "=HOOP", Message: "tight"},
		},
	}
}

func written(t testing.TB, c *fit.Cage) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, WriteCage(&b, c))
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o777))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o666))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

func TestGolden(t *testing.T) {
	c := cage(t)
	golden(t, "cage.json", written(t, c))
	var bends, bars bytes.Buffer
	require.NoError(t, WriteBends(&bends, c))
	golden(t, "bends.csv", bends.String())
	require.NoError(t, WriteBars(&bars, c))
	golden(t, "bars.csv", bars.String())
	var marks bytes.Buffer
	require.NoError(t, WriteMarks(&marks, c))
	golden(t, "marks.csv", marks.String())
}

func TestCageRoundTrip(t *testing.T) {
	c := cage(t)
	first := written(t, c)
	back, err := ReadCage(strings.NewReader(first))
	require.NoError(t, err)
	assert.Equal(t, first, written(t, back), "the same bytes again")

	for _, v := range []any{c.Joints[0], c.Joints[0].Saw, *c.Joints[0].Vent} {
		for s, i := reflect.ValueOf(v), 0; i < s.NumField(); i++ {
			assert.False(t, s.Field(i).IsZero(), "%s: the test's joint leaves it empty", s.Type().Field(i).Name)
		}
	}
	assert.Equal(t, c.Joints, back.Joints)
	assert.Equal(t, c.Bars[0].Blank.Limits, back.Bars[0].Blank.Limits)
	assert.InDelta(t, 2690.5-6.385, back.Bars[0].Table.Cut, 1e-9, "from node to node, not what is sawn")
	assert.Equal(t, c.Bars[0].Budget.Bends, back.Bars[0].Budget.Bends)
	for i, b := range c.Bars {
		got := back.Bars[i]
		require.Len(t, got.Path.Segments, len(b.Path.Segments))
		assert.InDelta(t, b.Path.Length, got.Path.Length, 1e-7)
		for k, s := range b.Path.Segments {
			g := got.Path.Segments[k]
			assert.Equal(t, s.Kind, g.Kind)
			assert.Equal(t, s.Node, g.Node)
			for _, pair := range [][2]r3.Vector{{s.From, g.From}, {s.To, g.To}, {s.Dir, g.Dir}, {s.Centre, g.Centre}, {s.Axis, g.Axis}} {
				assert.InDelta(t, 0, pair[0].Sub(pair[1]).Norm(), 1e-8)
			}
			assert.InDelta(t, float64(s.Angle), float64(g.Angle), 1e-10)
			assert.InDelta(t, s.Start, g.Start, 1e-7)
		}
		// What is read is a path that the rest of the program can work with.
		pos, dir := got.Path.At(got.Path.Length / 2)
		wantPos, wantDir := b.Path.At(b.Path.Length / 2)
		assert.InDelta(t, 0, pos.Sub(wantPos).Norm(), 1e-6)
		assert.InDelta(t, 0, dir.Sub(wantDir).Norm(), 1e-8)
	}
	assert.True(t, math.IsNaN(back.Bars[2].Gap.Min), "infinite is written as null and read as NaN")
	assert.Equal(t, c.Bars[2].Ends, back.Bars[2].Ends)
}

// The names of the contract, design.md section 6, spelled out a second time.
func TestCageHasTheContractsNames(t *testing.T) {
	var doc map[string]any
	require.NoError(t, json.Unmarshal([]byte(written(t, cage(t))), &doc))
	has := func(v any, names string) map[string]any {
		m, ok := v.(map[string]any)
		require.True(t, ok)
		for _, n := range strings.Fields(names) {
			assert.Contains(t, m, n)
		}
		return m
	}
	has(doc, "format version title shell bars joints findings")
	assert.Equal(t, "barwright.cage", doc["format"])
	assert.EqualValues(t, 1, doc["version"])
	has(doc["shell"], "file triangles unit clearance_mm")
	bars := doc["bars"].([]any)
	bar := has(bars[0], `name tube od_mm wall_mm clr_mm mirror_of ends nodes_mm path bends tail_mm
		developed_mm cut_mm mass_kg clearance_mm gap status`)
	has(bar["gap"], "min_mm mean_mm max_mm rms_over_mm certified_min_mm raw_min_mm gain_mm contacts")
	has(bar["bends"].([]any)[0], "feed_mm rotation_deg angle_deg set_deg mark_mm")
	has(bar["path"].([]any)[0], "kind from_mm to_mm length_mm")
	has(bar["path"].([]any)[1], "kind from_mm to_mm centre_mm axis radius_mm angle_deg")
	has(doc["joints"].([]any)[0], "joint bar end onto angle_deg offset_mm clock_deg at_mm long_mm short_mm node_mm bead_mm")
	has(doc["findings"].([]any)[0], "severity rule bar got limit unit at message")

	assert.Nil(t, bar["mirror_of"])
	assert.Equal(t, "=HOOP", bars[1].(map[string]any)["mirror_of"])
	assert.Equal(t, []any{"=HOOP", "shell"}, bars[2].(map[string]any)["ends"])
	assert.InDelta(t, 2684.1150, bar["developed_mm"], 5e-5) // references.md B3 (ii), C
	empty := written(t, &fit.Cage{})
	assert.Contains(t, empty, `"bars": []`)
	assert.Contains(t, empty, `"joints": []`)
	assert.Contains(t, empty, `"findings": []`)
}

func TestReadCageRefuses(t *testing.T) {
	good := written(t, cage(t))
	replaced := func(old, by string) string {
		require.Contains(t, good, old)
		return strings.Replace(good, old, by, 1)
	}
	for _, c := range []struct{ name, in, want string }{
		{"nothing", "", "cage file: "},
		{"not JSON", "<html>", "cage file: "},
		{"another format", `{"format":"other","version":1}`, `format is "other"`},
		{"a later version", replaced(`"version": 1`, `"version": 2`), "version 2 is not known"},
		{"a text for a number", replaced(`"od_mm": 45`, `"od_mm": "45"`), "cage file: "},
		{"no node", replaced(`"nodes_mm"`, `"nodes"`), "no path"},
		{"null as a coordinate", replaced("\"from_mm\": [\n      0,", "\"from_mm\": [\n      null,"), "a number is missing"},
		{"null as a node", replaced("\"nodes_mm\": [\n    [\n     0,", "\"nodes_mm\": [\n    [\n     null,"), "no coordinates"},
		{"an unknown kind", replaced(`"kind": "arc"`, `"kind": "spiral"`), `path[1]: kind "spiral"`},
		{"an arc without centre", replaced(`"centre_mm"`, `"center"`), `path[1]: kind "arc"`},
		{"a node that is not there", replaced(`"node": 1`, `"node": 9`), "node 9 is not one of 4"},
		{"cut short", good[:len(good)/2], "cage file: "},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadCage(strings.NewReader(c.in))
			require.ErrorContains(t, err, c.want)
			assert.NotContains(t, err.Error(), "\n")
		})
	}
}

func FuzzReadCage(f *testing.F) {
	f.Add([]byte(written(f, cage(f))))
	f.Add([]byte(`{"format":"barwright.cage","version":1,"bars":[{}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ReadCage(bytes.NewReader(data))
		if err != nil {
			return
		}
		for _, b := range c.Bars {
			for _, s := range b.Path.Segments {
				assert.True(t, finite(s.From) && finite(s.To) && finite(s.Dir))
			}
		}
		out := written(t, c)
		back, err := ReadCage(strings.NewReader(out))
		require.NoError(t, err)
		assert.Equal(t, out, written(t, back))
	})
}

func TestCSVCanBeReadAndHoldsNoFormula(t *testing.T) {
	c := cage(t)
	for _, name := range []string{"=1+1", "+a", "-a", "@a", "\ta", "\ra", "a,b", "a\"b", "a\nb", "plain", "'x", ""} {
		c.Bars[0].Name = name
		for _, write := range []func(*bytes.Buffer) error{
			func(b *bytes.Buffer) error { return WriteBends(b, c) },
			func(b *bytes.Buffer) error { return WriteBars(b, c) },
			func(b *bytes.Buffer) error { return WriteMarks(b, c) },
		} {
			var b bytes.Buffer
			require.NoError(t, write(&b))
			rows, err := csv.NewReader(&b).ReadAll()
			require.NoError(t, err)
			got := rows[1][0]
			if name != "" && strings.Contains("=+-@\t\r", name[:1]) {
				assert.Equal(t, "'"+name, got)
			} else {
				assert.Equal(t, name, got)
			}
		}
	}
}

func TestBendsOfWorkedExample(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WriteBends(&b, cage(t)))
	rows := strings.Split(b.String(), "\n")
	// references.md B3 (ii), C: bends 90, 90, rotation 90, straights 865/730/665.
	// The die bends 90 where 93 is set. Marks: 865, and 865 + 135 pi/2 + 730.
	assert.Equal(t, "bar,bend,feed_mm,rotation_deg,angle_deg,set_deg,mark_mm", rows[0])
	assert.Equal(t, "'=HOOP,1,865.0,0.0,90.0,93.0,865.0", rows[1])
	assert.Regexp(t, `^'=HOOP,2,730\.0,-?90\.0,90\.0,93\.0,1807\.1$`, rows[2])
	assert.Equal(t, "'=HOOP,tail,665.0,,,,", rows[3])
	assert.Equal(t, "brace,tail,1000.0,,,,", rows[7])
}

func TestFixed(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{1.25, 1, "1.2"}, {1.35, 1, "1.4"}, {-0.04, 1, "0.0"}, {0, 1, "0.0"}, {math.Copysign(0, -1), 2, "0.00"},
		{-0.06, 1, "-0.1"}, {math.NaN(), 1, ""}, {math.Inf(1), 1, ""}, {math.Inf(-1), 1, ""}, {1234567.89, 1, "1234567.9"},
		{-0.4, 0, "0"}, {-10, 0, "-10"},
	} {
		assert.Equal(t, c.want, Fixed(c.v, c.decimals), "%v", c.v)
	}
}

func TestRotationStaysInRange(t *testing.T) {
	for deg, want := range map[float64]string{180: "180.0", -179.97: "180.0", -179.94: "-179.9", 179.97: "180.0", -0.01: "0.0"} {
		assert.Equal(t, want, rotation(deg))
	}
}

func TestNumber(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", math.Copysign(0, -1): "0", 1.0 / 3: "0.333333333", -1e-12: "0", 60 * (1 + 1e-15): "60",
		1e-9: "0.000000001", 123456.7890123456: "123456.789012346", 1e22: "10000000000000000000000", math.Inf(1): "null", math.NaN(): "null",
	} {
		got, err := number(v).MarshalJSON()
		require.NoError(t, err)
		assert.Equal(t, want, string(got))
	}
}

func TestStatus(t *testing.T) {
	c := cage(t)
	assert.Equal(t, Error, CageStatus(c))
	assert.Equal(t, Error, Status(c, "brace"))
	assert.Equal(t, Warning, Status(c, "=HOOP"))
	assert.Equal(t, Warning, Status(c, "=HOOP (mirror)"), "the second bar of a clash counts")
	c.Findings = c.Findings[2:]
	assert.Equal(t, OK, Status(c, "=HOOP"), "a note is no blemish")
	assert.Equal(t, OK, CageStatus(c))
	for _, rule := range []string{"landing", "keepout"} {
		c.Findings = []fit.Finding{{Severity: fit.Error, Rule: rule, Bar: "brace", Other: "=HOOP"}}
		assert.Equal(t, OK, Status(c, "=HOOP"), "missed by another bar, or named like a keep-out")
	}
}
