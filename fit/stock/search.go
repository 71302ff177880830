package stock

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// result is what solve found: no plan costs less than bound.
type result struct {
	fills []fill
	bound int64
	steps int
}

const (
	// targetsLimit bounds how many sets of sticks between bound and best plan are
	// looked at one by one. More arise where many different offcuts are at hand.
	targetsLimit = 400

	// memoLimit bounds the memory of the search: some 100 bytes each.
	memoLimit = 400_000

	// Steps for each target in the first round, and by how much the next has more.
	// These and the next two were chosen by trying them on invented cages of 20 to
	// 40 pieces.
	firstShare  = 50_000
	shareGrowth = 4

	// From the second round on a target's steps are split among this many
	// searches that differ in the order in which they try fills: regrets get a
	// random addition of up to this part of the slack.
	tries = 4
	noise = 0.2

	remnantShare  = 4   // a quarter of the budget may go into the longest remnant
	remnantTries  = 20  // and a twentieth of that into each length that is asked for
	remnantStep   = 100 // units: to the millimetre
	remnantPieces = 100 // with more, a longer remnant is not worth the time
)

// target is a cost to reach, and with which sticks.
type target struct {
	cost   int64
	sticks []int // of each kind; nil: with any
}

// solve improves a plan within a budget of steps. start must be a plan.
func (m *model) solve(start []fill, budget int) result {
	r := result{fills: start, bound: m.plain().value}
	if len(m.targets(r.bound, m.costOf(start))) == 0 {
		r.bound = m.costOf(start)
		return r
	}
	p, steps := m.relax(budget / 2)
	r.bound, r.steps = p.value, steps
	memos := [2]map[string]int64{{}, {}}
	no := map[string]bool{} // targets without a plan
	// Round after round gives each target more steps: a plan is often found soon
	// for a target that is a little higher, and then all above it are settled.
	for share := firstShare; ; share *= shareGrowth {
		low := true // all targets so far are impossible
		for _, t := range m.targets(r.bound, m.costOf(r.fills)) {
			if low && t.sticks != nil {
				r.bound = max(r.bound, t.cost)
			}
			name := fmt.Sprint(t)
			if no[name] {
				continue
			}
			left := budget - r.steps
			if left <= 0 {
				return r
			}
			memo := memos[0]
			if t.sticks != nil {
				memo = memos[1]
			}
			fills, answer, n := m.decide(p, memo, t, min(share, left), share > firstShare)
			r.steps += n
			if answer == yes {
				r.fills = fills
				if t.sticks == nil { // there may be a better one
					low = false
					share /= shareGrowth
				}
				break
			}
			no[name] = answer == impossible
			low = low && no[name]
		}
		if low {
			r.bound = m.costOf(r.fills)
			return r
		}
	}
}

// targets returns all sets of sticks with room enough that cost from bound to
// under cost, the cheapest first. If they are too many, it returns one target
// only: any sticks that cost less.
func (m *model) targets(bound, cost int64) []target {
	var need int64
	for t, w := range m.weights {
		need += int64(m.demand[t]) * w
	}
	var out []target
	steps := 0
	sticks := make([]int, len(m.kinds))
	var add func(k int, sum, room int64)
	add = func(k int, sum, room int64) {
		if steps++; steps > 100*targetsLimit || len(out) > targetsLimit {
			return
		}
		if k == len(m.kinds) {
			if sum >= bound && sum < cost && room >= need {
				out = append(out, target{sum, slices.Clone(sticks)})
			}
			return
		}
		one := m.kinds[k]
		from := 0
		if k == len(m.kinds)-1 {
			// Of the last kind only these numbers bring room and cost to what is
			// asked for.
			from = int(max(ceilDiv(need-room, one.room), ceilDiv(bound-sum, one.cost)))
		}
		for n := from; n <= one.stock && sum+int64(n)*one.cost < cost; n++ {
			sticks[k] = n
			add(k+1, sum+int64(n)*one.cost, room+int64(n)*one.room)
		}
	}
	add(0, 0, 0)
	if steps > 100*targetsLimit || len(out) > targetsLimit {
		return []target{{cost: cost - 1}}
	}
	slices.SortStableFunc(out, func(a, b target) int { return cmp.Compare(a.cost, b.cost) })
	return out
}

