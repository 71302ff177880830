package cope_test

import (
	"fmt"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/cope"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// A stay lands on a post at 45 degrees, 900 mm up.
func ExampleWork() {
	spec := &tube.Spec{Name: "t", OD: 40, Wall: 2}
	post, _ := tube.NewPath([]r3.Vector{{}, {Z: 1200}}, 0)
	stay, _ := tube.NewPath([]r3.Vector{{Z: 900}, {X: -900}}, 0)
	c := &fit.Cage{Bars: []*fit.Bar{
		{Name: "post", Tube: spec, Path: post, Ends: [2]job.End{{Kind: job.Foot}, {Kind: job.Free}}},
		{Name: "stay", Tube: spec, Path: stay, Ends: [2]job.End{{Kind: job.Landed, Onto: "post"}, {Kind: job.Foot}}},
	}}
	found := cope.Work(c, &job.Job{Joints: job.Joints{Vent: 3, Bare: 25, Apart: 25}}, nil, 0)

	j := c.Joints[0]
	fmt.Printf("%s: end %s of %s on %s, %.1f mm from its end A at clock %.0f\n", j.Name, j.End, j.Bar, j.Onto, j.At, j.Clock)
	fmt.Printf("%.1f deg, cut %.1f to %.1f mm from the node, bead %.1f mm\n", j.Angle, j.Short, j.Long, j.Length)
	fmt.Printf("saw %.1f mm, %.0f deg off square, %.1f mm deep\n", j.Saw.Size, j.Saw.Angle, j.Saw.Depth)
	fmt.Printf("vent in %s, %.1f mm from its end A\n", j.Vent.Bar, j.Vent.At)
	fmt.Println(len(found), "findings")
	// Output:
	// J1: end A of stay on post, 900.0 mm from its end A at clock 180
	// 45.0 deg, cut 0.0 to 48.3 mm from the node, bead 184.7 mm
	// saw 40.0 mm, 45 deg off square, 56.6 mm deep
	// vent in post, 880.0 mm from its end A
	// 0 findings
}
