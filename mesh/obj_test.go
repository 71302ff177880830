package mesh

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// boxOBJ is a box of 2.4 x 1.5 x 1.2 m in mm.
const boxOBJ = `# invented box
v 0 0 0
v 2400 0 0
v 0 1500 0
v 2400 1500 0
v 0 0 1200
v 2400 0 1200
v 0 1500 1200
v 2400 1500 1200
f 1 3 4 2
f 5 6 8 7
f 1 2 6 5
f 3 7 8 4
f 1 5 7 3
f 2 4 8 6
`

// oddOBJs are OBJ files out of the ordinary, named x.obj in messages.
func oddOBJs() []oddFile {
	box := func(pairs ...string) []byte { return replaced(boxOBJ, pairs...) }
	vertices, faces, _ := strings.Cut(boxOBJ, "f ")
	faces = "f " + faces
	both := []string{quads, boxGuess}
	return []oddFile{
		// What can be read.
		{name: "box", data: box(), triangles: 12, notes: both},
		{name: "CRLF", data: []byte(strings.ReplaceAll(boxOBJ, "\n", "\r\n")), triangles: 12, notes: both},
		{name: "CR only", data: []byte(strings.ReplaceAll(boxOBJ, "\n", "\r")), triangles: 12, notes: both},
		{name: "byte order mark", data: []byte("\xef\xbb\xbf" + boxOBJ), triangles: 12, notes: append([]string{"a byte order mark at the start is skipped"}, both...)},
		{name: "no line end at the end", data: []byte(strings.TrimSpace(boxOBJ)), triangles: 12, notes: both},
		{name: "blanks", data: []byte("\n\t\n" + strings.NewReplacer(" ", " \t ", "\n", " \n\n  ").Replace(boxOBJ)), triangles: 12, notes: both},
		{name: "comments", data: box("2400 0 0\n", "2400 0 0 #edge\n# f 1 2 9\\\n#\n", "f 1 3 4 2", "f 1 3 4 2 # the floor 9"), triangles: 12, notes: both},
		{name: "comment of 600 kB", data: []byte("# " + strings.Repeat("c ", 300_000) + "\n" + boxOBJ), triangles: 12, notes: both},
		{name: "weights and colours", data: box("2400 0 0", "2400 0 0 1.0", "0 1500 0", "0 1500 0 0.2 0.2 0.9", "2400 1500 0", "2400 1500 0 nan"), triangles: 12, notes: both},
		{name: "corners of all forms", data: box("1 3 4 2", "1/1 3/1 4/99 2/-1", "5 6 8 7", "5//1 6//1 8//1 7//1", "1 2 6 5", "1/1/1 2/2/2 6/3/3 5/4/4", "3 7 8 4", "3/ 7/ 8// 4//"),
			triangles: 12, notes: both},
		{name: "negative numbers", data: box("1 3 4 2", "-8 -6 -5 -7", "5 6 8 7", "-4/-1 -3/1 -1//-2 7"), triangles: 12, notes: both},
		{name: "negative numbers between vertices", data: []byte("v 0 0 0\nv 2400 0 0\nv 0 1500 0\nf -3 -2 -1\nv 0 0 1200\nf -4 -2 -1\n"), triangles: 2, notes: []string{boxGuess}},
		{name: "faces before vertices", data: []byte("v 0 0 0\n" + faces + vertices[strings.Index(vertices, "v 2400"):]), triangles: 12, notes: both},
		{name: "continued lines", data: box("0 1500 0", "0 1500\\\n0", "2400 1500 0", "2400 \\\n \\\n1500 \\ \t\n0", "1 3 4 2", "1 3 \\\n4\\\n2"), triangles: 12, notes: both},
		{name: "continued lines, CRLF", data: []byte(strings.ReplaceAll(string(box("0 1500 0", "0 1500\\\n0", "1 3 4 2", "1 3 \\\n4\\\n2")), "\n", "\r\n")), triangles: 12, notes: both},
		{name: "continued line that is skipped", data: box("2400 0 0\n", "2400 0 0\nusemtl grey \\\nv 1 2 3\n"), triangles: 12, notes: both},
		{name: "backslash within a word", data: box("v 0 0 0", "mtllib C:\\scans\\box.mtl\nv 0 0 0"), triangles: 12, notes: both},
		{name: "backslash at the end", data: []byte(boxOBJ + "f 1 2 3 \\"), triangles: 13, notes: both},
		{name: "objects and groups", data: box("# invented box", "mtllib box.mtl\no floor", "f 5 6", "o roof\ng a\ns off\nusemtl b\nf 5 6", "f 1 2", "g b c\nf 1 2", "f 2 4", "g empty\ng d\nvt 0 0\nvn 0 0 1\nf 2 4"), triangles: 12,
			notes: []string{"4 solids are read as one mesh", quads, boxGuess}},
		{name: "lines and surfaces", data: box("f 5 6", "l 1 2 3\np 4\nsurf 0 1 0 1 1 2\nf 5 6"), triangles: 12,
			notes: []string{`not read: 3 lines that are neither vertex nor face, the first "l" in line 11`, quads, boxGuess}},
		{name: "upper case is not a keyword", data: box("f 5 6", "F 5 6"), triangles: 10,
			notes: []string{`not read: 1 lines that are neither vertex nor face, the first "F" in line 11`, strings.Replace(quads, "6", "5", 1), boxGuess}},
		{name: "vertices without a face, faces without corners", data: box("v 2400 1500 1200", "v 2400 1500 1200\nv 9e9 0 0", "f 5 6", "f\nf 1\nf 1 2\nf 5 6"), triangles: 12,
			notes: []string{quads, "3 faces have fewer than three corners: they are left out", "1 of 9 vertices belong to no triangle: they are left out", boxGuess}},
		{name: "far from its origin", data: box("v 0 0 0", "v 4e9 0 0"), unit: Millimetre, triangles: 12, notes: []string{quads}},
		{name: "no comment, many objects first", data: []byte(strings.Repeat("g a_group_without_a_face\n", 400) + boxOBJ), triangles: 12, notes: both},

		// What cannot.
		{name: "empty", err: "x.obj: the file is empty"},
		{name: "blank", data: []byte("\n\n"), err: "x.obj: the file is blank"},
		{name: "comment only", data: []byte("# nothing\n"), err: "x.obj: no triangles: 0 vertices but no face"},
		{name: "another text", data: []byte("Measurements of the cabin\n1500 x 1200\n"), err: `x.obj:1: not an OBJ file: a line that begins with "Measurements"`},
		{name: "web page", data: []byte("<html></html>"), err: "x.obj: not an STL, PLY or OBJ file but a web page (HTML)"},
		{name: "no face", data: []byte(vertices), err: "x.obj: no triangles: 8 vertices but no face"},
		{name: "a sketch", data: []byte(vertices + "o main hoop\nl 1 2 3 4\n"), err: "x.obj: no triangles: 8 vertices but no face"},
		{name: "no vertex", data: []byte(faces), err: "x.obj:2: face 2: vertex 8 is out of range: there are 0, counted from 1"},
		{name: "only lines as faces", data: []byte(vertices + "f 1 2\nf 2 3\n"), err: "x.obj: no triangles: none of the 2 faces has three corners"},
		{name: "only degenerate", data: []byte(vertices + "f 1 2 1\nf 3 3 3\n"), unit: Millimetre, err: "x.obj: none of the 2 triangles has an area"},
		{name: "number 0", data: box("f 5 6 8", "f 5 6 0"), err: "x.obj:11: face 2: vertex 0 is out of range: there are 8, counted from 1"},
		{name: "number too large", data: box("f 5 6 8", "f 5 6 9", "f 3 7", "f 3 9"), err: "x.obj:11: face 2: vertex 9 is out of range: there are 8, counted from 1"},
		{name: "number of ten digits", data: box("f 5 6 8", "f 5 6 4294967297"), err: "x.obj:11: face 2: vertex 4294967297 is out of range: there are 8, counted from 1"},
		{name: "number of twenty digits", data: box("f 5 6 8", "f 5 6 18446744073709551617"), err: `x.obj:11: face 2: a corner expected, found "18446744073709551617"`},
		{name: "negative number too large", data: box("f 5 6 8", "f 5 6 -9"), err: "x.obj:11: face 2: vertex -9 is out of range: there are 8 before this line"},
		{name: "negative number ahead", data: []byte("v 0 0 0\nf -1 -2 -3\n"), err: "x.obj:2: face 1: vertex -2 is out of range: there are 1 before this line"},
		{name: "word for a corner", data: box("f 5 6 8", "f 5 six 8"), err: `x.obj:11: face 2: a corner expected, found "six"`},
		{name: "fraction for a corner", data: box("f 5 6 8", "f 5 6.5 8"), err: `x.obj:11: face 2: a corner expected, found "6.5"`},
		{name: "corner without a vertex", data: box("f 5 6 8", "f 5 /6 8"), err: `x.obj:11: face 2: a corner expected, found "/6"`},
		{name: "corner of four parts", data: box("f 5 6 8", "f 5 6/1/1/1 8"), err: `x.obj:11: face 2: a corner expected, found "6/1/1/1"`},
		{name: "word for a texture", data: box("f 5 6 8", "f 5 6/a/1 8"), err: `x.obj:11: face 2: a corner expected, found "6/a/1"`},
		{name: "NaN", data: box("v 0 1500 0", "v 0 nan 0"), err: `x.obj:4: vertex 3: coordinate is not finite: "nan"`},
		{name: "infinite", data: box("v 0 1500 0", "v 0 1500 -Inf"), err: `x.obj:4: vertex 3: coordinate is not finite: "-Inf"`},
		{name: "overflow", data: box("v 0 1500 0", "v 1e39 1500 0"), err: `x.obj:4: vertex 3: coordinate is not finite: "1e39"`},
		{name: "overflow of float64", data: box("v 0 1500 0", "v -1e399 1500 0"), err: `x.obj:4: vertex 3: coordinate is not finite: "-1e399"`},
		{name: "word for a number", data: box("v 0 1500 0", "v 0 wide 0"), err: `x.obj:4: vertex 3: a coordinate expected, found "wide"`},
		{name: "decimal comma", data: box("v 0 1500 0", "v 0 1500,0 0"), err: `x.obj:4: vertex 3: a coordinate expected, found "1500,0"`},
		{name: "hexadecimal", data: box("v 0 1500 0", "v 0 0x5dc 0"), err: `x.obj:4: vertex 3: a coordinate expected, found "0x5dc"`},
		{name: "two coordinates", data: box("v 0 1500 0", "v 0 1500"), err: "x.obj:4: vertex 3: the line ends where a coordinate should come"},
		{name: "two coordinates, continued", data: box("v 0 1500 0", "v 0 \\\n 1500 \\"), err: `x.obj:6: vertex 3: a coordinate expected, found "v"`},
		{name: "comment without a blank", data: box("2400 0 0", "2400 0 0#edge"), err: `x.obj:3: vertex 2: a coordinate expected, found "0#edge"`},
		{name: "comment for a coordinate", data: box("v 0 1500 0", "v 0 1500 # 0"), err: `x.obj:4: vertex 3: a coordinate expected, found "#"`},
		{name: "truncated in a vertex", data: []byte(vertices[:strings.Index(vertices, " 0\nv 2400 1500 0")]), err: "x.obj:4: vertex 3: truncated: the file ends where a coordinate should come"},
		{name: "truncated in a corner", data: []byte(boxOBJ + "f 1 2 3/"), triangles: 13, notes: both},
		{name: "corner of 300 kB", data: []byte(boxOBJ + "f 1 2 " + strings.Repeat("3", 300_000)), err: `x.obj:16: face 7: a corner expected, found "` + strings.Repeat("3", 40) + `"`},
		{name: "unit: cm or in", data: []byte("v 0 0 0\nv 180 0 0\nv 0 96 60\nf 1 2 3\n"), err: "x.obj: unit not clear: more than one gives the size of a cabin or a car: as cm 1.8 x 0.96 x 0.6 m, as in 4.57 x 2.44 x 1.52 m"},
	}
}

