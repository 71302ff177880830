package sheet

import (
	"fmt"
	"strings"
	"unicode"

	"github.com/golang/geo/s1"

	"barwright/export/table"
	"barwright/fit/tube"
)

const mmPerInch = 25.4 // exact by definition (international inch)

// figures formats numbers for a sheet.
type figures struct{ inches bool }

// length shows a length given in mm, without its unit: to 0.1 mm, or in inches
// to 0.001 with the nearest sixteenth behind it.
func (f figures) length(mm float64) string {
	if f.inches {
		return fmt.Sprintf("%s (%s)", table.Fixed(mm/mmPerInch, 3), table.Sixteenths(mm))
	}
	return table.Fixed(mm, 1)
}

// size shows a tube's or a die's size given in mm, with its unit.
func (f figures) size(mm float64) string {
	if f.inches {
		return trimmed(mm/mmPerInch, 4) + " in"
	}
	return trimmed(mm, 2) + " mm"
}

func (f figures) unit() string {
	if f.inches {
		return "inches (nearest 1/16)"
	}
	return "mm"
}

// trimmed formats v with at most that many decimals.
func trimmed(v float64, decimals int) string {
	s := table.Fixed(v, decimals)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// degrees shows an angle to 0.1 degree with its sign.
func degrees(a s1.Angle) string { return table.Fixed(tube.Degrees(a), 1) + "°" }

// longestName is how many letters of a bar's name a sheet shows.
const longestName = 40

// name makes a name from the job safe for one line of a drawing, and short.
func name(s string) string {
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, s))
	if letters := []rune(s); len(letters) > longestName {
		s = string(letters[:longestName-1]) + "…"
	}
	if s == "" {
		s = "(no name)"
	}
	return s
}
