package cope

import "barwright/fit"

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
		node, _ := b.Path.At(station(b, p.End))
		height := p.Centre.Add(p.Normal.Mul(p.Thickness)).Sub(node).Dot(p.Normal)
		if cut, _ := toPlane(b, p.End, p.Normal, height); cut != nil {
			b.Cuts[p.End] = *cut
		}
	}
}
