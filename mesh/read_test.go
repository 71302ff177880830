package mesh

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/golang/geo/r3"
	"github.com/hschendel/stl"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stlBox returns a closed box of twelve triangles, size in mm.
func stlBox(x, y, z float64) *Mesh {
	m := &Mesh{}
	for i := range 8 {
		m.Vertices = append(m.Vertices, r3.Vector{X: x * float64(i&1), Y: y * float64(i>>1&1), Z: z * float64(i>>2)})
	}
	for _, q := range [][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Triangles = append(m.Triangles, [3]int32{q[0], q[1], q[2]}, [3]int32{q[0], q[2], q[3]})
	}
	return m
}

// asciiTriangle is one ASCII triangle of cabin size, in mm, shifted by dx.
func asciiTriangle(dx float64) string {
	return fmt.Sprintf("facet normal 0 0 1\nouter loop\nvertex %v 0 0\nvertex %v 1500 0\nvertex %v 0 1200\nendloop\nendfacet\n", dx, dx, dx+2400)
}

// patched returns a copy of data with b written over it at offset at.
func patched(data []byte, at int, b ...byte) []byte {
	data = bytes.Clone(data)
	copy(data[at:], b)
	return data
}

func joined(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

var (
	nanBits = []byte{0, 0, 0xc0, 0x7f}
	infBits = []byte{0, 0, 0x80, 0xff}
)

// oddFile is a file that is strange, and what becomes of it.
type oddFile struct {
	name      string
	data      []byte
	unit      Unit
	err       string // whole message, the file being called x.stl, x.ply or x.obj
	triangles int    // in the mesh
	notes     []string
}

// oddFiles are the inputs that are out of the ordinary: files that real
// exporters write and the library drops, refuses or dies of, and files that
// are no STL at all.
func oddFiles() []oddFile {
	bin := binarySTLOf(stlBox(2400, 1500, 1200))
	guess := "unit guessed as mm, which makes it 2.4 x 1.5 x 1.2 m"
	one := "solid cabin\n" + asciiTriangle(0) + "endsolid cabin\n"
	degenerate := binarySTLOf(&Mesh{
		Vertices:  []r3.Vector{{X: 0}, {X: 1000}, {X: 2000}},
		Triangles: [][3]int32{{0, 1, 2}, {0, 0, 1}, {1, 1, 1}},
	})
	tiny := func(s float64) []byte { return binarySTLOf(stlBox(2400*s, 1500*s, 1200*s)) }
	two := joined([]byte("solid a\n"+asciiTriangle(0)+"endsolid a\n"), []byte("solid b\n"+asciiTriangle(100)+"endsolid b\n"))

	return []oddFile{
		// What can be read.
		{name: "binary", data: bin, triangles: 12, notes: []string{guess}},
		{name: "binary, begins with solid", data: patched(bin, 0, []byte("solid part")...), triangles: 12,
			notes: []string{`a binary file although it begins with "solid"`, guess}},
		{name: "binary, begins with solid, trailing byte", data: append(patched(bin, 0, []byte("solid part")...), '\n'), triangles: 12,
			notes: []string{`a binary file although it begins with "solid"`, "not read: what comes after the last triangle, 1 of 685 bytes", guess}},
		{name: "binary, trailing byte", data: append(bytes.Clone(bin), 0), triangles: 12,
			notes: []string{"not read: what comes after the last triangle, 1 of 685 bytes", guess}},
		{name: "binary, trailing text", data: append(bytes.Clone(bin), strings.Repeat("x", 75)...), triangles: 12,
			notes: []string{"not read: what comes after the last triangle, 75 of 759 bytes", guess}},
		{name: "binary, count 0", data: patched(bin, 80, 0), triangles: 12,
			notes: []string{"the header says 0 triangles, the file holds 12: all are read", guess}},
		{name: "binary, count too small", data: patched(bin, 80, 7), triangles: 12,
			notes: []string{"the header says 7 triangles, the file holds 12: all are read", guess}},
		{name: "binary, normal is NaN", data: patched(bin, 84, nanBits...), triangles: 12, notes: []string{guess}},
		{name: "binary, attributes and binary header", data: patched(patched(bin, 0, 0, 1, 2, 0xff), 84+48, 0xff, 0x7f), triangles: 12, notes: []string{guess}},
		{name: "binary, negative zero", data: patched(bin, 84+12, 0, 0, 0, 0x80), triangles: 12, notes: []string{guess}},
		{name: "binary, header like a web page", data: patched(bin, 0, []byte("<html>")...), triangles: 12, notes: []string{guess}},
		{name: "ascii", data: []byte(one), triangles: 1, notes: []string{guess}},
		{name: "ascii, upper case", data: []byte(strings.ToUpper(one)), triangles: 1,
			notes: []string{"keywords are in upper case", guess}},
		{name: "ascii, mixed case", data: []byte(strings.ReplaceAll(one, "facet", "Facet")), triangles: 1, notes: []string{guess}},
		{name: "ascii, nameless", data: []byte("solid\n" + asciiTriangle(0) + "endsolid"), triangles: 1, notes: []string{guess}},
		{name: "ascii, name of keywords", data: []byte("solid facet vertex endsolid solid\n" + asciiTriangle(0) + "endsolid facet\n"), triangles: 1, notes: []string{guess}},
		{name: "ascii, several solids", data: two, triangles: 2,
			notes: []string{"2 solids are read as one mesh", "unit guessed as mm, which makes it 2.5 x 1.5 x 1.2 m"}},
		{name: "ascii, byte order mark", data: []byte("\xef\xbb\xbf" + one), triangles: 1,
			notes: []string{"a byte order mark at the start is skipped", guess}},
		{name: "ascii, CRLF", data: []byte(strings.ReplaceAll(one, "\n", "\r\n")), triangles: 1, notes: []string{guess}},
		{name: "ascii, CR only", data: []byte(strings.ReplaceAll(one, "\n", "\r")), triangles: 1, notes: []string{guess}},
		{name: "ascii, one line", data: []byte(strings.ReplaceAll(one, "\n", " ")), triangles: 1, notes: []string{guess}},
		{name: "ascii, leading blanks", data: []byte("\n \t\r\n" + one), triangles: 1, notes: []string{guess}},
		{name: "ascii, tabs", data: []byte(strings.ReplaceAll(one, " ", "\t\t")), triangles: 1, notes: []string{guess}},
		{name: "ascii, name of 70 kB", data: []byte("solid " + strings.Repeat("n", 70_000) + "\n" + asciiTriangle(0) + "endsolid"), triangles: 1, notes: []string{guess}},
		{name: "ascii, name of 600 kB in words", data: []byte("solid " + strings.Repeat("nm ", 200_000) + "\n" + asciiTriangle(0) + "endsolid"), triangles: 1, notes: []string{guess}},
		{name: "ascii, name in UTF-8", data: []byte("solid Käfig Übersicht\n" + asciiTriangle(0) + "endsolid"), triangles: 1, notes: []string{guess}},
		{name: "ascii, normal is nan", data: []byte(strings.Replace(one, "0 0 1", "nan -nan(ind) 1.#QNAN", 1)), triangles: 1, notes: []string{guess}},
		{name: "ascii, no normal", data: []byte(strings.Replace(one, "normal 0 0 1", "", 1)), triangles: 1, notes: []string{guess}},
		{name: "ascii, no endsolid", data: []byte("solid\n" + asciiTriangle(0)), triangles: 1,
			notes: []string{"the last solid has no endsolid: the file may have been cut off", guess}},
		{name: "ascii, text behind", data: []byte(one + "\nmade by hand\n" + "and more\n"), triangles: 1,
			notes: []string{"text outside the solids, first in line 11, is not read", guess}},
		{name: "ascii, exponents", data: []byte(strings.NewReplacer("1500", "+1.5E+03", "1200", "12000000e-4", "2400", ".24e4").Replace(one)), triangles: 1, notes: []string{guess}},
		{name: "duplicates in any order", data: []byte("solid\n" + asciiTriangle(0) + asciiTriangle(0) +
			"facet normal 0 0 0 outer loop vertex 2400 0 1200 vertex 0 1500 0 vertex 0 0 0 endloop endfacet\nendsolid"), triangles: 1, notes: []string{guess}},
		{name: "far from its origin", data: []byte("solid\n" + asciiTriangle(4e6) + "endsolid"), unit: Millimetre, triangles: 1,
			notes: []string{"coordinates reach 4e+03 m, where the file resolves only 0.48 mm"}},

		// What cannot.
		{name: "empty", err: "x.stl: the file is empty"},
		{name: "blank", data: []byte(" \n\n\t "), err: "x.stl: the file is blank"},
		{name: "binary, header only", data: make([]byte, 84), err: "x.stl: no triangles"},
		{name: "binary, half a header", data: make([]byte, 40), err: "x.stl: truncated: 40 bytes, a binary STL file has at least 84"},
		{name: "binary, truncated", data: bin[:len(bin)-1],
			err: "x.stl: truncated, or not an STL file: its header promises 12 triangles in 684 bytes, the file has 683 bytes"},
		{name: "binary, begins with solid, truncated", data: patched(bin, 0, []byte("solid")...)[:400],
			err: "x.stl: truncated, or not an STL file: its header promises 12 triangles in 684 bytes, the file has 400 bytes"},
		{name: "binary, count of four billion", data: patched(bin, 80, 0xff, 0xff, 0xff, 0xff),
			err: "x.stl: truncated, or not an STL file: its header promises 4294967295 triangles in 214748364834 bytes, the file has 684 bytes"},
		{name: "binary, count 0 and junk", data: patched(bin, 80, 0)[:110], err: "x.stl: no triangles"},
		{name: "binary, NaN", data: patched(bin, 84+50*6+12+12+4, nanBits...),
			err: "x.stl: triangle 7: corner 2 is not finite: (0, NaN, 1200)"},
		{name: "binary, infinite", data: patched(bin, 84+12, infBits...),
			err: "x.stl: triangle 1: corner 1 is not finite: (-Inf, 0, 0)"},
		{name: "binary, only degenerate", data: degenerate, unit: Millimetre, err: "x.stl: none of the 3 triangles has an area"},
		{name: "binary, all zero", data: make([]byte, 84+50*4), err: "x.stl: none of the 4 triangles has an area"},
		{name: "ascii, no triangles", data: []byte("solid a\nendsolid a\n"), err: "x.stl: no triangles"},
		{name: "ascii, solid only", data: []byte("solid"), err: "x.stl: no triangles"},
		{name: "ascii, cut in a number", data: []byte("solid a\n" + asciiTriangle(0)[:50]),
			err: `x.stl:5: triangle 1: truncated: the file ends where a coordinate should come`},
		{name: "ascii, cut in a word", data: []byte("solid a\n" + asciiTriangle(0)[:len(asciiTriangle(0))-3]),
			err: `x.stl:8: triangle 1: truncated: the file ends in "endfac" where "endfacet" should come`},
		{name: "ascii, cut in endsolid", data: []byte("solid a\n" + asciiTriangle(0) + "endso"),
			err: `x.stl:9: triangle 2: truncated: the file ends in "endso" where "facet" or "endsolid" should come`},
		{name: "ascii, cut before a word", data: []byte("solid a\n" + asciiTriangle(0) + asciiTriangle(0)[:29]),
			err: `x.stl:10: triangle 2: truncated: the file ends where "vertex" should come`},
		{name: "ascii, NaN", data: []byte(strings.Replace(one, "1500", "nan", 1)),
			err: `x.stl:5: triangle 1: coordinate is not finite: "nan"`},
		{name: "ascii, infinite", data: []byte(strings.Replace(one, "1500", "-Inf", 1)),
			err: `x.stl:5: triangle 1: coordinate is not finite: "-Inf"`},
		{name: "ascii, overflow", data: []byte(strings.Replace(one, "1500", "1e39", 1)),
			err: `x.stl:5: triangle 1: coordinate is not finite: "1e39"`},
		{name: "ascii, word for a number", data: []byte(strings.Replace(one, "1500", "wide", 1)),
			err: `x.stl:5: triangle 1: a coordinate expected, found "wide"`},
		{name: "ascii, decimal comma", data: []byte(strings.Replace(one, "1500", "1500,0", 1)),
			err: `x.stl:5: triangle 1: a coordinate expected, found "1500,0"`},
		{name: "ascii, hexadecimal", data: []byte(strings.Replace(one, "1500", "0x5dc", 1)),
			err: `x.stl:5: triangle 1: a coordinate expected, found "0x5dc"`},
		{name: "ascii, two coordinates", data: []byte(strings.Replace(one, "1500 0", "1500", 1)),
			err: `x.stl:6: triangle 1: a coordinate expected, found "vertex"`},
		{name: "ascii, four corners", data: []byte(strings.Replace(one, "endloop", "vertex 1 2 3\nendloop", 1)),
			err: `x.stl:7: triangle 1: "endloop" expected, found "vertex"`},
		{name: "ascii, CRLF, two corners", data: []byte(strings.ReplaceAll(strings.Replace(one, "vertex 0 0 0\n", "", 1), "\n", "\r\n")),
			err: `x.stl:6: triangle 1: "vertex" expected, found "endloop"`},
		{name: "ascii, no outer loop", data: []byte(strings.Replace(one, "outer loop\n", "", 1)),
			err: `x.stl:3: triangle 1: "outer loop" expected, found "vertex"`},
		{name: "ascii, stray word", data: []byte(strings.Replace(one, "endfacet", "endfacet\ncolour", 1)),
			err: `x.stl:9: triangle 2: "facet" or "endsolid" expected, found "colour"`},
		{name: "ascii, word of 300 kB", data: []byte("solid\n" + strings.Repeat("z", 300_000) + "\n"),
			err: `x.stl:2: triangle 1: "facet" or "endsolid" expected, found "` + strings.Repeat("z", 40) + `"`},
		{name: "text", data: []byte("Measurements of the cabin\n1500 x 1200"),
			err: `x.stl: not an STL, PLY or OBJ file: a text that begins with "Measurements"`},
		{name: "solid in front of a longer word", data: []byte("solids and liquids\n"),
			err: `x.stl: not an STL, PLY or OBJ file: a text that begins with "solids"`},
		{name: "web page", data: []byte("\n<!DOCTYPE html>\n<html><body>404</body></html>"), err: "x.stl: not an STL, PLY or OBJ file but a web page (HTML)"},
		{name: "XML", data: []byte("<?xml version=\"1.0\"?>\n<a/>"), err: "x.stl: not an STL, PLY or OBJ file but an XML document"},
		{name: "PNG", data: []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + strings.Repeat("\x01", 100)), err: "x.stl: not an STL, PLY or OBJ file but a PNG picture"},
		{name: "ZIP", data: []byte("PK\x03\x04" + strings.Repeat("\x00", 100)), err: "x.stl: not an STL, PLY or OBJ file but a ZIP archive (3MF files are, too)"},
		{name: "gzip", data: []byte("\x1f\x8b\x08\x00"), err: "x.stl: not an STL, PLY or OBJ file but a gzip archive"},
		{name: "PDF", data: []byte("%PDF-1.7\n"), err: "x.stl: not an STL, PLY or OBJ file but a PDF document"},
		{name: "UTF-16", data: []byte("\xff\xfes\x00o\x00l\x00i\x00d\x00"), err: "x.stl: not an STL, PLY or OBJ file but a text in UTF-16"},
		{name: "unit: dust", data: tiny(1e-5), err: "x.stl: unit not clear: no unit gives the 1 to 6 m of a cabin or a car: " +
			"as mm 2.4e-05 x 1.5e-05 x 1.2e-05 m, as cm 0.00024 x 0.00015 x 0.00012 m, as m 0.024 x 0.015 x 0.012 m, as in 0.00061 x 0.000381 x 0.000305 m"},
		{name: "unit: cm or in", data: binarySTLOf(stlBox(180, 96, 60)), err: "x.stl: unit not clear: more than one gives the size of a cabin or a car: " +
			"as cm 1.8 x 0.96 x 0.6 m, as in 4.57 x 2.44 x 1.52 m"},
	}
}

