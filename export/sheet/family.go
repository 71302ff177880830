package sheet

import (
	"barwright/fit"
	"barwright/fit/bender"
)

// family is a bar that is drawn, with the others that its sheets serve. Numbers
// are indices into the cage's bars.
type family struct {
	first   int
	members []member
}

type member struct {
	bar                int
	mirrored, reversed bool // how it is the first one's shape
	twin               bool // it is the other half of the first one's pair, with joints and ends likewise mirrored
}

// families groups bent bars that one template serves.
func families(bars []*fit.Bar) []family {
	shapes := make([]bender.Shape, len(bars))
	for i, b := range bars {
		// From the path, which is what is drawn.
		shapes[i] = bender.Shape{OD: b.Tube.OD, CLR: b.Path.Radius, Table: b.Tube.Table(b.Path)}
	}
	var out []family
	for _, group := range bender.Families(shapes, bender.Tol{}) {
		f := family{first: group[0].Index}
		for _, m := range group[1:] {
			b := bars[m.Index]
			if b.Mirrored && b.MirrorOf == bars[f.first].Name {
				// A flat shape and a symmetric one match as they stand, too, but only
				// the sheet turned over shows joints and reference line of the twin.
				f.members = append(f.members, member{bar: m.Index, mirrored: true, twin: true})
				continue
			}
			f.members = append(f.members, member{bar: m.Index, mirrored: m.Match.Mirrored, reversed: m.Match.Turned})
		}
		out = append(out, f)
	}
	return out
}
