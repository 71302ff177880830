package mesh

import (
	"context"
	"math"
	"math/bits"

	"github.com/golang/geo/r3"
)

// Figures of the reachable set, from the feasibility study.
const (
	voxelSize = 20.0 // mm
	ballSize  = 20.0 // radius of the ball that looks where air leads, mm
)

const (
	// voxelMargin is how far the voxels reach beyond the mesh, in voxels: far
	// enough that a ball may pass around it, so that air which leaks out is
	// seen to reach the border.
	voxelMargin = 3
	// maxVoxels keeps a stray bit of scan far off from filling the memory.
	maxVoxels = 60_000_000
)

// voxels is a grid of cubes of voxelSize. Voxel (i, j, k) has number
// i + n[0] (j + n[1] k) and its low corner at origin + voxelSize (i, j, k).
type voxels struct {
	origin r3.Vector
	n      [3]int32
}

// newVoxels returns the grid around box. A box too large is cut to the same
// distance on all sides of middle.
func newVoxels(box Box, middle r3.Vector) voxels {
	limit := voxelSize * math.Cbrt(maxVoxels) / 2
	clip := func(x, mid float64) float64 { return min(max(x, mid-limit), mid+limit) }
	box.Min = r3.Vector{X: clip(box.Min.X, middle.X), Y: clip(box.Min.Y, middle.Y), Z: clip(box.Min.Z, middle.Z)}
	box.Max = r3.Vector{X: clip(box.Max.X, middle.X), Y: clip(box.Max.Y, middle.Y), Z: clip(box.Max.Z, middle.Z)}
	margin := r3.Vector{X: 1, Y: 1, Z: 1}.Mul(voxelMargin * voxelSize)
	size := box.Size()
	count := func(length float64) int32 { return int32(math.Ceil(length/voxelSize)) + 2*voxelMargin }
	return voxels{box.Min.Sub(margin), [3]int32{count(size.X), count(size.Y), count(size.Z)}}
}

func (g *voxels) count() int { return int(g.n[0]) * int(g.n[1]) * int(g.n[2]) }

func (g *voxels) number(c [3]int32) int32 { return c[0] + g.n[0]*(c[1]+g.n[1]*c[2]) }

func (g *voxels) cell(v int32) [3]int32 {
	return [3]int32{v % g.n[0], v / g.n[0] % g.n[1], v / g.n[0] / g.n[1]}
}

// at returns the voxel that holds p, or the nearest one of the grid.
func (g *voxels) at(p r3.Vector) [3]int32 {
	d := p.Sub(g.origin).Mul(1 / voxelSize)
	clamp := func(x float64, n int32) int32 { return int32(min(max(x, 0), float64(n-1))) }
	return [3]int32{clamp(d.X, g.n[0]), clamp(d.Y, g.n[1]), clamp(d.Z, g.n[2])}
}

func (g *voxels) centre(c [3]int32) r3.Vector {
	return g.origin.Add(r3.Vector{X: float64(c[0]) + 0.5, Y: float64(c[1]) + 0.5, Z: float64(c[2]) + 0.5}.Mul(voxelSize))
}

// bitset is a set of voxels.
type bitset []uint64

func newBitset(n int) bitset      { return make(bitset, (n+63)/64) }
func (b bitset) has(i int32) bool { return b[i>>6]>>(i&63)&1 != 0 }
func (b bitset) set(i int32)      { b[i>>6] |= 1 << (i & 63) }
func (g *voxels) inner(c [3]int32) bool {
	for a, x := range c {
		if x <= 0 || x >= g.n[a]-1 {
			return false
		}
	}
	return true
}