// TestOddFiles reads every odd file from memory, and once more in dribbles: the
// outcome must not depend on how the bytes arrive.
func TestOddFiles(t *testing.T) {
	testOddFiles(t, "x.stl", oddFiles())
}

func testOddFiles(t *testing.T, name string, files []oddFile) {
	assert.GreaterOrEqual(t, len(files), 25)
	for _, f := range files {
		t.Run(f.name, func(t *testing.T) {
			opt := ReadOptions{Name: name, Unit: f.unit}
			m, rep, err := Read(bytes.NewReader(f.data), opt)
			slow := &dribble{Reader: bytes.NewReader(f.data)}
			m2, rep2, err2 := Read(slow, opt)
			if f.err != "" {
				assert.EqualError(t, err, f.err)
				assert.EqualError(t, err2, f.err)
				assert.Nil(t, m)
				assert.NotContains(t, err.Error(), "\n")
				return
			}
			require.NoError(t, err)
			require.NoError(t, err2)
			assert.Equal(t, m, m2)
			assert.Equal(t, rep, rep2)
			assert.Len(t, m.Triangles, f.triangles)
			assert.Equal(t, f.notes, rep.Notes)
			assertValid(t, m)
		})
	}
}

// dribble hands out a prime number of bytes at a time.
type dribble struct{ *bytes.Reader }

