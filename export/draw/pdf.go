package draw

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/go-pdf/fpdf"
	"github.com/golang/geo/r2"
)

// pointsPerMM is the unit of a PDF, 1/72 in, in one mm (ISO 32000-1, 8.3.2).
const pointsPerMM = 72 / 25.4

// pdfChord is how far a curve of a PDF may be off its arc, mm.
const pdfChord = 0.005

// WritePDF writes pages in true size. The title is the file's, and stands on each
// page. Words are set in the Go fonts, which go into the file; letters that these
// lack become "?". The same pages give the same bytes.
//
// Lines are written as page content of their own, in mm from the page's lower left
// corner: the library rounds its coordinates to 1/100 pt and knows no arcs.
func WritePDF(w io.Writer, title string, pages []Page) error {
	if len(pages) == 0 {
		return fmt.Errorf("PDF %q has no pages", fitted(title, 1, false, 60))
	}
	faces, err := typefaces()
	if err != nil {
		return err
	}
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: pages[0].Paper.Width, Ht: pages[0].Paper.Height}})
	// Without these, the file would hold the time and the order of a map.
	then := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	f.SetCreationDate(then)
	f.SetModificationDate(then)
	f.SetCatalogSort(true)
	f.SetTitle(faces[0].shown(title), true)
	f.SetProducer("barwright", false)
	// The library has no call for the wish to be printed in true size, which is what
	// print dialogues then offer first (ISO 32000-1, 12.2; from memory), but writes
	// the language into the catalogue as it is. The % makes a comment of the bracket
	// that it adds.
	f.SetLang("en) /ViewerPreferences << /PrintScaling /None >> %")
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	for _, t := range faces {
		f.AddUTF8FontFromBytes(t.name, "", t.data)
	}
	for i, p := range pages {
		f.AddPageFormat("P", fpdf.SizeType{Wd: p.Paper.Width, Ht: p.Paper.Height})
		c := pdfPage{f: f, high: p.Paper.Height}
		c.draw(&p.under, r2.Point{}, r2.EmptyRect())
		for _, v := range p.views {
			c.draw(v.d, v.at, v.clip)
		}
		c.draw(p.numbered(i+1, len(pages), title), r2.Point{}, r2.EmptyRect())
	}
	if err := f.Error(); err != nil {
		return err
	}
	return f.Output(w)
}

// pdfPage draws on the last page of a PDF.
type pdfPage struct {
	f    *fpdf.Fpdf
	high float64 // of the paper, mm
}

