package fit

import (
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/internal/golden"
	"barwright/fit/job"
	"barwright/mesh"
)

// field answers distance questions about one thing that a bar must keep off.
// Distances are signed: negative in the wrong place. The direction returned is
// the unit vector in which the distance grows fastest.
type field interface {
	// at measures from p. The memo belongs to one station of one bar.
	at(p r3.Vector, m *memo) (d float64, dir r3.Vector)
	// segment returns the smallest distance from the segment a-b if it is under
	// bound: where on the segment (0..1) and the direction of growth there. It
	// need not be signed; it is only asked where both ends are in the right place.
	segment(a, b r3.Vector, bound float64) (d, t float64, dir r3.Vector, ok bool)
	// second measures from p to the nearest obstacle that lies in quite another
	// direction than -dir.
	second(p, dir r3.Vector, bound float64) (d float64, dir2 r3.Vector, ok bool)
}

// memo lets a station's next question start from its last answer.
type memo struct {
	p       r3.Vector
	d       float64
	tri     int32
	outside bool
	known   bool
	other   *memo // of a second surface asked at the same station
}

// secondWall is the least angle between the directions of two walls of a
// corner; measured best in the feasibility study of the contract.
const secondWall = 66 * s1.Degree

// shellField is the shell.
type shellField struct {
	shell *mesh.Shell
	index *mesh.Index
}

func (f *shellField) at(p r3.Vector, m *memo) (float64, r3.Vector) {
	tri := int32(-1)
	if m.known {
		tri = m.tri
	}
	hit := f.index.ClosestFrom(p, tri)
	// Distance is 1-Lipschitz: a point that moved by less than its distance
	// from the surface is still on the same side.
	outside := m.outside
	if !m.known || p.Sub(m.p).Norm() >= m.d {
		outside = !f.shell.Inside(p)
	}
	m.p, m.d, m.tri, m.outside, m.known = p, hit.Distance, hit.Triangle, outside, true
	away := p.Sub(hit.Point)
	if !outside {
		if hit.Distance < 1e-9 {
			return hit.Distance, r3.Vector{}
		}
		return hit.Distance, away.Mul(1 / hit.Distance)
	}
	// Outside, the way back to the cabin's air is what counts: between two
	// skins the nearest sheet may be the wrong one.
	reach, towards := f.shell.ReachDistance(p)
	if hit.Distance > 1e-9 && reach < hit.Distance+2*reachVoxel {
		return -hit.Distance, away.Mul(-1 / hit.Distance)
	}
	if n := towards.Norm(); n > 0 {
		return -math.Max(hit.Distance, reach-reachVoxel), towards.Mul(1 / n)
	}
	return -hit.Distance, r3.Vector{}
}

// reachVoxel is the size of the cells of the shell's reachable set, mm: a cell
// next to the sheet is at most two of them away from a point on it.
const reachVoxel = 20

func (f *shellField) segment(a, b r3.Vector, bound float64) (float64, float64, r3.Vector, bool) {
	hit, ok := f.index.Segment(a, b, bound)
	if !ok {
		return 0, 0, r3.Vector{}, false
	}
	dir := hit.On.Sub(hit.Point)
	if hit.Distance > 1e-9 {
		dir = dir.Mul(1 / hit.Distance)
	}
	return hit.Distance, hit.T, dir, true
}

func (f *shellField) second(p, dir r3.Vector, bound float64) (float64, r3.Vector, bool) {
	hit, ok := f.index.ClosestAway(p, dir.Mul(-1), secondWall, bound)
	if !ok || hit.Distance < 1e-9 {
		return 0, r3.Vector{}, false
	}
	return hit.Distance, p.Sub(hit.Point).Mul(1 / hit.Distance), true
}

// doubtfulField is a noisy scan: a bar has to keep off the scan as it is and, by
// a little more, off the smoothed one. Single triangles that the noise pushed
// outwards would let it come too close; the smoothed surface does not.
type doubtfulField struct {
	scan, smooth shellField
	extra        float64 // added to the distance from the smoothed surface, mm
}

