package job

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/golang/geo/r3"
)

// This file takes sketches from drawings: named groups of lines, whichever
// format they come in. dxf.go and objlines.go read the two formats.

// largestSketch is the size in bytes of the largest sketch file that is read.
const largestSketch = 64 << 20

// joinWithin is how far apart, in mm, ends of lines may be that are meant to
// meet: half of what neighbouring points of a sketch must be apart.
const joinWithin = pointsApart / 2

// mostSaid is how many errors about one sketch file are listed.
const mostSaid = 20

// sketchFormat returns "dxf" or "obj" by a file's name, "" for any other.
func sketchFormat(name string) string {
	switch strings.ToLower(path.Ext(name)) {
	case ".dxf":
		return "dxf"
	case ".obj":
		return "obj"
	}
	return ""
}

// SketchFiles returns the files that bars take their sketches from, as written
// in the job, each once, in the order of the bars.
func (j *Job) SketchFiles() []string {
	var files []string
	for i := range j.Bars {
		if f := j.Bars[i].SketchFile; f != "" && !slices.Contains(files, f) {
			files = append(files, f)
		}
	}
	return files
}

// drawing is what a sketch file holds.
type drawing struct {
	file   string
	noun   string // what its groups are: "layer" or "object"
	where  string // how lines belong to one: "on a layer" or "in an object"
	groups []*group
	errs   ParseErrors
}

// group is the lines of one name, in file order.
type group struct {
	name   string
	line   int // where it first comes up
	pieces []*piece
}

// piece is one line of two or more points.
type piece struct {
	line   int
	points []node
}

// node is a point, in mm, with the line of the file where it stands.
type node struct {
	r3.Vector
	line int
}

// errorf notes what is wrong with a line of the file.
func (d *drawing) errorf(line int, format string, args ...any) {
	d.errs = append(d.errs, ParseError{File: d.file, Pos: Position{Line: line, Column: 1}, Text: fmt.Sprintf(format, args...)})
}

// group returns the group of that name, made at the line where it is new.
func (d *drawing) group(name string, line int, index map[string]*group) *group {
	g := index[name]
	if g == nil {
		g = &group{name: name, line: line}
		index[name] = g
		d.groups = append(d.groups, g)
	}
	return g
}

// AttachSketches gives the bars that take their sketches from a file what its
// bytes hold; file is the name as the job has it. Nothing is opened.
//
// A DXF file (text, with POLYLINE, LWPOLYLINE and LINE entities) names a bar by
// the layer, an OBJ file (with l elements) by the object or group. Letter case
// is of no account where no name fits exactly, and blanks, _ and - are the same
// then: old drawings know neither small letters nor blanks in names. Lines of
// one name are joined where their ends are at most 0.5 mm apart; they must make
// one open line, which runs as its first piece is drawn. A DXF file is in the
// unit that it states, else in the job's, which Notes then says; an OBJ file is
// in the job's.
//
// A bar that the file does not have and a line that belongs to no bar are
// errors, as all that cannot be read as a sketch. They come as ParseErrors; no
// bar is changed then. Call Finish when all files are attached.
func (j *Job) AttachSketches(file string, data []byte) error {
	d := &drawing{file: file, noun: "object", where: "in an object"}
	if sketchFormat(file) == "dxf" {
		d.noun, d.where = "layer", "on a layer"
	}
	mm := inMM[j.Unit]
	if mm == 0 {
		mm = 1
	}
	var notes []string
	switch {
	case !slices.Contains(j.SketchFiles(), file):
		d.errs = ParseErrors{{File: file, Text: "no bar takes its sketch from this file"}}
	case len(data) > largestSketch:
		d.errs = ParseErrors{{File: file, Text: fmt.Sprintf("a sketch file of %d bytes, must have at most %d", len(data), largestSketch)}}
	case sketchFormat(file) == "dxf":
		notes = d.readDXF(data, mm, j.Unit)
	default:
		d.readOBJ(data, mm)
	}
	if len(d.errs) > 0 {
		return d.shown()
	}
	found := d.assign(j)
	sketches := make([][]r3.Vector, len(j.Bars))
	for i := range j.Bars {
		if g := found[i]; g != nil {
			sketches[i] = d.sketch(g, j.Bars[i].Name)
		}
	}
	if len(d.errs) > 0 {
		return d.shown()
	}
	for i, points := range sketches {
		if points == nil {
			continue
		}
		b := &j.Bars[i]
		b.Sketch = points
		if b.later != nil && !b.later.hug {
			b.Hug = len(points) > 2 && !b.Fixed
		}
	}
	for _, n := range notes {
		if !slices.Contains(j.Notes, n) { // a file may be attached again
			j.Notes = append(j.Notes, n)
		}
	}
	return nil
}