func (d *dribble) Read(p []byte) (int, error) { return d.Reader.Read(p[:min(len(p), 7)]) }

// assertValid checks what Read promises of every mesh.
func assertValid(t *testing.T, m *Mesh) {
	t.Helper()
	require.NotEmpty(t, m.Triangles)
	used := make([]bool, len(m.Vertices))
	for _, tri := range m.Triangles {
		for c, v := range tri {
			require.True(t, v >= 0 && int(v) < len(m.Vertices), "index %d of %d", v, len(m.Vertices))
			require.NotEqual(t, v, tri[(c+1)%3])
			used[v] = true
		}
	}
	for i, v := range m.Vertices {
		require.True(t, used[i], "vertex %d is not used", i)
		for _, x := range []float64{v.X, v.Y, v.Z} {
			require.False(t, math.IsNaN(x) || math.IsInf(x, 0), "vertex %d is %v", i, v)
		}
	}
}

// TestFixtures reads the files of testdata, which hold what the names say.
func TestFixtures(t *testing.T) {
	for _, f := range []struct {
		file      string
		format    string
		triangles int
		solids    int
	}{
		{"box_ascii.stl", "ASCII STL", 12, 1},
		{"box_binary.stl", "binary STL", 12, 1},
		{"two_solids_upper_crlf.stl", "ASCII STL", 24, 2},
	} {
		t.Run(f.file, func(t *testing.T) {
			r, err := os.Open(filepath.Join("testdata", f.file))
			require.NoError(t, err)
			defer r.Close()
			m, rep, err := Read(r, ReadOptions{Name: f.file})
			require.NoError(t, err)
			assert.Equal(t, f.format, rep.Format)
			assert.Equal(t, f.triangles, rep.Triangles)
			assert.Equal(t, f.solids, rep.Solids)
			assert.Equal(t, Millimetre, rep.Unit)
			assert.Zero(t, rep.Degenerate+rep.Duplicate+rep.Welded)
			assert.Len(t, Components(m), f.solids)
			assert.Zero(t, OpenEdges(m))
			assert.Len(t, m.Vertices, 8*f.solids)
		})
	}
}