// draw draws a drawing whose origin is at a point of the page. Nothing is drawn
// outside of clip, if it isn't empty.
func (c pdfPage) draw(d *Drawing, at r2.Point, clip r2.Rect) {
	meets := func(b r2.Rect) bool {
		return clip.IsEmpty() || clip.Intersects(b.ExpandedByMargin(linePad))
	}
	// The drawing in mm, y up, shifted: its own coordinates count from here on.
	var b strings.Builder
	number := func(vs ...float64) {
		for _, v := range vs {
			b.WriteString(decimal(v, 4) + " ")
		}
	}
	b.WriteString("q ")
	for _, v := range [6]float64{pointsPerMM, 0, 0, pointsPerMM, at.X * pointsPerMM, at.Y * pointsPerMM} {
		b.WriteString(decimal(v, 6) + " ")
	}
	b.WriteString("cm 1 j\n")
	if !clip.IsEmpty() {
		clip = r2.RectFromPoints(clip.Lo().Sub(at), clip.Hi().Sub(at))
		number(clip.X.Lo, clip.Y.Lo, clip.Size().X, clip.Size().Y)
		b.WriteString("re W n\n")
	}
	for _, fill := range d.Fills {
		if meets(boundsOf(fill.Vertices, true)) {
			number(min(max(fill.Grey, 0), 1))
			b.WriteString("g\n" + pdfPath(fill.Vertices, true) + "f\n")
		}
	}
	for _, k := range d.inPDF() {
		style, first := k.Style, true
		for _, s := range d.of(k.Kind) {
			if !meets(boundsOf(s.Vertices, s.Closed)) {
				continue
			}
			if first {
				first = false
				number(style.Width)
				b.WriteString("w [ ")
				number(style.Dash...)
				b.WriteString("] 0 d ")
				number(pdfColour(style.Colour)...)
				b.WriteString("RG\n")
			}
			b.WriteString(pdfPath(s.Vertices, s.Closed) + "S\n")
		}
	}
	b.WriteString("Q")
	c.f.RawWriteStr(b.String())

	if !clip.IsEmpty() {
		c.f.ClipRect(clip.X.Lo+at.X, c.high-clip.Y.Hi-at.Y, clip.Size().X, clip.Size().Y, false)
		defer c.f.ClipEnd()
	}
	for _, t := range d.Texts {
		corners := t.corners()
		if !meets(r2.RectFromPoints(corners[:]...)) {
			continue
		}
		face := face(t.Bold)
		words := face.shown(t.Words)
		if words == "" {
			continue
		}
		c.f.SetTextColor(int(t.Colour[0]), int(t.Colour[1]), int(t.Colour[2]))
		c.f.SetFont(face.name, "", face.size(t.Height)*pointsPerMM)
		x, y := t.At.X+at.X, c.high-t.At.Y-at.Y
		lo := -t.Width() * [...]float64{Left: 0, Middle: 0.5, Right: 1}[t.Anchor]
		if t.Turn == 0 {
			c.f.Text(x+lo, y, words)
			continue
		}
		c.f.TransformBegin()
		c.f.TransformRotate(t.Turn.Degrees(), x, y)
		c.f.Text(x+lo, y, words)
		c.f.TransformEnd()
	}
}

// kindStyle is a kind of line with how it is drawn.
type kindStyle struct {
	Kind
	Style
}

// inPDF returns the kinds of lines in the order of drawing: a page's frames first.
func (d *Drawing) inPDF() []kindStyle {
	var out []kindStyle
	if d.Styles == nil {
		for k := kinds; k < allKinds; k++ {
			out = append(out, kindStyle{k, styles[k]})
		}
	}
	for k, s := range d.styles() {
		out = append(out, kindStyle{Kind(k), s})
	}
	return out
}

func pdfColour(c [3]uint8) []float64 {
	return []float64{float64(c[0]) / 255, float64(c[1]) / 255, float64(c[2]) / 255}
}

// pdfPath writes a line as a path, in mm.
func pdfPath(vertices []Vertex, closed bool) string {
	var b strings.Builder
	point := func(p r2.Point) { b.WriteString(decimal(p.X, 4) + " " + decimal(p.Y, 4) + " ") }
	point(vertices[0].Point)
	b.WriteString("m ")
	for _, l := range legs(vertices, closed) {
		c, ok := arcOf(l.a, l.b, l.bulge)
		if !ok {
			point(l.b)
			b.WriteString("l ")
			continue
		}
		for _, p := range l.pieces(curveTurn(c.radius)) {
			// The Bezier curve that touches a piece of arc at both ends, and meets its
			// middle, has handles of 4/3 tan(angle/4) radii; the bulge is that tangent.
			from, to := p.a.Sub(c.centre).Ortho(), p.b.Sub(c.centre).Ortho()
			k := 4 * p.bulge / 3
			point(p.a.Add(from.Mul(k)))
			point(p.b.Sub(to.Mul(k)))
			point(p.b)
			b.WriteString("c ")
		}
	}
	if closed {
		b.WriteString("h ")
	}
	return b.String()
}

// curveTurn returns how far one Bezier curve may turn on an arc, in radians, to
// stay within pdfChord of it. Such a curve is off by at most
// 4/27 radius sin(angle/4)^6 / cos(angle/4)^2 (Goldapp 1991, from memory; the
// tests measure it).
func curveTurn(radius float64) float64 {
	turn := math.Pi / 2
	for turn > 1e-3 {
		sin, cos := math.Sincos(turn / 4)
		if 4.0/27*radius*math.Pow(sin, 6)/(cos*cos) <= pdfChord {
			break
		}
		turn /= 2
	}
	return turn
}
