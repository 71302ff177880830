package job

import (
	"fmt"

	"github.com/golang/geo/r3"
)

// later is what a bar must keep until every sketch is there, in the car's axes.
type later struct {
	hug bool                // hug was given
	at  map[string]Position // of the values of its keys, and of "end A" and "end B"
}

// remember keeps, where some bar's sketch is not known yet or not in the car's
// axes, what the bars need to be checked later.
func (r *reader) remember(bars []*draftBar) {
	waits := r.frame == ScanFrame
	for _, b := range bars {
		waits = waits || b.source() != "sketch" || b.SketchFile != ""
	}
	if !waits {
		return
	}
	for _, b := range bars {
		b.later = &later{hug: b.hug != nil, at: map[string]Position{}}
		for _, e := range b.from.order {
			b.later.at[e.name] = r.position(e.val.at)
		}
		if b.endsOK {
			for end, item := range b.from.get("ends").val.items {
				b.later.at["end "+endName(end)] = r.position(item.at)
			}
		}
	}
}

// place returns where a key's value stands in the job file, else the bar.
func (b *Bar) place(key string) Position {
	if b.later != nil {
		if pos, ok := b.later.at[key]; ok {
			return pos
		}
	}
	return b.Pos
}

// Finish checks what Parse could not, because a bar's sketch comes from a file
// or from the shell, or is in the scan's axes. Call it when all sketch files are
// attached, and again when more is known: after InCarFrame, and when the
// sketches of stations and bars along the shell are filled in. Bars of the last
// two kinds that have no sketch yet are not at fault. All that is wrong comes
// back as ParseErrors, sorted by place.
func (j *Job) Finish() error {
	var errs ParseErrors
	for i := range j.Bars {
		b := &j.Bars[i]
		say := func(key, text string) {
			errs = append(errs, ParseError{File: j.File, Pos: b.place(key), Text: label("bar", b.Name) + ": " + text})
		}
		if len(b.Sketch) == 0 && b.SketchFile != "" {
			say("sketch", fmt.Sprintf("sketch file %q is not read yet", b.SketchFile))
			continue
		}
		if _, fault := sketchFault(b.Sketch); fault != "" {
			say(b.source(), "sketch "+fault)
			continue
		}
		b.checkSketch(j.SketchFrame, say)
		for end, e := range b.Ends {
			if e.Kind != Landed || b.Mirror == None {
				continue
			}
			if k, _ := j.Find(e.Onto); k >= 0 && j.Bars[k].alone(j.SketchFrame) {
				say("end "+endName(end), fmt.Sprintf("end %s "+noMirrorImage, endName(end), e.Onto))
			}
		}
	}
	if len(errs) > 0 {
		return errs.sorted()
	}
	return nil
}

// InCarFrame returns a job whose points are in the car's axes; toCar takes a
// point from the scan's axes there, both in mm. Sketches, the points of Follow,
// Inside and keep-outs are moved; Cuts say themselves which axes they are in.
// Sketches of stations are in the car's axes at all times. A job that is in the
// car's axes already comes back as it is, copied. Finish checks the result.
func (j *Job) InCarFrame(toCar func(r3.Vector) r3.Vector) *Job {
	moved := *j
	moved.Bars = append([]Bar(nil), j.Bars...)
	moved.Keepouts = append([]Keepout(nil), j.Keepouts...)
	if j.SketchFrame != ScanFrame {
		return &moved
	}
	moved.SketchFrame = CarFrame
	if j.Shell.Inside != nil {
		p := toCar(*j.Shell.Inside)
		moved.Shell.Inside = &p
	}
	for i := range moved.Bars {
		b := &moved.Bars[i]
		if b.Station != nil {
			continue
		}
		points := make([]r3.Vector, len(b.Sketch))
		for k, p := range b.Sketch {
			points[k] = toCar(p)
		}
		b.Sketch = points
		if b.Follow != nil {
			b.Follow = &[2]r3.Vector{toCar(b.Follow[0]), toCar(b.Follow[1])}
		}
	}
	for i := range moved.Keepouts {
		k := &moved.Keepouts[i]
		if k.Sphere != nil {
			k.Sphere = &Sphere{Centre: toCar(k.Sphere.Centre), Radius: k.Sphere.Radius}
		}
		if k.Capsule != nil {
			k.Capsule = &Capsule{From: toCar(k.Capsule.From), To: toCar(k.Capsule.To), Radius: k.Capsule.Radius}
		}
	}
	return &moved
}
