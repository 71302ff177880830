package fit

import (
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit/tube"
	"barwright/mesh"
)

// Surface answers distance questions; *mesh.Index is one.
type Surface interface {
	// ClosestFrom returns the point of the surface that is closest to p (mm).
	// tri is the triangle of an earlier answer, a hint where to start, or -1.
	ClosestFrom(p r3.Vector, tri int32) mesh.Hit
}

// Certificate is what Certify finds. Lengths are in mm; gaps are distances from
// the tube's surface, negative outside the cabin as far as they are deep.
type Certificate struct {
	CertifiedMin float64   // lower bound of the gap outside foot zones
	WorstAt      r3.Vector // point of the centreline where the gap outside foot zones is smallest
	WorstS       float64   // how far along the path that is
	WorstTri     int32     // triangle that is closest to it

	Min, Mean, Max float64 // of the gap, in the statistics' domain
	RMSOver        float64 // root mean square of gap - clearance there

	Deficit   float64   // upper bound of required - actual distance on the whole path
	DeficitAt r3.Vector // point of the centreline where it is largest
	DeficitS  float64   // how far along the path that is

	Outside   bool      // a part of the path is outside the cabin
	OutsideAt r3.Vector // the part of it that is deepest outside
	OutsideS  float64   // how far along the path that is

	Queries int // closest-point queries asked
}

// Resolution is how far, in mm, a certified bound may be from the true value.
const Resolution = 0.01

// Numerical constants of the certificate, in mm.
const (
	// rounding is taken off every bound. A surface answers to 1e-6 mm; the sums
	// here have coordinates up to 1e5 mm, where float64 values are 1.5e-11 mm
	// apart, and lose a few of those.
	rounding = 2e-6

	// gapTol is how far below the least sample a bound may stay; with rounding
	// it keeps within Resolution.
	gapTol = Resolution - 2*rounding

	// meanTol is how far the mean may be off.
	meanTol = 0.05

	// baseStep is the distance of the first samples. Tubes keep 30 to 40 mm
	// from the shell; where they run along it, it takes a sample every
	// sqrt(8 x 35 x 0.01) = 1.6 mm (see lower), which is baseStep halved three
	// times.
	baseStep = 12

	// leastStep ends the search for the place where a path goes through the
	// shell. What is judged on the wrong side is then no deeper than half of it.
	leastStep = 0.02

	// tinyStep ends any subdivision: far below what a bound needs to settle.
	tinyStep = 1e-5

	// probeStep is the distance of the inside tests where a path does not meet the
	// shell, so that a way out through a hole shows.
	probeStep = 2 * baseStep

	// FootError is how far a foot may be off the surface, mm (a manufacturing
	// tolerance).
	FootError = 0.1
)

// Certify works out how far a bar keeps from a surface. inside tells whether a
// point is in the cabin; nil counts every point as inside.
//
// # Guarantees
//
//  1. CertifiedMin is at most Resolution below the true minimum and never above
//     it, and Deficit at most Resolution above the true maximum and never
//     below it, provided the surface answers to 1e-6 mm.
//  2. Min is the true minimum to Resolution, Mean the true mean, weighted by
//     length, to 0.05 mm, RMSOver to 0.1 mm, and Max at most 0.1 mm too small.
//  3. A path through the surface is never certified as clear of it.
//  4. The same input gives the same bits.
//
// A path all of which is in foot zones has no point that needs the full
// clearance; CertifiedMin is then the clearance less the deficit. A path too
// short for the statistics' domain is judged at the middle of what is left.
// A surface without triangles gives infinite gaps.
//
// # Method
//
// A sample at distance d from the surface owns a ball of radius d without
// surface in it. Where the balls of two neighbours meet, no point between them
// is closer to the surface than to the circle in which the two spheres meet:
// the bound of lower, which is second order in the step where the Lipschitz
// bound is first order. Outside the cabin the two closest points found bound
// the distance from above, as no point is farther from the surface than from
// either. Intervals are halved until their bound is no more than the tolerance
// below the least sample. On an arc everything is worked out on chords, which
// are off by no more than step^2 / (8 R).
//
// Neighbours whose balls meet lie on the same side of the shell. So a run
// of samples between two crossings gets its side from a few tests in open air, and samples
// near the surface, where any inside test is doubtful, inherit it.
func Certify(p *tube.Path, r Requirement, s Surface, inside func(r3.Vector) bool) Certificate {
	return certify(p, r, s, inside, meanTol)
}

