package main

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"barwright/export/table"
	"barwright/fit/job"
)

// lengths formats lengths for the tables on stdout.
type lengths struct{ inches bool }

func lengthsOf(j *job.Job) lengths { return lengths{inches: j.Unit == job.Inch} }

// unit is what stands at the head of a column.
func (l lengths) unit() string {
	if l.inches {
		return "in"
	}
	return "mm"
}

// format shows a length given in mm: to 0.1 mm, or in inches to 0.001 with the
// nearest sixteenth behind it. What is not finite is "-".
func (l lengths) format(mm float64) string {
	switch {
	case math.IsNaN(mm) || math.IsInf(mm, 0):
		return "-"
	case l.inches:
		return fmt.Sprintf("%s (%s)", table.Fixed(mm/mmPerInch, 3), table.Sixteenths(mm))
	}
	return table.Fixed(mm, 1)
}

// point shows a place in the car: whole mm, or inches to 0.1.
func (l lengths) point(x, y, z float64) string {
	scale, decimals := 1.0, 0
	if l.inches {
		scale, decimals = mmPerInch, 1
	}
	return fmt.Sprintf("(%s, %s, %s)", table.Fixed(x/scale, decimals), table.Fixed(y/scale, decimals), table.Fixed(z/scale, decimals))
}

// text shows a message of a library, which is in mm, in the unit of the tables:
// lengths ("12.0 mm") and places ("(1134, 369, 614)") outside double quotes.
// Messages are rounded; known are exact values, in mm, that may be among them.
func (l lengths) text(message string, known ...float64) string {
	if !l.inches {
		return message
	}
	parts := strings.Split(message, `"`)
	for i := 0; i < len(parts); i += 2 {
		parts[i] = lengthText.ReplaceAllStringFunc(parts[i], func(s string) string {
			mm, err := strconv.ParseFloat(strings.TrimSuffix(s, " mm"), 64)
			if err != nil {
				return s
			}
			for _, exact := range known {
				if math.Abs(math.Abs(exact)-math.Abs(mm)) <= rounded {
					mm = math.Copysign(exact, mm)
				}
			}
			return table.Fixed(mm/mmPerInch, 3) + " in"
		})
		parts[i] = placeText.ReplaceAllStringFunc(parts[i], func(s string) string {
			var x, y, z float64
			if _, err := fmt.Sscanf(s, "(%g, %g, %g)", &x, &y, &z); err != nil {
				return s
			}
			return l.point(x, y, z)
		})
	}
	return strings.Join(parts, `"`)
}

var (
	lengthText = regexp.MustCompile(`-?\b\d+(\.\d+)? mm\b`)
	placeText  = regexp.MustCompile(`\(-?\d+, -?\d+, -?\d+\)`)
)

// rounded is what a length in a message may be off, mm: they have one decimal.
const rounded = 0.05 + 1e-9

const mmPerInch = 25.4 // exact by definition (international inch)
