package fit

import (
	"math"
	"slices"

	"github.com/golang/geo/r3"

	"barwright/fit/job"
	"barwright/fit/tube"
)

// Weights of the objective, from the contract:
// F = sum w phi(gap - clearance) / sum w + sketchWeight mean|P - P0|^2 / 200 + lengthWeight length.
const (
	sketchWeight = 0.01
	sketchScale  = 200
	lengthWeight = 0.001
	gapScale     = 30 // phi(g) = g + g^2/gapScale
)

// pieceLength is the length of centreline that shares one clearance row, mm.
const pieceLength = 15

// problem is one bar to be fitted (with its twin, if it is one of a pair).
type problem struct {
	bar       *job.Bar
	layout    *layout
	sketch    []r3.Vector
	kept      []int   // which nodes of the job's sketch these are
	radius    float64 // centreline radius of the bends, mm
	tube      float64 // outer radius, mm
	clearance float64
	margin    float64 // added to the clearance, mm
	allowance float64 // less distance asked for in foot zones on noisy scans, mm
	landing   float64 // sine of the flattest landing angle
	grip      float64
	tail      float64
	maxHalf   float64 // largest half turn, rad
	stick     float64 // largest developed length, mm; 0: none
	hug       bool
	corner    bool    // it belongs into the corner of side and roof
	shells    []field // one; two for a pair
	solids    []field
	names     []string                      // of solids
	targets   [2]*tube.Path                 // what the ends land on; nil: nothing
	land      func(at, dir r3.Vector) plane // where a line through at along dir meets the shell

	gate chan struct{} // as many runs as may go on at once; nil: no limit

	second [2]bool // try the second best surface for this foot
	doubt  float64 // what that counts against the result, mm of mean gap

	plan   []piece
	planes [2][2]plane // [side][end], of the current point
	memos  [][]memo    // [field][piece]
	piece  float64
	window float64 // rows further away than this are left out, mm
	evals  int
}

// plane is where a foot stands: normal towards the cabin.
type plane struct {
	at     r3.Vector // on the surface
	normal r3.Vector // of the surface under the tube's face
	local  r3.Vector // of the surface at the very point
	ok     bool
}

func (pl plane) mirrored() plane {
	return plane{at: mirrorY(pl.at), normal: mirrorY(pl.normal), local: mirrorY(pl.local), ok: pl.ok}
}

// height is how far a foot's node is off the surface, mm.
func (pl plane) height(node r3.Vector) float64 { return node.Sub(pl.at).Dot(pl.local) }

// piece is a stretch of centreline on one segment.
type piece struct {
	seg    int
	f0, f1 float64
	hug    bool // counts in the gap statistics
}

func (p piece) mid() station { return station{p.seg, (p.f0 + p.f1) / 2} }

// share is the piece's part of its segment.
func (p piece) share() float64 {
	if p.seg%2 == 1 {
		return (p.f1 - p.f0) / 2
	}
	return p.f1 - p.f0
}

// row is a linearised constraint: value + grad.d >= 0, or = 0.
type row struct {
	id       int // the same constraint has the same id at another point
	equality bool
	value    float64
	grad     []float64
	// What to say when it cannot be met:
	rule       string
	bend       int
	got, limit float64
	unit       string
	at         r3.Vector
	detail     string
	contact    bool // a clearance row
}

// evaluation is the problem at one point.
type evaluation struct {
	q         []float64
	curve     *curve
	planes    [2][2]plane
	jac       [][]entry
	objective float64
	gap       float64 // mean phi
	grad      []float64
	hess      []float64
	gapGrad   []float64 // of gap alone
	rows      []row
	violation float64
}