// reading is a point of the path with what is known about it.
type reading struct {
	s       float64
	at, hit r3.Vector
	d       float64 // distance to the surface, >= 0
	outside bool
	tri     int32
}

// signed returns the distance, negative outside the cabin.
func (a *reading) signed() float64 {
	if a.outside {
		return -a.d
	}
	return a.d
}

// certifier is one run of Certify.
type certifier struct {
	path    *tube.Path
	req     Requirement
	surface Surface
	inside  func(r3.Vector) bool
	meanTol float64 // mm; +Inf: the statistics are not wanted
	queries int

	leastFull, leastAny, leastStat  float64 // least sample: distance, distance - required, distance
	boundFull, boundAny             float64 // least bound
	worst, deficit                  reading
	outside                         reading
	anyOutside                      bool
	most                            float64
	statLength, statSum, statSquare float64
}

func certify(p *tube.Path, r Requirement, s Surface, inside func(r3.Vector) bool, meanTol float64) Certificate {
	if inside == nil {
		inside = func(r3.Vector) bool { return true }
	}
	inf := math.Inf(1)
	c := certifier{
		path: p, req: r, surface: s, inside: inside, meanTol: meanTol,
		leastFull: inf, leastAny: inf, leastStat: inf, boundFull: inf, boundAny: inf, most: -inf,
	}
	stretches := r.stretches(p)
	samples, owner := c.base(stretches)
	if len(samples) == 0 {
		return Certificate{CertifiedMin: inf, Min: inf, Mean: inf, Max: inf, RMSOver: inf, Deficit: -inf, WorstTri: -1}
	}
	c.takeSides(samples, owner, stretches)
	// The base samples first: a good least value saves halvings.
	for i := range owner {
		c.see(&samples[i], &stretches[owner[i]])
		c.see(&samples[i+1], &stretches[owner[i]])
	}
	for i := range owner {
		c.halve(&samples[i], &samples[i+1], &stretches[owner[i]])
	}
	return c.result(samples)
}

// result puts the certificate together.
func (c *certifier) result(samples []reading) Certificate {
	out := Certificate{
		CertifiedMin: c.boundFull - rounding - c.req.Radius,
		WorstAt:      c.worst.at, WorstS: c.worst.s, WorstTri: c.worst.tri,
		Deficit:   rounding - c.boundAny,
		DeficitAt: c.deficit.at, DeficitS: c.deficit.s,
		Outside: c.anyOutside, OutsideAt: c.outside.at, OutsideS: c.outside.s,
	}
	if math.IsInf(c.leastFull, 1) && !math.IsInf(c.leastAny, 1) {
		out.CertifiedMin = c.req.Clearance - out.Deficit
		out.WorstAt, out.WorstS, out.WorstTri = c.deficit.at, c.deficit.s, c.deficit.tri
	}
	if c.statLength == 0 {
		lo, _ := c.req.statRange(c.path.Length)
		a := c.between(samples, lo)
		gap := a.signed() - c.req.Radius
		out.Min, out.Mean, out.Max, out.RMSOver = gap, gap, gap, math.Abs(gap-c.req.Clearance)
	} else {
		out.Min, out.Max = c.leastStat-c.req.Radius, c.most-c.req.Radius
		out.Mean = c.statSum/c.statLength - c.req.Radius
		out.RMSOver = math.Sqrt(c.statSquare / c.statLength)
	}
	out.Queries = c.queries
	return out
}

