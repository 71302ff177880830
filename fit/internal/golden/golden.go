// Package golden finds minima of functions of one number that fall and then rise,
// by golden-section search.
package golden

const ratio = 0.6180339887498949 // (sqrt 5 - 1) / 2

// Bracket is where a search has come to: the minimum lies between From and To, and
// Left and Right are the two places between them that were looked at, with their
// values. The lesser of those is the least value that the search has come across
// inside the range it began with.
type Bracket struct {
	From, To        float64
	Left, Right     float64
	AtLeft, AtRight float64
}

// Search narrows [from, to] down about the minimum of f. Each round leaves 0.618 of
// the bracket; it ends after that many rounds, or once the bracket is no longer
// than width (0: never).
func Search(f func(float64) float64, from, to float64, rounds int, width float64) Bracket {
	b := Bracket{From: from, To: to, Left: to - ratio*(to-from), Right: from + ratio*(to-from)}
	b.AtLeft, b.AtRight = f(b.Left), f(b.Right)
	for n := 0; n < rounds && b.To-b.From > width; n++ {
		if b.AtLeft <= b.AtRight {
			b.To, b.Right, b.AtRight = b.Right, b.Left, b.AtLeft
			b.Left = b.To - ratio*(b.To-b.From)
			b.AtLeft = f(b.Left)
		} else {
			b.From, b.Left, b.AtLeft = b.Left, b.Right, b.AtRight
			b.Right = b.From + ratio*(b.To-b.From)
			b.AtRight = f(b.Right)
		}
	}
	return b
}

// Least returns the better of the two places looked at last, and its value.
func (b Bracket) Least() (x, value float64) {
	if b.AtLeft <= b.AtRight {
		return b.Left, b.AtLeft
	}
	return b.Right, b.AtRight
}
