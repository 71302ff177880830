package check

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

const (
	// surplusBend in degrees: a smaller bend is not worth a stop of the bender
	// (design.md section 4).
	surplusBend = 2

	// leastRadius is the smallest centreline radius in tube diameters that
	// safety-cage rules take without question: CLR >= 3 x OD, e.g. FIA Appendix J
	// Art. 253-8.3.3 (2009, as quoted on a forum: secondary) and Motorsport UK
	// National Competition Rules 2026 Ch. 7 App. 3 art. 20.3 (read).
	leastRadius = 3

	// thinWall is OD over wall from which on a wall is taken for a slip of the
	// unit (common practice, no source: cage tubes are at 10 to 30).
	thinWall = 80
)

// middle returns the point half way along a segment.
func middle(p *tube.Path, g *tube.Segment) r3.Vector {
	at, _ := p.At(g.Start + g.Length/2)
	return at
}

// straights checks grip and tail: what the die needs before, between and after
// bends.
func straights(b *fit.Bar) []fit.Finding {
	d, arcs := b.Tube.Die, b.Path.Arcs()
	if d == nil || len(arcs) == 0 {
		return nil
	}
	var out []fit.Finding
	judge := func(rule string, bend int, from, to, limit float64, isDefault bool, what string) {
		if to-from >= limit-lengthTol {
			return
		}
		at, _ := b.Path.At((max(from, 0) + min(to, b.Path.Length)) / 2)
		got, need := figures(to-from, limit)
		source := ""
		if isDefault {
			source = ", a default"
		}
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: rule, Bend: bend, Got: to - from, Limit: limit, Unit: "mm", At: &at,
			Message: fmt.Sprintf("the straight %s is %s mm, die %q needs %s mm (%s%s)%s", what, got, d.Name, need, rule, source, change(b, rule, bend)),
		})
	}
	last := -beyond(b, 0) // what is cut off later can be held, too
	for i, g := range arcs {
		if i == 0 {
			judge("tail", 1, last, g.Start, d.Tail, d.TailDefault, "before bend 1")
		} else {
			judge("grip", i+1, last, g.Start, d.Grip, d.GripDefault, fmt.Sprintf("between bends %d and %d", i, i+1))
		}
		last = g.Start + g.Length
	}
	judge("tail", len(arcs), last, b.Path.Length+beyond(b, 1), d.Tail, d.TailDefault, fmt.Sprintf("after bend %d", len(arcs)))
	return out
}

// bends checks angles and radii.
func bends(b *fit.Bar) []fit.Finding {
	arcs := b.Path.Arcs()
	if len(arcs) == 0 {
		return nil
	}
	var out []fit.Finding
	for i, g := range arcs {
		angle, at := degrees(float64(g.Angle)), middle(b.Path, g)
		if angle < surplusBend {
			out = append(out, fit.Finding{
				Severity: fit.Warning, Rule: "angle", Bend: i + 1, Got: angle, Limit: surplusBend, Unit: "deg", At: &at,
				Message: fmt.Sprintf("bend %d turns only %.2f deg: the bar may do without it", i+1, angle),
			})
		}
		if b.Tube.Die == nil {
			continue
		}
		most := degrees(float64(b.Tube.Die.MaxAngle))
		if most > 0 && angle > most+angleTol {
			got, limit := figures(angle, most)
			out = append(out, fit.Finding{
				Severity: fit.Error, Rule: "angle", Bend: i + 1, Got: angle, Limit: most, Unit: "deg", At: &at,
				Message: fmt.Sprintf("bend %d turns %s deg, die %q bends no more than %s deg%s", i+1, got, b.Tube.Die.Name, limit, change(b, "angle", i+1)),
			})
		}
	}
	at := middle(b.Path, arcs[0])
	if d := b.Tube.Die; d != nil && math.Abs(b.Path.Radius-d.CLR) > lengthTol {
		got, limit := figures(b.Path.Radius, d.CLR)
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "radius", Got: b.Path.Radius, Limit: d.CLR, Unit: "mm", At: &at,
			Message: fmt.Sprintf("the bends have a radius of %s mm, die %q bends %s mm: the bar cannot be bent as shown", got, d.Name, limit),
		})
	}
	if ratio := b.Path.Radius / b.Tube.OD; ratio < leastRadius*(1-1e-9) {
		got, limit := figures(ratio, leastRadius)
		out = append(out, fit.Finding{
			Severity: fit.Warning, Rule: "radius", Got: ratio, Limit: leastRadius, Unit: "x OD", At: &at,
			Message: fmt.Sprintf("the bends have a centreline radius of %s x OD (%.1f mm); cage rules commonly ask for %s x OD or more", got, b.Path.Radius, limit),
		})
	}
	return out
}

