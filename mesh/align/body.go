package align

import (
	"math"
	"slices"

	"github.com/golang/geo/r3"

	"barwright/mesh"
	"barwright/mesh/internal/cloud"
)

// body is a scan as flat samples, made ready for the searches.
type body struct {
	fine, thin *cloud.Cloud
	centre     r3.Vector // of its extent along the scan's axes, scan mm
	size       float64   // diagonal of that extent, mm
	noise      float64   // median roughness of the samples, mm
	usable     []bool    // fine samples with a plane
}

// How a body is sampled. 20,000 samples of a car's cabin stand some 25 mm
// apart. Coarse meshes get fewer, one for two triangles, so that neighbours
// seldom share a triangle, and with it its noise. Searches start with a few.
const (
	samples   = 20_000
	fewest    = 8_000
	thinned   = 2_500
	outermost = 0.01 // share of the samples on either side that an extent leaves out
)

// newBody returns no body for a surface without area, or with less of it than
// planes can be fitted to.
func newBody(m *mesh.Mesh) *body {
	c := cloud.New(m.Vertices, m.Triangles, min(max(len(m.Triangles)/2, fewest), samples))
	b := &body{fine: c, usable: make([]bool, c.Len())}
	var rough []float64
	for i, r := range c.Rough {
		if !math.IsInf(r, 1) {
			b.usable[i] = true
			rough = append(rough, r)
		}
	}
	if 2*len(rough) < c.Len() || len(rough) == 0 {
		return nil
	}
	b.thin = c.Thin(c.Len() / thinned)
	lo, hi := b.box()
	b.centre, b.size = lo.Add(hi).Mul(0.5), hi.Sub(lo).Norm()
	b.noise = quantile(rough, 0.5)
	if b.size < distinct {
		return nil
	}
	return b
}

func (b *body) box() (lo, hi r3.Vector) {
	lo.X, hi.X = b.extent(r3.Vector{X: 1})
	lo.Y, hi.Y = b.extent(r3.Vector{Y: 1})
	lo.Z, hi.Z = b.extent(r3.Vector{Z: 1})
	return lo, hi
}

// extent returns how far the body reaches along a unit direction, its outermost
// samples left out, as heights over the scan's origin, mm.
func (b *body) extent(along r3.Vector) (from, to float64) {
	heights := make([]float64, b.fine.Len())
	for i, p := range b.fine.Points {
		heights[i] = along.Dot(p)
	}
	return quantile(heights, outermost), quantile(heights, 1-outermost)
}

// quantile sorts values and returns the one at share q of them, 0 to 1.
func quantile(values []float64, q float64) float64 {
	slices.Sort(values)
	return values[int(math.Round(q*float64(len(values)-1)))]
}

// blocks cuts a body into cubes and gives each one that is met a number.
type blocks struct {
	edge  float64
	index map[[3]int]int
}

// blockShare is the edge of a block over the body's size: 0.3 m on a cabin,
// panels and not samples.
const blockShare = 0.1

func (b *body) blocks() *blocks {
	return &blocks{edge: b.size * blockShare, index: map[[3]int]int{}}
}

// of returns the number of p's block; numbers count from 0 in the order asked.
func (k *blocks) of(p r3.Vector) int {
	cube := [3]int{int(math.Floor(p.X / k.edge)), int(math.Floor(p.Y / k.edge)), int(math.Floor(p.Z / k.edge))}
	n, ok := k.index[cube]
	if !ok {
		n = len(k.index)
		k.index[cube] = n
	}
	return n
}
