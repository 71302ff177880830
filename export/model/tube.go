package model

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/fit/tube"
	"barwright/mesh"
)

// defaultChord is the chord error in mm where none is asked for. The contract
// allows 0.05 mm; the margin of 1 % is for the terms of third order that the
// division in sides leaves out, see sides.
const defaultChord = 0.0495

// minStraight is the length in mm of a straight that gets no ring of its own.
// Straights of rounding length would give triangles without area; leaving one
// out moves the surface by less than this.
const minStraight = 1e-6

// Options for [Tube] and [Cage].
type Options struct {
	// Chord is the largest distance in mm between the mesh and the true surface.
	// 0 means just under 0.05. It must not be negative.
	Chord float64
}

// Tube returns the mesh of a tube of the given outside diameter and wall (mm)
// along a path, in mm. It has two rings of corners (outer and inner) at every
// end of a straight and along arcs, all with the same number of corners.
//
// Errors: a size of which no tube can be made, a path without segments, an arc
// that the tube does not fit round (radius at most half the diameter).
func Tube(p *tube.Path, od, wall float64, opt Options) (*mesh.Mesh, error) {
	chord := opt.Chord
	if chord == 0 {
		chord = defaultChord
	}
	switch {
	case !(chord > 0):
		return nil, fmt.Errorf("chord error must be positive, got %g mm", chord)
	case !(wall > 0 && od > 2*wall) || math.IsInf(od, 0):
		return nil, fmt.Errorf("no tube has outside diameter %g and wall %g mm", od, wall)
	case len(p.Segments) == 0:
		return nil, fmt.Errorf("path has no segments")
	}
	outer := od / 2
	around := sides(2*math.Pi, outer, chord/2, 8)

	// Rings carry the frame of the tube along: across is the direction of corner
	// 0, kept as it is by straights and turned with the tube by arcs (parallel
	// transport), so that corners follow the tube without twist and every line of
	// corners is straight or a circle.
	var rings []ring
	across := tube.ReferenceLine(p)
	rings = append(rings, ring{p.Segments[0].From, p.Segments[0].Dir, across})
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Kind == tube.Straight {
			if g.Length > minStraight {
				rings = append(rings, ring{g.To, g.Dir, across})
			}
			continue
		}
		if g.Radius <= outer {
			return nil, fmt.Errorf("arc of radius %g mm is too tight for a tube of %g mm", g.Radius, od)
		}
		steps := sides(float64(g.Angle), g.Radius+outer, chord/2, 1)
		spoke, start := g.From.Sub(g.Centre), across
		for k := 1; k <= steps; k++ {
			turn := float64(g.Angle) * float64(k) / float64(steps)
			across = rotate(start, g.Axis, turn)
			rings = append(rings, ring{g.Centre.Add(rotate(spoke, g.Axis, turn)), rotate(g.Dir, g.Axis, turn), across})
		}
	}
	if len(rings) < 2 {
		return nil, fmt.Errorf("path has no length")
	}
	return weave(rings, around, outer, outer-wall), nil
}

// ring is a cross-section: its centre, the unit direction of the tube and the
// unit direction of its first corner.
type ring struct{ centre, dir, across r3.Vector }

// sides returns into how many equal parts a turn along a circle must be cut so
// that no chord is more than sag off, at least least.
//
// A triangle between two rings deviates from the tube's surface by at most the
// sum of the sagittas of its two grid edges, but for terms of third order: of
// the second derivatives of a torus S(u, v), the mixed one lies in the tangent
// plane and adds nothing along the normal. Tube therefore gives one half of the
// chord error to each direction, at the largest radius in that direction.
func sides(turn, radius, sag float64, least int) int {
	// A chord over the angle d is r (1 - cos(d/2)) = 2 r sin^2(d/4) off.
	d := 4 * math.Asin(math.Sqrt(min(1, sag/(2*radius))))
	return max(least, int(math.Ceil(turn/d)))
}

// weave joins rings to a closed mesh. Corners of ring i are 2*n*i + j outside
// and 2*n*i + n + j inside, j counted right-handed about the tube's direction.
func weave(rings []ring, n int, outer, inner float64) *mesh.Mesh {
	m := &mesh.Mesh{
		Vertices:  make([]r3.Vector, 0, 2*n*len(rings)),
		Triangles: make([][3]int32, 0, 4*n*len(rings)),
	}
	for _, r := range rings {
		side := r.dir.Cross(r.across)
		for _, radius := range [2]float64{outer, inner} {
			for j := range n {
				sin, cos := math.Sincos(2 * math.Pi * float64(j) / float64(n))
				m.Vertices = append(m.Vertices, r.centre.Add(r.across.Mul(radius*cos)).Add(side.Mul(radius*sin)))
			}
		}
	}
	quad := func(a, b, c, d int) {
		m.Triangles = append(m.Triangles,
			[3]int32{int32(a), int32(b), int32(c)}, [3]int32{int32(a), int32(c), int32(d)})
	}
	last := 2 * n * (len(rings) - 1)
	for j := range n {
		k := (j + 1) % n
		for i := range len(rings) - 1 {
			at, next := 2*n*i, 2*n*(i+1)
			quad(at+j, at+k, next+k, next+j)         // outer wall, facing out
			quad(at+n+k, at+n+j, next+n+j, next+n+k) // inner wall, facing the axis
		}
		quad(k, j, n+j, n+k)                     // end A, facing back
		quad(last+j, last+k, last+n+k, last+n+j) // end B, facing forward
	}
	return m
}

// rotate turns v about the unit axis, right-handed, by an angle in radians.
func rotate(v, axis r3.Vector, angle float64) r3.Vector {
	sin, cos := math.Sincos(angle)
	return v.Mul(cos).Add(axis.Cross(v).Mul(sin)).Add(axis.Mul(axis.Dot(v) * (1 - cos)))
}

// Cage returns the meshes of all bars of a cage, in its order, and one mesh that
// holds them all, in mm. A bar that no mesh can be made of is an error that
// names it.
func Cage(c *fit.Cage, opt Options) (bars []*mesh.Mesh, all *mesh.Mesh, err error) {
	all = &mesh.Mesh{}
	for _, b := range c.Bars {
		m, err := Tube(b.Path, b.Tube.OD, b.Tube.Wall, opt)
		if err != nil {
			return nil, nil, fmt.Errorf("bar %q: %w", b.Name, err)
		}
		first := int32(len(all.Vertices))
		all.Vertices = append(all.Vertices, m.Vertices...)
		for _, t := range m.Triangles {
			all.Triangles = append(all.Triangles, [3]int32{t[0] + first, t[1] + first, t[2] + first})
		}
		bars = append(bars, m)
	}
	return bars, all, nil
}
