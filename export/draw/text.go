package draw

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"github.com/golang/geo/r2"
)

// mostRunes is the length at which a line of words is cut, with three dots:
// about a metre of it at 5 mm. (Taste, no source.)
const mostRunes = 300

// Printable makes free text safe for one line of a drawing: what is not
// printable becomes a blank, and a line longer than any page is cut.
func Printable(text string) string {
	text = strings.TrimSpace(strings.Map(blanked, text))
	n := 0
	for i := range text {
		if n++; n > mostRunes {
			return text[:i] + "..."
		}
	}
	return text
}

// blanked returns a blank for a rune that can't be printed.
func blanked(r rune) rune {
	if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
		return ' '
	}
	return r
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
	height float64 // of capital letters, in sizes of the font
	glyphs []glyph // by rune, up to the last one that the font has
}

type glyph struct {
	has   bool
	width float64 // in sizes of the font
}

var typefaces = sync.OnceValues(func() ([2]*typeface, error) {
	faces := [2]*typeface{{name: "regular", data: goregular.TTF}, {name: "bold", data: gobold.TTF}}
	for _, f := range faces {
		if err := f.read(); err != nil {
			return faces, fmt.Errorf("the %s font: %w", f.name, err)
		}
	}
	return faces, nil
})

// read fills in what the font says. Words are measured often, and asking the font
// for each letter takes a hundred times as long as looking into a table.
func (f *typeface) read() error {
	font, err := sfnt.Parse(f.data)
	if err != nil {
		return err
	}
	var b sfnt.Buffer
	// At one pixel a unit, fixed-point pixels are the font's own whole units.
	em := float64(font.UnitsPerEm())
	size := fixed.I(int(font.UnitsPerEm()))
	m, err := font.Metrics(&b, size, 0)
	if err != nil {
		return err
	}
	f.height = float64(m.CapHeight) / 64 / em
	for r := ' '; r <= lastRune; r++ {
		g, err := font.GlyphIndex(&b, r)
		if err != nil {
			return err
		}
		f.glyphs = append(f.glyphs, glyph{})
		if g == 0 {
			continue
		}
		a, err := font.GlyphAdvance(&b, g, size, 0)
		if err != nil {
			return err
		}
		f.glyphs[r-' '] = glyph{true, float64(a) / 64 / em}
	}
	return nil
}

// lastRune is the end of the range in which the Go fonts have letters: Latin,
// Greek, Cyrillic, signs and box drawings, up to the geometric shapes. No two of
// them share a glyph; if they did, what the PDF library cuts out of the font would
// depend on the order of a map.
const lastRune = 0x25ff

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

// letter returns a letter as it is put on paper: "?" if the font lacks it.
func (f *typeface) letter(r rune) rune {
	if i := r - ' '; i < 0 || int(i) >= len(f.glyphs) || !f.glyphs[i].has {
		return '?'
	}
	return r
}

// shown returns words as they are put on paper.
func (f *typeface) shown(words string) string { return strings.Map(f.letter, Printable(words)) }

// width returns the width of words in sizes of the font.
func (f *typeface) width(words string) float64 {
	sum := 0.0
	for _, r := range words {
		sum += f.glyphs[f.letter(r)-' '].width
	}
	return sum
}

// Width returns how wide the words are in the font of the PDF, mm. SVG and DXF
// readers bring fonts of their own, which come out about as wide.
func (t Text) Width() float64 {
	f := face(t.Bold)
	return f.width(Printable(t.Words)) * f.size(t.Height)
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
	const dots = "..."
	words = Printable(words)
	f := face(bold)
	width /= f.size(height)
	if f.width(words) <= width {
		return words
	}
	sum := f.width(dots)
	for i, r := range words {
		if sum += f.width(string(r)); sum > width {
			return strings.TrimSpace(words[:i]) + dots
		}
	}
	return words
}

// wrapped breaks words into lines that are at most as wide as said, mm. A word that
// is wider than that is broken too.
func wrapped(words string, height, width float64) []string {
	f := face(false)
	var out []string
	var line []string
	used := 0.0
	for _, w := range f.fields(words, width/f.size(height)) {
		wide := f.width(w) * f.size(height)
		blank := 0.0
		if len(line) > 0 {
			blank = f.width(" ") * f.size(height)
		}
		if len(line) > 0 && used+blank+wide > width {
			out = append(out, strings.Join(line, " "))
			line, used, blank = nil, 0, 0
		}
		line = append(line, w)
		used += blank + wide
	}
	if len(line) > 0 {
		out = append(out, strings.Join(line, " "))
	}
	return out
}

// fields returns the words of a text, those in pieces that are wider than said, in
// sizes of the font.
func (f *typeface) fields(text string, width float64) []string {
	var out []string
	for _, w := range strings.Fields(strings.Map(blanked, text)) {
		from, used := 0, 0.0
		for i, r := range w {
			wide := f.width(string(r))
			if used+wide > width && i > from {
				out = append(out, w[from:i])
				from, used = i, 0
			}
			used += wide
		}
		out = append(out, w[from:])
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
