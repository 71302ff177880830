package align_test

import (
	"context"
	"fmt"

	"github.com/golang/geo/r3"

	"barwright/mesh/align"
	"barwright/mesh/sample"
)

// A scan lies on its side, its x axis up and its y axis forward: the axes are
// known, the origin is found.
func ExampleAlign() {
	scan := sample.NewCoupe(sample.CoupeOptions{Triangles: 20_000}).Mesh
	for i, v := range scan.Vertices {
		scan.Vertices[i] = r3.Vector{X: v.Z + 400, Y: v.X, Z: v.Y - 250}
	}
	result, err := align.Align(context.Background(), scan, align.Options{Mode: align.Axes, Up: "x", Front: "y"})
	if err != nil {
		fmt.Println(err)
		return
	}
	left := result.Frame.Y
	fmt.Println("left is", left.X, left.Y, left.Z)
	fmt.Printf("floor at x = %.0f cm, mirror plane at z = %.0f cm\n", result.Frame.Origin.X/10, result.Frame.Origin.Z/10)
	fmt.Println("sure:", result.Sure)
	// Output:
	// left is 0 0 1
	// floor at x = 40 cm, mirror plane at z = -25 cm
	// sure: true
}

func ExampleFrame_Apply() {
	frame := align.Frame{X: r3.Vector{Z: 1}, Y: r3.Vector{X: 1}, Z: r3.Vector{Y: 1}, Origin: r3.Vector{X: 10, Y: 20, Z: 30}}
	p := frame.Apply(r3.Vector{X: 11, Y: 22, Z: 33})
	fmt.Println(p.X, p.Y, p.Z)
	// Output: 3 1 2
}
