package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/internal/par"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

// Options steer a check. The zero value will do for a job without mesh keep-outs.
type Options struct {
	// Keepouts holds the meshes (mm) of the job's mesh keep-outs, by the file
	// name as written in the job. One that is missing gives an error finding.
	Keepouts map[string]*mesh.Mesh
	// Joints holds what was found out about the joints (see fit/cope); it is
	// sorted in.
	Joints []fit.Finding
	// Workers is how many goroutines work at once; 0 or less: as many as there
	// are processors. The findings do not depend on it.
	Workers int
}

// Manufacturing tolerances: a limit is broken when it is passed by more.
const (
	lengthTol = 0.05 // mm: tables give 0.1 mm, so this is what rounding hides
	angleTol  = 0.05 // degrees, likewise
)

// The rules, in the order in which a bar's findings are sorted.
var rules = []string{
	"clearance", "keepout", "grip", "tail", "angle", "radius", "swing", "stick", "flat", "reach", "landing",
	"clash", "joint-angle", "joint", "vent", "outside", "tight", "scan-accuracy", "tube", "sheet", "access", "order", "way-in",
}

// checker is one run of Cage.
type checker struct {
	cage   *fit.Cage
	job    *job.Job
	shell  *mesh.Shell // nil: no findings that need it
	byName map[string]int
	solids []solid
}

// Cage returns all findings about a fitted cage, sorted. Bars need what
// fit.Evaluate fills in. sh may be nil: what needs the scan is then left out.
func Cage(c *fit.Cage, j *job.Job, sh *mesh.Shell, opt Options) []fit.Finding {
	k := &checker{cage: c, job: j, shell: sh, byName: map[string]int{}}
	for i, b := range c.Bars {
		if _, ok := k.byName[b.Name]; !ok {
			k.byName[b.Name] = i
		}
	}
	var tasks []func() []fit.Finding
	found := append(k.wholeCage(), opt.Joints...)
	for i := range j.Keepouts {
		s, err := newSolid(&j.Keepouts[i], opt.Keepouts)
		if err != nil {
			found = append(found, fit.Finding{
				Severity: fit.Error, Rule: "keepout", Other: j.Keepouts[i].Name,
				Message: fmt.Sprintf("keep-out %q was not checked: %v", j.Keepouts[i].Name, err),
			})
			continue
		}
		k.solids = append(k.solids, s)
	}
	for i, b := range c.Bars {
		if b.Path == nil || len(b.Path.Segments) == 0 || b.Tube == nil {
			found = append(found, fit.Finding{Severity: fit.Error, Rule: "tube", Bar: b.Name, Message: "there is no tube to check"})
			continue
		}
		tasks = append(tasks, func() []fit.Finding { return k.bar(b) })
		for _, other := range c.Bars[:i+1] {
			if other.Path != nil && len(other.Path.Segments) > 0 && other.Tube != nil {
				tasks = append(tasks, func() []fit.Finding { return clash(other, b) })
			}
		}
	}
	results := make([][]fit.Finding, len(tasks))
	par.Each(len(tasks), opt.Workers, func(i int) { results[i] = tasks[i]() })
	for _, f := range results {
		found = append(found, f...)
	}
	k.sort(found)
	return found
}

// sort orders findings by severity, bar, rule and place.
func (k *checker) sort(found []fit.Finding) {
	severity := []fit.Severity{fit.Error, fit.Warning, fit.Note}
	barOf := func(f *fit.Finding) int {
		if i, ok := k.byName[f.Bar]; ok {
			return i
		}
		return len(k.cage.Bars)
	}
	slices.SortStableFunc(found, func(a, b fit.Finding) int {
		return cmp.Or(
			cmp.Compare(slices.Index(severity, a.Severity), slices.Index(severity, b.Severity)),
			cmp.Compare(barOf(&a), barOf(&b)),
			cmp.Compare(slices.Index(rules, a.Rule), slices.Index(rules, b.Rule)),
			cmp.Compare(a.Bend, b.Bend),
			comparePlaces(a.At, b.At),
			cmp.Compare(a.Other, b.Other),
			cmp.Compare(a.Message, b.Message),
		)
	})
}

func comparePlaces(a, b *r3.Vector) int {
	if a == nil || b == nil {
		return cmp.Compare(btoi(a != nil), btoi(b != nil))
	}
	return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y), cmp.Compare(a.Z, b.Z))
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// bar returns the findings about one bar alone.
func (k *checker) bar(b *fit.Bar) []fit.Finding {
	var out []fit.Finding
	for _, rule := range []func(*fit.Bar) []fit.Finding{
		k.clearance, spread, k.keepouts, straights, bends, swing, stick, flat, k.reach, k.landing, k.outside, tight, k.suspects, tubeAndDie,
	} {
		for _, f := range rule(b) {
			f.Bar = b.Name
			out = append(out, f)
		}
	}
	return k.blocked(b, out)
}

// place is where something is on a bar.
type place struct {
	at   r3.Vector
	bend int    // 1-based, 0: on a straight
	text string // "412 mm from end A", "in bend 2, 412 mm from end A"
}

// on finds the place of a point on (or near) a bar's centreline.
func on(p *tube.Path, at r3.Vector) place {
	s, _ := p.Closest(at)
	out := place{at: at, text: fmt.Sprintf("%.0f mm from end A", s)}
	bend := 0
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Kind != tube.Arc {
			continue
		}
		bend++
		if s > g.Start && s < g.Start+g.Length {
			out.bend = bend
			out.text = fmt.Sprintf("in bend %d, %s", bend, out.text)
		}
	}
	return out
}

// figures writes two numbers with as few decimals, one to three, as tell them
// apart.
func figures(got, limit float64) (string, string) {
	for digits := 1; ; digits++ {
		unit := math.Pow10(digits)
		a, b := math.Round(got*unit)/unit+0, math.Round(limit*unit)/unit+0 // + 0: never -0
		if a != b || digits == 3 {
			return strconv.FormatFloat(a, 'f', digits, 64), strconv.FormatFloat(b, 'f', digits, 64)
		}
	}
}

// degrees of an angle in radians, without the last bits of noise.
func degrees(rad float64) float64 { return math.Round(rad*180/math.Pi*1e9) / 1e9 }

func endName(e int) string { return string(rune('A' + e)) }

// pointer gives a finding its own copy of a place.
func pointer(v r3.Vector) *r3.Vector { return &v }