// stick checks that the blank can be cut from the length the tube is bought in.
func stick(b *fit.Bar) []fit.Finding {
	limit := b.Tube.Stick
	cut := b.SawLength()
	if cut == 0 { // no bend table was made
		cut = b.Path.Length
	}
	if limit <= 0 || cut <= limit+lengthTol {
		return nil
	}
	got, have := figures(cut, limit)
	at := b.Path.Segments[len(b.Path.Segments)-1].To
	return []fit.Finding{{
		Severity: fit.Error, Rule: "stick", Got: cut, Limit: limit, Unit: "mm", At: &at,
		Message: fmt.Sprintf("the blank is %s mm long, tube %q comes in %s mm", got, b.Tube.Name, have),
	}}
}

// flat checks that a bar asked flat has all bends in one plane, and that the
// plane leans as asked.
func flat(b *fit.Bar) []fit.Finding {
	if b.Job == nil || !b.Job.Flat || len(b.Path.Nodes) < 3 {
		return nil
	}
	normal, origin, ok := widestPlane(b.Path.Nodes)
	if !ok {
		return nil // straight: in many planes at once
	}
	var out []fit.Finding
	worst, off := 0, 0.0
	for i, n := range b.Path.Nodes {
		if d := math.Abs(n.Sub(origin).Dot(normal)); d > off {
			worst, off = i, d
		}
	}
	if off > lengthTol {
		at := b.Path.Nodes[worst]
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "flat", Got: off, Limit: lengthTol, Unit: "mm", At: &at,
			Message: fmt.Sprintf("asked flat, but node N%d is %.2f mm out of the plane of the others", worst, off),
		})
	}
	if b.Job.Lean == nil {
		return out
	}
	want := degrees(float64(*b.Job.Lean))
	got := lean(normal)
	miss := math.Abs(got - want)
	if math.Abs(normal.X) < 1e-6 { // the plane runs along the car: it leans to a side
		miss = math.Abs(math.Abs(got) - math.Abs(want))
	}
	if miss > angleTol {
		a, l := figures(got, want)
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "flat", Got: got, Limit: want, Unit: "deg", At: pointer(b.Path.Nodes[worst]),
			Message: fmt.Sprintf("the bar's plane leans %s deg from vertical, asked %s deg", a, l),
		})
	}
	return out
}

// widestPlane returns the unit normal and a point of the plane through the three
// nodes that span the largest triangle; ok is false if all are in line.
func widestPlane(nodes []r3.Vector) (normal, origin r3.Vector, ok bool) {
	var best r3.Vector
	for i := range nodes {
		for j := i + 1; j < len(nodes); j++ {
			for k := j + 1; k < len(nodes); k++ {
				if n := nodes[j].Sub(nodes[i]).Cross(nodes[k].Sub(nodes[i])); n.Norm2() > best.Norm2() {
					best, origin = n, nodes[i]
				}
			}
		}
	}
	// A triangle of 1 mm2 among nodes that are 100s of mm apart is a line.
	if best.Norm() < 2 {
		return best, origin, false
	}
	return best.Normalize(), origin, true
}

