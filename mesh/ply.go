package mesh

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/golang/geo/r3"
)

// A PLY file is a header of text lines, from "ply" to "end_header", and the
// values that it announces: elements of a kind one after the other, each with its
// properties in order, a property being a value or a list (a count and as many
// values). Values are text, one element a line, or binary in either byte order.
// Source: the format's description at paulbourke.net/dataformats/ply,
// references.md F, status V.

// plyType is a type of values.
type plyType uint8

const (
	plyInt8 plyType = iota
	plyUint8
	plyInt16
	plyUint16
	plyInt32
	plyUint32
	plyFloat32
	plyFloat64
)

// plyTypes are the names of the types; the sizes are in plySizes.
var plyTypes = map[string]plyType{
	"char": plyInt8, "int8": plyInt8,
	"uchar": plyUint8, "uint8": plyUint8,
	"short": plyInt16, "int16": plyInt16,
	"ushort": plyUint16, "uint16": plyUint16,
	"int": plyInt32, "int32": plyInt32,
	"uint": plyUint32, "uint32": plyUint32,
	"float": plyFloat32, "float32": plyFloat32,
	"double": plyFloat64, "float64": plyFloat64,
}

// plySizes are the sizes of the types in a binary file, in bytes.
var plySizes = [...]int64{1, 1, 2, 2, 4, 4, 4, 8}

// plyProperty is a property as the header announces it.
type plyProperty struct {
	list    bool
	count   plyType // of a list
	value   plyType
	purpose plyPurpose
}

// plyPurpose says what a property is read for.
type plyPurpose uint8

const (
	plySkipped plyPurpose = iota
	plyX
	plyY
	plyZ
	plyCorners
)

// plyElement is a kind of element as the header announces it.
type plyElement struct {
	name       string
	count      int64
	properties []plyProperty
}

// has tells whether the element has a property for the purpose.
func (e *plyElement) has(purpose plyPurpose) bool {
	for _, p := range e.properties {
		if p.purpose == purpose {
			return true
		}
	}
	return false
}

// plyParser reads a PLY file.
type plyParser struct {
	wordReader
	size     int64 // of the file, bytes
	rep      *Report
	elements []plyElement
	vertices int  // index into elements; -1: none
	faces    int  // likewise
	text     bool // values are text
	big      bool // values are binary, the most significant byte first
	mesh     *indexed

	element *plyElement // that is being read
	number  int64       // of it, from 0
	fresh   bool        // none of its values was read yet
}

// readPLY reads a PLY file of size bytes, standing at the word "ply". Notes go
// into rep.
//
// Faces are lists of any type, called vertex_indices or vertex_index; they are
// cut into triangles from their first corner. All other elements and
// properties are skipped. In a text, an element ends with its line, which is
// what the format says, so that a value that is missing is found where it is
// missing.
func readPLY(r io.ReadSeeker, size int64, rep *Report) (*indexed, error) {
	p := &plyParser{
		wordReader: wordReader{r: r, buf: make([]byte, min(size+1, bufferSize)), line: 1},
		size:       size,
		rep:        rep,
		vertices:   -1,
		faces:      -1,
		mesh:       &indexed{step: float64Step},
	}
	if err := p.header(); err != nil {
		return nil, err
	}
	for i := range p.elements {
		if err := p.read(i); err != nil {
			return nil, err
		}
	}
	if err := p.rest(r); err != nil {
		return nil, err
	}
	if err := p.mesh.finish(rep); err != nil {
		return nil, err
	}
	return p.mesh, nil
}

