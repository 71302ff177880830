package section

import (
	"strings"
	"unicode"
)

// printable makes free text safe for one line of a drawing: what is not
// printable becomes a blank.
func printable(text string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, text))
}

// ascii is for formats that know no other letters: "?" for what is not ASCII.
func ascii(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, text)
}
