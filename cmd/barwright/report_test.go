package main

import (
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"

	"barwright/export/table"
	"barwright/fit"
	"barwright/fit/job"
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
		assert.Equal(t, c.want, table.Sixteenths(c.mm), "%v mm", c.mm)
	}
}

func TestSixteenthsIsNearest(t *testing.T) {
	for mm := -100.0; mm < 100; mm += 0.137 {
		text := table.Sixteenths(mm)
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
	printFindings(p, &fit.Cage{Findings: findings}, lengths{}, false)
	assert.NoError(t, p.err)
	assert.Equal(t, `findings: 1 error, 1 warning, 2 notes
error    grip    b bend 2  short of room at (1, 2, 3)
warning  radius  a         tight bend
note     tight   a         first note
note     tight   c         second note
`, out.String())
	out.Reset()
	printFindings(p, &fit.Cage{Findings: []fit.Finding{{Severity: fit.Error, Rule: "grip", Bar: "b", Got: 25.4, Limit: 38.1, Unit: "mm", Message: `25.4 mm is short for "50.8 mm die"`, At: &at}}}, lengths{inches: true}, false)
	assert.Contains(t, out.String(), `1.000 in is short for "50.8 mm die" at (0.0, 0.1, 0.1)`+"\n")
	out.Reset()
	printFindings(p, &fit.Cage{}, lengths{}, false)
	assert.Equal(t, "no findings\n", out.String())
}

func TestMessagesInInches(t *testing.T) {
	in := lengths{inches: true}
	for mm, want := range map[string]string{
		"the tube is 12.7 mm from the shell, asked -25.4 mm": "the tube is 0.500 in from the shell, asked -1.000 in",
		"the largest 0.03 m2 at (254, -508, 0): a cap":       "the largest 0.03 m2 at (10.0, -20.0, 0.0): a cap",
		`die "a 254 mm (1, 2, 3)" turns 30.0 deg`:            `die "a 254 mm (1, 2, 3)" turns 30.0 deg`,
		"2.1 x OD, x254 mm, 254 mmm":                         "2.1 x OD, x254 mm, 254 mmm",
	} {
		assert.Equal(t, want, in.text(mm))
		assert.Equal(t, mm, lengths{}.text(mm))
	}
}

func TestMessagesInInchesAreNotRoundedTwice(t *testing.T) {
	in := lengths{inches: true}
	assert.Equal(t, "the grip of 2.626 in", in.text("the grip of 66.7 mm"))
	assert.Equal(t, "the grip of 2.625 in, -2.625 in", in.text("the grip of 66.7 mm, -66.7 mm", 66.675))
	assert.Equal(t, "66.8 mm is 2.630 in", "66.8 mm is "+in.text("66.8 mm", 66.675))
}

// A hoop failed; a brace lands on it, a stay on the brace. What is said about
// these two is folded, but not what is said about a bar beside them, and nothing
// where it is little or where all is asked for.
func TestFindingsThatFollowAreFolded(t *testing.T) {
	on := func(name string) job.End { return job.End{Kind: job.Landed, Onto: name} }
	c := &fit.Cage{Bars: []*fit.Bar{
		{Name: "hoop"}, {Name: "brace", Ends: [2]job.End{{}, on("hoop")}}, {Name: "stay", Ends: [2]job.End{on("brace"), on("sound")}},
		{Name: "sound"}, {Name: "other", Ends: [2]job.End{on("sound"), {}}},
	}}
	find := func(s fit.Severity, rule, bar, other string) fit.Finding {
		return fit.Finding{Severity: s, Rule: rule, Bar: bar, Other: other, Message: "m"}
	}
	c.Findings = []fit.Finding{
		find(fit.Error, "outside", "hoop", ""), find(fit.Error, "landing", "brace", "hoop"), find(fit.Error, "clash", "sound", "stay"),
		find(fit.Error, "clash", "sound", "other"), find(fit.Warning, "reach", "other", ""), find(fit.Warning, "reach", "stay", ""),
		find(fit.Note, "landing", "stay", ""), find(fit.Note, "grip", "", ""),
	}
	show := func(all bool) string {
		var out strings.Builder
		printFindings(&printer{w: &out}, c, lengths{}, all)
		return out.String()
	}
	assert.Equal(t, `findings: 4 errors, 2 warnings, 2 notes
error    outside  hoop   m
error    clash    sound  m
warning  reach    other  m
note     grip            m
and 2 errors, 1 warning, 1 note about 2 bars that land on "hoop", directly or by way of others: mend that first (--all lists them, cage.json has them)
`, show(false))
	assert.Equal(t, 9, strings.Count(show(true), "\n"))
	assert.NotContains(t, show(true), "--all")

	c.Findings = c.Findings[:5] // two that follow: too few
	assert.NotContains(t, show(false), "--all")

	// A clash of the hoop moves nothing.
	c.Findings = append(c.Findings, find(fit.Warning, "reach", "stay", ""), find(fit.Warning, "grip", "stay", ""))
	assert.Contains(t, show(false), "and 2 errors, 2 warnings about 2 bars")
	c.Findings[0].Rule = "clash"
	assert.NotContains(t, show(false), "--all")
}

func TestAlign(t *testing.T) {
	assert.Equal(t, "name  mm\nä      1\nlong  22\nx\n", align([][]string{{"name", "mm"}, {"ä", "1"}, {"long", "22"}, {"x"}}, "lr"))
}
