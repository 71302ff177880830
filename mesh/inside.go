package mesh

import (
	"math"
	"slices"

	"github.com/golang/geo/r3"
)

// Figures of the inside test.
const (
	// insideRoom is how far the winding number may fall under its mean at the
	// seeds for a point to count as inside: half a turn, from the study.
	insideRoom = 0.5
	// capRoom is what more it may fall near caps, which do not follow the
	// winding level: a guard against leaks between cap and rim, no more.
	capRoom = 0.2

	voteRays = 20_000 // from the study; shared by the seeds
	voteSize = 100.0  // what lies this near to a ray's end, facing it, counts as seen too, mm

	// enclosedWell: with a lower mean winding number at the seeds than this,
	// surfaces out of sight are tried without.
	enclosedWell = 0.7
	enclosedGain = 0.1 // and left out if the mean gains this much
	maxViews     = 64  // further points to look around from, then
	viewShare    = 0.8 // how far along a ray they lie
	viewRoom     = 0.2 // and how much their winding number may differ from the mean
	// enclosedLeast: with less, the air outside can't be told from the cabin's:
	// far from the shell the winding number is 0, and the threshold must be
	// over it.
	enclosedLeast = insideRoom + 0.05
)

// sides decides which way round each triangle of m counts: 1 as it is, -1
// reversed, 0 not at all, so that a surface around the seeds goes around them
// once.
type sides struct {
	all  []int8 // by the votes for the triangle's patch; 0: no ray met it
	seen []int8 // the same for triangles in sight only
}

// vote sends rays from the seeds in all directions. What a ray meets first
// votes for its patch to turn its back on the ray's start.
func vote(m *Mesh, ix *Index, patch []int32, flip []bool, count int, seeds []r3.Vector, workers int) sides {
	rays := directions(max(voteRays/len(seeds), 500))
	hits := make([]RayHit, len(rays)*len(seeds))
	spread(workers, len(hits), 256, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			hits[i], _ = ix.Ray(seeds[i/len(rays)], rays[i%len(rays)], math.Inf(1))
		}
	})
	// outward is the normal of t, of the size of its area, turned the way its
	// patch is.
	outward := func(t int32) r3.Vector {
		a, b, c := m.Corners(int(t))
		n := b.Sub(a).Cross(c.Sub(a))
		if flip[t] {
			n = n.Mul(-1)
		}
		return n
	}
	votes := make([]int32, count)
	type cell [3]int32
	cellOf := func(p r3.Vector) cell {
		return cell{int32(math.Floor(p.X / voteSize)), int32(math.Floor(p.Y / voteSize)), int32(math.Floor(p.Z / voteSize))}
	}
	sight := make(map[cell]r3.Vector) // sum of the rays' directions
	met := make([]bool, len(m.Triangles))
	for i, h := range hits {
		if h.Triangle < 0 {
			continue
		}
		dir := rays[i%len(rays)]
		met[h.Triangle] = true
		sight[cellOf(h.Point)] = sight[cellOf(h.Point)].Add(dir)
		if dir.Dot(outward(h.Triangle)) > 0 {
			votes[patch[h.Triangle]]++
		} else {
			votes[patch[h.Triangle]]--
		}
	}
	s := sides{make([]int8, len(m.Triangles)), make([]int8, len(m.Triangles))}
	spread(workers, len(m.Triangles), 1<<13, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			v := votes[patch[t]]
			if v == 0 {
				continue
			}
			side := int8(1)
			if flip[t] != (v < 0) {
				side = -1
			}
			s.all[t] = side
			if met[t] {
				s.seen[t] = side
				continue
			}
			n := outward(int32(t))
			if v < 0 {
				n = n.Mul(-1)
			}
			a, b, c := m.Corners(t)
			p := a.Add(b).Add(c).Mul(1. / 3)
			at := cellOf(p)
			var sum r3.Vector
			for x := at[0] - 1; x <= at[0]+1; x++ {
				for y := at[1] - 1; y <= at[1]+1; y++ {
					for z := at[2] - 1; z <= at[2]+1; z++ {
						sum = sum.Add(sight[cell{x, y, z}])
					}
				}
			}
			if sum.Dot(n) > 0 {
				s.seen[t] = side
			}
		}
	})
	return s
}

// air knows where the cabin's air is.
type air struct {
	wind      *winding
	threshold float64 // of the winding number
	bounds    Box     // of the sheet; in the end of Used
	grid      voxels
	reach     bitset  // voxels that the ball's centre reaches
	near      []int32 // nearest of them, for each voxel
	nearCap   bitset  // voxels where the winding level may be a cap's
}

// over returns by how much the winding number at p is over the threshold. No
// air of the cabin lies beyond the bounds of the shell: the level of a shell
// with an open end would bulge far out of it.
func (a *air) over(p r3.Vector, turns func(r3.Vector) float64) float64 {
	if !a.bounds.holds(p) {
		return -insideRoom
	}
	return turns(p) - a.threshold
}

