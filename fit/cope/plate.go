package cope

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
)

// Figures of plates, mm unless said otherwise. All but the first are common
// practice, no source.
const (
	// layStep is how far apart the shell is looked at under a plate. A bead in a
	// floor pan is several times as wide.
	layStep = 5.0
	// mostLay is into how many steps a half side is divided at most: a plate of 2 m
	// would otherwise take a hundred thousand rays.
	mostLay = 32
	// layReach is how far above and below a plate shell still counts as lying under
	// it; what rises higher is a wall. Of large plates an eighth of the longer side,
	// so that those on a wheel arch find it under their corners.
	layReach = 15.0
	layShare = 1.0 / 8
	// layDrop is how deep a drop beside a plate may be so that it is told from a
	// hole: deeper than any sill is high.
	layDrop = 400.0
	// layBelow is how far under a foot's node its shell may be: a packer carries it,
	// or it did not come as far as it should.
	layBelow = 60.0
	// layLean is the lean of a tube, degrees, from which its plate's first side
	// follows it: an upright tube leans to nowhere in particular, and a plate along
	// the car's own lines fits between sill and tunnel.
	layLean = 30.0
	// layTilt is by how much, degrees, a plane may differ from the foot's own. More
	// is a plate on edge over a step.
	layTilt = 30.0
	// layLeast is the share of a plate's samples that must have shell for a plane.
	layLeast = 0.25
	// layCap is how far a cap may stand in front of the sheet at a hole's rim.
	layCap = 2.0
	// layTouch is the gap up to which plate and shell count as in contact: clamped
	// down, thin sheet closes it.
	layTouch = 1.0
	// layHole is the share of a plate that may lie over nothing unsaid: a drain hole.
	layHole = 0.01
	// layWeld is the room for a weld between tube and a plate's edge.
	layWeld = 5.0
	// layStuck is how far a plate may run into a wall unsaid: a file takes it off.
	layStuck = 1.0

	// laySight leaves out the end of a look along the plate, so that a wall right
	// at a sample is not in front of it for some of its samples and behind it for
	// others: 0.1 micrometres of 100 mm, well above rounding.
	laySight = 1 - 1e-6
	// laySide is the share of the deepest side's mean depth from which another side
	// counts too: a wall that slants a little across a plate is on one side.
	laySide = 0.25

	// laySigmas is how many sigmas of the scan's noise are allowed: that of
	// package fit for foot zones.
	laySigmas = 3.0
	// layClean is the noise, one sigma, up to which a scan counts as clean, as in
	// package fit.
	layClean = 0.2
	// layAgree is how near in height neighbours must be so that a sample is no spike.
	layAgree = 2.0
	// layTrim keeps samples within that many of their median residual for the plane:
	// 2.5 sigmas of normal noise, of which the median is 0.6745.
	layTrim = 2.5 / 0.6745
	// layFlat is a residual that never takes a sample out of the plane.
	layFlat = 0.5
)

// Plates lays a plate under every foot of a cage and returns them in the order
// of the bars, with what is to be said about them. Feet are those that
// fit.Evaluate found; sizes are the job's. sh may be nil: there are none then.
//
// A plate lies centred on its foot's node, in the plane of what most of it lies
// on: the least squares plane of the shell under it without what is more than 2.5
// sigmas off, such as the round foot of a wall. Where it would run into a wall it
// is moved along itself by the least that frees it, in steps of about 5 mm, as
// long as the tube stays on it with room for the weld and no more of it overhangs.
// The tube's end is not cut for it here: that is Seat.
func Plates(c *fit.Cage, j *job.Job, sh *mesh.Shell) ([]fit.Plate, []fit.Finding) {
	if sh == nil {
		return nil, nil
	}
	sh = sh.Full() // not the reduced copy
	return layAll(c, j, scan{sh.Index, sh.IsCap, sh.Noise})
}

// scan is what plates are laid on.
type scan struct {
	index *mesh.Index
	isCap func(triangle int32) bool
	noise float64 // one sigma, mm
}

func layAll(c *fit.Cage, j *job.Job, sh scan) ([]fit.Plate, []fit.Finding) {
	var plates []fit.Plate
	var found []fit.Finding
	for _, b := range c.Bars {
		if !usable(b) {
			continue
		}
		size := j.Plate
		if b.Job != nil {
			size = b.Job.Plate
		}
		if !(size.Size[0] > 0 && size.Size[1] > 0 && size.Thickness > 0) {
			continue
		}
		for _, f := range b.Feet {
			if b.Ends[f.End].Kind != job.Foot || f.Normal.Norm2() == 0 {
				continue
			}
			l := newLaying(b, f, size, sh)
			plates = append(plates, l.lay())
			found = append(found, l.findings()...)
		}
	}
	return plates, append(found, overlaps(plates)...)
}

