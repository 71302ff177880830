package fit

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/r3"

	"barwright/fit/job"
	"barwright/fit/tube"
)

// halfSpaces is a convex room: the points with n.p >= h for every wall.
type halfSpaces []struct {
	n r3.Vector
	h float64
}

func (f halfSpaces) at(p r3.Vector, _ *memo) (float64, r3.Vector) {
	d, dir := math.Inf(1), r3.Vector{}
	for _, w := range f {
		if v := w.n.Dot(p) - w.h; v < d {
			d, dir = v, w.n
		}
	}
	return d, dir
}

func (f halfSpaces) segment(a, b r3.Vector, bound float64) (float64, float64, r3.Vector, bool) {
	da, na := f.at(a, nil)
	db, nb := f.at(b, nil)
	if da <= db {
		return da, 0, na, da < bound
	}
	return db, 1, nb, db < bound
}

func (f halfSpaces) second(p, dir r3.Vector, bound float64) (float64, r3.Vector, bool) {
	d, dir2 := bound, r3.Vector{}
	for _, w := range f {
		if v := w.n.Dot(p) - w.h; v < d && w.n.Dot(dir) < math.Cos(secondWall.Radians()) {
			d, dir2 = v, w.n
		}
	}
	return d, dir2, d < bound
}

func (f halfSpaces) land(at, dir r3.Vector) plane {
	// The wall that the end meets first when it comes from 500 mm back.
	from := at.Sub(dir.Mul(500))
	best, pl := math.Inf(1), plane{}
	for _, w := range f {
		k := w.n.Dot(dir)
		if -k < 0.5 {
			continue
		}
		t := (w.h - w.n.Dot(from)) / k
		if d, _ := f.at(from.Add(dir.Mul(t)), nil); t < best && d > -1 {
			best, pl = t, plane{at: from.Add(dir.Mul(t)), normal: w.n, ok: true}
		}
	}
	return pl
}

// polygonRoom is an infinite extrusion along x of a convex section (y, z),
// counter-clockwise, wall 0 being the floor.
func polygonRoom(section [][2]float64) halfSpaces {
	var f halfSpaces
	for i, a := range section {
		b := section[(i+1)%len(section)]
		n := r3.Vector{Y: -(b[1] - a[1]), Z: b[0] - a[0]}.Normalize()
		f = append(f, struct {
			n r3.Vector
			h float64
		}{n, n.Dot(r3.Vector{Y: a[0], Z: a[1]})})
	}
	return f
}

var roomSections = map[int][][2]float64{
	2: {{-700, 0}, {700, 0}, {700, 1200}, {-700, 1200}},
	4: {{-650, 0}, {650, 0}, {720, 500}, {480, 1200}, {-480, 1200}, {-720, 500}},
	6: {{-560, 0}, {560, 0}, {740, 350}, {700, 800}, {380, 1230}, {-380, 1230}, {-700, 800}, {-740, 350}},
}

// exactHoop is the polygon of the walls (without the floor) moved inwards by
// the tube's radius and clearance; the feet stand where its legs meet the floor.
func exactHoop(section [][2]float64, off float64) []r3.Vector {
	f := polygonRoom(section)
	meet := func(n1 r3.Vector, h1 float64, n2 r3.Vector, h2 float64) r3.Vector {
		det := n1.Y*n2.Z - n1.Z*n2.Y
		return r3.Vector{Y: (h1*n2.Z - h2*n1.Z) / det, Z: (n1.Y*h2 - n2.Y*h1) / det}
	}
	n := len(f)
	var out []r3.Vector
	out = append(out, meet(f[0].n, f[0].h, f[n-1].n, f[n-1].h+off))
	for i := n - 1; i > 1; i-- {
		out = append(out, meet(f[i].n, f[i].h+off, f[i-1].n, f[i-1].h+off))
	}
	return append(out, meet(f[1].n, f[1].h+off, f[0].n, f[0].h))
}

func testProblem(f interface {
	field
	land(at, dir r3.Vector) plane
}, sketch []r3.Vector, clearance float64) *problem {
	spec := &tube.Spec{OD: 44.45, Wall: 2.41}
	b := &job.Bar{Name: "hoop", Tube: spec, Sketch: sketch, Hug: true, Clearance: clearance, Reach: 1000}
	return &problem{
		bar: b, sketch: sketch, radius: 180, tube: spec.OD / 2, clearance: clearance,
		landing: 0.5, grip: 60, tail: 60, maxHalf: 80 * math.Pi / 180, hug: true,
		shells: []field{f}, land: f.land, window: 60,
	}
}

func jitter(rng *rand.Rand, nodes []r3.Vector, sigma float64) []r3.Vector {
	out := make([]r3.Vector, len(nodes))
	for i, v := range nodes {
		out[i] = v.Add(randomVector(rng, sigma))
	}
	return out
}

func TestRooms(t *testing.T) {
	for _, bends := range []int{2, 4, 6} {
		section := roomSections[bends]
		exact := exactHoop(section, 44.45/2+8)
		room := polygonRoom(section)
		for _, flat := range []bool{false, true} {
			for _, sigma := range []float64{30, 80, 150} {
				good, evals, worstAll := 0, 0, 0.0
				const trials = 40
				for trial := range trials {
					rng := rand.New(rand.NewPCG(uint64(trial), uint64(bends)))
					sketch := jitter(rng, exact, sigma)
					p := testProblem(room, sketch, 8)
					p.bar.Flat = flat
					s, err := p.search(context.Background(), [][]r3.Vector{sketch}, effort{starts: 4, jitter: 60, coarse: 30, iterate: 60, workers: 2})
					if err != nil {
						t.Fatal(err)
					}
					worst := 0.0
					for i, v := range s.nodes {
						worst = math.Max(worst, math.Hypot(v.Y-exact[i].Y, v.Z-exact[i].Z))
					}
					if worst < 0.05 && s.e.violation < 0.01 {
						good++
					} else {
						t.Logf("  bends %d flat %v sigma %g trial %d: worst %.3f violation %.3f objective %.3f evals %d", bends, flat, sigma, trial, worst, s.e.violation, s.e.objective, p.evals)
					}
					evals += p.evals
					worstAll = math.Max(worstAll, worst)
				}
				t.Logf("bends %d flat %v sigma %g: %d of %d, %d evals each", bends, flat, sigma, good, trials, evals/trials)
			}
		}
	}
}
