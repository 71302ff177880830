package check

import (
	"errors"
	"fmt"
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/mesh"
)

// solid is a keep-out: its surface, and which points are clear of it.
type solid struct {
	name    string
	surface fit.Surface
	clear   func(p r3.Vector) bool
}

// newSolid makes a solid of the job's keep-out; meshes are by file name.
func newSolid(k *job.Keepout, meshes map[string]*mesh.Mesh) (solid, error) {
	s := solid{name: k.Name}
	switch {
	case k.Sphere != nil:
		c := round{k.Sphere.Centre, k.Sphere.Centre, k.Sphere.Radius}
		s.surface, s.clear = c, c.clear
	case k.Capsule != nil:
		c := round{k.Capsule.From, k.Capsule.To, k.Capsule.Radius}
		s.surface, s.clear = c, c.clear
	case k.Box != nil:
		b := block(*k.Box)
		s.surface, s.clear = b, b.clear
	case k.Mesh != "":
		m := meshes[k.Mesh]
		if m == nil || len(m.Triangles) == 0 {
			return s, fmt.Errorf("its mesh %q is not there", k.Mesh)
		}
		b := body{mesh.NewIndex(m)}
		s.surface, s.clear = b, b.clear
	default:
		return s, errors.New("it has no shape")
	}
	return s, nil
}

// round is the surface of all points at a radius from the line from a to b: a
// capsule, or a sphere if the two are one.
type round struct {
	a, b   r3.Vector
	radius float64
}

// core returns the closest point of the line from a to b.
func (c round) core(p r3.Vector) r3.Vector {
	d := c.b.Sub(c.a)
	t := 0.0
	if n := d.Norm2(); n > 0 {
		t = min(max(p.Sub(c.a).Dot(d)/n, 0), 1)
	}
	return c.a.Add(d.Mul(t))
}

// ClosestFrom implements fit.Surface.
func (c round) ClosestFrom(p r3.Vector, _ int32) mesh.Hit {
	q := c.core(p)
	out := p.Sub(q)
	if out.Norm2() == 0 { // on the core: every direction across it will do
		out = r3.Vector{Z: 1}
		if d := c.b.Sub(c.a); d.Norm2() > 0 {
			out = d.Ortho()
		}
	}
	hit := q.Add(out.Mul(c.radius / out.Norm()))
	return mesh.Hit{Point: hit, Distance: p.Sub(hit).Norm()}
}

func (c round) clear(p r3.Vector) bool { return p.Sub(c.core(p)).Norm() >= c.radius }

// block is the surface of a box.
type block job.Box

// ClosestFrom implements fit.Surface.
func (b block) ClosestFrom(p r3.Vector, _ int32) mesh.Hit {
	q := r3.Vector{
		X: min(max(p.X, b.Min.X), b.Max.X),
		Y: min(max(p.Y, b.Min.Y), b.Max.Y),
		Z: min(max(p.Z, b.Min.Z), b.Max.Z),
	}
	if q == p { // inside: the nearest of six faces
		faces := [6]r3.Vector{
			{X: b.Min.X, Y: p.Y, Z: p.Z}, {X: b.Max.X, Y: p.Y, Z: p.Z},
			{X: p.X, Y: b.Min.Y, Z: p.Z}, {X: p.X, Y: b.Max.Y, Z: p.Z},
			{X: p.X, Y: p.Y, Z: b.Min.Z}, {X: p.X, Y: p.Y, Z: b.Max.Z},
		}
		least := math.Inf(1)
		for _, f := range faces {
			if d := p.Sub(f).Norm(); d < least {
				q, least = f, d
			}
		}
	}
	return mesh.Hit{Point: q, Distance: p.Sub(q).Norm()}
}

func (b block) clear(p r3.Vector) bool {
	return p.X <= b.Min.X || p.X >= b.Max.X || p.Y <= b.Min.Y || p.Y >= b.Max.Y || p.Z <= b.Min.Z || p.Z >= b.Max.Z
}

// body is a closed mesh; a point is in it if most of three rays leave it an odd
// number of times.
type body struct{ *mesh.Index }

func (b body) clear(p r3.Vector) bool {
	in := 0
	for _, dir := range [3]r3.Vector{{X: 0.3127, Y: 0.4931, Z: 0.8118}, {X: -0.7373, Y: 0.2579, Z: 0.6243}, {X: 0.1183, Y: -0.8971, Z: 0.4257}} {
		odd := false
		b.RayAll(p, dir, math.Inf(1), func(mesh.RayHit) bool {
			odd = !odd
			return true
		})
		if odd {
			in++
		}
	}
	return in < 2
}