// nearestReached returns the reachable voxels that are nearest to the centres
// of the eight voxels around p: the first n, the one nearest to p in front.
// None: nothing is reachable. p must be finite.
func (a *air) nearestReached(p r3.Vector) (near [8]r3.Vector, n int) {
	// The transform is exact from voxel centres; between them the nearest is
	// that of one of the voxels around p.
	d := p.Sub(a.grid.origin).Mul(1 / voxelSize)
	base := a.grid.at(p)
	var step [3]int32
	for k, x := range [3]float64{d.X, d.Y, d.Z} {
		step[k] = 1
		if x-float64(base[k]) < 0.5 {
			step[k] = -1
		}
	}
	var numbers [8]int32
	for i := range 8 {
		c := base
		for k := range c {
			if i>>k&1 != 0 {
				c[k] = min(max(c[k]+step[k], 0), a.grid.n[k]-1)
			}
		}
		v := a.near[a.grid.number(c)]
		if v < 0 {
			return near, 0
		}
		if slices.Contains(numbers[:n], v) {
			continue
		}
		numbers[n], near[n] = v, a.grid.centre(a.grid.cell(v))
		if near[n].Sub(p).Norm2() < near[0].Sub(p).Norm2() {
			numbers[0], numbers[n] = numbers[n], numbers[0]
			near[0], near[n] = near[n], near[0]
		}
		n++
	}
	return near, n
}

// Inside tells whether p (mm) is in the cabin's air, caps taken for sheet: the
// straight way from p to the nearest voxel that a ball of 20 mm can reach from
// the seeds is free of Used, and the winding number at p is over its mean at
// the seeds less a half. In such a voxel it answers at once. Near caps, which
// do not follow the winding level, it may be a little under that, if the ways
// to further voxels nearby are free as well: a slit between cap and rim lets a
// single line through. Within the surface's own rounding either answer may
// come. A point that is not finite is outside.
func (s *Shell) Inside(p r3.Vector) bool {
	a := &s.air
	if !finiteVector(p) || !a.bounds.holds(p) {
		return false
	}
	v := a.grid.number(a.grid.at(p))
	if a.reach.has(v) && a.grid.holds(p) {
		// The voxel's corners are nearer to its centre than the ball's skin.
		return true
	}
	near, n := a.nearestReached(p)
	if n == 0 {
		return false
	}
	if _, hit := s.Index.Ray(p, near[0].Sub(p), 1); hit {
		return false
	}
	// The coarse sum settles it wherever it is clear of all limits below.
	room := a.wind.coarse(p) - a.threshold
	if math.Abs(room) < capRoom+coarseError {
		room = a.wind.at(p) - a.threshold
	}
	if !a.nearCap.has(v) || room > capRoom {
		return room > 0
	}
	if room <= -capRoom {
		return false
	}
	for _, to := range near[1:n] {
		if _, hit := s.Index.Ray(p, to.Sub(p), 1); hit {
			return false
		}
	}
	return true
}

// holds tells whether p is in b.
func (b *Box) holds(p r3.Vector) bool {
	return p.X >= b.Min.X && p.Y >= b.Min.Y && p.Z >= b.Min.Z && p.X <= b.Max.X && p.Y <= b.Max.Y && p.Z <= b.Max.Z
}

// holds tells whether p is in the grid.
func (g *voxels) holds(p r3.Vector) bool {
	d := p.Sub(g.origin).Mul(1 / voxelSize)
	return d.X >= 0 && d.Y >= 0 && d.Z >= 0 &&
		d.X < float64(g.n[0]) && d.Y < float64(g.n[1]) && d.Z < float64(g.n[2])
}

func finiteVector(p r3.Vector) bool {
	return !math.IsInf(p.Norm2(), 0) && !math.IsNaN(p.Norm2())
}

// Signed returns the distance from p to Used in mm, positive inside, negative
// outside, and where the closest point is. tri is a triangle of Used that is
// likely to be close, or -1; the answer does not depend on it.
func (s *Shell) Signed(p r3.Vector, tri int32) (float64, Hit) {
	h := s.Index.ClosestFrom(p, tri)
	if !s.Inside(p) {
		return -h.Distance, h
	}
	return h.Distance, h
}

// ReachDistance returns the distance in mm from p to the nearest voxel that a
// ball of 20 mm can reach from the seeds, and the unit vector towards it: 0 and
// the zero vector in such a voxel. It changes by no more than about a voxel
// where the nearest one changes, and points the way back into the cabin for a
// point that strayed through the shell. +Inf and the zero vector for a point
// that is not finite.
func (s *Shell) ReachDistance(p r3.Vector) (d float64, towards r3.Vector) {
	a := &s.air
	if !finiteVector(p) {
		return math.Inf(1), r3.Vector{}
	}
	if a.reach.has(a.grid.number(a.grid.at(p))) && a.grid.holds(p) {
		return 0, r3.Vector{}
	}
	near, n := a.nearestReached(p)
	if n == 0 {
		return math.Inf(1), r3.Vector{}
	}
	const h = voxelSize / 2
	e := near[0].Sub(p)
	in := r3.Vector{X: min(max(-e.X, -h), h), Y: min(max(-e.Y, -h), h), Z: min(max(-e.Z, -h), h)}
	way := e.Add(in)
	if d = way.Norm(); d == 0 {
		return 0, r3.Vector{}
	}
	return d, way.Mul(1 / d)
}