// header reads the header to the end of its last line.
func (p *plyParser) header() error {
	p.rep.Solids = 1
	p.nextInLine() // "ply"
	p.nextInLine() // nothing
	// After end_header, a line feed behind a carriage return may be the first
	// byte of the values: only if lines end in CR LF does it end the line.
	crOnly := p.startsWith('\r') && !p.startsWith('\r', '\n')
	formatted := false
	unread, firstUnread := 0, ""
	for {
		if !p.crossLine(crOnly) {
			return p.ended("the header")
		}
		words, n := p.headerLine()
		if n == 0 {
			continue
		}
		var err error
		switch keyword := words[0]; {
		case keyword == "comment" || keyword == "obj_info":
		case keyword == "format" && n == 3 && !formatted:
			formatted = true
			err = p.format(words[1], words[2])
		case keyword == "element" && n == 3:
			err = p.addElement(words[1], words[2])
		case keyword == "property" && n == 3:
			err = p.addProperty(plyProperty{}, words[2], "", words[1])
		case keyword == "property" && n == 5 && words[1] == "list":
			err = p.addProperty(plyProperty{list: true}, words[4], words[2], words[3])
		case keyword == "end_header" && n == 1:
			if !formatted {
				return p.headerError(`no line "format" before the end of the header`)
			}
			if err := p.checkHeader(); err != nil {
				return err
			}
			if unread > 0 {
				p.rep.note("not read: %d lines of the header, first %s", unread, firstUnread)
			}
			p.crossLine(crOnly)
			return nil
		case plyKeywords[keyword]:
			err = p.headerError("not a line of a PLY header: %s", p.shown(words, n))
		default:
			// Some writers forget the word "comment".
			if unread++; unread == 1 {
				firstUnread = fmt.Sprintf("line %d: %s", p.line, p.shown(words, n))
			}
		}
		if err != nil {
			return err
		}
	}
}

// plyKeywords are those of lines that say how to read the file.
var plyKeywords = map[string]bool{"format": true, "element": true, "property": true, "end_header": true}

// headerWords is the largest number of words in a line of a header that are of
// interest.
const headerWords = 5

// headerLine returns the words of a line, as many as are of interest, and their
// number.
func (p *plyParser) headerLine() (words []string, n int) {
	for word := p.nextInLine(); word != nil; word = p.nextInLine() {
		if n < headerWords {
			words = append(words, string(word))
		}
		n++
	}
	return words, n
}

// shown returns a line of n words for a message.
func (p *plyParser) shown(words []string, n int) string {
	dots := ""
	if n > len(words) {
		dots = " ..."
	}
	return fmt.Sprintf("%.60q%s", strings.Join(words, " "), dots)
}

func (p *plyParser) headerError(format string, args ...any) error {
	return &ReadError{Line: p.line, Text: fmt.Sprintf(format, args...)}
}

// format takes in the line "format".
func (p *plyParser) format(name, version string) error {
	switch name {
	case "ascii":
		p.text = true
		p.rep.Format = asciiPLY
	case "binary_little_endian":
		p.rep.Format = littlePLY
	case "binary_big_endian":
		p.big = true
		p.rep.Format = bigPLY
	default:
		return p.headerError("unknown format %.40q: ascii, binary_little_endian or binary_big_endian", name)
	}
	if version != "1.0" {
		return p.headerError("unknown version %.40q of the format: there is only 1.0", version)
	}
	return nil
}

// addElement takes in a line "element".
func (p *plyParser) addElement(name, count string) error {
	n, err := strconv.ParseInt(count, 10, 64)
	if err != nil || n < 0 {
		return p.headerError("a number of elements expected, found %.40q", count)
	}
	which := &p.vertices
	switch name {
	case "vertex":
		if n > maxVertices {
			return p.headerError("%d vertices, more than the %d that can be read", n, maxVertices)
		}
	case "face":
		which = &p.faces
		if n > MaxTriangles {
			return p.headerError("%d faces, more than the %d that can be read", n, MaxTriangles)
		}
	default:
		which = nil
	}
	if which != nil {
		if *which >= 0 {
			return p.headerError("a second element %q", name)
		}
		*which = len(p.elements)
	}
	p.elements = append(p.elements, plyElement{name: name, count: n})
	return nil
}

