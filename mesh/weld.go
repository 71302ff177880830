package mesh

import (
	"fmt"
	"math"
	"math/bits"

	"github.com/golang/geo/r3"
	"github.com/hschendel/stl"
)

// MaxTriangles is the largest number of triangles that [Read] takes. It keeps
// a header that lies about a sparse file of 200 GB from filling the memory; a
// scan of a car has well under ten million.
const MaxTriangles = 50_000_000

// soup collects the triangles of an STL file and welds corners that are
// bitwise equal as they arrive. It is the stl.Writer that the library's binary
// reader and the ASCII scanner both feed.
//
// Vertices are numbered in order of first appearance. They are found again
// through a table with open addressing and linear probing, presized from the
// expected number of triangles: a closed mesh has half as many vertices as
// triangles. The table is too large for the caches, so triangles wait until
// there is a batch of them, whose slots are then all touched before the first
// is needed: the processor waits for many of them at once, which saves a third
// of the time.
type soup struct {
	vertices  [][3]float32
	triangles [][3]int32
	table     []uint32 // entries; 0: empty. Length is a power of two.
	shift     uint     // 64 - log2(len(table)): the hash's upper bits are the slot
	err       *ReadError

	waiting [][3][3]float32 // triangles not yet welded, at most batch
	hashes  [3 * batch]uint64
	touched uint32
}

// batch is how many triangles, or vertices, are looked up together. The slots
// of 64 triangles take 12 kB of cache, well under the usual 32.
const batch = 64

// An entry of the table holds the vertex number + 1 and, above it, four bits of
// the hash: most vertices of other places are told apart without looking at
// them. MaxTriangles have at most 150 million vertices, less than 2^28.
const (
	entryBits = 28
	entryMask = 1<<entryBits - 1
)

// entryTag returns the bits of a hash that go into an entry. They lie below those
// that make the slot of any table that can be had.
func entryTag(hash uint64) uint32 { return uint32(hash) &^ entryMask }

var _ stl.Writer = (*soup)(nil)

// newSoup returns a soup with room for n triangles; more may come.
func newSoup(n int) *soup {
	n = min(n, MaxTriangles)
	s := &soup{
		triangles: make([][3]int32, 0, n),
		vertices:  make([][3]float32, 0, n/2+n/16+8),
		waiting:   make([][3][3]float32, 0, batch),
	}
	log := tableLog(n/2 + 8)
	s.table, s.shift = make([]uint32, 1<<log), 64-log
	return s
}

// tableLog returns the logarithm to base 2 of the length of a table that takes n
// entries at a load of at most a half.
func tableLog(n int) uint { return uint(bits.Len(uint(2*n - 1))) }

// count returns the number of triangles so far.
func (s *soup) count() int { return len(s.triangles) + len(s.waiting) }

// SetName is part of stl.Writer; names are not kept.
func (s *soup) SetName(string) {}

// SetBinaryHeader is part of stl.Writer; headers are not kept.
func (s *soup) SetBinaryHeader([]byte) {}

// SetASCII is part of stl.Writer; the reader knows the format already.
func (s *soup) SetASCII(bool) {}

// SetTriangleCount is part of stl.Writer. The reader has sized the soup after
// checking the count against the size of the file.
func (s *soup) SetTriangleCount(uint32) {}

// AppendTriangle adds a triangle. The first corner that is not finite is kept
// as an error; the reader then stops feeding the library. After the last
// triangle, flush must be called.
func (s *soup) AppendTriangle(t stl.Triangle) {
	if s.err != nil {
		return
	}
	if s.count() == MaxTriangles {
		s.err = &ReadError{Text: fmt.Sprintf("more than %d triangles", MaxTriangles)}
		return
	}
	for c, v := range t.Vertices {
		if !finite32(v) {
			s.err = &ReadError{
				Triangle: s.count() + 1,
				Text:     fmt.Sprintf("corner %d is not finite: (%v, %v, %v)", c+1, v[0], v[1], v[2]),
			}
			return
		}
	}
	s.waiting = append(s.waiting, [3][3]float32{t.Vertices[0], t.Vertices[1], t.Vertices[2]})
	if len(s.waiting) == batch {
		s.flush()
	}
}

func finite32(v [3]float32) bool {
	const exponent = 0x7f80_0000
	return math.Float32bits(v[0])&exponent != exponent &&
		math.Float32bits(v[1])&exponent != exponent &&
		math.Float32bits(v[2])&exponent != exponent
}

