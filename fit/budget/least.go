package budget

import (
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/mesh"
)

// How far, in mm, a smallest gap may be below the true one.
const (
	drawTol = 0.02  // twice that of certificates (fit.Resolution); far below what a tape shows
	fineTol = 0.005 // half of it, as a change is between two of them
)

// Numerical constants, mm.
const (
	// spanStep is the distance of the planned bar's samples. The balls of
	// neighbours 35 mm from the shell are 12^2 / (8 x 35) = 0.5 mm short of it
	// between them, less than what most errors of bending make. From 8 to 20 it
	// makes no odds to the time.
	spanStep = 12

	// rounding is added to bounds of queries: an index answers to 1e-6 mm, and
	// coordinates up to 1e5 mm are good to 1.5e-11.
	rounding = 2e-6

	// tinyStep ends any halving: far below what a bound needs to settle.
	tinyStep = 1e-4
)

// prober finds the smallest distance between a bar's centreline and a shell
// for bars that are little different from the planned one. Distances are
// negative outside the cabin.
type prober struct {
	index   *mesh.Index
	inside  func(r3.Vector) bool
	req     fit.Requirement
	planned float64 // lower bound of the planned bar's smallest distance, at most fineTol below
	pieces  []piece // of the planned bar, one for each segment
	at      []reading
	spans   []span
	nearest witness // of the planned bar
	seen    witness // of the bar last looked at

	// The bar in error.
	shape   []segment
	bent    []piece
	slack   []float64 // by piece
	now     []reading
	known   []bool
	moved   []float64
	waiting []int // spans to be looked at
	floors  []float64
	most    float64 // upper bound of the smallest distance
	low     float64 // lower bound of it, as far as spans are settled
	queries int
}

// piece is the part of a segment outside foot zones.
type piece struct{ from, length float64 } // mm along the segment

// span is what lies between two neighbouring samples of a piece.
type span struct {
	piece    int
	first    int     // sample where it begins; it ends at the next one
	from, to float64 // shares of the piece
	low      float64 // lower bound of the distance from it, in plan
}

// reading is a point of a centreline with what is known about it.
type reading struct {
	p, hit  r3.Vector // hit: the shell's closest point, if exact
	free    float64   // there is no shell within this radius of p
	exact   bool      // there is at this radius
	outside bool
}

// witness is the point of the planned bar that is nearest to the shell.
type witness struct {
	piece int
	share float64
	hit   r3.Vector
}

// signed is a lower bound of the distance; the distance itself if a is exact.
func (a *reading) signed() float64 {
	if a.outside {
		return -a.free
	}
	return a.free
}

// newProber returns nil if no part of the bar needs its full clearance.
func newProber(shape []segment, req fit.Requirement, sh *mesh.Shell) *prober {
	length := 0.0
	for i := range shape {
		length += shape[i].length
	}
	pr := &prober{index: sh.CertIndex(), inside: sh.Inside, req: req, shape: shape}
	lo, hi := pr.domain(length)
	if hi < lo {
		return nil
	}
	pr.pieces = pr.clip(nil, shape)
	for k, c := range pr.pieces {
		n := max(1, int(math.Ceil(c.length/spanStep)))
		for i := 0; i <= n; i++ {
			share := float64(i) / float64(n)
			p := pr.point(pr.pieces, k, share)
			hit := pr.index.Closest(p)
			if hit.Triangle < 0 {
				return nil
			}
			if i < n {
				pr.spans = append(pr.spans, span{piece: k, first: len(pr.at), from: share, to: float64(i+1) / float64(n)})
			}
			pr.at = append(pr.at, reading{p: p, hit: hit.Point, free: hit.Distance, exact: true, outside: !pr.inside(p)})
		}
	}
	pr.agree()
	pr.now = make([]reading, len(pr.at))
	pr.known = make([]bool, len(pr.at))
	pr.moved = make([]float64, len(pr.at))
	pr.bent, pr.slack = make([]piece, len(shape)), make([]float64, len(shape))
	pr.survey()
	return pr
}

// agree takes a sample for outside only if a neighbour says so too: an inside
// test on a scan may go wrong at a point here and there.
func (pr *prober) agree() {
	said := make([]bool, len(pr.at))
	for i := range pr.at {
		said[i] = pr.at[i].outside
	}
	for i := range pr.at {
		pr.at[i].outside = said[i] && (len(said) == 1 || i > 0 && said[i-1] || i+1 < len(said) && said[i+1])
	}
}

// domain returns where a bar of that length needs its full clearance, mm from
// end A; hi < lo: nowhere.
func (pr *prober) domain(length float64) (lo, hi float64) {
	hi = length
	if pr.req.Feet[0] {
		lo = pr.req.Zone()
	}
	if pr.req.Feet[1] {
		hi -= pr.req.Zone()
	}
	return lo, hi
}

