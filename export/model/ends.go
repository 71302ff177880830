package model

import (
	"fmt"
	"math"

	"barwright/fit"
	"barwright/fit/tube"
)

// minValues is the fewest values that the curves of a cut may have: a mitre, the
// plainest cut, is a sine wave, of which fewer say nothing.
const minValues = 8

// keep is the length in mm that is left of every generator of an end's straight
// when a cut takes all of it, so that the mesh stays a solid. It is the gap at
// the fit-up that the contract allows.
const keep = 0.2

// minArc is the least distance in mm, round the bore, between corners of a ring.
// STL files hold float32, 1.2e-4 mm apart at 2 m, and readers weld what is a few
// such steps apart; 0.01 mm is more than ten times that.
const minArc = 0.01

// end is how a bar's end is cut. Curves are mm along the end's straight from the
// node, positive towards the other end, at clocks 2 pi i / len. The zero value
// is a square end.
type end struct {
	curve   [2][]float64 // outside, bore
	targets []target     // what it is notched round, if known
}

// cut tells whether there is anything to cut: a square end at the node needs
// nothing.
func (e end) cut() bool {
	for _, curve := range e.curve {
		for _, x := range curve {
			if x != 0 {
				return true
			}
		}
	}
	return false
}

// deepest returns the largest value of both curves, and the clock in degrees at
// which it is.
func (e end) deepest() (x, clock float64) {
	x = math.Inf(-1)
	for _, curve := range e.curve {
		for i, v := range curve {
			if v > x {
				x, clock = v, 360*float64(i)/float64(len(curve))
			}
		}
	}
	return x, clock
}

// value returns a curve's value at a clock position in radians, from 0 to 2 pi:
// on the straight line between its neighbours. Curves without values are 0.
func value(curve []float64, clock float64) float64 {
	n := len(curve)
	if n == 0 {
		return 0
	}
	at := clock / (2 * math.Pi) * float64(n)
	i := int(at)
	part := at - float64(i)
	return curve[i%n]*(1-part) + curve[(i+1)%n]*part
}

// barEnds reads the cuts of a bar, and says what of them a mesh cannot show.
func barEnds(b *fit.Bar) (ends [2]end, found []fit.Finding, err error) {
	for i, c := range b.Cuts {
		name := string("AB"[i])
		switch {
		case len(c.Outer) != len(c.Inner):
			return ends, nil, fmt.Errorf("cut of end %s has %d values outside and %d in the bore", name, len(c.Outer), len(c.Inner))
		case len(c.Outer) == 0:
			continue
		case len(c.Outer) < minValues:
			return ends, nil, fmt.Errorf("cut of end %s has %d values, it needs %d", name, len(c.Outer), minValues)
		}
		ends[i].curve = [2][]float64{c.Outer, c.Inner}
		for _, curve := range ends[i].curve {
			for k, x := range curve {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					return ends, nil, fmt.Errorf("cut of end %s is not finite at clock %g degrees", name, 360*float64(k)/float64(len(curve)))
				}
			}
		}
	}
	if b.Path == nil || len(b.Path.Segments) == 0 {
		return [2]end{}, nil, nil // solid says so
	}
	return ends, shortfalls(b, ends), nil
}

// Findings returns what the models of a cage cannot show of its bars' cuts, in
// the order of the bars, end A before B:
//
//   - a cut that reaches past the straight into a bend: the curves are measured
//     along the straight and say nothing about the bend. The model keeps 0.2 mm
//     of the straight there, and so is left too long;
//   - a straight bar whose two cuts meet: nothing is left of the tube between
//     them. The model keeps a strip of 0.2 mm there.
//
// Both are of the rule "tail": got is the straight's length, limit what the cuts
// need. Bars of which [Bar] can make no mesh are passed over.
func Findings(c *fit.Cage) []fit.Finding {
	var found []fit.Finding
	for _, b := range c.Bars {
		if _, f, err := barEnds(b); err == nil {
			found = append(found, f...)
		}
	}
	return found
}

