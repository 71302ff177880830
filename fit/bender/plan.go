package bender

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// Manufacturing tolerances, those of fit/check: a limit is broken when it is
// passed by more.
const (
	lengthTol = 0.05             // mm: tables give 0.1 mm, so this is what rounding hides
	angleTol  = 0.05 * s1.Degree // likewise
	wholeStep = 1e-9             // of a step: a set angle so near a multiple is one, since angles carry less than 1e-12 of rounding
	longest   = 1e5              // mm; a tube longer than that is a slip of the unit, and its swing would take long to search
	fewBends  = 8                // up to which all ways to round are tried: 256
)

// Plan lays out the blank of a bar with the given path and says how it is bent.
// The finished ends reach beyond[0] and beyond[1] mm past node A and node B (0 for
// ends cut square or notched, more for an oblique one); to that comes spec.Trim.
// Negative values count as 0.
//
//	length          = developed length - stretch x all angles + what is beyond both nodes
//	mark, A first   = beyond A + straights and arcs before the bend - stretch x angles before it - offset, from end A
//	mark, B first   = the same read from end B
//
// The mark of a bend is one place on the tube, given from both sawn ends. As the
// die's offset lies on the side of the end that went in first, it is another
// place when the tube goes in the other way.
//
// Both ends are tried; the end goes in first that leaves fewer limits broken, of
// equals the one with which the tube runs less deep into floor and frame, of
// equals A. Set angles are rounded to the die's step, each to one of the two
// multiples next to it and at least to one step, never past the largest angle
// where that can be helped. Of all ways to round, the one is taken with which
// the node that moves most moves least, if it moves the last node no further
// than the nearest multiples do. Marks stay those of the exact angles: a bend
// that comes out larger takes its arc from the straight behind it.
//
// A tube without a die has no limits. The result depends on the arguments alone.
func Plan(spec *tube.Spec, p *tube.Path, beyond [2]float64) *Blank {
	var reach [2]float64
	for end, b := range beyond {
		reach[end] = notNegative(b) + notNegative(spec.Trim)
	}
	a := newOrder(spec, p, reach)
	if len(a.table.Bends) == 0 {
		a.why = "no bends"
		return a.blank(0)
	}
	b := newOrder(spec, p.Reversed(), [2]float64{reach[1], reach[0]})
	a.judge(0)
	b.judge(1)
	if first := choose(a, b); first == 1 {
		return b.blank(1)
	}
	return a.blank(0)
}

// notNegative returns x, or 0 if it is negative or no number to work with.
func notNegative(x float64) float64 {
	if x > 0 && !math.IsInf(x, 1) {
		return x
	}
	return 0
}

// order is a bar seen by a builder who puts one end in first: in its path, table
// and reach that end is end A.
type order struct {
	spec   *tube.Spec
	die    *tube.Die // never nil: an empty one has no limits
	path   *tube.Path
	table  tube.Table
	arcs   []int // segments that are arcs, in order
	reach  [2]float64
	length float64
	sets   []s1.Angle
	gives  []s1.Angle
	drift  float64
	limits []Limit // bends counted from end A of the bar
	deep   float64 // sum of the depths of all strikes, mm
	why    string
}

func newOrder(spec *tube.Spec, p *tube.Path, reach [2]float64) *order {
	o := &order{spec: spec, die: spec.Die, path: p, table: spec.Table(p), reach: reach}
	if o.die == nil {
		o.die = &tube.Die{}
	}
	for i := range p.Segments {
		if p.Segments[i].Kind == tube.Arc {
			o.arcs = append(o.arcs, i)
		}
	}
	o.length = o.table.Cut + reach[0] + reach[1]
	o.round()
	return o
}

// bend returns the number of bend i (from 0, in the order of bending) counted
// from end A of the bar, 1-based.
func (o *order) bend(i, first int) int {
	if first == 1 {
		return len(o.arcs) - i
	}
	return i + 1
}

// straight returns the straight before bend i (from 0), or the last one, mm.
func (o *order) straight(i int) float64 {
	if i < len(o.table.Bends) {
		return o.table.Bends[i].Feed
	}
	return o.table.Tail
}

