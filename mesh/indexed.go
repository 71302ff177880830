package mesh

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"
)

// indexed holds the triangles of a file that numbers its vertices, in file
// units: the counterpart of soup. The readers of PLY and OBJ fill it.
//
// Both are read by code of our own. No Go library that we know of (from memory;
// none is in go.mod's reach) reads all of either format, says where a file is
// wrong, and keeps its memory within the size of the file; the formats are small.
type indexed struct {
	vertices  []r3.Vector
	triangles [][3]int32
	step      float64 // relative spacing of the numbers in the file
	polygons  int     // faces of more than three corners
	slivers   int     // faces of fewer
}

// maxVertices is the largest number of vertices that [Read] takes: as many as
// MaxTriangles can use.
const maxVertices = 3 * MaxTriangles

// float64Step bounds the spacing of float64 numbers, as float32Step does.
const float64Step = 0x1p-52

// coordinate returns x as it is kept. False: x is not finite, or so large that
// float32, the measure of all mesh files, cannot hold it. What is smaller
// than any normal float32 is 0: it is no length, and squares of it would
// underflow.
func coordinate(x float64) (float64, bool) {
	if !(math.Abs(x) <= math.MaxFloat32) {
		return 0, false
	}
	if math.Abs(x) < 0x1p-126 {
		return 0, true
	}
	return x, true
}

// fan turns the corners of a polygon into triangles as they come.
type fan struct {
	first, last int32
	corners     int
}

// add adds a corner of the polygon f. False: there are too many triangles.
func (s *indexed) add(f *fan, corner int32) bool {
	switch f.corners++; {
	case f.corners == 1:
		f.first = corner
	case f.corners > 2:
		if len(s.triangles) == MaxTriangles {
			return false
		}
		s.triangles = append(s.triangles, [3]int32{f.first, f.last, corner})
	}
	f.last = corner
	return true
}

// end counts the polygon.
func (s *indexed) end(f *fan) {
	switch {
	case f.corners > 3:
		s.polygons++
	case f.corners < 3:
		s.slivers++
	}
}

// finish drops vertices without a face, and notes what was done to the file.
// It fails where there are no triangles.
func (s *indexed) finish(rep *Report) error {
	if len(s.triangles) == 0 {
		if s.slivers > 0 {
			return &ReadError{Text: fmt.Sprintf("no triangles: none of the %d faces has three corners", s.slivers)}
		}
		return &ReadError{Text: fmt.Sprintf("no triangles: %d vertices but no face", len(s.vertices))}
	}
	if s.polygons > 0 {
		rep.note("%d faces have more than three corners: they are cut into triangles from their first corner", s.polygons)
	}
	if s.slivers > 0 {
		rep.note("%d faces have fewer than three corners: they are left out", s.slivers)
	}
	m := Mesh{Vertices: s.vertices, Triangles: s.triangles}
	dropUnused(&m)
	if n := len(s.vertices) - len(m.Vertices); n > 0 {
		rep.note("%d of %d vertices belong to no triangle: they are left out", n, len(s.vertices))
	}
	s.vertices = m.Vertices
	return nil
}

func (s *indexed) count() int          { return len(s.triangles) }
func (s *indexed) resolution() float64 { return s.step }

// extent is that of soup.
func (s *indexed) extent() (size r3.Vector, largest float64) {
	if len(s.vertices) == 0 {
		return r3.Vector{}, 0
	}
	box := Box{s.vertices[0], s.vertices[0]}
	for _, v := range s.vertices {
		box = box.Add(v)
	}
	for _, v := range []r3.Vector{box.Min.Abs(), box.Max.Abs()} {
		largest = max(largest, v.X, v.Y, v.Z)
	}
	return box.Size(), largest
}

// mesh turns the triangles into a mesh in mm, the file's unit being scale mm
// long. Vertices that are equal become the first of them, as in a soup: many
// exporters number the corners of every triangle anew. The triangles are the
// mesh's from now on.
func (s *indexed) mesh(scale float64) *Mesh {
	log := tableLog(len(s.vertices) + 1)
	table, shift, mask := make([]uint32, 1<<log), 64-log, uint64(1)<<log-1
	number := make([]int32, len(s.vertices))
	kept := s.vertices[:0]
	for i, v := range s.vertices {
		slot := hash3(math.Float64bits(v.X), math.Float64bits(v.Y), math.Float64bits(v.Z)) >> shift
		for table[slot] != 0 && kept[table[slot]-1] != v {
			slot = (slot + 1) & mask
		}
		if table[slot] == 0 {
			kept = append(kept, v)
			table[slot] = uint32(len(kept))
		}
		number[i] = int32(table[slot] - 1)
	}
	if len(kept) < len(number) {
		for t := range s.triangles {
			tri := &s.triangles[t]
			tri[0], tri[1], tri[2] = number[tri[0]], number[tri[1]], number[tri[2]]
		}
	}
	for i := range kept {
		kept[i] = kept[i].Mul(scale)
	}
	return &Mesh{Vertices: kept, Triangles: s.triangles}
}

// parseWhole reads a whole decimal number of up to 18 digits. False: it is none.
func parseWhole(word []byte) (int64, bool) {
	digits := word
	if len(digits) > 0 && (digits[0] == '-' || digits[0] == '+') {
		digits = digits[1:]
	}
	if len(digits) == 0 || len(digits) > 18 {
		return 0, false
	}
	n := int64(0)
	for _, b := range digits {
		if b < '0' || b > '9' {
			return 0, false
		}
		n = 10*n + int64(b-'0')
	}
	if word[0] == '-' {
		n = -n
	}
	return n, true
}

// unusable says in what way x is no coordinate.
func unusable(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "not finite"
	}
	return "too large"
}
