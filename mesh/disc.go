package mesh

import (
	"math"
	"unsafe"

	"github.com/golang/geo/r3"
)

// disc bounds what lies below a node by a flat cylinder: middle c, unit axis
// n, half thickness h and radius r, in mm. Sheet metal is nearly flat over any
// small patch, however the car is turned, so that a disc hugs it where a box
// along the axes can't.
type disc struct {
	cx, cy, cz, h float32
	nx, ny, nz, r float32
}

type discPair [2]disc

// box is a box along the axes, rounded outwards: at[0] lower, at[1] upper.
type box struct{ at [2][3]float32 }

type boxPair [2]box

// leafTri is a triangle as the search sees it: a frame whose origin f is the
// foot of the height upon the longest side, unit vectors e along that side and
// g along the height; h is the height and half the parts of the side right and
// left of the foot. The figure is then two right-angled triangles back to back.
// Lengths are whole steps of the block's scale, neither half is 0 without a
// height, and e and g are packed by packUnit: a third of the memory of floats,
// which is what a search over millions of triangles waits for.
type leafTri struct {
	e, g uint64
	f    [3]int16
	h    uint16
	half [2]uint16 // right, left
	id   int32
}

// leafBlock holds eight triangles relative to a point of their own, so that
// small numbers resolve them to a fraction of their size, not of the mesh's
// extent: few triangles but the closest are then worth a look in float64.
type leafBlock struct {
	cx, cy, cz float32 // the point, relative to the index's origin
	r          float32 // radius about it that holds all corners, rounded up
	scale      float32 // a step of lengths, mm
	n          int32   // triangles in use
	tri        [blockSize]leafTri
}

const (
	lengthSteps = 1<<15 - 1 // of a block's radius
	unitSteps   = 1<<20 - 1 // of 1 in the components of unit vectors
)

// packUnit packs a unit vector into three whole numbers of 21 bits.
func packUnit(v r3.Vector) uint64 {
	part := func(x float64) uint64 { return uint64(int64(math.Round(x*unitSteps))) & (1<<21 - 1) }
	return part(v.X)<<43 | part(v.Y)<<22 | part(v.Z)<<1
}

// unpack returns the vector, unitSteps long.
func unpack(w uint64) (x, y, z float32) {
	return float32(int64(w) >> 43), float32(int64(w<<21) >> 43), float32(int64(w<<42) >> 43)
}

const (
	discPairBytes  = int(unsafe.Sizeof(discPair{}))
	boxPairBytes   = int(unsafe.Sizeof(boxPair{}))
	leafBlockBytes = int(unsafe.Sizeof(leafBlock{}))
)

// distances returns a lower bound of the squared distance from p to anything
// in either disc. They may be negative.
//
// Both at once, and without the branches of abs and max, which no processor
// can predict here: that is three times as fast.
func (p *discPair) distances(px, py, pz float32) (float32, float32) {
	a, b := &p[0], &p[1]
	ax, ay, az := px-a.cx, py-a.cy, pz-a.cz
	bx, by, bz := px-b.cx, py-b.cy, pz-b.cz
	aa := ax*ax + ay*ay + az*az
	bb := bx*bx + by*by + bz*bz
	as := ax*a.nx + ay*a.ny + az*a.nz
	bs := bx*b.nx + by*b.ny + bz*b.nz
	ar := float32(math.Sqrt(float64(positive(aa - as*as))))
	br := float32(math.Sqrt(float64(positive(bb - bs*bs))))
	as = positive(abs(as) - a.h)
	bs = positive(abs(bs) - b.h)
	ar = positive(ar - a.r)
	br = positive(br - b.r)
	return as*as + ar*ar - squareError*aa, bs*bs + br*br - squareError*bb
}

func abs(x float32) float32 {
	return math.Float32frombits(math.Float32bits(x) &^ (1 << 31))
}

// positive is max(0, x) for any x that is not NaN.
func positive(x float32) float32 {
	i := int32(math.Float32bits(x))
	return math.Float32frombits(uint32(i &^ (i >> 31)))
}

// ball returns a ball that holds the disc.
func (d *disc) ball() (r3.Vector, float64) {
	r, h := float64(d.r), float64(d.h)
	return r3.Vector{X: float64(d.cx), Y: float64(d.cy), Z: float64(d.cz)}, math.Sqrt(r*r + h*h)
}

