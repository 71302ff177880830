package job

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// Ranges in mm. They are wide: what they stop is a slip of the unit or the
// decimal point, not a bad idea.
var (
	anywhere   = span{low: -100e3, high: 100e3} // a coordinate: within 100 m
	gapRange   = span{low: 0, high: 1000}
	noiseRange = span{low: 0, high: 100}
	odRange    = span{low: 0, high: 500, above: true}
	clrRange   = span{low: 0, high: 10e3, above: true}
	endRange   = span{low: 0, high: 10e3}
	stickRange = span{low: 0, high: 100e3, above: true}
	reachRange = span{low: 0, high: 10e3, above: true}
	sizeRange  = span{low: 0, high: 100e3, above: true}
	// Reduction is for what a scan has too much of; a wall is no such thing.
	reduceRange = span{low: 0, high: 20}
)

// Ranges in degrees, and of a material's figures.
var (
	landingRange = span{low: 0, high: 90, above: true}
	bendRange    = span{low: 0, high: 180, above: true}
	setRange     = span{low: 0, high: 270, above: true}
	leanRange    = span{low: -90, high: 90}
	yieldRange   = span{low: 50, high: 3000}
	modulusRange = span{low: 10e3, high: 500e3}
	densityRange = span{low: 1000, high: 25e3}
)

// How many bends a sketch gets that is made from the shell.
var (
	bendsRange = span{low: 0, high: 12}
	hoopRange  = span{low: 2, high: 12}
)

// Defaults, after the contract of the job file.
const (
	defaultLanding  = 30 * s1.Degree
	defaultMaxAngle = 180 * s1.Degree
	defaultReach    = 200.0 // mm
	defaultBends    = 4     // of a hoop from a station
	gripPerOD       = 1.5   // common practice, no source
	tailPerOD       = 2.0   // common practice, no source
	steelDensity    = 7850  // kg/m3
)

// Manufacturing tolerances.
const (
	odMatch     = 0.25 // mm by which die and tube may differ: the mill's tolerance; common practice, no source
	pointsApart = 1.0  // mm that neighbouring sketch points must be apart
	followApart = 20.0 // mm that the points of a bar along the shell must be apart
	mostPoints  = 60   // of a sketch; no tube of a car has more bends
	selfMatch   = 100. // mm by which a self-mirrored sketch may be off its mirror image
	onPlane     = 1.0  // mm within which a bar lies on the mirror plane
	foldedBack  = 175 * s1.Degree
	// A springback estimate of half the angle is no estimate: the tube hardly
	// leaves the elastic range, for which the formula was not made.
	worstEstimate = 0.5
)

// draft is a job being read.
type draft struct {
	*Job
	pairs map[*tube.Die]bool // dies that are given springback pairs, right or wrong
	bars  []*draftBar
}

// draftBar is a bar being read, with the names it refers to.
type draftBar struct {
	Bar
	what   string // for messages
	tube   string
	ends   []string
	endsOK bool
	unsure bool // mirror is wrong: nothing can be said about what lands here
	flat   *bool
	hug    *bool
	gap    *float64
	bends  *int
	from   *value
}

// at returns the offset of a key's value, or of the bar if it has no such key.
func (b *draftBar) at(key string) int {
	if e := b.from.get(key); e != nil {
		return e.val.at
	}
	return b.from.at
}

// draftTube is a tube being read.
type draftTube struct {
	tube.Spec
	die, material     string
	yield, e, density *float64
}

