package mesh

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"
)

// TestManyReaders: goroutines that ask one index at once get what one alone
// gets. Worth most under -race.
func TestManyReaders(t *testing.T) {
	m := wavyShell(40000, true)
	points := coherentPoints(m, 300)
	type answers struct {
		closest, away Hit
		segment       SegmentHit
		ray           RayHit
	}
	ask := func(ix *Index) []answers {
		out := make([]answers, len(points)-1)
		for i := range out {
			a := &out[i]
			p, q := points[i], points[i+1]
			a.closest = ix.Closest(p)
			a.segment, _ = ix.Segment(p, q, math.Inf(1))
			dir := a.closest.Point.Sub(p).Normalize()
			a.away, _ = ix.ClosestAway(p, dir, 66*s1.Degree, 2000)
			a.ray, _ = ix.Ray(p, dir, math.Inf(1))
		}
		return out
	}
	full := NewIndex(m)
	want := ask(full)
	var group sync.WaitGroup
	got := make([][]answers, 8)
	for i := range got {
		ix := full
		if i >= 6 {
			ix = newLeanIndex(full.mesh)
		}
		group.Go(func() { got[i] = ask(ix) })
	}
	group.Wait()
	for i := range got {
		require.Equal(t, want, got[i], "reader %d", i)
	}
}

// TestTreeDoesNotDependOnProcessors: a tree large enough to be built in
// parallel is the same, bit for bit, on one processor and on several.
func TestTreeDoesNotDependOnProcessors(t *testing.T) {
	m := wavyShell(parallelBlocks*blockSize+5000, false)
	build := func(processors int) *Index {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		return NewIndex(m)
	}
	one := build(1)
	for _, n := range []int{2, 5} {
		several := build(n)
		require.True(t, slices.Equal(one.pairs, several.pairs), "%d processors", n)
		require.True(t, slices.Equal(one.boxes, several.boxes), "%d processors", n)
		require.True(t, slices.Equal(one.tris, several.tris), "%d processors", n)
	}
}

// TestBlockBounds holds what a block says of its triangles against their true
// distances: within its slop, and the slop small enough to be worth anything.
func TestBlockBounds(t *testing.T) {
	m := wavyShell(20000, true)
	ix := NewIndex(m)
	for i, p := range coherentPoints(m, 200) {
		q, ok := ix.query(p)
		require.True(t, ok)
		var d2 [blockSize]float32
		for at := i; at < len(ix.tris); at += 97 {
			b := &ix.tris[at]
			slop, least := b.distances(&q, &d2)
			smallest := math.Inf(1)
			for j, tri := range b.tri[:b.n] {
				x, y, z := m.Corners(int(tri.id))
				d := closestOnTriangle(p, x, y, z).Sub(p).Norm()
				require.InDelta(t, d*d, d2[j], float64(slop), "point %d, triangle %d", i, tri.id)
				smallest = min(smallest, d*d)
			}
			require.InDelta(t, smallest, least, float64(slop))
			reach := math.Sqrt(smallest) + 2*float64(b.r)
			require.Less(t, float64(slop), 4e-4*reach*reach)
		}
	}
}
