package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// boxPLY is a box of 2.4 x 1.5 x 1.2 m in mm, as a text.
const boxPLY = `ply
format ascii 1.0
element vertex 8
property float x
property float y
property float z
element face 6
property list uchar int vertex_indices
end_header
0 0 0
2400 0 0
0 1500 0
2400 1500 0
0 0 1200
2400 0 1200
0 1500 1200
2400 1500 1200
4 0 2 3 1
4 4 5 7 6
4 0 1 5 4
4 2 6 7 3
4 0 4 6 2
4 1 3 7 5
`

const boxGuess = "unit guessed as mm, which makes it 2.4 x 1.5 x 1.2 m"

// quads is noted of a box of six faces with four corners.
const quads = "6 faces have more than three corners: they are cut into triangles from their first corner"

// replaced returns text with pairs of old and new replaced, each once.
func replaced(text string, pairs ...string) []byte {
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			panic(pairs[i] + " is not in the text")
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return []byte(text)
}

// oddPLYs are PLY files out of the ordinary, named x.ply in messages.
func oddPLYs() []oddFile {
	box := func(pairs ...string) []byte { return replaced(boxPLY, pairs...) }
	head, _, _ := strings.Cut(boxPLY, "0 0 0\n")
	little := string(plyOf(stlBox(2400, 1500, 1200), "binary_little_endian"))
	big := plyOf(stlBox(2400, 1500, 1200), "binary_big_endian")
	littleHead := strings.Index(little, "end_header\n") + len("end_header\n")
	vertex := func(i int) int { return littleHead + 12*i }    // offset in little
	face := func(i int) int { return littleHead + 96 + 13*i } // likewise
	both := []string{quads, boxGuess}
	return []oddFile{
		// What can be read.
		{name: "ascii", data: box(), triangles: 12, notes: both},
		{name: "little-endian", data: []byte(little), triangles: 12, notes: []string{boxGuess}},
		{name: "big-endian", data: big, triangles: 12, notes: []string{boxGuess}},
		{name: "CRLF", data: []byte(strings.ReplaceAll(boxPLY, "\n", "\r\n")), triangles: 12, notes: both},
		{name: "CR only", data: []byte(strings.ReplaceAll(boxPLY, "\n", "\r")), triangles: 12, notes: both},
		{name: "binary, CRLF in the header", data: []byte(strings.ReplaceAll(little[:littleHead], "\n", "\r\n") + little[littleHead:]), triangles: 12,
			notes: []string{boxGuess}},
		{name: "binary, CR in the header, values begin with LF", triangles: 1, unit: Millimetre,
			data: []byte(strings.ReplaceAll("ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty char x\nproperty char y\nproperty char z\n"+
				"element face 1\nproperty list char char vertex_index\nend_header\n", "\n", "\r") + "\n\x00\x00\x00\n\x00\x00\x00\n\x03\x00\x01\x02")},
		{name: "byte order mark", data: []byte("\xef\xbb\xbf" + boxPLY), triangles: 12,
			notes: []string{"a byte order mark at the start is skipped", quads, boxGuess}},
		{name: "blank behind ply", data: box("ply\n", "ply \t\n"), triangles: 12, notes: both},
		{name: "blank lines", data: box("format", "\nformat", "0 0 0", "\n\n0 0 0", "\n4 1 3", "\n \n4 1 3"), triangles: 12, notes: both},
		{name: "comments", data: box("element face", "comment\ncomment element vertex 8\nobj_info a b c d e f g\nelement face"), triangles: 12, notes: both},
		{name: "comment without the word", data: box("element vertex", "made by hand, in a hurry, too\nelement vertex"), triangles: 12,
			notes: []string{`not read: 1 lines of the header, first line 3: "made by hand, in a" ...`, quads, boxGuess}},
		{name: "comment of 600 kB", data: box("element face", "comment "+strings.Repeat("c ", 300_000)+"\nelement face"), triangles: 12, notes: both},
		{name: "no line end at the end", data: []byte(strings.TrimSpace(boxPLY)), triangles: 12, notes: both},
		{name: "text behind", data: []byte(boxPLY + "\nmade by hand\n"), triangles: 12,
			notes: []string{"text after the last element, first in line 25, is not read", quads, boxGuess}},
		{name: "binary, bytes behind", data: []byte(little + "\n\n"), triangles: 12,
			notes: []string{"not read: what comes after the last element, 2 of 424 bytes", boxGuess}},
		{name: "other elements and properties", triangles: 2, notes: []string{`not read: 1 elements "camera"`, `not read: 1 elements "edge"`, "1 faces have more than three corners: they are cut into triangles from their first corner",
			"unit guessed as mm, which makes it 2.4 x 1.5 x 0 m"},
			data: []byte("ply\nformat ascii 1.0\nelement none 99999999999\nelement camera 1\nproperty list uchar float matrix\nproperty int8 id\n" +
				"element vertex 4\nproperty uchar red\nproperty float z\nproperty list uchar char tags\nproperty float x\nproperty float y\nproperty float quality\n" +
				"element face 1\nproperty double area\nproperty list uchar int vertex_indices\nproperty list uchar float u\nelement edge 1\nproperty int a\nend_header\n" +
				"3 1 wide 1e999 7\n255 0 0 0 0 nan\n0 0 2 1 1 2400 0 ?\n0 0 0 2400 1500 inf\n0 0 1 5 0 1500 -1\nnan 4 0 1 2 3 0\n0\n")},
		{name: "pentagon, point and line", data: box("vertex_indices", "vertex_index", "4 0 2 3 1", "5 0 2 3 1 0", "4 4 5 7 6", "2 4 5", "4 0 1 5 4", "1 0", "4 2 6 7 3", "0"),
			triangles: 6, notes: []string{"3 faces have more than three corners: they are cut into triangles from their first corner",
				"3 faces have fewer than three corners: they are left out", boxGuess}},
		{name: "vertices without a face", data: box("vertex 8", "vertex 9", "2400 1500 1200\n", "2400 1500 1200\n9e9 9e9 9e9\n"), triangles: 12,
			notes: []string{quads, "1 of 9 vertices belong to no triangle: they are left out", boxGuess}},
		{name: "negative zero and underflow", data: box("0 0 0", "-0 1e-60 -1e-39"), triangles: 12, notes: both},
		{name: "far from its origin, float", data: box("0 0 0", "4e9 0 0"), unit: Millimetre, triangles: 12,
			notes: []string{quads, "coordinates reach 4e+06 m, where the file resolves only 4.8e+02 mm"}},
		{name: "far from its origin, double", data: box("float x", "double x", "float y", "double y", "float z", "double z", "0 0 0", "4e9 0 0"), unit: Millimetre, triangles: 12,
			notes: []string{quads}},

		// What cannot: the header.
		{name: "ply only", data: []byte("ply"), err: "x.ply:1: truncated: the file ends in the header"},
		{name: "header only half", data: []byte("ply\nformat ascii 1.0\nelement ver"), err: `x.ply:3: not a line of a PLY header: "element ver"`},
		{name: "no end_header", data: []byte("ply\nformat ascii 1.0\nelement vertex 8\n"), err: "x.ply:4: truncated: the file ends in the header"},
		{name: "no format", data: box("format ascii 1.0\n", ""), err: `x.ply:8: no line "format" before the end of the header`},
		{name: "format twice", data: box("element face", "format ascii 1.0\nelement face"), err: `x.ply:7: not a line of a PLY header: "format ascii 1.0"`},
		{name: "unknown format", data: box("ascii", "binary"), err: `x.ply:2: unknown format "binary": ascii, binary_little_endian or binary_big_endian`},
		{name: "unknown version", data: box("1.0", "1.1"), err: `x.ply:2: unknown version "1.1" of the format: there is only 1.0`},
		{name: "element of four words", data: box("element face", "element of face"), err: `x.ply:7: not a line of a PLY header: "element of face 6"`},
		{name: "misspelt keyword", data: box("element face", "elemnt face"), err: `x.ply:9: no triangles: no element "face" in the header`},
		{name: "seven words", data: box("float x", "float x in the car's frame"), err: `x.ply:4: not a line of a PLY header: "property float x in the" ...`},
		{name: "unknown type", data: box("float y", "real y"), err: `x.ply:5: unknown type "real" of property "y"`},
		{name: "unknown type of a length", data: box("uchar int", "byte int"), err: `x.ply:8: unknown type "byte" of property "vertex_indices"`},
		{name: "length as a float", data: box("uchar int", "float int"), err: "x.ply:8: the length of a list cannot be of type float"},
		{name: "property before an element", data: box("element vertex 8\n", ""), err: `x.ply:3: property "x" before the first element`},
		{name: "count of words", data: box("vertex 8", "vertex eight"), err: `x.ply:3: a number of elements expected, found "eight"`},
		{name: "negative count", data: box("vertex 8", "vertex -8"), err: `x.ply:3: a number of elements expected, found "-8"`},
		{name: "count beyond int64", data: box("face 6", "face 99999999999999999999"), err: `x.ply:7: a number of elements expected, found "99999999999999999999"`},
		{name: "vertices twice", data: box("element face", "element vertex 3\nelement face"), err: `x.ply:7: a second element "vertex"`},
		{name: "x twice", data: box("float y", "float x"), err: `x.ply:5: a second property "x"`},
		{name: "both lists", data: box("end_header", "property list uchar int vertex_index\nend_header"), err: `x.ply:9: a second property "vertex_index"`},
		{name: "x as a list", data: box("float x", "list uchar float x"), err: `x.ply:4: property "x" must not be a list`},
		{name: "corners as a value", data: box("list uchar int", "int"), err: `x.ply:8: property "vertex_indices" must be a list`},
		{name: "no z", data: box("property float z\n", ""), err: `x.ply:8: element "vertex" has no property "z"`},
		{name: "no vertices", data: box("element vertex", "element point"), err: `x.ply:9: no element "vertex" in the header`},
		{name: "no faces", data: box("element face", "element edge"), err: `x.ply:9: no triangles: no element "face" in the header`},
		{name: "no corners", data: box("vertex_indices", "corners"), err: `x.ply:9: element "face" has no list "vertex_indices" or "vertex_index"`},
		{name: "too many vertices", data: box("vertex 8", "vertex 150000001"), err: "x.ply:3: 150000001 vertices, more than the 150000000 that can be read"},
		{name: "too many faces", data: box("face 6", "face 50000001"), err: "x.ply:7: 50000001 faces, more than the 50000000 that can be read"},
		{name: "more vertices than bytes", data: box("vertex 8", "vertex 100000000"),
			err: `x.ply: truncated: the header promises 100000000 elements "vertex" of at least 5 bytes, the file has 306 bytes`},
		{name: "binary, more faces than bytes", data: replaced(little, "face 12", "face 50000000"),
			err: `x.ply: truncated: the header promises 50000000 elements "face" of at least 1 bytes, the file has 428 bytes`},
		{name: "more edges than bytes", data: box("end_header", "element edge 9223372036854775807\nproperty int a\nend_header"),
			err: `x.ply: truncated: the header promises 9223372036854775807 elements "edge" of at least 1 bytes, the file has 346 bytes`},

		// The values.
		{name: "count 0", data: []byte(strings.Replace(head, "vertex 8", "vertex 0", 1)), err: "x.ply:10: truncated: the file ends in face 1 of 6"},
		{name: "no vertex and no face", data: []byte(strings.NewReplacer("vertex 8", "vertex 0", "face 6", "face 0").Replace(head)), err: "x.ply: no triangles: 0 vertices but no face"},
		{name: "no face", data: []byte(strings.NewReplacer("vertex 8", "vertex 1", "face 6", "face 0").Replace(head) + "0 0 0\n"), err: "x.ply: no triangles: 1 vertices but no face"},
		{name: "only lines", data: []byte(strings.NewReplacer("vertex 8", "vertex 1", "face 6", "face 2").Replace(head) + "0 0 0\n2 0 0\n0\n"),
			err: "x.ply: no triangles: none of the 2 faces has three corners"},
		{name: "only degenerate", data: []byte(strings.NewReplacer("vertex 8", "vertex 2", "face 6", "face 2").Replace(head) + "0 0 0\n2400 0 0\n4 0 1 0 1\n3 1 1 1\n"), unit: Millimetre,
			err: "x.ply: none of the 3 triangles has an area"},
		{name: "truncated in a vertex", data: []byte(boxPLY[:strings.Index(boxPLY, " 1500 0\n2400")]), err: "x.ply:12: truncated: the file ends in vertex 3 of 8"},
		{name: "truncated in a face", data: []byte(boxPLY[:len(boxPLY)-3]), err: "x.ply:23: truncated: the file ends in face 6 of 6"},
		{name: "truncated before a face", data: []byte(boxPLY[:strings.Index(boxPLY, "4 1 3")]), err: "x.ply:23: truncated: the file ends in face 6 of 6"},
		{name: "binary, truncated in a vertex", data: []byte(little[:vertex(6)+5]), err: "x.ply: truncated: the file ends in vertex 7 of 8"},
		{name: "binary, truncated in a face", data: []byte(little[:face(11)+9]), err: "x.ply: truncated: the file ends in face 12 of 12"},
		{name: "binary, truncated in a length", data: []byte(little[:face(11)]), err: "x.ply: truncated: the file ends in face 12 of 12"},
		{name: "truncated in an edge", data: []byte(strings.Replace(boxPLY, "end_header", "element edge 2\nproperty int a\nproperty int b\nend_header", 1) + "0 1\n"),
			err: `x.ply:28: truncated: the file ends in element "edge" 2 of 2`},
		{name: "NaN", data: box("\n0 1500 0\n", "\n0 nan 0\n"), err: `x.ply:12: vertex 3: coordinate is not finite: "nan"`},
		{name: "infinite", data: box("\n0 1500 0\n", "\n0 -inf 0\n"), err: `x.ply:12: vertex 3: coordinate is not finite: "-inf"`},
		{name: "overflow", data: box("\n0 1500 0\n", "\n0 1e39 0\n"), err: `x.ply:12: vertex 3: coordinate is not finite: "1e39"`},
		{name: "binary, NaN", data: patched([]byte(little), vertex(2)+4, nanBits...), err: "x.ply: vertex 3: not finite: (0, NaN, 0)"},
		{name: "binary, infinite", data: patched([]byte(little), vertex(7), infBits...), err: "x.ply: vertex 8: not finite: (-Inf, 1500, 1200)"},
		{name: "double beyond float", data: box("float y", "double y", "\n0 1500 0\n", "\n0 1e39 0\n"), err: "x.ply:12: vertex 3: too large: (0, 1e+39, 0)"},
		{name: "word for a number", data: box("\n0 1500 0\n", "\n0 wide 0\n"), err: `x.ply:12: vertex 3: a coordinate expected, found "wide"`},
		{name: "decimal comma", data: box("\n0 1500 0\n", "\n0 1500,0 0\n"), err: `x.ply:12: vertex 3: a coordinate expected, found "1500,0"`},
		{name: "two coordinates", data: box("\n0 1500 0\n", "\n0 1500\n"), err: "x.ply:12: vertex 3: the line ends where a value should come"},
		{name: "four coordinates", data: box("\n0 1500 0\n", "\n0 1500 0 1\n"), err: `x.ply:12: vertex 3: the line goes on with "1"`},
		{name: "face too short", data: box("4 4 5 7 6", "4 4 5 7"), err: "x.ply:19: face 2: the line ends where a value should come"},
		{name: "face too long", data: box("4 4 5 7 6", "3 4 5 7 6"), err: `x.ply:19: face 2: the line goes on with "6"`},
		{name: "index out of range", data: box("4 4 5 7 6", "4 4 5 7 8"), err: "x.ply:19: face 2: vertex 8 is out of range: there are 8, counted from 0"},
		{name: "negative index", data: box("4 4 5 7 6", "4 4 5 7 -1"), err: "x.ply:19: face 2: vertex -1 is out of range: there are 8, counted from 0"},
		{name: "index as a fraction", data: box("4 4 5 7 6", "4 4 5 7 6.5"), err: `x.ply:19: face 2: a whole number expected, found "6.5"`},
		{name: "negative length", data: box("4 4 5 7 6", "-4 4 5 7 6"), err: "x.ply:19: face 2: a list of length -4"},
		{name: "binary, index out of range", data: patched([]byte(little), face(4)+5, 8), err: "x.ply: face 5: vertex 8 is out of range: there are 8, counted from 0"},
		{name: "binary, index of four billion", data: patched(bytes.Replace([]byte(little), []byte("uchar int"), []byte("uchar uint"), 1), face(4)+6, 255, 255, 255, 255),
			err: "x.ply: face 5: vertex 4294967295 is out of range: there are 8, counted from 0"},
		{name: "binary, negative length", data: patched(bytes.Replace([]byte(little), []byte("uchar int"), []byte("int8 int"), 1), face(4)-1, 0xfd),
			err: "x.ply: face 5: a list of length -3"},
		{name: "binary, index as a fraction", data: patched(bytes.Replace([]byte(little), []byte("uchar int"), []byte("uchar float"), 1), face(0)+3, 0, 0, 0xc0, 0x3f),
			err: "x.ply: face 1: a whole number expected, found 1.5"},
		{name: "binary, length of two billion", data: patched([]byte(strings.Replace(little, "uchar int vertex_indices", "uint char vertex_indices", 1)), face(0), 1, 2, 3, 127),
			err: "x.ply: truncated: the file ends in face 1 of 12"},
		{name: "plyable", data: []byte("plywood\n"), err: `x.ply: not an STL, PLY or OBJ file: a text that begins with "plywood"`},
	}
}

