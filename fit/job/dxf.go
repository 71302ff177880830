package job

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/golang/geo/r3"
)

// This file reads text DXF, releases R12 and 2000 (AC1009 and AC1015) and what
// later ones have in common with them: pairs of lines, a group code and a value.
// The reader is our own, as none of the project's libraries reads DXF: it names
// the line of every fault, refuses what it cannot turn into straight lines
// instead of passing it over, and takes memory in proportion to its input.
//
// Facts about the format: units of $INSUNITS, releases and which entities R12
// has are from the published DXF header tables; the group codes of entities,
// flags, the mark of binary files and the spelling \U+XXXX of letters are from
// memory, checked in the tests against files that a general DXF library wrote.

// binaryDXF begins binary files.
const binaryDXF = "AutoCAD Binary DXF"

// dxfUnits tells how many mm the codes of $INSUNITS are.
var dxfUnits = map[int]float64{
	1: 25.4, 2: 304.8, 3: 1609344, 4: 1, 5: 10, 6: 1000, 7: 1e6,
	8: 25.4e-6, 9: 25.4e-3, 10: 914.4, 13: 1e-3, 14: 100,
}

// Flags of POLYLINE and VERTEX, group 70.
const (
	flagClosed  = 1
	flagCurve   = 2 | 4 // smoothed by arcs or a spline
	flag3D      = 8
	flagSurface = 16 | 64 // a mesh of faces
)

// besides are entities that may stand on a bar's layer without being of it.
var besides = []string{"TEXT", "MTEXT", "DIMENSION", "POINT", "LEADER", "MULTILEADER", "TOLERANCE", "VIEWPORT", "ATTDEF"}

// pair is a group code and its value, with the line of the value.
type pair struct {
	code int
	text string
	line int
}

// dxfReader steps through the pairs of a file.
type dxfReader struct {
	rest []byte
	line int // lines read
	held *pair
	unit float64 // one unit of the file in mm
	*drawing
	index map[string]*group
	other []string // kinds of entities that are not read, in order
	count map[string]int
}

// dxfError is what stops the reading, with the line.
type dxfError struct {
	line int
	text string
}

func (e *dxfError) Error() string { return e.text }

func dxfErrorf(line int, format string, args ...any) error {
	return &dxfError{line, fmt.Sprintf(format, args...)}
}

// readDXF reads a DXF file. unit is the job's, jobMM its size in mm, for files
// that state none. It returns what the user should know.
func (d *drawing) readDXF(data []byte, jobMM float64, unit Unit) (notes []string) {
	switch {
	case bytes.HasPrefix(data, []byte(binaryDXF)):
		d.errorf(1, "a binary DXF file, only text DXF is read")
		return nil
	case bytes.HasPrefix(data, []byte("AC10")):
		d.errorf(1, "a DWG file, only text DXF is read")
		return nil
	case bytes.IndexByte(data, 0) >= 0:
		d.errorf(bytes.Count(data[:bytes.IndexByte(data, 0)], []byte("\n"))+1, "not a text file: byte 0x00")
		return nil
	}
	r := &dxfReader{rest: bytes.TrimPrefix(data, []byte("\ufeff")), drawing: d, index: map[string]*group{}, count: map[string]int{}}
	stated, err := r.file(jobMM)
	var at *dxfError
	if errors.As(err, &at) {
		d.errs = nil // what was seen before the file broke off may be half the truth
		d.errorf(max(at.line, 1), "%s", at.text)
		return nil
	}
	if !stated {
		notes = append(notes, fmt.Sprintf("%s states no unit: taken to be in %s, as the job", d.file, unit))
	}
	if len(r.other) > 0 {
		const most = 6
		var kinds []string
		for _, k := range r.other[:min(most, len(r.other))] {
			kinds = append(kinds, fmt.Sprintf("%s (%d)", k, r.count[k]))
		}
		if len(r.other) > most {
			kinds = append(kinds, "and others")
		}
		notes = append(notes, fmt.Sprintf("%s holds what is no sketch and is not read: %s", d.file, strings.Join(kinds, ", ")))
	}
	return notes
}

// textLine returns the next line without blanks around; io.EOF at the end.
func (r *dxfReader) textLine() (string, error) {
	if len(r.rest) == 0 {
		return "", io.EOF
	}
	line, rest, _ := bytes.Cut(r.rest, []byte("\n"))
	r.rest = rest
	r.line++
	return unicodeText(bytes.TrimSpace(line)), nil
}