// block adds to blocked the voxels whose centre is closer than ballSize to m,
// whose index is ix.
func (g *voxels) block(blocked bitset, m *Mesh, ix *Index, workers int) {
	// Voxels that a triangle may touch. A centre closer than ballSize =
	// voxelSize to it lies in one of them or next to one.
	touched := newBitset(g.count())
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		lo, hi := g.at(a), g.at(a)
		for _, p := range [2]r3.Vector{b, c} {
			q := g.at(p)
			for k := range q {
				lo[k], hi[k] = min(lo[k], q[k]), max(hi[k], q[k])
			}
		}
		small := hi[0]-lo[0] <= 1 && hi[1]-lo[1] <= 1 && hi[2]-lo[2] <= 1
		n := b.Sub(a).Cross(c.Sub(a)).Normalize()
		for z := lo[2]; z <= hi[2]; z++ {
			for y := lo[1]; y <= hi[1]; y++ {
				for x := lo[0]; x <= hi[0]; x++ {
					v := [3]int32{x, y, z}
					// A large triangle touches few of the voxels in its box:
					// those its plane passes. Border voxels stand for all that
					// lies beyond them.
					if !small && g.inner(v) {
						d := math.Abs(g.centre(v).Sub(a).Dot(n))
						if d > voxelSize/2*(math.Abs(n.X)+math.Abs(n.Y)+math.Abs(n.Z))*(1+1e-9) {
							continue
						}
					}
					touched.set(g.number(v))
				}
			}
		}
	}
	near := g.grown(touched)
	// Words of the set belong to one goroutine each.
	spread(workers, len(near), 64, func(lo, hi int) {
		for w := lo; w < hi; w++ {
			for b := near[w] &^ blocked[w]; b != 0; b &= b - 1 {
				v := int32(w)<<6 + int32(bits.TrailingZeros64(b))
				if _, ok := ix.ClosestWithin(g.centre(g.cell(v)), ballSize); ok {
					blocked.set(v)
				}
			}
		}
	})
}

// grown returns b and its neighbours, those over edges and corners included.
func (g *voxels) grown(b bitset) bitset {
	out := newBitset(g.count())
	for w := range b {
		for word := b[w]; word != 0; word &= word - 1 {
			c := g.cell(int32(w)<<6 + int32(bits.TrailingZeros64(word)))
			for z := max(c[2]-1, 0); z <= min(c[2]+1, g.n[2]-1); z++ {
				for y := max(c[1]-1, 0); y <= min(c[1]+1, g.n[1]-1); y++ {
					for x := max(c[0]-1, 0); x <= min(c[0]+1, g.n[0]-1); x++ {
						out.set(g.number([3]int32{x, y, z}))
					}
				}
			}
		}
	}
	return out
}

// floodRoom is the room over the threshold with which a winding number vouches
// for a neighbouring voxel that is reached through free ones: floodFar voxels
// away, by the largest of the three axes, and in a block of floodBlock voxels
// to the side that are all free. All centres in between are at least ballSize
// from the sheet, where the winding number next to a rim changes by at most
// 1/(2 pi ballSize) = 0.008 a mm, 0.16 a voxel; so the border of a flood may be
// found a voxel or two late, never lost.
const (
	floodRoom  = 0.3
	floodFar   = 2
	floodBlock = 4
)

// flooded is the outcome of a flood.
type flooded struct {
	reached bitset
	border  []int32 // voxels free of the shell where the flood was held, in the order it came to them
	leak    int32   // a voxel at the edge of the grid that was reached; -1: none
}

// flood fills, from the seeds' voxels, voxels that are not blocked and whose
// winding number is over the threshold, by as much as over tells; it passes
// from face to face. It runs in one thread, for the order decides which winding
// numbers are asked.
func (g *voxels) flood(ctx context.Context, seeds []int32, blocked bitset, over func(v int32, p r3.Vector) float64) (flooded, error) {
	f := flooded{reached: newBitset(g.count()), leak: -1}
	type entry struct {
		voxel int32
		site  [3]int32 // where the winding number was asked
		room  float32  // what it was over the threshold
	}
	seen := newBitset(g.count())
	blocks := newFloodBlocks(g, blocked)
	var queue []entry
	visit := func(v int32, c, site [3]int32, room float32) {
		seen.set(v)
		block := blocks.at(c)
		if r := *block; r > floodRoom {
			f.reached.set(v)
			queue = append(queue, entry{v, c, r})
			return
		}
		far := max(abs32(c[0]-site[0]), abs32(c[1]-site[1]), abs32(c[2]-site[2]))
		if far > floodFar || room <= floodRoom {
			site, room = c, float32(over(v, g.centre(c)))
			if room <= 0 {
				f.border = append(f.border, v)
				return
			}
			if *block == blockFree {
				*block = room
			}
		}
		f.reached.set(v)
		queue = append(queue, entry{v, site, room})
	}
	for _, v := range seeds {
		if !seen.has(v) {
			c := g.cell(v)
			visit(v, c, c, -1)
		}
	}
	for i := 0; i < len(queue); i++ {
		if i&0xffff == 0 && ctx.Err() != nil {
			return f, ctx.Err()
		}
		e := queue[i]
		c := g.cell(e.voxel)
		if !g.inner(c) {
			f.leak = e.voxel
			return f, nil
		}
		for k := range 3 {
			for _, step := range [2]int32{-1, 1} {
				d := c
				d[k] += step
				if v := g.number(d); !seen.has(v) && !blocked.has(v) {
					visit(v, d, e.site, e.room)
				}
			}
		}
	}
	return f, nil
}

