package table

import (
	"fmt"
	"math"
)

// Sixteenths shows a length given in mm as inches to the nearest 1/16, in lowest
// terms: 41.3 mm is "1 5/8".
func Sixteenths(mm float64) string {
	const perInch = 25.4
	n := int64(math.Round(mm / perInch * 16))
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	whole, part, over := n/16, n%16, int64(16)
	for part != 0 && part%2 == 0 {
		part, over = part/2, over/2
	}
	switch {
	case part == 0:
		return fmt.Sprintf("%s%d", sign, whole)
	case whole == 0:
		return fmt.Sprintf("%s%d/%d", sign, part, over)
	}
	return fmt.Sprintf("%s%d %d/%d", sign, whole, part, over)
}