// ceilDiv returns a / b rounded up, at least 0; b is positive.
func ceilDiv(a, b int64) int64 {
	if a <= 0 {
		return 0
	}
	return (a + b - 1) / b
}

// answer is what a search ends with.
type answer uint8

const (
	unknown answer = iota
	impossible
	yes
)

// decide looks for a plan that meets a target. memo may be shared by all searches
// with the same prices and the same kind of target.
func (m *model) decide(p prices, memo map[string]int64, t target, budget int, shuffled bool) ([]fill, answer, int) {
	// Large counts first: keep what the relaxed optimum uses whole times and
	// search only for the rest. Where that fails, keep less of it.
	steps := 0
	for less := range 2 {
		s := newSearch(m, p, t, memo, budget/4)
		kept := false
		for i, f := range p.sure {
			for range int(p.times[i]+pivotTol) - less {
				kept = s.force(f) || kept
			}
		}
		if !kept {
			break
		}
		a := s.run()
		steps += s.steps
		if a == yes {
			return s.plan, yes, steps
		}
	}
	for try := 0; ; try++ {
		share := budget - steps
		if shuffled {
			share = min(share, max(budget/tries, 1))
		}
		s := newSearch(m, p, t, memo, share)
		if shuffled {
			s.shuffle = rand.New(rand.NewPCG(uint64(budget), uint64(try)))
		}
		a := s.run()
		steps += s.steps
		if a != unknown || steps >= budget {
			return s.plan, a, steps
		}
	}
}

// search fills sticks one by one, each time the one of the longest piece that is
// left. Slack is what the regrets of all sticks may sum up to, spare the room
// that may stay empty.
type search struct {
	m       *model
	p       prices
	fixed   bool // which sticks there are is given
	budget  int
	steps   int
	left    []int
	stock   []int
	slack   int64
	spare   int64
	plan    []fill
	rate    []float64 // best worth per length from each weight on
	memo    map[string]int64
	key     []byte
	shuffle *rand.Rand // nil: least regret first
}

func newSearch(m *model, p prices, t target, memo map[string]int64, budget int) *search {
	s := &search{
		m: m, p: p, budget: budget, left: slices.Clone(m.demand), memo: memo,
		slack: t.cost - p.value, spare: math.MaxInt64 / 2,
	}
	if t.sticks != nil {
		s.fixed = true
		s.stock = slices.Clone(t.sticks)
		s.spare = 0
		for i, n := range m.demand {
			s.spare -= int64(n) * m.weights[i]
		}
		for k, n := range t.sticks {
			s.spare += int64(n) * m.kinds[k].room
			s.slack -= int64(m.kinds[k].stock-n) * p.rent[k] // that are never used
		}
	} else {
		for _, k := range m.kinds {
			s.stock = append(s.stock, k.stock)
		}
	}
	s.rate = make([]float64, len(m.weights)+1)
	for t := len(m.weights) - 1; t >= 0; t-- {
		s.rate[t] = max(s.rate[t+1], float64(p.piece[t])/float64(m.weights[t])*upward)
	}
	return s
}

// use puts a fill into the plan, undo takes the last one out again.
func (s *search) use(f fill) {
	for _, t := range f.types {
		s.left[t]--
		s.slack += s.p.piece[t]
		s.spare += s.m.weights[t]
	}
	s.stock[f.kind]--
	s.slack -= s.m.kinds[f.kind].cost + s.p.rent[f.kind]
	s.spare -= s.m.kinds[f.kind].room
	s.plan = append(s.plan, f)
}

func (s *search) undo() {
	f := s.plan[len(s.plan)-1]
	s.plan = s.plan[:len(s.plan)-1]
	for _, t := range f.types {
		s.left[t]++
		s.slack -= s.p.piece[t]
		s.spare -= s.m.weights[t]
	}
	s.stock[f.kind]++
	s.slack += s.m.kinds[f.kind].cost + s.p.rent[f.kind]
	s.spare += s.m.kinds[f.kind].room
}