// makePlan cuts the centreline into pieces. Counts stay until the next plan, so
// that values at neighbouring points can be compared.
func (p *problem) makePlan(c *curve) {
	p.plan = p.plan[:0]
	n := c.segments()
	zone := (p.tube + p.clearance) / p.landing
	for seg := range n {
		length := c.segLength(seg)
		lo, hi := 0.0, 1.0
		if seg%2 == 1 {
			lo = -1
		}
		var cuts []float64
		cuts = append(cuts, lo)
		if seg%2 == 0 && length > 1 {
			near := func(x float64) { // x from the start of the straight
				if x > 1 && x < length-1 {
					cuts = append(cuts, x/length)
				}
			}
			if seg == 0 {
				if p.foot(0) {
					near(zone)
				}
				if p.bar.Ends[0].Kind != job.Free {
					near(4 * p.tube)
				}
			}
			if seg == n-1 {
				if p.bar.Ends[1].Kind != job.Free {
					near(length - 4*p.tube)
				}
				if p.foot(1) {
					near(length - zone)
				}
			}
			slices.Sort(cuts)
		}
		cuts = append(cuts, hi)
		for k := 0; k+1 < len(cuts); k++ {
			a, b := cuts[k], cuts[k+1]
			span := length * (b - a)
			if seg%2 == 1 {
				span /= 2
			}
			count := max(1, int(math.Ceil(span/p.piece)))
			for i := range count {
				pc := piece{seg: seg, f0: a + (b-a)*float64(i)/float64(count), f1: a + (b-a)*float64(i+1)/float64(count), hug: true}
				if seg%2 == 0 {
					mid := (pc.f0 + pc.f1) / 2 * length
					if seg == 0 {
						pc.hug = pc.hug && !(p.bar.Ends[0].Kind != job.Free && mid < 4*p.tube)
					}
					if seg == n-1 {
						pc.hug = pc.hug && !(p.bar.Ends[1].Kind != job.Free && length-mid < 4*p.tube)
					}
				}
				p.plan = append(p.plan, pc)
			}
		}
	}
	p.memos = make([][]memo, len(p.shells)+len(p.solids))
	for i := range p.memos {
		p.memos[i] = make([]memo, len(p.plan))
	}
}

func (p *problem) foot(end int) bool { return p.bar.Ends[end].Kind == job.Foot }

// stand finds the planes on which the feet of a curve stand. A foot that had a
// plane follows the surface along its normal, whatever its leg does meanwhile; a
// new one looks for a surface that its bar runs against: the user's sketch
// chooses it, not a start made from it.
func (p *problem) stand(c *curve) (planes [2][2]plane) {
	for side := range p.shells {
		for end := range 2 {
			if !p.foot(end) {
				continue
			}
			sketch, at, old := p.sketch, c.nodes[0], p.planes[side][end]
			if end == 1 {
				at = c.nodes[len(c.nodes)-1]
			}
			if side == 1 {
				at, old = mirrorY(at), old.mirrored()
			}
			pl := plane{}
			if old.ok {
				pl = p.land(at, old.normal.Mul(-1))
				if !pl.ok || pl.normal.Dot(old.normal) < 0.5 {
					pl = old
				}
			} else {
				if side == 1 {
					sketch = make([]r3.Vector, len(p.sketch))
					for i, v := range p.sketch {
						sketch[i] = mirrorY(v)
					}
				}
				pl = p.firstLanding(sketch, end)
			}
			if side == 1 {
				pl = pl.mirrored()
			}
			planes[side][end] = pl
		}
	}
	return planes
}

// firstLanding chooses the surface for a foot: of those that lie ahead of the
// last leg, of the bar's last stretch, or straight below, the one that is near
// and met squarely.
func (p *problem) firstLanding(nodes []r3.Vector, end int) plane {
	const stretch = 600 // mm; a sketch's last leg alone may point anywhere
	walk := append([]r3.Vector(nil), nodes...)
	if end == 1 {
		for i, j := 0, len(walk)-1; i < j; i, j = i+1, j-1 {
			walk[i], walk[j] = walk[j], walk[i]
		}
	}
	at := walk[0]
	back, left := walk[len(walk)-1], stretch+0.0
	for i := 1; i < len(walk); i++ {
		leg := walk[i].Sub(walk[i-1])
		if l := leg.Norm(); l >= left {
			back = walk[i-1].Add(leg.Mul(left / l))
			break
		} else {
			left -= l
		}
	}
	course := at.Sub(back).Normalize()
	down := r3.Vector{Z: -1}
	type line struct{ at, dir r3.Vector }
	lines := []line{{at, course}, {at, at.Sub(walk[1]).Normalize()}, {at, down}, {at, course.Add(down).Normalize()}}
	outward := at.Sub(centroid(nodes))
	if outward.Z = 0; outward.Norm() > 1 {
		for _, aside := range [4]float64{120, -120, 240, -240} {
			if math.Abs(aside) < p.bar.Reach {
				lines = append(lines, line{at.Add(outward.Normalize().Mul(aside)), down})
			}
		}
	}
	var best, other plane // the best, and the best on another surface
	bestScore, otherScore := math.Inf(1), math.Inf(1)
	for _, line := range lines {
		if line.dir.Norm2() < 0.5 {
			continue
		}
		pl := p.land(line.at, line.dir)
		if !pl.ok {
			continue
		}
		square := -pl.normal.Dot(course)
		// Feet stand; hardly ever do they hang: common practice, no source.
		score := pl.at.Sub(at).Norm()/400 - square - pl.normal.Z
		if square < p.landing {
			score += 10
		}
		// Another surface: turned by more than 20 degrees, or a step up or down.
		distinct := pl.normal.Dot(best.normal) < 0.94 || math.Abs(pl.at.Sub(best.at).Dot(best.normal)) > 25
		switch {
		case score < bestScore:
			if best.ok && distinct {
				other, otherScore = best, bestScore
			}
			best, bestScore = pl, score
		case distinct && score < otherScore:
			other, otherScore = pl, score
		}
	}
	if p.second[end] && otherScore < bestScore+doubtful {
		p.doubt += doubtCost + otherScore - bestScore
		return other
	}
	return best
}

