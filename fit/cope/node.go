package cope

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// sharpest is the flattest angle in degrees at which the parting of two tubes is
// looked for: flatter ones part later than (sum of radii) / sin 5, and are
// reported as not parting at all.
const sharpest = 5

// walkStep is the least step (mm) of the walk along a branch to where it parts
// from what it meets. The walk only has to end outside, so it may end a step
// too far out.
const walkStep = 0.01

// landing is a landed end on its way to a joint.
type landing struct {
	bar, end int // index in the cage; 0: A, 1: B
	branch   *fit.Bar
	target   int

	node  r3.Vector
	w     r3.Vector // unit, from the node back along the branch
	ref   r3.Vector // clock 0 of the branch at its end
	side  r3.Vector // clock 90
	at    float64   // along the target
	d     r3.Vector // the target's direction there
	miss  float64   // from the node to the target's centreline
	meets bool      // the branch's end touches the target at all

	lo, hi  float64  // along w, the range in which the branch may touch what it meets
	grazing bool     // they have not come apart at hi
	order   int      // at its node, from 1
	solids  []*solid // target first, then the others that it is notched round
}

// landings finds the ends that land on bars, in the cage's order, end A before B.
func landings(c *fit.Cage) []*landing {
	index := map[string]int{}
	for i, b := range c.Bars {
		if _, ok := index[b.Name]; !ok && usable(b) {
			index[b.Name] = i
		}
	}
	var out []*landing
	for i, b := range c.Bars {
		if !usable(b) {
			continue
		}
		for e, end := range b.Ends {
			target, ok := index[end.Onto]
			if end.Kind == job.Landed && ok && target != i {
				out = append(out, newLanding(c, i, e, target))
			}
		}
	}
	return out
}

// usable tells whether a bar has a tube to work with; package check reports
// those that have none.
func usable(b *fit.Bar) bool { return b.Path != nil && len(b.Path.Segments) > 0 && b.Tube != nil }

func newLanding(c *fit.Cage, bar, end, target int) *landing {
	b, t := c.Bars[bar], c.Bars[target]
	l := &landing{bar: bar, end: end, branch: b, target: target}
	s := station(b, end)
	l.node, l.w = b.Path.At(s)
	l.ref = tube.ReferenceAt(b.Path, s)
	l.side = l.w.Cross(l.ref)
	if end == 1 {
		l.w = l.w.Mul(-1)
	}
	l.at, l.miss = t.Path.Closest(l.node)
	_, l.d = t.Path.At(l.at)
	l.meets = l.miss < b.Radius()+t.Radius()
	l.lo, _ = l.part(c, []int{target}, -1)
	l.hi, l.grazing = l.part(c, []int{target}, 1)
	return l
}

// station returns the distance (mm) from end A at which an end is.
func station(b *fit.Bar, end int) float64 {
	if end == 0 {
		return 0
	}
	return b.Path.Length
}

// part walks from the node along the branch's axis, outward (sign 1) or beyond
// its end (-1), to where the branch has come apart from all of the bars given
// by index: as far as it touches one of them without a break. grazing: it never
// does. The distance from a path is 1-Lipschitz, so no parting is stepped over
// by more than walkStep.
func (l *landing) part(c *fit.Cage, bars []int, sign float64) (x float64, grazing bool) {
	r := l.branch.Radius()
	widest := 0.0
	for _, k := range bars {
		widest = max(widest, c.Bars[k].Radius())
	}
	most := min((widest+r)/math.Sin(sharpest*math.Pi/180), l.branch.Path.Length)
	for x < most {
		p := l.node.Add(l.w.Mul(sign * x))
		deepest := math.Inf(-1)
		for _, k := range bars {
			_, d := c.Bars[k].Path.Closest(p)
			deepest = max(deepest, c.Bars[k].Radius()+r-d)
		}
		if deepest <= 0 {
			return sign * x, false
		}
		x = min(most, x+max(deepest, walkStep))
	}
	return sign * most, true
}

