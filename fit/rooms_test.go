package fit_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"sync"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// full runs the whole counts of the contract's table of targets.
var full = os.Getenv("BARWRIGHT_FULL") == "1"

func trials(few, all int) int {
	if full {
		return all
	}
	return few
}

// studyTube is the tube of the contract's feasibility study: OD 44.45, CLR 180.
func studyTube() *tube.Spec {
	return &tube.Spec{Name: "main", OD: 44.45, Wall: 2.41, Material: tube.Materials()[0],
		Die: &tube.Die{Name: "d44", OD: 44.45, CLR: 180, MaxAngle: 150 * s1.Degree, Grip: 60, Tail: 90}}
}

// studyClearance is its clearance, mm.
const studyClearance = 8

func noisy(seed uint64, nodes []r3.Vector, sigma float64) []r3.Vector {
	rng := rand.New(rand.NewPCG(seed, 99))
	out := make([]r3.Vector, len(nodes))
	for i, v := range nodes {
		out[i] = v.Add(r3.Vector{X: sigma * rng.NormFloat64(), Y: sigma * rng.NormFloat64(), Z: sigma * rng.NormFloat64()})
	}
	return out
}

func prepare(t testing.TB, m *mesh.Mesh, seed r3.Vector) *mesh.Shell {
	t.Helper()
	sh, err := mesh.Prepare(context.Background(), m, mesh.PrepareOptions{Seeds: []r3.Vector{seed}})
	require.NoError(t, err)
	return sh
}

// oneBar is a job with a single bar that stands on the shell.
func oneBar(sketch []r3.Vector, change func(*job.Bar)) *job.Job {
	b := job.Bar{Name: "hoop", Tube: studyTube(), Sketch: sketch, Hug: true, Clearance: studyClearance, Reach: 1000}
	if change != nil {
		change(&b)
	}
	return &job.Job{Title: "test", Shell: job.Shell{Clearance: studyClearance, LandingAngle: 30 * s1.Degree}, Bars: []job.Bar{b}}
}

// each runs n trials on all cores.
func each(n int, f func(trial int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				f(i)
			}
		}()
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// Rooms whose best hoop is known: every straight lies along a facet at the
// clearance, the nodes are the corners of the offset section (elementary
// geometry). The target of the contract: every node within 0.05 mm, from all
// sketches of 30, 80 and 150 mm noise.
func TestRoomsReachTheKnownOptimum(t *testing.T) {
	rooms := map[string]*sample.Room{"box": sample.Box(2000, 1400, 1200, 60)}
	for _, bends := range []int{2, 4, 6} {
		rooms[fmt.Sprintf("tumblehome %d", bends)] = sample.Tumblehome(bends, 2000, 60)
	}
	for _, name := range []string{"box", "tumblehome 2", "tumblehome 4", "tumblehome 6"} {
		room := rooms[name]
		sh := prepare(t, room.Mesh, room.Centre)
		exact := room.Hoop(0, studyTube().OD/2+studyClearance)
		for _, flat := range []bool{false, true} {
			for _, sigma := range []float64{30, 80, 150} {
				t.Run(fmt.Sprintf("%s flat=%v noise=%g", name, flat, sigma), func(t *testing.T) {
					n := trials(1, 25)
					off := make([]float64, n)
					bars := make([]*fit.Bar, n)
					each(n, func(i int) {
						j := oneBar(noisy(uint64(i), exact, sigma), func(b *job.Bar) { b.Flat = flat })
						cage, err := fit.Fit(context.Background(), j, sh, fit.Options{Workers: 1})
						if err != nil {
							t.Error(err)
							return
						}
						bars[i] = cage.Bars[0]
						if len(bars[i].Path.Nodes) != len(exact) {
							off[i] = math.Inf(1)
							return
						}
						for k, v := range bars[i].Path.Nodes {
							off[i] = math.Max(off[i], math.Hypot(v.Y-exact[k].Y, v.Z-exact[k].Z))
						}
					})
					good := 0
					for i, b := range bars {
						if b == nil {
							continue
						}
						if off[i] <= 0.05 && b.Gap.Deficit <= fit.Resolution && b.Gap.CertifiedMin >= studyClearance {
							good++
							continue
						}
						t.Logf("sketch %d: node off by %.3f mm, gap %.3f to %.3f mean %.3f, certified %.4f, deficit %.4f, %d blocked", i, off[i], b.Gap.Min, b.Gap.Max, b.Gap.Mean, b.Gap.CertifiedMin, b.Gap.Deficit, len(b.Blocking))
					}
					t.Logf("%d of %d", good, n)
					if good != n {
						t.Fail()
					}
				})
			}
		}
	}
}