// jobFields are the tables and keys of a job file, in the order in which they
// must be read: later ones refer to earlier ones.
var jobFields = []field[draft]{
	{"title", false, func(r *reader, what string, v *value, d *draft) {
		if v.kind == kindString && v.text == "" {
			return // an empty title is none
		}
		textInto(func(d *draft) *string { return &d.Title })(r, what, v, d)
	}},
	{"units", false, func(*reader, string, *value, *draft) {}}, // read before all else
	{"shell", true, func(r *reader, what string, v *value, d *draft) {
		table(r, what, v, shellFields, &d.Shell)
	}},
	{"sketch_frame", false, func(r *reader, what string, v *value, d *draft) {
		w, ok := r.word(what, v, string(CarFrame), string(ScanFrame))
		if !ok || d.Shell.Align == nil {
			return // without an alignment the two are one
		}
		d.SketchFrame, r.frame = Frame(w), Frame(w)
		for i := range d.Shell.Cuts {
			d.Shell.Cuts[i].Frame = Frame(w)
		}
	}},
	{"tolerance", false, inTable(toleranceFields, func(d *draft) *Tolerance { return &d.Tolerance })},
	{"plate", false, inTable(plateFields, func(d *draft) *Plate { return &d.Plate })},
	{"joints", false, inTable(jointsFields, func(d *draft) *Joints { return &d.Joints })},
	{"saw", false, inTable(sawFields, func(d *draft) *Saw { return &d.Saw })},
	{"sheets", false, inTable(sheetsFields, func(d *draft) *Job { return d.Job })},
	{"die", false, readDies},
	{"tube", true, readTubes},
	{"bar", true, readBars},
	{"keepout", false, readKeepouts},
}

var shellFields = []field[Shell]{
	{"file", true, textInto(func(s *Shell) *string { return &s.File })},
	{"units", false, func(r *reader, what string, v *value, s *Shell) {
		if w, ok := r.word(what, v, string(Auto), string(MM), string(CM), string(M), string(Inch)); ok {
			s.Unit = Unit(w)
		}
	}},
	{"clearance", true, lengthInto(gapRange, func(s *Shell) *float64 { return &s.Clearance })},
	{"accuracy", false, lengthInto(noiseRange, func(s *Shell) *float64 { return &s.Accuracy })},
	{"inside", false, func(r *reader, what string, v *value, s *Shell) {
		if p, ok := r.vector(what, v); ok {
			s.Inside = &p
		}
	}},
	{"landing_angle", false, angleInto(landingRange, func(s *Shell) *s1.Angle { return &s.LandingAngle })},
	{"keep_suspects", false, truthInto(func(s *Shell) *bool { return &s.KeepSuspects })},
	{"keep_islands", false, truthInto(func(s *Shell) *bool { return &s.KeepIslands })},
	{"drop", false, func(r *reader, what string, v *value, s *Shell) {
		w, _ := r.word(what, v, "normal", "hard")
		s.DropHard = w == "hard"
		if s.DropHard && s.KeepSuspects {
			r.errorf(v.at, "%s = \"hard\" and keep_suspects = true contradict each other", what)
		}
	}},
	{"reduce", false, func(r *reader, what string, v *value, s *Shell) {
		if x, ok := r.length(what, v, reduceRange); ok {
			s.Reduce = &x
		}
	}},
	{"align", false, readAlign},
	{"cut", false, readCuts},
}

var dieFields = []field[tube.Die]{
	{"od", true, lengthInto(odRange, func(d *tube.Die) *float64 { return &d.OD })},
	{"clr", true, func(r *reader, what string, v *value, d *tube.Die) {
		x, ok := r.length(what, v, clrRange)
		if ok && !r.unitless && x <= d.OD/2 {
			r.errorf(v.at, "%s must be more than half of od (%g mm), got %s", what, d.OD/2, r.shown(v))
			ok = false
		}
		if ok {
			d.CLR = x
		}
	}},
	{"max_angle", false, angleInto(bendRange, func(d *tube.Die) *s1.Angle { return &d.MaxAngle })},
	{"grip", false, func(r *reader, what string, v *value, d *tube.Die) {
		d.GripDefault = false
		lengthInto(endRange, func(d *tube.Die) *float64 { return &d.Grip })(r, what, v, d)
	}},
	{"tail", false, func(r *reader, what string, v *value, d *tube.Die) {
		d.TailDefault = false
		lengthInto(endRange, func(d *tube.Die) *float64 { return &d.Tail })(r, what, v, d)
	}},
	{"springback", false, readSpringback},
	{"stretch", false, func(r *reader, what string, v *value, d *tube.Die) {
		// Per degree in the file, as a builder measures it; per radian inside.
		if x, ok := r.length(what, v, stretchRange); ok {
			d.Stretch = x * degreesPerRadian
		}
	}},
	{"offset", false, lengthInto(offsetRange, func(d *tube.Die) *float64 { return &d.Offset })},
	{"ovality", false, numberInto(roundRange, "(smallest / largest diameter)", func(d *tube.Die) *float64 { return &d.Roundness })},
	{"step", false, angleInto(stepRange, func(d *tube.Die) *s1.Angle { return &d.Step })},
	{"machine", false, func(r *reader, what string, v *value, d *tube.Die) {
		d.Machine = &tube.Machine{}
		table(r, what, v, machineFields, d.Machine)
	}},
}