// lean returns the angle in degrees of a plane with the given unit normal from
// vertical, positive when its top leans to the rear.
func lean(normal r3.Vector) float64 {
	if normal.X < 0 {
		normal = normal.Mul(-1)
	}
	return degrees(math.Asin(min(max(normal.Z, -1), 1)))
}

// tubeAndDie checks that the tube is bent in a die that takes it.
func tubeAndDie(b *fit.Bar) []fit.Finding {
	var out []fit.Finding
	if b.Tube.Wall <= 0 || 2*b.Tube.Wall >= b.Tube.OD {
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "tube", Got: b.Tube.Wall, Limit: b.Tube.OD / 2, Unit: "mm",
			Message: fmt.Sprintf("tube %q cannot have a wall of %.2f mm at %.2f mm OD", b.Tube.Name, b.Tube.Wall, b.Tube.OD),
		})
	}
	arcs := b.Path.Arcs()
	if len(arcs) == 0 {
		return out
	}
	at := middle(b.Path, arcs[0])
	d := b.Tube.Die
	if d == nil {
		return append(out, fit.Finding{
			Severity: fit.Error, Rule: "tube", Bend: 1, Got: float64(len(arcs)), Limit: 0, Unit: "bends", At: &at,
			Message: fmt.Sprintf("tube %q has no die, but the bar has bends", b.Tube.Name),
		})
	}
	if math.Abs(d.OD-b.Tube.OD) > lengthTol {
		got, limit := figures(b.Tube.OD, d.OD)
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "tube", Got: b.Tube.OD, Limit: d.OD, Unit: "mm", At: &at,
			Message: fmt.Sprintf("tube %q has an OD of %s mm, die %q takes %s mm", b.Tube.Name, got, d.Name, limit),
		})
	}
	return out
}

// wholeCage returns the notes that concern dies, tubes and the scan rather than
// one bar; each is given once.
func (k *checker) wholeCage() []fit.Finding {
	var out []fit.Finding
	seen := map[string]bool{}
	once := func(key string, f fit.Finding) {
		if !seen[key] {
			seen[key] = true
			out = append(out, f)
		}
	}
	for _, b := range k.cage.Bars {
		if b.Path == nil || b.Tube == nil || b.Tube.Die == nil {
			continue
		}
		d, n := b.Tube.Die, len(b.Path.Arcs())
		if n > 1 && d.GripDefault {
			once("grip "+d.Name, fit.Finding{
				Severity: fit.Note, Rule: "grip", Got: d.Grip, Limit: d.Grip, Unit: "mm",
				Message: fmt.Sprintf("die %q: the grip of %.1f mm is a default (1.5 x OD, common practice), not measured", d.Name, d.Grip),
			})
		}
		if n > 0 && d.TailDefault {
			once("tail "+d.Name, fit.Finding{
				Severity: fit.Note, Rule: "tail", Got: d.Tail, Limit: d.Tail, Unit: "mm",
				Message: fmt.Sprintf("die %q: the tail of %.1f mm is a default (2 x OD, common practice), not measured", d.Name, d.Tail),
			})
		}
		if n > 0 {
			for i, f := range quality(b.Tube) {
				once(fmt.Sprint("quality ", i, b.Tube.Name), f)
			}
		}
		for _, bend := range b.Table.Bends {
			if bend.Estimated {
				once("set "+b.Tube.Name, fit.Finding{
					Severity: fit.Note, Rule: "tube",
					Message: fmt.Sprintf("tube %q: the set angles are an estimate from the material, die %q has no springback from test bends", b.Tube.Name, d.Name),
				})
			}
		}
	}
	for _, b := range k.cage.Bars {
		if b.Tube == nil || b.Tube.Wall <= 0 || b.Tube.OD < thinWall*b.Tube.Wall {
			continue
		}
		once("wall "+b.Tube.Name, fit.Finding{
			Severity: fit.Warning, Rule: "tube", Got: b.Tube.Wall, Limit: b.Tube.OD / thinWall, Unit: "mm",
			Message: fmt.Sprintf("tube %q: a wall of %.3f mm is thinner than any structural tube's at %.2f mm OD: is its unit right?", b.Tube.Name, b.Tube.Wall, b.Tube.OD),
		})
	}
	return append(append(out, k.sketches()...), k.accuracy()...)
}

