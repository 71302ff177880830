package job

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is the type of a value, named as messages name it.
type kind string

const (
	kindTable  kind = "a table"
	kindArray  kind = "a list"
	kindString kind = "a text"
	kindNumber kind = "a number"
	kindBool   kind = "true or false"
	kindDate   kind = "a date"
)

// value is a TOML value that knows where in the file it stands.
type value struct {
	kind  kind
	at    int // byte offset of its first character; of a table in [..]: of its name
	text  string
	num   float64
	flag  bool
	items []*value          // of a list
	order []*entry          // of a table, in file order
	named map[string]*entry // of a table

	head    bool // a table with a [header] of its own
	inline  bool // a table or list in one value: nothing can be added to it
	dotted  bool // a table made by a dotted key
	headers bool // a list made of [[headers]]
}

// entry is a key with its value.
type entry struct {
	name string
	at   int // byte offset of the key
	val  *value
}

// get returns the entry of that name, or nil.
func (v *value) get(name string) *entry { return v.named[name] }

// source is a job file while it is read: its text, where its lines begin, and
// the errors found so far.
type source struct {
	file  string
	data  []byte
	lines []int // byte offset at which each line starts
	errs  ParseErrors

	crowded *entry      // the key that is one too many in its table
	late    *ParseError // what the decoder has against a file that the parser takes
}

func newSource(file string, data []byte) *source {
	s := &source{file: file, data: data, lines: []int{0}}
	for i, c := range data {
		if c == '\n' {
			s.lines = append(s.lines, i+1)
		}
	}
	return s
}

// position turns a byte offset into a line and a column in characters.
func (s *source) position(at int) Position {
	at = max(0, min(at, len(s.data)))
	line := sort.SearchInts(s.lines, at+1) - 1
	return Position{Line: line + 1, Column: utf8.RuneCount(s.data[s.lines[line]:at]) + 1}
}

// errorf notes an error at a byte offset.
func (s *source) errorf(at int, format string, args ...any) {
	s.errs = append(s.errs, ParseError{File: s.file, Pos: s.position(at), Text: fmt.Sprintf(format, args...)})
}

// parse reads the text into a tree. It is nil if the text is no TOML; other
// errors (keys that are given twice) leave a tree to go on with.
func (s *source) parse() *value {
	var p unstable.Parser
	p.Reset(s.data)
	root := &value{kind: kindTable}
	current := root
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			current = s.header(root, e)
		case unstable.KeyValue:
			s.keyValue(current, e)
		}
		if s.crowded != nil {
			s.errs = nil
			s.errorf(s.crowded.at, "more than %d keys in one table", mostKeys)
			return nil
		}
	}
	// The decoder finds what a parser alone does not, such as malformed numbers.
	var ignored map[string]any
	err := toml.Unmarshal(s.data, &ignored)
	if err == nil && p.Error() == nil {
		return root
	}
	at, text := 0, "not valid TOML"
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		line, column := decode.Position()
		line = max(1, min(line, len(s.lines)))
		at = s.lines[line-1] + column - 1
		text = strings.TrimPrefix(decode.Error(), "toml: ")
	}
	if p.Error() != nil {
		s.errs = nil // what was seen before the file broke off may be half the truth
		s.errorf(at, "%s", plainSyntax(text))
		return nil
	}
	s.late = &ParseError{File: s.file, Pos: s.position(at), Text: plainSyntax(text)}
	return root
}

// all returns what was found, sorted. The decoder's complaint is left out where
// the line has been found fault with in our own words.
func (s *source) all() ParseErrors {
	if s.late != nil && !slices.ContainsFunc(s.errs, func(e ParseError) bool { return e.Pos.Line == s.late.Pos.Line }) {
		s.errs = append(s.errs, *s.late)
	}
	return s.errs.sorted()
}

// plainSyntax says the library's message about the text in one line of print.
func plainSyntax(text string) string {
	return "not valid TOML: " + strings.Join(strings.FieldsFunc(text, func(r rune) bool { return r < ' ' }), " ")
}

// mostKeys is how many keys a table may have. The decoder's time grows with the
// square of it.
const mostKeys = 2000

// add puts an entry into a table.
func (s *source) add(v *value, e *entry) {
	if v.named == nil {
		v.named = map[string]*entry{}
	}
	v.named[e.name] = e
	v.order = append(v.order, e)
	if len(v.order) > mostKeys && s.crowded == nil {
		s.crowded = e
	}
}

