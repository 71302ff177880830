package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// indexedFiles are one shell as every kind of file that numbers its vertices.
func indexedFiles(triangles int) map[string][]byte {
	m := scanOf(triangles)
	return map[string][]byte{
		"little-endian": plyOf(m, "binary_little_endian"),
		"big-endian":    plyOf(m, "binary_big_endian"),
		"ascii":         plyOf(m, "ascii"),
		"obj":           objOf(m),
	}
}

// TestIndexedFailures breaks off reading in all ways; see TestReadFailures.
func TestIndexedFailures(t *testing.T) {
	bad := errors.New("bad block")
	for name, data := range indexedFiles(20_000) {
		require.Greater(t, len(data), bufferSize, "more than a buffer")
		want, _, err := Read(bytes.NewReader(data), ReadOptions{})
		require.NoError(t, err)
		for _, part := range []int64{1, 2, 3} {
			good := int64(len(data)) * part / 4
			_, _, err := Read(&brokenFile{Reader: bytes.NewReader(data), good: good, err: bad}, ReadOptions{Name: "x"})
			assert.EqualError(t, err, "x: cannot be read: bad block", name)
			assert.ErrorIs(t, err, bad)
			_, _, err = Read(&brokenFile{Reader: bytes.NewReader(data), good: good, err: io.EOF}, ReadOptions{Name: "x"})
			if name != "obj" { // which does not say how long it is
				assert.ErrorContains(t, err, "truncated: ", name)
			}
		}
		r := bytes.NewReader(data)
		one := struct {
			io.Reader
			io.Seeker
		}{iotest.OneByteReader(r), r}
		got, _, err := Read(one, ReadOptions{})
		require.NoError(t, err)
		assert.Equal(t, want, got, name)
	}
}

// TestIndexedMemory reads files that promise much and hold little, and files of
// holes: memory stays with what is there.
func TestIndexedMemory(t *testing.T) {
	header := "ply\nformat %s 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\n" +
		"element face %d\nproperty list uchar int vertex_indices\nend_header\n"
	for _, format := range []string{"ascii", "binary_little_endian", "binary_big_endian"} {
		n := allocated(func() {
			text := fmt.Sprintf(header, format, maxVertices, MaxTriangles)
			_, _, err := Read(strings.NewReader(text), ReadOptions{Name: "x.ply"})
			assert.ErrorContains(t, err, "x.ply: truncated: the header promises 150000000 elements", format)
			_, _, err = Read(&sparseFile{header: fmt.Appendf(nil, header, format, 3, 4_000_000_000), size: 1 << 40}, ReadOptions{Name: "x.ply"})
			assert.EqualError(t, err, "x.ply:7: 4000000000 faces, more than the 50000000 that can be read", format)
		})
		assert.Less(t, n, uint64(4<<20))
	}
	// A list of four billion values in a file that ends in it.
	list := "ply\nformat binary_little_endian 1.0\nelement vertex 1\nproperty char x\nproperty char y\nproperty char z\n" +
		"element face 1\nproperty list uint char %s\nproperty list uint char vertex_index\nend_header\n\x00\x00\x00\xff\xff\xff\xff"
	for _, name := range []string{"vertex_indices", "texture"} {
		n := allocated(func() {
			data := []byte(fmt.Sprintf(strings.Replace(list, "property list uint char vertex_index\n", "", 1), name))
			if name == "texture" {
				data = []byte(fmt.Sprintf(list, name))
			}
			_, _, err := Read(bytes.NewReader(append(data, 0, 0)), ReadOptions{Name: "x.ply"})
			assert.EqualError(t, err, "x.ply: truncated: the file ends in face 1 of 1")
		})
		assert.Less(t, n, uint64(1<<20))
	}
}

// TestIndexedWeld gives every triangle vertices of its own, as many exporters do:
// the mesh is that of shared vertices, and nothing counts as welded.
func TestIndexedWeld(t *testing.T) {
	shared := scanOf(3000)
	own := &Mesh{}
	for i := range shared.Triangles {
		a, b, c := shared.Corners(i)
		n := int32(3 * i)
		own.Vertices = append(own.Vertices, a, b, c)
		own.Triangles = append(own.Triangles, [3]int32{n, n + 1, n + 2})
	}
	want, _, err := Read(bytes.NewReader(binarySTLOf(shared)), ReadOptions{})
	require.NoError(t, err)
	for _, format := range []string{"ascii", "binary_little_endian"} {
		got, rep, err := Read(bytes.NewReader(plyOf(own, format)), ReadOptions{})
		require.NoError(t, err)
		assert.Equal(t, want, got, "the same file as STL")
		assert.Zero(t, rep.Welded)
		assert.Zero(t, rep.Degenerate)
	}
	// A vertex at -0 is that at 0.
	text := "v 0 0 0\nv 2400 0 0\nv 0 1500 1200\nv -0 -1e-60 -0.0\nv 2400 -1500 1200\nf 1 2 3\nf 4 2 5\n"
	m, rep, err := Read(strings.NewReader(text), ReadOptions{})
	require.NoError(t, err)
	assert.Len(t, m.Vertices, 4)
	assert.Zero(t, rep.Welded)
	assert.False(t, math.Signbit(m.Vertices[0].Y))
	// One a tenth of the welding distance away is joined and counted.
	m, rep, err = Read(strings.NewReader(strings.Replace(text, "-1e-60", "1e-4", 1)), ReadOptions{})
	require.NoError(t, err)
	assert.Len(t, m.Vertices, 4)
	assert.Equal(t, 1, rep.Welded)
}

