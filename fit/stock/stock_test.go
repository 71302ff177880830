package stock

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"barwright/fit/tube"
)

// full is how many cases a test runs: a few, or all with BARWRIGHT_FULL=1.
func full(few, all int) int {
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		return all
	}
	return few
}

func source(seed int) *rand.Rand { return rand.New(rand.NewPCG(uint64(seed), 1)) }

// judge checks a plan by nothing but what was given: every piece is cut once and
// in its place, no stick is used more often than it is there, sums are right.
func judge(t require.TestingT, p *Plan, pieces []Piece, sticks []tube.Stick, kerf float64) {
	cut := make([]int, len(pieces))
	used := make([]int, len(sticks))
	var cost, bought, need float64
	priced := len(pieces) > 0
	for _, s := range sticks {
		priced = priced && s.Price > 0
	}
	for _, c := range p.Sticks {
		require.Equal(t, sticks[c.Kind], c.Stick)
		require.NotEmpty(t, c.Pieces)
		used[c.Kind]++
		at := 0.0
		for _, q := range c.Pieces {
			require.Equal(t, pieces[q.Piece].Label, q.Label)
			require.Equal(t, pieces[q.Piece].Length, q.Length)
			require.InDelta(t, at, q.From, 1e-9)
			require.InDelta(t, at+q.Length, q.To, 1e-9)
			cut[q.Piece]++
			at = q.To + kerf
		}
		last := c.Pieces[len(c.Pieces)-1].To
		require.LessOrEqual(t, last, c.Stick.Length+1e-5)
		require.InDelta(t, max(0, c.Stick.Length-last-kerf), c.Remnant, 1e-5)
		bought += c.Stick.Length
		if priced {
			cost += c.Stick.Price
		} else {
			cost += c.Stick.Length
		}
	}
	for i, q := range pieces {
		require.Equal(t, q.Count, cut[i], "piece %q", q.Label)
		need += float64(q.Count) * q.Length
	}
	for i, s := range sticks {
		if s.Stock >= 0 {
			require.LessOrEqual(t, used[i], s.Stock)
		}
	}
	require.Equal(t, priced, p.Priced)
	require.InDelta(t, cost, p.Cost, 1e-6)
	require.InDelta(t, bought, p.Bought, 1e-6)
	require.InDelta(t, need, p.Used, 1e-6)
	require.LessOrEqual(t, p.Bound, p.Cost)
	require.Equal(t, p.Proven, p.Bound == p.Cost)
	require.LessOrEqual(t, p.Cost, p.FirstFit)
}

// bruteForce returns the least cost and the fewest sticks at that cost by going
// through all ways to share the pieces out; +Inf if there is none. It knows
// nothing of the search: lengths are added up as a saw would meet them.
func bruteForce(lengths []float64, sticks []tube.Stick, kerf float64) (cost float64, number int) {
	priced := true
	for _, s := range sticks {
		priced = priced && s.Price > 0
	}
	type group struct {
		sum float64
		n   int
	}
	var groups []group
	best, fewest := math.Inf(1), 0
	// The cheapest sticks for a sharing out: each group one that is long enough.
	var assign func(g int, used []int, sum float64)
	assign = func(g int, used []int, sum float64) {
		if sum > best+1e-9 {
			return
		}
		if g == len(groups) {
			if sum < best-1e-9 || len(groups) < fewest {
				best, fewest = min(sum, best), len(groups)
			}
			return
		}
		for k, s := range sticks {
			if s.Stock >= 0 && used[k] == s.Stock || groups[g].sum+float64(groups[g].n-1)*kerf > s.Length {
				continue
			}
			price := s.Length
			if priced {
				price = s.Price
			}
			used[k]++
			assign(g+1, used, sum+price)
			used[k]--
		}
	}
	var share func(i int)
	share = func(i int) {
		if i == len(lengths) {
			assign(0, make([]int, len(sticks)), 0)
			return
		}
		for g := range groups {
			groups[g].sum += lengths[i]
			groups[g].n++
			share(i + 1)
			groups[g].sum -= lengths[i]
			groups[g].n--
		}
		groups = append(groups, group{lengths[i], 1})
		share(i + 1)
		groups = groups[:len(groups)-1]
	}
	share(0)
	return best, fewest
}