// floodBlocks remembers, for blocks of floodBlock voxels to the side, the room
// found in them.
type floodBlocks struct {
	n    [3]int32
	room []float32
}

// Values of a block whose room is not known.
const (
	blockFree  = -1 // no voxel of it is blocked
	blockMixed = -2
)

func newFloodBlocks(g *voxels, blocked bitset) *floodBlocks {
	f := &floodBlocks{}
	for k := range f.n {
		f.n[k] = (g.n[k] + floodBlock - 1) / floodBlock
	}
	f.room = make([]float32, int(f.n[0])*int(f.n[1])*int(f.n[2]))
	for i := range f.room {
		f.room[i] = blockFree
	}
	for w, word := range blocked {
		for ; word != 0; word &= word - 1 {
			*f.at(g.cell(int32(w)<<6 + int32(bits.TrailingZeros64(word)))) = blockMixed
		}
	}
	return f
}

func (f *floodBlocks) at(c [3]int32) *float32 {
	return &f.room[c[0]/floodBlock+f.n[0]*(c[1]/floodBlock+f.n[1]*(c[2]/floodBlock))]
}

// roomy tells whether somewhere in b a cross of three voxels each way fits: a
// cabin has such places, the gap in a wall has none.
func (g *voxels) roomy(b bitset) bool {
	for w, word := range b {
		for ; word != 0; word &= word - 1 {
			c := g.cell(int32(w)<<6 + int32(bits.TrailingZeros64(word)))
			fits := true
			for k := range c {
				for _, step := range [2]int32{-3, 3} {
					d := c
					d[k] += step
					fits = fits && d[k] >= 0 && d[k] < g.n[k] && b.has(g.number(d))
				}
			}
			if fits {
				return true
			}
		}
	}
	return false
}

func abs32(x int32) int32 { return max(x, -x) }

// nearest returns for every voxel the number of the nearest voxel of b, by the
// distance of centres, exact; of several equally near, one that depends on
// nothing but b. -1 everywhere if b is empty. (The lower envelope of parabolas,
// one axis after the other: Felzenszwalb, Huttenlocher, "Distance transforms
// of sampled functions", Theory of Computing 8, 2012; from memory, checked
// against all pairs in the tests.)
func (g *voxels) nearest(b bitset, workers int) []int32 {
	near := make([]int32, g.count())
	for v := range near {
		near[v] = -1
		if b.has(int32(v)) {
			near[v] = int32(v)
		}
	}
	strides := [3]int{1, int(g.n[0]), int(g.n[0]) * int(g.n[1])}
	for axis := range 3 {
		o1, o2 := (axis+1)%3, (axis+2)%3
		length := int(g.n[axis])
		spread(workers, int(g.n[o2]), 2, func(lo, hi int) {
			e := envelope{cost: make([]float64, length), line: make([]int32, length),
				at: make([]int, length), from: make([]float64, length+1)}
			for q := lo; q < hi; q++ {
				for p := range int(g.n[o1]) {
					first := p*strides[o1] + q*strides[o2]
					for i := range length {
						e.line[i] = near[first+i*strides[axis]]
						e.cost[i] = math.Inf(1)
						if f := e.line[i]; f >= 0 {
							c, d := g.cell(f), g.cell(int32(first+i*strides[axis]))
							e.cost[i] = 0
							for k := range 3 {
								if k != axis {
									e.cost[i] += float64(c[k]-d[k]) * float64(c[k]-d[k])
								}
							}
						}
					}
					e.each(func(i, from int) { near[first+i*strides[axis]] = e.line[from] })
				}
			}
		})
	}
	return near
}

// envelope finds, for places 0..len-1 on a line, the place whose cost plus
// squared distance is least.
type envelope struct {
	cost []float64
	line []int32
	at   []int     // places whose parabola is part of the envelope
	from []float64 // where each part begins
}

func (e *envelope) each(f func(i, from int)) {
	n := 0
	for i, c := range e.cost {
		if math.IsInf(c, 1) {
			continue
		}
		for ; n > 0; n-- {
			j := e.at[n-1]
			e.from[n] = ((c + float64(i*i)) - (e.cost[j] + float64(j*j))) / float64(2*(i-j))
			if e.from[n] > e.from[n-1] {
				break
			}
		}
		if n == 0 {
			e.from[0] = math.Inf(-1)
		}
		e.at[n] = i
		n++
	}
	if n == 0 {
		return
	}
	k := 0
	for i := range e.cost {
		for k+1 < n && e.from[k+1] < float64(i) {
			k++
		}
		f(i, e.at[k])
	}
}
