package main

import (
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"

	"barwright/fit"
)

// An inch is 25.4 mm by definition. The decimal and mm equivalents of sixteenths
// are those of the drill charts in every machinist's handbook (from memory):
// 1/16 = 1.5875 mm, 5/8 = 15.875 mm, 1 3/4 = 44.45 mm.
func TestSixteenths(t *testing.T) {
	for _, c := range []struct {
		mm   float64
		want string
	}{
		{0, "0"}, {1.5875, "1/16"}, {3.175, "1/8"}, {15.875, "5/8"}, {25.4, "1"}, {44.45, "1 3/4"}, {38.1, "1 1/2"},
		{44.45 + 0.79, "1 3/4"}, {44.45 + 0.80, "1 13/16"}, // half a sixteenth is 0.79375 mm
		{25.0, "1"}, {0.7, "0"}, {0.8, "1/16"}, {-0.7, "0"}, {-44.45, "-1 3/4"}, {2540, "100"}, {2551.1125, "100 7/16"},
	} {
		assert.Equal(t, c.want, sixteenths(c.mm), "%v mm", c.mm)
	}
}

func TestSixteenthsIsNearest(t *testing.T) {
	for mm := -100.0; mm < 100; mm += 0.137 {
		text := sixteenths(mm)
		sign := 1.0
		if strings.HasPrefix(text, "-") {
			sign, text = -1, text[1:]
		}
		var inches float64
		for _, part := range strings.Fields(text) {
			over, under, isPart := strings.Cut(part, "/")
			n, d := number(over), 1.0
			if isPart {
				d = number(under)
			}
			inches += n / d
		}
		assert.LessOrEqual(t, math.Abs(mm-sign*inches*25.4), 25.4/32+1e-9, "%v mm is %s", mm, text)
	}
}

func number(s string) float64 {
	n := 0.0
	for _, r := range s {
		n = 10*n + float64(r-'0')
	}
	return n
}

func TestLengths(t *testing.T) {
	mm, in := lengths{}, lengths{inches: true}
	assert.Equal(t, "1234.6", mm.format(1234.56))
	assert.Equal(t, "0.0", mm.format(-0.01))
	assert.Equal(t, "48.605 (48 5/8)", in.format(1234.56))
	assert.Equal(t, "-", in.format(math.Inf(1)))
	assert.Equal(t, "-", mm.format(math.NaN()))
	assert.Equal(t, "(1, -2, 0)", mm.point(1.2, -2.2, -0.2))
	assert.Equal(t, "(1.0, -2.0, 0.0)", in.point(25.4, -50.8, 0))
}

func TestFindingsAreSortedBySeverity(t *testing.T) {
	at := r3.Vector{X: 1, Y: 2, Z: 3}
	findings := []fit.Finding{
		{Severity: fit.Note, Rule: "tight", Bar: "a", Message: "first note"},
		{Severity: fit.Error, Rule: "grip", Bar: "b", Bend: 2, Message: "short\nof room", At: &at},
		{Severity: fit.Note, Rule: "tight", Bar: "c", Message: "second note"},
		{Severity: fit.Warning, Rule: "radius", Bar: "a", Message: "tight bend"},
	}
	var out strings.Builder
	p := &printer{w: &out}
	printFindings(p, findings, lengths{})
	assert.NoError(t, p.err)
	assert.Equal(t, `findings: 1 error, 1 warning, 2 notes
error    grip    b bend 2  short of room at (1, 2, 3)
warning  radius  a         tight bend
note     tight   a         first note
note     tight   c         second note
`, out.String())
	out.Reset()
	printFindings(p, []fit.Finding{{Severity: fit.Error, Rule: "grip", Bar: "b", Got: 25.4, Limit: 38.1, Unit: "mm", Message: "25.4 mm is short", At: &at}}, lengths{inches: true})
	assert.Contains(t, out.String(), "25.4 mm is short (1.000 (1) in, limit 1.500 (1 1/2) in) at (0.0, 0.1, 0.1)\n")
	out.Reset()
	printFindings(p, nil, lengths{})
	assert.Equal(t, "no findings\n", out.String())
}

func TestAlign(t *testing.T) {
	assert.Equal(t, "name  mm\nä      1\nlong  22\nx\n", align([][]string{{"name", "mm"}, {"ä", "1"}, {"long", "22"}, {"x"}}, "lr"))
}