// shown returns the errors, sorted, cut short where they are very many.
func (d *drawing) shown() ParseErrors {
	errs := d.errs.sorted()
	if len(errs) > mostSaid {
		more := len(errs) - mostSaid
		errs = append(errs[:mostSaid:mostSaid], ParseError{File: d.file, Pos: errs[mostSaid].Pos, Text: fmt.Sprintf("and %s more like these", count(more, "error"))})
	}
	return errs
}

// plainName is a name without what old drawings cannot tell apart.
func plainName(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(c rune) bool { return c == ' ' || c == '_' || c == '-' }), " ")
}

// assign finds the group of each bar of the file. It reports bars without one,
// groups without a bar, and names that fit more than one.
func (d *drawing) assign(j *Job) map[int]*group {
	exact, plain := map[string]int{}, map[string][]int{}
	var wanted []string
	for i := range j.Bars {
		b := &j.Bars[i]
		exact[b.Name] = i
		plain[plainName(b.Name)] = append(plain[plainName(b.Name)], i)
		if b.SketchFile == d.file {
			wanted = append(wanted, b.Name)
		}
	}
	if len(d.groups) > mostTables {
		d.errorf(d.groups[mostTables].line, "more than %d %ss with lines", mostTables, d.noun)
		return nil
	}
	found := map[int]*group{}
	var loose []*group
	take := func(g *group, i int) {
		b := &j.Bars[i]
		switch other := found[i]; {
		case b.SketchFile != d.file:
			d.errorf(g.line, "%s is a bar that does not take its sketch from this file", label(d.noun, g.name))
		case other != nil:
			d.errorf(g.line, "%s and %s are both bar %q", label(d.noun, other.name), label(d.noun, g.name), b.Name)
		default:
			found[i] = g
		}
	}
	for _, g := range d.groups {
		if i, ok := exact[g.name]; ok {
			take(g, i)
		} else {
			loose = append(loose, g)
		}
	}
	for _, g := range loose {
		switch fits := plain[plainName(g.name)]; len(fits) {
		case 0:
			d.errorf(g.line, "%s is no bar (%s)", label(d.noun, g.name), known(g.name, wanted))
		case 1:
			take(g, fits[0])
		default:
			d.errorf(g.line, "%s may be bar %q or bar %q", label(d.noun, g.name), j.Bars[fits[0]].Name, j.Bars[fits[1]].Name)
		}
	}
	names := make([]string, len(d.groups))
	for i, g := range d.groups {
		names[i] = g.name
	}
	for i := range j.Bars {
		b := &j.Bars[i]
		if b.SketchFile == d.file && found[i] == nil {
			d.errs = append(d.errs, ParseError{File: j.File, Pos: b.place("sketch"), Text: fmt.Sprintf("%s: sketch file %q has no lines %s of that name (%s)", label("bar", b.Name), d.file, d.where, known(b.Name, names))})
		}
	}
	return found
}