// flush welds the triangles that wait.
func (s *soup) flush() {
	n := 0
	for t := range s.waiting {
		for c := range s.waiting[t] {
			v := &s.waiting[t][c]
			for i := range v {
				if v[i] == 0 {
					v[i] = 0 // negative zero is the same place
				}
			}
			h := hashVertex(v)
			s.hashes[n] = h
			s.touched += s.table[h>>s.shift]
			n++
		}
	}
	for t := range s.waiting {
		tri, h := &s.waiting[t], s.hashes[3*t:]
		s.triangles = append(s.triangles, [3]int32{s.vertex(&tri[0], h[0]), s.vertex(&tri[1], h[1]), s.vertex(&tri[2], h[2])})
	}
	s.waiting = s.waiting[:0]
}

// vertex returns the number of v, a new one if it has not been seen.
func (s *soup) vertex(v *[3]float32, hash uint64) int32 {
	mask, tag := uint64(len(s.table)-1), entryTag(hash)
	slot := hash >> s.shift
	for ; s.table[slot] != 0; slot = (slot + 1) & mask {
		if e := s.table[slot]; e&^entryMask == tag {
			if i := e&entryMask - 1; s.vertices[i] == *v {
				return int32(i)
			}
		}
	}
	s.vertices = append(s.vertices, *v)
	n := len(s.vertices)
	s.table[slot] = tag | uint32(n)
	if 2*n > len(s.table) {
		s.grow()
	}
	return int32(n - 1)
}

// grow doubles the table.
func (s *soup) grow() {
	s.table = make([]uint32, 2*len(s.table))
	s.shift--
	mask := uint64(len(s.table) - 1)
	for i := range s.vertices {
		h := hashVertex(&s.vertices[i])
		slot := h >> s.shift
		for s.table[slot] != 0 {
			slot = (slot + 1) & mask
		}
		s.table[slot] = entryTag(h) | uint32(i+1)
	}
}

func hashVertex(v *[3]float32) uint64 {
	return hash3(uint64(math.Float32bits(v[0])), uint64(math.Float32bits(v[1])), uint64(math.Float32bits(v[2])))
}

// hash3 mixes three words; its upper bits are the good ones. The multipliers
// are odd with about half their bits set, taken from the fractional parts of
// the square roots of 2, 3, 5 and 7.
func hash3(a, b, c uint64) uint64 {
	h := a*0x6a09e667f3bcc909 ^ b*0xbb67ae8584caa73b ^ c*0x3c6ef372fe94f82b
	h ^= h >> 32
	return h * 0xa54ff53a5f1d36f1
}

// resolution returns the relative spacing of the numbers in the file.
func (s *soup) resolution() float64 { return float32Step }

// extent returns the edges of the box around all vertices and the largest
// absolute coordinate, in file units.
func (s *soup) extent() (size r3.Vector, largest float64) {
	if len(s.vertices) == 0 {
		return r3.Vector{}, 0
	}
	lo, hi := s.vertices[0], s.vertices[0]
	for _, v := range s.vertices {
		for i, x := range v {
			lo[i], hi[i] = min(lo[i], x), max(hi[i], x)
		}
	}
	var d [3]float64
	for i := range d {
		d[i] = float64(hi[i]) - float64(lo[i])
		largest = max(largest, math.Abs(float64(lo[i])), math.Abs(float64(hi[i])))
	}
	return r3.Vector{X: d[0], Y: d[1], Z: d[2]}, largest
}

// mesh turns the soup into a mesh in mm, the file's unit being scale mm long.
func (s *soup) mesh(scale float64) *Mesh {
	m := &Mesh{Vertices: make([]r3.Vector, len(s.vertices)), Triangles: s.triangles}
	for i, v := range s.vertices {
		m.Vertices[i] = r3.Vector{X: float64(v[0]) * scale, Y: float64(v[1]) * scale, Z: float64(v[2]) * scale}
	}
	return m
}

// Default welding distance.
const (
	// float32Step bounds the spacing of float32 numbers: neighbours of x are
	// at most |x| 2^-23 away (IEEE 754 binary32, 24 bits of significand).
	float32Step = 0x1p-23
	// weldSteps: an exporter that works in float32 and reaches one corner in
	// two ways ends within about two steps in each axis, together
	// 2 sqrt(3) = 3.5 steps.
	weldSteps = 4
	// maxDefaultWeld keeps the shell true to the 0.01 mm to which clearances
	// are certified, mm.
	maxDefaultWeld = 0.01
)

// defaultWeld returns the distance, in mm, within which two corners of a file
// are taken for one that was rounded differently; largest is the largest
// absolute coordinate in mm. At 4 m it is 0.002 mm.
func defaultWeld(largest float64) float64 {
	return min(weldSteps*float32Step*largest, maxDefaultWeld)
}