// force uses a fill if its pieces and its stick are still there.
func (s *search) force(f fill) bool {
	if s.stock[f.kind] == 0 {
		return false
	}
	s.use(f)
	for _, t := range f.types {
		if s.left[t] < 0 {
			s.undo()
			return false
		}
	}
	return true
}

func (s *search) run() answer {
	if s.fill(0) {
		return yes
	}
	if s.steps > s.budget {
		return unknown
	}
	return impossible
}

// state is the key of what is left, from the weight lead on.
func (s *search) state(lead int) string {
	s.key = binary.AppendUvarint(s.key[:0], uint64(lead))
	for _, n := range s.left[lead:] {
		s.key = binary.AppendUvarint(s.key, uint64(n))
	}
	for k, n := range s.stock {
		if s.fixed || s.m.kinds[k].stock < s.m.pieces {
			s.key = binary.AppendUvarint(s.key, uint64(n))
		}
	}
	return string(s.key)
}

// candidate is a fill and its regret.
type candidate struct {
	fill
	regret int64
	order  int64
}

func (s *search) fill(lead int) bool {
	if s.slack < 0 || s.spare < 0 {
		return false
	}
	for lead < len(s.left) && s.left[lead] == 0 {
		lead++
	}
	if lead == len(s.left) {
		return true
	}
	if s.steps > s.budget {
		return false
	}
	key := s.state(lead)
	if failed, ok := s.memo[key]; ok && s.slack <= failed {
		return false
	}
	all := s.candidates(lead)
	if s.steps > s.budget { // they are not all there
		return false
	}
	for _, c := range all {
		s.use(c.fill)
		if s.fill(lead) {
			return true
		}
		s.undo()
		if s.steps > s.budget {
			return false
		}
	}
	if len(s.memo) < memoLimit {
		s.memo[key] = s.slack
	}
	return false
}

// candidates returns the ways to fill the stick that the longest piece left is
// cut from, least regret first. Three kinds of fill are left out, since
// exchanging pieces or sticks turns a plan with one of them into a plan without
// it that costs no more:
//
//   - another piece that is left would fit as well,
//   - one of the pieces but the longest could be exchanged for a longer one that
//     is left,
//   - the pieces fit a kind that costs no more and of which there are enough; if
//     the sticks are given, a shorter one that is left.
func (s *search) candidates(lead int) []candidate {
	m := s.m
	s.steps += len(m.weights) / 4 // long lists make every step dearer
	var out []candidate
	// What all pieces from each weight on need, to see when a stick can't get full.
	rest := make([]int64, len(m.weights)+1)
	for t := len(m.weights) - 1; t >= lead; t-- {
		rest[t] = rest[t+1] + int64(s.left[t])*m.weights[t]
	}
	var types []int32
	for k, kind := range m.kinds {
		if s.stock[k] == 0 || kind.room < m.weights[lead] {
			continue
		}
		need := kind.cost + s.p.rent[k] - s.slack // what the pieces must be worth
		// The largest kind that makes this one needless for what fits it.
		var enough int64
		for o, other := range m.kinds {
			needless := other.stock == m.pieces && (other.cost < kind.cost || other.cost == kind.cost && o > k)
			if s.fixed {
				needless = s.stock[o] > 0 && o > k
			}
			if needless {
				enough = max(enough, other.room)
			}
		}
		var grow func(t int, room, worth, skipped int64)
		grow = func(t int, room, worth, skipped int64) {
			if s.steps++; s.steps > s.budget {
				return
			}
			for t < len(m.weights) && (s.left[t] == 0 || m.weights[t] > room) {
				t++
			}
			if room-rest[t] >= skipped || room-rest[t] > s.spare || float64(worth)+float64(room)*s.rate[t]*upward < float64(need) {
				return
			}
			if t == len(m.weights) {
				s.steps += len(types)
				if worth >= need && room <= s.spare && kind.room-room > enough && !s.exchangeable(types, lead, room) {
					out = append(out, candidate{fill{k, slices.Clone(types)}, kind.cost + s.p.rent[k] - worth, kind.cost + s.p.rent[k] - worth})
				}
				return
			}
			w := m.weights[t]
			most := min(s.left[t], int(room/w))
			for range most {
				types = append(types, int32(t))
			}
			for n := most; ; n-- {
				limit := skipped
				if n < s.left[t] {
					limit = min(limit, w)
				}
				grow(t+1, room-int64(n)*w, worth+int64(n)*s.p.piece[t], limit)
				if n == 0 {
					break
				}
				types = types[:len(types)-1]
			}
		}
		types = append(types[:0], int32(lead))
		s.left[lead]--
		rest[lead] -= m.weights[lead]
		grow(lead, kind.room-m.weights[lead], s.p.piece[lead], math.MaxInt64)
		rest[lead] += m.weights[lead]
		s.left[lead]++
	}
	if s.shuffle != nil {
		for i := range out {
			out[i].order = out[i].regret + int64(s.shuffle.Float64()*float64(s.slack)*noise)
		}
	}
	slices.SortStableFunc(out, func(a, b candidate) int { return cmp.Compare(a.order, b.order) })
	return out
}

