package bender

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/golang/geo/s1"
	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"barwright/fit/job"
)

// File is a file of test pieces, in mm.
type File struct {
	Name     string
	Unit     job.Unit // of the lengths in the file, and of those to be shown: mm or in
	Pieces   []Piece
	Setting  Setting
	Wall     float64 // of the tube, mm; 0: not given
	Material string  // ""; or a name, not looked up
	places   []map[string]job.Position
}

// Limits of what is read. They are wide: what they stop is a slip of the unit or
// the decimal point.
const (
	largestFile = 512 << 10 // bytes; a hundred pieces take about 20 kB
	mostKeys    = 40        // of a table: the decoder's time grows with the square of it
)

// ReadPieces reads test pieces from the bytes of a TOML file, or of a CSV file if
// name ends in .csv; nothing is opened. All that is wrong comes back as
// job.ParseErrors with line and column, sorted by place.
//
// TOML has keys of the die (die, od, wall, clr, material, units and the errors of
// measurements: length_error, angle_error, set_error, diameter_error) and then a
// [[piece]] table for each piece. CSV has one piece a row under a row with the same
// names; what is said of the die stands in columns too, in any row, and the same in
// all rows that say it. Separators are commas, or semicolons, and then numbers may
// have decimal commas; lines that begin with # are left out. Lengths are in the
// unit that units names, mm or in, angles in degrees.
func ReadPieces(name string, data []byte) (*File, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	r := &piecesReader{File: &File{Name: name, Unit: job.MM}, data: data, lines: []int{0}}
	for i, c := range data {
		if c == '\n' {
			r.lines = append(r.lines, i+1)
		}
	}
	switch at := job.NotText(data); {
	case len(data) > largestFile:
		r.errorf(job.Position{Line: 1, Column: 1}, "the file has %d bytes, must have at most %d", len(data), largestFile)
	case at >= 0:
		r.errorf(r.position(at), "not a text file: byte 0x%02x", data[at])
	case strings.EqualFold(path.Ext(name), ".csv"):
		r.csv()
	default:
		r.toml()
	}
	if len(r.errs) > 0 {
		slices.SortStableFunc(r.errs, func(a, b job.ParseError) int {
			if a.Pos.Line != b.Pos.Line {
				return a.Pos.Line - b.Pos.Line
			}
			return a.Pos.Column - b.Pos.Column
		})
		return nil, r.errs
	}
	return r.File, nil
}

// Place returns where a piece's measurement stands in the file: the piece, if it
// has none of that key; the first piece, or what is said of the die, for piece -1.
func (f *File) Place(piece int, key string) job.Position {
	for _, i := range []int{piece + 1, 0} {
		if i < len(f.places) {
			if pos, ok := f.places[i][key]; ok {
				return pos
			}
			if pos, ok := f.places[i][""]; ok {
				return pos
			}
		}
	}
	return job.Position{Line: 1, Column: 1}
}

// cell is a value as it stands in the file.
type cell struct {
	at     job.Position
	kind   string // "a number", "a text" or what else it is
	text   string
	num    float64
	either bool // of CSV: a text that may be a number
}

const (
	aNumber = "a number"
	aText   = "a text"
	aDate   = "a date"
)

// record is the keys of one table, or the columns of one row.
type record struct {
	at    job.Position
	names []string
	cells map[string]cell
}

func (r *record) add(name string, c cell) {
	if r.cells == nil {
		r.cells = map[string]cell{}
	}
	r.names = append(r.names, name)
	r.cells[name] = c
}

// piecesReader reads a file of test pieces.
type piecesReader struct {
	*File
	data  []byte
	lines []int
	errs  job.ParseErrors
	mm    float64
}

// position turns a byte offset into a line and a column in characters.
func (r *piecesReader) position(at int) job.Position {
	at = max(0, min(at, len(r.data)))
	line := sort.SearchInts(r.lines, at+1) - 1
	return job.Position{Line: line + 1, Column: utf8.RuneCount(r.data[r.lines[line]:at]) + 1}
}

func (r *piecesReader) errorf(at job.Position, format string, args ...any) {
	r.errs = append(r.errs, job.ParseError{File: r.Name, Pos: at, Text: fmt.Sprintf(format, args...)})
}

// dieKey is a key that is said of the die.
type dieKey struct {
	name string
	read func(r *piecesReader, what string, c cell)
}

