package fit

import (
	"math"
	"sort"

	"github.com/golang/geo/r3"
	"gonum.org/v1/gonum/stat"

	"barwright/mesh"
)

// lander finds where lines meet a shell.
type lander struct {
	shell *mesh.Shell
	mesh  *mesh.Mesh // the one behind index
	index *mesh.Index
	tube  float64 // outer radius, mm
}

const (
	// cleanNoise is the noise below which a scan counts as clean, mm: a foot
	// then stands on the surface itself, not on a plane through its
	// neighbourhood.
	cleanNoise = 0.2
	// noiseSigmas is how many sigmas of the scan's noise a foot zone is let off.
	noiseSigmas = 3
)

// land returns the plane where the line through at along the unit vector dir
// enters the shell from the cabin. Thirteen rays over the tube's face give the
// plane, so that a single bad triangle cannot tilt it.
func (l *lander) land(at, dir r3.Vector) plane {
	for _, back := range [6]float64{40, 100, 200, 300, 450, 600} {
		from := at.Sub(dir.Mul(back))
		if !l.shell.Inside(from) {
			continue
		}
		if pl := l.cast(from, dir, back+600); pl.ok {
			return pl
		}
	}
	return plane{}
}

func (l *lander) cast(from, dir r3.Vector, reach float64) plane {
	centre, ok := l.index.Ray(from, dir, reach)
	if !ok {
		return plane{}
	}
	e1 := dir.Ortho()
	e2 := dir.Cross(e1)
	points := []r3.Vector{centre.Point}
	for ring := 1; ring <= 2; ring++ {
		radius := l.tube * float64(ring) / 2
		for k := range 6 {
			s, c := math.Sincos(float64(k)*math.Pi/3 + float64(ring-1)*math.Pi/6)
			o := from.Add(e1.Mul(radius * c)).Add(e2.Mul(radius * s))
			// A neighbour that meets something else much nearer or further does
			// not belong to this surface.
			if hit, ok := l.index.Ray(o, dir, reach); ok && math.Abs(hit.T-centre.T) < 4*l.tube {
				points = append(points, hit.Point)
			}
		}
	}
	normal, at, ok := robustPlane(points)
	if !ok {
		a, b, c := l.mesh.Corners(int(centre.Triangle))
		normal = b.Sub(a).Cross(c.Sub(a)).Normalize()
		at = centre.Point
	}
	if normal.Dot(dir) > 0 {
		normal = normal.Mul(-1)
	}
	slope := normal.Dot(dir)
	if l.shell.Noise < cleanNoise || slope > -0.05 {
		at = centre.Point // the foot stands on the surface itself
	} else {
		// Where the centre line meets the plane.
		at = from.Add(dir.Mul(at.Sub(from).Dot(normal) / slope))
	}
	return plane{at: at, normal: normal, ok: normal.Norm2() > 0.5}
}

// robustPlane fits a plane to points, twice leaving out those further off than
// three times the median, and returns its normal and the points' centre.
func robustPlane(points []r3.Vector) (normal, at r3.Vector, ok bool) {
	used := points
	for range 3 {
		if len(used) < 4 {
			return normal, at, false
		}
		at = centroid(used)
		normal = planeNormal(used, at)
		off := make([]float64, len(points))
		for i, p := range points {
			off[i] = math.Abs(p.Sub(at).Dot(normal))
		}
		sorted := append([]float64(nil), off...)
		sort.Float64s(sorted)
		limit := math.Max(0.05, 3*stat.Quantile(0.5, stat.Empirical, sorted, nil))
		used = nil
		for i, p := range points {
			if off[i] <= limit {
				used = append(used, p)
			}
		}
	}
	return normal, at, true
}
