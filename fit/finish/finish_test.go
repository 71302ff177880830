package finish_test

import (
	"context"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/check"
	"barwright/fit/finish"
	"barwright/fit/job"
	"barwright/fit/tube"
)

const pairs = `
shell = { file = "a", clearance = 10 }
die.d = { od = 40, clr = 120, springback = [[90, 92]] }
tube.t = { od = 40, wall = 2, die = "d" }
[[bar]]
name = "hoop"
tube = "t"
sketch = [[0, -500, 0], [0, -450, 900], [0, 450, 900], [0, 500, 0]]
ends = ["shell", "shell"]
mirror = "self"
[[bar]]
name = "stay"
tube = "t"
sketch = [[0, 300, 900], [-700, 400, 100]]
ends = ["hoop", "shell"]
mirror = "pair"
`

// cage stands the bars of a job on their sketches, feet on planes that lean
// differently on the two sides.
func cage(t *testing.T) (*fit.Cage, *job.Job) {
	t.Helper()
	j, err := job.Parse("j.toml", []byte(pairs))
	require.NoError(t, err)
	c := &fit.Cage{}
	for _, in := range j.Expanded() {
		p, err := tube.NewPath(in.Sketch, in.Bar.Tube.Die.CLR)
		require.NoError(t, err)
		b := &fit.Bar{Name: in.Name, Job: in.Bar, Tube: in.Bar.Tube, Ends: in.Ends, Path: p, Table: in.Bar.Tube.Table(p), Clearance: 10}
		if in.Mirrored {
			b.Mirrored, b.MirrorOf = true, in.Bar.Name
		}
		for e, end := range in.Ends {
			if end.Kind == job.Foot {
				node := in.Sketch[0]
				if e == 1 {
					node = in.Sketch[len(in.Sketch)-1]
				}
				lean := r3.Vector{Y: 0.1, Z: 1}
				if node.Y < 0 {
					lean.Y = 0.3
				}
				b.Feet = append(b.Feet, fit.Foot{End: e, Point: node, Normal: lean.Normalize()})
			}
		}
		c.Bars = append(c.Bars, b)
	}
	return c, j
}

func TestPairsAreSawnAlike(t *testing.T) {
	c, j := cage(t)
	require.NoError(t, finish.Cage(context.Background(), c, j, nil, check.Options{}))
	require.Len(t, c.Joints, 2)
	hoop, left, right := c.Bars[0], c.Bars[1], c.Bars[2]
	require.NotEqual(t, left.Cuts[1].Beyond(), right.Cuts[1].Beyond(), "the feet differ")
	require.Equal(t, left.Blank.Length, right.Blank.Length)
	require.Equal(t, max(left.Cuts[1].Beyond(), right.Cuts[1].Beyond()), right.Blank.Beyond[1])
	require.NotEqual(t, hoop.Cuts[0].Beyond(), hoop.Cuts[1].Beyond())
	require.Equal(t, hoop.Blank.Beyond[0], hoop.Blank.Beyond[1])
	require.NotNil(t, hoop.Budget)
	require.Zero(t, left.Blank.Beyond[0], "a notched end needs nothing past its node")
}

func TestStopsWithItsContext(t *testing.T) {
	c, j := cage(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	require.ErrorIs(t, finish.Cage(ctx, c, j, nil, check.Options{}), context.Canceled)
}