// laying is one plate being laid.
type laying struct {
	shell scan
	bar   *fit.Bar
	foot  fit.Foot
	axis  r3.Vector // unit, along the tube into the cabin
	ref   r3.Vector // what the first side follows
	reach float64   // mm
	allow float64   // how far shell may be above the plate, mm
	sides string    // into which walls it would run, in words
	drop  float64   // share of the area over a drop
	plate fit.Plate
}

func newLaying(b *fit.Bar, f fit.Foot, size job.Plate, sh scan) *laying {
	_, w := b.Path.At(station(b, f.End))
	if f.End == 1 {
		w = w.Mul(-1)
	}
	l := &laying{
		shell: sh, bar: b, foot: f, axis: w,
		reach: max(layReach, layShare*max(size.Size[0], size.Size[1])),
		allow: size.Thickness + laySigmas*sh.noise,
		plate: fit.Plate{Bar: b.Name, End: f.End, Size: size.Size, Thickness: size.Thickness, Area: size.Size[0] * size.Size[1]},
	}
	l.plate.Along = w.Dot(f.Normal) < math.Cos(layLean*math.Pi/180)
	switch {
	case l.plate.Along:
		l.ref = w
	case math.Abs(f.Normal.X) > math.Sqrt2/2: // on a wall across the car
		l.ref = r3.Vector{Z: 1}
	default:
		l.ref = r3.Vector{X: 1}
	}
	return l
}

// layPlane is a place on the shell with a plate's axes.
type layPlane struct{ at, first, second, normal r3.Vector }

// plane returns the plane through at with that normal.
func (l *laying) plane(at, normal r3.Vector) layPlane {
	first := l.ref.Sub(normal.Mul(l.ref.Dot(normal))).Normalize()
	return layPlane{at, first, normal.Cross(first), normal}
}

func (p *layPlane) point(first, second, height float64) r3.Vector {
	return p.at.Add(p.first.Mul(first)).Add(p.second.Mul(second)).Add(p.normal.Mul(height))
}

func (p *layPlane) height(q r3.Vector) float64 { return q.Sub(p.at).Dot(p.normal) }

// layKind is what a sample met.
type layKind uint8

const (
	overNothing layKind = iota // a hole, or an edge of the scan
	overDrop                   // shell far below
	onSheet
	behindWall
	onSpike // not what lies around it
)

// laySample is the shell at one place under a plate.
type laySample struct {
	kind  layKind
	point r3.Vector // of the shell, if on sheet
}

// patch is the shell under a plate and around it, on a grid whose lines are the
// plate's middle and edges too.
type patch struct {
	layPlane
	half [2]int     // steps from the middle to the plate's edge
	more [2]int     // and beyond it
	step [2]float64 // mm
	cell []laySample
}

// cells is a part of a patch: a plate that is moved by that many steps.
type cells struct{ first, second int }

func (p *patch) cellAt(i, k int) *laySample {
	return &p.cell[(i+p.half[0]+p.more[0])*(2*(p.half[1]+p.more[1])+1)+k+p.half[1]+p.more[1]]
}

// under calls do for every sample under the plate at a place. weight is the
// share of the plate's area that the sample stands for.
func (p *patch) under(at cells, do func(i, k int, s *laySample, weight float64)) {
	all := 1 / float64(4*p.half[0]*p.half[1])
	for i := -p.half[0]; i <= p.half[0]; i++ {
		for k := -p.half[1]; k <= p.half[1]; k++ {
			w := all
			if i == -p.half[0] || i == p.half[0] {
				w /= 2
			}
			if k == -p.half[1] || k == p.half[1] {
				w /= 2
			}
			do(i+at.first, k+at.second, p.cellAt(i+at.first, k+at.second), w)
		}
	}
}