// TestBinaryLayout checks the bytes that WriteSTL writes. Source:
// paulbourke.net/dataformats/stl and kaitai stl.ksy, references.md F, status V
// (read in the retrieved text): 80 bytes of header that must not begin with
// "solid", uint32 count, 50 bytes a facet of 12 float32 and a uint16 of 0, all
// little-endian; size = 84 + 50 n; no units.
func TestBinaryLayout(t *testing.T) {
	m := &Mesh{
		Vertices:  []r3.Vector{{X: 1, Y: 2, Z: 3}, {X: 5, Y: 2, Z: 3}, {X: 1, Y: 4, Z: 3}, {X: 5, Y: 4, Z: 3}},
		Triangles: [][3]int32{{0, 1, 2}, {1, 1, 3}},
	}
	for _, name := range []string{"", "solid", "Käfig", strings.Repeat("long ", 40)} {
		var b bytes.Buffer
		require.NoError(t, WriteSTL(&b, name, m))
		data := b.Bytes()
		require.Len(t, data, 84+50*2)
		assert.NotEqual(t, "solid", string(data[:5]))
		assert.True(t, isText(bytes.TrimRight(data[:80], "\x00")), "%q", data[:80])
		assert.Equal(t, []byte{2, 0, 0, 0}, data[80:84])
		want := []float32{0, 0, 1, 1, 2, 3, 5, 2, 3, 1, 4, 3}
		for i, x := range want {
			assert.Equal(t, x, math.Float32frombits(binary.LittleEndian.Uint32(data[84+4*i:])), "float %d", i)
		}
		assert.Equal(t, []byte{0, 0}, data[84+48:84+50])
		assert.Equal(t, make([]byte, 12), data[134:146], "a triangle without area has no normal")
	}
}

