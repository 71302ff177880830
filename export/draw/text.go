package draw

import (
	"math"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"github.com/golang/geo/r2"
)

// mostRunes is the length at which a line of words is cut, with three dots:
// about a metre of it at 5 mm. (Taste, no source.)
const mostRunes = 300

// printable makes free text safe for one line of a drawing: what is not
// printable becomes a blank, and a line longer than any page is cut.
func printable(text string) string {
	text = strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, text))
	n := 0
	for i := range text {
		if n++; n > mostRunes {
			return text[:i] + "..."
		}
	}
	return text
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

// typeface is one of the Go fonts, which come with golang.org/x/image under the
// licence of Go itself.
type typeface struct {
	name   string
	data   []byte
	font   *sfnt.Font
	em     float64 // units of the font in its size
	height float64 // of capital letters, in sizes
}

var typefaces = sync.OnceValues(func() ([2]*typeface, error) {
	faces := [2]*typeface{{name: "regular", data: goregular.TTF}, {name: "bold", data: gobold.TTF}}
	for _, f := range faces {
		var err error
		if f.font, err = sfnt.Parse(f.data); err != nil {
			return faces, err
		}
		units := f.font.UnitsPerEm()
		f.em = float64(units)
		var b sfnt.Buffer
		// At one pixel a unit, fixed-point pixels are the font's own whole units.
		m, err := f.font.Metrics(&b, fixed.I(int(units)), font.HintingNone)
		if err != nil {
			return faces, err
		}
		f.height = float64(m.CapHeight) / 64 / f.em
	}
	return faces, nil
})

// face returns the typeface of a text. The fonts are part of the program, so one
// that can't be read is a fault of its making.
func face(bold bool) *typeface {
	faces, err := typefaces()
	if err != nil {
		panic(err)
	}
	if bold {
		return faces[1]
	}
	return faces[0]
}

// has says whether the font has a letter.
func (f *typeface) has(r rune) bool {
	var b sfnt.Buffer
	g, err := f.font.GlyphIndex(&b, r)
	return err == nil && g != 0
}

// shown returns words as they are put on paper: "?" for letters that the font
// lacks.
func (f *typeface) shown(words string) string {
	return strings.Map(func(r rune) rune {
		if !f.has(r) {
			return '?'
		}
		return r
	}, printable(words))
}

// width returns the width of words in sizes of the font.
func (f *typeface) width(words string) float64 {
	var b sfnt.Buffer
	sum := 0.0
	for _, r := range f.shown(words) {
		g, err := f.font.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		a, err := f.font.GlyphAdvance(&b, g, fixed.I(int(f.em)), font.HintingNone)
		if err != nil {
			continue
		}
		sum += float64(a) / 64
	}
	return sum / f.em
}

// Width returns how wide the words are in the font of the PDF, mm. SVG and DXF
// readers bring fonts of their own, which come out about as wide.
func (t Text) Width() float64 {
	f := face(t.Bold)
	return f.width(t.Words) * t.Height / f.height
}

// below is how far letters such as g reach below the base line, in heights of
// capital letters. (The Go fonts' own figure is 0.29.)
const below = 0.3

// corners returns the rectangle that the words fill.
func (t Text) corners() [4]r2.Point {
	w := t.Width()
	lo := -w * [...]float64{Left: 0, Middle: 0.5, Right: 1}[t.Anchor]
	m := newMove(t.At, t.Turn)
	return [4]r2.Point{
		m.point(r2.Point{X: lo, Y: -below * t.Height}),
		m.point(r2.Point{X: lo + w, Y: -below * t.Height}),
		m.point(r2.Point{X: lo + w, Y: t.Height}),
		m.point(r2.Point{X: lo, Y: t.Height}),
	}
}

// fitted returns the words, cut with three dots so that they are at most as wide
// as said, mm.
func fitted(words string, height float64, bold bool, width float64) string {
	words = printable(words)
	t := Text{Height: height, Bold: bold, Words: words}
	if t.Width() <= width {
		return words
	}
	runes := []rune(words)
	for n := len(runes) - 1; n > 0; n-- {
		t.Words = strings.TrimSpace(string(runes[:n])) + "..."
		if t.Width() <= width {
			break
		}
	}
	return t.Words
}

// wrapped breaks words into lines that are at most as wide as said, mm.
func wrapped(words string, height, width float64) []string {
	var out []string
	line := ""
	for _, w := range strings.Fields(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, words)) {
		w = fitted(w, height, false, width)
		longer := strings.TrimSpace(line + " " + w)
		if line != "" && (Text{Height: height, Words: longer}).Width() > width {
			out = append(out, line)
			longer = w
		}
		line = longer
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// size returns the font's size for a height of capital letters, mm.
func (f *typeface) size(height float64) float64 { return height / f.height }

func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
