package mesh

import (
	"bytes"
	"fmt"
	"io"

	"github.com/golang/geo/r3"
)

// readOBJ reads an OBJ file of size bytes, standing at its start, into triangles.
// Notes go into rep.
//
// Of the format (a text of lines that begin with a keyword; described from memory
// of its open description) it reads "v x y z", with anything behind, and "f" with
// corners v, v/vt, v//vn or v/vt/vn: numbers from 1, or from -1 backwards from the
// last vertex so far. Polygons are cut into triangles from their first corner. "o"
// and "g" begin solids, which are only counted. A backslash at the end of a line
// continues it; "#" begins a comment. Other lines are skipped: those that hold
// geometry, or are not known, with a note.
func readOBJ(r io.Reader, size int64, rep *Report) (*indexed, error) {
	p := &objParser{
		wordReader: wordReader{r: r, buf: make([]byte, min(size+1, bufferSize)), line: 1},
		rep:        rep,
		mesh: &indexed{
			vertices:  make([]r3.Vector, 0, min(size/objVertex, maxVertices)),
			triangles: make([][3]int32, 0, min(size/objTriangle, MaxTriangles)),
			step:      float64Step,
		},
		section: true,
	}
	if err := p.file(); err != nil {
		return nil, err
	}
	return p.mesh, nil
}

// About the bytes that a vertex and a triangle take in an OBJ file with all
// its lines; they only size the tables at the start.
const (
	objVertex   = 150
	objTriangle = 75
)

type objParser struct {
	wordReader
	rep     *Report
	mesh    *indexed
	faces   int  // so far
	section bool // an "o" or "g" has come since the last face

	ahead objAhead // the one with the largest number

	skipped     int    // lines not read that may hold geometry
	skippedLine int    // of the first
	skippedWord string // with which it begins
}

// objAhead is a corner whose vertex was not there yet; it may come later.
type objAhead struct {
	vertex     int64 // counted from 1; 0: none
	line, face int
}

// file reads all lines.
func (p *objParser) file() error {
	for {
		word := p.next()
		if word == nil {
			break
		}
		var err error
		switch {
		case string(word) == "v":
			err = p.vertex()
		case string(word) == "f":
			err = p.face()
		case word[0] == '#':
			p.toLineEnd()
		case string(word) == "o" || string(word) == "g":
			p.section = true
			p.skipLine()
		default:
			if !objHarmless[string(word)] {
				if p.skipped == 0 {
					p.skippedLine, p.skippedWord = p.line, fmt.Sprintf("%.40q", word)
				}
				p.skipped++
			}
			p.skipLine()
		}
		if err != nil {
			return err
		}
	}
	if p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	return p.end()
}

// objHarmless are the keywords of lines without geometry.
var objHarmless = map[string]bool{
	"vt": true, "vn": true, "vp": true, "s": true, "mg": true,
	"usemtl": true, "mtllib": true, "usemap": true, "maplib": true,
	"bevel": true, "c_interp": true, "d_interp": true, "lod": true,
	"shadow_obj": true, "trace_obj": true,
}

// end checks what could not be checked before all lines were read.
func (p *objParser) end() error {
	if n := int64(len(p.mesh.vertices)); p.ahead.vertex > n {
		return &ReadError{Line: p.ahead.line, Text: fmt.Sprintf("face %d: %s", p.ahead.face, outOfRange(p.ahead.vertex, int(n)))}
	}
	if p.skipped > 0 && len(p.mesh.vertices) == 0 && p.faces == 0 {
		return &ReadError{Line: p.skippedLine, Text: "not an OBJ file: a line that begins with " + p.skippedWord}
	}
	if p.skipped > 0 {
		p.rep.note("not read: %d lines that are neither vertex nor face, the first %s in line %d", p.skipped, p.skippedWord, p.skippedLine)
	}
	if p.rep.Solids > 1 {
		p.rep.note("%d solids are read as one mesh", p.rep.Solids)
	}
	return p.mesh.finish(p.rep)
}

// vertex reads a vertex after the word "v". A weight or colour behind it is
// ignored.
func (p *objParser) vertex() error {
	var v [3]float64
	for axis := range v {
		word := p.word()
		if word == nil {
			return p.ended("a coordinate")
		}
		x, ok := parseFloat64(word)
		if ok {
			x, ok = coordinate(x)
		}
		if !ok {
			return p.badNumber(word)
		}
		v[axis] = x
	}
	p.skipLine()
	if len(p.mesh.vertices) == maxVertices {
		return p.fail("more than %d vertices", maxVertices)
	}
	p.mesh.vertices = append(p.mesh.vertices, r3.Vector{X: v[0], Y: v[1], Z: v[2]})
	return nil
}

