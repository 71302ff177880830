package cope

import "math"

// quartic holds the coefficients of a polynomial, c[i] that of x^i.
type quartic [5]float64

func (c *quartic) at(x float64, degree int) float64 {
	v := c[degree]
	for i := degree - 1; i >= 0; i-- {
		v = v*x + c[i]
	}
	return v
}

// roots writes the places in (lo, hi) where the polynomial of the given degree
// changes its sign, in increasing order, and returns how many there are. The
// places where its derivative does so part the range into pieces on which it
// only rises or only falls, so none is missed; where it touches zero without
// passing through there is none.
func (c *quartic) roots(degree int, lo, hi float64, out *[4]float64) int {
	if degree == 1 {
		if x := -c[0] / c[1]; x > lo && x < hi {
			out[0] = x
			return 1
		}
		return 0
	}
	var slope quartic
	for i := 1; i <= degree; i++ {
		slope[i-1] = float64(i) * c[i]
	}
	var turns [4]float64
	k := slope.roots(degree-1, lo, hi, &turns)
	n := 0
	from, value := lo, c.at(lo, degree)
	for i := 0; i <= k; i++ {
		to := hi
		if i < k {
			to = turns[i]
		}
		next := c.at(to, degree)
		if (value <= 0) != (next <= 0) {
			out[n] = c.between(&slope, degree, from, to)
			n++
		}
		from, value = to, next
	}
	return n
}

// between returns the root in [a, b], where the polynomial is monotone and of
// different signs at the ends: Newton's steps, halving where they leave the
// bracket or do not shrink it fast.
func (c *quartic) between(slope *quartic, degree int, a, b float64) float64 {
	low := c.at(a, degree) <= 0
	x := (a + b) / 2
	for range 100 { // halving alone is done after 60
		v := c.at(x, degree)
		if (v <= 0) == low {
			a = x
		} else {
			b = x
		}
		next := x - v/slope.at(x, degree-1)
		if !(next > a && next < b) {
			next = (a + b) / 2
		}
		// The last bits of x are as good as it gets.
		if math.Abs(next-x) <= 4e-16*math.Abs(x) || next == a || next == b {
			return next
		}
		x = next
	}
	return x
}
