package job

import (
	"fmt"
	"strings"

	"github.com/golang/geo/r3"

	"barwright/fit/tube"
)

// checkSource checks that a bar has one thing to make its sketch from, and what
// goes with it.
func (r *reader) checkSource(b *draftBar) {
	var given []string
	for _, key := range []string{"sketch", "station", "follow"} {
		if b.from.get(key) != nil {
			given = append(given, key)
		}
	}
	b.Flat = b.flat != nil && *b.flat
	switch len(given) {
	case 0:
		r.errorf(b.from.at, "%s: needs a sketch, a station or two points to follow", b.what)
		return
	case 1:
	default:
		r.errorf(b.from.get(given[1]).at, "%s: has both %s and %s, must have one of them", b.what, given[0], given[1])
		return
	}
	if given[0] != "sketch" && b.bends != nil {
		b.Bends = *b.bends
	}
	if given[0] == "sketch" {
		if b.from.get("bends") != nil {
			r.errorf(b.from.get("bends").at, "%s: bends does not go with sketch, which has its own", b.what)
		}
		if b.from.get("ends") == nil {
			r.errorf(b.from.at, "%s: ends is missing", b.what)
		}
		return
	}
	if b.Fixed {
		r.errorf(b.at("fixed"), "%s: fixed needs the sketch of the bar as built, not %s", b.what, given[0])
	}
	if given[0] == "follow" {
		if b.from.get("bends") == nil {
			r.errorf(b.from.at, "%s: follow needs bends", b.what)
		}
		return
	}
	switch {
	case b.from.get("bends") == nil:
		b.Bends = defaultBends
	case b.bends != nil && !hoopRange.holds(float64(*b.bends)):
		r.errorf(b.at("bends"), "%s: station needs %s bends, got %d", b.what, hoopRange.text(""), *b.bends)
	}
	if b.flat != nil && !*b.flat {
		r.errorf(b.at("flat"), "%s: station makes a flat hoop, which flat = false contradicts", b.what)
	}
	b.Flat = true
	if b.Mirror == Pair {
		r.errorf(b.at("mirror"), "%s: station makes a hoop across the whole car, which is no pair", b.what)
	}
	if b.endsOK && (b.ends[0] != endShell || b.ends[1] != endShell) {
		r.errorf(b.at("ends"), "%s: station makes a hoop with both ends on the shell, got %q and %q", b.what, b.ends[0], b.ends[1])
	}
}

// checkBar checks what a bar's keys say together.
func (r *reader) checkBar(b *draftBar) {
	if b.Lean != nil && !b.Flat {
		r.errorf(b.at("lean"), "%s: lean needs flat = true", b.what)
	}
	if b.Fixed && b.hug != nil && *b.hug {
		r.errorf(b.at("hug"), "%s: hug = true and fixed = true contradict each other", b.what)
	}
	if b.Bends > 0 && b.Tube != nil && b.Tube.Die == nil {
		r.errorf(b.at("bends"), "%s: has %s, but tube %q has no die and is only used straight", b.what, count(b.Bends, "bend"), b.Tube.Name)
	}
	if b.Lean != nil && b.Flat && b.Follow != nil && b.Bends == 0 {
		r.errorf(b.at("lean"), "%s: lean needs a bar with bends", b.what)
	}
	b.checkSketch(r.frame, func(key, text string) { r.errorf(b.at(key), "%s: %s", b.what, text) })
}

// sketchFault says what is wrong with a sketch's points, as "points 1 and 2
// are ...", and the index of the point where it shows; "" if nothing is.
func sketchFault(points []r3.Vector) (at int, fault string) {
	for i := 1; i < len(points); i++ {
		if d := points[i].Sub(points[i-1]).Norm(); d < pointsApart {
			return i, fmt.Sprintf("points %d and %d are %.3g mm apart, must be at least %g mm", i, i+1, d, pointsApart)
		}
	}
	for i := 1; i+1 < len(points); i++ {
		if points[i].Sub(points[i-1]).Angle(points[i+1].Sub(points[i])) > foldedBack {
			return i, fmt.Sprintf("turns straight back at point %d", i+1)
		}
	}
	return 0, ""
}

// outline returns what is known of a bar's course: its sketch, else the points
// that it follows the shell between; none if it is not known yet.
func (b *Bar) outline() []r3.Vector {
	if len(b.Sketch) == 0 && b.Follow != nil {
		return b.Follow[:]
	}
	return b.Sketch
}

// checkSketch checks what a bar's sketch, if there is one, and its other keys
// say together. say takes the key at fault and what is wrong.
func (b *Bar) checkSketch(frame Frame, say func(key, text string)) {
	bends := len(b.Sketch) - 2
	if bends > 0 && b.Tube != nil && b.Tube.Die == nil && b.Bends == 0 {
		say("sketch", fmt.Sprintf("sketch has %s, but tube %q has no die and is only used straight", count(bends, "bend"), b.Tube.Name))
	}
	if b.Lean != nil && b.Flat && bends == 0 && b.Follow == nil {
		say("lean", "lean needs a bar with bends")
	}
	if b.Fixed && bends > 0 && b.Tube != nil && b.Tube.Die != nil && b.Tube.Die.CLR > 0 {
		if _, err := tube.NewPath(b.Sketch, b.Tube.Die.CLR); err != nil {
			say("sketch", fmt.Sprintf("fixed sketch cannot be bent on die %q: %v (nodes counted from 0)", b.Tube.Die.Name, err))
		}
	}
	points := b.outline()
	if frame == ScanFrame || len(points) == 0 {
		return // nothing is known of the mirror plane
	}
	switch b.Mirror {
	case Self:
		for i, p := range points {
			j := len(points) - 1 - i
			if d := mirrored(p).Sub(points[j]).Norm(); d > selfMatch && i <= j {
				say(b.source(), fmt.Sprintf("mirror = \"self\", but point %d and the mirror image of point %d are %.0f mm apart, must be at most %g mm", j+1, i+1, d, selfMatch))
				break
			}
		}
	case Pair:
		if isOnPlane(points) {
			say(b.source(), fmt.Sprintf("mirror = \"pair\", but %s lies on the mirror plane y = 0", map[bool]string{true: "the bar", false: "the sketch"}[b.Follow != nil]))
		}
	}
}

// source is the key that a bar's sketch comes from.
func (b *Bar) source() string {
	switch {
	case b.Station != nil:
		return "station"
	case b.Follow != nil:
		return "follow"
	}
	return "sketch"
}

// alone tells whether a bar is known to have no mirror image: it is none of a
// pair, not its own, and not in the mirror plane.
func (b *Bar) alone(frame Frame) bool {
	return b.Mirror == None && (b.Station != nil || frame != ScanFrame && !isOnPlane(b.outline()))
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

// noMirrorImage is said of an end of a mirrored bar on one that stands alone.
const noMirrorImage = "lands on %q, which has no mirror image for the mirrored end to land on"

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
	case b.Mirror != None && target.alone(r.frame):
		r.errorf(at, "%s "+noMirrorImage, what, word)
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