// TestParseFloat64 compares with strconv, bit for bit.
func TestParseFloat64(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.OneOf(
			rapid.StringMatching(`[-+]?[0-9]{0,18}\.?[0-9]{0,18}([eE][-+]?[0-9]{1,3})?`),
			rapid.Map(rapid.Float64(), func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }),
			rapid.Map(rapid.Float32(), func(x float32) string { return strconv.FormatFloat(float64(x), 'e', 8, 32) }),
		).Draw(t, "word")
		want, err := strconv.ParseFloat(word, 64)
		got, ok := parseFloat64([]byte(word))
		if math.IsInf(want, 0) || math.IsNaN(want) {
			if ok {
				t.Fatalf("%q is read as %v", word, got)
			}
			return
		}
		if ok != (err == nil) || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q is read as %v, %v, want %v, %v", word, got, ok, want, err)
		}
	})
}

// TestIndexedRandom writes random meshes, with vertices in random order and
// faces of any number of corners, in each kind of file: all give one mesh.
func TestIndexedRandom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 40).Draw(t, "vertices")
		coordinate := rapid.Map(rapid.IntRange(-2000, 2000), func(i int) float64 { return float64(i) / 4 })
		var vertices []r3.Vector
		for range n {
			vertices = append(vertices, r3.Vector{X: coordinate.Draw(t, "x"), Y: coordinate.Draw(t, "y"), Z: coordinate.Draw(t, "z")})
		}
		faces := rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(0, n-1), 0, 7), 1, 30).Draw(t, "faces")
		// What the formats mean, written down as triangles of their own.
		soup := &Mesh{}
		for _, f := range faces {
			for i := 2; i < len(f); i++ {
				k := int32(len(soup.Vertices))
				soup.Vertices = append(soup.Vertices, vertices[f[0]], vertices[f[i-1]], vertices[f[i]])
				soup.Triangles = append(soup.Triangles, [3]int32{k, k + 1, k + 2})
			}
		}
		var ply, obj bytes.Buffer
		fmt.Fprintf(&ply, "ply\nformat ascii 1.0\nelement face %d\nproperty list uchar int vertex_indices\n"+
			"element vertex %d\nproperty float x\nproperty float y\nproperty float z\nend_header\n", len(faces), n)
		for _, v := range vertices {
			fmt.Fprintln(&obj, "v", v.X, v.Y, v.Z)
		}
		for _, f := range faces {
			fmt.Fprint(&ply, len(f))
			fmt.Fprint(&obj, "f")
			for _, i := range f {
				fmt.Fprint(&ply, " ", i)
				fmt.Fprint(&obj, " ", i-n)
			}
			fmt.Fprintln(&ply)
			fmt.Fprintln(&obj)
		}
		for _, v := range vertices {
			fmt.Fprintln(&ply, v.X, v.Y, v.Z)
		}
		opt := ReadOptions{Unit: Millimetre}
		want, rep, err := Read(bytes.NewReader(binarySTLOf(soup)), opt)
		for name, data := range map[string][]byte{"ply": ply.Bytes(), "obj": obj.Bytes()} {
			got, gotRep, gotErr := Read(bytes.NewReader(data), opt)
			if (err == nil) != (gotErr == nil) {
				t.Fatalf("%s: %v, as STL %v", name, gotErr, err)
			}
			if err != nil {
				continue
			}
			if gotRep.Triangles != rep.Triangles || gotRep.Degenerate != rep.Degenerate || gotRep.Duplicate != rep.Duplicate || gotRep.Weld != rep.Weld {
				t.Fatalf("%s: %+v, as STL %+v", name, gotRep, rep)
			}
			// Vertices are numbered as in the file there, by first use here.
			if len(got.Vertices) != len(want.Vertices) || len(got.Triangles) != len(want.Triangles) {
				t.Fatalf("%s: %d vertices, %d triangles, as STL %d, %d", name, len(got.Vertices), len(got.Triangles), len(want.Vertices), len(want.Triangles))
			}
			for i := range want.Triangles {
				a, b, c := want.Corners(i)
				x, y, z := got.Corners(i)
				if a != x || b != y || c != z {
					t.Fatalf("%s: triangle %d is %v %v %v, as STL %v %v %v", name, i, x, y, z, a, b, c)
				}
			}
		}
	})
}

