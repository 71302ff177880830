package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

// leastJoint is the sharpest angle, in degrees, for which a joint's zone is long
// enough; see the package documentation.
const leastJoint = 10

// zone is where two bars overlap because they are joined there: distances along
// bar a and bar b, mm from their ends A. grazing: they still do where it ends.
type zone struct {
	a0, a1, b0, b1 float64
	grazing        bool
}

// centrelines is the union of paths as a surface.
type centrelines []*tube.Path

// ClosestFrom implements fit.Surface.
func (c centrelines) ClosestFrom(p r3.Vector, _ int32) mesh.Hit {
	best := mesh.Hit{Distance: math.Inf(1), Triangle: -1}
	for i, path := range c {
		if s, d := path.Closest(p); d < best.Distance {
			at, _ := path.At(s)
			best = mesh.Hit{Point: at, Distance: d, Triangle: int32(i)}
		}
	}
	return best
}

// clash checks two bars, or one against itself, for overlap where they are not
// joined; at most one finding, the deepest.
func clash(a, b *fit.Bar) []fit.Finding {
	reach := a.Radius() + b.Radius()
	if a == b {
		return clashSelf(a)
	}
	if apart(a.Path, b.Path, reach) {
		return nil
	}
	zones := joints(a, b)

	// Cut a where zones begin and end. Each part is measured against what no
	// zone of it leaves out of b.
	cuts := []float64{0, a.Path.Length}
	for _, z := range zones {
		cuts = append(cuts, z.a0, z.a1)
	}
	slices.Sort(cuts)
	least, at, with := reach, r3.Vector{}, r3.Vector{}
	for i := 0; i+1 < len(cuts); i++ {
		from, to := cuts[i], cuts[i+1]
		part := trim(a.Path, from, to)
		if part.Length == 0 {
			continue
		}
		var left [][2]float64
		for _, z := range zones {
			if mid := (from + to) / 2; mid > z.a0 && mid < z.a1 {
				left = append(left, [2]float64{z.b0, z.b1})
			}
		}
		rest := without(b.Path, left)
		if len(rest) == 0 {
			continue
		}
		if d, p, q := gap(part, rest); d < least {
			least, at, with = d, p, q
		}
	}
	found := overlap(a, b, least, at, with)
	s, _ := a.Path.Closest(at)
	for i := range found {
		// Deepest just where a zone was cut off: the joint itself goes on.
		if slices.ContainsFunc(zones, func(z zone) bool { return z.grazing && (math.Abs(s-z.a0) < 1 || math.Abs(s-z.a1) < 1) }) {
			found[i].Message += "; they meet at so flat an angle that they do not come apart"
		}
	}
	return found
}

// clashSelf checks a bar against itself. By Schur's theorem on arcs (from
// memory) two points of a path whose radius is R nowhere less, s <= pi R apart
// along it, are at least 2 R sin(s / 2R) apart: a tube with R > OD/2 can only
// meet itself farther on.
func clashSelf(a *fit.Bar) []fit.Finding {
	const step = 50
	p := a.Path
	half := math.Pi * p.Radius
	turn := 0.0
	for _, g := range p.Arcs() {
		turn += float64(g.Angle)
	}
	if turn <= math.Pi { // it never comes back
		return nil
	}
	least, at, with := a.Tube.OD, r3.Vector{}, r3.Vector{}
	for s := 0.0; s+step+half < p.Length; s += step {
		rest := centrelines{trim(p, s+step+half, p.Length)}
		if d, u, v := gap(trim(p, s, s+step), rest); d < least {
			least, at, with = d, u, v
		}
	}
	return overlap(a, a, least, at, with)
}

// overlap makes the finding, if the bound of the centrelines' distance asks for
// one; p and q are their closest points.
func overlap(a, b *fit.Bar, bound float64, p, q r3.Vector) []fit.Finding {
	if a.Radius()+b.Radius()-bound <= lengthTol {
		return nil
	}
	depth := a.Radius() + b.Radius() - p.Sub(q).Norm()
	at := p.Add(q.Sub(p).Mul(a.Radius() / (a.Radius() + b.Radius())))
	here, there := on(a.Path, p), on(b.Path, q)
	what := fmt.Sprintf("overlaps %q by %.1f mm %s (there %s)", b.Name, depth, here.text, there.text)
	if a == b {
		what = fmt.Sprintf("overlaps itself by %.1f mm %s (and %s)", depth, here.text, there.text)
	}
	return []fit.Finding{{
		Severity: fit.Error, Rule: "clash", Bar: a.Name, Other: b.Name, Bend: here.bend, Got: depth, Limit: 0, Unit: "mm", At: &at,
		Message: what,
	}}
}