// look samples the shell under and around a plate in a plane. Each place is first
// looked at from above the foot, at the height from which shell counts as under
// the plate: what is out of sight is behind a wall. Then from there down.
func (l *laying) look(pl layPlane, room [2]float64) *patch {
	p := &patch{layPlane: pl}
	for a := range 2 {
		half := l.plate.Size[a] / 2
		p.half[a] = int(max(2, min(mostLay, math.Ceil(half/layStep))))
		p.step[a] = half / float64(p.half[a])
		p.more[a] = int(max(0, min(mostLay, math.Floor(room[a]/p.step[a]))))
	}
	ix := l.shell.index
	eye := pl.point(0, 0, l.reach)
	down := pl.normal.Mul(-1)
	for i := -p.half[0] - p.more[0]; i <= p.half[0]+p.more[0]; i++ {
		for k := -p.half[1] - p.more[1]; k <= p.half[1]+p.more[1]; k++ {
			from := pl.point(float64(i)*p.step[0], float64(k)*p.step[1], l.reach)
			var s laySample
			if !ix.RayAll(eye, from.Sub(eye), laySight, func(h mesh.RayHit) bool { return l.shell.isCap(h.Triangle) }) {
				s.kind = behindWall
				p.cell = append(p.cell, s)
				continue
			}
			sheet, lid := math.Inf(1), math.Inf(1)
			ix.RayAll(from, down, 2*l.reach+layDrop, func(h mesh.RayHit) bool {
				if l.shell.isCap(h.Triangle) {
					lid = min(lid, h.T)
				} else if h.T < sheet {
					sheet, s.point = h.T, h.Point
				}
				return true
			})
			switch {
			case sheet > lid+layCap || math.IsInf(sheet, 1):
			case sheet <= 2*l.reach:
				s.kind = onSheet
			default:
				s.kind = overDrop
			}
			p.cell = append(p.cell, s)
		}
	}
	p.despike(max(layAgree, math.Sqrt2*laySigmas*l.shell.noise))
	return p
}

// despike marks samples that fewer than two of their neighbours agree with. A
// step is as high along all of its edge; a spike stands alone.
func (p *patch) despike(agree float64) {
	n := [2]int{p.half[0] + p.more[0], p.half[1] + p.more[1]}
	var lone []*laySample
	for i := -n[0]; i <= n[0]; i++ {
		for k := -n[1]; k <= n[1]; k++ {
			s := p.cellAt(i, k)
			if s.kind != onSheet {
				continue
			}
			like, seen := 0, 0
			for a := max(i-1, -n[0]); a <= min(i+1, n[0]); a++ {
				for b := max(k-1, -n[1]); b <= min(k+1, n[1]); b++ {
					o := p.cellAt(a, b)
					if o == s || o.kind != onSheet {
						continue
					}
					seen++
					if math.Abs(p.height(o.point)-p.height(s.point)) <= agree {
						like++
					}
				}
			}
			if like < 2 && seen >= 3 {
				lone = append(lone, s)
			}
		}
	}
	for _, s := range lone {
		s.kind = onSpike
	}
}

// fitted returns the plane of what most of the plate at a place lies on; false:
// there is too little shell under it. It is the least squares plane without
// samples that are more than 2.5 sigmas off it, seen first from the patch's own
// plane. Its origin is where the foot's normal line meets it.
func (l *laying) fitted(p *patch, at cells) (layPlane, bool) {
	type spot struct{ u, v, h, weight float64 }
	var all []spot
	total := 0
	p.under(at, func(_, _ int, s *laySample, weight float64) {
		total++
		if s.kind == onSheet {
			q := s.point.Sub(p.at)
			all = append(all, spot{q.Dot(p.first), q.Dot(p.second), q.Dot(p.normal), weight})
		}
	})
	if float64(len(all)) < layLeast*float64(total) {
		return layPlane{}, false
	}
	var mid spot
	var slope [2]float64 // h = mid.h + slope . (u - mid.u, v - mid.v)
	off := func(s spot) float64 { return math.Abs(s.h - mid.h - slope[0]*(s.u-mid.u) - slope[1]*(s.v-mid.v)) }
	var kept []spot
	residuals := make([]float64, len(all))
	for round := range 10 {
		for i, s := range all {
			residuals[i] = off(s)
		}
		slices.Sort(residuals)
		limit := max(layFlat, layTrim*residuals[len(residuals)/2])
		var within []spot
		for _, s := range all {
			if off(s) <= limit {
				within = append(within, s)
			}
		}
		if round > 0 && slices.Equal(within, kept) {
			break
		}
		kept = within
		var sum spot
		for _, s := range kept {
			sum.u, sum.v, sum.h, sum.weight = sum.u+s.weight*s.u, sum.v+s.weight*s.v, sum.h+s.weight*s.h, sum.weight+s.weight
		}
		mid = spot{u: sum.u / sum.weight, v: sum.v / sum.weight, h: sum.h / sum.weight}
		var uu, uv, vv, uh, vh float64
		for _, s := range kept {
			u, v, h := s.u-mid.u, s.v-mid.v, s.h-mid.h
			uu, uv, vv, uh, vh = uu+s.weight*u*u, uv+s.weight*u*v, vv+s.weight*v*v, uh+s.weight*u*h, vh+s.weight*v*h
		}
		det := uu*vv - uv*uv
		if !(det > 1e-6*(uu+vv)*(uu+vv)) { // all but in one line: a strip a thousand times as long as it is wide
			return layPlane{}, false
		}
		slope = [2]float64{(uh*vv - vh*uv) / det, (vh*uu - uh*uv) / det}
	}
	normal := p.normal.Sub(p.first.Mul(slope[0])).Sub(p.second.Mul(slope[1])).Normalize()
	if normal.Dot(l.foot.Normal) < math.Cos(layTilt*math.Pi/180) {
		return layPlane{}, false
	}
	on := p.point(mid.u, mid.v, mid.h)
	t := on.Sub(l.foot.Point).Dot(normal) / l.foot.Normal.Dot(normal)
	return l.plane(l.foot.Point.Add(l.foot.Normal.Mul(t)), normal), true
}

