package align

import (
	"math"
	"math/rand/v2"
	"slices"

	"github.com/golang/geo/r3"
)

// floor is a large flat patch with the body on one side of it.
type floor struct {
	up       r3.Vector // unit, into the body, at right angles to the mirror plane
	level    float64   // height of the patch along up over the body's centre, mm
	score    float64   // area as a share of the body's, less what speaks against it
	share    float64   // area of the patch as a share of the body's
	residual float64   // rms distance of the patch from its plane, mm
	twist    float64   // angle between the patch's own normal and the mirror plane, radians
	sigma    float64   // one sigma of up in the mirror plane, radians; +Inf: not determined
}

// Figures of the search for a floor. All are common practice, no source.
const (
	floorTrials = 400
	floorSeed   = 7
	flatness    = 8.0  // mm: pressed floors have beads about that deep
	nearlyFlat  = 10.0 // degrees
	acrossFloor = 12.0 // degrees: how square to the mirror plane a patch must stand
	under       = 30.0 // mm: what lies this far under a floor speaks against it
	muchBelow   = 10.0 // one over the share of a body below it that rules a floor out
	otherFloor  = 10.0 // degrees: closer ones are one answer
	otherLevel  = 60.0 // mm
)

// floors returns the large flat patches that stand square to a mirror plane
// with normal m, best first, each seen as a floor: with most of the body above.
// allowed says which directions may be up. The search draws samples by area and
// counts what lies in their planes, turned square to the mirror plane.
func (b *body) floors(m r3.Vector, allowed func(up r3.Vector) bool) []floor {
	random := rand.New(rand.NewPCG(floorSeed, 1))
	var found []floor
	for range floorTrials {
		i := random.IntN(b.fine.Len())
		up, ok := b.square(i, m)
		if !ok {
			continue
		}
		f := floor{up: up, level: up.Dot(b.fine.Points[i].Sub(b.centre))}
		f.share = b.flatShare(f, 4)
		found = append(found, f)
	}
	slices.SortStableFunc(found, func(x, y floor) int { return compare(y.share, x.share) })
	const most = 12
	var kept []floor
	for _, f := range found {
		alone := true
		for _, k := range kept {
			c, level := f.up.Dot(k.up), k.level
			if c < 0 {
				c, level = -c, -level
			}
			alone = alone && (c < math.Cos(otherFloor*math.Pi/180) || math.Abs(level-f.level) > otherLevel)
		}
		if alone {
			kept = append(kept, f)
		}
		if len(kept) == most {
			break
		}
	}
	var best []floor
	for _, f := range kept {
		f = b.settle(f, m)
		if f = b.judge(f, m); allowed(f.up) && f.score > 0 {
			best = append(best, f)
		}
	}
	slices.SortStableFunc(best, func(x, y floor) int { return compare(y.score, x.score) })
	return best
}

// square returns the normal of sample i, made square to m.
func (b *body) square(i int, m r3.Vector) (up r3.Vector, ok bool) {
	n := b.fine.Normals[i]
	c := n.Dot(m)
	if !b.usable[i] || math.Abs(c) > math.Sin(acrossFloor*math.Pi/180) {
		return up, false
	}
	return n.Sub(m.Mul(c)).Normalize(), true
}

// onFloor tells whether sample i lies within tolerance of a patch, in height
// and direction, and returns its height over it.
func (b *body) onFloor(i int, f floor, tolerance float64) (h float64, ok bool) {
	h = f.up.Dot(b.fine.Points[i].Sub(b.centre)) - f.level
	if !b.usable[i] || math.Abs(h) > tolerance {
		return h, false
	}
	return h, math.Abs(b.fine.Normals[i].Dot(f.up)) > math.Cos(nearlyFlat*math.Pi/180)
}

func (b *body) flatTolerance() float64 { return max(flatness, 3*b.noise) }

// flatShare returns the share of the body in a patch, from every step-th
// sample.
func (b *body) flatShare(f floor, step int) float64 {
	n, limit := 0, b.flatTolerance()
	for i := 0; i < b.fine.Len(); i += step {
		if _, ok := b.onFloor(i, f, limit); ok {
			n++
		}
	}
	return float64(n*step) / float64(b.fine.Len())
}

