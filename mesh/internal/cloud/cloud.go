package cloud

import (
	"math"
	"math/rand/v2"

	"github.com/golang/geo/r3"
)

// seed of the sampling; any would do.
const seed = 20

// neighbourhood is the radius, in mean spacings of the samples, over which a
// sample's plane is fitted: some 12 neighbours on a smooth sheet.
const neighbourhood = 2

// Cloud is a set of small flat patches of a surface. Slices are parallel.
type Cloud struct {
	Drawn   []r3.Vector // on the triangles, mm
	Points  []r3.Vector // on their planes, mm
	Normals []r3.Vector // unit, of either side
	Rough   []float64   // how far the neighbourhood is off its plane, one sigma, mm
	Area    float64     // what each sample stands for, mm2
	Spacing float64     // mean distance of neighbours, mm

	grid grid
}

// New draws about n samples from the triangles by area, none from triangles
// whose area is not a positive number. A surface without any area gives a cloud
// without samples.
func New(vertices []r3.Vector, triangles [][3]int32, n int) *Cloud {
	points, area := draw(vertices, triangles, n)
	if len(points) == 0 {
		return &Cloud{}
	}
	c := &Cloud{
		Drawn:   points,
		Points:  make([]r3.Vector, len(points)),
		Normals: make([]r3.Vector, len(points)),
		Rough:   make([]float64, len(points)),
		Area:    area,
		Spacing: math.Sqrt(area),
	}
	raw := newGrid(points, neighbourhood*c.Spacing)
	reach2 := raw.cell * raw.cell
	var near []r3.Vector
	for i, p := range points {
		near = near[:0]
		raw.visit(p, func(j int32) {
			if points[j].Sub(p).Norm2() <= reach2 {
				near = append(near, points[j])
			}
		})
		c.Points[i], c.Normals[i], c.Rough[i] = flatten(p, near)
	}
	c.grid = newGrid(c.Points, raw.cell)
	return c
}

// Len returns the number of samples.
func (c *Cloud) Len() int { return len(c.Points) }

// Reach returns the largest distance, in mm, at which Nearest looks.
func (c *Cloud) Reach() float64 { return c.grid.cell }

// Thin returns every step-th sample with the planes they have, to be searched
// at a greater reach of two of the new mean spacings.
func (c *Cloud) Thin(step int) *Cloud {
	t := &Cloud{Area: c.Area * float64(step), Spacing: math.Sqrt(c.Area * float64(step))}
	for i := 0; i < len(c.Points); i += step {
		t.Drawn = append(t.Drawn, c.Drawn[i])
		t.Points = append(t.Points, c.Points[i])
		t.Normals = append(t.Normals, c.Normals[i])
		t.Rough = append(t.Rough, c.Rough[i])
	}
	t.grid = newGrid(t.Points, neighbourhood*t.Spacing)
	return t
}

// Nearest returns the sample nearest to p, if there is one within Reach.
func (c *Cloud) Nearest(p r3.Vector) (int, bool) {
	best, bestD := int32(-1), c.grid.cell*c.grid.cell
	c.grid.visit(p, func(i int32) {
		d := c.Points[i].Sub(p).Norm2()
		if d < bestD || d == bestD && (best < 0 || i < best) {
			best, bestD = i, d
		}
	})
	return int(best), best >= 0
}

// draw returns points spread over the triangles: one at a random place of each
// of n equal shares of the area, taken in the order of the triangles.
func draw(vertices []r3.Vector, triangles [][3]int32, n int) (points []r3.Vector, area float64) {
	total := 0.0
	for _, t := range triangles {
		total += areaOf(vertices[t[0]], vertices[t[1]], vertices[t[2]])
	}
	if !(total > 0) || n < 1 {
		return nil, 0
	}
	area = total / float64(n)
	random := rand.New(rand.NewPCG(seed, 1))
	points = make([]r3.Vector, 0, n)
	next, sum := area*random.Float64(), 0.0
	for _, t := range triangles {
		a, b, c := vertices[t[0]], vertices[t[1]], vertices[t[2]]
		sum += areaOf(a, b, c)
		for next < sum && len(points) < n {
			// The square root makes the places even over the triangle.
			s, v := math.Sqrt(random.Float64()), random.Float64()
			points = append(points, a.Mul(1-s).Add(b.Mul(s*(1-v))).Add(c.Mul(s*v)))
			next = area * (float64(len(points)) + random.Float64())
		}
	}
	return points, area
}

// areaOf returns a triangle's area, 0 for one that is not finite.
func areaOf(a, b, c r3.Vector) float64 {
	s := b.Sub(a).Cross(c.Sub(a)).Norm() / 2
	if !(s <= math.MaxFloat32) {
		return 0
	}
	return s
}