// lay lays the plate.
func (l *laying) lay() fit.Plate {
	// From how the foot stands to the plane under it, then once more from that.
	start := l.plane(l.foot.Point, l.foot.Normal)
	if h, ok := l.shell.index.Ray(start.point(0, 0, l.reach), start.normal.Mul(-1), l.reach+layBelow); ok {
		start.at = h.Point
	}
	p := l.look(start, [2]float64{})
	pl, ok := l.fitted(p, cells{})
	if l.plate.Fitted = ok; !ok {
		pl = start
	}
	p = l.look(pl, l.room(pl))
	at := cells{}
	if ok {
		if again, ok := l.fitted(p, at); ok {
			pl = again
		}
		if l.plate.Stuck, l.sides = l.stuck(p, pl, at); l.plate.Stuck > layStuck {
			if to, ok := l.free(p, pl); ok {
				at = to
				if again, ok := l.fitted(p, at); ok {
					pl = again
				}
			}
		}
	}
	l.plate.Shift = [2]float64{float64(at.first) * p.step[0], float64(at.second) * p.step[1]}
	l.measure(p, pl, at)
	return l.plate
}

// tubeOn returns where the tube's axis meets the upper side of a plate in a
// plane, from the plane's origin, and half the width of the tube's outline there
// along both axes, mm; +Inf if it runs along the plate.
func (l *laying) tubeOn(pl layPlane) (middle, half [2]float64) {
	slope := l.axis.Dot(pl.normal)
	if !(slope > math.Sin(sharpest*math.Pi/180)) {
		return middle, [2]float64{math.Inf(1), math.Inf(1)}
	}
	// The axis goes through the node, which need not be in the plane.
	s := (l.plate.Thickness - pl.height(l.foot.Point)) / slope
	q := l.foot.Point.Add(l.axis.Mul(s)).Sub(pl.at)
	for a, e := range [2]r3.Vector{pl.first, pl.second} {
		// Half the ellipse's width: its longer half axis is 1/slope times the radius.
		lean := l.axis.Dot(e) / slope
		middle[a], half[a] = q.Dot(e), l.bar.Radius()*math.Sqrt(1+lean*lean)
	}
	return middle, half
}

// room returns how far a plate may be moved along its axes at most, mm.
func (l *laying) room(pl layPlane) (room [2]float64) {
	middle, half := l.tubeOn(pl)
	for a := range 2 {
		room[a] = max(0, l.plate.Size[a]/2-half[a]-layWeld+math.Abs(middle[a]))
	}
	return room
}

// high tells whether the shell stands in a plate's way at a sample.
func (l *laying) high(pl layPlane, s *laySample) bool {
	return s.kind == behindWall || s.kind == onSheet && pl.height(s.point) > l.allow
}

