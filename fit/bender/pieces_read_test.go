package bender_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/bender"
	"barwright/fit/job"
)

const goodTOML = `# two pieces
units = "mm"
die = "d44"
od = 44.45
wall = 2.41
clr = 152.4
material = "1020 DOM"
angle_error = 0.2

[[piece]]
name = "A"
date = 2026-11-02
length = 650
mark = 200
set = 31.4
angle = 30.0
leg_a = 250.5
leg_b = 380.25
to = "outside"
[[piece]]
date = "the 3rd"
length = 650
mark = 200.0
set = 93.1
angle = 90.2
leg_a = 380.0
leg_b = 388.0
to = "inside"
chord = 150
height = 17.5
chord_on = "outside"
smallest = 42.9
largest = 45.2
`

const goodCSV = "\ufeffunits;die;od;name;length;set;angle;mark;leg_a;leg_b;to\r\n" +
	"# tape and level\r\n" +
	"in;d175;1,75;A;25,5;31,4;30;8;10,125;15;outside\r\n" +
	";;;B;25,5;93,1;90,2;8;15;15,25;outside\r\n" +
	";;;;;;;;;;\r\n"

func TestReadPieces(t *testing.T) {
	f, err := bender.ReadPieces("p.toml", []byte(goodTOML))
	require.NoError(t, err)
	assert.Equal(t, job.MM, f.Unit)
	assert.Equal(t, bender.Setting{Name: "d44", OD: 44.45, CLR: 152.4, Noise: bender.Noise{Angle: 0.2 * s1.Degree}}, f.Setting)
	assert.Equal(t, 2.41, f.Wall)
	assert.Equal(t, "1020 DOM", f.Material)
	require.Len(t, f.Pieces, 2)
	assert.Equal(t, bender.Piece{
		Name: "A", Date: "2026-11-02", Length: 650, Mark: 200, Set: 31.4 * s1.Degree, Angle: 30 * s1.Degree,
		LegA: 250.5, LegB: 380.25, Legs: bender.EdgeOutside,
	}, f.Pieces[0])
	assert.Equal(t, "2", f.Pieces[1].Name)
	assert.Equal(t, "the 3rd", f.Pieces[1].Date)
	assert.Equal(t, bender.EdgeInside, f.Pieces[1].Legs)
	assert.Equal(t, bender.EdgeOutside, f.Pieces[1].ChordOn)
	assert.Equal(t, []float64{150, 17.5, 42.9, 45.2}, []float64{f.Pieces[1].Chord, f.Pieces[1].Height, f.Pieces[1].Smallest, f.Pieces[1].Largest})
	assert.Equal(t, job.Position{Line: 17, Column: 9}, f.Place(0, "leg_a"))
	assert.Equal(t, job.Position{Line: 20, Column: 3}, f.Place(1, "name"))
	assert.Equal(t, job.Position{Line: 6, Column: 7}, f.Place(-1, "clr"))

	f, err = bender.ReadPieces("p.CSV", []byte(goodCSV))
	require.NoError(t, err)
	assert.Equal(t, job.Inch, f.Unit)
	require.Len(t, f.Pieces, 2)
	assert.InDelta(t, 44.45, f.Setting.OD, 1e-12)
	assert.InDelta(t, 10.125*25.4, f.Pieces[0].LegA, 1e-12)
	assert.InDelta(t, 90.2, f.Pieces[1].Angle.Degrees(), 1e-12)
	assert.Equal(t, "B", f.Pieces[1].Name)
	assert.Equal(t, job.Position{Line: 3, Column: 31}, f.Place(0, "leg_a"))

	// Commas, numbers with points.
	f, err = bender.ReadPieces("p.csv", []byte("set,angle,name,,\n31.4,30,\"a, b\",,\n"))
	require.NoError(t, err)
	assert.Equal(t, "a, b", f.Pieces[0].Name)
}