// doubt returns what a bar keeps off a smoothed scan besides its clearance, mm.
// Smoothing averages over patches of about smoothPatch mm, that is over
// (smoothPatch / edge length)^2 vertices, and leaves so much of the noise: one
// sigma of that and a little.
func doubt(m *mesh.Mesh, noise float64) float64 {
	const smoothPatch, sigmas = 26, 1.1 // of the contract; measured best on invented scans of 50 and 200 thousand triangles
	sum, n := 0.0, 0
	for t := 0; t < len(m.Triangles); t += 1 + len(m.Triangles)/10000 {
		a, b, c := m.Corners(t)
		sum += a.Sub(b).Norm() + b.Sub(c).Norm() + c.Sub(a).Norm()
		n += 3
	}
	return sigmas * noise * math.Min(1, sum/float64(n)/smoothPatch)
}

func (f *doubtfulField) at(p r3.Vector, m *memo) (float64, r3.Vector) {
	if m.other == nil {
		m.other = &memo{}
	}
	d, dir := f.scan.at(p, m)
	d2, dir2 := f.smooth.at(p, m.other)
	if d2 -= f.extra; d2 < d {
		return d2, dir2
	}
	return d, dir
}

func (f *doubtfulField) segment(a, b r3.Vector, bound float64) (float64, float64, r3.Vector, bool) {
	d, t, dir, ok := f.scan.segment(a, b, bound)
	d2, t2, dir2, ok2 := f.smooth.segment(a, b, bound+f.extra)
	if d2 -= f.extra; ok2 && (!ok || d2 < d) {
		return d2, t2, dir2, true
	}
	return d, t, dir, ok
}

func (f *doubtfulField) second(p, dir r3.Vector, bound float64) (float64, r3.Vector, bool) {
	return f.scan.second(p, dir, bound)
}

// solidField is a convex keep-out: its signed distance is convex, so that the
// smallest value along a segment is found by a search without traps.
type solidField struct {
	name string
	sdf  func(p r3.Vector) (d float64, dir r3.Vector)
}

func (f *solidField) at(p r3.Vector, _ *memo) (float64, r3.Vector) { return f.sdf(p) }

func (f *solidField) segment(a, b r3.Vector, bound float64) (float64, float64, r3.Vector, bool) {
	value := func(t float64) float64 {
		d, _ := f.sdf(a.Mul(1 - t).Add(b.Mul(t)))
		return d
	}
	span := golden.Search(value, 0, 1, 30, 0) // 0.618^30 of a piece of 15 mm: below 1e-5 mm
	t := (span.From + span.To) / 2
	for _, end := range []float64{0, 1} {
		if value(end) < value(t) {
			t = end
		}
	}
	d, dir := f.sdf(a.Mul(1 - t).Add(b.Mul(t)))
	return d, t, dir, d < bound
}

func (f *solidField) second(r3.Vector, r3.Vector, float64) (float64, r3.Vector, bool) {
	return 0, r3.Vector{}, false
}

// meshField is a keep-out given by a closed mesh.
type meshField struct {
	name  string
	index *mesh.Index
}

// insideClosed reports whether p lies within a closed mesh: the majority of
// three rays' crossing parities.
func insideClosed(index *mesh.Index, p r3.Vector) bool {
	votes := 0
	for _, dir := range [3]r3.Vector{{X: 0.31, Y: 0.17, Z: 1}, {X: -1, Y: 0.23, Z: 0.11}, {X: 0.19, Y: -1, Z: -0.29}} {
		crossings := 0
		index.RayAll(p, dir, math.Inf(1), func(mesh.RayHit) bool { crossings++; return true })
		votes += crossings % 2
	}
	return votes >= 2
}

func (f *meshField) at(p r3.Vector, m *memo) (float64, r3.Vector) {
	hit := f.index.Closest(p)
	inside := m.outside
	if !m.known || p.Sub(m.p).Norm() >= m.d {
		inside = insideClosed(f.index, p)
	}
	*m = memo{p: p, d: hit.Distance, tri: hit.Triangle, outside: inside, known: true}
	if hit.Distance < 1e-9 {
		return hit.Distance, r3.Vector{}
	}
	dir := p.Sub(hit.Point).Mul(1 / hit.Distance)
	if inside {
		return -hit.Distance, dir.Mul(-1)
	}
	return hit.Distance, dir
}