// stuck returns how far (mm) the plate at a place runs into walls that reach
// across its edge, and the sides on which it does so, in words.
func (l *laying) stuck(p *patch, pl layPlane, at cells) (float64, string) {
	dirs := [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}}
	var deepest, mean [4]float64
	for side, dir := range dirs {
		axis := 0
		if dir[1] != 0 {
			axis = 1
		}
		for k := -p.half[1-axis]; k <= p.half[1-axis]; k++ {
			// n steps out from the middle of the row.
			in := func(n int) *laySample {
				if axis == 0 {
					return p.cellAt(at.first+n*dir[0], at.second+k)
				}
				return p.cellAt(at.first+k, at.second+n*dir[1])
			}
			n := p.half[axis]
			for n >= 0 && l.high(pl, in(n)) {
				n--
			}
			if n == p.half[axis] || n < 0 { // none, or a wall along the row
				continue
			}
			depth := (float64(p.half[axis]-n) - l.before(p, pl, in(n), in(n+1), axis, dir)) * p.step[axis]
			deepest[side] = max(deepest[side], depth)
			mean[side] += depth / float64(2*p.half[1-axis]+1)
		}
	}
	worst, most := 0.0, slices.Max(mean[:])
	var sides []string
	for side, dir := range dirs {
		if deepest[side] > layStuck && mean[side] >= laySide*most {
			sides = append(sides, towards(p.first.Mul(float64(dir[0])).Add(p.second.Mul(float64(dir[1])))))
			worst = max(worst, deepest[side])
		}
	}
	return worst, joined(slices.Compact(sides))
}

// before returns which part of a step, 0 to 1, is free from the sample that is
// free to the next one outwards, which is not.
func (l *laying) before(p *patch, pl layPlane, free, next *laySample, axis int, dir [2]int) float64 {
	if free.kind != onSheet {
		return 0
	}
	low := pl.height(free.point)
	if next.kind == onSheet {
		return (l.allow - low) / (pl.height(next.point) - low)
	}
	out := p.first.Mul(float64(dir[0])).Add(p.second.Mul(float64(dir[1])))
	from := free.point.Add(p.normal.Mul(l.reach - p.height(free.point)))
	if h, ok := l.shell.index.Ray(from, out, p.step[axis]); ok {
		return h.T / p.step[axis]
	}
	return 0
}

// free returns the shortest move that takes the plate clear of what stands in
// its way, and leaves the tube on it: of all, or else of walls alone.
func (l *laying) free(p *patch, pl layPlane) (cells, bool) {
	middle, half := l.tubeOn(pl)
	var moves []cells
	for i := -p.more[0]; i <= p.more[0]; i++ {
		for k := -p.more[1]; k <= p.more[1]; k++ {
			at, ok := [2]float64{float64(i) * p.step[0], float64(k) * p.step[1]}, true
			for a := range 2 {
				ok = ok && math.Abs(middle[a]-at[a])+half[a]+layWeld <= l.plate.Size[a]/2
			}
			if ok {
				moves = append(moves, cells{i, k})
			}
		}
	}
	length := func(m cells) float64 {
		return math.Hypot(float64(m.first)*p.step[0], float64(m.second)*p.step[1])
	}
	slices.SortStableFunc(moves, func(a, b cells) int { return cmp.Compare(length(a), length(b)) })
	high := p.count(func(s *laySample) bool { return l.high(pl, s) })
	wall := p.count(func(s *laySample) bool { return s.kind == behindWall })
	over := p.count(func(s *laySample) bool { return s.kind == overNothing || s.kind == overDrop })
	h0, h1 := p.half[0], p.half[1]
	already := over.within(-h0, h0, -h1, h1)
	for _, try := range [3]struct {
		way     *counts
		overMax int
	}{{high, 0}, {high, already}, {wall, already}} {
		for _, m := range moves {
			i0, i1, k0, k1 := m.first-h0, m.first+h0, m.second-h1, m.second+h1
			if try.way.within(i0, i1, k0, k1) == 0 && over.within(i0, i1, k0, k1) <= try.overMax {
				return m, true
			}
		}
	}
	return cells{}, false
}

// counts says how many samples of a kind are in a rectangle of a patch: sums over
// all that is to the left and below give those of any.
type counts struct {
	from [2]int // first cell
	wide int
	sum  []int32
}

func (p *patch) count(is func(s *laySample) bool) *counts {
	n := [2]int{2*(p.half[0]+p.more[0]) + 1, 2*(p.half[1]+p.more[1]) + 1}
	c := &counts{[2]int{-p.half[0] - p.more[0], -p.half[1] - p.more[1]}, n[1] + 1, make([]int32, (n[0]+1)*(n[1]+1))}
	for i := range n[0] {
		for k := range n[1] {
			here := c.sum[i*c.wide+k+1] + c.sum[(i+1)*c.wide+k] - c.sum[i*c.wide+k]
			if is(&p.cell[i*n[1]+k]) {
				here++
			}
			c.sum[(i+1)*c.wide+k+1] = here
		}
	}
	return c
}

