package mesh

import "github.com/golang/geo/r3"

// closestOnTriangle returns the point of triangle abc closest to p.
//
// Every point it weighs lies in the triangle (a convex combination of its
// corners), so that a badly conditioned solution can't make it too close; the
// foot on the plane is joined by the feet on the three sides unless it lies
// well inside a triangle of sound shape. For a sliver the sides alone are
// right to within its height, which is where the foot's own error stops
// mattering. Triangles without area are handled by their sides.
func closestOnTriangle(p, a, b, c r3.Vector) r3.Vector {
	const (
		// A foot this far inside, in barycentric terms, of a triangle with
		// sin of its angle at a above 1e-4: the rounding error of the
		// coordinates, 1e-15 |p-a| / height, is below the margin for any p
		// within 1e6 times the triangle's size.
		inside = 1e-5
		sound  = 1e-8
	)
	ab, ac, ap := b.Sub(a), c.Sub(a), p.Sub(a)
	n := ab.Cross(ac)
	nn, bb, cc := n.Norm2(), ab.Norm2(), ac.Norm2()
	v := ap.Cross(ac).Dot(n)
	w := ab.Cross(ap).Dot(n)
	foot := a
	if nn > 0 && v >= 0 && w >= 0 && v+w <= nn {
		v, w = v/nn, w/nn
		foot = r3.Vector{
			X: a.X + v*ab.X + w*ac.X,
			Y: a.Y + v*ab.Y + w*ac.Y,
			Z: a.Z + v*ab.Z + w*ac.Z,
		}
		if min(v, w, 1-v-w) > inside && nn > sound*bb*cc {
			return foot
		}
	}
	best, d := foot, foot.Sub(p).Norm2()
	for _, q := range [3]r3.Vector{
		closestOnSegment(p, a, b), closestOnSegment(p, b, c), closestOnSegment(p, c, a),
	} {
		if e := q.Sub(p).Norm2(); e < d {
			best, d = q, e
		}
	}
	return best
}

// closestOnSegment returns the point of segment ab closest to p.
func closestOnSegment(p, a, b r3.Vector) r3.Vector {
	return segmentPoint(a, b, segmentParam(p, a, b))
}

// segmentParam returns the place, 0 at a and 1 at b, of the point of segment
// ab closest to p.
func segmentParam(p, a, b r3.Vector) float64 {
	ab := b.Sub(a)
	num, den := p.Sub(a).Dot(ab), ab.Norm2()
	switch {
	case !(num > 0):
		return 0
	case num >= den:
		return 1
	}
	return num / den
}

// segmentPoint returns the point of segment ab at t, the ends exactly.
func segmentPoint(a, b r3.Vector, t float64) r3.Vector {
	if t == 1 {
		return b
	}
	return a.Add(b.Sub(a).Mul(t))
}
