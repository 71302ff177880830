package job

import (
	"fmt"
	"strings"

	"github.com/golang/geo/r3"
)

// This file reads what a job says about its scan: how it is turned into the
// car's axes, and what is cut away.

// Tolerances for datum points. What they stop is a point read off twice.
const (
	floorWide = 50.0  // mm that each floor point must be off the line through the others
	sideWide  = 100.0 // mm that left and right must be apart
)

// scanAxes are the axes of a scan that may point up or ahead.
var scanAxes = []string{"+x", "-x", "+y", "-y", "+z", "-z"}

func axisInto(place func(*Align) *string) func(*reader, string, *value, *Align) {
	return func(r *reader, what string, v *value, a *Align) {
		*place(a), _ = r.word(what, v, scanAxes...)
	}
}

func pointInto(place func(*Align) **r3.Vector) func(*reader, string, *value, *Align) {
	return func(r *reader, what string, v *value, a *Align) {
		if p, ok := r.vector(what, v); ok {
			*place(a) = &p
		}
	}
}

var alignFields = []field[Align]{
	{"mode", true, func(r *reader, what string, v *value, a *Align) {
		w, _ := r.word(what, v, string(AlignAxes), string(AlignDatum), string(AlignAuto))
		a.Mode = AlignMode(w)
	}},
	{"up", false, axisInto(func(a *Align) *string { return &a.Up })},
	{"front", false, axisInto(func(a *Align) *string { return &a.Front })},
	{"origin", false, pointInto(func(a *Align) **r3.Vector { return &a.Origin })},
	{"floor", false, readFloor},
	{"left", false, pointInto(func(a *Align) **r3.Vector { return &a.Left })},
	{"right", false, pointInto(func(a *Align) **r3.Vector { return &a.Right })},
	{"ahead", false, pointInto(func(a *Align) **r3.Vector { return &a.Ahead })},
}

// modeKeys tells which keys each way to align needs, and which it may have
// besides origin.
var modeKeys = map[AlignMode]struct{ need, may []string }{
	AlignAxes:  {need: []string{"up", "front"}},
	AlignDatum: {need: []string{"floor", "left", "right", "ahead"}},
	AlignAuto:  {may: []string{"up", "front"}},
}

func readAlign(r *reader, what string, v *value, s *Shell) {
	if v.kind != kindTable {
		r.errorf(v.at, "%s must be a table, got %s", what, v.kind)
		return
	}
	a := &Align{Pos: r.position(v.at)}
	table(r, what, v, alignFields, a)
	s.Align = a
	if a.Mode == "" {
		return
	}
	keys := modeKeys[a.Mode]
	for _, key := range keys.need {
		if v.get(key) == nil {
			r.errorf(v.at, "%s: mode = %q needs %s", what, a.Mode, key)
		}
	}
	allowed := " " + strings.Join(append(append([]string{"mode", "origin"}, keys.need...), keys.may...), " ") + " "
	for _, f := range alignFields {
		if e := v.get(f.name); e != nil && !strings.Contains(allowed, " "+f.name+" ") {
			r.errorf(e.at, "%s: %s does not go with mode = %q", what, f.name, a.Mode)
		}
	}
	if a.Up != "" && a.Front != "" && a.Up[1] == a.Front[1] {
		r.errorf(v.get("front").val.at, "%s: up and front must be different axes, got %s and %s", what, a.Up, a.Front)
	}
	if a.Left != nil && a.Right != nil && !r.unitless {
		if d := a.Left.Sub(*a.Right).Norm(); d < sideWide {
			r.errorf(v.get("right").val.at, "%s: left and right are %.3g mm apart, must be at least %g mm", what, d, sideWide)
		}
	}
}

// readFloor reads three points that span a plane.
func readFloor(r *reader, what string, v *value, a *Align) {
	items, ok := r.list(what, v, "three points [x, y, z]")
	if !ok {
		return
	}
	if len(items) != 3 {
		r.errorf(v.at, "%s must be three points [x, y, z], got %s", what, count(len(items), "value"))
		return
	}
	var p [3]r3.Vector
	sound := true
	for i, item := range items {
		q, ok := r.vector(fmt.Sprintf("%s point %d", what, i+1), item)
		p[i], sound = q, sound && ok
	}
	if !sound {
		return
	}
	ab, bc, ca := p[1].Sub(p[0]), p[2].Sub(p[1]), p[0].Sub(p[2])
	longest := max(ab.Norm(), bc.Norm(), ca.Norm())
	// Twice the area by the longest side is the least height of the triangle.
	if area := ab.Cross(bc).Norm(); !r.unitless && area < floorWide*longest || longest == 0 {
		r.errorf(v.at, "%s: the points lie nearly on one line, must be off it by at least %g mm", what, floorWide)
		return
	}
	a.Floor = p[:]
}

var cutFields = []field[Cut]{
	{"name", true, func(r *reader, what string, v *value, c *Cut) { c.Name, _ = r.name(what, v) }},
	{"sphere", false, func(r *reader, what string, v *value, c *Cut) {
		c.Sphere = &Sphere{}
		table(r, what, v, sphereFields, c.Sphere)
	}},
	{"box", false, func(r *reader, what string, v *value, c *Cut) { c.Box = readBox(r, what, v) }},
}

func readCuts(r *reader, _ string, v *value, s *Shell) {
	headed(r, "shell.cut", v, func(what string, v *value) {
		c := Cut{Frame: CarFrame, Pos: r.position(v.at)}
		table(r, what, v, cutFields, &c)
		for _, other := range s.Cuts {
			if c.Name != "" && other.Name == c.Name {
				r.errorf(v.get("name").val.at, "%s: name is already that of the cut in line %d", what, other.Pos.Line)
				break
			}
		}
		r.oneShape(what, v, "sphere", "box")
		s.Cuts = append(s.Cuts, c)
	})
}