// ask samples the path at s; near is a sample not far off.
func (c *certifier) ask(s float64, near *reading) reading {
	c.queries++
	at, _ := c.path.At(s)
	tri := int32(-1)
	if near != nil {
		tri = near.tri
	}
	h := c.surface.ClosestFrom(at, tri)
	return reading{s: s, at: at, hit: h.Point, d: h.Distance, tri: h.Triangle}
}

// base takes the first samples: both ends of every stretch, evenly spaced ones
// between, and more where the balls of neighbours do not meet, until they do or
// the path is found to touch the surface. owner[i] is the stretch of the interval
// between samples i and i+1.
func (c *certifier) base(stretches []stretch) (samples []reading, owner []int) {
	for k := range stretches {
		st := &stretches[k]
		if k == 0 {
			samples = append(samples, c.ask(st.from, nil))
		}
		n := max(1, int(math.Ceil((st.to-st.from)/baseStep)))
		for i := 1; i <= n; i++ {
			s := st.from + (st.to-st.from)*float64(i)/float64(n)
			if i == n {
				s = st.to
			}
			last := samples[len(samples)-1]
			samples, owner = c.connect(samples, owner, last, c.ask(s, &last), st, k)
		}
	}
	return samples, owner
}

// connect appends b, which follows a, and whatever has to go between them.
func (c *certifier) connect(samples []reading, owner []int, a, b reading, st *stretch, k int) ([]reading, []int) {
	width := b.s - a.s
	if width <= leastStep || max(a.d, b.d) <= leastStep/2 || meet(&a, &b, st) {
		return append(samples, b), append(owner, k)
	}
	mid := c.ask(a.s+width/2, &a)
	samples, owner = c.connect(samples, owner, a, mid, st, k)
	return c.connect(samples, owner, mid, b, st, k)
}

// sagitta bounds how far the path is from the point of the chord at the same
// share of the way (the error of linear interpolation, width^2 max|c"| / 8).
func sagitta(width float64, st *stretch) float64 { return width * width * st.curvature / 8 }

// meet tells whether the balls of two neighbours cover the path between them,
// so that the surface does not pass there. The circle in which the spheres meet
// is ho from the chord, which has to be more than the path may leave the chord.
func meet(a, b *reading, st *stretch) bool {
	l := newLens(a, b)
	return l.chord < a.d+b.d && l.least(0, 0) > sagitta(b.s-a.s, st)
}

// lens is the geometry of two overlapping balls around the ends of a chord. The
// distance of the chord's point y to the circle in which the spheres meet is
// sqrt((y-y0)^2 + ho^2); for every y in [0, chord] it is the distance to what is
// outside both balls.
type lens struct{ d2, chord, y0, ho float64 }

func newLens(a, b *reading) lens {
	l := lens{d2: a.d * a.d, chord: b.at.Sub(a.at).Norm()}
	if l.chord == 0 || math.IsInf(a.d, 1) || math.IsInf(b.d, 1) {
		return l
	}
	l.y0 = ((a.d-b.d)*(a.d+b.d)/l.chord + l.chord) / 2
	l.ho = math.Sqrt(max(0, l.d2-l.y0*l.y0))
	return l
}

// at is the distance at y. The form without ho loses least.
func (l lens) at(y float64) float64 { return math.Sqrt(max(0, l.d2-2*y*l.y0+y*y)) }

// least returns the least of distance - (need + slope y) over the chord. The
// distance is convex in y; its slope at y0 + t is t / sqrt(t^2 + ho^2).
func (l lens) least(need, slope float64) float64 {
	y := l.y0
	if slope != 0 {
		y += l.ho * slope / math.Sqrt(max(1e-18, 1-slope*slope))
	}
	y = min(max(y, 0), l.chord)
	return l.at(y) - need - slope*y
}