// order says in which order the ends at each node are cut, and round what. Ends
// belong to one node if they are so close that what their notches take of
// their targets may overlap. Targets come before what lands on them, then the
// larger tube, then the cage's order.
func order(c *fit.Cage, all []*landing) {
	group := make([]int, len(all))
	for i := range group {
		group[i] = i
		for k := range i {
			if near(all[i], all[k]) {
				from, to := group[i], group[k]
				for m := range i + 1 {
					if group[m] == from {
						group[m] = to
					}
				}
			}
		}
	}
	for first := range all {
		var node []*landing
		for i, l := range all {
			if group[i] == first {
				node = append(node, l)
			}
		}
		sequence(c, node)
		for _, l := range node {
			l.round(c, node)
		}
	}
}

func near(a, b *landing) bool { return a.node.Sub(b.node).Norm() < a.hi+b.hi }

// sequence numbers the ends of one node.
func sequence(c *fit.Cage, node []*landing) {
	left := slices.Clone(node)
	slices.SortStableFunc(left, func(a, b *landing) int {
		return cmp.Or(cmp.Compare(b.branch.Tube.OD, a.branch.Tube.OD), cmp.Compare(a.bar, b.bar), cmp.Compare(a.end, b.end))
	})
	for n := 1; len(left) > 0; n++ {
		next := slices.IndexFunc(left, func(l *landing) bool {
			return !slices.ContainsFunc(left, func(o *landing) bool { return o.bar == l.target })
		})
		next = max(next, 0) // bars that land on each other in a ring: the job forbids them
		left[next].order = n
		left = slices.Delete(left, next, next+1)
	}
}

// round collects what a notch goes round: the target; of the other bars at this
// node those that run through it and those whose ends are cut earlier; and any
// other bar as close to its node as the sum of the radii.
func (l *landing) round(c *fit.Cage, node []*landing) {
	r := l.branch.Radius()
	bars, strange := []int{l.target}, []bool{false}
	for k, b := range c.Bars {
		if k == l.bar || k == l.target || !usable(b) {
			continue
		}
		ends, earlier, here := 0, false, false
		for _, o := range node {
			if o.bar == k {
				ends++
				earlier = earlier || o.order < l.order
			}
			here = here || o.bar == k || o.target == k
		}
		if ends > 0 && !earlier {
			continue
		}
		joined := here
		if !here {
			_, d := b.Path.Closest(l.node)
			here = d < r+b.Radius()
		}
		if here {
			bars, strange = append(bars, k), append(strange, !joined)
		}
	}
	l.hi, l.grazing = l.part(c, bars, 1)
	middle, reach := l.node.Add(l.w.Mul((l.lo+l.hi)/2)), (l.hi-l.lo)/2+r
	for n, k := range bars {
		s := newSolid(k, c.Bars[k].Path, c.Bars[k].Radius(), middle, reach)
		s.stranger = strange[n]
		if k == l.target || len(s.near.Segments) > 0 {
			l.solids = append(l.solids, s)
		}
	}
}

// direction returns the unit vector from the branch's axis to its clock position
// in radians.
func (l *landing) direction(clock float64) r3.Vector {
	sin, cos := math.Sincos(clock)
	return l.ref.Mul(cos).Add(l.side.Mul(sin))
}

// end is where the line along the branch at a distance from its axis stops.
type end struct {
	x  float64
	by int // which of the landing's solids it meets; -1: none
}

// cut finds where the branch's line at the distance rho (mm) from its axis in
// the unit direction u ends. A line that meets nothing ends where it is closest
// to the target's centreline: the closed form with its root at zero.
func (l *landing) cut(rho float64, u r3.Vector) end {
	line := ray{l.node.Add(u.Mul(rho)), l.w}
	out := end{x: math.Inf(-1), by: -1}
	for i, s := range l.solids {
		if l.grazing && s.distance(line.at(l.hi)) < s.radius {
			return end{x: l.hi, by: i}
		}
		// The walk's last step may put hi right on a surface.
		if x, ok := s.leave(line, l.lo-walkStep, l.hi+walkStep); ok && x > out.x {
			out = end{x: x, by: i}
		}
	}
	if out.by >= 0 {
		return out
	}
	t := l.solids[0]
	out.x = t.nearest(line, l.lo, l.hi)
	if t.distance(line.at(out.x)) < t.radius+touching {
		out.by = 0
	}
	return out
}