// clip appends what of every segment is in the domain. Of a bar that has just
// become too short for one, that is the point in the middle.
func (pr *prober) clip(dst []piece, shape []segment) []piece {
	length := 0.0
	for i := range shape {
		length += shape[i].length
	}
	lo, hi := pr.domain(length)
	if hi < lo {
		lo = min(max((lo+hi)/2, 0), length)
		hi = lo
	}
	start := 0.0
	for i := range shape {
		l := shape[i].length
		from, to := min(max(lo-start, 0), l), min(max(hi-start, 0), l)
		dst = append(dst, piece{from, to - from})
		start += l
	}
	return dst
}

func (pr *prober) point(pieces []piece, k int, share float64) r3.Vector {
	return pr.shape[k].at(pieces[k].from + share*pieces[k].length)
}

// survey works out the planned bar: the smallest distance and a lower bound for
// every span.
func (pr *prober) survey() {
	copy(pr.bent, pr.pieces)
	pr.low, pr.most = math.Inf(1), math.Inf(1)
	for i := range pr.spans {
		s := &pr.spans[i]
		for j, share := range [2]float64{s.from, s.to} {
			if a := &pr.at[s.first+j]; a.signed() < pr.most {
				pr.most, pr.seen = a.signed(), witness{s.piece, share, a.hit}
			}
		}
	}
	least := math.Inf(1)
	for i := range pr.spans {
		s := &pr.spans[i]
		pr.low = math.Inf(1)
		pr.halve(s.piece, s.from, s.to, &pr.at[s.first], &pr.at[s.first+1], fineTol)
		s.low = pr.low
		least = min(least, s.low)
	}
	pr.planned, pr.nearest = least, pr.seen
}

// least returns a lower bound, at most tol too low, of the smallest distance
// between the shell and a bar with as many segments as the planned one.
func (pr *prober) least(shape []segment, tol float64) float64 {
	plan := pr.shape
	pr.shape = shape
	defer func() { pr.shape = plan }()
	pr.bent = pr.clip(pr.bent[:0], shape)

	// What is reached for certain: the old closest points still are there.
	w := &pr.nearest
	pr.most = pr.point(pr.bent, w.piece, w.share).Sub(w.hit).Norm()
	for i := range pr.spans {
		s := &pr.spans[i]
		pr.locate(s.first, s.piece, s.from)
		if i+1 == len(pr.spans) || pr.spans[i+1].piece != s.piece {
			pr.locate(s.first+1, s.piece, s.to)
		}
	}
	pr.low = math.Inf(1)
	pr.slacks(plan)
	pr.waiting, pr.floors = pr.waiting[:0], pr.floors[:0]
	first, lowest := -1, math.Inf(1)
	for i := range pr.spans {
		s := &pr.spans[i]
		floor := s.low - max(pr.moved[s.first], pr.moved[s.first+1]) - pr.slack[s.piece]
		if floor >= pr.most-tol {
			pr.low = min(pr.low, floor)
			continue
		}
		if floor < lowest {
			first, lowest = len(pr.waiting), floor
		}
		pr.waiting, pr.floors = append(pr.waiting, i), append(pr.floors, floor)
	}
	// The most promising first: a good upper bound saves the others.
	if first > 0 {
		pr.waiting[0], pr.waiting[first] = pr.waiting[first], pr.waiting[0]
		pr.floors[0], pr.floors[first] = pr.floors[first], pr.floors[0]
	}
	for i, k := range pr.waiting {
		if pr.floors[i] >= pr.most-tol {
			pr.low = min(pr.low, pr.floors[i])
			continue
		}
		s := &pr.spans[k]
		pr.read(s, s.first, tol)
		pr.read(s, s.first+1, tol)
		pr.halve(s.piece, s.from, s.to, &pr.now[s.first], &pr.now[s.first+1], tol)
	}
	return pr.low
}

// locate finds where a sample is now.
func (pr *prober) locate(i, k int, share float64) {
	p := pr.point(pr.bent, k, share)
	pr.known[i] = false
	pr.now[i].p = p
	pr.moved[i] = p.Sub(pr.at[i].p).Norm()
	pr.most = min(pr.most, p.Sub(pr.at[i].hit).Norm())
}

// slacks bounds, for every piece, how far a point between two samples may have
// moved more than either. On straights the move is linear in between. On an arc
// its second derivative over a span of width w is the difference of the two
// arcs' w^2/R, towards their centres.
func (pr *prober) slacks(plan []segment) {
	for k := range pr.slack {
		pr.slack[k] = 0
	}
	for i := range pr.spans {
		s := &pr.spans[i]
		g, old := &pr.shape[s.piece], &plan[s.piece]
		if s.from > 0 || g.radius == 0 {
			continue
		}
		now, was := pr.bent[s.piece], pr.pieces[s.piece]
		w, v := now.length*s.to, was.length*s.to
		turn := max(math.Abs(now.from-was.from), math.Abs(now.from+now.length-was.from-was.length)) / g.radius
		turn += g.out.Sub(old.out).Norm() + g.dir.Sub(old.dir).Norm()
		pr.slack[s.piece] = (math.Abs(w*w-v*v) + v*v*turn) / (8 * g.radius)
	}
}

