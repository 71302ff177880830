package mesh

import (
	"math"

	"github.com/golang/geo/r3"
)

// localFit is a smooth surface through a few points: over a frame u, v, n at
// origin, the height along n is coef . (1, u, v, u2, uv, v2), all lengths in
// units of scale.
type localFit struct {
	origin, u, v, n r3.Vector
	scale           float64
	coef            [6]float64
}

// planeFit fits a plane to the points that use lets through, in the sense of
// least squares. false: they do not span one.
func planeFit(points []r3.Vector, use []bool) (localFit, bool) {
	var f localFit
	count := 0
	for i, p := range points {
		if use[i] {
			f.origin = f.origin.Add(p)
			count++
		}
	}
	if count < 3 {
		return f, false
	}
	f.origin = f.origin.Mul(1 / float64(count))
	var s [3][3]float64
	for i, p := range points {
		if !use[i] {
			continue
		}
		d := p.Sub(f.origin)
		e := [3]float64{d.X, d.Y, d.Z}
		for r := range e {
			for c := range e {
				s[r][c] += e[r] * e[c]
			}
		}
	}
	values, vectors := eigen3(s)
	f.scale = math.Sqrt(values[2] / float64(count))
	if !(values[1] > 1e-6*values[2]) {
		return f, false // all on a line
	}
	f.n, f.v, f.u = vectors[0], vectors[1], vectors[2]
	return f, true
}

// bend fits the six coefficients to the points that use lets through, in f's
// frame. false: they do not settle them.
func (f *localFit) bend(points []r3.Vector, use []bool) bool {
	var a [6][7]float64
	for i, p := range points {
		if !use[i] {
			continue
		}
		b, h := f.terms(p)
		for r := range b {
			for c := range b {
				a[r][c] += b[r] * b[c]
			}
			a[r][6] += b[r] * h
		}
	}
	return solve6(&a, &f.coef)
}

// terms returns the values that the coefficients of f multiply at p, and p's
// height over the frame, in units of scale.
func (f *localFit) terms(p r3.Vector) (b [6]float64, h float64) {
	d := p.Sub(f.origin)
	u, v := d.Dot(f.u)/f.scale, d.Dot(f.v)/f.scale
	return [6]float64{1, u, v, u * u, u * v, v * v}, d.Dot(f.n) / f.scale
}

// off returns how far p lies over f along its n, mm.
func (f *localFit) off(p r3.Vector) float64 {
	b, h := f.terms(p)
	for i, c := range f.coef {
		h -= c * b[i]
	}
	return h * f.scale
}

// eigen3 returns the eigenvalues of a symmetric matrix, rising, and unit
// eigenvectors, by cyclic Jacobi rotations.
func eigen3(a [3][3]float64) (values [3]float64, vectors [3]r3.Vector) {
	v := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for range 12 { // converges quadratically; 12 sweeps are ample
		if a[0][1] == 0 && a[0][2] == 0 && a[1][2] == 0 {
			break
		}
		for _, pq := range [3][2]int{{0, 1}, {0, 2}, {1, 2}} {
			p, q := pq[0], pq[1]
			if a[p][q] == 0 {
				continue
			}
			theta := (a[q][q] - a[p][p]) / (2 * a[p][q])
			t := 1 / (math.Abs(theta) + math.Hypot(1, theta))
			if theta < 0 {
				t = -t
			}
			c := 1 / math.Hypot(1, t)
			s := t * c
			for k := range 3 {
				a[k][p], a[k][q] = c*a[k][p]-s*a[k][q], s*a[k][p]+c*a[k][q]
			}
			for k := range 3 {
				a[p][k], a[q][k] = c*a[p][k]-s*a[q][k], s*a[p][k]+c*a[q][k]
				v[k][p], v[k][q] = c*v[k][p]-s*v[k][q], s*v[k][p]+c*v[k][q]
			}
			a[p][q], a[q][p] = 0, 0
		}
	}
	order := [3]int{0, 1, 2}
	for i := range order {
		for j := i + 1; j < 3; j++ {
			if a[order[j]][order[j]] < a[order[i]][order[i]] {
				order[i], order[j] = order[j], order[i]
			}
		}
	}
	for i, k := range order {
		values[i] = max(0, a[k][k])
		vectors[i] = r3.Vector{X: v[0][k], Y: v[1][k], Z: v[2][k]}.Normalize()
	}
	return values, vectors
}

// solve6 solves the linear system a, its right side in the last column, by
// elimination with row exchange. false: it has no clear solution.
func solve6(a *[6][7]float64, x *[6]float64) bool {
	for c := range 6 {
		best := c
		for r := c + 1; r < 6; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[best][c]) {
				best = r
			}
		}
		if !(math.Abs(a[best][c]) > 1e-9) { // entries are of order one: lengths are scaled
			return false
		}
		a[c], a[best] = a[best], a[c]
		for r := c + 1; r < 6; r++ {
			k := a[r][c] / a[c][c]
			for j := c; j < 7; j++ {
				a[r][j] -= k * a[c][j]
			}
		}
	}
	for c := 5; c >= 0; c-- {
		x[c] = a[c][6]
		for j := c + 1; j < 6; j++ {
			x[c] -= a[c][j] * x[j]
		}
		x[c] /= a[c][c]
	}
	return true
}