// doubtful is the difference in score up to which the sketch does not decide
// between two surfaces for a foot: other starts then try the second one.
const doubtful = 1.0

// doubtCost is what a foot on another surface than the sketch tells has to gain
// in the objective, mm of mean gap, besides the difference in score.
const doubtCost = 0.5

// evaluate computes objective, constraints and derivatives at q.
func (p *problem) evaluate(q []float64) *evaluation {
	p.evals++
	nodes, jac := p.layout.place(q)
	c := newCurve(nodes, p.radius)
	e := &evaluation{q: append([]float64(nil), q...), curve: c, jac: jac, grad: make([]float64, len(q)), hess: make([]float64, len(q)*len(q))}
	e.planes = p.stand(c)
	w := worker{p: p, e: e, nodeGrad: make([]r3.Vector, len(nodes))}
	w.clearances()
	w.shape()
	w.ends()
	w.sketchTerms()
	e.violation = e.worst()
	return e
}

// worst is the largest violation of a row.
func (e *evaluation) worst() float64 {
	v := 0.0
	for i := range e.rows {
		v = math.Max(v, e.rows[i].violation())
	}
	return v
}

// violation is by how much a row is not met.
func (r *row) violation() float64 {
	if r.equality {
		return math.Abs(r.value)
	}
	return math.Max(0, -r.value)
}

// worker carries one evaluation.
type worker struct {
	p        *problem
	e        *evaluation
	nodeGrad []r3.Vector
	arena    []float64
}

// vector hands out a zeroed gradient.
func (w *worker) vector() []float64 {
	n := len(w.e.q)
	if len(w.arena) < n {
		w.arena = make([]float64, 64*n)
	}
	g := w.arena[:n:n]
	w.arena = w.arena[n:]
	return g
}

// chain turns the gradient by nodes into one by unknowns, and clears it.
func (w *worker) chain(out []float64) []float64 {
	for i, g := range w.nodeGrad {
		if g == (r3.Vector{}) {
			continue
		}
		for _, t := range w.e.jac[i] {
			out[t.v] += g.Dot(t.d)
		}
		w.nodeGrad[i] = r3.Vector{}
	}
	return out
}

func (w *worker) pointGrad(s station, dir r3.Vector) []float64 {
	w.e.curve.pull(s, dir, w.nodeGrad)
	return w.chain(w.vector())
}

// Kinds of rows, for their ids.
const (
	kindPiece = iota
	kindSecond
	kindZone0
	kindZone1
	kindCount
)

const (
	idShape = 1 << 20
	idEnds  = 1 << 21
	idReach = 1 << 22
)