// within counts from i0 to i1 and from k0 to k1, all included.
func (c *counts) within(i0, i1, k0, k1 int) int {
	i0, i1, k0, k1 = i0-c.from[0], i1+1-c.from[0], k0-c.from[1], k1+1-c.from[1]
	return int(c.sum[i1*c.wide+k1] - c.sum[i0*c.wide+k1] - c.sum[i1*c.wide+k0] + c.sum[i0*c.wide+k0])
}

// smaller returns the size (mm, along both axes) of the largest plate, no larger
// than this one, that lies flat with the tube on it, and where its middle is from
// the foot; 0: none. Of equal ones it is the nearest.
func (l *laying) smaller(p *patch, pl layPlane) (best, at [2]float64) {
	middle, half := l.tubeOn(pl)
	bad := p.count(func(s *laySample) bool {
		return s.kind != onSpike && (s.kind != onSheet || math.Abs(pl.height(s.point)) > l.allow)
	})
	// The cells that its edges lie on: from the outermost to where the tube begins.
	var edges [2][2][2]int
	for a := range 2 {
		most := p.half[a] + p.more[a]
		lo := math.Floor((middle[a] - half[a] - layWeld) / p.step[a])
		hi := math.Ceil((middle[a] + half[a] + layWeld) / p.step[a])
		if !(lo >= -float64(most) && hi <= float64(most)) {
			return best, at
		}
		edges[a] = [2][2]int{{-most, int(lo)}, {int(hi), most}}
	}
	for i0 := edges[0][0][0]; i0 <= edges[0][0][1]; i0++ {
		for i1 := edges[0][1][0]; i1 <= min(edges[0][1][1], i0+2*p.half[0]); i1++ {
			for k0 := edges[1][0][0]; k0 <= edges[1][0][1]; k0++ {
				for k1 := edges[1][1][0]; k1 <= min(edges[1][1][1], k0+2*p.half[1]); k1++ {
					size := [2]float64{float64(i1-i0) * p.step[0], float64(k1-k0) * p.step[1]}
					mid := [2]float64{float64(i0+i1) / 2 * p.step[0], float64(k0+k1) / 2 * p.step[1]}
					more := size[0]*size[1] - best[0]*best[1]
					// Products of the same steps in another order differ by rounding.
					if more > 1e-6 || more > -1e-6 && math.Hypot(mid[0], mid[1]) < math.Hypot(at[0], at[1]) {
						if bad.within(i0, i1, k0, k1) == 0 {
							best, at = size, mid
						}
					}
				}
			}
		}
	}
	return best, at
}

// measure fills in the plate at its place.
func (l *laying) measure(p *patch, pl layPlane, at cells) {
	r := &l.plate
	r.Normal, r.First = pl.normal, pl.first
	r.Centre = pl.point(r.Shift[0], r.Shift[1], 0)
	for n, sign := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		r.Corners[n] = r.At(sign[0]*r.Size[0]/2, sign[1]*r.Size[1]/2)
	}
	r.Tilt = math.Acos(max(-1, min(1, pl.normal.Dot(l.foot.Normal)))) * 180 / math.Pi
	r.Height = pl.height(l.foot.Point)
	middle, _ := l.tubeOn(pl)
	r.Tube = [2]float64{middle[0] - r.Shift[0], middle[1] - r.Shift[1]}
	across := math.Hypot(l.axis.Dot(pl.first), l.axis.Dot(pl.second))
	r.Lean = math.Atan2(across, l.axis.Dot(pl.normal)) * 180 / math.Pi
	if across > layUpright {
		r.Turn = math.Atan2(l.axis.Dot(pl.second), l.axis.Dot(pl.first)) * 180 / math.Pi
	}

	touch := layTouch + laySigmas*l.shell.noise
	var squares, n float64
	var nowhere r3.Vector
	p.under(at, func(i, k int, s *laySample, weight float64) {
		switch s.kind {
		case overNothing, overDrop:
			r.Missing += weight
			if s.kind == overDrop {
				l.drop += weight
			}
			nowhere = nowhere.Add(pl.point(float64(i)*p.step[0], float64(k)*p.step[1], 0).Mul(weight))
		case behindWall:
			r.Walls += weight
		case onSpike:
			r.Spikes++
		case onSheet:
			d := pl.height(s.point)
			if math.Abs(d) <= touch {
				r.Contact += weight * r.Area
			}
			squares, n = squares+weight*d*d, n+weight
			if l.shell.noise > layClean {
				d = p.middleOf(pl, i, k)
			}
			if d > r.Above {
				r.Above, r.AboveAt = d, s.point
			}
			if -d > r.Below {
				r.Below, r.BelowAt = -d, s.point
			}
		}
	})
	if r.Missing > 0 {
		r.MissingAt = nowhere.Mul(1 / r.Missing)
	}
	r.RMS = math.Sqrt(squares / n)
	if r.Fitted && (r.Missing >= layHole || max(r.Above, r.Below) > l.allow || r.Stuck > 0 && r.Shift == [2]float64{}) {
		r.Flat, r.FlatAt = l.smaller(p, pl)
		if r.Flat[0] > 0 {
			r.FlatAt = [2]float64{r.FlatAt[0] - r.Shift[0], r.FlatAt[1] - r.Shift[1]}
		}
	}
	if !r.Fitted {
		r.Above, r.Below, r.RMS = math.NaN(), math.NaN(), math.NaN()
		r.AboveAt, r.BelowAt = r3.Vector{}, r3.Vector{}
	}
}

