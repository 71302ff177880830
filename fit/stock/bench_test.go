package stock

import (
	"fmt"
	"testing"

	"barwright/fit/tube"
)

// cagePieces are n invented pieces of 300 to 3000 mm, half of them pairs.
func cagePieces(n, seed int) (out []Piece) {
	r := source(seed)
	for left := n; left > 0; {
		length := 300 + 2500*r.Float64()
		if r.IntN(5) == 0 {
			length = 2500 + 500*r.Float64()
		}
		count := min(1+r.IntN(2), left)
		out = append(out, Piece{Label: fmt.Sprint("bar ", left), Length: length, Count: count})
		left -= count
	}
	return out
}

var cageSticks = map[string][]tube.Stick{
	"one length":    endless(6000),
	"two lengths":   endless(3000, 6000),
	"three lengths": endless(4000, 6000, 7600),
	"four lengths":  endless(3100, 5000, 6100, 7300),
	"three prices":  {{Length: 3000, Price: 31.5, Stock: -1}, {Length: 6000, Price: 55, Stock: -1}, {Length: 7600, Price: 72.9, Stock: -1}},
	"offcuts":       {{Length: 6000, Stock: -1}, {Length: 2350, Stock: 1}, {Length: 1780, Stock: 2}, {Length: 3100, Stock: 1}, {Length: 4120, Stock: 1}},
}

var packed *Plan

// Each of the published cases, and cages of 20 to 40 pieces: "proven" is the
// share of runs that ended with a proof.
func BenchmarkPublished(b *testing.B) {
	for _, c := range published {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				packed, _ = Pack(c.pieces, endless(c.stick), Options{})
			}
		})
	}
}

func BenchmarkCage(b *testing.B) {
	for _, n := range []int{20, 30, 40} {
		for _, kind := range []string{"one length", "two lengths", "three lengths", "four lengths", "three prices", "offcuts"} {
			b.Run(fmt.Sprintf("%d pieces/%s", n, kind), func(b *testing.B) {
				seed, proven, over := 0, 0, 0.0
				for b.Loop() {
					packed, _ = Pack(cagePieces(n, seed), cageSticks[kind], Options{Kerf: 2})
					if packed.Proven {
						proven++
					}
					over += packed.Cost/packed.Bound - 1
					seed++
				}
				b.ReportMetric(float64(proven)/float64(seed), "proven")
				b.ReportMetric(100*over/float64(seed), "%gap")
			})
		}
	}
}
