package job

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
)

// This file turns values of the tree into Go values. What a table may hold is
// a list of fields; a new key of the job file is one more line in such a list
// (see schema.go).

// reader is a source with what is needed to understand its values.
type reader struct {
	*source
	unit     Unit
	mm       float64 // one unit in mm
	unitless bool    // the units key is wrong: lengths cannot be judged
	frame    Frame   // of the job's points
}

// field is one key that a table of the file may hold. read puts the value into
// the target and reports what is wrong with it; what names the table and the
// key for messages.
type field[T any] struct {
	name string
	need bool
	read func(r *reader, what string, v *value, into *T)
}

// table reads the fields that a table has, in the order of the list. It
// reports keys that are not in the list, and keys that are missing.
func table[T any](r *reader, what string, v *value, fields []field[T], into *T) {
	prefix := what
	if prefix != "" {
		prefix += ": "
	}
	if v.kind != kindTable {
		r.errorf(v.at, "%s must be a table, got %s", what, v.kind)
		return
	}
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
		if e := v.get(f.name); e != nil {
			f.read(r, prefix+f.name, e.val, into)
		} else if f.need {
			r.errorf(v.at, "%s%s is missing", prefix, f.name)
		}
	}
	for _, e := range v.order {
		if !slices.Contains(names, e.name) {
			r.errorf(e.at, "%sunknown key %q (%s)", prefix, e.name, known(e.name, names))
		}
	}
}