// weldNear joins vertices that lie within distance weld (mm) of each other
// and returns how many vertices went away.
//
// It goes through the vertices in order: each joins the nearest vertex kept so
// far if that is within weld (the first of equals), else it is kept. So no
// vertex moves by more than weld, all kept vertices are more than weld apart,
// and the order of the file alone decides.
//
// Kept vertices lie in a hashed grid. A cell is at least two welding distances
// wide, so that the ball around a vertex meets at most two cells along an axis,
// and at most 32 of them, or the mean spacing of vertices if that is less: wide
// cells make the ball meet one cell mostly, and still hold few vertices.
// Vertices of other cells met while probing do no harm: the distance decides.
func weldNear(m *Mesh, weld float64) int {
	n := len(m.Vertices)
	if n < 2 || weld <= 0 {
		return 0
	}
	box := Box{m.Vertices[0], m.Vertices[0]}
	for _, v := range m.Vertices {
		box = box.Add(v)
	}
	size := box.Size()
	// Half a spacing step of float64 is lost in each of x - weld, the cell
	// quotient and the distance; four steps of the largest value cover it.
	reach := weld + 4*roundoff*(size.Norm()+weld)
	spacing := size.Norm() / math.Sqrt(float64(n))
	cell := max(2*reach, min(32*weld, spacing))

	log := tableLog(n)
	g := weldGrid{origin: box.Min, inverse: 1 / cell, table: make([]int32, 1<<log), shift: 64 - log}
	mask := uint64(len(g.table) - 1)
	kept := m.Vertices[:0]
	number := make([]int32, n)
	for i, v := range m.Vertices {
		if i%batch == 0 {
			g.touch(m.Vertices[i:min(i+batch, n)])
		}
		lo := g.cell(v.X-reach, v.Y-reach, v.Z-reach)
		hi := g.cell(v.X+reach, v.Y+reach, v.Z+reach)
		best, bestD := int32(-1), weld*weld
		for x := lo[0]; x <= hi[0]; x++ {
			for y := lo[1]; y <= hi[1]; y++ {
				for z := lo[2]; z <= hi[2]; z++ {
					for slot := g.slot(x, y, z); g.table[slot] != 0; slot = (slot + 1) & mask {
						k := g.table[slot] - 1
						d := v.Sub(kept[k]).Norm2()
						if d < bestD || d == bestD && (best < 0 || k < best) {
							best, bestD = k, d
						}
					}
				}
			}
		}
		if best < 0 {
			best = int32(len(kept))
			kept = append(kept, v)
			c := g.cell(v.X, v.Y, v.Z)
			slot := g.slot(c[0], c[1], c[2])
			for g.table[slot] != 0 {
				slot = (slot + 1) & mask
			}
			g.table[slot] = best + 1
		}
		number[i] = best
	}
	gone := n - len(kept)
	if gone == 0 {
		return 0
	}
	m.Vertices = kept
	for t := range m.Triangles {
		tri := &m.Triangles[t]
		tri[0], tri[1], tri[2] = number[tri[0]], number[tri[1]], number[tri[2]]
	}
	return gone
}

// weldGrid is a hashed grid over points.
type weldGrid struct {
	origin  r3.Vector
	inverse float64 // 1 / width of a cell, 1/mm
	table   []int32 // vertex number + 1; 0: empty. Length is a power of two.
	shift   uint    // as in soup
	touched int32
}

// cell returns the cell of a point, one up from the lowest: points may lie a
// reach, which is at most half a cell, outside the box. The box has at most
// 2^49 cells along an axis (a cell is at least two reaches wide), so the
// numbers are whole, and rounding keeps their order.
func (g *weldGrid) cell(x, y, z float64) [3]uint64 {
	return [3]uint64{
		uint64(int64((x-g.origin.X)*g.inverse + 1)),
		uint64(int64((y-g.origin.Y)*g.inverse + 1)),
		uint64(int64((z-g.origin.Z)*g.inverse + 1)),
	}
}

// slot returns where a cell's vertices begin.
func (g *weldGrid) slot(x, y, z uint64) uint64 { return hash3(x, y, z) >> g.shift }

// touch brings the slots of vertices into the caches, see soup.
func (g *weldGrid) touch(vertices []r3.Vector) {
	for _, v := range vertices {
		c := g.cell(v.X, v.Y, v.Z)
		g.touched += g.table[g.slot(c[0], c[1], c[2])]
	}
}
