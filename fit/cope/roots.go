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
	if degree == 2 && c[2] != 0 {
		return c.square(lo, hi, out)
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

// square is roots for degree 2, in the form that does not cancel.
func (c *quartic) square(lo, hi float64, out *[4]float64) int {
	d := c[1]*c[1] - 4*c[2]*c[0]
	if d <= 0 {
		return 0
	}
	q := -(c[1] + math.Copysign(math.Sqrt(d), c[1])) / 2
	x, y := q/c[2], c[0]/q
	n := 0
	for _, x := range [2]float64{min(x, y), max(x, y)} {
		if x > lo && x < hi {
			out[n] = x
			n++
		}
	}
	return n
}

// settled is the step at which a root is taken, in the radius of the bend: with
// radii up to a metre it is 1e-9 mm.
const settled = 1e-12

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
		// Newton's last step was far longer than what is left; by halving, or next
		// to a double root, as much is left again.
		if math.Abs(next-x) <= settled || next == a || next == b {
			return next
		}
		x = next
	}
	return x
}