func (f *meshField) segment(a, b r3.Vector, bound float64) (float64, float64, r3.Vector, bool) {
	return (&shellField{index: f.index}).segment(a, b, bound)
}

func (f *meshField) second(p, dir r3.Vector, bound float64) (float64, r3.Vector, bool) {
	return (&shellField{index: f.index}).second(p, dir, bound)
}

// mirrored is another field seen in the car's mirror plane: what the second bar
// of a pair has to keep off, as its twin sees it.
type mirrored struct{ field }

func (f mirrored) at(p r3.Vector, m *memo) (float64, r3.Vector) {
	d, dir := f.field.at(mirrorY(p), m)
	return d, mirrorY(dir)
}

func (f mirrored) segment(a, b r3.Vector, bound float64) (float64, float64, r3.Vector, bool) {
	d, t, dir, ok := f.field.segment(mirrorY(a), mirrorY(b), bound)
	return d, t, mirrorY(dir), ok
}

func (f mirrored) second(p, dir r3.Vector, bound float64) (float64, r3.Vector, bool) {
	d, dir2, ok := f.field.second(mirrorY(p), mirrorY(dir), bound)
	return d, mirrorY(dir2), ok
}

// keepoutField returns the field of a keep-out. solid is the keep-out's
// mesh when it is given by one.
func keepoutField(k *job.Keepout, solid *mesh.Index) field {
	switch {
	case k.Sphere != nil:
		s := *k.Sphere
		return &solidField{k.Name, func(p r3.Vector) (float64, r3.Vector) {
			return awayFrom(p, s.Centre, s.Radius)
		}}
	case k.Capsule != nil:
		c := *k.Capsule
		axis := c.To.Sub(c.From)
		return &solidField{k.Name, func(p r3.Vector) (float64, r3.Vector) {
			t := 0.0
			if l := axis.Norm2(); l > 0 {
				t = math.Max(0, math.Min(1, p.Sub(c.From).Dot(axis)/l))
			}
			return awayFrom(p, c.From.Add(axis.Mul(t)), c.Radius)
		}}
	case k.Box != nil:
		b := *k.Box
		return &solidField{k.Name, func(p r3.Vector) (float64, r3.Vector) { return boxDistance(p, b) }}
	case solid != nil:
		return &meshField{k.Name, solid}
	}
	return nil
}

func awayFrom(p, centre r3.Vector, radius float64) (float64, r3.Vector) {
	v := p.Sub(centre)
	n := v.Norm()
	if n < 1e-9 {
		return -radius, r3.Vector{Z: 1}
	}
	return n - radius, v.Mul(1 / n)
}

func boxDistance(p r3.Vector, b job.Box) (float64, r3.Vector) {
	c := r3.Vector{X: math.Max(b.Min.X, math.Min(b.Max.X, p.X)), Y: math.Max(b.Min.Y, math.Min(b.Max.Y, p.Y)), Z: math.Max(b.Min.Z, math.Min(b.Max.Z, p.Z))}
	if v := p.Sub(c); v.Norm() > 1e-12 {
		return v.Norm(), v.Normalize()
	}
	// Inside: the nearest face counts.
	d, dir := math.Inf(-1), r3.Vector{}
	for _, f := range [6]struct {
		d   float64
		dir r3.Vector
	}{
		{b.Min.X - p.X, r3.Vector{X: -1}}, {p.X - b.Max.X, r3.Vector{X: 1}},
		{b.Min.Y - p.Y, r3.Vector{Y: -1}}, {p.Y - b.Max.Y, r3.Vector{Y: 1}},
		{b.Min.Z - p.Z, r3.Vector{Z: -1}}, {p.Z - b.Max.Z, r3.Vector{Z: 1}},
	} {
		if f.d > d {
			d, dir = f.d, f.dir
		}
	}
	return d, dir
}
