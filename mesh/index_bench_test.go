package mesh

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/golang/geo/r3"
)

var benchSizes = []int{50_000, 200_000, 1_000_000, 5_000_000}

// bench holds a shell, its index and query points, made once per size.
type bench struct {
	mesh      *Mesh
	index     *Index
	coherent  []r3.Vector
	scattered []r3.Vector
	rays      [][2]r3.Vector // origin and unit direction
}

var (
	benchMu    sync.Mutex
	benchCache = map[int]*bench{}
)

func benchFor(n int, turned bool) *bench {
	benchMu.Lock()
	defer benchMu.Unlock()
	key := n
	if turned {
		key = -n
	}
	if b := benchCache[key]; b != nil {
		return b
	}
	b := &bench{mesh: wavyShell(n, turned)}
	b.index = NewIndex(b.mesh)
	const queries = 40000
	b.coherent = coherentPoints(b.mesh, queries)
	b.scattered = append(b.scattered, b.coherent...)
	rng := rand.New(rand.NewPCG(7, 8))
	rng.Shuffle(queries, func(i, j int) { b.scattered[i], b.scattered[j] = b.scattered[j], b.scattered[i] })
	for range queries {
		o := b.scattered[rng.IntN(queries)]
		dir := r3.Vector{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Normalize()
		b.rays = append(b.rays, [2]r3.Vector{o, dir})
	}
	benchCache[key] = b
	return b
}

func BenchmarkIndexBuild(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(sizeName(n), func(b *testing.B) {
			m := benchFor(n, false).mesh
			for b.Loop() {
				NewIndex(m)
			}
			ix := benchFor(n, false).index
			count := float64(len(m.Triangles))
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/count, "ns/triangle")
			b.ReportMetric(float64(ix.Bytes())/count, "index-B/triangle")
			b.ReportMetric(float64(ix.Bytes()+24*len(m.Vertices)+12*len(m.Triangles))/count, "all-B/triangle")
		})
	}
}

func BenchmarkClosest(b *testing.B) {
	for _, kind := range []string{"coherent", "coherent-warm", "turned", "scattered", "within-30mm"} {
		b.Run(kind, func(b *testing.B) {
			for _, n := range benchSizes {
				b.Run(sizeName(n), func(b *testing.B) {
					d := benchFor(n, kind == "turned")
					points := d.coherent
					if kind == "scattered" {
						points = d.scattered
					}
					var last int32 = -1
					i := 0
					for b.Loop() {
						switch kind {
						case "coherent-warm":
							last = d.index.ClosestFrom(points[i], last).Triangle
						case "within-30mm":
							d.index.ClosestWithin(points[i], 30)
						default:
							d.index.Closest(points[i])
						}
						if i++; i == len(points) {
							i = 0
						}
					}
				})
			}
		})
	}
}

func BenchmarkRay(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(sizeName(n), func(b *testing.B) {
			d := benchFor(n, false)
			i := 0
			for b.Loop() {
				d.index.Ray(d.rays[i][0], d.rays[i][1], math.Inf(1))
				if i++; i == len(d.rays) {
					i = 0
				}
			}
		})
	}
}

// BenchmarkSegment measures pieces of 15 mm, as the fit's clearance asks.
func BenchmarkSegment(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(sizeName(n), func(b *testing.B) {
			d := benchFor(n, false)
			i := 0
			for b.Loop() {
				p := d.coherent[i]
				d.index.Segment(p, p.Add(d.rays[i][1].Mul(15)), math.Inf(1))
				if i++; i == len(d.rays) {
					i = 0
				}
			}
		})
	}
}
