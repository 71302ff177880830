package mesh

import (
	"errors"
	"fmt"
	"math"

	"github.com/golang/geo/r3"
)

// Region is a part of space. Exactly one shape is set.
type Region struct {
	Name   string // for messages
	Box    *Box
	Sphere *Sphere
}

// Sphere is a ball in mm.
type Sphere struct {
	Centre r3.Vector
	Radius float64
}

// Validate reports a region that is no region.
func (r Region) Validate() error {
	switch {
	case (r.Box == nil) == (r.Sphere == nil):
		return fmt.Errorf("region %q must be either a box or a sphere", r.Name)
	case r.Box != nil:
		b := r.Box
		if !finiteVector(b.Min) || !finiteVector(b.Max) || b.Min.X > b.Max.X || b.Min.Y > b.Max.Y || b.Min.Z > b.Max.Z {
			return fmt.Errorf("region %q: the box from %s to %s has nothing in it", r.Name, placeText(b.Min), placeText(b.Max))
		}
	case !finiteVector(r.Sphere.Centre) || !(r.Sphere.Radius > 0) || math.IsInf(r.Sphere.Radius, 1):
		return fmt.Errorf("region %q: the sphere of %v mm radius has nothing in it", r.Name, r.Sphere.Radius)
	}
	return nil
}

// Holds tells whether p (mm) is in the region; its surface belongs to it. A
// region that does not validate holds nothing in particular.
func (r Region) Holds(p r3.Vector) bool {
	if r.Box != nil {
		return r.Box.holds(p)
	}
	return r.Sphere != nil && p.Sub(r.Sphere.Centre).Norm() <= r.Sphere.Radius
}

// CutCount tells what a region of [Cut] took away.
type CutCount struct {
	Removed int     // triangles
	Area    float64 // of those, mm2
	Across  int     // triangles that the region left, with some but not all of their corners in it
}

// Cut returns m without the triangles that lie wholly in one of the regions,
// and for each region what that was. A triangle with all three corners in one
// region lies in it as a whole, for regions are convex; it counts for the first
// region that holds it. Triangles across a region's border stay as they are, so
// that nothing outside goes: where the rest of a seat would stand out, take the
// region a little larger. m is left alone; where nothing is removed, it is
// returned itself. Vertices that no triangle needs any more go, the others keep
// their order. That nothing at all is left is an error.
func Cut(m *Mesh, regions []Region) (*Mesh, []CutCount, error) {
	for _, r := range regions {
		if err := r.Validate(); err != nil {
			return nil, nil, err
		}
	}
	counts := make([]CutCount, len(regions))
	gone := make([]bool, len(m.Triangles))
	removed := 0
	for i, r := range regions {
		in := make([]bool, len(m.Vertices))
		some := false
		for v, p := range m.Vertices {
			in[v] = r.Holds(p)
			some = some || in[v]
		}
		if !some {
			continue
		}
		for t, tri := range m.Triangles {
			if gone[t] || !in[tri[0]] && !in[tri[1]] && !in[tri[2]] {
				continue
			}
			if !in[tri[0]] || !in[tri[1]] || !in[tri[2]] {
				counts[i].Across++
				continue
			}
			a, b, c := m.Corners(t)
			counts[i].Removed++
			counts[i].Area += b.Sub(a).Cross(c.Sub(a)).Norm() / 2
			gone[t] = true
			removed++
		}
	}
	if removed == 0 {
		return m, counts, nil
	}
	if removed == len(m.Triangles) {
		return nil, counts, errors.New("the cuts leave nothing of the shell")
	}
	out := &Mesh{Vertices: append([]r3.Vector(nil), m.Vertices...), Triangles: make([][3]int32, 0, len(m.Triangles)-removed)}
	for t, tri := range m.Triangles {
		if !gone[t] {
			out.Triangles = append(out.Triangles, tri)
		}
	}
	dropUnused(out)
	return out, counts, nil
}