func TestWriteSTLErrors(t *testing.T) {
	tri := [][3]int32{{0, 1, 2}}
	for want, m := range map[string]*Mesh{
		"vertex 1 cannot be written: (NaN, 0, 0)":        {Vertices: []r3.Vector{{}, {X: math.NaN()}, {Y: 1}}, Triangles: tri},
		"vertex 2 cannot be written: (0, 1e+39, 0)":      {Vertices: []r3.Vector{{}, {X: 1}, {Y: 1e39}}, Triangles: tri},
		"triangle 0 has corner 2, there are 2 vertices":  {Vertices: []r3.Vector{{}, {X: 1}}, Triangles: tri},
		"triangle 0 has corner -1, there are 1 vertices": {Vertices: []r3.Vector{{}}, Triangles: [][3]int32{{0, -1, 0}}},
	} {
		var b bytes.Buffer
		assert.EqualError(t, WriteSTL(&b, "", m), want)
		assert.Zero(t, b.Len())
	}
	full := errors.New("disk full")
	assert.ErrorIs(t, WriteSTL(failingWriter{full}, "", stlBox(1, 1, 1)), full)
}

type failingWriter struct{ err error }

func (w failingWriter) Write([]byte) (int, error) { return 0, w.err }

// TestRoundTrip writes and reads back: coordinates that float32 holds come back
// bit for bit, in the same order, in both formats.
func TestRoundTrip(t *testing.T) {
	want := scanOf(3000)
	for i, v := range want.Vertices {
		f := toFloat32(v)
		want.Vertices[i] = r3.Vector{X: float64(f[0]), Y: float64(f[1]), Z: float64(f[2])}
	}
	dropUnused(want)
	// Number the vertices by first appearance, as Read does.
	first, _, err := Read(bytes.NewReader(binarySTLOf(want)), ReadOptions{})
	require.NoError(t, err)
	require.Len(t, first.Vertices, len(want.Vertices))
	require.Len(t, first.Triangles, len(want.Triangles))
	for i := range want.Triangles {
		a, b, c := want.Corners(i)
		x, y, z := first.Corners(i)
		require.Equal(t, []r3.Vector{a, b, c}, []r3.Vector{x, y, z})
	}
	var text bytes.Buffer
	// Ten significant digits; float32 needs nine.
	fmt.Fprintln(&text, "solid")
	for i := range want.Triangles {
		a, b, c := want.Corners(i)
		fmt.Fprintf(&text, "facet normal 0 0 0\nouter loop\n")
		for _, v := range []r3.Vector{a, b, c} {
			fmt.Fprintf(&text, "vertex %.9e %.9e %.9e\n", v.X, v.Y, v.Z)
		}
		fmt.Fprintf(&text, "endloop\nendfacet\n")
	}
	fmt.Fprintln(&text, "endsolid")
	again, _, err := Read(bytes.NewReader(text.Bytes()), ReadOptions{})
	require.NoError(t, err)
	assert.Equal(t, first, again)
}