// blank writes an order down.
func (o *order) blank(first int) *Blank {
	out := &Blank{Length: o.length, First: first, Why: o.why, Drift: o.drift, Limits: o.limits}
	out.Beyond[first], out.Beyond[1-first] = o.reach[0], o.reach[1]
	for i, b := range o.table.Bends {
		s := Step{
			Bend: o.bend(i, first), Rotation: b.Rotation, Angle: b.Angle,
			Exact: b.Set, Set: o.sets[i], Gives: o.gives[i], Estimated: b.Estimated,
		}
		s.Mark[first] = o.reach[0] + b.Mark
		s.Mark[1-first] = o.length - s.Mark[first]
		out.Steps = append(out.Steps, s)
	}
	return out
}

// choose returns the end to put in first, 0 or 1, and tells both orders why.
func choose(a, b *order) int {
	first := 0
	switch {
	case len(b.limits) != len(a.limits):
		if len(b.limits) < len(a.limits) {
			first = 1
		}
	case b.deep < a.deep-swingMiss: // nearer than that they are equal, as far as depths are known
		first = 1
	}
	better, worse := a, b
	if first == 1 {
		better, worse = b, a
	}
	other := endName(1 - first)
	lost := ""
	if which := worse.without(better); len(which) > 0 {
		l := worse.limits[which[0]]
		if lost = l.Detail; l.Rule == "swing" {
			lost = fmt.Sprintf("at bend %d %s", l.Bend, l.Detail)
		}
	}
	switch {
	case len(worse.limits) > len(better.limits), lost != "" && better.deep == 0:
		better.why = fmt.Sprintf("with end %s first, %s", other, lost)
	case worse.deep > better.deep+swingMiss:
		better.why = fmt.Sprintf("both ways it strikes something, this way less: %.0f mm in all against %.0f mm", up(better.deep, 1), up(worse.deep, 1))
	case better.deep > 0:
		better.why = "both ways it strikes something"
	case better.die.Machine == nil:
		better.why = "either end will do, as far as is known: no machine is given to swing the tube in"
	default:
		better.why = "either end will do"
	}
	for _, i := range better.without(worse) {
		if lost != "" && !strings.HasSuffix(lost, better.limits[i].Detail) { // a bar that is alike from both ends has the same trouble at another bend
			better.limits[i].Change += fmt.Sprintf("; not so with end %s first, but then %s", other, lost)
		}
	}
	return first
}

// without returns which limits of an order the other one does not have.
func (o *order) without(other *order) []int {
	type key struct {
		rule string
		bend int
	}
	there := map[key]int{}
	for _, l := range other.limits {
		there[key{l.Rule, l.Bend}]++
	}
	var out []int
	for i, l := range o.limits {
		k := key{l.Rule, l.Bend}
		if there[k]--; there[k] < 0 {
			out = append(out, i)
		}
	}
	return out
}

// round chooses the set angles.
func (o *order) round() {
	n := len(o.table.Bends)
	o.sets, o.gives = make([]s1.Angle, n), make([]s1.Angle, n)
	for i, b := range o.table.Bends {
		o.sets[i], o.gives[i] = b.Set, b.Angle
	}
	step := o.die.Step
	if !(step > 0) || n == 0 {
		return
	}
	choices := make([][]s1.Angle, n) // the nearest first
	for i, b := range o.table.Bends {
		choices[i] = o.multiples(b.Set)
	}
	want := o.nodes(nil)
	pick := make([]int, n)
	measure := func() (most, last float64) {
		for i, c := range choices {
			o.sets[i] = c[pick[i]]
			o.gives[i] = o.spec.GivenAngle(o.sets[i])
		}
		for i, v := range o.nodes(o.gives) {
			last = v.Sub(want[i]).Norm()
			most = max(most, last)
		}
		return most, last
	}
	least, nearest := measure()
	best := append([]int(nil), pick...)
	try := func() {
		// What rounding alone can tell apart is no gain: the order of trying
		// decides, which starts at the nearest multiples.
		if m, last := measure(); m < least-1e-6 && last <= nearest {
			least = m
			copy(best, pick)
		}
	}
	if n <= fewBends {
		for bits := 1; bits < 1<<n; bits++ {
			possible := true
			for i := range pick {
				pick[i] = bits >> i & 1
				possible = possible && pick[i] < len(choices[i])
			}
			if possible {
				try()
			}
		}
	} else {
		for range n { // one bend after the other, until nothing gets better
			before := least
			for i := range pick {
				copy(pick, best)
				pick[i] = 1 - pick[i]
				if pick[i] < len(choices[i]) {
					try()
				}
			}
			if least == before {
				break
			}
		}
	}
	copy(pick, best)
	_, o.drift = measure()
}