func shortfalls(b *fit.Bar, ends [2]end) []fit.Finding {
	p := b.Path
	first, last := &p.Segments[0], &p.Segments[len(p.Segments)-1]
	if first == last {
		return cutsMeet(b, ends, first.Length)
	}
	var found []fit.Finding
	for i, g := range [2]*tube.Segment{first, last} {
		if !ends[i].cut() {
			continue
		}
		x, clock := ends[i].deepest()
		if x <= g.Length {
			continue
		}
		bend, at := 1, g.To
		if i == 1 {
			bend, at = len(p.Segments)/2, g.From
		}
		found = append(found, fit.Finding{
			Severity: fit.Warning, Rule: "tail", Bar: b.Name, Bend: bend, Got: g.Length, Limit: x, Unit: "mm", At: &at,
			Message: fmt.Sprintf("end %c: the cut reaches %.1f mm past the straight, into bend %d, at clock %.0f degrees; the model is left too long there",
				"AB"[i], x-g.Length, bend, clock),
		})
	}
	return found
}

// cutsMeet is for straight bars: the two cuts must leave something between them.
func cutsMeet(b *fit.Bar, ends [2]end, length float64) []fit.Finding {
	worst, clock := math.Inf(-1), 0.0
	for s := range 2 {
		// The sum of two lines through points is largest at one of the points.
		for _, e := range ends {
			for k := range e.curve[s] {
				c := 2 * math.Pi * float64(k) / float64(len(e.curve[s]))
				if sum := value(ends[0].curve[s], c) + value(ends[1].curve[s], c); sum > worst {
					worst, clock = sum, c
				}
			}
		}
	}
	if worst < length {
		return nil
	}
	g := &b.Path.Segments[0]
	at := g.From.Add(g.To).Mul(0.5)
	return []fit.Finding{{
		Severity: fit.Error, Rule: "tail", Bar: b.Name, Got: length, Limit: worst, Unit: "mm", At: &at,
		Message: fmt.Sprintf("the cuts of its two ends meet at clock %.0f degrees: they take %.1f mm there, and the bar has %.1f mm",
			clock*180/math.Pi, worst, length),
	}}
}

// cutBoth gives a straight bar's two end rings their corners. Both get the same
// clocks, so that between them runs one band of quadrangles with parallel sides,
// which cannot overlap however close the cuts come.
func (w *weaver) cutBoth(a, b *ring, ends [2]end, length float64) {
	c := w.refine(w.even, ends[:], math.Inf(1))
	a.clocks, b.clocks = c, c
	least := math.Inf(1)
	for s := range 2 {
		from, to := make([]float64, c.len()), make([]float64, c.len())
		for j, t := range c.at {
			x, y := value(ends[0].curve[s], t), length-value(ends[1].curve[s], t)
			least = min(least, y-x)
			if y-x < keep {
				middle := (x + y) / 2
				x, y = middle-keep/2, middle+keep/2
			}
			from[j], to[j] = x, y-length
		}
		a.offset[s], b.offset[s] = from, to
	}
	// Points of a face lie at most half a radius off the ruled one, so faces this
	// far apart do not meet. Closer ones stay ruled.
	if least > w.outer {
		w.follow(a, ends[0], 1, math.Inf(1))
		w.follow(b, ends[1], -1, math.Inf(1))
	}
}

// cutEnd returns two rings for the end of a bar with bends: r with its corners
// moved to the cut, and a square one close behind it with the same clocks, from
// where the rings of the tube can go on with fewer. forward is 1 at end A, where
// the straight runs along the ring's direction, and -1 at end B; length is the
// straight's, mm.
func (w *weaver) cutEnd(r ring, e end, forward, length float64) []ring {
	deepest := math.Inf(-1)
	for s := range 2 {
		r.offset[s] = make([]float64, r.clocks.len())
		for j, t := range r.clocks.at {
			x := min(value(e.curve[s], t), length-keep)
			deepest = max(deepest, x)
			r.offset[s][j] = forward * x
		}
	}
	w.follow(&r, e, forward, length-keep)
	// As far behind the cut as corners are apart, if there is the room: any
	// closer and triangles would be needles.
	step := 2 * math.Pi * w.outer / float64(w.even.len())
	behind := deepest + min(step, (length-deepest)/2)
	square := ring{r.centre.Add(r.dir.Mul(forward * behind)), r.dir, r.across, r.clocks, [2][]float64{}, nil}
	return []ring{r, square}
}