// sketch makes one sketch of a group's pieces, nil if they make none.
func (d *drawing) sketch(g *group, bar string) []r3.Vector {
	what := label(d.noun, g.name)
	total := 0
	for _, p := range g.pieces {
		total += len(p.points)
	}
	// Lines of two points each share all but the outer ones.
	if len(g.pieces) >= mostPoints || total > 2*mostPoints {
		d.errorf(g.line, "%s has %d points, a sketch must have 2 to %d", what, total-len(g.pieces)+1, mostPoints)
		return nil
	}
	chain, ok := d.join(what, g.pieces)
	if !ok {
		return nil
	}
	if len(chain) > mostPoints {
		d.errorf(g.line, "%s has %d points, a sketch must have 2 to %d", what, len(chain), mostPoints)
		return nil
	}
	points := make([]r3.Vector, len(chain))
	for i, n := range chain {
		points[i] = n.Vector
	}
	if i, fault := sketchFault(points); fault != "" {
		d.errorf(chain[i].line, "%s %s", what, fault)
		return nil
	}
	return points
}

// join puts pieces together at their ends into one open line.
func (d *drawing) join(what string, pieces []*piece) ([]node, bool) {
	used := make([]bool, len(pieces))
	used[0] = true
	chain := slices.Clone(pieces[0].points)
	for range 2 { // onward from its end, then from its start
		for {
			next, back, ok := d.next(what, chain, pieces, used)
			if !ok {
				return nil, false
			}
			if next < 0 {
				break
			}
			used[next] = true
			more := slices.Clone(pieces[next].points)
			if back {
				slices.Reverse(more)
			}
			chain = append(chain, more[1:]...)
		}
		slices.Reverse(chain)
	}
	for i, p := range pieces {
		if !used[i] {
			first, last := p.points[0], p.points[len(p.points)-1]
			a, z := chain[0], chain[len(chain)-1]
			gap := min(first.Sub(a.Vector).Norm(), first.Sub(z.Vector).Norm(), last.Sub(a.Vector).Norm(), last.Sub(z.Vector).Norm())
			d.errorf(p.line, "%s: the line here does not meet the end of the others: %.3g mm apart, must be at most %g mm", what, gap, joinWithin)
			return nil, false
		}
	}
	if len(chain) > 2 && meet(chain[0], chain[len(chain)-1]) {
		d.errorf(pieces[0].line, "%s is a closed line, must have two ends", what)
		return nil, false
	}
	return chain, true
}

// next finds the unused piece that meets the end of a chain, and whether by its
// own end; -1 if none does.
func (d *drawing) next(what string, chain []node, pieces []*piece, used []bool) (index int, back, ok bool) {
	end := chain[len(chain)-1]
	index = -1
	for i, p := range pieces {
		if used[i] {
			continue
		}
		starts, ends := meet(p.points[0], end), meet(p.points[len(p.points)-1], end)
		if !starts && !ends {
			continue
		}
		if index >= 0 {
			d.errorf(p.line, "%s: more than two lines meet at %.6g, %.6g, %.6g mm", what, end.X, end.Y, end.Z)
			return -1, false, false
		}
		index, back = i, !starts
	}
	return index, back, true
}

func meet(a, b node) bool { return a.Sub(b.Vector).Norm() <= joinWithin }

// coordinate reads a decimal number and turns it into mm.
func coordinate(text string, mm float64) (float64, error) {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil && !math.IsInf(x, 0) || strings.ContainsAny(text, "xXpP_nN") {
		return 0, fmt.Errorf("%s is no number", quoted(text))
	}
	if !anywhere.holds(x * mm) {
		return 0, fmt.Errorf("%s is %g mm, must be %s", quoted(text), x*mm, anywhere.text("mm"))
	}
	return x * mm, nil
}

// quoted quotes a text for a message, cut short where it is long.
func quoted(text string) string {
	const most = 40
	if c := []rune(text); len(c) > most {
		text = string(c[:most]) + "..."
	}
	return strconv.Quote(text)
}

// unicodeText returns text as it is, or, where it is no UTF-8, as the Latin
// letters that its bytes are.
func unicodeText(text []byte) string {
	if utf8.Valid(text) {
		return string(text)
	}
	letters := make([]rune, len(text))
	for i, c := range text {
		letters[i] = rune(c)
	}
	return string(letters)
}