// distance returns the squared distance from p to the box.
func (b *box) distance(px, py, pz float32) float32 {
	// At most one of the two is positive, as min <= max.
	x := positive(b.at[0][0]-px) + positive(px-b.at[1][0])
	y := positive(b.at[0][1]-py) + positive(py-b.at[1][1])
	z := positive(b.at[0][2]-pz) + positive(pz-b.at[1][2])
	return x*x + y*y + z*z
}

func (p *boxPair) distances(px, py, pz float32) (float32, float32) {
	return p[0].distance(px, py, pz), p[1].distance(px, py, pz)
}

// blockError bounds, in units of the square of L = |p - c| + r, the rounding
// error of a squared distance from p to a triangle of the block beyond that of
// the whole steps of lengths, with u = unit:
//
//   - rounding p-c and turning it into steps moves p by 3 sqrt3 u L, the axes
//     are good to half a step of unitSteps in each component, 14u in all: a
//     squared distance of at most L^2 is off by 2 (3 sqrt3 + 2 x 14) u L^2 =
//     67u L^2;
//   - dd = |d|^2, d = p - origin of the frame, |d| <= L, is good to 5u dd; a
//     product e.d to (4+14)u |d| (by Cauchy-Schwarz over the components), its
//     square to 37u dd; so dd - u^2 - v^2 is good to 80u dd, and the squares that
//     make up the plane part, of lengths of at most L, to 20u L^2.
//
// Rounding lengths to steps moves the corners of the figure by less than two of
// them: half a step for each component of the foot, and for height and half, or
// a whole one for a half that stands in for nothing. That is 4 scale L + 4
// scale^2 of a squared distance; scale is far below L.
const blockError = 256 * unit

// doubleError is the float64 rounding of corners and queries, in units of a
// query's slack.
const doubleError = 1e-9

// farSteps is how many steps away a block is looked at as a ball. The squares
// of more could overflow.
const farSteps = 1e15

// distances puts the squared distance from p to every triangle of the block
// into d2, each good to within slop, and returns slop and the smallest.
//
// In the triangle's frame u runs along the longest side and v up the height.
// The angles at the ends of the longest side are acute, so that below it
// (v < 0) the side is closest, and otherwise only the half on p's own side of
// the height counts: a straight path into the other half would cross the
// height, which belongs to both. Below the side the distance splits into v and
// that of (u, 0), which leaves one case: a point with u, v >= 0 and the slanted
// side from (side, 0) to (0, h), seen from (side, 0) along it and outwards.
// Points inside have nothing of either. No branch depends on where p lies.
func (b *leafBlock) distances(q *query, d2 *[blockSize]float32) (slop, least float32) {
	px := float32(q.exact.X - float64(b.cx))
	py := float32(q.exact.Y - float64(b.cy))
	pz := float32(q.exact.Z - float64(b.cz))
	pp := px*px + py*py + pz*pz
	l := float32(math.Sqrt(float64(pp))) + b.r
	if !(l < farSteps*b.scale) {
		for i := range d2 {
			d2[i] = pp
		}
		return (4*b.r + blockError*l) * l, pp
	}
	slop = (5*b.scale+float32(q.slack)*doubleError+blockError*l)*l + minSquare
	least = math.MaxFloat32
	inv := 1 / b.scale
	px, py, pz = px*inv, py*inv, pz*inv
	for i := range b.tri[:b.n&(2*blockSize-1)] {
		t := &b.tri[i]
		x, y, z := px-float32(t.f[0]), py-float32(t.f[1]), pz-float32(t.f[2])
		ex, ey, ez := unpack(t.e)
		gx, gy, gz := unpack(t.g)
		dd := x*x + y*y + z*z
		u := (x*ex + y*ey + z*ez) * (1.0 / unitSteps)
		v := (x*gx + y*gy + z*gz) * (1.0 / unitSteps)
		d := dd - u*u - v*v
		side, h := float32(t.half[math.Float32bits(u)>>31]), float32(t.h)
		over, up, down := abs(u)-side, positive(v), positive(-v)
		ww := side*side + h*h
		along := up*h - over*side
		out := positive(over*h + up*side)
		before, after := positive(-along), positive(along-ww)
		d += down*down + (out*out+before*before+after*after)/ww
		d2[i&(blockSize-1)] = d
		if d < least {
			least = d
		}
	}
	ss := b.scale * b.scale
	for i := range d2 {
		d2[i] *= ss
	}
	return slop, max(0, least*ss)
}