// next returns the next pair that is no comment; io.EOF where a pair would begin
// and there is nothing more.
func (r *dxfReader) next() (pair, error) {
	if r.held != nil {
		p := *r.held
		r.held = nil
		return p, nil
	}
	for {
		text, err := r.textLine()
		if err != nil || text == "" && len(bytes.TrimSpace(r.rest)) == 0 {
			return pair{}, io.EOF
		}
		code, err := strconv.Atoi(text)
		if err != nil {
			return pair{}, dxfErrorf(r.line, "must be a group code, a whole number, got %s", quoted(text))
		}
		value, err := r.textLine()
		if err != nil {
			return pair{}, dxfErrorf(r.line, "the file ends between group code %d and its value", code)
		}
		if code != 999 {
			return pair{code, value, r.line}, nil
		}
	}
}

// must is next where the file may not end yet; in names what it is within.
func (r *dxfReader) must(in string) (pair, error) {
	p, err := r.next()
	if err == io.EOF {
		return p, dxfErrorf(r.line, "the file ends within %s", in)
	}
	return p, err
}

// file reads all sections and tells whether the file states its unit.
func (r *dxfReader) file(jobMM float64) (stated bool, err error) {
	r.unit = jobMM
	drawn := false // has an ENTITIES section
	for {
		p, err := r.next()
		switch {
		case err == io.EOF && drawn:
			return stated, nil
		case err == io.EOF && r.line == 0:
			return false, dxfErrorf(1, "the file is empty")
		case err == io.EOF:
			return false, dxfErrorf(r.line, "no ENTITIES section in the file")
		case err != nil:
			return false, err
		case p.code == 0 && p.text == "EOF":
			if !drawn {
				return false, dxfErrorf(p.line, "no ENTITIES section in the file")
			}
			return stated, nil
		case p.code != 0 || p.text != "SECTION":
			return false, dxfErrorf(p.line, "must be the start of a section, got group %d, %s", p.code, quoted(p.text))
		}
		name, err := r.must("a section without a name")
		if err != nil {
			return false, err
		}
		if name.code != 2 {
			return false, dxfErrorf(name.line, "must be the name of a section, got group %d, %s", name.code, quoted(name.text))
		}
		switch name.text {
		case "HEADER":
			if drawn {
				return false, dxfErrorf(name.line, "the HEADER section must come before ENTITIES")
			}
			stated, err = r.header()
		case "ENTITIES":
			drawn = true
			err = r.entities()
		default:
			err = r.skip(name.text)
		}
		if err != nil {
			return false, err
		}
	}
}

// skip passes over a section.
func (r *dxfReader) skip(name string) error {
	for {
		p, err := r.must("section " + quoted(name))
		if err != nil {
			return err
		}
		if p.code == 0 && p.text == "ENDSEC" {
			return nil
		}
	}
}

// header reads the unit from the HEADER section.
func (r *dxfReader) header() (stated bool, err error) {
	for {
		p, err := r.must("section \"HEADER\"")
		if err != nil {
			return false, err
		}
		if p.code == 0 && p.text == "ENDSEC" {
			return stated, nil
		}
		if p.code != 9 || p.text != "$INSUNITS" {
			continue
		}
		if p, err = r.must("section \"HEADER\""); err != nil {
			return false, err
		}
		code, err := strconv.Atoi(p.text)
		if p.code != 70 || err != nil {
			return false, dxfErrorf(p.line, "$INSUNITS must be a whole number in group 70, got group %d, %s", p.code, quoted(p.text))
		}
		mm, ok := dxfUnits[code]
		switch {
		case ok:
			r.unit, stated = mm, true
		case code != 0:
			return false, dxfErrorf(p.line, "$INSUNITS = %d is no unit that a sketch may be in", code)
		}
	}
}

// entity is one thing drawn, as far as it matters here.
type entity struct {
	kind      string
	line      int
	layer     string
	paper     bool // not in the model but on a sheet
	flags     int
	count     int // of points, as stated; -1: not stated
	bulge     int // line of the first bulge that is not 0; 0: none
	elevation float64
	normal    [3]float64
	points    []dxfPoint
	end       dxfPoint // of a LINE
}

// dxfPoint is a point, and which of its coordinates were given.
type dxfPoint struct {
	at   [3]float64
	has  [3]bool
	line int
}

func (p dxfPoint) node() node {
	return node{r3.Vector{X: p.at[0], Y: p.at[1], Z: p.at[2]}, p.line}
}

