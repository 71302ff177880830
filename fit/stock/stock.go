package stock

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"barwright/fit/tube"
)

// Piece is what is to be cut, Count times.
type Piece struct {
	Label  string
	Length float64 // mm, > 0
	Count  int     // at least 1
}

// Options steer Pack. The zero value is a saw without kerf.
type Options struct {
	// Kerf is lost with every cut, mm; 0 or more.
	Kerf float64
	// Budget is how many steps the search may take; 0: DefaultBudget. When they
	// are used up, the plan is the best one found. As many as a quarter of it go
	// into the longest remnant besides.
	Budget int
}

// DefaultBudget is some seconds of searching on a common machine; most cages take
// milliseconds.
const DefaultBudget = 50_000_000

// Plan is what to buy and how to cut it.
type Plan struct {
	Sticks   []Cut   // the longest sticks first, of these the fullest
	Priced   bool    // Cost, Bound and FirstFit are prices; else they are mm
	Cost     float64 // of all sticks
	Bound    float64 // no plan costs less
	Proven   bool    // Cost is Bound
	FirstFit float64 // what first-fit decreasing would cost; +Inf: it finds no plan
	Bought   float64 // length of all sticks, mm
	Used     float64 // length of all pieces, mm
	Steps    int     // of the search
}

// Cut is one stick and what is cut from it.
type Cut struct {
	Stick   tube.Stick
	Kind    int // index of Stick among those given to Pack
	Pieces  []Placed
	Remnant float64 // left after the last cut, mm; 0: nothing is
}

// Placed is a piece in its place.
type Placed struct {
	Piece    int // index among the pieces given to Pack
	Label    string
	Length   float64 // mm
	From, To float64 // from the end of the stick at which cutting starts, mm
}

// Waste returns the part of the bought length that no piece has, 0 to 1.
func (p *Plan) Waste() float64 {
	if !(p.Bought > 0) {
		return 0
	}
	return 1 - p.Used/p.Bought
}

const (
	// unitsPerMM is what lengths are counted in: a hundredth of a millimetre is a
	// tenth of what the tables show.
	unitsPerMM = 100

	// unitsPerMoney is what prices are counted in: some currencies have three
	// decimals.
	unitsPerMoney = 1000

	// lengthNoise in mm: a blank is the sum of some tens of lengths of up to 1e4
	// mm, each right to 1e-9 mm (package tube, guarantee 1). It must not make a
	// piece of 3000 mm one of 3000.01.
	lengthNoise = 1e-6

	// Limits that keep all whole numbers within 63 bits: price x most pieces x
	// most sticks is 1e9 x 1e4 x 1e4 = 1e17.
	maxPieces = 10_000
	maxLength = 1e6 // mm
	maxPrice  = 1e6
)

// Pack cuts pieces from sticks. Lengths are in mm. Errors name the piece that is
// longer than every stick or the number that makes no sense, and say how much is
// missing where there are too few sticks.
func Pack(pieces []Piece, sticks []tube.Stick, opt Options) (*Plan, error) {
	if err := validate(pieces, sticks, opt); err != nil {
		return nil, err
	}
	m, err := newModel(pieces, sticks, opt.Kerf)
	if err != nil {
		return nil, err
	}
	budget := opt.Budget
	if budget <= 0 {
		budget = DefaultBudget
	}
	first := m.firstFit()
	start := first
	steps := 0
	if start == nil {
		if start, steps, err = m.anyPlan(budget); err != nil {
			return nil, err
		}
	}
	r := m.solve(start, budget)
	steps += r.steps
	best, more := m.saveRemnant(r.fills, budget/remnantShare)
	plan := m.plan(best, pieces, sticks, opt.Kerf)
	plan.Steps = steps + more
	plan.Bound = m.money(r.bound / m.perStick)
	plan.Proven = r.bound/m.perStick == m.costOf(best)/m.perStick
	plan.FirstFit = math.Inf(1)
	if first != nil {
		plan.FirstFit = m.money(m.costOf(first) / m.perStick)
	}
	return plan, nil
}