// addProperty takes in a line "property".
func (p *plyParser) addProperty(property plyProperty, name, count, value string) error {
	if len(p.elements) == 0 {
		return p.headerError("property %.40q before the first element", name)
	}
	var ok bool
	if property.value, ok = plyTypes[value]; !ok {
		return p.headerError("unknown type %.40q of property %.40q", value, name)
	}
	if property.list {
		if property.count, ok = plyTypes[count]; !ok {
			return p.headerError("unknown type %.40q of property %.40q", count, name)
		}
		if property.count >= plyFloat32 {
			return p.headerError("the length of a list cannot be of type %s", count)
		}
	}
	last := len(p.elements) - 1
	e := &p.elements[last]
	switch last {
	case p.vertices:
		property.purpose = vertexPurposes[name]
	case p.faces:
		property.purpose = facePurposes[name]
	}
	if property.purpose != plySkipped {
		if property.list != (property.purpose == plyCorners) {
			return p.headerError("property %q must%s be a list", name, map[bool]string{true: " not"}[property.list])
		}
		if e.has(property.purpose) {
			return p.headerError("a second property %q", name)
		}
	}
	e.properties = append(e.properties, property)
	return nil
}

// Names of the properties that are read. Writers are divided between the two
// names of a face's list.
var (
	vertexPurposes = map[string]plyPurpose{"x": plyX, "y": plyY, "z": plyZ}
	facePurposes   = map[string]plyPurpose{"vertex_indices": plyCorners, "vertex_index": plyCorners}
)

// checkHeader looks for what a mesh needs, and for elements that cannot fit into
// the file, before anything is made room for.
func (p *plyParser) checkHeader() error {
	if p.vertices < 0 {
		return p.headerError(`no element "vertex" in the header`)
	}
	for i, name := range []string{"x", "y", "z"} {
		if !p.elements[p.vertices].has(plyX + plyPurpose(i)) {
			return p.headerError(`element "vertex" has no property %q`, name)
		}
	}
	if p.faces < 0 {
		return p.headerError(`no triangles: no element "face" in the header`)
	}
	if !p.elements[p.faces].has(plyCorners) {
		return p.headerError(`element "face" has no list "vertex_indices" or "vertex_index"`)
	}
	for _, e := range p.elements {
		if size := p.least(&e); size > 0 && e.count > p.size/size {
			return &ReadError{Text: fmt.Sprintf("truncated: the header promises %d elements %.40q of at least %d bytes, the file has %d bytes",
				e.count, e.name, size, p.size)}
		}
	}
	for _, property := range p.elements[p.vertices].properties {
		if property.purpose != plySkipped && property.value == plyFloat32 {
			p.mesh.step = float32Step
		}
	}
	return nil
}

// least returns the least bytes that an element takes in the file.
func (p *plyParser) least(e *plyElement) int64 {
	if p.text {
		return 2*int64(len(e.properties)) - 1 // the last line need not end
	}
	bytes := int64(0)
	for _, property := range e.properties {
		if property.list {
			bytes += plySizes[property.count]
		} else {
			bytes += plySizes[property.value]
		}
	}
	return bytes
}

// read reads all elements of a kind.
func (p *plyParser) read(kind int) error {
	e := &p.elements[kind]
	p.element = e
	if len(e.properties) == 0 {
		return nil
	}
	switch kind {
	case p.vertices:
		p.mesh.vertices = make([]r3.Vector, 0, e.count)
		return p.each(p.vertex)
	case p.faces:
		// A triangle takes at least four values.
		p.mesh.triangles = make([][3]int32, 0, min(e.count, p.size/4))
		return p.each(p.face)
	}
	if e.count > 0 {
		p.rep.note("not read: %d elements %.40q", e.count, e.name)
	}
	return p.each(p.skipElement)
}

// each reads the elements of the present kind with a function.
func (p *plyParser) each(read func() error) error {
	for p.number = 0; p.number < p.element.count; p.number++ {
		p.fresh = true
		if err := read(); err != nil {
			return err
		}
		if !p.text {
			continue
		}
		if word := p.nextInLine(); word != nil {
			return p.fail("the line goes on with %.40q", word)
		}
	}
	return nil
}

