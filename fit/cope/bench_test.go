package cope

import (
	"testing"

	"barwright/fit"
	"barwright/fit/job"
)

// One joint, all that is worked out about it: on a straight target, in a bend,
// in a node of three bars.
func BenchmarkJoint(b *testing.B) {
	hoop := bar(b, "hoop", 44.45, 2.41, 152.4, [2]job.End{foot, foot},
		v(0, 600, 0), v(0, 600, 900), v(0, 450, 1150), v(0, -450, 1150), v(0, -600, 900), v(0, -600, 0))
	bend := hoop.Path.Segments[1]
	for _, c := range []struct {
		name string
		bars []*fit.Bar
	}{
		{"straight", []*fit.Bar{hoop, on(b, "stay", 38.1, 2.41, hoop, 500, v(-1, 0, -1), 900)}},
		{"equal", []*fit.Bar{hoop, on(b, "stay", 44.45, 2.41, hoop, 500, v(-1, 0, -1), 900)}},
		{"bend", []*fit.Bar{hoop, on(b, "stay", 44.45, 2.41, hoop, bend.Start+bend.Length/2, v(-1, 0, -1), 900)}},
		{"node", []*fit.Bar{hoop, on(b, "first", 38.1, 2.41, hoop, 500, v(-1, 0, -1), 900), on(b, "stay", 38.1, 2.41, hoop, 520, v(-1, -1, 0), 900)}},
	} {
		b.Run(c.name, func(b *testing.B) {
			g := cage(c.bars...)
			all := landings(g)
			order(g, all)
			j := shop()
			for b.Loop() {
				all[len(all)-1].work(g, j, 0)
			}
		})
	}
}