func validate(pieces []Piece, sticks []tube.Stick, opt Options) error {
	if len(sticks) == 0 {
		return errors.New("no stick is given to cut from")
	}
	for i, s := range sticks {
		switch {
		case !(s.Length > 0 && s.Length <= maxLength):
			return fmt.Errorf("stick %d: length must be over 0 and at most %g mm, got %g", i+1, float64(maxLength), s.Length)
		case !(s.Price >= 0 && s.Price <= maxPrice):
			return fmt.Errorf("stick %d: price must be from 0 to %g, got %g", i+1, float64(maxPrice), s.Price)
		}
	}
	if !(opt.Kerf >= 0 && opt.Kerf <= maxLength) {
		return fmt.Errorf("kerf must be 0 mm or more, got %g", opt.Kerf)
	}
	longest := slices.MaxFunc(sticks, func(a, b tube.Stick) int { return cmp.Compare(a.Length, b.Length) })
	total := 0
	for _, p := range pieces {
		switch {
		case math.IsNaN(p.Length) || !(p.Length > 0):
			return fmt.Errorf("piece %q: length must be over 0 mm, got %g", p.Label, p.Length)
		case p.Length > longest.Length+lengthNoise:
			return fmt.Errorf("piece %q is %.1f mm long, the longest stick %.1f mm", p.Label, p.Length, longest.Length)
		case p.Count < 1 || p.Count > maxPieces:
			return fmt.Errorf("piece %q: count must be from 1 to %d, got %d", p.Label, maxPieces, p.Count)
		}
		if total += p.Count; total > maxPieces {
			return fmt.Errorf("at most %d pieces can be packed", maxPieces)
		}
	}
	return nil
}

// model is the problem in whole numbers. A piece's weight is its length and one
// kerf, a kind's room its length and one kerf.
type model struct {
	weights  []int64 // falling, all different
	demand   []int
	ids      [][]int // of each weight: pieces that have it, each as often as it is wanted
	kinds    []kind  // falling room
	pieces   int
	perStick int64 // a cost is units x perStick + number of sticks
	priced   bool
}

// kind is a stick as the search sees it. Sticks that are alike are one kind.
type kind struct {
	room  int64
	cost  int64
	stock int   // at most as many as there are pieces
	from  []int // sticks as given
}

// fill is a stick of a kind with the weights that are in it.
type fill struct {
	kind  int
	types []int32 // indices of weights, rising, repeated
}

func newModel(pieces []Piece, sticks []tube.Stick, kerf float64) (*model, error) {
	m := &model{priced: true}
	saw := up(kerf)
	var order []int
	for i, p := range pieces {
		for range p.Count {
			order = append(order, i)
		}
	}
	m.pieces = len(order)
	weight := func(i int) int64 { return up(pieces[i].Length) + saw }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(weight(b), weight(a)) })
	for _, i := range order {
		if n := len(m.weights); n == 0 || m.weights[n-1] != weight(i) {
			m.weights = append(m.weights, weight(i))
			m.demand = append(m.demand, 0)
			m.ids = append(m.ids, nil)
		}
		n := len(m.weights) - 1
		m.demand[n]++
		m.ids[n] = append(m.ids[n], i)
	}
	m.perStick = int64(m.pieces) + 1
	for _, s := range sticks {
		m.priced = m.priced && s.Price > 0
	}
	for i, s := range sticks {
		units := down(s.Length)
		k := kind{room: units + saw, cost: units, stock: m.pieces, from: []int{i}}
		if m.priced {
			k.cost = max(1, int64(math.Round(s.Price*unitsPerMoney)))
		}
		k.cost = k.cost*m.perStick + 1
		if s.Stock >= 0 {
			k.stock = min(s.Stock, m.pieces)
		}
		like := slices.IndexFunc(m.kinds, func(o kind) bool { return o.room == k.room && o.cost == k.cost })
		if like >= 0 {
			o := &m.kinds[like]
			o.stock = min(o.stock+k.stock, m.pieces)
			o.from = append(o.from, i)
			continue
		}
		m.kinds = append(m.kinds, k)
	}
	slices.SortStableFunc(m.kinds, func(a, b kind) int {
		return cmp.Or(cmp.Compare(b.room, a.room), cmp.Compare(a.cost, b.cost))
	})
	for t, w := range m.weights {
		if !slices.ContainsFunc(m.kinds, func(k kind) bool { return k.stock > 0 && w <= k.room }) {
			p := pieces[m.ids[t][0]]
			return nil, fmt.Errorf("piece %q is %.1f mm long: no stick at hand is that long", p.Label, p.Length)
		}
	}
	// A kind that there is none of, or that holds nothing, is no choice.
	m.kinds = slices.DeleteFunc(m.kinds, func(k kind) bool {
		return k.stock == 0 || m.pieces == 0 || k.room < m.weights[len(m.weights)-1]
	})
	return m, nil
}