func TestReadPiecesErrors(t *testing.T) {
	toml := func(old, new string) string {
		if old == "" {
			return new
		}
		text := strings.Replace(goodTOML, old, new, 1)
		if text == goodTOML {
			panic(old)
		}
		return text
	}
	for _, c := range []struct {
		file, text string
		want       []string
	}{
		{"p.toml", "", []string{"p.toml:1:1: there is no [[piece]] in the file"}},
		{"p.toml", "od = 40", []string{"p.toml:1:1: there is no [[piece]] in the file"}},
		{"p.toml", toml(`leg_a = 250.5`, `leg_c = 250.5`), []string{`p.toml:17:1: unknown key of a piece "leg_c" (known: name, date, length, mark, set, angle, leg_a, leg_b, to, chord, height, chord_on, smallest, largest)`}},
		{"p.toml", toml(`wall`, `walls`), []string{`p.toml:5:1: unknown key "walls" (known: units, die, od, wall, clr, material, length_error, angle_error, set_error, diameter_error)`}},
		{"p.toml", toml(`leg_a = 250.5`, `leg_a = "250.5"`), []string{`p.toml:17:9: piece "A": leg_a must be a number, got a text`}},
		{"p.toml", toml(`leg_a = 250.5`, `leg_a = [1]`), []string{`p.toml:17:9: piece "A": leg_a must be a number, got a list`}},
		{"p.toml", toml(`leg_a = 250.5`, `leg_a = -3`), []string{`p.toml:17:9: piece "A": leg_a must be 0.1 to 10000 mm, got -3 mm`}},
		{"p.toml", toml(`leg_a = 250.5`, `leg_a = nan`), []string{`p.toml:17:9: piece "A": leg_a must be 0.1 to 10000 mm, got nan mm`}},
		{"p.toml", toml(`leg_a = 250.5`, `leg_a = 250,5`), []string{`p.toml:17:12: not valid TOML: expected newline but got U+002C ','`}},
		{"p.toml", toml(`leg_a = 250.5`, "leg_a = 250.5\nleg_a = 251"), []string{`p.toml:18:1: leg_a is already given in line 17`}},
		{"p.toml", toml(`to = "outside"`, `to = "back"`), []string{`p.toml:19:6: piece "A": to must be one of outside, inside, got "back"`}},
		{"p.toml", toml(`set = 31.4`, ``), []string{`p.toml:10:3: piece "A": set is missing`}},
		{"p.toml", toml(`od = 44.45`, `od = 1.75`), []string{`p.toml:4:6: od must be 5 to 500 mm, got 1.75 mm; are the lengths in inches, with units = "in"?`}},
		{"p.toml", toml(`units = "mm"`, `units = "cm"`), []string{`p.toml:2:9: units must be one of mm, in, got "cm"`}},
		{"p.toml", toml(`wall = 2.41`, `wall = 24.1`), []string{`p.toml:5:8: wall must be less than half of od, got 24.1`}},
		{"p.toml", toml(`clr = 152.4`, `clr = 15.24`), []string{`p.toml:6:7: clr must be more than half of od, got 15.24`}},
		{"p.toml", toml(`[[piece]]`, `[piece]`), []string{`p.toml:10:2: unknown table "piece": there are the keys of the die, and then a [[piece]] for each piece`}},
		{"p.toml", toml(`date = "the 3rd"`, `name = "A"`), []string{`p.toml:21:8: piece "A": the name is taken by the piece in line 11`}},
		{"p.toml", toml(`name = "A"`, `name = "A\u0007"`), []string{`p.toml:11:8: piece 1: name must be one line without control characters`}},
		{"p.toml", "\x00", []string{"p.toml:1:1: not a text file: byte 0x00"}},
		{"p.toml", strings.Repeat("[[piece]]\n", 101), []string{"p.toml:101:3: more than 100 pieces in one file"}},
		{"p.toml", strings.Repeat("#", 600000), []string{"p.toml:1:1: the file has 600000 bytes, must have at most 524288"}},
		{"p.csv", "", []string{"p.csv:1:1: there are no test pieces in the file: a first row with the names of the columns, then one row for each piece"}},
		{"p.csv", "set,angle\n", []string{"p.csv:1:1: there are no test pieces in the file: a first row with the names of the columns, then one row for each piece"}},
		{"p.csv", "set,angel,set\n3,3\n", []string{
			`p.csv:1:5: unknown column "angel" (known: units, die, od, wall, clr, material, length_error, angle_error, set_error, diameter_error, name, date, length, mark, set, angle, leg_a, leg_b, to, chord, height, chord_on, smallest, largest)`,
			`p.csv:1:11: column "set" is there twice`,
		}},
		{"p.csv", "set,angle\n31,4,30\n", []string{`p.csv:2:6: this row has 3 fields, the first row names 2: a decimal comma needs semicolons between the fields`}},
		{"p.csv", "set,angle,od\n31,30,40\n31,30,41\n", []string{`p.csv:3:7: od is "41" here and "40" in line 2: a file is about one die`}},
		{"p.csv", "set,angle,\n31,30,x\n", []string{`p.csv:2:7: "x" stands in a column without a name`}},
		{"p.csv", "set,angle\n31,30mm\n", []string{`p.csv:2:4: piece 1: angle must be a number, got "30mm"`}},
		{"p.csv", "set,angle\n31,\"30\n", []string{`p.csv:3:1: not valid CSV: extraneous or missing " in quoted-field`}},
		{"p.csv", "set,angle\nInf,0x1p4\n", []string{`p.csv:2:1: piece 1: set must be a number, got "Inf"`, `p.csv:2:5: piece 1: angle must be a number, got "0x1p4"`}},
	} {
		_, err := bender.ReadPieces(c.file, []byte(c.text))
		var parse job.ParseErrors
		require.ErrorAs(t, err, &parse, "%.60q", c.text)
		assert.Equal(t, strings.Join(c.want, "\n"), err.Error(), "%.200q", c.text)
	}
}