// clocks are the places of a ring's corners: angles about the tube's direction
// from the reference line, in radians, increasing, the first 0.
type clocks struct{ at, cos, sin []float64 }

func newClocks(at []float64) *clocks {
	c := &clocks{at: at, cos: make([]float64, len(at)), sin: make([]float64, len(at))}
	for j, t := range at {
		c.sin[j], c.cos[j] = math.Sincos(t)
	}
	return c
}

func evenly(n int) *clocks {
	at := make([]float64, n)
	for j := range at {
		at[j] = 2 * math.Pi * float64(j) / float64(n)
	}
	return newClocks(at)
}

func (c *clocks) len() int { return len(c.at) }

// next returns the clock of the corner after corner j; after the last one it is
// the whole turn, and then nothing.
func (c *clocks) next(j int) float64 {
	switch {
	case j+1 < len(c.at):
		return c.at[j+1]
	case j+1 == len(c.at):
		return 2 * math.Pi
	}
	return math.Inf(1)
}

// refine returns the clocks and as many more as it takes so that the edges of
// the given ends, straight from corner to corner, are nowhere more than w.cut
// off their curves along the tube's surface. Curves count as cut off at limit
// (mm).
//
// The curves are straight between the values given, so only the places of these
// need be looked at, and only they are added. Edges lie inside the tube's surface
// as well, by at most the sagitta of a step; the two are at right angles.
func (w *weaver) refine(c *clocks, ends []end, limit float64) *clocks {
	at := c.at
	for _, e := range ends {
		for s, radius := range [2]float64{w.outer, w.inner} {
			if len(e.curve[s]) > 0 {
				f := edge{e.curve[s], radius, limit, w.cut, minArc / w.inner}
				next := make([]float64, 0, 2*len(at))
				for j, t := range at {
					to := 2 * math.Pi
					if j+1 < len(at) {
						to = at[j+1]
					}
					next = append(next, t)
					next = f.split(next, t, to)
				}
				at = next
			}
		}
	}
	return newClocks(at)
}

// edge is a curve round the tube, to be replaced by chords.
type edge struct {
	curve  []float64 // mm
	radius float64   // mm
	limit  float64   // mm
	off    float64   // the most that a chord may be off the curve, mm
	apart  float64   // the least that corners may be apart, radians
}

// point returns the curve's point at a clock, on the tube's surface unrolled.
func (f *edge) point(clock float64) (along, x float64) {
	return f.radius * clock, min(value(f.curve, clock), f.limit)
}

// split appends to out the clocks between from and to at which chords must meet,
// in order: the value that is furthest off the chord, and the like on both sides
// of it.
func (f *edge) split(out []float64, from, to float64) []float64 {
	n := float64(len(f.curve))
	ax, ay := f.point(from)
	bx, by := f.point(to)
	worst, where := f.off, 0.0
	for i := math.Ceil((from + f.apart) / (2 * math.Pi) * n); ; i++ {
		t := 2 * math.Pi * i / n
		if t > to-f.apart {
			break
		}
		px, py := f.point(t)
		if d := offSegment(px-ax, py-ay, bx-ax, by-ay); d > worst {
			worst, where = d, t
		}
	}
	if where == 0 {
		return out
	}
	out = f.split(out, from, where)
	out = append(out, where)
	return f.split(out, where, to)
}

// offSegment returns the distance of the point p from the segment between the
// origin and q, in the plane.
func offSegment(px, py, qx, qy float64) float64 {
	part := max(0, min(1, (px*qx+py*qy)/(qx*qx+qy*qy)))
	return math.Hypot(px-part*qx, py-part*qy)
}