// lower returns a lower bound of signed distance - required between neighbours
// a and b on one stretch, where required is need at a and changes by slope.
func lower(a, b *reading, st *stretch, need, slope float64) float64 {
	width := b.s - a.s
	if a.outside != b.outside || !meet(a, b, st) {
		// The surface, or a hole's rim, is somewhere between. The distance is
		// 1-Lipschitz, so what is outside is no deeper than this.
		return min(a.signed(), b.signed()) - width - max(need, need+slope*width)
	}
	if math.IsInf(a.d, 1) || math.IsInf(b.d, 1) {
		return a.signed()
	}
	l := newLens(a, b)
	chordSlope := 0.0
	if l.chord > 0 {
		chordSlope = slope * width / l.chord
	}
	if !a.outside {
		return l.least(need, chordSlope) - sagitta(width, st)
	}
	// Outside: the most of min(|y-hit a|, |y-hit b|) + required. Both are convex
	// in y, so it is at an end or where the two are equal.
	most := max(a.d+need, b.d+need+slope*width)
	if y, d, ok := crossing(a, b, l.chord); ok {
		most = max(most, d+need+chordSlope*y)
	}
	return -most - sagitta(width, st)
}

// crossing returns the chord's point y that is equally far from the two closest
// points, and how far; ok is false if it is not on the chord.
func crossing(a, b *reading, chord float64) (y, d float64, ok bool) {
	if chord == 0 {
		return 0, 0, false
	}
	u := b.at.Sub(a.at).Mul(1 / chord)
	ta, tb := a.hit.Sub(a.at).Dot(u), b.hit.Sub(a.at).Dot(u)
	if ta == tb {
		return 0, 0, false
	}
	y = (b.hit.Sub(a.at).Norm2() - a.d*a.d) / (2 * (tb - ta))
	if !(y > 0 && y < chord) {
		return 0, 0, false
	}
	return y, math.Sqrt(max(0, a.d*a.d-2*y*ta+y*y)), true
}

// meanError bounds how far the mean distance between neighbours can be from the
// mean of their distances. Above: two convex arcs that meet, under a triangle.
// Below: lens.at has a second derivative of at most ho^2 / least^3, and a convex
// function with second derivative m is on average no more than m w^2 / 12 below
// its secant. And either is bounded by the Lipschitz parallelogram.
func meanError(a, b *reading, st *stretch) float64 {
	width := b.s - a.s
	lipschitz := (width*width - (a.d-b.d)*(a.d-b.d)) / (4 * width)
	l := newLens(a, b)
	if a.outside != b.outside || l.chord >= a.d+b.d || math.IsInf(a.d, 1) {
		return width + a.d + b.d // sides unknown
	}
	least := l.least(0, 0)
	below := l.chord * l.chord * l.ho * l.ho / (12 * least * least * least)
	above := 0.0
	if y, d, ok := crossing(a, b, l.chord); ok {
		above = max(0, d-(a.d+(b.d-a.d)*y/l.chord)) / 2
	}
	return min(max(below, above)+sagitta(width, st), lipschitz)
}

// takeSides decides for every sample whether it is outside the cabin, run by
// run; a run ends where the balls of neighbours do not meet.
func (c *certifier) takeSides(samples []reading, owner []int, stretches []stretch) {
	for i := 0; i < len(samples); {
		j := i + 1
		for j < len(samples) && meet(&samples[j-1], &samples[j], &stretches[owner[j-1]]) {
			j++
		}
		c.takeSide(samples[i:j])
		i = j
	}
}

// takeSide decides for a run that does not meet the surface. It tests
// samples that have a tube's radius of air around them, or at least the one with
// the most air; the others take the side of the nearest one tested.
func (c *certifier) takeSide(run []reading) {
	deepest := 0
	for i := range run {
		if run[i].d > run[deepest].d {
			deepest = i
		}
	}
	tested := -1
	for i := range run {
		a := &run[i]
		if i != deepest && (a.d < c.req.Radius || tested >= 0 && a.s-run[tested].s < probeStep) {
			continue
		}
		a.outside = c.testOutside(run, i)
		for k := tested + 1; k < i; k++ {
			run[k].outside = a.outside
			if tested >= 0 && run[k].s-run[tested].s < a.s-run[k].s {
				run[k].outside = run[tested].outside
			}
		}
		tested = i
	}
	for k := tested + 1; k < len(run); k++ {
		run[k].outside = run[tested].outside
	}
}