func (p *plyParser) skipElement() error {
	for i := range p.element.properties {
		if err := p.skip(&p.element.properties[i]); err != nil {
			return err
		}
	}
	return nil
}

// vertex reads a vertex.
func (p *plyParser) vertex() error {
	var v [3]float64
	for i := range p.element.properties {
		property := &p.element.properties[i]
		var err error
		if property.purpose == plySkipped {
			err = p.skip(property)
		} else {
			v[property.purpose-plyX], err = p.float(property.value)
		}
		if err != nil {
			return err
		}
	}
	var kept [3]float64
	for i, x := range v {
		var ok bool
		if kept[i], ok = coordinate(x); !ok {
			return p.fail("%s: (%v, %v, %v)", unusable(x), v[0], v[1], v[2])
		}
	}
	p.mesh.vertices = append(p.mesh.vertices, r3.Vector{X: kept[0], Y: kept[1], Z: kept[2]})
	return nil
}

// face reads a face.
func (p *plyParser) face() error {
	for i := range p.element.properties {
		property := &p.element.properties[i]
		var err error
		if property.purpose == plyCorners {
			err = p.corners(property)
		} else {
			err = p.skip(property)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// corners reads the list of a face.
func (p *plyParser) corners(property *plyProperty) error {
	n, err := p.length(property)
	if err != nil {
		return err
	}
	var f fan
	vertices := p.elements[p.vertices].count
	for range n {
		i, err := p.whole(property.value)
		if err != nil {
			return err
		}
		if i < 0 || i >= vertices {
			return p.fail("vertex %d is out of range: there are %d, counted from 0", i, vertices)
		}
		if !p.mesh.add(&f, int32(i)) {
			return p.fail("more than %d triangles", MaxTriangles)
		}
	}
	p.mesh.end(&f)
	return nil
}

// skip reads past a property.
func (p *plyParser) skip(property *plyProperty) error {
	n := int64(1)
	if property.list {
		var err error
		if n, err = p.length(property); err != nil {
			return err
		}
	}
	if !p.text {
		return p.skipBytes(n * plySizes[property.value])
	}
	for range n {
		if _, err := p.textValue(); err != nil {
			return err
		}
	}
	return nil
}

// length reads the length of a list.
func (p *plyParser) length(property *plyProperty) (int64, error) {
	n, err := p.whole(property.count)
	if err == nil && n < 0 {
		err = p.fail("a list of length %d", n)
	}
	return n, err
}

// float reads a value.
func (p *plyParser) float(t plyType) (float64, error) {
	if !p.text {
		b := p.bytes(int(plySizes[t]))
		if b == nil {
			return 0, p.cut()
		}
		switch t {
		case plyFloat32:
			return float64(math.Float32frombits(uint32(p.bits(b)))), nil
		case plyFloat64:
			return math.Float64frombits(p.bits(b)), nil
		}
		return float64(signed(p.bits(b), t)), nil
	}
	word, err := p.textValue()
	if err != nil {
		return 0, err
	}
	if t == plyFloat32 {
		if x, ok := parseFloat32(word); ok {
			return float64(x), nil
		}
	} else if x, ok := parseFloat64(word); ok {
		return x, nil
	}
	return 0, p.badNumber(word)
}

// whole reads a value that is a whole number, whatever its type.
func (p *plyParser) whole(t plyType) (int64, error) {
	if p.text {
		word, err := p.textValue()
		if err != nil {
			return 0, err
		}
		n, ok := parseWhole(word)
		if !ok {
			return 0, p.badWhole(word)
		}
		return n, nil
	}
	if t < plyFloat32 {
		b := p.bytes(int(plySizes[t]))
		if b == nil {
			return 0, p.cut()
		}
		return signed(p.bits(b), t), nil
	}
	x, err := p.float(t)
	if err != nil {
		return 0, err
	}
	if x != math.Trunc(x) || math.Abs(x) > 1<<53 {
		return 0, p.fail("a whole number expected, found %v", x)
	}
	return int64(x), nil
}

// bits returns the bits of a binary value.
func (p *plyParser) bits(b []byte) uint64 {
	var order binary.ByteOrder = binary.LittleEndian
	if p.big {
		order = binary.BigEndian
	}
	switch len(b) {
	case 1:
		return uint64(b[0])
	case 2:
		return uint64(order.Uint16(b))
	case 4:
		return uint64(order.Uint32(b))
	}
	return order.Uint64(b)
}

// signed returns the whole number that the bits of type t mean.
func signed(bits uint64, t plyType) int64 {
	switch t {
	case plyInt8:
		return int64(int8(bits))
	case plyInt16:
		return int64(int16(bits))
	case plyInt32:
		return int64(int32(bits))
	}
	return int64(bits)
}

// textValue returns the next value of the element that is being read.
func (p *plyParser) textValue() ([]byte, error) {
	var word []byte
	if p.fresh {
		p.fresh = false
		word = p.next()
	} else {
		word = p.nextInLine()
	}
	switch {
	case word != nil:
		return word, nil
	case p.atEnd():
		return nil, p.cut()
	}
	return nil, p.fail("the line ends where a value should come")
}

func (p *plyParser) badNumber(word []byte) error {
	if p.atEnd() && p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	if notFinite(word) {
		return p.fail("coordinate is not finite: %.40q", word)
	}
	return p.fail("a coordinate expected, found %.40q", word)
}

func (p *plyParser) badWhole(word []byte) error {
	if p.atEnd() && p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	return p.fail("a whole number expected, found %.40q", word)
}

// fail returns an error in the element that is being read.
func (p *plyParser) fail(format string, args ...any) error {
	err := &ReadError{Text: p.where() + ": " + fmt.Sprintf(format, args...)}
	if p.text {
		err.Line = p.line
	}
	return err
}

// where names the element that is being read, counted from 1.
func (p *plyParser) where() string {
	switch name := p.element.name; name {
	case "vertex", "face":
		return fmt.Sprintf("%s %d", name, p.number+1)
	default:
		return fmt.Sprintf("element %.40q %d", name, p.number+1)
	}
}

// cut returns the error of a file that ends in the element that is being read.
func (p *plyParser) cut() error {
	return p.ended(fmt.Sprintf("%s of %d", p.where(), p.element.count))
}

// ended returns the error of a file that ends too early.
func (p *plyParser) ended(where string) error {
	if p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	err := &ReadError{Text: "truncated: the file ends in " + where}
	if p.text || p.element == nil {
		err.Line = p.line
	}
	return err
}

// rest notes what comes after the last element.
func (p *plyParser) rest(r io.Seeker) error {
	if p.text {
		if p.next() != nil {
			p.rep.note("text after the last element, first in line %d, is not read", p.line)
		}
		return nil
	}
	at, err := r.Seek(0, io.SeekCurrent)
	if err != nil {
		return &ReadError{Text: "cannot be read", Err: err}
	}
	if n := p.size - at + int64(p.end-p.at); n > 0 {
		p.rep.note("not read: what comes after the last element, %d of %d bytes", n, p.size)
	}
	return nil
}

// skipBytes reads past n bytes.
func (p *plyParser) skipBytes(n int64) error {
	for n > int64(p.end-p.at) {
		n -= int64(p.end - p.at)
		p.at = p.end
		if !p.fill(p.end) {
			return p.cut()
		}
	}
	p.at += int(n)
	return nil
}

// bytes returns the next n bytes, at most 8, valid until the next call. Nil: the
// file ends.
func (p *plyParser) bytes(n int) []byte {
	for p.end-p.at < n {
		if !p.fill(p.at) {
			return nil
		}
	}
	b := p.buf[p.at : p.at+n]
	p.at += n
	return b
}
