package mesh

import (
	"math"
	"slices"

	"github.com/golang/geo/r3"

	"barwright/mesh/internal/cloud"
)

// LeftRight says how the two sides of a body differ.
type LeftRight struct {
	Median, P95 float64   // mm: how far one side lies off the mirror image of the other, by area
	Worst       float64   // mm: the same at the median of the patch, 150 mm across, that is worst
	At          r3.Vector // the middle of that patch, mm, on the side of the larger figure
	Alone       float64   // share of the surface, 0 to 1, without a counterpart; not in the figures above
	Samples     int       // places compared; 0: none have a counterpart, the figures mean nothing
}

// Figures of Asymmetry. Common practice, no source.
const (
	mirrorSamples = 20_000
	mirrorReach   = 60.0  // mm: what is further off is another part, not the same one bent
	mirrorPatch   = 150.0 // mm, edge of the cubes that patches are cut by
	mirrorFew     = 8     // samples: fewer are not judged
	mirrorPart    = 0.25  // nor patches of which less than this is there, as along the rim of a hole
)

// Asymmetry compares a body in car axes with its mirror image in y = 0. Samples
// drawn by area, the same ones for the same mesh, are mirrored and their
// distance taken to the surface; ix is an index of m, nil builds one. Where
// nothing lies within 60 mm of the image, or what does lies beside and not
// before or behind it, as at the rim of a hole, the place counts as alone. On a
// noisy scan the figures hold the noise of the surface too.
func Asymmetry(m *Mesh, ix *Index) LeftRight {
	c := cloud.New(m.Vertices, m.Triangles, mirrorSamples)
	if c.Len() == 0 {
		return LeftRight{}
	}
	if ix == nil {
		ix = NewIndex(m)
	}
	flip := func(v r3.Vector) r3.Vector { return r3.Vector{X: v.X, Y: -v.Y, Z: v.Z} }

	type patch struct {
		off    []float64
		middle r3.Vector
	}
	var patches []patch
	number := map[[3]int]int{}
	var off []float64
	for i, p := range c.Drawn {
		hit, ok := ix.ClosestWithin(flip(p), mirrorReach)
		if !ok || beside(hit.Point.Sub(flip(p)), flip(c.Normals[i]), c.Rough[i]) {
			continue
		}
		off = append(off, hit.Distance)
		cube := [3]int{
			int(math.Floor(p.X / mirrorPatch)),
			int(math.Floor(p.Y / mirrorPatch)),
			int(math.Floor(p.Z / mirrorPatch)),
		}
		k, ok := number[cube]
		if !ok {
			k = len(patches)
			number[cube] = k
			patches = append(patches, patch{})
		}
		patches[k].off = append(patches[k].off, hit.Distance)
		patches[k].middle = patches[k].middle.Add(p)
	}
	a := LeftRight{Samples: len(off), Alone: 1 - float64(len(off))/float64(c.Len())}
	if len(off) == 0 {
		return a
	}
	at := func(v []float64, q float64) float64 {
		slices.Sort(v)
		return v[int(math.Round(q*float64(len(v)-1)))]
	}
	a.Median, a.P95 = at(off, 0.5), at(off, 0.95)
	few := max(mirrorFew, int(mirrorPart*mirrorPatch*mirrorPatch/c.Area))
	for _, p := range patches {
		if len(p.off) < few {
			continue
		}
		if d := at(p.off, 0.5); d > a.Worst {
			a.Worst, a.At = d, p.middle.Mul(1/float64(len(p.off)))
		}
	}
	return a
}

// beside tells whether what lies at d from a place is rather along the surface
// there, whose normal is n, than along n. Within the surface's roughness there
// is no telling.
func beside(d, n r3.Vector, rough float64) bool {
	const (
		steep = 0.7 // cosine of 45 degrees
		clear = 3.0 // mm
	)
	length := d.Norm()
	return length > clear+2*rough && math.Abs(d.Dot(n)) < steep*length
}