// TestAgainstLibrary compares with hschendel/stl's own readers, an outside
// implementation, on well-formed files of both formats: every corner of every
// triangle agrees bit for bit.
func TestAgainstLibrary(t *testing.T) {
	m := scanOf(2000)
	var text bytes.Buffer
	require.NoError(t, writeASCII(&text, m))
	for name, data := range map[string][]byte{"binary": binarySTLOf(m), "ascii": text.Bytes()} {
		solid, err := stl.ReadAll(bytes.NewReader(data))
		require.NoError(t, err)
		got, _, err := Read(bytes.NewReader(data), ReadOptions{Weld: math.SmallestNonzeroFloat64})
		require.NoError(t, err)
		require.Len(t, got.Triangles, len(solid.Triangles))
		for i, tri := range solid.Triangles {
			a, b, c := got.Corners(i)
			require.Equal(t, tri.Vertices, [3]stl.Vec3{toFloat32(a), toFloat32(b), toFloat32(c)}, "%s, triangle %d", name, i)
		}
	}
}

// sparseFile stands for a file of holes: a header, and zeros to the end.
type sparseFile struct {
	header   []byte
	at, size int64
}

func (s *sparseFile) Read(p []byte) (int, error) {
	if s.at >= s.size {
		return 0, io.EOF
	}
	p = p[:min(int64(len(p)), s.size-s.at)]
	clear(p)
	if s.at < int64(len(s.header)) {
		copy(p, s.header[s.at:])
	}
	s.at += int64(len(p))
	return len(p), nil
}