// layUpright is the sine of the lean below which a tube leans to nowhere: rounding
// of unit vectors makes about 1e-15.
const layUpright = 1e-9

// middleOf returns the median height of a sample and those around it, so that
// noise of the scan is not taken for its shape.
func (p *patch) middleOf(pl layPlane, i, k int) float64 {
	var d []float64
	for a := max(i-1, -p.half[0]-p.more[0]); a <= min(i+1, p.half[0]+p.more[0]); a++ {
		for b := max(k-1, -p.half[1]-p.more[1]); b <= min(k+1, p.half[1]+p.more[1]); b++ {
			if s := p.cellAt(a, b); s.kind == onSheet {
				d = append(d, pl.height(s.point))
			}
		}
	}
	slices.Sort(d)
	return (d[(len(d)-1)/2] + d[len(d)/2]) / 2
}

// findings returns what is to be said about a plate that is laid.
func (l *laying) findings() []fit.Finding {
	r := &l.plate
	var out []fit.Finding
	say := func(severity fit.Severity, got, limit float64, unit string, at r3.Vector, format string, args ...any) {
		out = append(out, fit.Finding{
			Severity: severity, Rule: "landing", Bar: r.Bar, Got: got, Limit: limit, Unit: unit, At: &at,
			Message: "the plate at end " + endName(r.End) + " " + fmt.Sprintf(format, args...),
		})
	}
	if !r.Fitted {
		say(fit.Warning, 100*(1-r.Missing-r.Walls), 100*layLeast, "%", l.foot.Point,
			"finds too little shell to lie on: %.0f %% of it has none within %.0f mm and %.0f %% is behind a wall", 100*r.Missing, l.reach, 100*r.Walls)
		return out
	}
	var smaller string
	if r.Flat[0] > 0 {
		smaller = fmt.Sprintf("; one of %.0f x %.0f mm finds flat shell", r.Flat[0], r.Flat[1])
		if far := math.Hypot(r.FlatAt[0], r.FlatAt[1]); far >= layStuck {
			smaller += fmt.Sprintf(" %.0f mm towards its %s side", far, towards(r.At(r.FlatAt[0], r.FlatAt[1]).Sub(r.Centre)))
		}
	} else {
		smaller = "; none with room for the tube and its weld finds flat shell there"
	}
	if r.Missing >= layHole {
		over, what := "a hole or an edge of the scan", "there is none within"
		if l.drop > r.Missing/2 {
			over, what = "an edge of the shell", "it drops by more than"
		}
		say(fit.Warning, 100*r.Missing, 0, "%", r.MissingAt, "overhangs %s: %s %.0f mm under %.0f %% of it, %s%s", over, what, l.reach, 100*r.Missing, l.where(r.MissingAt), smaller)
	}
	moved := math.Hypot(r.Shift[0], r.Shift[1])
	held := r.Stuck > 0 && moved == 0
	switch {
	case moved > 0:
		way := r.At(r.Shift[0], r.Shift[1]).Sub(r.Centre)
		say(fit.Note, r.Stuck, 0, "mm", r.Centre, "would run %.0f mm into the shell on its %s side if it were centred: it is moved %.0f mm towards its %s side", r.Stuck, l.sides, moved, towards(way))
	case held:
		say(fit.Warning, r.Stuck, 0, "mm", r.Centre, "runs %.0f mm into the shell on its %s side, and there is no room to move it to: cut it down%s", r.Stuck, l.sides, smaller)
	}
	// What rises at a wall is told already.
	if worst := max(r.Above, r.Below); worst > l.allow && !(held && r.Above >= r.Below) {
		at, side := r.AboveAt, "above"
		if r.Below > r.Above {
			at, side = r.BelowAt, "below"
		}
		say(fit.Warning, worst, l.allow, "mm", at, "does not sit flat: the shell is %.1f mm %s it %s: form it to the shell, or dress the shell%s", worst, side, l.where(at), smaller)
	}
	middle, half := l.tubeOn(l.plane(r.Centre, r.Normal))
	over := 0.0
	for a := range 2 {
		over = max(over, math.Abs(middle[a])+half[a]-r.Size[a]/2)
	}
	if over > lengthTol && !math.IsInf(over, 1) { // one that runs along it has an error of its own
		say(fit.Warning, over, 0, "mm", l.foot.Point, "is too small: the tube's end reaches %.1f mm over its edge", over)
	}
	return out
}