func TestOddPLY(t *testing.T) { testOddFiles(t, "x.ply", oddPLYs()) }

// TestCube reads the cube with which the format's description shows an ASCII
// file: 8 vertices and 6 faces of four corners. Source: paulbourke.net/dataformats/ply,
// references.md F, status V; the numbers of the values themselves from memory. The
// rest follows from its being a cube of side 1.
func TestCube(t *testing.T) {
	f, err := os.Open("testdata/cube.ply")
	require.NoError(t, err)
	defer f.Close()
	m, rep, err := Read(f, ReadOptions{Unit: Metre})
	require.NoError(t, err)
	assert.Equal(t, "ASCII PLY", rep.Format)
	assert.Len(t, m.Vertices, 8)
	assert.Len(t, m.Triangles, 2*6)
	pieces := Components(m)
	require.Len(t, pieces, 1)
	assert.Zero(t, pieces[0].OpenEdges)
	assert.InDelta(t, 6e6, pieces[0].Area, 1e-6)
	volume := 0.0
	for i := range m.Triangles {
		a, b, c := m.Corners(i)
		volume += a.Dot(b.Cross(c)) / 6
	}
	assert.InDelta(t, 1e9, math.Abs(volume), 1e-3, "the faces all turn the same way")
}

// plySample is the box as a PLY file whose types are the given ones.
func plySample(format, coordinate, length, index string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "ply\nformat %s 1.0\nelement vertex 8\nproperty %[2]s z\nproperty %[2]s x\nproperty %[2]s y\n"+
		"element face 6\nproperty list %[3]s %[4]s vertex_index\nend_header\n", format, coordinate, length, index)
	put := func(kind string, x int) {
		if format == "ascii" {
			fmt.Fprint(&b, x, " ")
			return
		}
		var order binary.ByteOrder = binary.LittleEndian
		if format == "binary_big_endian" {
			order = binary.BigEndian
		}
		var value any
		switch kind {
		case "char", "int8":
			value = int8(x)
		case "uchar", "uint8":
			value = uint8(x)
		case "short", "int16":
			value = int16(x)
		case "ushort", "uint16":
			value = uint16(x)
		case "int", "int32":
			value = int32(x)
		case "uint", "uint32":
			value = uint32(x)
		case "float", "float32":
			value = float32(x)
		case "double", "float64":
			value = float64(x)
		}
		if err := binary.Write(&b, order, value); err != nil {
			panic(err)
		}
	}
	for i := range 8 {
		put(coordinate, 120*(i>>2))
		put(coordinate, 100*(i&1))
		put(coordinate, 110*(i>>1&1))
		if format == "ascii" {
			b.WriteByte('\n')
		}
	}
	for _, q := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		put(length, 4)
		for _, i := range q {
			put(index, i)
		}
		if format == "ascii" {
			b.WriteByte('\n')
		}
	}
	return b.Bytes()
}