// smallSketch is the share of the scan's size below which sketches are taken for
// a slip of the unit. The shortest brace of a cage is a seventh of a cabin, a
// sketch in cm that should be mm a twentieth (common practice, no source).
const smallSketch = 0.08

// sketches compares the size of all sketches together with the scan's.
func (k *checker) sketches() []fit.Finding {
	if k.shell == nil {
		return nil
	}
	var box mesh.Box
	var first r3.Vector
	some := false
	for i := range k.job.Bars {
		for _, p := range k.job.Bars[i].Sketch { // empty: made from the scan itself
			if !some {
				first, box, some = p, mesh.Box{Min: p, Max: p}, true
			}
			box = box.Add(p)
		}
	}
	if !some {
		return nil
	}
	size, scan := box.Size().Norm(), k.shell.Raw.Bounds().Size().Norm()
	if size >= smallSketch*scan {
		return nil
	}
	return []fit.Finding{{
		Severity: fit.Warning, Rule: "outside", Got: size, Limit: smallSketch * scan, Unit: "mm", At: pointer(first),
		Message: fmt.Sprintf("all sketches together are %.0f mm across, the scan %.0f mm: are both in the right unit?", size, scan),
	}}
}

// nodesOfSketch returns the sketch that a bar was made from.
func nodesOfSketch(b *fit.Bar) []r3.Vector {
	if b.Job == nil {
		return nil
	}
	out := append([]r3.Vector(nil), b.Job.Sketch...)
	if b.Mirrored {
		for i := range out {
			out[i].Y = -out[i].Y
		}
	}
	return out
}

// reach checks how far nodes have moved from the sketch. If bends were dropped,
// a node counts from the nearest node of the sketch.
func (k *checker) reach(b *fit.Bar) []fit.Finding {
	sketch := nodesOfSketch(b)
	if len(sketch) == 0 || b.Job.Reach <= 0 {
		return nil
	}
	worst, far := 0, 0.0
	for i, n := range b.Path.Nodes {
		d := math.Inf(1)
		if len(sketch) == len(b.Path.Nodes) {
			d = n.Sub(sketch[i]).Norm()
		} else {
			for _, s := range sketch {
				d = min(d, n.Sub(s).Norm())
			}
		}
		if d > far {
			worst, far = i, d
		}
	}
	if far <= b.Job.Reach+lengthTol {
		return nil
	}
	got, limit := figures(far, b.Job.Reach)
	return []fit.Finding{{
		Severity: fit.Warning, Rule: "reach", Got: far, Limit: b.Job.Reach, Unit: "mm", At: pointer(b.Path.Nodes[worst]),
		Message: fmt.Sprintf("node N%d is %s mm from its sketch, reach is %s mm", worst, got, limit),
	}}
}

// landing checks how ends meet the shell and other bars.
func (k *checker) landing(b *fit.Bar) []fit.Finding {
	var out []fit.Finding
	for _, f := range b.Feet {
		out = append(out, k.foot(b, f)...)
	}
	for e, end := range b.Ends {
		if end.Kind != job.Landed {
			continue
		}
		node := b.Path.Segments[0].From
		if e == 1 {
			node = b.Path.Segments[len(b.Path.Segments)-1].To
		}
		i, ok := k.byName[end.Onto]
		if !ok || k.cage.Bars[i].Path == nil {
			out = append(out, fit.Finding{
				Severity: fit.Error, Rule: "landing", Other: end.Onto, At: &node,
				Message: fmt.Sprintf("end %s lands on %q, which is not in the cage", endName(e), end.Onto),
			})
			continue
		}
		if _, miss := k.cage.Bars[i].Path.Closest(node); miss > fit.FootError {
			out = append(out, fit.Finding{
				Severity: fit.Error, Rule: "landing", Other: end.Onto, Got: miss, Limit: fit.FootError, Unit: "mm", At: &node,
				Message: fmt.Sprintf("end %s misses the centreline of %q by %.1f mm", endName(e), end.Onto, miss),
			})
		}
	}
	return out
}

