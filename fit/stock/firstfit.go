package stock

// firstFit returns the best plan of first-fit decreasing: pieces from the longest
// to the shortest, each into the first stick with room for it. Which kind is
// opened when there is none is a free choice, so each kind gets a turn as the
// favourite; where the favourite is too short or used up, the shortest kind that
// will do is taken. At the end every stick is exchanged for the cheapest that
// holds its pieces. nil: no plan was found.
func (m *model) firstFit() []fill {
	var best []fill
	found := false
	for favourite := range m.kinds {
		fills, ok := m.firstFitWith(favourite)
		if ok && (!found || m.costOf(fills) < m.costOf(best)) {
			best, found = fills, true
		}
	}
	if !found && m.pieces == 0 {
		return []fill{}
	}
	return best
}

func (m *model) firstFitWith(favourite int) ([]fill, bool) {
	fills := []fill{}
	var rest []int64
	stock := make([]int, len(m.kinds))
	for k := range m.kinds {
		stock[k] = m.kinds[k].stock
	}
	for t, w := range m.weights {
		for range m.demand[t] {
			i := 0
			for i < len(rest) && rest[i] < w {
				i++
			}
			if i == len(rest) {
				k := favourite
				if stock[k] == 0 || m.kinds[k].room < w {
					k = len(m.kinds) - 1
					for k >= 0 && (stock[k] == 0 || m.kinds[k].room < w) {
						k--
					}
				}
				if k < 0 {
					return nil, false
				}
				stock[k]--
				fills = append(fills, fill{kind: k})
				rest = append(rest, m.kinds[k].room)
			}
			fills[i].types = append(fills[i].types, int32(t))
			rest[i] -= w
		}
	}
	for i := range fills {
		f := &fills[i]
		need := m.weightOf(*f)
		stock[f.kind]++
		for k := range m.kinds {
			if stock[k] > 0 && m.kinds[k].room >= need && m.kinds[k].cost < m.kinds[f.kind].cost {
				f.kind = k
			}
		}
		stock[f.kind]--
	}
	return fills, true
}
