package model

import (
	"strconv"
	"strings"
	"unicode"
)

// maxSlug is the longest slug without its number, in characters. Common file
// systems take 255 bytes a name; some tools that carry files about take 64.
const maxSlug = 54

// spelled spells letters out that a-z lacks. What is neither here nor in a-z and
// 0-9 becomes a hyphen.
var spelled = strings.NewReplacer(
	"ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "æ", "ae", "œ", "oe", "ø", "o", "å", "a",
	"à", "a", "á", "a", "â", "a", "ã", "a", "ą", "a", "ç", "c", "ć", "c", "č", "c", "ď", "d", "đ", "d",
	"è", "e", "é", "e", "ê", "e", "ë", "e", "ę", "e", "ě", "e", "ğ", "g", "ì", "i", "í", "i", "î", "i", "ï", "i", "ı", "i",
	"ł", "l", "ñ", "n", "ń", "n", "ň", "n", "ò", "o", "ó", "o", "ô", "o", "õ", "o", "ő", "o", "ř", "r",
	"ś", "s", "š", "s", "ş", "s", "ť", "t", "ù", "u", "ú", "u", "û", "u", "ů", "u", "ű", "u", "ý", "y", "ÿ", "y",
	"ź", "z", "ż", "z", "ž", "z",
)

// reserved names no file may have: device names of one family of systems, with
// or without an extension (from memory), and "cage", the file of the whole cage.
var reserved = map[string]bool{"con": true, "prn": true, "aux": true, "nul": true, "conin": true, "conout": true, "clock": true, "cage": true}

// Slugs returns a file name without extension for each name, in order: "main
// hoop" gives "main-hoop". Of names that come out the same, the first keeps the
// slug and the others get "-2", "-3" and so on. A name without a single usable
// letter is "bar". A name that no file may have gets "-bar" behind it.
func Slugs(names []string) []string {
	out := make([]string, len(names))
	taken := map[string]bool{}
	for i, name := range names {
		base := slug(name)
		s := base
		for n := 2; taken[s]; n++ {
			s = base + "-" + strconv.Itoa(n)
		}
		taken[s] = true
		out[i] = s
	}
	return out
}

func slug(name string) string {
	var b strings.Builder
	gap := false
	for _, r := range spelled.Replace(strings.ToLower(name)) {
		switch {
		case 'a' <= r && r <= 'z', '0' <= r && r <= '9':
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			gap = false
			b.WriteRune(r)
		case unicode.Is(unicode.Mn, r):
			// An accent written as a character of its own: its letter stays as it is.
		default:
			gap = true
		}
	}
	s := b.String()
	if len(s) > maxSlug {
		s = strings.TrimRight(s[:maxSlug], "-")
	}
	switch {
	case s == "":
		return "bar"
	case reserved[s], isPort(s):
		return s + "-bar"
	}
	return s
}

// isPort tells com0 to com9 and lpt0 to lpt9.
func isPort(s string) bool {
	return len(s) == 4 && (strings.HasPrefix(s, "com") || strings.HasPrefix(s, "lpt")) && s[3] >= '0' && s[3] <= '9'
}
