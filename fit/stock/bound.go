package stock

import (
	"cmp"
	"math"
	"slices"
)

// prices are duals of the linear relaxation in whole units of cost. For every
// way to fill a stick of kind k
//
//	sum over its pieces of piece[t] <= cost of k + rent[k]
//
// so no plan costs less than value = sum demand x piece - sum stock x rent, and
// what a filling falls short of its right side (its regret) is what a plan that
// uses it costs more than that, at least.
type prices struct {
	piece []int64 // >= 0
	rent  []int64 // >= 0; 0 for kinds of which there are as many as pieces
	value int64
	sure  []fill // fillings of the relaxed optimum with how often they are used
	times []float64
}

const (
	// enterTol is how much, relative to a stick's cost, a filling must be worth
	// more than the stick to improve the relaxation. Duals come from some hundred
	// pivots in float64, whose errors stay under 1e-12; what is given away by it
	// is made good when the duals are rounded down.
	enterTol = 1e-10

	// pivotTol is the smallest pivot: entries of the inverse are sums of some
	// tens of ratios of small whole numbers.
	pivotTol = 1e-9

	// upward rounds a float64 product or ratio of whole numbers up for sure: it
	// is four rounding units, and no more than two operations are done.
	upward = 1 + 4*0x1p-52

	knapsackSteps = 2_000_000 // of one knapsack; then the plain bound has to do
	knapsackSoon  = 20_000    // of one that has found an improvement
	tableLimit    = 300_000   // entries of a knapsack's table
	roundsLimit   = 4_000     // of column generation; some hundred are common
)

// plain returns the prices that come from length alone: a length unit is worth
// what it costs in the cheapest kind.
func (m *model) plain() prices {
	rate := math.Inf(1)
	for _, k := range m.kinds {
		rate = min(rate, float64(k.cost)/float64(k.room))
	}
	p := prices{rent: make([]int64, len(m.kinds))}
	for t, w := range m.weights {
		p.piece = append(p.piece, int64(rate*float64(w)/(upward*upward)))
		p.value += int64(m.demand[t]) * p.piece[t]
	}
	return p
}

// relax solves the linear relaxation by column generation and returns duals
// that hold exactly, and the steps it took. With too few steps the duals are the
// best so far.
func (m *model) relax(budget int) (prices, int) {
	best := m.plain()
	if m.pieces == 0 {
		return best, 0
	}
	l := newMaster(m)
	steps := 0
	for range roundsLimit {
		steps += l.optimise()
		if steps > budget {
			break
		}
		p := l.duals()
		entered, exact := false, true
		fits := 1.0 // by which all prices must be multiplied to hold for sure
		for k := range m.kinds {
			right := m.kinds[k].cost + p.rent[k]
			enough := right + int64(float64(right)*enterTol) + 1
			types, worth, n, whole := m.knapsack(k, p.piece, enough)
			steps += n
			if !whole && worth == enough {
				return best, steps
			}
			exact = exact && whole
			if worth > enough {
				l.add(fill{kind: k, types: types})
				entered = true
			}
			fits = min(fits, float64(m.kinds[k].cost)/float64(max(enough, worth)-p.rent[k]))
		}
		// These prices, made smaller, are a bound already.
		if q := p.scaled(m, fits); exact && q.value > best.value {
			q.sure, q.times = best.sure, best.times
			best = q
		}
		if !entered {
			best.sure, best.times = l.solution()
			break
		}
	}
	return best, steps
}

// scaled returns the prices times a factor of at most 1, rounded so that they
// hold if they did before.
func (p prices) scaled(m *model, factor float64) prices {
	q := prices{rent: make([]int64, len(p.rent))}
	for t, v := range p.piece {
		q.piece = append(q.piece, int64(float64(v)*factor/(upward*upward)))
		q.value += int64(m.demand[t]) * q.piece[t]
	}
	for k, v := range p.rent {
		// Rounding the rent down could break a right side, rounding it up cannot.
		if v > 0 {
			q.rent[k] = int64(math.Ceil(float64(v) * factor * upward))
		}
		q.value -= int64(m.kinds[k].stock) * q.rent[k]
	}
	return q
}