// gap returns the least distance (mm, at most 0.01 too small, never too large)
// between centrelines, and the two points where it is.
func gap(a *tube.Path, b centrelines) (d float64, p, q r3.Vector) {
	c := fit.Certify(a, fit.Requirement{}, b, nil)
	return c.CertifiedMin, c.WorstAt, b.ClosestFrom(c.WorstAt, -1).Point
}

// apart tells from boxes that two paths are nowhere closer than reach.
func apart(a, b *tube.Path, reach float64) bool {
	const chord = 5
	box := func(p *tube.Path) mesh.Box {
		line := p.Polyline(chord)
		out := mesh.Box{Min: line[0], Max: line[0]}
		for _, v := range line {
			out = out.Add(v)
		}
		return out
	}
	s, t := box(a), box(b)
	margin := reach + 2*chord
	return s.Min.X-t.Max.X > margin || t.Min.X-s.Max.X > margin ||
		s.Min.Y-t.Max.Y > margin || t.Min.Y-s.Max.Y > margin ||
		s.Min.Z-t.Max.Z > margin || t.Min.Z-s.Max.Z > margin
}

// joints returns the zones in which two bars may overlap.
func joints(a, b *fit.Bar) []zone {
	var out []zone
	for e := range 2 {
		if z, ok := meeting(a, e, b); ok {
			out = append(out, z)
		}
		if z, ok := meeting(b, e, a); ok {
			out = append(out, zone{z.b0, z.b1, z.a0, z.a1, z.grazing})
		}
	}
	return out
}

// meeting returns the zone of the joint that bar a's end e makes with bar b, if
// it is a landed end and its node is within the sum of the radii of b.
func meeting(a *fit.Bar, e int, b *fit.Bar) (zone, bool) {
	if a.Ends[e].Kind != job.Landed {
		return zone{}, false
	}
	reach := a.Radius() + b.Radius()
	along := func(x float64) float64 { // mm from end A
		if e == 0 {
			return x
		}
		return a.Path.Length - x
	}
	node, _ := a.Path.At(along(0))
	centre, d := b.Path.Closest(node)
	if d >= reach {
		return zone{}, false
	}
	// The distance is 1-Lipschitz: the tubes cannot come apart before another
	// reach - d. The last hundredths are taken at once.
	most := min(a.Path.Length, reach/math.Sin(leastJoint*math.Pi/180))
	x := 0.0
	for x < most && d < reach {
		x = min(most, x+max(reach-d, fit.Resolution))
		at, _ := a.Path.At(along(x))
		_, d = b.Path.Closest(at)
	}
	z := zone{a0: 0, a1: x, b0: centre - x - reach, b1: centre + x + reach, grazing: d < reach}
	if e == 1 {
		z.a0, z.a1 = a.Path.Length-x, a.Path.Length
	}
	return z, true
}

// without returns what is left of a path after cutting out ranges (mm from its
// end A).
func without(p *tube.Path, ranges [][2]float64) centrelines {
	slices.SortFunc(ranges, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	var out centrelines
	from := 0.0
	for _, r := range append(ranges, [2]float64{p.Length, p.Length}) {
		if part := trim(p, from, r[0]); part.Length > 0 {
			out = append(out, part)
		}
		from = max(from, r[1])
	}
	return out
}

// trim returns the part of a path between two distances (mm from its end A), for
// measuring: its Nodes are just the two ends.
func trim(p *tube.Path, from, to float64) *tube.Path {
	from, to = max(from, 0), min(to, p.Length)
	out := &tube.Path{Radius: p.Radius}
	for _, g := range p.Segments {
		lo, hi := max(from, g.Start), min(to, g.Start+g.Length)
		if hi <= lo {
			continue
		}
		part := g
		part.Start, part.Length = out.Length, hi-lo
		if g.Kind == tube.Arc {
			sin, cos := math.Sincos((lo - g.Start) / g.Radius)
			outward := g.Dir.Cross(g.Axis)
			part.From = g.Centre.Add(outward.Mul(g.Radius * cos)).Add(g.Dir.Mul(g.Radius * sin))
			part.Dir = g.Dir.Mul(cos).Sub(outward.Mul(sin))
			part.Angle = s1.Angle(part.Length / g.Radius)
		} else {
			part.From = g.From.Add(g.Dir.Mul(lo - g.Start))
		}
		part.To, _ = p.At(hi)
		out.Length += part.Length
		out.Segments = append(out.Segments, part)
	}
	return out
}