// FuzzReadPLY and FuzzReadOBJ are FuzzRead for files that begin as such, which
// FuzzRead would seldom come up with.
func FuzzReadPLY(f *testing.F) { fuzzIndexed(f, "x.ply", "*.ply", oddPLYs()) }

func FuzzReadOBJ(f *testing.F) { fuzzIndexed(f, "x.obj", "*.obj", oddOBJs()) }

func fuzzIndexed(f *testing.F, name, fixtures string, odd []oddFile) {
	names, err := filepath.Glob(filepath.Join("testdata", fixtures))
	require.NoError(f, err)
	require.NotEmpty(f, names)
	for _, fixture := range names {
		data, err := os.ReadFile(fixture)
		require.NoError(f, err)
		f.Add(data, uint8(AutoUnit), 0.0)
	}
	for _, o := range odd {
		if len(o.data) < 10_000 {
			f.Add(o.data, uint8(Metre), 0.0)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte, unit uint8, weld float64) {
		fuzzRead(t, data, ReadOptions{Name: name, Unit: Unit(unit), Weld: weld})
	})
}

// TestForeignModels reads meshes that nobody here made: the test models of a
// general library (Open Asset Import Library 5.2.5; Debian's assimp-testmodels
// puts them where the test looks, or BARWRIGHT_ASSIMP_MODELS says where they are).
// The numbers of faces are those that the library's own reader finds in them
// ("assimp info FILE -r", which leaves polygons whole).
func TestForeignModels(t *testing.T) {
	dir := os.Getenv("BARWRIGHT_ASSIMP_MODELS")
	if dir == "" {
		dir = "/usr/share/assimp/models"
	}
	if _, err := os.Stat(dir); err != nil {
		t.Skip("needs the models of Debian's assimp-testmodels, see BARWRIGHT_ASSIMP_MODELS")
	}
	read := func(name string) (*Mesh, *Report, error) {
		f, err := os.Open(filepath.Join(dir, name))
		require.NoError(t, err)
		defer f.Close()
		return Read(f, ReadOptions{Name: filepath.Base(name), Unit: Metre})
	}
	for name, faces := range map[string]int{
		"PLY/Wuson.ply": 3732, "PLY/cube_binary.ply": 12, "PLY/float-color.ply": 1,
		"OBJ/WusonOBJ.obj": 3732, "OBJ/cube_mtllib_after_g.obj": 12, "OBJ/cube_usemtl.obj": 12,
		"OBJ/cube_with_vertexcolors.obj": 12, "OBJ/cube_with_vertexcolors_uni.obj": 12, "OBJ/empty_mat.obj": 256,
		"OBJ/multiple_spaces.obj": 1, "OBJ/regr01.obj": 2710, "OBJ/spider.obj": 1368,
		// Of faces with four corners each.
		"PLY/cube.ply": 2 * 6, "PLY/cube_uv.ply": 2 * 6, "OBJ/box.obj": 2 * 6,
		"OBJ/box_mat_with_spaces.obj": 2 * 6, "OBJ/box_without_lineending.obj": 2 * 6,
		// Of one face with 66 corners.
		"OBJ/concave_polygon.obj": 64, "OBJ/space_in_material_name.obj": 64,
	} {
		_, rep, err := read(name)
		if assert.NoError(t, err) {
			assert.Equal(t, faces, rep.Triangles, name)
		}
	}
	// The same shape in three formats.
	for _, same := range [][]string{
		{"STL/Wuson.stl", "PLY/Wuson.ply", "OBJ/WusonOBJ.obj"},
		{"STL/Spider_binary.stl", "STL/Spider_ascii.stl", "OBJ/spider.obj"},
	} {
		want, _, err := read(same[0])
		require.NoError(t, err)
		for _, name := range same[1:] {
			got, _, err := read(name)
			require.NoError(t, err)
			assert.Len(t, got.Vertices, len(want.Vertices), name)
			assert.Len(t, got.Triangles, len(want.Triangles), name)
		}
	}
	for name, want := range map[string]string{
		"PLY/points.ply":         `points.ply:13: no triangles: no element "face" in the header`,
		"PLY/pond.0.ply":         `pond.0.ply:14: no triangles: no element "face" in the header`,
		"OBJ/point_cloud.obj":    "point_cloud.obj: no triangles: 3 vertices but no face",
		"OBJ/box_UTF16BE.obj":    "box_UTF16BE.obj: not an STL, PLY or OBJ file but a text in UTF-16",
		"OBJ/number_formats.obj": `number_formats.obj:11: vertex 8: a coordinate expected, found "3.1+e2"`,
		"invalid/malformed.obj":  "malformed.obj:28: face 6: vertex 0 is out of range: there are 8, counted from 1",
		"invalid/empty.ply":      "empty.ply: the file is empty",
	} {
		_, _, err := read(name)
		assert.EqualError(t, err, want)
	}
}
