package fit

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"
	"gonum.org/v1/gonum/floats"

	"barwright/mesh"
)

// Sketcher makes sketches for bars whose place is given in place of one. They
// are as rough as a hand's, but lie in the cabin and have the right number of
// corners; the solver does the rest.
type Sketcher struct {
	Shell  *mesh.Shell
	Inside r3.Vector // a point in open cabin air, mm
	Offset float64   // tube's centreline to shell, mm
}

// maxSketchBends is the largest number of bends a sketch is made with.
const maxSketchBends = 12

// Station sketches a hoop in the plane across the car at x = station (mm, at the
// height of the floor), its top leaning to the rear by lean (rad): from the
// surface its left leg stands on, up the side, along the roof and down again. An
// error tells why there is none.
func (s Sketcher) Station(station, lean float64, bends int) ([]r3.Vector, error) {
	if bends < 2 || bends > maxSketchBends {
		return nil, fmt.Errorf("a hoop needs 2 to %d bends, not %d", maxSketchBends, bends)
	}
	up := r3.Vector{X: -math.Sin(lean), Z: math.Cos(lean)}
	across := r3.Vector{Y: 1}
	centre, err := s.middle(station, up)
	if err != nil {
		return nil, err
	}
	const rays = 90 // from straight up to straight down on either side
	var sides [2][]r3.Vector
	for side, sign := range [2]float64{1, -1} {
		pts, err := s.climb(centre, across.Mul(sign), up, rays)
		if err != nil {
			return nil, fmt.Errorf("at x = %.0f mm: %w", station, err)
		}
		sides[side] = pts
	}
	var outline []r3.Vector
	for i := len(sides[0]) - 1; i >= 0; i-- { // left foot to the top
		outline = append(outline, sides[0][i])
	}
	outline = append(outline, sides[1][1:]...) // and down to the right foot
	return corners(outline, bends), nil
}

// middle finds the point of the station's plane half way between floor and roof,
// in the middle of the car.
func (s Sketcher) middle(station float64, up r3.Vector) (r3.Vector, error) {
	reach := s.Shell.Raw.Bounds().Size().Norm()
	// The plane meets the floor at x = station: start at the inside point's
	// height and slide along the plane.
	at := r3.Vector{X: station + up.X/up.Z*s.Inside.Z, Z: s.Inside.Z}
	for _, dy := range []float64{0, 150, -150, 300, -300} {
		for _, dz := range []float64{0, 150, -150, 300, -300} {
			p := at.Add(r3.Vector{Y: dy}).Add(up.Mul(dz))
			if !s.Shell.Inside(p) {
				continue
			}
			roof, ok1 := s.Shell.Index.Ray(p, up, reach)
			floor, ok2 := s.Shell.Index.Ray(p, up.Mul(-1), reach)
			if ok1 && ok2 {
				return p.Add(up.Mul((roof.T - floor.T) / 2)).Sub(r3.Vector{Y: dy}), nil
			}
		}
	}
	return r3.Vector{}, fmt.Errorf("at x = %.0f mm there is no open air between floor and roof in the middle of the car", station)
}

// climb follows one side of the outline from the top down to the surface a leg
// stands on, Offset mm inside the shell; the last point is on that surface.
func (s Sketcher) climb(centre, out, up r3.Vector, rays int) ([]r3.Vector, error) {
	reach := s.Shell.Raw.Bounds().Size().Norm()
	var pts []r3.Vector
	for k := range rays {
		sin, cos := math.Sincos(math.Pi * float64(k) / float64(rays))
		dir := up.Mul(cos).Add(out.Mul(sin))
		hit, ok := s.Shell.Index.Ray(centre, dir, reach)
		if !ok {
			continue
		}
		a, b, c := s.Shell.Used.Corners(int(hit.Triangle))
		n := b.Sub(a).Cross(c.Sub(a)).Normalize()
		if n.Dot(dir) > 0 {
			n = n.Mul(-1)
		}
		in := hit.Point.Add(n.Mul(s.Offset))
		w := in.Sub(centre) // within the plane
		in = centre.Add(up.Mul(w.Dot(up))).Add(out.Mul(w.Dot(out)))
		height := in.Sub(centre).Dot(up)
		if cos < 0 && n.Dot(up) > 0.7 { // something to stand on
			break
		}
		if len(pts) > 0 && height > pts[len(pts)-1].Sub(centre).Dot(up)+s.Offset {
			continue // back up behind something
		}
		pts = append(pts, in)
	}
	if len(pts) < 3 {
		return nil, fmt.Errorf("the outline of the cabin has too many gaps")
	}
	last := pts[len(pts)-1]
	floor, ok := s.Shell.Index.Ray(last, up.Mul(-1), reach)
	if !ok {
		return nil, fmt.Errorf("there is no surface below the leg for a foot")
	}
	return append(pts, floor.Point), nil
}