// readSpringback reads the pairs [wanted, set].
func readSpringback(r *reader, what string, v *value, d *tube.Die) {
	items, ok := r.list(what, v, "pairs [wanted, set]")
	if !ok {
		return
	}
	var last tube.Springback
	for i, item := range items {
		which := fmt.Sprintf("%s pair %d", what, i+1)
		pair, ok := r.list(which, item, "two angles [wanted, set]")
		if !ok {
			return
		}
		if len(pair) != 2 {
			r.errorf(item.at, "%s must be two angles [wanted, set], got %s", which, count(len(pair), "value"))
			return
		}
		want, ok1 := r.angle(which+": wanted", pair[0], bendRange)
		set, ok2 := r.angle(which+": set", pair[1], setRange)
		if !ok1 || !ok2 {
			return
		}
		switch {
		case set < want:
			r.errorf(pair[1].at, "%s: set must not be less than wanted, got %s for %s", which, pair[1].text, pair[0].text)
			return
		case want <= last.Want:
			r.errorf(pair[0].at, "%s: wanted must be more than that of the pair before, got %s", which, pair[0].text)
			return
		case set <= last.Set:
			r.errorf(pair[1].at, "%s: set must be more than that of the pair before, got %s", which, pair[1].text)
			return
		}
		last = tube.Springback{Want: want, Set: set}
		d.Springback = append(d.Springback, last)
	}
}

// named calls read for each table of a [head.NAME] family, in file order.
func named(r *reader, head string, v *value, read func(what, name string, v *value)) {
	if v.kind != kindTable {
		r.errorf(v.at, "%s must be given as [%s.NAME], got %s", head, head, v.kind)
		return
	}
	for _, e := range v.order {
		switch {
		case e.val.kind != kindTable:
			r.errorf(e.at, "%s must be given as [%s.NAME], got %s = %s", head, head, e.name, e.val.kind)
		case strings.TrimSpace(e.name) == "":
			r.errorf(e.at, "%s must have a name, [%s.NAME]", head, head)
		default:
			read(label(head, e.name), e.name, e.val)
		}
	}
}

func readDies(r *reader, head string, v *value, d *draft) {
	named(r, head, v, func(what, name string, v *value) {
		die := &tube.Die{Name: name, MaxAngle: defaultMaxAngle, GripDefault: true, TailDefault: true}
		table(r, what, v, dieFields, die)
		if e := v.get("springback"); e != nil {
			d.pairs[die] = e.val.kind != kindArray || len(e.val.items) > 0
		}
		if die.GripDefault {
			die.Grip = gripPerOD * die.OD
		}
		if die.TailDefault {
			die.Tail = tailPerOD * die.OD
		}
		d.Dies = append(d.Dies, die)
	})
}

