package mesh

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/golang/geo/r3"
)

// ReadOptions say how to read a mesh file. The zero value is fine.
type ReadOptions struct {
	// Name stands for the file in messages. Default: "input".
	// A name that ends in ".obj" makes a text without a vertex at its start
	// an OBJ file; otherwise the content alone decides.
	Name string
	// Unit is the length unit of the file. Default: AutoUnit, which guesses
	// it from the extents and fails with ErrUnit where that is not clear-cut.
	Unit Unit
	// Weld is the distance, in mm, within which corners become one vertex,
	// from 0 to MaxWeld. Default (0): four steps of float32 at the file's
	// largest coordinate, at most 0.01 mm.
	Weld float64
}

// MaxWeld is the largest welding distance, in mm. More would eat the shape.
const MaxWeld = 100

// Validate reports the first field that is out of range.
func (o ReadOptions) Validate() error {
	if o.Unit > Inch {
		return fmt.Errorf("unknown unit %s", o.Unit)
	}
	if !(o.Weld >= 0 && o.Weld <= MaxWeld) {
		return fmt.Errorf("welding distance %v mm is not from 0 to %v", o.Weld, MaxWeld)
	}
	return nil
}

// Report says what [Read] found.
type Report struct {
	Format      string   // "binary STL", "ASCII PLY", "OBJ" and the like
	Triangles   int      // in the file
	Solids      int      // in the file: of an OBJ file its objects and groups; binary STL and PLY files have one
	Unit        Unit     // of the file, as used
	UnitGuessed bool     // Unit was guessed
	Weld        float64  // welding distance as used, mm
	Welded      int      // vertices joined with a near one; bitwise-equal corners do not count
	Degenerate  int      // triangles left out: two equal corners, or corners on a line
	Duplicate   int      // triangles left out: same corners as an earlier one
	Notes       []string // what is odd about the file, in the order found
}

func (r *Report) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// ReadError says why a file cannot be read, and where.
type ReadError struct {
	File     string
	Line     int // in an ASCII file, from 1; 0: none
	Triangle int // from 1; 0: none
	Text     string
	Err      error // cause; may be nil
}

// Error gives "file:line: triangle n: text: cause", less what is not known.
func (e *ReadError) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
	}
	if e.Triangle > 0 {
		fmt.Fprintf(&b, ": triangle %d", e.Triangle)
	}
	for _, s := range []string{e.Text, causeText(e.Err)} {
		if s != "" {
			b.WriteString(": ")
			b.WriteString(s)
		}
	}
	return b.String()
}

// causeText leaves the path out of an error of the file system: the message
// names the file already.
func causeText(err error) string {
	if err == nil {
		return ""
	}
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err.Error()
	}
	return err.Error()
}

// Unwrap returns the cause.
func (e *ReadError) Unwrap() error { return e.Err }

// Read reads an STL, PLY or OBJ file, binary or text, from its start to its end,
// and returns its triangles in mm: corners welded, degenerate and duplicate
// triangles left out, unused vertices gone. Polygons are cut into triangles from
// their first corner, which is right for convex ones.
//
// Vertices and triangles keep the order of the file. The mesh is never empty,
// all coordinates are finite, all indices in range. What is odd but readable
// is read and noted in the report; anything else is a [*ReadError] of one
// line. Allocation is bounded by the size of the file, whatever it says
// about itself.
func Read(r io.ReadSeeker, opt ReadOptions) (*Mesh, *Report, error) {
	m, rep, err := readMesh(r, opt)
	if err == nil {
		return m, rep, nil
	}
	var re *ReadError
	if !errors.As(err, &re) {
		re = &ReadError{Err: err}
	}
	re.File = opt.Name
	if re.File == "" {
		re.File = "input"
	}
	return nil, nil, re
}