// dieKeys come in the order in which they are read: units before lengths.
var dieKeys = []dieKey{
	{"units", func(r *piecesReader, what string, c cell) {
		switch w := r.word(what, c, string(job.MM), string(job.Inch)); w {
		case "":
			r.mm = 0
		default:
			r.Unit = job.Unit(w)
			if r.Unit == job.Inch {
				r.mm = mmPerInch
			}
		}
	}},
	{"die", func(r *piecesReader, what string, c cell) { r.Setting.Name = r.label(what, c) }},
	{"od", func(r *piecesReader, what string, c cell) { r.Setting.OD = r.length(what, c, 5, 500) }},
	{"wall", func(r *piecesReader, what string, c cell) {
		r.Wall = r.length(what, c, 0.1, 100)
		if r.Wall > 0 && r.Setting.OD > 0 && 2*r.Wall >= r.Setting.OD {
			r.errorf(c.at, "%s must be less than half of od, got %s", what, c.text)
		}
	}},
	{"clr", func(r *piecesReader, what string, c cell) {
		r.Setting.CLR = r.length(what, c, 1, 10e3)
		if r.Setting.CLR > 0 && r.Setting.CLR <= r.Setting.OD/2 {
			r.errorf(c.at, "%s must be more than half of od, got %s", what, c.text)
		}
	}},
	{"material", func(r *piecesReader, what string, c cell) { r.Material = r.label(what, c) }},
	{"length_error", func(r *piecesReader, what string, c cell) { r.Setting.Noise.Length = r.length(what, c, 0.01, 20) }},
	{"angle_error", func(r *piecesReader, what string, c cell) { r.Setting.Noise.Angle = r.angle(what, c, 0.001, 10) }},
	{"set_error", func(r *piecesReader, what string, c cell) { r.Setting.Noise.Set = r.angle(what, c, 0, 10) }},
	{"diameter_error", func(r *piecesReader, what string, c cell) { r.Setting.Noise.Diameter = r.length(what, c, 0.001, 20) }},
}

// pieceKey is a key of a piece.
type pieceKey struct {
	name string
	need bool
	read func(r *piecesReader, what string, c cell, p *Piece)
}

var pieceKeys = []pieceKey{
	{"name", false, func(r *piecesReader, what string, c cell, p *Piece) { p.Name = r.label(what, c) }},
	{"date", false, func(r *piecesReader, what string, c cell, p *Piece) {
		if c.kind == aDate || c.kind == aNumber {
			c.kind = aText
		}
		p.Date = r.label(what, c)
	}},
	lengthKey("length", func(p *Piece) *float64 { return &p.Length }),
	lengthKey("mark", func(p *Piece) *float64 { return &p.Mark }),
	{"set", true, func(r *piecesReader, what string, c cell, p *Piece) { p.Set = r.angle(what, c, 0.1, 270) }},
	{"angle", true, func(r *piecesReader, what string, c cell, p *Piece) { p.Angle = r.angle(what, c, 0.1, 180) }},
	lengthKey("leg_a", func(p *Piece) *float64 { return &p.LegA }),
	lengthKey("leg_b", func(p *Piece) *float64 { return &p.LegB }),
	{"to", false, func(r *piecesReader, what string, c cell, p *Piece) {
		p.Legs = Edge(r.word(what, c, string(EdgeOutside), string(EdgeInside)))
	}},
	lengthKey("chord", func(p *Piece) *float64 { return &p.Chord }),
	lengthKey("height", func(p *Piece) *float64 { return &p.Height }),
	{"chord_on", false, func(r *piecesReader, what string, c cell, p *Piece) {
		p.ChordOn = Edge(r.word(what, c, string(EdgeOutside), string(EdgeInside), string(EdgeCentre)))
	}},
	lengthKey("smallest", func(p *Piece) *float64 { return &p.Smallest }),
	lengthKey("largest", func(p *Piece) *float64 { return &p.Largest }),
}

func lengthKey(name string, place func(*Piece) *float64) pieceKey {
	return pieceKey{name, false, func(r *piecesReader, what string, c cell, p *Piece) {
		*place(p) = r.length(what, c, 0.1, 10e3)
	}}
}

const mmPerInch = 25.4 // exact by definition (international inch)