var tubeFields = []field[draftTube]{
	{"od", true, lengthInto(odRange, func(t *draftTube) *float64 { return &t.OD })},
	{"wall", true, func(r *reader, what string, v *value, t *draftTube) {
		x, ok := r.length(what, v, odRange)
		if ok && !r.unitless && t.OD > 0 && 2*x >= t.OD {
			r.errorf(v.at, "%s must be less than half of od (%g mm), got %s", what, t.OD/2, r.shown(v))
			ok = false
		}
		if ok {
			t.Wall = x
		}
	}},
	{"die", false, textInto(func(t *draftTube) *string { return &t.die })},
	{"stick", false, lengthInto(stickRange, func(t *draftTube) *float64 { return &t.Stick })},
	{"sticks", false, readSticks},
	{"trim", false, lengthInto(trimRange, func(t *draftTube) *float64 { return &t.Trim })},
	{"material", false, textInto(func(t *draftTube) *string { return &t.material })},
	{"yield", false, numberInto(yieldRange, "N/mm2", func(t *draftTube) *float64 { t.yield = new(float64); return t.yield })},
	{"E", false, numberInto(modulusRange, "N/mm2", func(t *draftTube) *float64 { t.e = new(float64); return t.e })},
	{"density", false, numberInto(densityRange, "kg/m3", func(t *draftTube) *float64 { t.density = new(float64); return t.density })},
}

func readTubes(r *reader, head string, v *value, d *draft) {
	named(r, head, v, func(what, name string, v *value) {
		before := len(r.errs)
		t := &draftTube{}
		t.Name = name
		table(r, what, v, tubeFields, t)
		spec := &t.Spec
		d.Tubes = append(d.Tubes, spec)
		sound := len(r.errs) == before
		if t.die != "" {
			at := v.get("die").val.at
			spec.Die = findDie(d.Dies, t.die)
			switch {
			case spec.Die == nil:
				names := make([]string, len(d.Dies))
				for i, die := range d.Dies {
					names[i] = die.Name
				}
				r.errorf(at, "%s: no die %q (%s)", what, t.die, known(t.die, names))
				sound = false
				spec.Die = &tube.Die{Name: t.die} // so that its bars are not said to have none
			case spec.Die.OD > 0 && spec.OD > 0 && !r.unitless && abs(spec.Die.OD-spec.OD) > odMatch:
				r.errorf(at, "%s: die %q takes tube of %g mm, this one has %g mm", what, t.die, spec.Die.OD, spec.OD)
				sound = false
			}
		}
		estimate := spec.Die != nil && spec.Die.CLR > 0 && !d.pairs[spec.Die]
		if r.material(what, v, t, estimate) && sound && estimate && !r.unitless {
			if f := spec.SpringbackFactor(); f >= worstEstimate {
				r.errorf(v.get("die").val.at, "%s: the estimate of springback on die %q comes out at %.0f %%, beyond what it is made for; the die needs springback pairs", what, t.die, 100*f)
			}
		}
	})
}

// material fills in the tube's material: a built-in one, of which single
// figures may be given anew, or figures alone. estimate tells that set angles
// must be estimated from it. It returns false if something was wrong.
func (r *reader) material(what string, v *value, t *draftTube, estimate bool) bool {
	m := tube.Material{Name: t.material, Density: steelDensity}
	complete := v.get("yield") != nil && v.get("E") != nil
	if t.material != "" {
		built, ok := tube.LookupMaterial(t.material)
		if !ok && !complete {
			names := make([]string, 0, 20)
			for _, m := range tube.Materials() {
				names = append(names, m.Name)
			}
			r.errorf(v.get("material").val.at, "%s: no built-in material %q, and no yield and E given (%s)", what, t.material, known(t.material, names))
			return false
		}
		if ok {
			m = built
		}
	} else if (v.get("yield") != nil) != (v.get("E") != nil) {
		r.errorf(v.at, "%s: yield and E must be given together, or a material", what)
		return false
	} else if estimate && !complete && v.get("material") == nil {
		r.errorf(v.at, "%s: material is missing, and die %q has no springback pairs to do without", what, t.Die.Name)
		return false
	}
	for _, own := range []struct{ given, place *float64 }{{t.yield, &m.Yield}, {t.e, &m.E}, {t.density, &m.Density}} {
		if own.given != nil {
			*own.place = *own.given
		}
	}
	switch {
	case t.yield == nil && t.e == nil && t.density == nil && m.Source == "":
		m.Source = "not given in the job: density of steel assumed"
	case t.yield == nil && t.e == nil && t.density == nil:
	case m.Source == "":
		m.Source = "given in the job"
	default:
		m.Source += "; figures given in the job come first"
	}
	t.Material = m
	return true
}