// face reads a face after the word "f".
func (p *objParser) face() error {
	if p.section {
		p.rep.Solids++
		p.section = false
	}
	p.faces++
	var f fan
	for {
		word := p.word()
		if word == nil || word[0] == '#' {
			break
		}
		i, ok := parseCorner(word)
		if !ok {
			return p.faceError("a corner expected, found %.40q", word)
		}
		n := int64(len(p.mesh.vertices))
		switch {
		case i < -n || i == 0 || i > maxVertices:
			return p.faceError("%s", outOfRange(i, int(n)))
		case i < 0:
			i += n + 1
		case i > n && i > p.ahead.vertex:
			p.ahead = objAhead{vertex: i, line: p.line, face: p.faces}
		}
		if !p.mesh.add(&f, int32(i-1)) {
			return p.faceError("more than %d triangles", MaxTriangles)
		}
	}
	p.toLineEnd()
	if p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	p.mesh.end(&f)
	return nil
}

// outOfRange says that a face has no vertex i.
func outOfRange(i int64, vertices int) string {
	if i < 0 {
		return fmt.Sprintf("vertex %d is out of range: there are %d before this line", i, vertices)
	}
	return fmt.Sprintf("vertex %d is out of range: there are %d, counted from 1", i, vertices)
}

// parseCorner reads the number of the vertex of a corner, v, v/vt, v//vn or
// v/vt/vn. The other numbers are only looked at for their form.
func parseCorner(word []byte) (int64, bool) {
	first, rest, more := bytes.Cut(word, []byte("/"))
	vertex, ok := parseWhole(first)
	if !ok || !more {
		return vertex, ok
	}
	texture, normal, more := bytes.Cut(rest, []byte("/"))
	if len(texture) > 0 {
		if _, ok := parseWhole(texture); !ok {
			return 0, false
		}
	}
	// Some writers leave the slashes of numbers that they have not.
	if more && len(normal) > 0 {
		if _, ok := parseWhole(normal); !ok {
			return 0, false
		}
	}
	return vertex, true
}

// word returns the next word of the line, which may be continued, and nil at its
// end.
func (p *objParser) word() []byte {
	for {
		word := p.nextInLine()
		if len(word) == 0 || word[len(word)-1] != '\\' {
			return word
		}
		// The word does not outlive a look at what comes after it.
		word = bytes.Clone(word)
		if !p.atLineEnd() {
			return word
		}
		p.crossLine(false)
		if len(word) > 1 {
			return word[:len(word)-1]
		}
	}
}

// atLineEnd skips blanks and tells whether the line ends there.
func (p *objParser) atLineEnd() bool {
	for p.startsWith(' ') || p.startsWith('\t') {
		p.at++
	}
	return p.startsWith('\n') || p.startsWith('\r') || p.atEnd()
}

// skipLine reads to the end of the line, which may be continued.
func (p *objParser) skipLine() {
	for word := p.word(); word != nil; word = p.word() {
		if word[0] == '#' {
			p.toLineEnd()
			return
		}
	}
}

// toLineEnd reads to the end of the line as it stands in the file.
func (p *objParser) toLineEnd() {
	for p.nextInLine() != nil {
	}
}

func (p *objParser) badNumber(word []byte) error {
	switch {
	case p.atEnd() && p.err != nil:
		return &ReadError{Text: "cannot be read", Err: p.err}
	case notFinite(word):
		return p.fail("coordinate is not finite: %.40q", word)
	}
	return p.fail("a coordinate expected, found %.40q", word)
}

// ended says that a vertex's line ends where want should come.
func (p *objParser) ended(want string) error {
	switch {
	case p.err != nil:
		return &ReadError{Text: "cannot be read", Err: p.err}
	case p.atEnd():
		return p.fail("truncated: the file ends where %s should come", want)
	}
	return p.fail("the line ends where %s should come", want)
}

// fail returns an error in the vertex that is being read.
func (p *objParser) fail(format string, args ...any) error {
	return &ReadError{Line: p.line, Text: fmt.Sprintf("vertex %d: ", len(p.mesh.vertices)+1) + fmt.Sprintf(format, args...)}
}

// faceError returns an error in the face that is being read.
func (p *objParser) faceError(format string, args ...any) error {
	if p.atEnd() && p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	return &ReadError{Line: p.line, Text: fmt.Sprintf("face %d: ", p.faces) + fmt.Sprintf(format, args...)}
}

// likeOBJ tells whether a text could be the start of an OBJ file: lines that are
// blank, comments or begin with a keyword of the format, and among them, unless
// the head is all comment or the file is called so, a vertex.
func likeOBJ(text []byte, named bool) bool {
	if named {
		return true
	}
	if len(text) >= headSize-len(utf8Mark) {
		text = text[:bytes.LastIndexAny(text, "\r\n")+1] // the last line may be cut
	}
	other := false
	for line := range bytes.FieldsFuncSeq(text, func(r rune) bool { return r == '\n' || r == '\r' }) {
		words := bytes.Fields(line)
		switch {
		case len(words) == 0 || words[0][0] == '#':
		case string(words[0]) == "v" && len(words) > 1:
			_, ok := parseFloat64(words[1])
			return ok
		case objHarmless[string(words[0])] || len(words[0]) == 1 && bytes.IndexByte([]byte("ogpslf"), words[0][0]) >= 0:
			other = true
		default:
			return false
		}
	}
	return !other
}