// FuzzReadPieces feeds bytes to the reader and what it reads to the solver: an
// error of whole lines, or finite values.
func FuzzReadPieces(f *testing.F) {
	f.Add([]byte(goodTOML), false)
	f.Add([]byte(goodCSV), true)
	f.Add([]byte("set,angle\n31.4,30\n"), true)
	f.Add([]byte("[[piece]]\nset = 1e309\nangle = 0b1\n'to'\t=\t'inside'\n\"leg_a\"=0x_1"), false)
	f.Add([]byte("date = {a=1}\n[[piece]]\ndate = 10:00:00\nset=1_0\nangle=9"), false)
	f.Fuzz(func(t *testing.T, data []byte, isCSV bool) {
		name := "p.toml"
		if isCSV {
			name = "p.csv"
		}
		file, err := bender.ReadPieces(name, data)
		if err != nil {
			var parse job.ParseErrors
			require.ErrorAs(t, err, &parse)
			for _, e := range parse {
				require.GreaterOrEqual(t, e.Pos.Line, 1)
				require.GreaterOrEqual(t, e.Pos.Column, 1)
				require.NotContains(t, e.Error(), "\n")
			}
			return
		}
		c, err := bender.Solve(file.Pieces, file.Setting)
		if err != nil {
			var wrong *bender.Contradiction
			if errors.As(err, &wrong) {
				require.NotEmpty(t, wrong.Faults)
				for _, fault := range wrong.Faults {
					file.Place(fault.Piece, fault.Key)
				}
			}
			return
		}
		for _, v := range []bender.Value{c.CLR, c.Stretch, c.Offset, c.A, c.B, c.Loaded, c.Roundness, c.Ovality} {
			require.False(t, math.IsNaN(v.Value) || math.IsInf(v.Value, 0) || math.IsNaN(v.Half))
		}
		require.NotEmpty(t, c.Block(file.Unit))
	})
}