func TestOddOBJ(t *testing.T) { testOddFiles(t, "x.obj", oddOBJs()) }

// TestOBJByContent reads OBJ files under other names: the content decides.
func TestOBJByContent(t *testing.T) {
	long := strings.Repeat("# a comment longer than what is looked at\n", 200)
	for text, want := range map[string]string{
		boxOBJ:                           "",
		"\n\n" + boxOBJ:                  "",
		long + boxOBJ:                    "",
		"mtllib a.mtl\no b\n" + boxOBJ:   "",
		"v is for Victor\n":              `x.stl: not an STL, PLY or OBJ file: a text that begins with "v"`,
		"o dear\n":                       `x.stl: not an STL, PLY or OBJ file: a text that begins with "o"`,
		"OFF\n3 1 0\n":                   `x.stl: not an STL, PLY or OBJ file: a text that begins with "OFF"`,
		"1 2 3\n4 5 6\n":                 `x.stl: not an STL, PLY or OBJ file: a text that begins with "1"`,
		"# title\nsolid and liquid\n":    `x.stl: not an STL, PLY or OBJ file: a text that begins with "#"`,
		"# x y z\n" + long + "1 2 3 \n":  `x.stl:202: not an OBJ file: a line that begins with "1"`,
		"solid v\n" + asciiTriangle(0):   "",
		"\xef\xbb\xbf# title\n" + boxOBJ: "",
	} {
		_, _, err := Read(strings.NewReader(text), ReadOptions{Name: "x.stl"})
		if want == "" {
			assert.NoError(t, err, "%.30q", text)
		} else {
			assert.EqualError(t, err, want)
		}
	}
	// And a binary STL file may begin with what it likes, and be called so.
	data := patched(binarySTLOf(stlBox(2400, 1500, 1200)), 0, []byte("ply\nv 1 2 3\n")...)
	_, rep, err := Read(bytes.NewReader(data), ReadOptions{Name: "x.obj"})
	require.NoError(t, err)
	assert.Equal(t, "binary STL", rep.Format)
}

