package mesh_test

import (
	"fmt"
	"os"

	"barwright/mesh"
)

// Read a scan whose unit nobody wrote down, and say what it holds.
func ExampleRead() {
	f, err := os.Open("testdata/two_solids_upper_crlf.stl")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer f.Close()
	m, report, err := mesh.Read(f, mesh.ReadOptions{Name: "cabin.stl"})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(report.Format, "of", report.Triangles, "triangles,", len(m.Vertices), "vertices")
	for _, note := range report.Notes {
		fmt.Println("-", note)
	}
	for _, c := range mesh.Components(m) {
		fmt.Printf("piece of %d triangles, %.1f m2, %d open edges\n", len(c.Triangles), c.Area/1e6, c.OpenEdges)
	}
	// Output:
	// ASCII STL of 24 triangles, 16 vertices
	// - keywords are in upper case
	// - 2 solids are read as one mesh
	// - unit guessed as mm, which makes it 2.4 x 1.5 x 1.2 m
	// piece of 12 triangles, 9.0 m2, 0 open edges
	// piece of 12 triangles, 9.0 m2, 0 open edges
}