// clearances walks the pieces: hugging terms and clearance rows.
func (w *worker) clearances() {
	p, c := w.p, w.e.curve
	starts := make([]float64, c.segments()+1)
	for seg := range c.segments() {
		starts[seg+1] = starts[seg] + c.segLength(seg)
	}
	total := starts[c.segments()]
	along := func(s station) float64 {
		f := s.f
		if s.seg%2 == 1 {
			f = (f + 1) / 2
		}
		return starts[s.seg] + f*c.segLength(s.seg)
	}
	full := p.tube + p.clearance + p.margin
	// The margin grows with what a foot zone asks for, so that there is none at
	// the foot and all of it at the zone's end.
	slope := p.landing * full / (p.tube + p.clearance)
	required := func(s station) float64 {
		need := full
		x := along(s)
		if p.foot(0) {
			need = math.Min(need, math.Max(0, x*slope-p.allowance))
		}
		if p.foot(1) {
			need = math.Min(need, math.Max(0, (total-x)*slope-p.allowance))
		}
		return need
	}

	var weights, sum float64
	type hugging struct {
		piece    int
		weight   float64
		phi      float64
		gradient []float64
		slope    float64
		curv     float64
		corner   float64   // distance of the corner's other wall, at most cornerReach
		push     []float64 // its gradient; nil where it does not change
	}
	var hugs []hugging
	for fi, f := range append(append([]field(nil), p.shells...), p.solids...) {
		solid := fi >= len(p.shells)
		for k, pc := range p.plan {
			mid := pc.mid()
			x := c.point(mid)
			d, dir := f.at(x, &p.memos[fi][k])
			id := (fi*len(p.plan) + k) * kindCount
			if !solid && p.hug && pc.hug {
				weight := math.Max(0, pc.share()*c.segLength(pc.seg))
				g := d - p.tube - p.clearance
				h := hugging{piece: k, weight: weight, phi: g, slope: 1, gradient: w.pointGrad(mid, dir)}
				if g > 0 {
					h.phi += g * g / gapScale
					h.slope += 2 * g / gapScale
					h.curv = 2. / gapScale
				}
				if p.corner {
					h.corner = cornerReach
					if d2, dir2, ok := f.second(x, dir, full+cornerReach); ok && d > 0 && (dir.Z < -0.5 || dir2.Z < -0.5) {
						h.corner = d2 - full
						h.push = w.pointGrad(mid, dir2)
					}
				}
				hugs = append(hugs, h)
				weights += weight
				sum += weight * h.phi
			}
			need := full
			if solid {
				need = p.tube + p.margin
			}
			half := math.Abs(pc.share()*c.segLength(pc.seg))/2 + 1e-9
			if d-half-need > p.window {
				continue
			}
			if !solid {
				var inZone bool
				if pc, inZone = w.footZone(f, fi, pc, id, along, required, full, slope); inZone {
					continue
				}
			}
			s, best, bestDir := mid, d, dir
			if pc.mid() != mid { // cut off at a foot zone
				var m memo
				s = pc.mid()
				best, bestDir = f.at(c.point(s), &m)
			}
			if best > 0 {
				s, best, bestDir = w.nearest(f, pc, best, bestDir, need+p.window)
			}
			// Where the piece was cut off, the zone's own row stands.
			if best-need <= p.window && !(s.f == pc.f0 && pc.f0 != p.plan[k].f0) && !(s.f == pc.f1 && pc.f1 != p.plan[k].f1) {
				w.need(id+kindPiece, s, c.point(s), best, need, w.pointGrad(s, bestDir), solid, fi)
			}
			if !solid && d > 0 && p.window > 0 {
				if d2, dir2, ok := f.second(x, dir, need+p.window); ok {
					w.need(id+kindSecond, mid, x, d2, need, w.pointGrad(mid, dir2), solid, fi)
				}
			}
		}
	}
	if weights <= 0 {
		return
	}
	e := w.e
	e.gap = sum / weights
	e.objective += e.gap
	n := len(e.q)
	segShare := make([]float64, c.segments())
	for _, h := range hugs {
		k := h.weight / weights
		slope := k * h.slope
		for i, g := range h.gradient {
			e.grad[i] += slope * g
		}
		if curv := k * h.curv; curv > 0 {
			for i, gi := range h.gradient {
				if gi == 0 {
					continue
				}
				for j, gj := range h.gradient {
					e.hess[i*n+j] += curv * gi * gj
				}
			}
		}
		pc := p.plan[h.piece]
		if h.weight > 0 {
			segShare[pc.seg] += pc.share() * (h.phi - e.gap) / weights
		}
	}
	for seg, k := range segShare {
		if k != 0 {
			c.pullLength(seg, k, w.nodeGrad)
		}
	}
	w.chain(e.grad)
	e.gapGrad = append([]float64(nil), e.grad...)
	if !p.corner {
		return
	}
	mean := 0.0
	for _, h := range hugs {
		mean += h.weight * h.corner / weights
	}
	e.objective += cornerWeight * mean
	clear(segShare)
	for _, h := range hugs {
		for i, g := range h.push {
			e.grad[i] += cornerWeight * h.weight / weights * g
		}
		if h.weight > 0 {
			pc := p.plan[h.piece]
			segShare[pc.seg] += cornerWeight * pc.share() * (h.corner - mean) / weights
		}
	}
	for seg, k := range segShare {
		if k != 0 {
			c.pullLength(seg, k, w.nodeGrad)
		}
	}
	w.chain(e.grad)
}

