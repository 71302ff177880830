package bender

import (
	"math"

	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// Tol says how far two shapes may differ and still count as one.
type Tol struct {
	Length float64  // of straights, mm; 0: 0.5
	Angle  s1.Angle // of bends and rotations; 0: 0.25 degrees
}

// The defaults of Tol are common practice, no source: what can be seen when a
// tube is held against its template.
const (
	sameLength = 0.5
	sameAngle  = 0.25 * s1.Degree
)

func (t Tol) orDefault() Tol {
	if !(t.Length > 0) {
		t.Length = sameLength
	}
	if !(t.Angle > 0) {
		t.Angle = sameAngle
	}
	return t
}

// Match says whether and how one shape is another.
type Match struct {
	Same     bool
	Turned   bool // read from the other end
	Mirrored bool // its mirror image: the flat template of the other, turned over
}

// SameShape tells whether b is the shape of a: as it stands, read from the other
// end, mirrored, or both; the first of these that holds. Every straight, tail
// included, every angle and every rotation must agree within tol. Straight tubes
// of one length match. A flat shape is its own mirror image, so Mirrored comes
// for shapes in space only. Set angles and marks are not looked at, nor are
// radii, which tables do not hold.
func SameShape(a, b tube.Table, tol Tol) Match {
	tol = tol.orDefault()
	for _, m := range [...]Match{{true, false, false}, {true, true, false}, {true, false, true}, {true, true, true}} {
		if agree(a, m.of(b), tol) {
			return m
		}
	}
	return Match{}
}

// of returns feeds, rotations, angles and tail of a table, turned and mirrored
// as m says.
func (m Match) of(t tube.Table) tube.Table {
	out := tube.Table{Tail: t.Tail}
	n := len(t.Bends)
	for i := range n {
		b := tube.Bend{Feed: t.Bends[i].Feed, Rotation: t.Bends[i].Rotation, Angle: t.Bends[i].Angle}
		if m.Turned {
			// The order is reversed; a straight and a rotation lie between two
			// bends, so they come with the bend that is now the later one.
			b = tube.Bend{Feed: t.Tail, Angle: t.Bends[n-1-i].Angle}
			if i > 0 {
				b.Feed, b.Rotation = t.Bends[n-i].Feed, t.Bends[n-i].Rotation
			}
		}
		if m.Mirrored {
			b.Rotation = -b.Rotation
		}
		out.Bends = append(out.Bends, b)
	}
	if m.Turned && n > 0 {
		out.Tail = t.Bends[0].Feed
	}
	return out
}

func agree(a, b tube.Table, tol Tol) bool {
	if len(a.Bends) != len(b.Bends) || !(math.Abs(a.Tail-b.Tail) <= tol.Length) {
		return false
	}
	for i := range a.Bends {
		p, q := a.Bends[i], b.Bends[i]
		turn := math.Abs(math.Remainder(float64(p.Rotation-q.Rotation), 2*math.Pi)) // -180 is +180
		if !(math.Abs(p.Feed-q.Feed) <= tol.Length && math.Abs(float64(p.Angle-q.Angle)) <= float64(tol.Angle) && turn <= float64(tol.Angle)) {
			return false
		}
	}
	return true
}

// Shape is a bar as templates see it.
type Shape struct {
	OD    float64 // mm
	CLR   float64 // centreline radius of its bends, mm
	Table tube.Table
}

// Member is a bar that a template serves.
type Member struct {
	Index int   // into the shapes given
	Match Match // how the bar is the first of its family
}

// Families groups bars that one template serves, made for the first of each
// family: members are compared with that one alone, so that errors do not add
// up. Tubes of different outside diameter or bend radius (0.05 mm or more apart)
// are never one family. Straight bars need no template and are left out. Families
// and their members are in the order of the shapes.
func Families(shapes []Shape, tol Tol) [][]Member {
	var out [][]Member
next:
	for i, s := range shapes {
		if len(s.Table.Bends) == 0 {
			continue
		}
		for k := range out {
			first := shapes[out[k][0].Index]
			if !(math.Abs(first.OD-s.OD) < lengthTol && math.Abs(first.CLR-s.CLR) < lengthTol) {
				continue
			}
			if m := SameShape(first.Table, s.Table, tol); m.Same {
				out[k] = append(out[k], Member{i, m})
				continue next
			}
		}
		out = append(out, []Member{{i, Match{Same: true}}})
	}
	return out
}
