package fit

import (
	"math"
	"sort"

	"github.com/golang/geo/r3"

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
	// beside is how far outside the cabin a sketched foot may be for its leg to
	// be moved in, mm.
	beside = 200
	// cleanNoise is the noise below which a scan counts as clean, mm: a foot
	// then stands on the surface itself, not on a plane through its
	// neighbourhood.
	cleanNoise = 0.2
	// noiseSigmas is how many sigmas of the scan's noise a foot zone is let off.
	noiseSigmas = 3
)

// land returns the plane where the line through at along the unit vector dir
// enters the shell from the cabin: a robust one over the tube's face, so that a
// single bad triangle cannot tilt it.
func (l *lander) land(at, dir r3.Vector) plane {
	for _, back := range [6]float64{40, 100, 200, 300, 450, 600} {
		from := at.Sub(dir.Mul(back))
		if !l.shell.Inside(from) {
			// Beside the cabin: start from the air next to it.
			d, towards := l.shell.ReachDistance(from)
			if d > beside || towards.Norm2() == 0 {
				continue
			}
			from = from.Add(towards.Mul(d + 60))
			if !l.shell.Inside(from) {
				continue
			}
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
	a, b, c := l.mesh.Corners(int(centre.Triangle))
	pl := plane{at: centre.Point, local: b.Sub(a).Cross(c.Sub(a)).Normalize(), ok: true}
	if local, ok := footprint(l.index, pl.at, dir, l.tube); ok {
		pl.normal = local.normal
		if l.shell.Noise >= cleanNoise {
			// On a noisy scan the foot stands on the plane, not on the surface itself.
			pl.at = pl.at.Add(dir.Mul(local.depth))
			pl.local = pl.normal
		}
	} else {
		pl.normal = pl.local
	}
	if pl.normal.Dot(dir) > 0 {
		pl.normal = pl.normal.Mul(-1)
	}
	if pl.local.Dot(dir) > 0 {
		pl.local = pl.local.Mul(-1)
	}
	if pl.local.Dot(pl.normal) < 0.5 { // a sliver on a crease
		pl.local = pl.normal
	}
	pl.ok = pl.normal.Norm2() > 0.5
	return pl
}

// footPlane is the shell under a tube's face, as a plane.
type footPlane struct {
	normal r3.Vector // unit, against the axis
	depth  float64   // from the point asked about to the plane along the axis, mm
}

// footprint looks at the shell around a point of it with 13 rays along the
// unit vector axis, over the section of a tube, and fits a plane that outliers
// do not move, nor the other side of a crease: the plane through three hits
// whose median residual is least, then the least squares plane of the hits near
// it. ok is false when the rays mostly miss.
func footprint(ix *mesh.Index, at, axis r3.Vector, radius float64) (footPlane, bool) {
	e0 := axis.Ortho()
	e1 := axis.Cross(e0)
	// A surface that leans 30 degrees to the axis is within 1.8 radii of the
	// point along it.
	back := 3 * radius
	type point struct{ u, v, t float64 }
	var hits []point
	for i := range 13 {
		var u, v float64
		if i > 0 {
			sin, cos := math.Sincos(float64(i) * math.Pi / 6)
			rho := radius
			if i%2 == 0 {
				rho = radius / 2
			}
			u, v = rho*cos, rho*sin
		}
		from := at.Add(e0.Mul(u)).Add(e1.Mul(v)).Sub(axis.Mul(back))
		if h, ok := ix.Ray(from, axis, 2*back); ok {
			hits = append(hits, point{u, v, h.T - back})
		}
	}
	if len(hits) < 7 {
		return footPlane{}, false
	}

	// t = p[0] + p[1] u + p[2] v through three hits.
	through := func(a, b, c point) (p [3]float64, ok bool) {
		det := (b.u-a.u)*(c.v-a.v) - (c.u-a.u)*(b.v-a.v)
		if math.Abs(det) < 1e-3*radius*radius { // all but in line
			return p, false
		}
		p[1] = ((b.t-a.t)*(c.v-a.v) - (c.t-a.t)*(b.v-a.v)) / det
		p[2] = ((b.u-a.u)*(c.t-a.t) - (c.u-a.u)*(b.t-a.t)) / det
		p[0] = a.t - p[1]*a.u - p[2]*a.v
		return p, true
	}
	off := func(p [3]float64, h point) float64 { return math.Abs(h.t - p[0] - p[1]*h.u - p[2]*h.v) }
	var best [3]float64
	least := math.Inf(1)
	residuals := make([]float64, len(hits))
	for i := range hits {
		for j := i + 1; j < len(hits); j++ {
			for k := j + 1; k < len(hits); k++ {
				p, ok := through(hits[i], hits[j], hits[k])
				if !ok {
					continue
				}
				for n, h := range hits {
					residuals[n] = off(p, h)
				}
				sort.Float64s(residuals)
				if m := residuals[len(residuals)/2]; m < least {
					least, best = m, p
				}
			}
		}
	}
	if math.IsInf(least, 1) {
		return footPlane{}, false
	}
	// 1.4826 turns a median into a sigma for normal noise; 2.5 sigmas are kept.
	keep := 2.5*1.4826*least + 1e-6
	var n, su, sv, st, uu, uv, vv, ut, vt float64
	for _, h := range hits {
		if off(best, h) > keep {
			continue
		}
		n, su, sv, st = n+1, su+h.u, sv+h.v, st+h.t
		uu, uv, vv = uu+h.u*h.u, uv+h.u*h.v, vv+h.v*h.v
		ut, vt = ut+h.u*h.t, vt+h.v*h.t
	}
	uu, uv, vv = uu-su*su/n, uv-su*sv/n, vv-sv*sv/n
	ut, vt = ut-su*st/n, vt-sv*st/n
	if det := uu*vv - uv*uv; det > 1e-6*math.Pow(radius, 4) {
		b, c := (ut*vv-vt*uv)/det, (vt*uu-ut*uv)/det
		best = [3]float64{(st - b*su - c*sv) / n, b, c}
	}
	return footPlane{normal: e0.Mul(best[1]).Add(e1.Mul(best[2])).Sub(axis).Normalize(), depth: best[0]}, true
}