// knapsack returns the pieces of the most worth that fit a kind, if they are
// worth more than enough, by branch and bound from the piece of the most worth
// per length on. It is given up after knapsackSteps, or sooner if it has found
// something; whole says that it was not.
func (m *model) knapsack(kind int, worth []int64, enough int64) (types []int32, best int64, steps int, whole bool) {
	room := m.kinds[kind].room
	var order []int
	for t, w := range m.weights {
		if worth[t] > 0 && w <= room {
			order = append(order, t)
		}
	}
	rate := func(t int) float64 { return float64(worth[t]) / float64(m.weights[t]) * upward }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rate(b), rate(a)) })
	n := len(order)
	rates := make([]float64, n)
	for i, t := range order {
		rates[i] = rate(t)
	}
	least := make([]int64, n+1) // lightest from here on
	least[n] = math.MaxInt64
	for i := n - 1; i >= 0; i-- {
		least[i] = min(least[i+1], m.weights[order[i]])
	}
	taken, chosen := make([]int, n), make([]int, n)
	best = enough
	unit := m.unit()
	coarse := room/unit*int64(n) <= tableLimit
	limit := knapsackSteps
	if coarse {
		limit = knapsackSoon
	}
	var descend func(i int, rest, sum int64)
	descend = func(i int, rest, sum int64) {
		if sum > best {
			best = sum
			copy(chosen, taken)
			limit = knapsackSoon
		}
		for ; i < n && rest >= least[i]; i++ {
			steps++
			if steps > limit || float64(sum)+float64(rest)*rates[i]*upward <= float64(best) {
				return
			}
			t := order[i]
			w := m.weights[t]
			most := min(m.demand[t], int(rest/w))
			for c := most; c > 0; c-- {
				taken[i] = c
				descend(i+1, rest-int64(c)*w, sum+int64(c)*worth[t])
			}
			taken[i] = 0
		}
	}
	descend(0, room, 0)
	if coarse && steps > limit {
		types, best, n := m.table(kind, worth, enough, unit, order)
		return types, best, steps + n, true
	}
	if best == enough {
		return nil, best, steps, steps <= limit
	}
	for i, c := range chosen {
		for range c {
			types = append(types, int32(order[i]))
		}
	}
	slices.Sort(types)
	return types, best, steps, steps <= limit
}

// unit returns the greatest common divisor of all weights.
func (m *model) unit() int64 {
	var g int64
	for _, w := range m.weights {
		for w != 0 {
			g, w = w, g%w
		}
	}
	return g
}

// table is knapsack by dynamic programming over the room in units: for coarse
// lengths, where branch and bound may try ever so many sums that are alike.
func (m *model) table(kind int, worth []int64, enough, unit int64, order []int) (types []int32, best int64, steps int) {
	room := int(m.kinds[kind].room / unit)
	sums := make([]int64, room+1)
	last := make([][]uint16, len(order)) // pieces of a type in the best sum, by room
	for i, t := range order {
		last[i] = make([]uint16, room+1)
		w := int(m.weights[t] / unit)
		before := slices.Clone(sums)
		for r := w; r <= room; r++ {
			steps++
			for c := 1; c <= m.demand[t] && c*w <= r; c++ {
				if v := before[r-c*w] + int64(c)*worth[t]; v > sums[r] {
					sums[r], last[i][r] = v, uint16(c)
				}
			}
		}
	}
	if sums[room] <= enough {
		return nil, enough, steps
	}
	rest := room
	for i := len(order) - 1; i >= 0; i-- {
		c := int(last[i][rest])
		rest -= c * int(m.weights[order[i]]/unit)
		for range c {
			types = append(types, int32(order[i]))
		}
	}
	slices.Sort(types)
	return types, sums[room], steps
}

// master is the linear program over the fillings found so far: the revised
// simplex method with an explicit inverse. Rows are one per weight, sum of
// pieces >= demand, then one per scarce kind, sum of sticks <= stock.
type master struct {
	m      *model
	scale  float64 // of costs, so that they are near 1
	rows   int
	scarce []int // row of each kind; -1: none
	cols   []column
	basis  []int     // column of each row
	inv    []float64 // of the basis, rows x rows
	x      []float64 // of basic columns
	dual   []float64
}

type column struct {
	fill  fill      // kind -1: a slack or a stand-in
	cost  float64   // scaled
	a     []float64 // rows
	basic bool
}

