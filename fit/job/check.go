package job

import (
	"fmt"
	"strings"

	"github.com/golang/geo/r3"

	"barwright/fit/tube"
)

// checkBar checks what a bar's keys say together.
func (r *reader) checkBar(b *draftBar, bent bool) {
	if bent && b.Tube != nil && b.Tube.Die == nil {
		r.errorf(b.at("sketch"), "%s: sketch has %s, but tube %q has no die and is only used straight",
			b.what, count(len(b.Sketch)-2, "bend"), b.Tube.Name)
	}
	if b.Lean != nil && !b.Flat {
		r.errorf(b.at("lean"), "%s: lean needs flat = true", b.what)
	}
	if b.Lean != nil && b.Flat && len(b.Sketch) == 2 {
		r.errorf(b.at("lean"), "%s: lean needs a bar with bends", b.what)
	}
	if b.Fixed && b.hug != nil && *b.hug {
		r.errorf(b.at("hug"), "%s: hug = true and fixed = true contradict each other", b.what)
	}
	if b.Fixed && bent && b.Tube != nil && b.Tube.Die != nil && b.Tube.Die.CLR > 0 {
		if _, err := tube.NewPath(b.Sketch, b.Tube.Die.CLR); err != nil {
			r.errorf(b.at("sketch"), "%s: fixed sketch cannot be bent on die %q: %v (nodes counted from 0)", b.what, b.Tube.Die.Name, err)
		}
	}
	if len(b.Sketch) == 0 {
		return
	}
	switch b.Mirror {
	case Self:
		for i, p := range b.Sketch {
			j := len(b.Sketch) - 1 - i
			if d := mirrored(p).Sub(b.Sketch[j]).Norm(); d > selfMatch && i <= j {
				r.errorf(b.at("sketch"), "%s: mirror = \"self\", but point %d and the mirror image of point %d are %.0f mm apart, must be at most %g mm",
					b.what, j+1, i+1, d, selfMatch)
				break
			}
		}
	case Pair:
		if isOnPlane(b.Sketch) {
			r.errorf(b.at("sketch"), "%s: mirror = \"pair\", but the sketch lies on the mirror plane y = 0", b.what)
		}
	}
}

// mirrored returns the mirror image of a point in the plane y = 0.
// 0 has the mirror image 0, not -0.
func mirrored(p r3.Vector) r3.Vector { return r3.Vector{X: p.X, Y: 0 - p.Y, Z: p.Z} }

func isOnPlane(sketch []r3.Vector) bool {
	for _, p := range sketch {
		if abs(p.Y) > onPlane {
			return false
		}
	}
	return true
}

// checkLandings resolves what the bars' ends land on, and finds loops.
func (r *reader) checkLandings(bars []*draftBar) {
	index := map[string]int{}
	words := []string{endShell, endFree}
	for i, b := range bars {
		if _, twice := index[b.Name]; b.Name == "" || twice {
			continue
		}
		index[b.Name] = i
		words = append(words, b.Name)
		if b.Mirror == Pair || b.unsure {
			words = append(words, b.Name+MirrorSuffix)
		}
	}
	onto := make([][]int, len(bars)) // what each bar waits for
	for i, b := range bars {
		if !b.endsOK {
			continue
		}
		sound := true
		for end, word := range b.ends {
			at := b.from.get("ends").val.items[end].at
			target, ok := r.resolve(b, end, word, at, index, bars, words)
			sound = sound && ok
			if ok && target >= 0 {
				onto[i] = append(onto[i], target)
			}
		}
		if b.Mirror == Self && sound {
			r.checkSelfEnds(b, bars, index)
		}
	}
	r.checkLoops(bars, onto)
}

// resolve fills in one end. It returns the index of the bar that it lands on,
// -1 if on none.
func (r *reader) resolve(b *draftBar, end int, word string, at int, index map[string]int, bars []*draftBar, words []string) (int, bool) {
	switch word {
	case endShell:
		b.Ends[end] = End{Kind: Foot}
		return -1, true
	case endFree:
		b.Ends[end] = End{Kind: Free}
		return -1, true
	}
	what := fmt.Sprintf("%s: end %s", b.what, endName(end))
	base, mirror := strings.CutSuffix(word, MirrorSuffix)
	k, ok := index[base]
	if !ok {
		r.errorf(at, "%s lands on %q, which is no bar (%s)", what, word, known(word, words))
		return -1, false
	}
	target := bars[k]
	switch {
	case target == b && mirror:
		r.errorf(at, "%s lands on the bar's own mirror image", what)
	case target == b:
		r.errorf(at, "%s lands on the bar itself", what)
	case target.unsure || b.unsure:
		return -1, false
	case mirror && target.Mirror != Pair:
		r.errorf(at, "%s lands on %q, but bar %q is not mirrored as a pair", what, word, base)
	case b.Mirror != None && target.Mirror == None && !isOnPlane(target.Sketch):
		r.errorf(at, "%s lands on %q, which has no mirror image for the mirrored end to land on", what, word)
	default:
		b.Ends[end] = End{Kind: Landed, Onto: word}
		return k, true
	}
	return -1, false
}

// checkSelfEnds makes sure that the ends of a self-mirrored bar are mirror
// images of each other.
func (r *reader) checkSelfEnds(b *draftBar, bars []*draftBar, index map[string]int) {
	a, z := b.Ends[0], b.Ends[1]
	want := a
	if a.Kind == Landed {
		base, _ := strings.CutSuffix(a.Onto, MirrorSuffix)
		want.Onto = mirrorName(a.Onto, bars[index[base]].Mirror)
	}
	if want != z {
		r.errorf(b.at("ends"), "%s: mirror = \"self\" needs ends that mirror each other, got %q and %q", b.what, b.ends[0], b.ends[1])
	}
}

// checkLoops reports loops of landings, each once: depth first, in file order.
func (r *reader) checkLoops(bars []*draftBar, onto [][]int) {
	const (
		unseen = iota
		open
		done
	)
	state := make([]int, len(bars))
	var trail []int
	var visit func(i int)
	visit = func(i int) {
		state[i] = open
		trail = append(trail, i)
		for _, k := range onto[i] {
			switch state[k] {
			case unseen:
				visit(k)
			case open:
				loop := trail[lastIndex(trail, k):]
				names := make([]string, 0, len(loop)+1)
				for _, n := range append(append([]int{}, loop...), k) {
					names = append(names, fmt.Sprintf("%q", bars[n].Name))
				}
				first := bars[loop[0]]
				r.errorf(first.at("ends"), "%s: landings go round in a loop: %s", first.what, strings.Join(names, " on "))
			}
		}
		trail = trail[:len(trail)-1]
		state[i] = done
	}
	for i := range bars {
		if state[i] == unseen {
			visit(i)
		}
	}
}

func lastIndex(list []int, x int) int {
	for i := len(list) - 1; i >= 0; i-- {
		if list[i] == x {
			return i
		}
	}
	return 0
}
