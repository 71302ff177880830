package model

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit"
	"barwright/fit/tube"
	"barwright/mesh"
)

// defaultChord is the chord error in mm where none is asked for; the contract's
// value.
const defaultChord = 0.05

// chordShare is the part of the chord error that is given out. The rest is for
// the terms of third order that the division in sides leaves out, see sides.
const chordShare = 0.99

// defaultSides is how many corners a ring has at least if no chord error is
// asked for. Solids are weighed, too: the section of an n-sided tube is short of
// the round one by the part 1 - sin(2 pi/n) / (2 pi/n), 0.071 % for n = 96. The
// chord error alone would allow 66 corners for a tube of 44 mm, and 0.15 %.
const defaultSides = 96

// minStraight is the length in mm of a straight that gets no ring of its own.
// Straights of rounding length would give triangles without area; leaving one
// out moves the surface by less than this.
const minStraight = 1e-6

// Options for [Tube], [Bar] and [Cage].
type Options struct {
	// Chord is the largest distance in mm between the mesh and the true surface.
	// 0 means 0.05, and rings of at least 96 corners. It must not be negative.
	Chord float64
}

// Tube returns the mesh of a tube of the given outside diameter and wall (mm)
// along a path, in mm, with square ends at the path's ends. It has two rings of
// corners (outer and inner) at every end of a straight and along arcs, all with
// the same number of corners.
//
// Errors: a size of which no tube can be made, a path without segments, an arc
// that the tube does not fit round (radius at most half the diameter).
func Tube(p *tube.Path, od, wall float64, opt Options) (*mesh.Mesh, error) {
	return solid(p, od, wall, [2]end{}, opt)
}

// Bar returns the mesh of a bar, in mm, with its ends as b.Cuts says: along each
// end's straight, on the generator at each clock position, the outside ends at
// the curve Outer and the bore at Inner. Between the values given the curves are
// straight lines. An end without curves is square, at the node.
//
// The face between the two curves of a notch follows the surfaces of those bars
// of c on which it lies. Where there are none, and without c, which may be nil,
// it is ruled: straight from curve to curve on every generator's half-plane.
//
// What the model could not be given of these ends is in the findings, see
// [Findings]; the mesh is a closed solid all the same.
//
// Errors: as [Tube]; and a cut whose two curves differ in length, have fewer
// than minValues values, or one that is not finite.
func Bar(c *fit.Cage, b *fit.Bar, opt Options) (*mesh.Mesh, []fit.Finding, error) {
	ends, found, err := barEnds(b)
	if err != nil {
		return nil, nil, err
	}
	if c != nil && b.Path != nil {
		addTargets(&ends, c, b)
	}
	m, err := solid(b.Path, b.Tube.OD, b.Tube.Wall, ends, opt)
	return m, found, err
}