func newMaster(m *model) *master {
	l := &master{m: m, rows: len(m.weights)}
	for _, k := range m.kinds {
		row := -1
		if k.stock < m.pieces {
			row = l.rows
			l.rows++
		}
		l.scarce = append(l.scarce, row)
		l.scale = max(l.scale, float64(k.cost))
	}
	l.inv = make([]float64, l.rows*l.rows)
	l.dual = make([]float64, l.rows)
	unit := func(row int, v, cost float64) column {
		a := make([]float64, l.rows)
		a[row] = v
		return column{fill: fill{kind: -1}, cost: cost, a: a}
	}
	// The first basis: stand-ins that supply one piece each, dearer than all
	// sticks, and unused stock. A stand-in that stays only makes the bound weaker.
	const standIn = 4
	for r := range l.rows {
		l.inv[r*l.rows+r] = 1
		l.basis = append(l.basis, r)
		if r < len(m.weights) {
			l.cols = append(l.cols, unit(r, 1, standIn))
			l.x = append(l.x, float64(m.demand[r]))
		}
	}
	for k, r := range l.scarce {
		if r >= 0 {
			l.cols = append(l.cols, unit(r, 1, 0))
			l.x = append(l.x, float64(m.kinds[k].stock))
		}
	}
	for r := range l.cols {
		l.cols[r].basic = true
	}
	for r := range m.weights {
		l.cols = append(l.cols, unit(r, -1, 0)) // more than is wanted
	}
	return l
}

func (l *master) add(f fill) {
	c := column{fill: f, cost: float64(l.m.kinds[f.kind].cost) / l.scale, a: make([]float64, l.rows)}
	for _, t := range f.types {
		c.a[t]++
	}
	if r := l.scarce[f.kind]; r >= 0 {
		c.a[r] = 1
	}
	l.cols = append(l.cols, c)
}

// optimise pivots until no column that is there improves. It returns its work in
// steps of the search, which take as long as some ten multiplications.
func (l *master) optimise() (steps int) {
	dir := make([]float64, l.rows)
	for range 50 * l.rows { // many more than it takes; it ends a cycle
		steps += (3*l.rows + len(l.cols)) * l.rows / 10
		clear(l.dual)
		for r, c := range l.basis {
			if cost := l.cols[c].cost; cost != 0 {
				for i := range l.rows {
					l.dual[i] += cost * l.inv[r*l.rows+i]
				}
			}
		}
		enter, gain := -1, enterTol
		for c := range l.cols {
			if l.cols[c].basic {
				continue
			}
			worth := -l.cols[c].cost
			for i, a := range l.cols[c].a {
				if a != 0 {
					worth += a * l.dual[i]
				}
			}
			if worth > gain {
				enter, gain = c, worth
			}
		}
		if enter < 0 || !l.pivot(enter, dir) {
			break
		}
	}
	return steps
}

// pivot brings a column into the basis. It is false if the column does not
// bound the step, which cannot be in exact arithmetic.
func (l *master) pivot(enter int, dir []float64) bool {
	n := l.rows
	for r := range n {
		dir[r] = 0
		for i, a := range l.cols[enter].a {
			if a != 0 {
				dir[r] += l.inv[r*n+i] * a
			}
		}
	}
	leave, step := -1, math.Inf(1)
	for r, d := range dir {
		if d <= pivotTol {
			continue
		}
		s := max(0, l.x[r]) / d
		// Of rows that tie, the largest pivot; then the first.
		if s < step-pivotTol || (s <= step+pivotTol && leave >= 0 && d > dir[leave]) {
			leave, step = r, min(s, step)
		}
	}
	if leave < 0 {
		return false
	}
	step = max(0, l.x[leave]) / dir[leave]
	for r := range n {
		l.x[r] -= step * dir[r]
	}
	l.x[leave] = step
	pivotRow := l.inv[leave*n : leave*n+n]
	for i := range pivotRow {
		pivotRow[i] /= dir[leave]
	}
	for r := range n {
		if r == leave || dir[r] == 0 {
			continue
		}
		row := l.inv[r*n : r*n+n]
		for i := range row {
			row[i] -= dir[r] * pivotRow[i]
		}
	}
	l.cols[l.basis[leave]].basic = false
	l.cols[enter].basic = true
	l.basis[leave] = enter
	return true
}

// duals returns the duals in whole units; they need not hold yet.
func (l *master) duals() prices {
	p := prices{rent: make([]int64, len(l.m.kinds))}
	for t := range l.m.weights {
		p.piece = append(p.piece, int64(max(0, l.dual[t])*l.scale))
	}
	for k, r := range l.scarce {
		if r >= 0 {
			p.rent[k] = int64(max(0, -l.dual[r]) * l.scale)
		}
	}
	return p
}

// solution returns the fillings of the relaxed optimum.
func (l *master) solution() (fills []fill, times []float64) {
	for r, c := range l.basis {
		if l.cols[c].fill.kind >= 0 && l.x[r] > pivotTol {
			fills = append(fills, l.cols[c].fill)
			times = append(times, l.x[r])
		}
	}
	return fills, times
}