// number returns the number in a cell; ok is false, and the error noted, if it is
// none.
func (r *piecesReader) number(what string, c cell) (float64, bool) {
	if c.kind != aNumber && !(c.either && !math.IsNaN(c.num)) {
		got := c.kind
		if c.either {
			got = strconv.Quote(c.text)
		}
		r.errorf(c.at, "%s must be a number, got %s", what, got)
		return 0, false
	}
	return c.num, true
}

// length reads a length within bounds in mm; 0 if it is wrong.
func (r *piecesReader) length(what string, c cell, low, high float64) float64 {
	x, ok := r.number(what, c)
	if !ok || r.mm == 0 {
		return 0
	}
	if mm := x * r.mm; mm >= low && mm <= high {
		return mm
	}
	unit := ""
	if r.Unit == job.MM && x > 0 && x < low {
		unit = `; are the lengths in inches, with units = "in"?`
	}
	r.errorf(c.at, "%s must be %g to %g mm, got %s %s%s", what, low, high, c.text, r.Unit, unit)
	return 0
}

// angle reads an angle within bounds in degrees; 0 if it is wrong.
func (r *piecesReader) angle(what string, c cell, low, high float64) s1.Angle {
	x, ok := r.number(what, c)
	if !ok {
		return 0
	}
	if !(x >= low && x <= high) {
		r.errorf(c.at, "%s must be %g to %g degrees, got %s", what, low, high, c.text)
		return 0
	}
	return s1.Angle(x) * s1.Degree
}

// word reads one of several words; "" if it is none.
func (r *piecesReader) word(what string, c cell, words ...string) string {
	if (c.kind == aText || c.either) && slices.Contains(words, c.text) {
		return c.text
	}
	got := c.kind
	if c.kind == aText || c.either {
		got = strconv.Quote(c.text)
	}
	r.errorf(c.at, "%s must be one of %s, got %s", what, strings.Join(words, ", "), got)
	return ""
}

// label reads a name: one line, not too long.
func (r *piecesReader) label(what string, c cell) string {
	const most = 60 // characters
	switch {
	case c.kind != aText && !c.either:
		r.errorf(c.at, "%s must be a text, got %s", what, c.kind)
	case strings.TrimSpace(c.text) == "":
		r.errorf(c.at, "%s must not be empty", what)
	case strings.ContainsFunc(c.text, func(c rune) bool { return !strconv.IsPrint(c) }):
		r.errorf(c.at, "%s must be one line without control characters", what)
	case utf8.RuneCountInString(c.text) > most:
		r.errorf(c.at, "%s must have at most %d characters", what, most)
	default:
		return c.text
	}
	return ""
}

// die reads what is said of the die.
func (r *piecesReader) die(rec *record) {
	r.mm = 1
	places := map[string]job.Position{"": rec.at}
	for _, k := range dieKeys {
		if c, ok := rec.cells[k.name]; ok {
			places[k.name] = c.at
			k.read(r, k.name, c)
		}
	}
	r.places = []map[string]job.Position{places}
}

// piece reads a piece; die must have been read.
func (r *piecesReader) piece(rec *record) {
	p := Piece{Name: strconv.Itoa(len(r.Pieces) + 1)}
	what := "piece " + p.Name
	places := map[string]job.Position{"": rec.at}
	for _, k := range pieceKeys {
		c, ok := rec.cells[k.name]
		switch {
		case ok:
			places[k.name] = c.at
			k.read(r, what+": "+k.name, c, &p)
			if k.name == "name" && p.Name != "" {
				what = "piece " + strconv.Quote(p.Name)
			}
		case k.need:
			r.errorf(rec.at, "%s: %s is missing", what, k.name)
		}
	}
	for i := range r.Pieces {
		if r.Pieces[i].Name == p.Name {
			at := r.places[i+1]["name"]
			if at == (job.Position{}) {
				at = r.places[i+1][""]
			}
			pos := rec.at
			if c, ok := rec.cells["name"]; ok {
				pos = c.at
			}
			r.errorf(pos, "%s: the name is taken by the piece in line %d", what, at.Line)
			break
		}
	}
	r.Pieces = append(r.Pieces, p)
	r.places = append(r.places, places)
}

// tooMany notes that there are more pieces than are read.
func (r *piecesReader) tooMany(at job.Position) {
	r.errorf(at, "more than %d pieces in one file", mostPieces)
}

