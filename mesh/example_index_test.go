package mesh_test

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/mesh"
)

// corner returns a floor, z = 0, and a wall, x = 1000, that meet.
func corner() *mesh.Mesh {
	return &mesh.Mesh{
		Vertices: []r3.Vector{
			{X: 0, Y: 0, Z: 0}, {X: 1000, Y: 0, Z: 0}, {X: 1000, Y: 1000, Z: 0}, {X: 0, Y: 1000, Z: 0},
			{X: 1000, Y: 0, Z: 800}, {X: 1000, Y: 1000, Z: 800},
		},
		Triangles: [][3]int32{{0, 1, 2}, {0, 2, 3}, {1, 4, 5}, {1, 5, 2}},
	}
}

func ExampleIndex_Closest() {
	ix := mesh.NewIndex(corner())
	h := ix.Closest(r3.Vector{X: 700, Y: 400, Z: 60})
	fmt.Println(h.Distance, h.Point.X, h.Point.Y, h.Point.Z, h.Triangle)

	// The next point of a path starts from the last answer.
	h = ix.ClosestFrom(r3.Vector{X: 700, Y: 410, Z: 65}, h.Triangle)
	fmt.Println(h.Distance)

	_, ok := ix.ClosestWithin(r3.Vector{X: 700, Y: 410, Z: 65}, 50)
	fmt.Println(ok)
	// Output:
	// 60 700 400 0 0
	// 65
	// false
}

func ExampleIndex_ClosestAway() {
	ix := mesh.NewIndex(corner())
	p := r3.Vector{X: 700, Y: 400, Z: 60}
	down := r3.Vector{Z: -1} // the floor is closest; what comes next?
	h, ok := ix.ClosestAway(p, down, 80*s1.Degree, math.Inf(1))
	fmt.Println(h.Distance, h.Point.X, ok)
	// Output: 300 1000 true
}

func ExampleIndex_Segment() {
	ix := mesh.NewIndex(corner())
	h, ok := ix.Segment(r3.Vector{X: 500, Y: 200, Z: 90}, r3.Vector{X: 500, Y: 600, Z: 40}, math.Inf(1))
	fmt.Println(h.Distance, h.T, h.On.Y, ok)
	// Output: 40 1 600 true
}

func ExampleIndex_Ray() {
	ix := mesh.NewIndex(corner())
	h, ok := ix.Ray(r3.Vector{X: 400, Y: 300, Z: 200}, r3.Vector{X: 1}, math.Inf(1))
	fmt.Println(h.T, h.Point.X, h.Point.Y, h.Point.Z, ok)
	// Output: 600 1000 300 200 true
}