// Cage returns the meshes of all bars of a cage, in its order, and one mesh that
// holds them all, in mm. A bar that no mesh can be made of is an error that
// names it.
func Cage(c *fit.Cage, opt Options) (bars []*mesh.Mesh, all *mesh.Mesh, err error) {
	vertices, triangles := 0, 0
	for _, b := range c.Bars {
		m, _, err := Bar(c, b, opt)
		if err != nil {
			return nil, nil, fmt.Errorf("bar %q: %w", b.Name, err)
		}
		bars = append(bars, m)
		vertices += len(m.Vertices)
		triangles += len(m.Triangles)
	}
	all = &mesh.Mesh{Vertices: make([]r3.Vector, 0, vertices), Triangles: make([][3]int32, 0, triangles)}
	for _, m := range bars {
		first := int32(len(all.Vertices))
		all.Vertices = append(all.Vertices, m.Vertices...)
		for _, t := range m.Triangles {
			all.Triangles = append(all.Triangles, [3]int32{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	return bars, all, nil
}

// solid makes the mesh of Tube and Bar.
func solid(p *tube.Path, od, wall float64, ends [2]end, opt Options) (*mesh.Mesh, error) {
	chord, least := opt.Chord, 8
	if chord == 0 {
		chord, least = defaultChord, defaultSides
	}
	switch {
	case !(chord > 0):
		return nil, fmt.Errorf("chord error must be positive, got %g mm", chord)
	case !(wall > 0 && od > 2*wall) || math.IsInf(od, 0):
		return nil, fmt.Errorf("no tube has outside diameter %g and wall %g mm", od, wall)
	case p == nil || len(p.Segments) == 0:
		return nil, fmt.Errorf("path has no segments")
	}
	chord *= chordShare
	outer := od / 2
	n := sides(2*math.Pi, outer, chord/2, least)
	across := outer * (1 - math.Cos(math.Pi/float64(n))) // used up of the chord error
	w := &weaver{outer: outer, inner: outer - wall, cut: chord / 2, even: evenly(n)}
	rings, err := w.rings(p, ends, chord-across)
	if err != nil {
		return nil, err
	}
	return w.weave(rings), nil
}

// weaver makes a tube's mesh.
type weaver struct {
	outer, inner float64 // radii, mm
	cut          float64 // how far the edge of a cut may be off its curve, measured along the tube's surface, and its face off the target's, mm
	even         *clocks
}

// ring is a cross-section: its centre, the unit direction of the tube, the unit
// direction of its first corner, and where its corners are. At a cut end, corner
// j lies offset[0][j] mm further along the tube outside, offset[1][j] inside,
// and the face between them has the further points face[j], from the outside in;
// elsewhere both are nil.
type ring struct {
	centre, dir, across r3.Vector
	clocks              *clocks
	offset              [2][]float64
	face                [][]facePoint
}

// at returns the point of the tube at a radius (mm) and corner j's clock, so far
// (mm) along the tube from the ring's centre.
func (r *ring) at(radius float64, j int, along float64) r3.Vector {
	side := r.dir.Cross(r.across)
	v := r.centre.Add(r.across.Mul(radius * r.clocks.cos[j])).Add(side.Mul(radius * r.clocks.sin[j]))
	return v.Add(r.dir.Mul(along))
}

// rings returns the rings of a tube, from end A to end B. along is the chord
// error in mm that is left for arcs.
//
// Rings carry the frame of the tube along: across is the direction of corner 0,
// kept as it is by straights and turned with the tube by arcs (parallel
// transport), so that corners follow the tube without twist and every line of
// corners is straight or a circle.
func (w *weaver) rings(p *tube.Path, ends [2]end, along float64) ([]ring, error) {
	first, last := &p.Segments[0], &p.Segments[len(p.Segments)-1]
	a := ring{first.From, first.Dir, tube.ReferenceLine(p), w.even, [2][]float64{}, nil}
	if first == last {
		if first.Length <= minStraight {
			return nil, fmt.Errorf("path has no length")
		}
		b := a
		b.centre = first.To
		if ends[0].cut() || ends[1].cut() {
			w.cutBoth(&a, &b, ends, first.Length)
		}
		return []ring{a, b}, nil
	}

	var rings []ring
	if ends[0].cut() {
		a.clocks = w.refine(w.even, ends[:1], first.Length-keep)
		rings = w.cutEnd(a, ends[0], 1, first.Length)
	} else {
		rings = append(rings, a)
	}
	across := a.across
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Kind == tube.Straight {
			switch {
			case g == last && ends[1].cut():
				b := ring{g.To, g.Dir, across, w.refine(w.even, ends[1:], g.Length-keep), [2][]float64{}, nil}
				far := w.cutEnd(b, ends[1], -1, g.Length)
				rings = append(rings, far[1], far[0])
			case g.Length > minStraight, g == first && ends[0].cut():
				rings = append(rings, ring{g.To, g.Dir, across, w.even, [2][]float64{}, nil})
			}
			continue
		}
		if g.Radius <= w.outer {
			return nil, fmt.Errorf("arc of radius %g mm is too tight for a tube of %g mm", g.Radius, 2*w.outer)
		}
		steps := sides(float64(g.Angle), g.Radius+w.outer, along, 1)
		spoke, start := g.From.Sub(g.Centre), across
		for k := 1; k <= steps; k++ {
			turn := g.Angle * s1.Angle(k) / s1.Angle(steps)
			across = tube.Rotate(start, g.Axis, turn)
			rings = append(rings, ring{
				g.Centre.Add(tube.Rotate(spoke, g.Axis, turn)), tube.Rotate(g.Dir, g.Axis, turn), across,
				w.even, [2][]float64{}, nil,
			})
		}
	}
	return rings, nil
}

// sides returns into how many equal parts a turn along a circle must be cut so
// that no chord is more than sag off, at least least.
//
// A triangle between two rings deviates from the tube's surface by at most the
// sum of the sagittas of its two grid edges, but for terms of third order: of
// the second derivatives of a torus S(u, v), the mixed one lies in the tangent
// plane and adds nothing along the normal. Half of the chord error is therefore
// for the direction round the tube, and what that leaves for the direction along
// arcs, each at its largest radius.
func sides(turn, radius, sag float64, least int) int {
	// A chord over the angle d is r (1 - cos(d/2)) = 2 r sin^2(d/4) off.
	d := 4 * math.Asin(math.Sqrt(min(1, sag/(2*radius))))
	return max(least, int(math.Ceil(turn/d)))
}

// weave joins rings to a closed mesh. A ring has its outer corners first, then
// its inner ones, both counted right-handed about the tube's direction, and then
// the points of its face.
func (w *weaver) weave(rings []ring) *mesh.Mesh {
	corners := 0
	for _, r := range rings {
		corners += 2 * r.clocks.len()
		for _, points := range r.face {
			corners += len(points)
		}
	}
	m := &mesh.Mesh{Vertices: make([]r3.Vector, 0, corners), Triangles: make([][3]int32, 0, 2*corners)}
	start := 0
	for i := range rings {
		r := &rings[i]
		at := len(m.Vertices)
		for s, radius := range [2]float64{w.outer, w.inner} {
			for j := range r.clocks.at {
				along := 0.0
				if r.offset[s] != nil {
					along = r.offset[s][j]
				}
				m.Vertices = append(m.Vertices, r.at(radius, j, along))
			}
		}
		if i > 0 {
			before := rings[i-1].clocks
			strip(m, before, r.clocks, start, at, false)
			strip(m, before, r.clocks, start+before.len(), at+r.clocks.len(), true)
		}
		if i == 0 || i == len(rings)-1 {
			face(m, r, at, i == 0)
		}
		start = at
	}
	return m
}

// strip fills the band between two neighbouring rings, whose corners begin at a
// and b. It faces outward, or inward if inside. Where the rings differ in their
// corners it takes next, in turn, whichever corner comes first round the tube,
// so that no triangle is wider than one step of even clocks.
func strip(m *mesh.Mesh, ca, cb *clocks, a, b int, inside bool) {
	add := func(i, j, k int) {
		if inside {
			i, j = j, i
		}
		m.Triangles = append(m.Triangles, [3]int32{int32(i), int32(j), int32(k)})
	}
	na, nb := ca.len(), cb.len()
	for i, j := 0, 0; i < na || j < nb; {
		if ca.next(i) <= cb.next(j) {
			add(a+i, a+(i+1)%na, b+j%nb)
			i++
		} else {
			add(a+i%na, b+(j+1)%nb, b+j)
			j++
		}
	}
}

// face closes the end of the tube at a ring whose corners begin at a. It faces
// back along the tube or forward. From every outer corner a line runs over the
// face's points to the inner one; between neighbouring lines triangles take, in
// turn, whichever next point is further out. Without points in between both
// kinds of face cut their quadrangles along the same diagonal, so that faces
// that lie close together do not cross.
func face(m *mesh.Mesh, r *ring, a int, back bool) {
	n := r.clocks.len()
	first := make([]int, n+1) // of each line's points in between
	for j := range n {
		first[j] = len(m.Vertices)
		if r.face != nil {
			for _, p := range r.face[j] {
				m.Vertices = append(m.Vertices, r.at(p.radius, j, p.along))
			}
		}
	}
	first[n] = len(m.Vertices)
	// point returns the vertex of line j's point i, and its radius; the inner
	// corner counts as 0, what is beyond it as less.
	point := func(j, i int) (vertex int32, radius float64) {
		switch between := first[j+1] - first[j]; {
		case i == 0:
			return int32(a + j), math.Inf(1)
		case i <= between:
			return int32(first[j] + i - 1), r.face[j][i-1].radius
		case i == between+1:
			return int32(a + n + j), 0
		}
		return -1, -1
	}
	for j := range n {
		k := (j + 1) % n
		p, _ := point(j, 0)
		q, _ := point(k, 0)
		for i, l := 1, 1; ; {
			nextP, radiusP := point(j, i)
			nextQ, radiusQ := point(k, l)
			if radiusP < 0 && radiusQ < 0 {
				break
			}
			tri := [3]int32{q, p, nextP}
			if radiusP >= radiusQ {
				p, i = nextP, i+1
			} else {
				tri[2] = nextQ
				q, l = nextQ, l+1
			}
			if !back {
				tri[1], tri[2] = tri[2], tri[1]
			}
			m.Triangles = append(m.Triangles, tri)
		}
	}
}
