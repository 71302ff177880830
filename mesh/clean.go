package mesh

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/r3"
)

// roundoff is the relative step of float64, 2^-52.
const roundoff = 0x1p-52

// degenerate tells whether a triangle has two equal corners or corners on a
// line, as far as float64 can tell; largest is the largest absolute
// coordinate of the mesh.
//
// Of the cross product of edges u and v, the multiplications lose at most about
// 2 steps of |u||v|, and corners rounded by up to half a step of their size
// (conversion from inches) turn it by at most (|u| + |v|) x 2 steps of largest.
// Both bounds are taken twice and added as squares.
func degenerate(a, b, c r3.Vector, largest float64) bool {
	u, v := b.Sub(a), c.Sub(a)
	u2, v2 := u.Norm2(), v.Norm2()
	const k = 4 * roundoff
	return u.Cross(v).Norm2() <= k*k*(u2*v2+2*largest*largest*(u2+v2))
}

// dropDegenerate removes triangles with two equal corners or with all corners
// on a line, and returns how many. Thin triangles that still have a plane stay.
func dropDegenerate(m *Mesh) int {
	var largest float64
	for _, v := range m.Vertices {
		largest = max(largest, math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
	}
	kept := m.Triangles[:0]
	for t, tri := range m.Triangles {
		if tri[0] == tri[1] || tri[1] == tri[2] || tri[2] == tri[0] {
			continue
		}
		if a, b, c := m.Corners(t); degenerate(a, b, c, largest) {
			continue
		}
		kept = append(kept, tri)
	}
	gone := len(m.Triangles) - len(kept)
	m.Triangles = kept
	return gone
}

// dropDuplicates removes triangles that have the same three corners as an
// earlier one, in whatever order (the order carries no promise), and returns
// how many.
func dropDuplicates(m *Mesh) int {
	// Triangles are put into buckets by their lowest corner, in file order:
	// neighbours in a scan share numbers, so this keeps to nearby memory, and
	// a bucket holds about two of them.
	start, list := intoBuckets(len(m.Vertices), len(m.Triangles), func(t int) int32 {
		tri := m.Triangles[t]
		return min(tri[0], tri[1], tri[2])
	})
	duplicate := make([]bool, len(m.Triangles))
	gone := 0
	for v := range m.Vertices {
		ts := list[start[v]:start[v+1]]
		if len(ts) < 2 {
			continue
		}
		if len(ts) > smallBucket {
			slices.SortFunc(ts, func(a, b int32) int {
				return cmp.Or(cmp.Compare(cornerKey(m, a), cornerKey(m, b)), cmp.Compare(a, b))
			})
			for i := 1; i < len(ts); i++ {
				if cornerKey(m, ts[i]) == cornerKey(m, ts[i-1]) {
					duplicate[ts[i]] = true
					gone++
				}
			}
			continue
		}
		for i := 1; i < len(ts); i++ {
			k := cornerKey(m, ts[i])
			for _, t := range ts[:i] {
				if cornerKey(m, t) == k {
					duplicate[ts[i]] = true
					gone++
					break
				}
			}
		}
	}
	if gone == 0 {
		return 0
	}
	kept := m.Triangles[:0]
	for t, tri := range m.Triangles {
		if !duplicate[t] {
			kept = append(kept, tri)
		}
	}
	m.Triangles = kept
	return gone
}

// smallBucket is the length up to which comparing all pairs beats sorting.
const smallBucket = 12

// cornerKey returns the middle and the highest corner of triangle t as one number:
// with the lowest corner it names the triangle whatever its order.
func cornerKey(m *Mesh, t int32) uint64 {
	tri := m.Triangles[t]
	lo, hi := min(tri[0], tri[1], tri[2]), max(tri[0], tri[1], tri[2])
	middle := tri[0] ^ tri[1] ^ tri[2] ^ lo ^ hi
	return uint64(uint32(middle))<<32 | uint64(uint32(hi))
}

// intoBuckets sorts the numbers 0..items-1 into buckets, keeping their order: those
// of bucket b are list[start[b]:start[b+1]].
func intoBuckets(buckets, items int, of func(item int) int32) (start, list []int32) {
	start = make([]int32, buckets+2)
	for i := range items {
		start[of(i)+2]++
	}
	for b := 2; b < len(start); b++ {
		start[b] += start[b-1]
	}
	// start[b+1] is where bucket b begins, and moves to where it ends.
	list = make([]int32, items)
	for i := range items {
		b := of(i) + 1
		list[start[b]] = int32(i)
		start[b]++
	}
	return start[:buckets+1], list
}

// dropUnused removes vertices that no triangle uses; the others keep their
// order.
func dropUnused(m *Mesh) {
	number := make([]int32, len(m.Vertices))
	for _, tri := range m.Triangles {
		number[tri[0]], number[tri[1]], number[tri[2]] = 1, 1, 1
	}
	kept := m.Vertices[:0]
	for i, v := range m.Vertices {
		if number[i] != 0 {
			number[i] = int32(len(kept))
			kept = append(kept, v)
		}
	}
	m.Vertices = kept
	for t := range m.Triangles {
		tri := &m.Triangles[t]
		tri[0], tri[1], tri[2] = number[tri[0]], number[tri[1]], number[tri[2]]
	}
}

// Component is a piece of a mesh that hangs together.
type Component struct {
	Triangles []int32 // indices into Mesh.Triangles, rising
	Area      float64 // mm2
	Bounds    Box     // mm
	Size      float64 // diagonal of Bounds, mm
	OpenEdges int     // edges used by one triangle only
}

// Components returns the pieces of m, largest area first, equal ones in the
// order of their first triangle. Triangles belong to the same piece when they
// share a vertex: pieces that touch in one corner are one piece. (An island of
// a scan touches nothing, whereas a crack in a sheet may leave single corners
// joined.) The slices share one array.
func Components(m *Mesh) []Component {
	parent := make([]int32, len(m.Vertices))
	for i := range parent {
		parent[i] = int32(i)
	}
	find := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for _, tri := range m.Triangles {
		r := find(tri[0])
		for _, v := range tri[1:] {
			// The lower number becomes the root: the outcome does not depend
			// on anything but the mesh.
			s := find(v)
			if s < r {
				r, s = s, r
			}
			parent[s] = r
		}
	}

	// Pieces are numbered by their first triangle.
	number := make([]int32, len(m.Vertices))
	pieces := 0
	for _, tri := range m.Triangles {
		if r := find(tri[0]); number[r] == 0 {
			pieces++
			number[r] = int32(pieces)
		}
	}
	piece := func(v int32) int32 { return number[find(v)] - 1 }

	start, list := intoBuckets(pieces, len(m.Triangles), func(t int) int32 { return piece(m.Triangles[t][0]) })
	all := make([]Component, pieces)
	for p := range all {
		c := &all[p]
		c.Triangles = list[start[p]:start[p+1]:start[p+1]]
		first := m.Vertices[m.Triangles[c.Triangles[0]][0]]
		c.Bounds = Box{first, first}
		for _, t := range c.Triangles {
			u, v, w := m.Corners(int(t))
			c.Area += v.Sub(u).Cross(w.Sub(u)).Norm() / 2
			c.Bounds = c.Bounds.Add(u).Add(v).Add(w)
		}
		c.Size = c.Bounds.Size().Norm()
	}
	eachEdge(m, func(v int32, uses int) {
		if uses == 1 {
			all[piece(v)].OpenEdges++
		}
	})
	slices.SortStableFunc(all, func(a, b Component) int { return cmp.Compare(b.Area, a.Area) })
	return all
}

// OpenEdges returns the number of edges that only one triangle uses: the
// length of the rims of all holes, in edges. A closed surface has none.
func OpenEdges(m *Mesh) int {
	n := 0
	eachEdge(m, func(_ int32, uses int) {
		if uses == 1 {
			n++
		}
	})
	return n
}

// NonManifoldEdges returns the number of edges that more than two triangles
// use.
func NonManifoldEdges(m *Mesh) int {
	n := 0
	eachEdge(m, func(_ int32, uses int) {
		if uses > 2 {
			n++
		}
	})
	return n
}

// eachEdge calls f for every edge of m, in a fixed order, with one end of the
// edge and the number of triangles that use it. Edges of no length are left
// out.
func eachEdge(m *Mesh, f func(v int32, uses int)) {
	// Half edges go into buckets by their lower end; a bucket holds the upper
	// ends, and equal ones are the same edge.
	start := make([]int32, len(m.Vertices)+2)
	count := 0
	for _, tri := range m.Triangles {
		for c := range tri {
			a, b := tri[c], tri[(c+1)%3]
			if a != b {
				start[min(a, b)+2]++
				count++
			}
		}
	}
	for v := 2; v < len(start); v++ {
		start[v] += start[v-1]
	}
	upper := make([]int32, count)
	for _, tri := range m.Triangles {
		for c := range tri {
			a, b := tri[c], tri[(c+1)%3]
			if a != b {
				s := &start[min(a, b)+1]
				upper[*s] = max(a, b)
				*s++
			}
		}
	}
	for v := range m.Vertices {
		ends := upper[start[v]:start[v+1]]
		slices.Sort(ends)
		for i := 0; i < len(ends); {
			j := i + 1
			for j < len(ends) && ends[j] == ends[i] {
				j++
			}
			f(int32(v), j-i)
			i = j
		}
	}
}