// where says in which part of the plate a point is.
func (l *laying) where(at r3.Vector) string {
	r := &l.plate
	d := at.Sub(r.Centre)
	if u, v := d.Dot(r.First)/r.Size[0], d.Dot(r.Normal.Cross(r.First))/r.Size[1]; max(math.Abs(u), math.Abs(v)) < 1.0/8 {
		return "in its middle"
	}
	return "at its " + towards(d.Sub(r.Normal.Mul(d.Dot(r.Normal)))) + " side"
}

// towards names a direction in the car.
func towards(d r3.Vector) string {
	d = d.Normalize()
	// Within 22.5 degrees of an axis it has one name, between two axes both.
	const least = 0.3827
	words := ""
	for _, a := range [3]struct {
		x          float64
		plus, less string
	}{{d.Z, "upper", "lower"}, {d.X, "front", "rear"}, {d.Y, "left", "right"}} {
		name := a.plus
		if a.x < 0 {
			name = a.less
		}
		if math.Abs(a.x) > least {
			if words != "" {
				words += " "
			}
			words += name
		}
	}
	return words
}

// joined lists words.
func joined(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	case 2:
		return words[0] + " and " + words[1]
	default:
		return words[0] + ", " + joined(words[1:])
	}
}

// overlaps finds plates that lie on each other.
func overlaps(plates []fit.Plate) []fit.Finding {
	var out []fit.Finding
	for i := range plates {
		for k := range i {
			a, b := &plates[k], &plates[i]
			got := overlap(a, b)
			if got <= lengthTol {
				continue
			}
			at := a.Centre.Add(b.Centre).Mul(0.5)
			out = append(out, fit.Finding{
				Severity: fit.Warning, Rule: "landing", Bar: b.Bar, Other: a.Bar, Got: got, Unit: "mm", At: &at,
				Message: fmt.Sprintf("the plate at end %s lies on that at end %s of %q: %.0f mm of move along it would part them", endName(b.End), endName(a.End), a.Bar, got),
			})
		}
	}
	return out
}

// overlap returns by how much (mm) the nearer of two plates has to be moved along
// a side of either so that they part; 0: they are apart. Each is taken for a
// box from the reach below its underside to its upper side, so that plates at
// two heights of one floor are seen, and no line parts two boxes that meet
// (separating axes: the normals of their faces and the products of their edges).
func overlap(a, b *fit.Plate) float64 {
	type box struct {
		middle r3.Vector
		axis   [3]r3.Vector
		half   [3]float64
	}
	boxed := func(p *fit.Plate) box {
		return box{
			p.Centre.Add(p.Normal.Mul((p.Thickness - layReach) / 2)),
			[3]r3.Vector{p.First, p.Normal.Cross(p.First), p.Normal},
			[3]float64{p.Size[0] / 2, p.Size[1] / 2, (p.Thickness + layReach) / 2},
		}
	}
	p, q := boxed(a), boxed(b)
	least := math.Inf(1)
	along := func(e r3.Vector) float64 {
		sum := -math.Abs(q.middle.Sub(p.middle).Dot(e))
		for n := range 3 {
			sum += p.half[n]*math.Abs(p.axis[n].Dot(e)) + q.half[n]*math.Abs(q.axis[n].Dot(e))
		}
		return sum
	}
	for n := range 3 {
		for _, x := range [2]*box{&p, &q} {
			d := along(x.axis[n])
			if d <= 0 {
				return 0
			}
			if n < 2 {
				least = min(least, d)
			}
		}
		for m := range 3 {
			// Parallel edges give no new axis; the square of their sine is then rounding.
			if e := p.axis[n].Cross(q.axis[m]); e.Norm2() > 1e-12 && along(e) <= 0 {
				return 0
			}
		}
	}
	return least
}