func findDie(dies []*tube.Die, name string) *tube.Die {
	for _, d := range dies {
		if d.Name == name {
			return d
		}
	}
	return nil
}

func abs(x float64) float64 { return max(x, -x) }

// label names a table in messages, with a long name cut short.
func label(head, name string) string {
	const most = 60
	if c := []rune(name); len(c) > most {
		name = string(c[:most]) + "..."
	}
	return fmt.Sprintf("%s %q", head, name)
}

// mostTables is how many bars or keep-outs a job may have.
const mostTables = 1000

// headed calls read for each [[head]] table, in file order. label names it for
// messages: by its name, else by its number.
func headed(r *reader, head string, v *value, read func(what string, v *value)) {
	if v.kind != kindArray {
		r.errorf(v.at, "%s must be given as [[%s]], got %s", head, head, v.kind)
		return
	}
	if len(v.items) == 0 || len(v.items) > mostTables {
		r.errorf(v.at, "%s must be given 1 to %d times, got %d", head, mostTables, len(v.items))
		return
	}
	for i, item := range v.items {
		what := fmt.Sprintf("%s %d", head, i+1)
		if item.kind != kindTable {
			r.errorf(item.at, "%s must be a table, got %s", what, item.kind)
			continue
		}
		if e := item.get("name"); e != nil && e.val.kind == kindString && strings.TrimSpace(e.val.text) != "" {
			what = label(head, e.val.text)
		}
		read(what, item)
	}
}

// name reads the name of a bar or a keep-out.
func (r *reader) name(what string, v *value) (string, bool) {
	name, ok := r.text(what, v)
	if !ok {
		return "", false
	}
	const most = 80 // letters: names become file names and fit on a label
	switch {
	case strings.TrimSpace(name) != name:
		r.errorf(v.at, "%s must not begin or end with a blank", what)
	case strings.ContainsFunc(name, func(c rune) bool { return !unicode.IsPrint(c) }):
		r.errorf(v.at, "%s must not hold control characters", what)
	case len([]rune(name)) > most:
		r.errorf(v.at, "%s must have at most %d characters, got %d", what, most, len([]rune(name)))
	default:
		return name, true
	}
	return "", false
}

var barFields = []field[draftBar]{
	{"name", true, func(r *reader, what string, v *value, b *draftBar) {
		name, ok := r.name(what, v)
		if !ok {
			return
		}
		switch {
		case strings.EqualFold(name, endShell) || strings.EqualFold(name, endFree):
			r.errorf(v.at, "%s must not be %q, which ends use for something else", what, name)
		case strings.HasSuffix(name, MirrorSuffix):
			r.errorf(v.at, "%s must not end in %q, which names the mirror image of a pair", what, MirrorSuffix)
		default:
			b.Name = name
		}
	}},
	{"tube", true, textInto(func(b *draftBar) *string { return &b.tube })},
	{"sketch", false, readSketch},
	{"station", false, func(r *reader, what string, v *value, b *draftBar) {
		if x, ok := r.length(what, v, anywhere); ok {
			b.Station = &x
		}
	}},
	{"follow", false, readFollow},
	{"bends", false, func(r *reader, what string, v *value, b *draftBar) {
		if n, ok := r.whole(what, v, bendsRange); ok {
			b.bends = &n
		}
	}},
	{"ends", false, readEnds},
	{"mirror", false, func(r *reader, what string, v *value, b *draftBar) {
		w, ok := r.word(what, v, "self", "pair", "none")
		b.Mirror, b.unsure = map[string]Mirror{"self": Self, "pair": Pair}[w], !ok
	}},
	{"flat", false, truthInto(func(b *draftBar) *bool { b.flat = new(bool); return b.flat })},
	{"lean", false, func(r *reader, what string, v *value, b *draftBar) {
		if a, ok := r.angle(what, v, leanRange); ok {
			b.Lean = &a
		}
	}},
	{"hug", false, truthInto(func(b *draftBar) *bool { b.hug = new(bool); return b.hug })},
	{"clearance", false, lengthInto(gapRange, func(b *draftBar) *float64 { b.gap = new(float64); return b.gap })},
	{"reach", false, lengthInto(reachRange, func(b *draftBar) *float64 { return &b.Reach })},
	{"fixed", false, truthInto(func(b *draftBar) *bool { return &b.Fixed })},
	{"plate", false, inTable(plateFields, func(b *draftBar) *Plate { return &b.Plate })},
}