// header finds or makes the table of a [header] or [[header]].
func (s *source) header(root *value, e *unstable.Node) *value {
	table := root
	path := []string{}
	for it := e.Key(); it.Next(); {
		key, at := string(it.Node().Data), int(it.Node().Raw.Offset)
		path = append(path, key)
		last := it.IsLast()
		old := table.get(key)
		switch {
		case old == nil && last && e.Kind == unstable.ArrayTable:
			made := &value{kind: kindTable, at: at, head: true}
			s.add(table, &entry{key, at, &value{kind: kindArray, at: at, headers: true, items: []*value{made}}})
			return made
		case old == nil:
			made := &value{kind: kindTable, at: at, head: last}
			s.add(table, &entry{key, at, made})
			table = made
		case old.val.kind == kindArray && old.val.headers && last && e.Kind == unstable.ArrayTable:
			made := &value{kind: kindTable, at: at, head: true}
			old.val.items = append(old.val.items, made)
			return made
		case old.val.kind == kindArray && old.val.headers && !last:
			table = old.val.items[len(old.val.items)-1]
		case old.val.kind == kindTable && !old.val.inline && !last:
			table = old.val
		case old.val.kind == kindTable && !old.val.inline && !old.val.dotted && !old.val.head && e.Kind == unstable.Table:
			old.val.head, old.val.at = true, at
			return old.val
		default:
			s.errorf(at, "%s is already given in line %d", strings.Join(path, "."), s.position(old.at).Line)
			return &value{kind: kindTable, at: at} // read on, into nowhere
		}
	}
	return table
}

// keyValue adds key = value, where the key may be dotted, to the table.
func (s *source) keyValue(table *value, e *unstable.Node) (end int) {
	for it := e.Key(); it.Next(); {
		key, at := string(it.Node().Data), int(it.Node().Raw.Offset)
		old := table.get(key)
		if it.IsLast() {
			keyEnd := at + int(it.Node().Raw.Length)
			val, end := s.value(e.Value(), s.skipTo(keyEnd, '='))
			if old != nil {
				s.errorf(at, "%s is already given in line %d", key, s.position(old.at).Line)
			} else {
				s.add(table, &entry{key, at, val})
			}
			return end
		}
		switch {
		case old == nil:
			made := &value{kind: kindTable, at: at, dotted: true}
			s.add(table, &entry{key, at, made})
			table = made
		case old.val.kind == kindTable && old.val.dotted:
			table = old.val
		default:
			s.errorf(at, "%s is already given in line %d", key, s.position(old.at).Line)
			table = &value{kind: kindTable, at: at}
		}
	}
	return 0
}

// skipTo returns the offset behind the next byte c at or behind from.
func (s *source) skipTo(from int, c byte) int {
	i := bytes.IndexByte(s.data[from:], c)
	return from + i + 1
}

// skipBlank returns the offset of the next character that is not a blank, a
// line end, a comma or part of a comment.
func (s *source) skipBlank(at int) int {
	for at < len(s.data) {
		switch s.data[at] {
		case ' ', '\t', '\r', '\n', ',':
			at++
		case '#':
			if i := bytes.IndexByte(s.data[at:], '\n'); i >= 0 {
				at += i + 1
			} else {
				at = len(s.data)
			}
		default:
			return at
		}
	}
	return at
}

// value converts a node. The parser does not say where lists stand, so the
// offset is carried along: from is at or before the value's first character,
// with nothing but blanks between; end is behind its last one.
func (s *source) value(n *unstable.Node, from int) (v *value, end int) {
	v = &value{at: s.skipBlank(from)}
	end = int(n.Raw.Offset + n.Raw.Length)
	raw := string(n.Data)
	switch n.Kind {
	case unstable.Array:
		v.kind, v.inline, end = kindArray, true, v.at+1
		for it := n.Children(); it.Next(); {
			var item *value
			item, end = s.value(it.Node(), end)
			v.items = append(v.items, item)
		}
		end = s.skipBlank(end) + 1
	case unstable.InlineTable:
		v.kind, v.inline, end = kindTable, true, v.at+1
		for it := n.Children(); it.Next(); {
			end = s.keyValue(v, it.Node())
		}
		end = s.skipBlank(end) + 1
	case unstable.String:
		v.kind, v.text = kindString, raw
	case unstable.Bool:
		v.kind, v.flag = kindBool, raw == "true"
	case unstable.Integer, unstable.Float:
		v.kind, v.text, v.num = kindNumber, raw, number(raw)
	default:
		v.kind, v.text = kindDate, raw
	}
	return v, end
}

// number reads a TOML number. NaN is given for what cannot be read; numbers too
// large are infinite. Both fail any check of range.
func number(raw string) float64 {
	raw = strings.ReplaceAll(raw, "_", "")
	if len(raw) > 1 && strings.ContainsAny(raw[1:2], "xob") {
		i, err := strconv.ParseUint(raw, 0, 64)
		if err != nil {
			return math.NaN()
		}
		return float64(i)
	}
	f, err := strconv.ParseFloat(raw, 64)
	if err != nil && !math.IsInf(f, 0) {
		return math.NaN()
	}
	return f
}