func up(mm float64) int64   { return int64(math.Ceil((mm - lengthNoise) * unitsPerMM)) }
func down(mm float64) int64 { return int64(math.Floor((mm + lengthNoise) * unitsPerMM)) }

// money turns a cost without its number of sticks into what the user counts in.
func (m *model) money(units int64) float64 {
	if m.priced {
		return float64(units) / unitsPerMoney
	}
	return float64(units) / unitsPerMM
}

func (m *model) costOf(fills []fill) int64 {
	var sum int64
	for _, f := range fills {
		sum += m.kinds[f.kind].cost
	}
	return sum
}

// weightOf returns what the pieces of a fill need of the stick's room.
func (m *model) weightOf(f fill) int64 {
	var sum int64
	for _, t := range f.types {
		sum += m.weights[t]
	}
	return sum
}

// anyPlan looks for a plan of any cost: first-fit found none because sticks are
// short in number. It adds sticks that do not exist at a cost over all that do,
// and buys as few of them as it can.
func (m *model) anyPlan(budget int) ([]fill, int, error) {
	wider := *m
	wider.kinds = slices.Clone(m.kinds)
	for i := range wider.kinds {
		wider.kinds[i].cost = 1
	}
	missing := len(wider.kinds)
	wider.kinds = append(wider.kinds, kind{room: m.kinds[0].room, cost: int64(m.pieces) + 1, stock: m.pieces})
	wider.perStick = 1
	r := wider.solve(wider.firstFit(), budget)
	short, over := 0, 0
	for _, f := range r.fills {
		if f.kind == missing {
			short++
			over += len(f.types)
		}
	}
	if short == 0 {
		return r.fills, r.steps, nil
	}
	longest := float64(m.kinds[0].room) / unitsPerMM
	found := "they do not hold all pieces"
	if r.bound < int64(short)*wider.kinds[missing].cost {
		found = "no way was found to cut all pieces from them"
	}
	return nil, 0, fmt.Errorf("too few sticks at hand: %s; %s of about %.0f mm more would take the other %s",
		found, count(short, "stick"), longest, count(over, "piece"))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// plan gives the fills their pieces and places.
func (m *model) plan(fills []fill, pieces []Piece, sticks []tube.Stick, kerf float64) *Plan {
	p := &Plan{Priced: m.priced && m.pieces > 0}
	fills = slices.Clone(fills)
	slices.SortStableFunc(fills, func(a, b fill) int {
		return cmp.Or(
			cmp.Compare(m.kinds[b.kind].room, m.kinds[a.kind].room),
			cmp.Compare(a.kind, b.kind),
			cmp.Compare(m.weightOf(b), m.weightOf(a)),
			slices.Compare(a.types, b.types),
		)
	})
	taken := make([]int, len(m.weights))
	used := make([]int, len(sticks))
	for _, f := range fills {
		c := Cut{Kind: m.kinds[f.kind].take(sticks, used)}
		c.Stick = sticks[c.Kind]
		at := 0.0
		for _, t := range f.types {
			i := m.ids[t][taken[t]]
			taken[t]++
			length := pieces[i].Length
			c.Pieces = append(c.Pieces, Placed{Piece: i, Label: pieces[i].Label, Length: length, From: at, To: at + length})
			at += length + kerf
			p.Used += length
		}
		// Within the noise of lengths a piece ends where its stick does.
		if c.Remnant = c.Stick.Length - at; c.Remnant <= lengthNoise {
			c.Remnant = 0
		}
		p.Bought += c.Stick.Length
		p.Sticks = append(p.Sticks, c)
	}
	p.Cost = m.money(m.costOf(fills) / m.perStick)
	return p
}

// take returns the first stick of the kind that is still at hand.
func (k kind) take(sticks []tube.Stick, used []int) int {
	for _, i := range k.from {
		if sticks[i].Stock < 0 || used[i] < sticks[i].Stock {
			used[i]++
			return i
		}
	}
	panic("stock: more sticks of a kind than there are")
}