func readMesh(r io.ReadSeeker, opt ReadOptions) (*Mesh, *Report, error) {
	if err := opt.Validate(); err != nil {
		return nil, nil, err
	}
	rep := &Report{Unit: opt.Unit}
	s, err := readTriangles(r, opt.Name, rep)
	if err != nil {
		return nil, nil, err
	}
	rep.Triangles = s.count()
	if rep.Triangles == 0 {
		return nil, nil, &ReadError{Text: "no triangles"}
	}

	size, largest := s.extent()
	if rep.Unit == AutoUnit && size.Norm() > 0 {
		if rep.Unit, err = guessUnit(size); err != nil {
			return nil, nil, err
		}
		rep.UnitGuessed = true
		rep.note("unit guessed as %s, which makes it %s", rep.Unit, inMetres(size.Mul(rep.Unit.Millimetres())))
	}
	scale := rep.Unit.Millimetres()
	largest *= scale
	if step := largest * s.resolution(); step > coarseStep {
		rep.note("coordinates reach %.3g m, where the file resolves only %.2g mm", largest/1000, step)
	}
	rep.Weld = opt.Weld
	if rep.Weld == 0 {
		rep.Weld = defaultWeld(largest)
	}

	m := s.mesh(scale)
	s = nil // the tables may go
	rep.Welded = weldNear(m, rep.Weld)
	rep.Degenerate = dropDegenerate(m)
	rep.Duplicate = dropDuplicates(m)
	dropUnused(m)
	if len(m.Triangles) == 0 {
		return nil, nil, &ReadError{Text: fmt.Sprintf("none of the %d triangles has an area", rep.Triangles)}
	}
	return m, rep, nil
}

// coarseStep is the resolution, in mm, from which a file is said to be too far
// from its origin: a tenth of what the best scanners resolve
// (references.md G: structured light 0.05 to 0.5 mm, from memory there).
const coarseStep = 0.05

// triangles are those of a file, in its unit.
type triangles interface {
	count() int
	// extent returns the edges of the box around all vertices that are used,
	// and the largest absolute coordinate.
	extent() (size r3.Vector, largest float64)
	// resolution is the relative spacing of the numbers in the file.
	resolution() float64
	// mesh returns them in mm, the file's unit being scale mm long. It can be
	// called once.
	mesh(scale float64) *Mesh
}

// readTriangles finds out what r is and reads its triangles.
func readTriangles(r io.ReadSeeker, name string, rep *Report) (triangles, error) {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, &ReadError{Text: "cannot be read", Err: err}
	}
	// A directory fails here, before its meaningless size is asked for.
	head := make([]byte, headSize)
	n, err := io.ReadFull(r, head)
	head = head[:n]
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, &ReadError{Text: "cannot be read", Err: err}
	}
	if n == 0 {
		return nil, &ReadError{Text: "the file is empty"}
	}
	size, err := r.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, &ReadError{Text: "cannot be read", Err: err}
	}

	format, start, err := detect(head, size, name)
	if err != nil {
		return nil, err
	}
	if _, err := r.Seek(start, io.SeekStart); err != nil {
		return nil, &ReadError{Text: "cannot be read", Err: err}
	}
	rep.Format = format
	if start > 0 {
		rep.note("a byte order mark at the start is skipped")
	}
	var s triangles
	switch format {
	case asciiSTL:
		s, err = readASCII(r, size, rep)
	case asciiPLY:
		s, err = readPLY(r, size, rep)
	case formatOBJ:
		s, err = readOBJ(r, size, rep)
	default:
		if isWord(head, "solid") {
			rep.note(`a binary file although it begins with "solid"`)
		}
		rep.Solids = 1
		s, err = readBinary(r, size, rep)
	}
	if err != nil {
		return nil, err // not s, which is not nil although it holds a nil
	}
	return s, nil
}

// Names of formats in the report.
const (
	binarySTL = "binary STL"
	asciiSTL  = "ASCII STL"
	asciiPLY  = "ASCII PLY"
	littlePLY = "binary PLY"
	bigPLY    = "binary big-endian PLY"
	formatOBJ = "OBJ"
)

// headSize is how much of a file is looked at to find out what it is, in
// bytes.
const headSize = 4096

var utf8Mark = []byte("\xef\xbb\xbf")