// unknown says that a name is none of those that are known.
func (r *piecesReader) unknown(at job.Position, what, name string, names []string) {
	const most = 60
	if c := []rune(name); len(c) > most {
		name = string(c[:most]) + "..."
	}
	r.errorf(at, "unknown %s %q (known: %s)", what, name, strings.Join(names, ", "))
}

func dieNames() (names []string) {
	for _, k := range dieKeys {
		names = append(names, k.name)
	}
	return names
}

func pieceNames() (names []string) {
	for _, k := range pieceKeys {
		names = append(names, k.name)
	}
	return names
}

// toml reads the TOML form.
func (r *piecesReader) toml() {
	top := &record{at: job.Position{Line: 1, Column: 1}}
	var pieces []*record
	current := top
	var p unstable.Parser
	p.Reset(r.data)
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			it := e.Key()
			it.Next()
			name, at := string(it.Node().Data), r.position(int(it.Node().Raw.Offset))
			if e.Kind != unstable.ArrayTable || name != "piece" || !it.IsLast() {
				r.errorf(at, "unknown table %q: there are the keys of the die, and then a [[piece]] for each piece", name)
				return
			}
			if len(pieces) == mostPieces {
				r.tooMany(at)
				return
			}
			current = &record{at: at}
			pieces = append(pieces, current)
		case unstable.KeyValue:
			it := e.Key()
			it.Next()
			name, offset := string(it.Node().Data), int(it.Node().Raw.Offset)
			at := r.position(offset)
			names, what := dieNames(), "key"
			if current != top {
				names, what = pieceNames(), "key of a piece"
			}
			old, twice := current.cells[name]
			switch {
			case !it.IsLast() || !slices.Contains(names, name):
				r.unknown(at, what, name, names)
			case twice:
				r.errorf(at, "%s is already given in line %d", name, old.at.Line)
			default:
				current.add(name, r.tomlCell(e.Value(), offset+int(it.Node().Raw.Length)))
			}
			if len(r.errs) > mostKeys {
				return
			}
		}
	}
	// The decoder finds what a parser alone does not, such as malformed numbers. What
	// else it may have against the file is seen only without an error of our own.
	var ignored map[string]any
	err := toml.Unmarshal(r.data, &ignored)
	var decode *toml.DecodeError
	switch {
	case errors.As(err, &decode):
		row, column := decode.Position()
		if slices.ContainsFunc(r.errs, func(e job.ParseError) bool { return e.Pos.Line == row }) {
			return // a key that is there twice, which is said already
		}
		r.errs = nil
		r.errorf(r.column(row, column), "not valid TOML: %s", oneLineOf(strings.TrimPrefix(decode.Error(), "toml: ")))
		return
	case err == nil && p.Error() != nil:
		err = p.Error()
		fallthrough
	case err != nil && len(r.errs) == 0:
		r.errorf(job.Position{Line: 1, Column: 1}, "not valid TOML: %s", oneLineOf(strings.TrimPrefix(err.Error(), "toml: ")))
		return
	}
	r.die(top)
	for _, rec := range pieces {
		r.piece(rec)
	}
	if len(pieces) == 0 && len(r.errs) == 0 {
		r.errorf(top.at, "there is no [[piece]] in the file")
	}
}

// column counts the decoder's column, which is in bytes, in characters.
func (r *piecesReader) column(row, column int) job.Position {
	if row < 1 || row > len(r.lines) {
		return job.Position{Line: 1, Column: 1}
	}
	return r.position(r.lines[row-1] + max(column, 1) - 1)
}

// oneLineOf makes text one line of print.
func oneLineOf(text string) string {
	return strings.Join(strings.FieldsFunc(text, func(c rune) bool { return c < ' ' }), " ")
}

// tomlCell converts a value whose key ends at the given offset.
func (r *piecesReader) tomlCell(n *unstable.Node, from int) cell {
	from += bytes.IndexByte(r.data[from:], '=') + 1
	for from < len(r.data) && (r.data[from] == ' ' || r.data[from] == '\t') {
		from++
	}
	c := cell{at: r.position(from), text: string(n.Data)}
	switch n.Kind {
	case unstable.Integer, unstable.Float:
		c.kind, c.num = aNumber, tomlNumber(c.text)
	case unstable.String:
		c.kind = aText
	case unstable.Bool:
		c.kind = "true or false"
	case unstable.Array:
		c.kind = "a list"
	case unstable.InlineTable:
		c.kind = "a table"
	default:
		c.kind = aDate
	}
	return c
}