// multiples returns the one or two multiples of the die's step to which a set
// angle may be rounded, the nearest first. The step itself is the least: 0 would
// be no bend. What lies past the largest angle is left out if it can be.
func (o *order) multiples(set s1.Angle) []s1.Angle {
	k := float64(set / o.die.Step)
	near := math.Round(k)
	other := math.Floor(k)
	if near == other {
		other++
	}
	out := []s1.Angle{s1.Angle(max(near, 1)) * o.die.Step}
	if math.Abs(k-near) > wholeStep && near >= 1 && other >= 1 {
		out = append(out, s1.Angle(other)*o.die.Step)
	}
	if most := o.die.MaxAngle; len(out) == 2 && most > 0 {
		switch {
		case out[0] > most+angleTol && out[1] <= most+angleTol:
			out = out[1:]
		case out[1] > most+angleTol:
			out = out[:1]
		}
	}
	return out
}

// nodes returns the bar's nodes, with angles as given (nil: as wanted) but the
// arcs starting at the same marks, and with the first straight and the plane of
// the first bend held in place.
func (o *order) nodes(angles []s1.Angle) []r3.Vector {
	t := tube.Table{Tail: o.table.Tail}
	took := 0.0
	for i, b := range o.table.Bends {
		b.Feed -= took
		if took = 0; angles != nil {
			took = (o.path.Radius - o.die.Stretch) * float64(angles[i]-b.Angle)
			b.Angle = angles[i]
		}
		t.Bends = append(t.Bends, b)
	}
	t.Tail -= took
	return tube.Nodes(t, o.path.Radius, r3.Vector{}, r3.Vector{X: 1}, r3.Vector{Y: 1})
}

// judge fills in limits. first is the end of the bar that goes in first.
func (o *order) judge(first int) {
	if o.spec.Die == nil {
		return
	}
	o.radius()
	o.stick()
	o.straights(first)
	o.angles(first)
	o.swing(first)
	slices.SortStableFunc(o.limits, func(a, b Limit) int { return cmp.Compare(a.Bend, b.Bend) })
}

func (o *order) radius() {
	if math.Abs(o.path.Radius-o.die.CLR) <= lengthTol {
		return
	}
	o.limits = append(o.limits, Limit{
		Rule: "radius", Got: o.path.Radius, Limit: o.die.CLR, Unit: "mm",
		Detail: fmt.Sprintf("the bar is laid out for a radius of %.1f mm, the die bends %.1f mm", o.path.Radius, o.die.CLR),
		Change: "fit the bar anew with the die's radius",
	})
}

func (o *order) stick() {
	have := o.spec.Stick
	if !(have > 0) || o.length <= have+lengthTol {
		return
	}
	l := Limit{
		Rule: "stick", Got: o.length, Limit: have, Unit: "mm",
		Detail: fmt.Sprintf("the blank is %.1f mm long, the tube comes in %.1f mm", o.length, have),
		Change: "make the bar of two tubes",
	}
	if trim := notNegative(o.spec.Trim); o.length-2*trim <= have+lengthTol {
		l.Change = fmt.Sprintf("leave %.1f mm less trim in all", up(o.length-have, .1))
	}
	o.limits = append(o.limits, l)
}

// straights judges what the die needs before, between and after bends, and
// whether the mark of the first bend is on the tube at all.
func (o *order) straights(first int) {
	n := len(o.arcs)
	for i := range n + 1 {
		got := o.straight(i)
		if i > 0 && i < n {
			if got >= o.die.Grip-lengthTol {
				continue
			}
			from, to := o.bend(i-1, first), o.bend(i, first)
			if first == 1 {
				from, to = to, from
			}
			need := up(o.die.Grip-got, .1)
			o.limits = append(o.limits, Limit{
				Rule: "grip", Bend: to, Got: got, Limit: o.die.Grip, Unit: "mm",
				Detail: fmt.Sprintf("the straight between bends %d and %d is %.1f mm, the die grips %.1f mm", from, to, got, o.die.Grip),
				Change: fmt.Sprintf("needs %.1f mm more straight before bend %d: move one of the two by that", need, to),
			})
			continue
		}
		end, bend := 0, 0 // of this order
		if i == n {
			end, bend = 1, n-1
		}
		o.tail(end, first, o.bend(bend, first), got+o.reach[end])
	}
	if at := o.reach[0] + o.table.Bends[0].Mark; at < -lengthTol {
		name := endName(first)
		o.limits = append(o.limits, Limit{
			Rule: "tail", Bend: o.bend(0, first), Got: at, Limit: 0, Unit: "mm",
			Detail: fmt.Sprintf("the mark of bend %d would lie %.1f mm off end %s of the tube", o.bend(0, first), -at, name),
			Change: o.longer(0, first, -at),
		})
	}
}

