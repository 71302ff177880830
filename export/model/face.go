package model

import (
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/tube"
)

// maxLayers is into how many pieces a face may be cut between outside and bore.
// Tubes as wide as their target need 5 at 44 x 2.4 mm; a solid rod needs 16.
const maxLayers = 16

// newtonSlack is how far in mm a point of a face may be off the target's surface.
// Coordinates are within 1e4 mm, which gives distances an error of some 1e-11.
const newtonSlack = 1e-9

// facePoint is a point of an end's face on the half-plane of a corner's clock.
type facePoint struct {
	radius float64 // from the tube's axis, mm
	along  float64 // the tube from the ring's centre, mm
}

// target is a tube that an end is notched round.
type target struct {
	path   *tube.Path
	radius float64
	// line is the straight at the joint; nil where the target is bent there.
	line *tube.Segment
}

// addTargets puts to each notched end of a bar the cage's other bars that are
// near enough for it to end on them, in the cage's order. Which of them it does
// end on shows in follow.
func addTargets(ends *[2]end, c *fit.Cage, b *fit.Bar) {
	for i := range ends {
		e := &ends[i]
		if b.Cuts[i].Kind != fit.Notch || !e.cut() {
			continue
		}
		node := b.Path.Segments[0].From
		if i == 1 {
			node = b.Path.Segments[len(b.Path.Segments)-1].To
		}
		deepest, _ := e.deepest()
		reach := b.Radius() + max(deepest, b.Cuts[i].Beyond()) // no point of the end is further from the node
		for _, other := range c.Bars {
			if other == b || other.Path == nil || len(other.Path.Segments) == 0 || other.Tube == nil {
				continue
			}
			if s, d := other.Path.Closest(node); d <= other.Radius()+reach {
				e.targets = append(e.targets, newTarget(other, s))
			}
		}
	}
}

// newTarget takes a bar as a target at the place s, in mm from its end A.
func newTarget(b *fit.Bar, s float64) target {
	t := target{path: b.Path, radius: b.Radius()}
	for i := range b.Path.Segments {
		if g := &b.Path.Segments[i]; g.Kind == tube.Straight && s >= g.Start && s <= g.Start+g.Length {
			t.line = g
		}
	}
	return t
}

// off returns how far (mm) q is outside the target's surface, negative inside,
// and how fast that grows when q moves along the unit vector dir.
func (t *target) off(q, dir r3.Vector) (d, slope float64) {
	if g := t.line; g != nil {
		rel := q.Sub(g.From)
		if s := rel.Dot(g.Dir); s >= 0 && s <= g.Length {
			across := rel.Sub(g.Dir.Mul(s))
			d = across.Norm()
			return d - t.radius, across.Dot(dir) / d
		}
	}
	s, d := t.path.Closest(q)
	foot, _ := t.path.At(s)
	return d - t.radius, q.Sub(foot).Dot(dir) / d
}

// follow gives the face of a cut end the points that it needs to lie on the
// target's surface, as the saw leaves it. On the half-plane of a clock this
// surface is an arc, and the ruled face its chord: of two equal tubes it cuts
// 0.6 mm deep into the target half way through a wall of 2.4 mm. Points at or
// beyond limit (mm along the straight) are not wanted.
//
// Where an end of the chord is on no target, or a point is not found, the face
// stays ruled.
func (w *weaver) follow(r *ring, e end, forward, limit float64) {
	if len(e.targets) == 0 {
		return
	}
	r.face = make([][]facePoint, r.clocks.len())
	for j := range r.face {
		g := generator{r, r.dir.Mul(forward), forward, j}
		x := [2]float64{forward * r.offset[0][j], forward * r.offset[1][j]}
		var on [2]*target
		for s, radius := range [2]float64{w.outer, w.inner} {
			for i := range e.targets {
				if d, _ := e.targets[i].off(g.at(radius, x[s]), g.back); math.Abs(d) <= w.cut {
					on[s] = &e.targets[i]
					break
				}
			}
		}
		if on[0] == nil || on[1] == nil {
			continue
		}
		r.face[j] = w.arc(on, g, x, limit)
	}
}

// generator is a line along the tube at a ring's corner j, on any radius. Places
// on it are in mm from the ring's centre along back, which is forward times the
// ring's direction.
type generator struct {
	ring    *ring
	back    r3.Vector
	forward float64
	j       int
}

func (g generator) at(radius, x float64) r3.Vector { return g.ring.at(radius, g.j, g.forward*x) }

// arc returns the points on the targets between outside and bore, which are at
// x[0] and x[1] on their generators and on the targets on[0] and on[1]. If these
// are two, the face goes over from one to the other at a crease.
//
// Where the branch is as wide as its target the arc begins square to the
// generators, and its angle grows with the root of the depth under the outside;
// so the depths are squares, which makes pieces of the arc alike. A chord's
// distance from its arc falls with the square of the number of pieces.
func (w *weaver) arc(on [2]*target, g generator, x [2]float64, limit float64) []facePoint {
	wall := w.outer - w.inner
	ruled := func(depth float64) float64 { return x[0] + (x[1]-x[0])*depth }
	d, _ := on[0].off(g.at(w.outer-wall/4, ruled(0.25)), g.back)
	pieces := min(maxLayers, int(math.Ceil(math.Sqrt(math.Abs(d)/w.cut))))
	if on[0] != on[1] {
		pieces = maxLayers
	}
	if pieces < 2 {
		return nil
	}
	points := make([]facePoint, 0, pieces-1)
	for k := 1; k < pieces; k++ {
		depth := float64(k*k) / float64(pieces*pieces)
		radius, guess := w.outer-wall*depth, ruled(depth)
		along, ok := on[0].leave(g, radius, guess)
		if on[1] != on[0] {
			// It is cut as deep as the deeper of the two.
			if other, found := on[1].leave(g, radius, guess); found && (!ok || other > along) {
				along, ok = other, true
			}
		}
		if !ok || math.Abs(along-guess) > w.outer/2 || along >= limit {
			return nil
		}
		points = append(points, facePoint{radius, g.forward * along})
	}
	return points
}

// leave returns where a generator leaves the target's surface, near a guess, by
// Newton's method. The distance from a straight grows ever faster along a line,
// so after one step the method comes down on the place from outside. ok is false
// if it does not find one.
func (t *target) leave(g generator, radius, guess float64) (x float64, ok bool) {
	x = guess
	for range 20 {
		d, slope := t.off(g.at(radius, x), g.back)
		if math.Abs(d) <= newtonSlack {
			return x, slope > 0
		}
		if !(slope > 1e-3) { // nearly along the surface, or turned back
			return x, false
		}
		x -= d / slope
	}
	return x, false
}