// tomlNumber reads a TOML number. What can't be read is NaN, and fails every check
// of range.
func tomlNumber(text string) float64 {
	text = strings.ReplaceAll(text, "_", "")
	if i, err := strconv.ParseInt(text, 0, 64); err == nil {
		return float64(i)
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil && !math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}

// csv reads the CSV form.
func (r *piecesReader) csv() {
	in := csv.NewReader(bytes.NewReader(r.data))
	in.Comment, in.FieldsPerRecord, in.TrimLeadingSpace = '#', -1, true
	if head := firstLine(r.data); strings.Contains(head, ";") {
		in.Comma = ';'
	}
	known := append(dieNames(), pieceNames()...)
	var header []string
	var pieces []*record
	die := &record{at: job.Position{Line: 1, Column: 1}}
	for {
		fields, err := in.Read()
		if err == io.EOF {
			break
		}
		var wrong *csv.ParseError
		if errors.As(err, &wrong) {
			r.errorf(r.column(wrong.Line, wrong.Column), "not valid CSV: %v", wrong.Err)
			return
		}
		if err != nil {
			r.errorf(die.at, "not valid CSV: %v", err)
			return
		}
		at := func(i int) job.Position {
			line, column := in.FieldPos(i)
			return r.column(line, column)
		}
		if header == nil {
			header = r.header(fields, known, at)
			if header == nil {
				return
			}
			continue
		}
		rec := &record{at: at(0)}
		if !strings.ContainsFunc(strings.Join(fields, ""), func(c rune) bool { return c != ' ' && c != '\t' }) {
			continue // a row of empty fields, as spreadsheets write them
		}
		if len(fields) > len(header) {
			r.errorf(at(len(header)), "this row has %d fields, the first row names %d: a decimal comma needs semicolons between the fields", len(fields), len(header))
			return
		}
		if len(pieces) == mostPieces {
			r.tooMany(rec.at)
			return
		}
		for i, text := range fields {
			text = strings.TrimSpace(text)
			if text == "" {
				continue
			}
			c := cell{at: at(i), text: text, num: csvNumber(text, in.Comma == ';'), either: true}
			name := header[i]
			if name == "" {
				r.errorf(c.at, "%q stands in a column without a name", text)
				continue
			}
			if !slices.Contains(dieNames(), name) {
				rec.add(name, c)
				continue
			}
			old, said := die.cells[name]
			switch {
			case !said:
				die.add(name, c)
			case old.text != text && !(old.num == c.num):
				r.errorf(c.at, "%s is %q here and %q in line %d: a file is about one die", name, text, old.text, old.at.Line)
			}
		}
		pieces = append(pieces, rec)
	}
	if header == nil || len(pieces) == 0 {
		r.errorf(die.at, "there are no test pieces in the file: a first row with the names of the columns, then one row for each piece")
		return
	}
	r.die(die)
	for _, rec := range pieces {
		r.piece(rec)
	}
}

// header reads the row of column names; nil if it is wrong.
func (r *piecesReader) header(fields, known []string, at func(int) job.Position) []string {
	before := len(r.errs)
	header := make([]string, len(fields))
	for i, name := range fields {
		name = strings.TrimSpace(name)
		switch {
		case name == "": // spreadsheets add such columns
		case !slices.Contains(known, name):
			r.unknown(at(i), "column", name, known)
		case slices.Contains(header[:i], name):
			r.errorf(at(i), "column %q is there twice", name)
		}
		header[i] = name
		if len(r.errs)-before > mostKeys {
			return nil
		}
	}
	if len(r.errs) > before {
		return nil
	}
	return header
}

// firstLine returns the first line that is neither empty nor a comment.
func firstLine(data []byte) string {
	for len(data) > 0 {
		line, rest, _ := bytes.Cut(data, []byte("\n"))
		if text := strings.TrimSpace(string(line)); text != "" && text[0] != '#' {
			return text
		}
		data = rest
	}
	return ""
}

// csvNumber reads a number, NaN if it is none.
func csvNumber(text string, comma bool) float64 {
	if comma && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	if strings.ContainsAny(text, "xXpP_nNiI") { // Go's hexadecimals, NaN and Inf
		return math.NaN()
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return math.NaN()
	}
	return x
}