// entities reads the ENTITIES section.
func (r *dxfReader) entities() error {
	for {
		p, err := r.must("section \"ENTITIES\"")
		if err != nil {
			return err
		}
		if p.code != 0 {
			return dxfErrorf(p.line, "must be the start of an entity, got group %d, %s", p.code, quoted(p.text))
		}
		if p.text == "ENDSEC" {
			return nil
		}
		if p.text == "" || !isLetter(p.text[0]) {
			return dxfErrorf(p.line, "must be the name of an entity, got %s", quoted(p.text))
		}
		e, err := r.entity(p)
		if err != nil {
			return err
		}
		switch {
		case e.kind == "POLYLINE":
			err = r.polyline(e)
		case e.kind == "VERTEX" || e.kind == "SEQEND":
			// Text of attributes ends in SEQEND too.
			if e.kind == "VERTEX" {
				err = dxfErrorf(e.line, "VERTEX outside of a POLYLINE")
			}
		case e.paper:
			r.pass(e.kind + " on a sheet")
		case e.kind == "LWPOLYLINE":
			r.light(e)
		case e.kind == "LINE":
			r.straight(e)
		case slices.Contains(besides, e.kind):
			r.pass(e.kind)
		default:
			r.refuse(e, "is no line but %s, a sketch must be of POLYLINE, LWPOLYLINE or LINE", quoted(e.kind))
		}
		if err != nil {
			return err
		}
	}
}

// isLetter tells whether a name may begin with a character.
func isLetter(c byte) bool { return c == '_' || c|0x20 >= 'a' && c|0x20 <= 'z' }

// pass counts a kind of entity that is not read.
func (r *dxfReader) pass(kind string) {
	if r.count[kind] == 0 {
		r.other = append(r.other, kind)
	}
	r.count[kind]++
}

// refuse notes that an entity cannot be a sketch.
func (r *dxfReader) refuse(e *entity, format string, args ...any) {
	r.errorf(e.line, "%s: what is drawn here %s", label(r.noun, e.layer), fmt.Sprintf(format, args...))
}

// isLine tells whether the points of an entity are of interest.
func isLine(kind string) bool {
	return kind == "POLYLINE" || kind == "VERTEX" || kind == "LWPOLYLINE" || kind == "LINE"
}

// entity reads an entity's pairs up to the next one.
func (r *dxfReader) entity(start pair) (*entity, error) {
	e := &entity{kind: start.text, line: start.line, layer: "0", count: -1, normal: [3]float64{0, 0, 1}}
	for {
		p, err := r.must("entity " + quoted(e.kind))
		if err != nil {
			return nil, err
		}
		if p.code == 0 {
			r.held = &p
			return e, nil
		}
		switch {
		case p.code == 8:
			e.layer = layerName(p.text)
		case p.code == 67:
			e.paper = p.text != "0"
		case isLine(e.kind):
			if err := r.property(e, p); err != nil {
				return nil, err
			}
		}
	}
}

// property reads a pair of an entity of interest.
func (r *dxfReader) property(e *entity, p pair) error {
	wrap := func(err error) error {
		return dxfErrorf(p.line, "%s: group %d: %v", e.kind, p.code, err)
	}
	switch p.code {
	case 10, 20, 30:
		x, err := coordinate(p.text, r.unit)
		if err != nil {
			return wrap(err)
		}
		axis := p.code/10 - 1
		if len(e.points) == 0 || axis == 0 && e.points[len(e.points)-1].has[0] {
			e.points = append(e.points, dxfPoint{line: p.line})
		}
		last := &e.points[len(e.points)-1]
		last.at[axis], last.has[axis] = x, true
	case 11, 21, 31:
		x, err := coordinate(p.text, r.unit)
		if err != nil {
			return wrap(err)
		}
		axis := p.code/10 - 1
		if !e.end.has[0] && !e.end.has[1] && !e.end.has[2] {
			e.end.line = p.line
		}
		e.end.at[axis], e.end.has[axis] = x, true
	case 38:
		x, err := coordinate(p.text, r.unit)
		if err != nil {
			return wrap(err)
		}
		e.elevation = x
	case 42:
		x, err := coordinate(p.text, 1)
		if err != nil {
			return wrap(err)
		}
		if x != 0 && e.bulge == 0 {
			e.bulge = p.line
		}
	case 70, 90:
		n, err := strconv.Atoi(p.text)
		if err != nil {
			return wrap(fmt.Errorf("%s is no whole number", quoted(p.text)))
		}
		if p.code == 70 {
			e.flags = n
		} else {
			e.count = n
		}
	case 210, 220, 230:
		x, err := coordinate(p.text, 1)
		if err != nil {
			return wrap(err)
		}
		e.normal[p.code/10-21] = x
	}
	return nil
}

