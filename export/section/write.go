package section

import (
	"io"
	"strings"

	"barwright/export/draw"
)

// WriteSVG writes a drawing in true size, with a group for each kind of line; see
// [draw.WriteSVG].
func WriteSVG(w io.Writer, d *Drawing) error { return write(w, d, draw.WriteSVG) }

// WriteDXF writes a drawing in true size, with a layer for each kind of line and
// one for texts; see [draw.WriteDXF].
func WriteDXF(w io.Writer, d *Drawing) error { return write(w, d, draw.WriteDXF) }

func write(w io.Writer, d *Drawing, writer func(io.Writer, *draw.Drawing) error) error {
	s, err := Sheet(d)
	if err != nil {
		return err
	}
	return writer(w, s)
}

// Sheet returns a drawing as it is laid out, with grid, words and check lines, for
// instance to be put on paper by [draw.Tile].
func Sheet(d *Drawing) (*draw.Drawing, error) {
	s := d.layout()
	if err := checkSheet(s); err != nil {
		return nil, err
	}
	out := &draw.Drawing{
		Title:  strings.TrimPrefix(draw.Printable(d.Title)+": section at "+d.Plane.Name(d.Inches), ": "),
		Styles: looks[:],
		Sheet:  s.box,
	}
	for _, k := range s.strokes {
		if k.Closed {
			out.Polygon(draw.Kind(k.layer), k.Points...)
		} else {
			out.Line(draw.Kind(k.layer), k.Points...)
		}
	}
	for _, t := range s.texts {
		out.Texts = append(out.Texts, draw.Text{At: t.at, Height: t.height, Anchor: t.anchor, Words: t.words, Colour: looks[t.layer].Colour})
	}
	return out, nil
}