// TestPLYTypes reads a box in every format with every type under both its names,
// for coordinates, lengths and indices. The values are put down with
// encoding/binary.
func TestPLYTypes(t *testing.T) {
	whole := []string{"char", "int8", "uchar", "uint8", "short", "int16", "ushort", "uint16", "int", "int32", "uint", "uint32"}
	all := append([]string{"float", "float32", "double", "float64"}, whole...)
	want := stlBox(1000, 1100, 1200)
	for _, format := range []string{"ascii", "binary_little_endian", "binary_big_endian"} {
		for _, coordinate := range all {
			for _, length := range whole {
				for _, index := range all {
					m, _, err := Read(bytes.NewReader(plySample(format, coordinate, length, index)), ReadOptions{Unit: Centimetre})
					require.NoError(t, err)
					if !assert.Equal(t, want, m, "%s, %s, %s, %s", format, coordinate, length, index) {
						return
					}
				}
			}
		}
	}
	// With the sign bit: what is -1 as a char is 255 as an uchar.
	for kind, x := range map[string]float64{"char": -1, "uchar": 255, "short": -1, "ushort": 65535, "int": -1, "uint": 4294967295} {
		data := plySample("binary_little_endian", kind, "char", "char")
		at := bytes.Index(data, []byte("end_header\n")) + len("end_header\n")
		for i := range plySizes[plyTypes[kind]] {
			data[at+int(i)] = 0xff
		}
		m, _, err := Read(bytes.NewReader(data), ReadOptions{Unit: Millimetre})
		require.NoError(t, err)
		assert.Equal(t, r3.Vector{Z: x}, m.Vertices[0], kind)
	}
}

// TestPLYFormatsAgree writes one shell in the three formats: the meshes are
// equal bit for bit, a value of type float being rounded to float32 in a text, too.
func TestPLYFormatsAgree(t *testing.T) {
	m := scanOf(3000)
	var want *Mesh
	for _, format := range []string{"binary_little_endian", "binary_big_endian", "ascii"} {
		got, rep, err := Read(bytes.NewReader(plyOf(m, format)), ReadOptions{})
		require.NoError(t, err)
		assert.Equal(t, len(m.Triangles), rep.Triangles)
		if want == nil {
			want = got
		}
		assert.Equal(t, want, got, format)
	}
	require.Len(t, want.Vertices, len(m.Vertices))
	assert.Equal(t, m.Triangles, want.Triangles, "vertices keep their numbers")
	for i, v := range m.Vertices {
		f := toFloat32(v)
		require.Equal(t, r3.Vector{X: float64(f[0]), Y: float64(f[1]), Z: float64(f[2])}, want.Vertices[i])
	}
}