// flatten lays p onto the least-squares plane of its neighbours (p among them)
// and returns the plane's normal and the neighbours' one sigma from it. Without
// three neighbours in general position p stays, its roughness infinite.
func flatten(p r3.Vector, near []r3.Vector) (at, normal r3.Vector, rough float64) {
	var mean r3.Vector
	for _, q := range near {
		mean = mean.Add(q)
	}
	mean = mean.Mul(1 / float64(len(near)))
	var s [6]float64 // xx, yy, zz, xy, xz, yz
	for _, q := range near {
		d := q.Sub(mean)
		s[0] += d.X * d.X
		s[1] += d.Y * d.Y
		s[2] += d.Z * d.Z
		s[3] += d.X * d.Y
		s[4] += d.X * d.Z
		s[5] += d.Y * d.Z
	}
	normal, least, ok := leastAxis(s)
	if len(near) < 4 || !ok {
		return p, r3.Vector{Z: 1}, math.Inf(1)
	}
	at = p.Sub(normal.Mul(p.Sub(mean).Dot(normal)))
	return at, normal, math.Sqrt(least / float64(len(near)-3))
}

// leastAxis returns the unit eigenvector of the smallest eigenvalue of a
// positive semi-definite symmetric matrix, and that value. The eigenvalue comes
// from the trigonometric solution of the cubic, the vector from the largest
// cross product of two rows of the matrix less that value. It fails where the
// two smallest eigenvalues are the same to rounding.
func leastAxis(s [6]float64) (axis r3.Vector, least float64, ok bool) {
	third := (s[0] + s[1] + s[2]) / 3
	a, b, c := s[0]-third, s[1]-third, s[2]-third
	spread := math.Sqrt((a*a + b*b + c*c + 2*(s[3]*s[3]+s[4]*s[4]+s[5]*s[5])) / 6)
	if !(spread > 0) || math.IsInf(spread, 1) {
		return r3.Vector{}, 0, false
	}
	det := a*(b*c-s[5]*s[5]) - s[3]*(s[3]*c-s[5]*s[4]) + s[4]*(s[3]*s[5]-b*s[4])
	half := det / (2 * spread * spread * spread)
	angle := math.Acos(min(max(half, -1), 1)) / 3
	least = third + 2*spread*math.Cos(angle+2*math.Pi/3)
	rows := [3]r3.Vector{
		{X: s[0] - least, Y: s[3], Z: s[4]},
		{X: s[3], Y: s[1] - least, Z: s[5]},
		{X: s[4], Y: s[5], Z: s[2] - least},
	}
	best := 0.0
	for i := range rows {
		if n := rows[i].Cross(rows[(i+1)%3]); n.Norm2() > best {
			axis, best = n, n.Norm2()
		}
	}
	// The length is the product of two gaps between eigenvalues. Where two are
	// the same, the arc cosine at 1 is off by the root of the rounding, 1e-8,
	// and so is the gap.
	const rounding = 1e-6
	length := math.Sqrt(best)
	if !(length > rounding*third*third) {
		return r3.Vector{}, 0, false
	}
	return axis.Mul(1 / length), max(least, 0), true
}

// grid sorts points into cubes, found by hash.
type grid struct {
	cell  float64    // edge of a cube, mm
	cube  [][3]int64 // of each entry
	entry []int32    // numbers of points, cube by cube
	start []int32    // of each slot in entry, one more at the end
	mask  uint64
}

func newGrid(points []r3.Vector, cell float64) grid {
	slots := 1
	for slots < 2*len(points) {
		slots *= 2
	}
	g := grid{cell: cell, mask: uint64(slots - 1), start: make([]int32, slots+1)}
	g.entry, g.cube = make([]int32, len(points)), make([][3]int64, len(points))
	for _, p := range points {
		g.start[g.slot(g.at(p))+1]++
	}
	for i := range slots {
		g.start[i+1] += g.start[i]
	}
	free := append([]int32(nil), g.start[:slots]...)
	for i, p := range points {
		cube := g.at(p)
		k := g.slot(cube)
		g.entry[free[k]], g.cube[free[k]] = int32(i), cube
		free[k]++
	}
	return g
}

// at returns the cube that p lies in. Cubes beyond 2^53 cells from the origin
// are not told apart, nor can points there be.
func (g *grid) at(p r3.Vector) [3]int64 {
	return [3]int64{floor(p.X / g.cell), floor(p.Y / g.cell), floor(p.Z / g.cell)}
}

func floor(v float64) int64 {
	const far = 1 << 53
	return int64(min(max(math.Floor(v), -far), far))
}

func (g *grid) slot(c [3]int64) uint64 {
	h := uint64(c[0])*0x9E3779B97F4A7C15 ^ uint64(c[1])*0xC2B2AE3D27D4EB4F ^ uint64(c[2])*0x165667B19E3779F9
	h ^= h >> 29
	h *= 0xBF58476D1CE4E5B9
	return (h ^ h>>32) & g.mask
}

// visit calls f for every point in the cube of p and its 26 neighbours.
func (g *grid) visit(p r3.Vector, f func(i int32)) {
	if len(g.entry) == 0 {
		return
	}
	c := g.at(p)
	for x := c[0] - 1; x <= c[0]+1; x++ {
		for y := c[1] - 1; y <= c[1]+1; y++ {
			for z := c[2] - 1; z <= c[2]+1; z++ {
				cube := [3]int64{x, y, z}
				k := g.slot(cube)
				for e := g.start[k]; e < g.start[k+1]; e++ {
					if g.cube[e] == cube {
						f(g.entry[e])
					}
				}
			}
		}
	}
}