func (s *sparseFile) Seek(offset int64, whence int) (int64, error) {
	s.at = offset
	if whence == io.SeekEnd {
		s.at += s.size
	}
	return s.at, nil
}

// TestSparseFile reads a file of 215 GB without a block on disk whose count
// fits its size: the library asks for all the memory of the machine and dies.
func TestSparseFile(t *testing.T) {
	header := append(make([]byte, 80), 0xff, 0xff, 0xff, 0xff)
	n := allocated(func() {
		_, _, err := Read(&sparseFile{header: header, size: 84 + 50*int64(math.MaxUint32)}, ReadOptions{Name: "x.stl"})
		assert.EqualError(t, err, "x.stl: 4294967295 triangles, more than the 50000000 that can be read")
		_, _, err = Read(&sparseFile{header: []byte("solid\n"), size: 1 << 40}, ReadOptions{Name: "x.stl"})
		assert.ErrorContains(t, err, "x.stl: ")
	})
	assert.Less(t, n, uint64(8<<20))
}

// allocated returns how many bytes f asks for, freed or not.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

func TestReadFailures(t *testing.T) {
	bin := binarySTLOf(scanOf(20_000))
	var text bytes.Buffer
	require.NoError(t, writeASCII(&text, scanOf(20_000)))

	t.Run("directory", func(t *testing.T) {
		dir, err := os.Open(t.TempDir())
		require.NoError(t, err)
		defer dir.Close()
		_, _, err = Read(dir, ReadOptions{Name: "scans"})
		assert.ErrorContains(t, err, "scans: cannot be read: ")
		assert.NotContains(t, err.Error(), dir.Name(), "the path is said once, by Name")
	})
	t.Run("closed file", func(t *testing.T) {
		f, err := os.Create(filepath.Join(t.TempDir(), "x.stl"))
		require.NoError(t, err)
		require.NoError(t, f.Close())
		_, _, err = Read(f, ReadOptions{Name: "x.stl"})
		assert.ErrorIs(t, err, os.ErrClosed)
		assert.EqualError(t, err, "x.stl: cannot be read: file already closed")
	})
	bad := errors.New("bad block")
	for name, data := range map[string][]byte{"binary": bin, "ascii": text.Bytes()} {
		t.Run(name+", device fails half-way", func(t *testing.T) {
			half := int64(len(data) / 2)
			r := &brokenFile{Reader: bytes.NewReader(data), good: half, err: bad}
			_, _, err := Read(r, ReadOptions{Name: "x.stl"})
			assert.EqualError(t, err, "x.stl: cannot be read: bad block")
			assert.ErrorIs(t, err, bad)
		})
		t.Run(name+", shrinks while it is read", func(t *testing.T) {
			r := &brokenFile{Reader: bytes.NewReader(data), good: int64(len(data) / 2), err: io.EOF}
			_, _, err := Read(r, ReadOptions{Name: "x.stl"})
			assert.ErrorContains(t, err, "truncated: ")
		})
		t.Run(name+", a byte at a time", func(t *testing.T) {
			r := bytes.NewReader(data)
			one := struct {
				io.Reader
				io.Seeker
			}{iotest.OneByteReader(r), r}
			want, _, err := Read(bytes.NewReader(data), ReadOptions{})
			require.NoError(t, err)
			got, _, err := Read(one, ReadOptions{})
			require.NoError(t, err)
			assert.Equal(t, want, got)
		})
	}
	t.Run("options", func(t *testing.T) {
		for want, opt := range map[string]ReadOptions{
			"input: welding distance -1 mm is not from 0 to 100":    {Weld: -1},
			"input: welding distance NaN mm is not from 0 to 100":   {Weld: math.NaN()},
			"input: welding distance 100.5 mm is not from 0 to 100": {Weld: 100.5},
			"input: unknown unit unit(9)":                           {Unit: 9},
		} {
			_, _, err := Read(bytes.NewReader(bin), opt)
			assert.EqualError(t, err, want)
		}
	})
}

