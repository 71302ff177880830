package sheet

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"barwright/export/draw"
	"barwright/export/model"
	"barwright/fit"
	"barwright/fit/tube"
	"barwright/mesh"
)

// File is a file of an output folder, to be written.
type File struct {
	Name  string // slash-separated, relative to the folder
	Write func(io.Writer) error
}

// Files returns all sheets of a cage, below sheets/: for each bent bar that has a
// shape of its own template-BAR.pdf, with the pages of all that is drawn of it on
// that paper, and each of its drawings as .svg and .dxf; and the gauges of the
// dies, see [GaugeFiles].
//
// There is no PDF of everything: a builder prints the sheets of the bar that is
// bent next, and a cage's are a hundred pages of A4.
//
// Errors are those of [Templates] and [GaugeFiles]; those of drawing come from
// Write.
func Files(c *fit.Cage, dies []*tube.Die, paper draw.Paper, inches bool) ([]File, error) {
	sheets, err := Templates(c, inches)
	if err != nil {
		return nil, err
	}
	var out []File
	for len(sheets) > 0 {
		n := 1
		for n < len(sheets) && sheets[n].slug == sheets[0].slug {
			n++
		}
		bar := sheets[:n]
		sheets = sheets[n:]
		out = append(out, File{"sheets/template-" + bar[0].slug + ".pdf", func(w io.Writer) error {
			var pages []draw.Page
			var dials []*draw.Drawing
			for _, s := range bar {
				if s.dial {
					dials = append(dials, s.Drawing)
					continue
				}
				p, err := draw.Tile(s.Drawing, paper)
				if err != nil {
					return err
				}
				pages = append(pages, p...)
			}
			if len(dials) > 0 {
				p, err := draw.Arrange(dials, paper)
				if err != nil {
					return err
				}
				pages = append(pages, p...)
			}
			return draw.WritePDF(w, "Templates: "+name(bar[0].Bars[0]), pages)
		}})
		for _, s := range bar {
			out = append(out, flatFiles("sheets/"+s.Name, s.Drawing)...)
		}
	}
	gauges, err := GaugeFiles(dies, paper, inches)
	if err != nil {
		return nil, err
	}
	for _, g := range gauges {
		g.Name = "sheets/" + g.Name
		out = append(out, g)
	}
	return out, nil
}

// GaugeFiles returns the gauges of dies: gauge-DIE.pdf, .svg, .dxf and .stl for
// each. A bend for which no plate can be printed has no .stl. A die that is no
// die (its radius leaves no inside to the bend) is an error that names it.
func GaugeFiles(dies []*tube.Die, paper draw.Paper, inches bool) ([]File, error) {
	names := make([]string, len(dies))
	for i, d := range dies {
		names[i] = d.Name
	}
	var out []File
	for i, slug := range model.Slugs(names) {
		die := dies[i]
		if !(die.OD > 0 && die.CLR > die.OD/2) {
			f := figures{inches}
			return nil, fmt.Errorf("die %q: no tube of %s bends to a radius of %s", die.Name, f.size(die.OD), f.size(die.CLR))
		}
		base, drawing := "gauge-"+slug, Gauge(die, die.OD, inches)
		out = append(out, File{base + ".pdf", func(w io.Writer) error {
			pages, err := draw.Tile(drawing, paper)
			if err != nil {
				return err
			}
			return draw.WritePDF(w, drawing.Title, pages)
		}})
		out = append(out, flatFiles(base, drawing)...)
		if GaugeSpan(die, die.OD) == 0 {
			continue
		}
		out = append(out, File{base + ".stl", func(w io.Writer) error {
			m, err := GaugeSolid(die, die.OD)
			if err != nil {
				return err
			}
			return mesh.WriteSTL(w, base, m)
		}})
	}
	return out, nil
}

// flatFiles are those that hold a drawing in one piece.
func flatFiles(base string, d *draw.Drawing) []File {
	return []File{
		{base + ".svg", func(w io.Writer) error { return draw.WriteSVG(w, d) }},
		{base + ".dxf", func(w io.Writer) error { return draw.WriteDXF(w, spelled(d)) }},
	}
}

// spelled returns the drawing with what DXF of release 12 takes for a degree
// sign, which its texts can't hold as a letter: the code %%d (from memory).
func spelled(d *draw.Drawing) *draw.Drawing {
	out := *d
	out.Texts = slices.Clone(d.Texts)
	for i := range out.Texts {
		out.Texts[i].Words = strings.ReplaceAll(out.Texts[i].Words, "°", "%%d")
	}
	out.Notes = slices.Clone(d.Notes)
	for i := range out.Notes {
		out.Notes[i] = strings.ReplaceAll(out.Notes[i], "°", "%%d")
	}
	return &out
}