func (o *order) tail(end, first, bend int, got float64) {
	if got >= o.die.Tail-lengthTol {
		return
	}
	side := end
	if first == 1 {
		side = 1 - end
	}
	where := "before"
	if side == 1 {
		where = "after"
	}
	o.limits = append(o.limits, Limit{
		Rule: "tail", Bend: bend, Got: got, Limit: o.die.Tail, Unit: "mm",
		Detail: fmt.Sprintf("the tube has %.1f mm of straight %s bend %d, the die needs %.1f mm", got, where, bend, o.die.Tail),
		Change: o.longer(end, first, o.die.Tail-got),
	})
}

// longer tells how to get more straight at an end of this order: by trim that is
// sawn off later, or, if that makes the blank longer than the tube is bought, by
// another shape.
func (o *order) longer(end, first int, short float64) string {
	side := end
	if first == 1 {
		side = 1 - end
	}
	short = up(short, .1)
	if have := o.spec.Stick; have > 0 && o.length+short > have+lengthTol {
		return fmt.Sprintf("needs %.1f mm more straight at end %s; the tube is not long enough for trim", short, endName(side))
	}
	trim := notNegative(o.spec.Trim)
	if trim == 0 {
		return fmt.Sprintf("leave %.1f mm of trim at end %s, to be sawn off after bending", short, endName(side))
	}
	return fmt.Sprintf("leave %.1f mm of trim at end %s instead of %.1f mm, to be sawn off after bending", trim+short, endName(side), trim)
}

func endName(end int) string { return [2]string{"A", "B"}[end] }

func (o *order) angles(first int) {
	most := o.die.MaxAngle
	if !(most > 0) {
		return
	}
	for i, b := range o.table.Bends {
		bend := o.bend(i, first)
		l := Limit{Rule: "angle", Bend: bend, Limit: tube.Degrees(most), Unit: "deg"}
		over := b.Angle - most
		switch {
		case over > angleTol:
			l.Got = tube.Degrees(b.Angle)
			l.Detail = fmt.Sprintf("bend %d turns %.1f deg, the die bends no more than %.1f deg", bend, l.Got, l.Limit)
		case o.sets[i] > most+angleTol:
			over = b.Angle - o.spec.GivenAngle(most)
			l.Got = tube.Degrees(o.sets[i])
			l.Detail = fmt.Sprintf("bend %d has to be set to %.1f deg because it springs back, the die goes no further than %.1f deg", bend, l.Got, l.Limit)
		default:
			continue
		}
		l.Change = fmt.Sprintf("turn %.1f deg less, or make two bends of it", up(tube.Degrees(over), .1))
		o.limits = append(o.limits, l)
	}
}

// swing looks for strikes with the angles as they come out of the bender.
func (o *order) swing(first int) {
	m := o.die.Machine
	if m == nil || !(max(o.length, o.path.Length+o.reach[0]) < longest) {
		return
	}
	p := o.path
	if o.drift > 0 {
		if given, err := tube.NewPath(o.nodes(o.gives), o.path.Radius); err == nil && len(given.Segments) == len(p.Segments) {
			p = given // else bends overlap, which grip has told
		}
	}
	note := func(i int, strikes []strike) {
		for _, s := range strikes {
			o.deep += s.depth
			o.limits = append(o.limits, Limit{
				Rule: "swing", Bend: o.bend(i, first), Got: s.depth, Limit: 0, Unit: "mm",
				Detail: s.says(), Change: s.change(),
			})
		}
	}
	// The tube behind the die only gets shorter and turns about itself: what it
	// strikes, it strikes at the first bend.
	note(0, behind(m, notNegative(o.length-o.reach[0]-o.table.Bends[0].Mark-o.die.Offset), o.spec.OD/2))
	for i, arc := range o.arcs {
		l := layIn(m, p, arc, o.reach[0], o.sets[i])
		note(i, l.strikes(m, o.spec.OD/2))
	}
}