// Words that ends may hold besides bars' names.
const (
	endShell = "shell"
	endFree  = "free"
)

// readSketch reads the points, or the name of a file that has them; it leaves
// neither if something is wrong.
func readSketch(r *reader, what string, v *value, b *draftBar) {
	if v.kind == kindString {
		name, ok := r.text(what, v)
		if ok && sketchFormat(name) == "" {
			r.errorf(v.at, "%s must be a list of points [x, y, z] or the name of a .dxf or .obj file, got %q", what, name)
		} else if ok {
			b.SketchFile = name
		}
		return
	}
	items, ok := r.list(what, v, "points [x, y, z]")
	if !ok {
		return
	}
	if n := len(items); n < 2 || n > mostPoints {
		r.errorf(v.at, "%s must have 2 to %d points, got %d", what, mostPoints, n)
		return
	}
	points := make([]r3.Vector, len(items))
	sound := true
	for i, item := range items {
		p, ok := r.vector(fmt.Sprintf("%s point %d", what, i+1), item)
		points[i], sound = p, sound && ok
	}
	if !sound || r.unitless {
		return
	}
	if i, fault := sketchFault(points); fault != "" {
		r.errorf(items[i].at, "%s %s", what, fault)
		return
	}
	b.Sketch = points
}

// readFollow reads the two points that a bar along the shell goes between.
func readFollow(r *reader, what string, v *value, b *draftBar) {
	items, ok := r.list(what, v, "two points [x, y, z]")
	if !ok {
		return
	}
	if len(items) != 2 {
		r.errorf(v.at, "%s must be two points [x, y, z], got %s", what, count(len(items), "value"))
		return
	}
	from, ok1 := r.vector(what+" point 1", items[0])
	to, ok2 := r.vector(what+" point 2", items[1])
	if !ok1 || !ok2 {
		return
	}
	if d := from.Sub(to).Norm(); d < followApart && !r.unitless {
		r.errorf(v.at, "%s: the points are %.3g mm apart, must be at least %g mm", what, d, followApart)
		return
	}
	b.Follow = &[2]r3.Vector{from, to}
}

func readEnds(r *reader, what string, v *value, b *draftBar) {
	const of = `two of "shell", "free" or a bar's name`
	items, ok := r.list(what, v, of)
	if !ok {
		return
	}
	if len(items) != 2 {
		r.errorf(v.at, "%s must be %s, got %s", what, of, count(len(items), "value"))
		return
	}
	b.endsOK = true
	for i, item := range items {
		name, ok := r.text(fmt.Sprintf("%s: end %s", what, endName(i)), item)
		b.ends = append(b.ends, name)
		b.endsOK = b.endsOK && ok
	}
}

func endName(end int) string { return string(rune('A' + end)) }

func readBars(r *reader, head string, v *value, d *draft) {
	headed(r, head, v, func(what string, v *value) {
		b := &draftBar{what: what, from: v}
		b.Pos, b.Reach, b.Plate = r.position(v.at), defaultReach, d.Plate
		table(r, what, v, barFields, b)
		for _, other := range d.bars {
			if b.Name != "" && other.Name == b.Name {
				r.errorf(b.at("name"), "%s: name is already that of the bar in line %d", what, other.Pos.Line)
				break
			}
		}
		if b.tube != "" {
			if b.Tube = findTube(d.Tubes, b.tube); b.Tube == nil {
				names := make([]string, len(d.Tubes))
				for i, t := range d.Tubes {
					names[i] = t.Name
				}
				r.errorf(b.at("tube"), "%s: no tube %q (%s)", what, b.tube, known(b.tube, names))
			}
		}
		r.checkSource(b)
		b.Hug = (len(b.Sketch) > 2 || b.Bends > 0) && !b.Fixed
		if b.hug != nil {
			b.Hug = *b.hug
		}
		b.Clearance = d.Shell.Clearance
		if b.gap != nil {
			b.Clearance = *b.gap
		}
		r.checkBar(b)
		d.bars = append(d.bars, b)
	})
	r.checkLandings(d.bars)
	r.remember(d.bars)
	for _, b := range d.bars {
		d.Bars = append(d.Bars, b.Bar)
	}
}