func TestAgainstAllAssignments(t *testing.T) {
	impossible := 0
	for seed := range full(300, 5000) {
		r := source(seed)
		var lengths []float64
		for range 1 + r.IntN(full(6, 7)) {
			l := float64(100 + r.IntN(900))
			lengths = append(lengths, l)
			if r.IntN(3) == 0 && len(lengths) < 7 {
				lengths = append(lengths, l)
			}
		}
		var sticks []tube.Stick
		priced := r.IntN(2) == 0
		for range 1 + r.IntN(3) {
			s := tube.Stick{Length: float64(600 + 100*r.IntN(14)), Stock: r.IntN(5) - 1}
			if priced {
				s.Price = float64(10 + r.IntN(40))
			}
			sticks = append(sticks, s)
		}
		kerf := float64(r.IntN(4))
		pieces := single(lengths...)
		want, number := bruteForce(lengths, sticks, kerf)
		p, err := Pack(pieces, sticks, Options{Kerf: kerf})
		if math.IsInf(want, 1) {
			impossible++
			require.Error(t, err, "seed %d", seed)
			continue
		}
		require.NoError(t, err, "seed %d", seed)
		judge(t, p, pieces, sticks, kerf)
		require.Equal(t, want, p.Cost, "seed %d", seed)
		require.True(t, p.Proven, "seed %d", seed)
		require.Len(t, p.Sticks, number, "seed %d", seed)
	}
	assert.Greater(t, impossible, 10, "some must be impossible, or the error is not tested")
}

// The duals must hold for every way to fill a stick, whatever rounding did.
func TestPricesHoldForEveryFill(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pieces, sticks, kerf := drawProblem(t, 8)
		m, err := newModel(pieces, sticks, kerf)
		if err != nil {
			return
		}
		relaxed, _ := m.relax(DefaultBudget)
		for _, p := range []prices{relaxed, m.plain()} {
			value := int64(0)
			for t, n := range m.demand {
				value += int64(n) * p.piece[t]
			}
			for k, kind := range m.kinds {
				value -= int64(kind.stock) * p.rent[k]
				var try func(i int, room, worth int64)
				try = func(i int, room, worth int64) {
					require.LessOrEqual(t, worth, kind.cost+p.rent[k])
					if i == len(m.weights) {
						return
					}
					for n := 0; n <= m.demand[i] && int64(n)*m.weights[i] <= room; n++ {
						try(i+1, room-int64(n)*m.weights[i], worth+int64(n)*p.piece[i])
					}
				}
				try(0, kind.room, 0)
			}
			require.Equal(t, value, p.value)
		}
	})
}

func drawProblem(t *rapid.T, most int) ([]Piece, []tube.Stick, float64) {
	var pieces []Piece
	for i := range rapid.IntRange(1, most).Draw(t, "pieces") {
		pieces = append(pieces, Piece{
			Label:  fmt.Sprint("bar ", i),
			Length: rapid.Float64Range(50, 3000).Draw(t, "length"),
			Count:  rapid.IntRange(1, 2).Draw(t, "count"),
		})
	}
	var sticks []tube.Stick
	priced := rapid.Bool().Draw(t, "priced")
	for range rapid.IntRange(1, 3).Draw(t, "sticks") {
		s := tube.Stick{Length: rapid.Float64Range(3000, 8000).Draw(t, "stick"), Stock: rapid.IntRange(-1, 5).Draw(t, "stock")}
		if priced {
			s.Price = rapid.Float64Range(1, 90).Draw(t, "price")
			s.Price = math.Round(s.Price*1000) / 1000
		}
		s.Length = math.Round(s.Length*10) / 10
		sticks = append(sticks, s)
	}
	return pieces, sticks, rapid.Float64Range(0, 4).Draw(t, "kerf")
}

func TestPlansAreSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pieces, sticks, kerf := drawProblem(t, 14)
		budget := rapid.SampledFrom([]int{1, 1000, 100_000}).Draw(t, "budget")
		opt := Options{Kerf: kerf, Budget: budget}
		p, err := Pack(pieces, sticks, opt)
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		judge(t, p, pieces, sticks, kerf)
		again, err := Pack(pieces, sticks, opt)
		require.NoError(t, err)
		require.Equal(t, p, again)

		// Given in another order they cost the same.
		pieces, sticks = slices.Clone(pieces), slices.Clone(sticks)
		slices.Reverse(pieces)
		slices.Reverse(sticks)
		other, err := Pack(pieces, sticks, opt)
		require.NoError(t, err)
		judge(t, other, pieces, sticks, kerf)
		require.Equal(t, p.Cost, other.Cost)
		require.Equal(t, p.Bound, other.Bound)
		require.Len(t, other.Sticks, len(p.Sticks))
	})
}

func TestKerfAtTheEnd(t *testing.T) {
	for _, c := range []struct {
		name    string
		lengths []float64
		sticks  int
		remnant float64 // of the first
	}{
		{"the last piece ends where the stick does", []float64{499, 499}, 1, 0},
		{"a sliver thinner than the saw", []float64{499, 498}, 1, 0},
		{"just what the saw takes", []float64{499, 497}, 1, 0},
		{"a remnant of a millimetre", []float64{499, 496}, 1, 1},
		{"no room for the cut between them", []float64{499, 499.1}, 2, 498.9},
		{"noise of lengths is no length", []float64{499.0000000001, 499}, 1, 0},
		{"as long as the stick", []float64{1000.0000000001}, 1, 0},
	} {
		p, err := Pack(single(c.lengths...), endless(1000), Options{Kerf: 2})
		require.NoError(t, err, c.name)
		assert.Len(t, p.Sticks, c.sticks, c.name)
		assert.InDelta(t, c.remnant, p.Sticks[0].Remnant, 1e-9, c.name)
	}
}

func TestTies(t *testing.T) {
	// The same length in fewer sticks.
	p, err := Pack(single(900, 900), endless(1000, 2000), Options{})
	require.NoError(t, err)
	assert.Len(t, p.Sticks, 1)

	// First-fit fills 500+400 and 300+200 into two sticks; a remnant of 600 is left
	// if 500, 300 and 200 share one.
	p, err = Pack(single(500, 400, 300, 200), endless(1000), Options{})
	require.NoError(t, err)
	require.Len(t, p.Sticks, 2)
	assert.Equal(t, 600.0, max(p.Sticks[0].Remnant, p.Sticks[1].Remnant))

	// The longest remnant of all ways to share out, to the millimetre.
	for seed := range full(30, 500) {
		r := source(seed)
		var lengths []float64
		for range 7 {
			lengths = append(lengths, float64(100+r.IntN(500)))
		}
		p, err := Pack(single(lengths...), endless(1000), Options{Kerf: 2})
		require.NoError(t, err)
		want, got := 0.0, 0.0
		groups := make([]float64, len(p.Sticks))
		var share func(i int)
		share = func(i int) {
			if i == len(lengths) {
				want = max(want, 1000-slices.Min(groups))
				return
			}
			for g := range groups {
				if groups[g]+lengths[i] <= 1000 {
					groups[g] += lengths[i] + 2
					share(i + 1)
					groups[g] -= lengths[i] + 2
				}
			}
		}
		share(0)
		for _, c := range p.Sticks {
			got = max(got, c.Remnant)
		}
		assert.InDelta(t, want, got, 1.01, "seed %d", seed)
	}
}

func TestPriceOrLength(t *testing.T) {
	// By length one stick of 2000 and by price two of 1100 are best.
	pieces := single(1000, 900)
	sticks := []tube.Stick{{Length: 1100, Price: 10, Stock: -1}, {Length: 2000, Price: 30, Stock: -1}}
	p, err := Pack(pieces, sticks, Options{Kerf: 2})
	require.NoError(t, err)
	assert.True(t, p.Priced)
	assert.Equal(t, 20.0, p.Cost)
	assert.Len(t, p.Sticks, 2)

	sticks[0].Price = 0 // not given: prices are of no use
	p, err = Pack(pieces, sticks, Options{Kerf: 2})
	require.NoError(t, err)
	assert.False(t, p.Priced)
	assert.Equal(t, 2000.0, p.Cost)
	assert.Len(t, p.Sticks, 1)
}

