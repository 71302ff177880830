package bender_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/bender"
	"barwright/fit/tube"
)

// rank is the order in which SameShape looks for a match.
func rank(m bender.Match) int {
	n := 0
	if m.Turned {
		n++
	}
	if m.Mirrored {
		n += 2
	}
	return n
}

// A bar, the bar read from the other end, its mirror image and both at once match
// the bar, each in its way or in one that comes before it.
func TestSameShapeOfTransformedBars(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec, p, _ := drawBar(t)
		table := spec.Table(p)
		for _, r := range []struct {
			path *tube.Path
			want bender.Match
		}{
			{p, bender.Match{Same: true}},
			{p.Reversed(), bender.Match{Same: true, Turned: true}},
			{p.Mirrored(), bender.Match{Same: true, Mirrored: true}},
			{p.Mirrored().Reversed(), bender.Match{Same: true, Turned: true, Mirrored: true}},
		} {
			other := spec.Table(r.path)
			got := bender.SameShape(table, other, bender.Tol{})
			require.True(t, got.Same)
			require.LessOrEqual(t, rank(got), rank(r.want)) // less: symmetric or flat within tolerance
			require.True(t, bender.SameShape(other, table, bender.Tol{}).Same)
		}
	})
}

// bent returns a table from feed, rotation and angle in degrees of each bend, and
// the tail.
func bent(tail float64, bends ...[3]float64) tube.Table {
	t := tube.Table{Tail: tail}
	for _, b := range bends {
		t.Bends = append(t.Bends, tube.Bend{Feed: b[0], Rotation: deg(b[1]), Angle: deg(b[2])})
	}
	return t
}

func TestSameShape(t *testing.T) {
	a := bent(300, [3]float64{100, 0, 90}, [3]float64{200, 30, 45})
	for _, r := range []struct {
		name string
		b    tube.Table
		want bender.Match
	}{
		{"itself", a, bender.Match{Same: true}},
		{"within tolerance", bent(300.5, [3]float64{99.6, 0, 90.2}, [3]float64{200.3, 29.8, 45.2}), bender.Match{Same: true}},
		{"tail off", bent(300.6, [3]float64{100, 0, 90}, [3]float64{200, 30, 45}), bender.Match{}},
		{"feed off", bent(300, [3]float64{100, 0, 90}, [3]float64{200.6, 30, 45}), bender.Match{}},
		{"angle off", bent(300, [3]float64{100, 0, 90.3}, [3]float64{200, 30, 45}), bender.Match{}},
		{"rotation off", bent(300, [3]float64{100, 0, 90}, [3]float64{200, 30.3, 45}), bender.Match{}},
		{"a bend less", bent(300, [3]float64{100, 0, 90}), bender.Match{}},
		{"other end", bent(100, [3]float64{300, 0, 45}, [3]float64{200, 30, 90}), bender.Match{Same: true, Turned: true}},
		{"mirrored", bent(300, [3]float64{100, 0, 90}, [3]float64{200, -30, 45}), bender.Match{Same: true, Mirrored: true}},
		{"both", bent(100, [3]float64{300, 0, 45}, [3]float64{200, -30, 90}), bender.Match{Same: true, Turned: true, Mirrored: true}},
		{"no number", bent(math.NaN(), [3]float64{100, 0, 90}, [3]float64{200, 30, 45}), bender.Match{}},
	} {
		assert.Equal(t, r.want, bender.SameShape(a, r.b, bender.Tol{}), r.name)
	}
	// Half a turn is half a turn, whichever way round; a flat bar needs no mirror.
	s := bent(300, [3]float64{100, 0, 90}, [3]float64{200, 180, 45})
	assert.Equal(t, bender.Match{Same: true}, bender.SameShape(s, bent(300, [3]float64{100, 0, 90}, [3]float64{200, -179.9, 45}), bender.Tol{}))
	// Tolerances of one's own.
	assert.True(t, bender.SameShape(a, bent(302, [3]float64{100, 0, 90}, [3]float64{200, 31, 45}), bender.Tol{Length: 3, Angle: 2 * s1.Degree}).Same)
	// Straight tubes.
	assert.True(t, bender.SameShape(bent(300), bent(300.2), bender.Tol{}).Same)
	assert.False(t, bender.SameShape(bent(300), bent(301), bender.Tol{}).Same)
}

func ExampleFamilies() {
	hoop := bent(500, [3]float64{500, 0, 90}, [3]float64{700, 0, 90})
	brace := bent(300, [3]float64{100, 0, 90}, [3]float64{200, 30, 45})
	mirrored := bent(300, [3]float64{100, 0, 90}, [3]float64{200, -30, 45})
	shapes := []bender.Shape{{45, 135, brace}, {45, 135, hoop}, {45, 135, mirrored}, {38, 135, hoop}, {45, 135, bent(900)}}
	for _, family := range bender.Families(shapes, bender.Tol{}) {
		fmt.Println(family)
	}
	// Output:
	// [{0 {true false false}} {2 {true false true}}]
	// [{1 {true false false}}]
	// [{3 {true false false}}]
}