func findTube(tubes []*tube.Spec, name string) *tube.Spec {
	for _, t := range tubes {
		if t.Name == name {
			return t
		}
	}
	return nil
}

var keepoutFields = []field[Keepout]{
	{"name", true, func(r *reader, what string, v *value, k *Keepout) { k.Name, _ = r.name(what, v) }},
	{"sphere", false, func(r *reader, what string, v *value, k *Keepout) {
		k.Sphere = &Sphere{}
		table(r, what, v, sphereFields, k.Sphere)
	}},
	{"capsule", false, func(r *reader, what string, v *value, k *Keepout) {
		k.Capsule = &Capsule{}
		table(r, what, v, capsuleFields, k.Capsule)
	}},
	{"box", false, func(r *reader, what string, v *value, k *Keepout) {
		k.Box = readBox(r, what, v)
		if r.frame == ScanFrame {
			r.errorf(v.at, "%s stands along the car's axes, which sketch_frame = \"scan\" cannot say", what)
		}
	}},
	{"mesh", false, textInto(func(k *Keepout) *string { return &k.Mesh })},
}

var sphereFields = []field[Sphere]{
	{"centre", true, vectorInto(func(s *Sphere) *r3.Vector { return &s.Centre })},
	{"radius", true, lengthInto(sizeRange, func(s *Sphere) *float64 { return &s.Radius })},
}

var capsuleFields = []field[Capsule]{
	{"from", true, vectorInto(func(c *Capsule) *r3.Vector { return &c.From })},
	{"to", true, vectorInto(func(c *Capsule) *r3.Vector { return &c.To })},
	{"radius", true, lengthInto(sizeRange, func(c *Capsule) *float64 { return &c.Radius })},
}

var boxFields = []field[Box]{
	{"min", true, vectorInto(func(b *Box) *r3.Vector { return &b.Min })},
	{"max", true, vectorInto(func(b *Box) *r3.Vector { return &b.Max })},
}

func readKeepouts(r *reader, head string, v *value, d *draft) {
	headed(r, head, v, func(what string, v *value) {
		k := &Keepout{Pos: r.position(v.at)}
		table(r, what, v, keepoutFields, k)
		for _, other := range d.Keepouts {
			if k.Name != "" && other.Name == k.Name {
				r.errorf(v.get("name").val.at, "%s: name is already that of the keepout in line %d", what, other.Pos.Line)
				break
			}
		}
		r.oneShape(what, v, "sphere", "capsule", "box", "mesh")
		d.Keepouts = append(d.Keepouts, *k)
	})
}

// readBox reads a box that has some room in it.
func readBox(r *reader, what string, v *value) *Box {
	box := &Box{}
	before := len(r.errs)
	table(r, what, v, boxFields, box)
	size := box.Max.Sub(box.Min)
	if len(r.errs) == before && min(size.X, size.Y, size.Z) <= 0 {
		r.errorf(v.at, "%s: min must be less than max in x, y and z", what)
	}
	return box
}

// oneShape makes sure that a table has exactly one of the shapes.
func (r *reader) oneShape(what string, v *value, shapes ...string) {
	var given []*entry
	for _, e := range v.order {
		if slices.Contains(shapes, e.name) {
			given = append(given, e)
		}
	}
	last := len(shapes) - 1
	switch {
	case len(given) == 0:
		r.errorf(v.at, "%s: needs a shape: %s or %s", what, strings.Join(shapes[:last], ", "), shapes[last])
	case len(given) > 1:
		r.errorf(given[1].at, "%s: has both %s and %s, must have one shape", what, given[0].name, given[1].name)
	}
}