// TestOBJAgrees writes one shell as OBJ and as PLY with the shortest decimals
// that give the float32 back: the same triangles, and vertices within half a
// decimal of each other.
func TestOBJAgrees(t *testing.T) {
	m := scanOf(3000)
	got, rep, err := Read(bytes.NewReader(objOf(m)), ReadOptions{})
	require.NoError(t, err)
	want, _, err := Read(bytes.NewReader(plyOf(m, "binary_little_endian")), ReadOptions{})
	require.NoError(t, err)
	assert.Equal(t, "OBJ", rep.Format)
	assert.Equal(t, want.Triangles, got.Triangles)
	for i, v := range want.Vertices {
		require.Equal(t, toFloat32(v), toFloat32(got.Vertices[i]))
	}
}

// TestIndexedFixtures reads the files of testdata. Those called "assimp" were
// written from a binary STL file of scanOf(240) by a general library that has
// nothing to do with this project (Open Asset Import Library 5.2.5, the Debian
// package assimp-utils, "assimp export"): PLY with three vertices a triangle and
// normals, OBJ with normals. They hold nine digits, which give float32 back. The
// boxes were written by hand, the binary one with Python's struct.
func TestIndexedFixtures(t *testing.T) {
	read := func(name string) (*Mesh, *Report) {
		f, err := os.Open(filepath.Join("testdata", name))
		require.NoError(t, err)
		defer f.Close()
		m, rep, err := Read(f, ReadOptions{Name: name})
		require.NoError(t, err)
		assert.Zero(t, rep.Degenerate+rep.Duplicate+rep.Welded)
		return m, rep
	}
	shell := scanOf(240)
	for name, format := range map[string]string{
		"shell_assimp_ascii.ply":  "ASCII PLY",
		"shell_assimp_binary.ply": "binary PLY",
		"shell_assimp.obj":        "OBJ",
	} {
		m, rep := read(name)
		assert.Equal(t, format, rep.Format)
		assert.Equal(t, 1, rep.Solids)
		assert.Equal(t, Millimetre, rep.Unit)
		assert.Len(t, m.Vertices, len(shell.Vertices))
		require.Len(t, m.Triangles, len(shell.Triangles))
		for i := range shell.Triangles {
			a, b, c := shell.Corners(i)
			x, y, z := m.Corners(i)
			require.Equal(t, [3][3]float32{toFloat32(a), toFloat32(b), toFloat32(c)}, [3][3]float32{toFloat32(x), toFloat32(y), toFloat32(z)}, "%s, triangle %d", name, i)
		}
	}
	for name, want := range map[string]struct {
		format string
		solids int
	}{
		"box_big_endian.ply": {"binary big-endian PLY", 1},
		"box.obj":            {"OBJ", 2},
	} {
		m, rep := read(name)
		assert.Equal(t, want.format, rep.Format)
		assert.Equal(t, want.solids, rep.Solids)
		assert.Equal(t, Metre, rep.Unit)
		assert.Len(t, m.Vertices, 8)
		assert.Len(t, m.Triangles, 12)
		assert.Zero(t, OpenEdges(m))
		assert.Equal(t, Box{Max: r3.Vector{X: 2400, Y: 1500, Z: 1200}}, m.Bounds())
	}
}