// polyline reads the vertices that follow a POLYLINE, and keeps its line.
func (r *dxfReader) polyline(e *entity) error {
	in := fmt.Sprintf("the POLYLINE of line %d", e.line)
	var corners []*entity
	for {
		p, err := r.must(in)
		if err != nil {
			return err
		}
		if p.code != 0 || p.text != "VERTEX" && p.text != "SEQEND" {
			return dxfErrorf(p.line, "%s must end in SEQEND, got %s", in, quoted(p.text))
		}
		v, err := r.entity(p)
		if err != nil {
			return err
		}
		if v.kind == "SEQEND" {
			break
		}
		if len(v.points) != 1 || !v.points[0].has[0] || !v.points[0].has[1] {
			return dxfErrorf(v.line, "VERTEX must have x and y in groups 10 and 20")
		}
		corners = append(corners, v)
	}
	if e.paper {
		r.pass("POLYLINE on a sheet")
		return nil
	}
	if e.flags&flagSurface != 0 {
		r.refuse(e, "is a surface")
		return nil
	}
	solid := e.flags&flag3D != 0
	if len(e.points) > 0 {
		e.elevation = e.points[0].at[2]
	}
	var points []dxfPoint
	for _, v := range corners {
		c := v.points[0]
		if z := c.at[2]; !solid {
			if z != 0 && z != e.elevation {
				r.errorf(v.line, "%s: z of the point here is not the elevation of its POLYLINE, which is not flagged as one in space", label(r.noun, e.layer))
				return nil
			}
			c.at[2] = e.elevation
		}
		if v.bulge != 0 && e.bulge == 0 {
			e.bulge = v.bulge
		}
		points = append(points, c)
	}
	r.keep(e, points, !solid)
	return nil
}

// light keeps the line of an LWPOLYLINE.
func (r *dxfReader) light(e *entity) {
	for i, p := range e.points {
		if !p.has[0] || !p.has[1] {
			r.errorf(p.line, "%s: LWPOLYLINE must have x and y in groups 10 and 20", label(r.noun, e.layer))
			return
		}
		e.points[i].at[2] = e.elevation
	}
	if e.count >= 0 && e.count != len(e.points) {
		r.refuse(e, "states %s, but has %d", count(e.count, "point"), len(e.points))
		return
	}
	e.flags &= flagClosed // the other flags have another meaning here
	r.keep(e, e.points, true)
}

// straight keeps a LINE.
func (r *dxfReader) straight(e *entity) {
	if len(e.points) != 1 || !e.points[0].has[0] || !e.points[0].has[1] || !e.end.has[0] || !e.end.has[1] {
		r.refuse(e, "is a LINE without x and y of both ends, in groups 10, 20, 11 and 21")
		return
	}
	e.flags = 0
	r.keep(e, []dxfPoint{e.points[0], e.end}, false)
}

// keep adds a line to its layer if it can be a sketch. inPlane tells that its
// points are in axes of its own, which the normal says.
func (r *dxfReader) keep(e *entity, points []dxfPoint, inPlane bool) {
	switch {
	case e.flags&flagClosed != 0:
		r.refuse(e, "is closed, must have two ends")
	case e.flags&flagCurve != 0:
		r.refuse(e, "is a smoothed curve, must be straight between its points")
	case e.bulge != 0:
		r.refuse(e, "has an arc (a bulge, group 42 in line %d), must be straight between its points", e.bulge)
	case inPlane && e.normal != [3]float64{0, 0, 1}:
		r.refuse(e, "is drawn in a plane that is turned (extrusion %g, %g, %g), must be 0, 0, 1", e.normal[0], e.normal[1], e.normal[2])
	case len(points) < 2:
		r.refuse(e, "has %s, must have at least 2", count(len(points), "point"))
	default:
		p := &piece{line: e.line}
		for _, c := range points {
			p.points = append(p.points, c.node())
		}
		g := r.group(e.layer, e.line, r.index)
		g.pieces = append(g.pieces, p)
	}
}

// layerName returns a layer's name with \U+XXXX, as letters are written that
// the file's code page lacks, turned into letters.
func layerName(text string) string {
	const mark = `\U+`
	var b strings.Builder
	for {
		before, after, found := strings.Cut(text, mark)
		b.WriteString(before)
		if !found {
			return b.String()
		}
		text = after
		if len(after) >= 4 {
			if c, err := strconv.ParseUint(after[:4], 16, 32); err == nil && c >= ' ' {
				b.WriteRune(rune(c))
				text = after[4:]
				continue
			}
		}
		b.WriteString(mark)
	}
}