// foot checks one foot: on the surface, not too flat.
func (k *checker) foot(b *fit.Bar, f fit.Foot) []fit.Finding {
	var out []fit.Finding
	limit, tol := fit.FootError, angleTol
	if noise := k.noise(); noise > fit.FootError {
		// The plane under a foot comes from 13 rays: its place is not better
		// known than about a sigma, and its tilt, with points up to a radius r
		// away in two rings (mean square 0.3 r^2 along an axis), than
		// sigma / (r sqrt(13 x 0.3)), of which three are allowed.
		limit += noise
		tol += 3 * degrees(noise/(b.Radius()*math.Sqrt(13*0.3)))
	}
	packed := f.Packer > 0 && k.partnerTouches(b, f, limit)
	switch {
	case packed:
		out = append(out, fit.Finding{
			Severity: fit.Note, Rule: "landing", Got: f.Packer, Limit: 0, Unit: "mm", At: pointer(f.Point),
			Message: fmt.Sprintf("foot %s needs a packer of %.1f mm: the shell is not the same on both sides", endName(f.End), f.Packer),
		})
	case f.Error > limit:
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "landing", Got: f.Error, Limit: limit, Unit: "mm", At: pointer(f.Point),
			Message: fmt.Sprintf("foot %s is %.2f mm off the shell", endName(f.End), f.Error),
		})
	}
	if k.onCap(b, f) {
		out = append(out, fit.Finding{
			Severity: fit.Warning, Rule: "landing", Unit: "mm", At: pointer(f.Point),
			Message: fmt.Sprintf("foot %s stands on a hole in the scan that was closed with a cap: no sheet metal was seen there", endName(f.End)),
		})
	}
	if least := degrees(float64(k.job.Shell.LandingAngle)); f.Angle < least-tol {
		got, want := figures(f.Angle, least)
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "landing", Got: f.Angle, Limit: least, Unit: "deg", At: pointer(f.Point),
			Message: fmt.Sprintf("foot %s meets the shell at %s deg, flatter than %s deg", endName(f.End), got, want),
		})
	}
	return out
}

// onCap tells whether a cap over a hole is under a foot, in the middle or at the
// rim of the tube.
func (k *checker) onCap(b *fit.Bar, f fit.Foot) bool {
	if k.shell == nil {
		return false
	}
	const around = 12
	points := []r3.Vector{f.Point}
	e0 := f.Normal.Ortho()
	e1 := f.Normal.Cross(e0)
	for i := range around {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / around)
		points = append(points, f.Point.Add(e0.Mul(b.Radius()*cos)).Add(e1.Mul(b.Radius()*sin)))
	}
	for _, p := range points {
		if h := k.shell.Index.Closest(p); h.Triangle >= 0 && k.shell.IsCap(h.Triangle) {
			return true
		}
	}
	return false
}

// partnerTouches tells whether the foot on the other side of the car, at the
// other end of a self-mirrored bar or at the same end of a pair's other bar,
// stands on the shell.
func (k *checker) partnerTouches(b *fit.Bar, f fit.Foot, limit float64) bool {
	partner, end := b, 1-f.End
	if b.Job == nil || b.Job.Mirror == job.None {
		return false
	}
	if b.Job.Mirror == job.Pair {
		name := b.Name + job.MirrorSuffix
		if b.Mirrored {
			name = b.MirrorOf
		}
		i, ok := k.byName[name]
		if !ok {
			return false
		}
		partner, end = k.cage.Bars[i], f.End
	}
	for _, g := range partner.Feet {
		if g.End == end {
			return g.Error <= limit
		}
	}
	return false
}