// exchangeable says whether one of the pieces could be exchanged for a longer one
// that is left over, within the room that is left. One of lead is not in s.left.
func (s *search) exchangeable(types []int32, lead int, room int64) bool {
	for i := 1; i < len(types); i++ {
		t := int(types[i])
		if t == lead {
			continue
		}
		for o := t - 1; o >= lead && s.m.weights[o] <= s.m.weights[t]+room; o-- {
			used := 0
			for _, u := range types[1:] {
				if int(u) == o {
					used++
				}
			}
			if used < s.left[o] {
				return true
			}
		}
	}
	return false
}

// saveRemnant looks for a plan from the same sticks with a longer single remnant:
// the longest piece that could be cut besides. It returns the plan and its steps.
func (m *model) saveRemnant(fills []fill, budget int) ([]fill, int) {
	if len(fills) == 0 || m.pieces > remnantPieces {
		return fills, 0
	}
	sticks := make([]int, len(m.kinds))
	var longest, spare, most int64
	for _, f := range fills {
		free := m.kinds[f.kind].room - m.weightOf(f)
		sticks[f.kind]++
		longest = max(longest, free)
		spare += free
		most = max(most, m.kinds[f.kind].room)
	}
	steps := 0
	for low, high := longest, min(spare, most)+1; high-low > remnantStep && steps < budget; {
		ask := (low + high) / 2
		found, n := m.withMore(ask, sticks, budget/remnantTries)
		steps += n
		if found == nil {
			high = ask
			continue
		}
		fills, low = found, ask
		for _, f := range fills {
			low = max(low, m.kinds[f.kind].room-m.weightOf(f))
		}
	}
	return fills, steps
}

// withMore returns a plan from the given sticks in which one has that much room
// left, nil if none was found.
func (m *model) withMore(weight int64, sticks []int, budget int) ([]fill, int) {
	wider := *m
	at, same := slices.BinarySearchFunc(m.weights, weight, func(w, ask int64) int { return cmp.Compare(ask, w) })
	if same {
		wider.demand = slices.Clone(m.demand)
		wider.demand[at]++
	} else {
		wider.weights = slices.Insert(slices.Clone(m.weights), at, weight)
		wider.demand = slices.Insert(slices.Clone(m.demand), at, 1)
	}
	wider.pieces++
	t := target{sticks: sticks}
	for k, n := range sticks {
		t.cost += int64(n) * m.kinds[k].cost
	}
	found, answer, steps := wider.decide(wider.plain(), map[string]int64{}, t, budget, true)
	if answer != yes {
		return nil, steps
	}
	out := []fill{}
	taken := false
	for _, f := range found {
		g := fill{kind: f.kind}
		for _, t := range f.types {
			switch {
			case int(t) == at && !taken:
				taken = true
			case !same && int(t) > at:
				g.types = append(g.types, t-1)
			default:
				g.types = append(g.types, t)
			}
		}
		if len(g.types) > 0 { // a stick that only holds what is left over is not bought
			out = append(out, g)
		}
	}
	return out, steps
}