// read asks the shell about sample i, an end of span s, unless that was done.
func (pr *prober) read(s *span, i int, tol float64) {
	if pr.known[i] {
		return
	}
	pr.known[i] = true
	a, old := &pr.now[i], &pr.at[i]
	outside := old.outside
	if pr.moved[i] >= old.free {
		outside = !pr.inside(a.p) // it may have gone through the shell
	}
	width := (s.to - s.from) * pr.bent[s.piece].length
	pr.ask(a, outside, a.p.Sub(old.hit).Norm(), width, pr.sagitta(s.piece, width), tol)
}

// ask asks the shell about the point a.p on that side of it; near is a distance
// at which there is shell for certain. It is enough to know that there is none
// within a distance at which two neighbours that are width apart settle what is
// between them: then the answer is not exact.
func (pr *prober) ask(a *reading, outside bool, near, width, sagitta, tol float64) {
	pr.queries++
	a.outside = outside
	if outside {
		h, ok := pr.index.ClosestWithin(a.p, near+rounding)
		if !ok {
			h = pr.index.Closest(a.p)
		}
		a.hit, a.free, a.exact = h.Point, h.Distance, true
		pr.most = min(pr.most, -h.Distance)
		return
	}
	enough := math.Hypot(max(0, pr.most-tol+sagitta), width/2) + rounding
	bound := min(near+rounding, enough)
	if h, ok := pr.index.ClosestWithin(a.p, bound); ok {
		a.hit, a.free, a.exact = h.Point, h.Distance, true
		pr.most = min(pr.most, h.Distance)
		return
	}
	a.free, a.exact = bound, false
}

// sagitta bounds how far a piece is from its chord at the same share of the way.
func (pr *prober) sagitta(k int, width float64) float64 {
	if r := pr.shape[k].radius; r > 0 {
		return width * width / (8 * r)
	}
	return 0
}

// halve settles what is between two points of a piece: nothing there is more
// than tol nearer than the nearest point known, or it is cut in two.
func (pr *prober) halve(k int, from, to float64, a, b *reading, tol float64) {
	width := (to - from) * pr.bent[k].length
	sagitta := pr.sagitta(k, width)
	bound := between(a, b, width, sagitta)
	if pr.enough(bound, tol) || width <= tinyStep {
		pr.low = min(pr.low, bound)
		return
	}
	middle := from + (to-from)/2
	m := reading{p: pr.point(pr.bent, k, middle)}
	near, outside, sided := math.Inf(1), false, false
	for _, end := range [2]*reading{a, b} {
		gone := m.p.Sub(end.p).Norm()
		if gone < end.free && !sided { // no shell in between
			outside, sided = end.outside, true
		}
		if end.exact {
			near = min(near, m.p.Sub(end.hit).Norm())
		}
	}
	if !sided {
		outside = !pr.inside(m.p)
	}
	before := pr.most
	pr.ask(&m, outside, near, width/2, pr.sagitta(k, width/2), tol)
	if pr.most < before {
		pr.seen = witness{k, middle, m.hit}
	}
	pr.halve(k, from, middle, a, &m, tol)
	pr.halve(k, middle, to, &m, b, tol)
}

// enough tells whether a lower bound is near enough to the least distance known.
// Once the centreline is outside the cabin the tube's radius is lost several
// times over, and a twentieth of the precision has to do.
func (pr *prober) enough(bound, tol float64) bool {
	if pr.most < 0 {
		tol *= 20
	}
	return bound >= pr.most-tol
}

// between returns a lower bound of the distance between two points of a path
// that are width apart along it. The circle in which the spheres of their balls
// meet is as close to the chord as anything outside both; the path is no more
// than the sagitta from the chord. Where the balls do not meet, or outside the
// cabin, no point is more than its way along the path nearer than either.
func between(a, b *reading, width, sagitta float64) float64 {
	slope := (a.signed() + b.signed() - width) / 2
	chord := b.p.Sub(a.p).Norm()
	if a.outside || b.outside || chord >= a.free+b.free {
		return slope
	}
	least := min(a.free, b.free)
	if chord > 0 {
		y := ((a.free-b.free)*(a.free+b.free)/chord + chord) / 2
		if y > 0 && y < chord {
			least = math.Sqrt(max(0, a.free*a.free-y*y))
		}
	}
	if least <= sagitta {
		return slope
	}
	return max(slope, least-sagitta)
}