func TestScarceSticksThatFirstFitMisses(t *testing.T) {
	// 500+300+200 and 400+350+250; first-fit starts with 500+400.
	pieces := single(500, 400, 350, 300, 250, 200)
	sticks := []tube.Stick{{Length: 1000, Stock: 2}}
	p, err := Pack(pieces, sticks, Options{})
	require.NoError(t, err)
	judge(t, p, pieces, sticks, 0)
	assert.True(t, math.IsInf(p.FirstFit, 1), "first-fit finds no plan")
	assert.True(t, p.Proven)
}

func TestNothingToCut(t *testing.T) {
	p, err := Pack(nil, endless(1000), Options{})
	require.NoError(t, err)
	assert.Empty(t, p.Sticks)
	assert.Zero(t, p.Cost)
	assert.Zero(t, p.Waste())
	assert.True(t, p.Proven)
}

func TestManyOffcuts(t *testing.T) {
	// Thirty offcuts of as many lengths: far more sets of sticks than can be looked
	// at one by one.
	r := source(5)
	sticks := endless(6000)
	for range 30 {
		sticks = append(sticks, tube.Stick{Length: float64(500 + r.IntN(2500)), Stock: 1})
	}
	var pieces []Piece
	for i := range 24 {
		pieces = append(pieces, Piece{Label: fmt.Sprint(i), Length: 300 + 2400*r.Float64(), Count: 1})
	}
	p, err := Pack(pieces, sticks, Options{Kerf: 2, Budget: 500_000})
	require.NoError(t, err)
	judge(t, p, pieces, sticks, 2)
	assert.Less(t, p.Cost, p.FirstFit)
	assert.Less(t, p.Waste(), 0.02)
}

func TestBadInput(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	good := single(500)
	for _, c := range []struct {
		name   string
		pieces []Piece
		sticks []tube.Stick
		opt    Options
		want   string
	}{
		{"no sticks", good, nil, Options{}, "no stick is given"},
		{"too long", []Piece{{"main hoop", 1200, 1}}, endless(1000, 900), Options{}, `piece "main hoop" is 1200.0 mm long, the longest stick 1000.0 mm`},
		{"too long for what is there", []Piece{{"main hoop", 950, 1}}, []tube.Stick{{Length: 1000}, {Length: 900, Stock: -1}}, Options{}, `piece "main hoop" is 950.0 mm long: no stick at hand`},
		{"piece NaN", []Piece{{"b", nan, 1}}, endless(1000), Options{}, `piece "b": length must be over 0 mm, got NaN`},
		{"piece infinite", []Piece{{"b", inf, 1}}, endless(1000), Options{}, `piece "b" is +Inf mm long`},
		{"piece zero", []Piece{{"b", 0, 1}}, endless(1000), Options{}, "length must be over 0"},
		{"count", []Piece{{"b", 10, 0}}, endless(1000), Options{}, `piece "b": count must be from 1`},
		{"too many", []Piece{{"b", 10, 9000}, {"c", 10, 9000}}, endless(1000), Options{}, "at most 10000 pieces"},
		{"stick NaN", good, endless(nan), Options{}, "stick 1: length must be over 0"},
		{"stick zero", good, endless(1000, 0), Options{}, "stick 2: length must be over 0"},
		{"price", good, []tube.Stick{{Length: 1000, Price: -1}}, Options{}, "stick 1: price must be"},
		{"price NaN", good, []tube.Stick{{Length: 1000, Price: nan}}, Options{}, "stick 1: price must be"},
		{"kerf", good, endless(1000), Options{Kerf: nan}, "kerf must be 0 mm or more"},
		{"too few", single(600, 600, 600), []tube.Stick{{Length: 1000, Stock: 2}}, Options{},
			"too few sticks at hand: they do not hold all pieces; 1 stick of about 1000 mm more would take the other 1 piece"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Pack(c.pieces, c.sticks, c.opt)
			require.ErrorContains(t, err, c.want)
			assert.NotContains(t, err.Error(), "\n")
		})
	}
}