// detect tells what a file of size bytes is that begins with head, and where
// its data start. Any PLY file is asciiPLY: its header says more.
//
// A size that fits the count of a binary STL file settles it: the count of a text
// would be four printable characters, which call for at least 26 GB. Then the first
// line of a PLY file does. Else a text that begins with "solid" is ASCII STL, one
// that looks like OBJ is OBJ, and what is neither text nor a known format is tried
// as binary STL.
func detect(head []byte, size int64, name string) (format string, start int64, err error) {
	if fitsBinary(head, size) {
		return binarySTL, 0, nil
	}
	if kind := otherFormat(head); kind != "" {
		return "", 0, &ReadError{Text: "not an STL, PLY or OBJ file but " + kind}
	}
	text := bytes.TrimPrefix(head, utf8Mark)
	start = int64(len(head) - len(text))
	if rest, ok := bytes.CutPrefix(text, []byte("ply")); ok {
		rest = bytes.TrimLeft(rest, " \t")
		if len(rest) == 0 || rest[0] == '\n' || rest[0] == '\r' {
			return asciiPLY, start, nil
		}
	}
	if !isText(head) {
		return binarySTL, 0, nil
	}
	trimmed := bytes.TrimLeft(text, " \t\r\n\v\f")
	switch {
	case isWord(trimmed, "solid"):
		return asciiSTL, start, nil
	case len(trimmed) == 0 && size <= int64(len(head)):
		return "", 0, &ReadError{Text: "the file is blank"}
	case likeOBJ(text, strings.HasSuffix(strings.ToLower(name), ".obj")):
		return formatOBJ, start, nil
	}
	return "", 0, &ReadError{Text: fmt.Sprintf("not an STL, PLY or OBJ file: a text that begins with %q", firstWord(trimmed))}
}

// fitsBinary tells whether size is that of a binary STL file with the count
// in head.
func fitsBinary(head []byte, size int64) bool {
	if len(head) < stlHeader {
		return false
	}
	count := int64(binary.LittleEndian.Uint32(head[stlText:]))
	return count > 0 && size == stlHeader+stlFacet*count
}

// isText tells whether head could be the start of a text: no control
// characters but white space.
func isText(head []byte) bool {
	for _, b := range head {
		if b < ' ' && (b < '\t' || b > '\r') {
			return false
		}
	}
	return true
}

// isWord tells whether text begins with the word, in any case of letters,
// and the word ends there.
func isWord(text []byte, word string) bool {
	if len(text) < len(word) || !isKeyword(text[:len(word)], word) {
		return false
	}
	return len(text) == len(word) || text[len(word)] <= ' '
}

// firstWord returns the first word of text, at most 20 bytes of it.
func firstWord(text []byte) []byte {
	if i := bytes.IndexAny(text, " \t\r\n\v\f"); i >= 0 {
		text = text[:i]
	}
	return text[:min(len(text), 20)]
}

// otherFormat names a well-known kind of file by its first bytes, in words
// that fit behind "not an STL, PLY or OBJ file but". Empty: not known.
func otherFormat(head []byte) string {
	for _, f := range otherFormats {
		if bytes.HasPrefix(head, []byte(f.magic)) {
			return f.kind
		}
	}
	text := bytes.ToLower(bytes.TrimLeft(bytes.TrimPrefix(head, utf8Mark), " \t\r\n"))
	switch {
	case bytes.HasPrefix(text, []byte("<!doctype html")), bytes.HasPrefix(text, []byte("<html")):
		return "a web page (HTML)"
	case bytes.HasPrefix(text, []byte("<?xml")):
		return "an XML document"
	}
	return ""
}

// First bytes of formats that are taken for meshes or saved under a wrong
// name. (From the formats' specifications, from memory.)
var otherFormats = []struct{ magic, kind string }{
	{"\x89PNG\r\n\x1a\n", "a PNG picture"},
	{"\xff\xd8\xff", "a JPEG picture"},
	{"PK\x03\x04", "a ZIP archive (3MF files are, too)"},
	{"\x1f\x8b", "a gzip archive"},
	{"7z\xbc\xaf\x27\x1c", "a 7z archive"},
	{"%PDF-", "a PDF document"},
	{"glTF", "a binary glTF file"},
	{"ISO-10303-21;", "a STEP file"},
	{"\xff\xfe", "a text in UTF-16"},
	{"\xfe\xff", "a text in UTF-16"},
}