// settle fits a patch to what lies in it: its height and its slope along the
// mirror plane.
func (b *body) settle(f floor, m r3.Vector) floor {
	const steps, still = 12, 1e-3
	for k := range steps {
		limit := b.flatTolerance()
		if k < 3 {
			limit *= 2
		}
		s := system{n: 2}
		slope := m.Cross(f.up)
		for i, p := range b.fine.Points {
			if h, ok := b.onFloor(i, f, limit); ok {
				s.add([unknowns]float64{2 / b.size * slope.Dot(p.Sub(b.centre)), -1}, h, biweight(h, limit))
			}
		}
		x, ok := s.solve()
		if !ok {
			break
		}
		f.up = f.up.Add(slope.Mul(2 / b.size * x[0])).Normalize()
		f.level += x[1]
		if max(math.Abs(x[0]), math.Abs(x[1])) < still {
			break
		}
	}
	return f
}

// judge turns a patch's up into the body and measures it.
func (b *body) judge(f floor, m r3.Vector) floor {
	heights := make([]float64, b.fine.Len())
	for i, p := range b.fine.Points {
		heights[i] = f.up.Dot(p.Sub(b.centre)) - f.level
	}
	if quantile(append([]float64(nil), heights...), 0.5) < 0 {
		f.up, f.level = f.up.Mul(-1), -f.level
		for i := range heights {
			heights[i] = -heights[i]
		}
	}
	below := 0
	for _, h := range heights {
		if h < -under {
			below++
		}
	}

	limit := b.flatTolerance()
	s, free := system{n: 2}, system{n: unknowns}
	blocks := b.blocks()
	var parts [][unknowns]float64
	slope := m.Cross(f.up)
	sum, weights, n := 0.0, 0.0, 0
	for i, p := range b.fine.Points {
		h, ok := b.onFloor(i, f, limit)
		if !ok {
			continue
		}
		n++
		w := biweight(h, limit)
		sum += w * h * h
		weights += w
		p = p.Sub(b.centre)
		j := [unknowns]float64{2 / b.size * slope.Dot(p), -1, 2 / b.size * m.Dot(p)}
		s.add(j, h, w)
		free.add(j, h, w)
		k := blocks.of(p)
		if k == len(parts) {
			parts = append(parts, [unknowns]float64{})
		}
		for a := range s.n {
			parts[k][a] += w * j[a] * h
		}
	}
	f.share = float64(n) / float64(b.fine.Len())
	f.sigma, f.twist = math.Inf(1), math.Inf(1)
	if weights > 0 {
		f.residual = math.Sqrt(sum / weights)
	}
	if sigma, ok := s.sigmas(parts); ok && len(parts) > s.n {
		f.sigma = 2 / b.size * sigma[0]
	}
	if x, ok := free.solve(); ok {
		f.twist = math.Abs(2 / b.size * x[2])
	}

	// A floor is flatter than a roof, has little below it, and more of the body
	// near it than far from it; a cabin is longer than it is high.
	low, high := b.extent(f.up)
	back, front := b.extent(slope)
	long := (front - back) / max(high-low, 1)
	deep := quantile(heights, 0.5) / max(high-low, 1)
	f.score = weights / float64(b.fine.Len()) * max(0, 1-muchBelow*float64(below)/float64(b.fine.Len())) *
		min(1, long*long) * 2 * max(0, 1-deep)
	return f
}

// level returns the floor of a body whose up is known: the largest flat patch
// square to it with little below.
func (b *body) levelAt(up, m r3.Vector) floor {
	random := rand.New(rand.NewPCG(floorSeed, 2))
	best := floor{up: up, score: -1}
	for range floorTrials {
		i := random.IntN(b.fine.Len())
		f := floor{up: up, level: up.Dot(b.fine.Points[i].Sub(b.centre))}
		if _, ok := b.onFloor(i, f, 1); !ok || f.level > 0 {
			continue
		}
		below, n := 0, 0
		for k := 0; k < b.fine.Len(); k += 4 {
			n++
			if up.Dot(b.fine.Points[k].Sub(b.centre))-f.level < -under {
				below++
			}
		}
		f.score = b.flatShare(f, 4) * (1 - muchBelow*float64(below)/float64(n))
		if f.score > best.score {
			best = f
		}
	}
	if best.score <= 0 {
		low, _ := b.extent(up)
		best.level = low - up.Dot(b.centre)
		return best
	}
	// The height alone, the direction being given.
	limit := b.flatTolerance()
	for range 6 {
		sum, weights := 0.0, 0.0
		for i := range b.fine.Points {
			if h, ok := b.onFloor(i, best, limit); ok {
				w := biweight(h, limit)
				sum += w * h
				weights += w
			}
		}
		if weights > 0 {
			best.level += sum / weights
		}
	}
	up = best.up
	best = b.judge(best, m)
	if best.up != up { // a level stays what it was asked for
		best.up, best.level = up, -best.level
	}
	return best
}
