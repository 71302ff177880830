package cope

import (
	"math"

	"github.com/golang/geo/s1"

	"barwright/fit"
	"barwright/fit/tube"
)

// Seat cuts every foot that has a fitted plate for that plate, as it lies: along
// its upper side, in place of a plane that Work took from the shell right at the
// node. Beside a wall the two differ by ten degrees, which leaves a gap that no
// weld should fill. A foot too flat to be cut so keeps what it has.
func Seat(c *fit.Cage) {
	bars := map[string]*fit.Bar{}
	for _, b := range c.Bars {
		bars[b.Name] = b
	}
	for i := range c.Plates {
		p := &c.Plates[i]
		b := bars[p.Bar]
		if b == nil || !p.Fitted || b.Cuts[p.End].Kind != fit.Mitre {
			continue
		}
		s := station(b, p.End)
		node, w := b.Path.At(s)
		if p.End == 1 {
			w = w.Mul(-1)
		}
		slope := w.Dot(p.Normal)
		if !(slope > math.Sin(sharpest*math.Pi/180)) {
			continue
		}
		// The point N + x w + r lean of a line along the tube is on the upper side
		// where its height over the plate's is 0.
		top := p.Centre.Add(p.Normal.Mul(p.Thickness)).Sub(node).Dot(p.Normal)
		cut := fit.EndCut{Kind: fit.Mitre}
		for i := range clocks {
			lean := tube.AtClock(b.Path, s, s1.Angle(i)*s1.Degree).Dot(p.Normal)
			cut.Outer = append(cut.Outer, (top-b.Radius()*lean)/slope)
			cut.Inner = append(cut.Inner, (top-b.Tube.Inner()/2*lean)/slope)
		}
		b.Cuts[p.End] = cut
	}
}