// brokenFile fails with err after the first good bytes.
type brokenFile struct {
	*bytes.Reader
	good int64
	err  error
}

func (b *brokenFile) Read(p []byte) (int, error) {
	at, _ := b.Reader.Seek(0, io.SeekCurrent)
	if at >= b.good {
		return 0, b.err
	}
	return b.Reader.Read(p[:min(int64(len(p)), b.good-at)])
}

// FuzzRead feeds bytes to the reader. It must end in an error of one line or
// in a valid mesh, with memory in proportion to the input.
func FuzzRead(f *testing.F) {
	names, err := filepath.Glob("testdata/*.stl")
	require.NoError(f, err)
	require.NotEmpty(f, names)
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(data, uint8(AutoUnit), 0.0)
	}
	for _, o := range oddFiles() {
		if len(o.data) < 10_000 {
			f.Add(o.data, uint8(Inch), 0.5)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte, unit uint8, weld float64) {
		fuzzRead(t, data, ReadOptions{Name: "x.stl", Unit: Unit(unit), Weld: weld})
	})
}

// fuzzRead reads data and checks what Read promises.
func fuzzRead(t *testing.T, data []byte, opt ReadOptions) {
	var m *Mesh
	var rep *Report
	var err error
	n := allocated(func() { m, rep, err = Read(bytes.NewReader(data), opt) })
	// Two buffers of 256 kB; tables, meshes and the library's garbage are
	// under 64 bytes a byte of input for STL, twice that for indices of a byte,
	// whose tables have to grow.
	if limit := uint64(2<<20 + 128*len(data)); n > limit {
		t.Errorf("%d bytes allocated for %d", n, len(data))
	}
	if err != nil {
		if strings.ContainsAny(err.Error(), "\n\r") || !strings.HasPrefix(err.Error(), opt.Name) {
			t.Errorf("message %q", err)
		}
		return
	}
	assertValid(t, m)
	if got := len(m.Triangles) + rep.Degenerate + rep.Duplicate; got != rep.Triangles {
		t.Errorf("%d triangles are accounted for, the file has %d", got, rep.Triangles)
	}
}
