package mesh_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/mesh"
	"barwright/mesh/sample"
)

// join returns both meshes as one.
func join(a, b *mesh.Mesh) *mesh.Mesh {
	m := &mesh.Mesh{Vertices: slices.Concat(a.Vertices, b.Vertices), Triangles: slices.Clone(a.Triangles)}
	n := int32(len(a.Vertices))
	for _, tri := range b.Triangles {
		m.Triangles = append(m.Triangles, [3]int32{n + tri[0], n + tri[1], n + tri[2]})
	}
	return m
}

func shifted(m *mesh.Mesh, by r3.Vector) *mesh.Mesh {
	out := &mesh.Mesh{Triangles: m.Triangles}
	for _, v := range m.Vertices {
		out.Vertices = append(out.Vertices, v.Add(by))
	}
	return out
}

func TestCut(t *testing.T) {
	room := sample.Box(2000, 1400, 1100, 100).Mesh
	floor := room.Bounds().Min.Z
	seat := shifted(sample.Box(400, 400, 500, 50).Mesh, r3.Vector{Y: 300, Z: 100})
	wheel := shifted(ball(180, 20), r3.Vector{X: 500, Y: 300, Z: 600})
	b := seat.Bounds()
	all := join(join(room, seat), wheel)
	got, counts, err := mesh.Cut(all, []mesh.Region{
		{Name: "seat", Box: &b},
		{Name: "wheel", Sphere: &mesh.Sphere{Centre: r3.Vector{X: 500, Y: 300, Z: 600}, Radius: 181}},
		{Name: "air", Sphere: &mesh.Sphere{Centre: r3.Vector{X: -700, Z: 500}, Radius: 50}},
	})
	require.NoError(t, err)
	require.Equal(t, room, got)
	require.Equal(t, len(seat.Triangles), counts[0].Removed)
	require.InDelta(t, 2*(400*400+400*500+400*500), counts[0].Area, 1e-6, "a cuboid's surface")
	require.Equal(t, len(wheel.Triangles), counts[1].Removed)
	require.InEpsilon(t, 4*math.Pi*180*180, counts[1].Area, 0.02, "a sphere's surface")
	require.Equal(t, mesh.CutCount{}, counts[2])

	// Across the border of a region, all stays: what has gone lies wholly in it.
	low := mesh.Region{Name: "low", Box: &mesh.Box{Min: r3.Vector{X: -5000, Y: -5000, Z: floor - 1}, Max: r3.Vector{X: 5000, Y: 5000, Z: floor + 117}}}
	got, counts, err = mesh.Cut(room, []mesh.Region{low, low})
	require.NoError(t, err)
	var inside, across int
	for i := range room.Triangles {
		p, q, r := room.Corners(i)
		n := 0
		for _, v := range []r3.Vector{p, q, r} {
			if v.Z <= floor+117 {
				n++
			}
		}
		if n == 3 {
			inside++
		} else if n > 0 {
			across++
		}
	}
	require.Positive(t, inside)
	require.Positive(t, across)
	require.Equal(t, inside, counts[0].Removed)
	require.Equal(t, across, counts[0].Across)
	require.Zero(t, counts[1].Removed, "the first region has them")
	require.Len(t, got.Triangles, len(room.Triangles)-inside)
	for _, v := range got.Vertices {
		require.Contains(t, room.Vertices, v)
	}

	same, _, err := mesh.Cut(room, nil)
	require.NoError(t, err)
	require.Same(t, room, same)
}

func TestCutBadRegions(t *testing.T) {
	room := sample.Box(2000, 1400, 1100, 200).Mesh
	box := room.Bounds()
	turned := mesh.Box{Min: box.Max, Max: box.Min}
	for want, r := range map[string]mesh.Region{
		`region "a" must be either a box or a sphere`:                {Name: "a"},
		`region "b" must be either a box or a sphere`:                {Name: "b", Box: &box, Sphere: &mesh.Sphere{Radius: 1}},
		`region "c": the box from`:                                   {Name: "c", Box: &turned},
		`region "d": the box from`:                                   {Name: "d", Box: &mesh.Box{Max: r3.Vector{X: math.NaN()}}},
		`region "e": the sphere of 0 mm radius has nothing in it`:    {Name: "e", Sphere: &mesh.Sphere{}},
		`region "f": the sphere of NaN mm radius has nothing in it`:  {Name: "f", Sphere: &mesh.Sphere{Radius: math.NaN()}},
		`region "g": the sphere of +Inf mm radius has nothing in it`: {Name: "g", Sphere: &mesh.Sphere{Radius: math.Inf(1)}},
		`region "h": the sphere of 5 mm radius has nothing in it`:    {Name: "h", Sphere: &mesh.Sphere{Centre: r3.Vector{Y: math.NaN()}, Radius: 5}},
		`the cuts leave nothing of the shell`:                        {Name: "i", Box: &box},
	} {
		_, _, err := mesh.Cut(room, []mesh.Region{r})
		require.ErrorContains(t, err, want)
	}
}

func ExampleCut() {
	room := sample.Box(2000, 1400, 1100, 100).Mesh
	_, counts, err := mesh.Cut(room, []mesh.Region{{
		Name: "hatch",
		Box:  &mesh.Box{Min: r3.Vector{X: -200, Y: -200, Z: 1050}, Max: r3.Vector{X: 200, Y: 200, Z: 1150}},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d triangles, %.2f m2\n", counts[0].Removed, counts[0].Area/1e6)
	// Output: 32 triangles, 0.16 m2
}