// Of a bar that belongs into the corner of side and roof the second wall counts
// a little too, where it is within reach: else any place along the first wall is
// as good as another.
const (
	cornerWeight = 0.05
	cornerReach  = 150 // mm
)

// footZone adds the rows of a piece within a foot zone, where less is asked for
// the nearer the foot: at both ends of what is within. It returns what is left
// of the piece outside the zone, if anything is.
func (w *worker) footZone(f field, fi int, pc piece, id int, along func(station) float64, required func(station) float64, full, slope float64) (piece, bool) {
	p, c := w.p, w.e.curve
	zone := (p.tube + p.clearance) / p.landing
	length := c.length()
	for end := range 2 {
		if !p.foot(end) {
			continue
		}
		near, far := pc.f0, pc.f1
		if end == 1 {
			near, far = far, near
		}
		x := func(fr float64) float64 {
			s := along(station{pc.seg, fr})
			if end == 1 {
				return length - s
			}
			return s
		}
		x0, x1 := x(near), x(far)
		if x0 >= zone || x1 <= x0 {
			continue
		}
		border := far
		if x1 > zone {
			border = near + (far-near)*(zone-x0)/(x1-x0)
		}
		for k, fr := range [2]float64{near, border} {
			s := station{pc.seg, fr}
			need := required(s)
			if fr == border && x1 > zone {
				need = full // the allowance ends here
			}
			if x(fr) < 1 {
				continue // the foot itself
			}
			var m memo
			at := c.point(s)
			d, dir := f.at(at, &m)
			leg, sign := 0, 1.0 // of the end's straight, and away from the foot along it
			if end == 1 {
				leg, sign = len(c.dir)-1, -1
			}
			switch {
			case pc.seg != 2*leg: // a foot's bend: what is required counts as fixed
				c.pull(s, dir, w.nodeGrad)
			case fr == border && x1 > zone: // stays at its distance from the foot
				w.nodeGrad[leg+end] = dir
				c.pullDir(leg, dir.Mul(sign*x(fr)), w.nodeGrad)
			default: // stays at its share of the straight
				c.pull(s, dir, w.nodeGrad)
				if need > 0 && need < full {
					c.pullLength(pc.seg, -slope*x(fr)/c.straight[leg], w.nodeGrad)
				}
			}
			grad := w.chain(w.vector())
			w.need(id+kindZone0+k, s, at, d, need, grad, false, fi)
		}
		if x1 <= zone {
			return pc, true
		}
		if end == 0 {
			pc.f0 = border
		} else {
			pc.f1 = border
		}
	}
	return pc, false
}

// nearest finds the station of a piece that is nearest to a field. Straights
// are exact; on an arc the chord gives a start for alternating projection.
func (w *worker) nearest(f field, pc piece, d float64, dir r3.Vector, bound float64) (station, float64, r3.Vector) {
	c := w.e.curve
	best := pc.mid()
	a, b := station{pc.seg, pc.f0}, station{pc.seg, pc.f1}
	pa, pb := c.point(a), c.point(b)
	length := math.Abs(pc.share() * c.segLength(pc.seg))
	sagitta := 0.0
	if pc.seg%2 == 1 {
		sagitta = length * length / (8 * c.radius)
	}
	dist, t, dir2, ok := f.segment(pa, pb, math.Min(bound, d)+sagitta)
	if !ok {
		return best, d, dir
	}
	s := station{pc.seg, pc.f0 + t*(pc.f1-pc.f0)}
	if pc.seg%2 == 0 {
		if dist < d {
			if dist < 1e-9 {
				// It pierces the surface: one of its ends is on the wrong side.
				for _, end := range [2]station{a, b} {
					var m memo
					if de, dire := f.at(c.point(end), &m); de < 0 {
						return end, de, dire
					}
				}
				return s, 0, dir
			}
			return s, dist, dir2
		}
		return best, d, dir
	}
	i := (pc.seg + 1) / 2
	for range 3 {
		var m memo
		x := c.point(s)
		dx, dirx := f.at(x, &m)
		if dx < d {
			d, dir, best = dx, dirx, s
		}
		if c.wl[i] < 1e-9 {
			break
		}
		// Closest point of the arc to where x looks.
		target := x.Sub(dirx.Mul(dx))
		wHat, tHat := c.w[i].Mul(1/c.wl[i]), c.t[i].Mul(1/c.tl[i])
		v := target.Sub(c.nodes[i].Add(wHat.Mul(c.radius * c.sec[i])))
		m1 := math.Atan2(v.Dot(tHat), -v.Dot(wHat)) / c.half[i]
		next := math.Max(pc.f0, math.Min(pc.f1, m1))
		if math.Abs(next-s.f)*c.half[i]*c.radius < 1e-4 {
			break
		}
		s.f = next
	}
	return best, d, dir
}