// known tells which name was probably meant, or which there are.
func known(name string, names []string) string {
	if n := nearest(name, names); n != "" {
		return fmt.Sprintf("nearest: %q", n)
	}
	if len(names) == 0 {
		return "there are none"
	}
	const most = 17
	if len(names) > most {
		return fmt.Sprintf("known: %s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return "known: " + strings.Join(names, ", ")
}

// text reads a string; it may not be empty.
func (r *reader) text(what string, v *value) (string, bool) {
	if v.kind != kindString {
		r.errorf(v.at, "%s must be a text, got %s", what, v.kind)
		return "", false
	}
	if strings.TrimSpace(v.text) == "" {
		r.errorf(v.at, "%s must not be empty", what)
		return "", false
	}
	return v.text, true
}

// word reads one of several words.
func (r *reader) word(what string, v *value, words ...string) (string, bool) {
	if v.kind == kindString && slices.Contains(words, v.text) {
		return v.text, true
	}
	got := string(v.kind)
	if v.kind == kindString {
		got = fmt.Sprintf("%q", v.text)
	}
	r.errorf(v.at, "%s must be one of %s, got %s", what, strings.Join(words, ", "), got)
	return "", false
}

// truth reads true or false.
func (r *reader) truth(what string, v *value) (yes, ok bool) {
	if v.kind != kindBool {
		r.errorf(v.at, "%s must be true or false, got %s", what, v.kind)
		return false, false
	}
	return v.flag, true
}

// span is a range of numbers, both ends included unless above says that the
// lower one is not.
type span struct {
	low, high float64
	above     bool
}

func (s span) holds(x float64) bool {
	return x >= s.low && x <= s.high && !(s.above && x == s.low) // false for NaN
}

// text names the range in a unit.
func (s span) text(unit string) string {
	if s.above {
		return strings.TrimSpace(fmt.Sprintf("more than %g and at most %g %s", s.low, s.high, unit))
	}
	return strings.TrimSpace(fmt.Sprintf("%g to %g %s", s.low, s.high, unit))
}

// number reads a number in a range; unit is for messages.
func (r *reader) number(what string, v *value, in span, unit string) (float64, bool) {
	if v.kind != kindNumber {
		r.errorf(v.at, "%s must be a number, got %s", what, v.kind)
		return 0, false
	}
	if !in.holds(v.num) {
		r.errorf(v.at, "%s must be %s, got %s", what, in.text(unit), v.text)
		return 0, false
	}
	return v.num, true
}

// whole reads a whole number in a range.
func (r *reader) whole(what string, v *value, in span) (int, bool) {
	if v.kind != kindNumber || v.num != math.Trunc(v.num) || !in.holds(v.num) {
		got := string(v.kind)
		if v.kind == kindNumber {
			got = v.text
		}
		r.errorf(v.at, "%s must be a whole number, %s, got %s", what, in.text(""), got)
		return 0, false
	}
	return int(v.num), true
}

// length reads a length in the file's unit; the range and the result are mm.
func (r *reader) length(what string, v *value, in span) (float64, bool) {
	if v.kind != kindNumber {
		r.errorf(v.at, "%s must be a number, got %s", what, v.kind)
		return 0, false
	}
	mm := v.num * r.mm
	if r.unitless {
		return mm, !math.IsNaN(mm) && !math.IsInf(mm, 0)
	}
	if !in.holds(mm) {
		r.errorf(v.at, "%s must be %s, got %s", what, in.text("mm"), r.shown(v))
		return 0, false
	}
	return mm, true
}

// shown gives a length as the file has it, and in mm if that is another unit.
func (r *reader) shown(v *value) string {
	if r.unit == MM {
		return v.text + " mm"
	}
	return fmt.Sprintf("%s %s (%g mm)", v.text, r.unit, v.num*r.mm)
}

// angle reads an angle in degrees.
func (r *reader) angle(what string, v *value, in span) (s1.Angle, bool) {
	d, ok := r.number(what, v, in, "degrees")
	return s1.Angle(d) * s1.Degree, ok
}

// vector reads a point [x, y, z] in the file's unit.
func (r *reader) vector(what string, v *value) (r3.Vector, bool) {
	if v.kind != kindArray || v.headers {
		r.errorf(v.at, "%s must be a point [x, y, z], got %s", what, v.kind)
		return r3.Vector{}, false
	}
	if len(v.items) != 3 {
		r.errorf(v.at, "%s must be a point [x, y, z], got %s", what, count(len(v.items), "value"))
		return r3.Vector{}, false
	}
	var c [3]float64
	all := true
	for i, axis := range []string{"x", "y", "z"} {
		x, ok := r.length(what+": "+axis, v.items[i], anywhere)
		c[i], all = x, all && ok
	}
	return r3.Vector{X: c[0], Y: c[1], Z: c[2]}, all
}

// list reads a list; of tells what its items are.
func (r *reader) list(what string, v *value, of string) ([]*value, bool) {
	if v.kind != kindArray || v.headers {
		r.errorf(v.at, "%s must be a list of %s, got %s", what, of, v.kind)
		return nil, false
	}
	return v.items, true
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// The following make field readers that store into a place of the target. What
// cannot be read leaves the place as it is.

func textInto[T any](place func(*T) *string) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		if s, ok := r.text(what, v); ok {
			*place(into) = s
		}
	}
}

func truthInto[T any](place func(*T) *bool) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		if b, ok := r.truth(what, v); ok {
			*place(into) = b
		}
	}
}

func lengthInto[T any](in span, place func(*T) *float64) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		if x, ok := r.length(what, v, in); ok {
			*place(into) = x
		}
	}
}

func numberInto[T any](in span, unit string, place func(*T) *float64) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		if x, ok := r.number(what, v, in, unit); ok {
			*place(into) = x
		}
	}
}

func angleInto[T any](in span, place func(*T) *s1.Angle) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		if a, ok := r.angle(what, v, in); ok {
			*place(into) = a
		}
	}
}

// inTable reads a table of its own into a place of the target.
func inTable[T, U any](fields []field[U], place func(*T) *U) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		table(r, what, v, fields, place(into))
	}
}

func vectorInto[T any](place func(*T) *r3.Vector) func(*reader, string, *value, *T) {
	return func(r *reader, what string, v *value, into *T) {
		if p, ok := r.vector(what, v); ok {
			*place(into) = p
		}
	}
}
