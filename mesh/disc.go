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

// leafTri is a triangle as the search sees it: a frame whose origin is the
// foot of the height upon the longest side, e along that side, g along the
// height h; half holds the parts of the side right and left of the foot. The
// figure is then two right-angled triangles back to back, and inv holds the
// inverse lengths of their slanted sides.
type leafTri struct {
	fx, fy, fz float32
	ex, ey, ez float32
	gx, gy, gz float32
	h          float32
	half, inv  [2]float32 // right, left
}

// leafBlock holds eight triangles relative to a point of their own, so that
// float32 resolves them to a millionth of their distance, not of the mesh's
// extent: few triangles but the closest are then worth a look in float64.
type leafBlock struct {
	cx, cy, cz float32  // the point, relative to the index's origin
	r          float32  // radius about it that holds all corners, rounded up
	n          int32    // triangles in use
	_          [3]int32 // 512 bytes
	id         [blockSize]int32
	tri        [blockSize]leafTri
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
// error of a squared distance from p to a triangle of the block, u = unit:
//
//   - rounding p-c (sqrt3 u L), a frame's origin (sqrt3 u r), its axes (2 sqrt3
//     u times sides of at most 2r) and its sides (3u times 2r) moves things by
//     less than 12u L, and a squared distance of at most L^2 by 25u L^2;
//   - dd = |d|^2, d = p - origin of the frame, |d| <= L, is good to 5u dd; a
//     product e.d to 4u |d| (by Cauchy-Schwarz over the components), its square
//     to 9u dd; so dd - u^2 - v^2 is good to 25u dd, and the squares that make
//     up the plane part, of lengths of at most L, to 20u L^2.
const blockError = 128 * unit

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
	l := float32(math.Sqrt(float64(px*px+py*py+pz*pz))) + b.r
	slop = blockError * l * l
	least = math.MaxFloat32
	for i := range b.tri[:b.n&(2*blockSize-1)] {
		t := &b.tri[i]
		x, y, z := px-t.fx, py-t.fy, pz-t.fz
		dd := x*x + y*y + z*z
		u := x*t.ex + y*t.ey + z*t.ez
		v := x*t.gx + y*t.gy + z*t.gz
		d := dd - u*u - v*v
		hand := math.Float32bits(u) >> 31
		side, inv := t.half[hand], t.inv[hand]
		over, up, down := abs(u)-side, positive(v), positive(-v)
		out := positive((over*t.h + up*side) * inv)
		along := (up*t.h - over*side) * inv
		before, after := positive(-along), positive(along-(side*side+t.h*t.h)*inv)
		d += down*down + out*out + before*before + after*after
		d2[i] = d
		if d < least {
			least = d
		}
	}
	return slop, max(0, least)
}