// need adds a row that a place x of the curve, at distance d, needs so much.
func (w *worker) need(id int, s station, x r3.Vector, d, need float64, grad []float64, solid bool, fi int) {
	r := row{id: id, value: d - need, grad: grad, rule: "clearance", got: d - w.p.tube, limit: need - w.p.tube, unit: "mm", at: x, contact: true}
	if d < 0 {
		r.rule = "outside"
		r.got = d
		r.limit = 0
	}
	if solid {
		r.rule = "keepout"
		r.contact = false
		r.detail = w.p.names[fi-len(w.p.shells)]
	} else if fi == 1 {
		r.at = mirrorY(x)
	}
	if s.seg%2 == 1 {
		r.bend = (s.seg + 1) / 2
	}
	w.e.rows = append(w.e.rows, r)
}

// angleRow scales rows of angles (rad) so that their violation weighs like mm.
const angleRow = 200

// shape adds the rows of the bender and the stick.
func (w *worker) shape() {
	p, c := w.p, w.e.curve
	legs := len(c.dir)
	if legs > 1 {
		for i := range legs {
			need, rule := p.grip, "grip"
			if i == 0 || i == legs-1 {
				need, rule = p.tail, "tail"
			}
			value := c.straight[i] - need
			if value > 4*p.window {
				continue
			}
			c.pullLength(2*i, 1, w.nodeGrad)
			w.e.rows = append(w.e.rows, row{id: idShape + 4*i, value: value, grad: w.chain(w.vector()),
				rule: rule, bend: min(i+1, legs-1), got: c.straight[i], limit: need, unit: "mm", at: c.point(station{2 * i, 0.5})})
		}
	}
	for i := 1; i < legs; i++ {
		value := (p.maxHalf - c.half[i]) * angleRow
		if value > 4*p.window {
			continue
		}
		c.pullHalf(i, -angleRow, w.nodeGrad)
		w.e.rows = append(w.e.rows, row{id: idShape + 4*i + 1, value: value, grad: w.chain(w.vector()),
			rule: "angle", bend: i, got: 2 * c.half[i] * 180 / math.Pi, limit: 2 * p.maxHalf * 180 / math.Pi, unit: "deg", at: c.nodes[i]})
	}
	if p.stick > 0 {
		if value := p.stick - c.length(); value < 4*p.window {
			for seg := range c.segments() {
				c.pullLength(seg, -1, w.nodeGrad)
			}
			w.e.rows = append(w.e.rows, row{id: idShape + 2, value: value, grad: w.chain(w.vector()),
				rule: "stick", got: c.length(), limit: p.stick, unit: "mm", at: c.nodes[0]})
		}
	}
}