// testOutside tests a sample of a run. An inside test on a scan may go wrong
// at a point here and there, so a neighbour in the run has to agree.
func (c *certifier) testOutside(run []reading, i int) bool {
	if c.inside(run[i].at) {
		return false
	}
	if len(run) == 1 {
		return true
	}
	return i > 0 && !c.inside(run[i-1].at) || i+1 < len(run) && !c.inside(run[i+1].at)
}

// see takes note of a sample on a stretch.
func (c *certifier) see(a *reading, st *stretch) {
	f := a.signed()
	if g := f - st.need - st.slope*(a.s-st.from); g < c.leastAny {
		c.leastAny, c.deficit = g, *a
	}
	allowed := 0.0
	if st.full {
		if f < c.leastFull {
			c.leastFull, c.worst = f, *a
		}
	} else {
		allowed = max(FootError, c.req.FootAllowance)
	}
	if st.stat {
		c.leastStat, c.most = min(c.leastStat, f), max(c.most, f)
	}
	if a.outside && a.d > allowed && (!c.anyOutside || a.d > c.outside.d) {
		c.anyOutside, c.outside = true, *a
	}
}

// halve settles the interval between neighbours a and b: its bound is within
// the tolerance of the least sample, and its share of the mean good enough, or
// it is cut in two.
func (c *certifier) halve(a, b *reading, st *stretch) {
	width := b.s - a.s
	need := st.need + st.slope*(a.s-st.from)
	bound := lower(a, b, st, need, st.slope)
	plain := bound + need // of the distance, if need is constant
	if st.slope != 0 && st.stat {
		plain = lower(a, b, st, 0, 0)
	}
	settled := width <= tinyStep ||
		bound >= c.leastAny-gapTol &&
			(!st.full || bound+need >= c.leastFull-gapTol) &&
			(!st.stat || plain >= c.leastStat-gapTol)
	if settled && st.stat && !math.IsInf(c.meanTol, 1) && width > leastStep {
		settled = meanError(a, b, st) <= c.meanTol
	}
	if !settled {
		mid := c.middle(a, b, st)
		c.see(&mid, st)
		c.halve(a, &mid, st)
		c.halve(&mid, b, st)
		return
	}
	c.boundAny = min(c.boundAny, bound)
	if st.full {
		c.boundFull = min(c.boundFull, bound+need)
	}
	if st.stat {
		fa, fb := a.signed(), b.signed()
		ua, ub := fa-c.req.Full(), fb-c.req.Full()
		c.statLength += width
		c.statSum += width * (fa + fb) / 2
		c.statSquare += width * (ua*ua + ua*ub + ub*ub) / 3
	}
}

// middle samples the middle between neighbours and gives it its side: that of
// the neighbour with more air whose ball meets its own; tested where the two
// differ.
func (c *certifier) middle(a, b *reading, st *stretch) reading {
	mid := c.ask(a.s+(b.s-a.s)/2, a)
	near, far := a, b
	if b.d > a.d {
		near, far = b, a
	}
	switch {
	case a.outside != b.outside && meet(a, b, st):
		mid.outside = !c.inside(mid.at)
	case meets(near, &mid, st), !meets(far, &mid, st):
		mid.outside = near.outside
	default:
		mid.outside = far.outside
	}
	return mid
}

// meets is meet for neighbours in either order.
func meets(a, b *reading, st *stretch) bool {
	if a.s > b.s {
		a, b = b, a
	}
	return meet(a, b, st)
}

// between samples the path at s with the side of the nearest sample.
func (c *certifier) between(samples []reading, s float64) reading {
	near := &samples[0]
	for i := range samples {
		if math.Abs(samples[i].s-s) < math.Abs(near.s-s) {
			near = &samples[i]
		}
	}
	a := c.ask(s, near)
	a.outside = near.outside
	return a
}