// Follow sketches a bar along the shell between two points (mm), with so many
// bends: a band stretched from one to the other that keeps Offset mm off the
// shell. The ends stay where they are given.
func (s Sketcher) Follow(from, to r3.Vector, bends int) ([]r3.Vector, error) {
	if bends < 0 || bends > maxSketchBends {
		return nil, fmt.Errorf("a bar along the shell needs 0 to %d bends, not %d", maxSketchBends, bends)
	}
	length := to.Sub(from).Norm()
	if length < 4*s.Offset {
		return nil, fmt.Errorf("its two points are only %.0f mm apart", length)
	}
	const points, rounds = 61, 120
	band := make([]r3.Vector, points)
	for i := range band {
		f := float64(i) / (points - 1)
		band[i] = from.Mul(1 - f).Add(to.Mul(f))
	}
	memos := make([]memo, points)
	shell := &shellField{shell: s.Shell, index: s.Shell.Index}
	for range rounds {
		for i := 1; i < points-1; i++ {
			// Half way to its neighbours' middle, then to the offset surface.
			p := band[i].Mul(0.5).Add(band[i-1].Add(band[i+1]).Mul(0.25))
			d, dir := shell.at(p, &memos[i])
			// The ends rise from the shell to the offset.
			near := math.Min(p.Sub(from).Norm(), p.Sub(to).Norm())
			band[i] = p.Add(dir.Mul(math.Min(s.Offset, near) - d))
		}
	}
	return corners(band, bends), nil
}

// corners picks so many corners between the ends of an outline that the
// straights between them run along it as well as can be: least sum of squared
// distances, by dynamic programming over all choices.
func corners(outline []r3.Vector, bends int) []r3.Vector {
	n := len(outline)
	bends = min(bends, n-2)
	cost := make([][]float64, n)
	for i := range cost {
		cost[i] = make([]float64, n)
		for j := i + 2; j < n; j++ {
			chord := outline[j].Sub(outline[i])
			l2 := chord.Norm2()
			for k := i + 1; k < j; k++ {
				v := outline[k].Sub(outline[i])
				t := 0.0
				if l2 > 0 {
					t = clamp(v.Dot(chord)/l2, 0, 1)
				}
				cost[i][j] += v.Sub(chord.Mul(t)).Norm2()
			}
		}
	}
	best := make([][]float64, bends+2) // [legs used][point]
	from := make([][]int, bends+2)
	for k := range best {
		best[k] = make([]float64, n)
		from[k] = make([]int, n)
		for j := range best[k] {
			best[k][j] = math.Inf(1)
		}
	}
	best[0][0] = 0
	for k := 1; k <= bends+1; k++ {
		for j := k; j < n; j++ {
			choices := make([]float64, j)
			for i := range choices {
				choices[i] = best[k-1][i] + cost[i][j]
			}
			i := floats.MinIdx(choices)
			best[k][j], from[k][j] = choices[i], i
		}
	}
	out := make([]r3.Vector, bends+2)
	j := n - 1
	for k := bends + 1; k >= 0; k-- {
		out[k] = outline[j]
		j = from[k][j]
	}
	return out
}