// ends adds the rows of feet and landings.
func (w *worker) ends() {
	p, c := w.p, w.e.curve
	touching := p.touching(w.e)
	for end := range 2 {
		i, leg, sign := 0, 0, -1.0
		if end == 1 {
			i, leg, sign = len(c.nodes)-1, len(c.dir)-1, 1.0
		}
		node := c.nodes[i]
		id := idEnds + 16*end
		switch {
		case p.foot(end):
			for side := range p.shells {
				pl := w.e.planes[side][end]
				if !pl.ok {
					continue
				}
				w.nodeGrad[i] = pl.local
				d := pl.height(node)
				w.e.rows = append(w.e.rows, row{id: id + side, equality: touching[side][end], value: d, grad: w.chain(w.vector()),
					rule: "landing", got: d, unit: "mm", at: node, detail: "foot off the shell"})
				// Not too flat.
				flat := -c.dir[leg].Mul(sign).Dot(pl.normal) - p.landing
				if flat*angleRow < 2*p.window {
					c.pullDir(leg, pl.normal.Mul(-sign*angleRow), w.nodeGrad)
					w.e.rows = append(w.e.rows, row{id: id + 4 + side, value: flat * angleRow, grad: w.chain(w.vector()),
						rule: "landing", got: math.Asin(clamp(flat+p.landing, -1, 1)) * 180 / math.Pi, limit: math.Asin(p.landing) * 180 / math.Pi,
						unit: "deg", at: node, detail: "foot too flat to the shell"})
				}
			}
		case p.targets[end] != nil:
			t := p.targets[end]
			s, _ := t.Closest(node)
			at, tangent := t.At(s)
			off := node.Sub(at)
			e1 := tangent.Ortho()
			e2 := tangent.Cross(e1)
			for k, n := range [2]r3.Vector{e1, e2} {
				w.nodeGrad[i] = n
				w.e.rows = append(w.e.rows, row{id: id + 8 + k, equality: true, value: off.Dot(n), grad: w.chain(w.vector()),
					rule: "landing", got: off.Norm(), unit: "mm", at: node, detail: "end off " + p.bar.Ends[end].Onto})
			}
			// Past the target's end.
			if s <= 0 || s >= t.Length {
				n := tangent
				if s > 0 {
					n = n.Mul(-1)
				}
				w.nodeGrad[i] = n
				w.e.rows = append(w.e.rows, row{id: id + 10, value: off.Dot(n), grad: w.chain(w.vector()),
					rule: "landing", got: off.Norm(), unit: "mm", at: node, detail: "end past the end of " + p.bar.Ends[end].Onto})
			}
		}
	}
}

// touching tells which feet stand on their planes. A foot and its mirror image
// (the other end of a self-mirrored bar, the twin's foot of a pair) are one
// unknown on two sides that are never quite alike: it touches on the side where
// the surface is higher and may stand clear of the other.
func (p *problem) touching(e *evaluation) (touch [2][2]bool) {
	c := e.curve
	height := func(side, end int) float64 {
		pl := e.planes[side][end]
		if !pl.ok {
			return math.Inf(1)
		}
		node := c.nodes[0]
		if end == 1 {
			node = c.nodes[len(c.nodes)-1]
		}
		return pl.height(node)
	}
	switch {
	case p.self():
		first := height(0, 0) <= height(0, 1)
		touch[0] = [2]bool{first, !first}
	case len(p.shells) == 2:
		for end := range 2 {
			first := height(0, end) <= height(1, end)
			touch[0][end], touch[1][end] = first, !first
		}
	default:
		touch[0] = [2]bool{true, true}
	}
	return touch
}

func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }

// sketchTerms adds the pull towards the sketch and towards a short bar, and
// the limit on how far a node may go.
func (w *worker) sketchTerms() {
	p, e, c := w.p, w.e, w.e.curve
	n := len(e.q)
	k := sketchWeight / sketchScale / float64(len(c.nodes))
	for i, node := range c.nodes {
		d := node.Sub(p.sketch[i])
		e.objective += k * d.Norm2()
		w.nodeGrad[i] = d.Mul(2 * k)
		for _, a := range e.jac[i] {
			for _, b := range e.jac[i] {
				e.hess[a.v*n+b.v] += 2 * k * a.d.Dot(b.d)
			}
		}
	}
	e.objective += lengthWeight * c.length()
	for seg := range c.segments() {
		c.pullLength(seg, lengthWeight, w.nodeGrad)
	}
	w.chain(e.grad)
	if p.bar.Reach <= 0 {
		return
	}
	for i, node := range c.nodes {
		d := node.Sub(p.sketch[i])
		r := d.Norm()
		if p.bar.Reach-r > p.window || r < 1 {
			continue
		}
		w.nodeGrad[i] = d.Mul(-1 / r)
		e.rows = append(e.rows, row{id: idReach + i, value: p.bar.Reach - r, grad: w.chain(w.vector()),
			rule: "reach", got: r, limit: p.bar.Reach, unit: "mm", at: node, detail: "node moved from its sketch"})
	}
}
