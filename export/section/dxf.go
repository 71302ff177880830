package section

import (
	"bufio"
	"fmt"
	"io"
)

// textLayer is the DXF layer of texts, so that cutting machines that take every
// entity as a cut can be told to leave them out.
const textLayer = "TEXT"

// WriteDXF writes a drawing in true size as DXF of release 12 (AC1009), which
// about every program reads: POLYLINE with VERTEX and SEQEND, TEXT, one layer
// for each kind of line and one for texts. One drawing unit is one mm. Release
// 12 has no header variable for that ($INSUNITS came later), so a comment and a
// text say it, and there is a line to check it with. Letters that are not ASCII
// become "?".
func WriteDXF(w io.Writer, d *Drawing) error {
	s := d.layout()
	if err := checkSheet(s); err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	put := func(code int, value string) { fmt.Fprintf(b, "%3d\n%s\n", code, value) }
	number := func(code int, v float64) { put(code, decimal(v, 4)) }
	point := func(code int, x, y float64) {
		number(code, x)
		number(code+10, y)
		number(code+20, 0)
	}

	put(999, "lengths in mm")
	put(0, "SECTION")
	put(2, "HEADER")
	put(9, "$ACADVER")
	put(1, "AC1009")
	put(9, "$EXTMIN")
	point(10, s.box.X.Lo, s.box.Y.Lo)
	put(9, "$EXTMAX")
	point(10, s.box.X.Hi, s.box.Y.Hi)
	put(0, "ENDSEC")

	put(0, "SECTION")
	put(2, "TABLES")
	put(0, "TABLE")
	put(2, "LTYPE")
	put(70, "2")
	lineType := func(name, words string, on, off float64) {
		put(0, "LTYPE")
		put(2, name)
		put(70, "0")
		put(3, words)
		put(72, "65") // alignment "A", the only one there is
		if on == 0 {
			put(73, "0")
			number(40, 0)
			return
		}
		put(73, "2")
		number(40, on+off)
		number(49, on)
		number(49, -off)
	}
	dash := looks[capsLayer].dash
	lineType("CONTINUOUS", "full line", 0, 0)
	lineType("DASHED", "dashed line", dash[0], dash[1])
	put(0, "ENDTAB")
	put(0, "TABLE")
	put(2, "LAYER")
	put(70, fmt.Sprint(int(layers)+2))
	layerEntry := func(name string, aci int, lineType string) {
		put(0, "LAYER")
		put(2, name)
		put(70, "0")
		put(62, fmt.Sprint(aci))
		put(6, lineType)
	}
	layerEntry("0", 7, "CONTINUOUS")
	for _, look := range looks {
		if look.dash[0] > 0 {
			layerEntry(look.name, look.aci, "DASHED")
		} else {
			layerEntry(look.name, look.aci, "CONTINUOUS")
		}
	}
	layerEntry(textLayer, 8, "CONTINUOUS")
	put(0, "ENDTAB")
	put(0, "ENDSEC")

	put(0, "SECTION")
	put(2, "ENTITIES")
	for l := range layers {
		for _, line := range s.of(l) {
			name := looks[l].name
			put(0, "POLYLINE")
			put(8, name)
			put(66, "1") // vertices follow
			point(10, 0, 0)
			if line.Closed {
				put(70, "1")
			} else {
				put(70, "0")
			}
			for _, p := range line.Points {
				put(0, "VERTEX")
				put(8, name)
				point(10, p.X, p.Y)
			}
			put(0, "SEQEND")
			put(8, name)
		}
	}
	for _, t := range append(s.texts, unitNote(s)) {
		put(0, "TEXT")
		put(8, textLayer)
		point(10, t.at.X, t.at.Y)
		number(40, t.height)
		put(1, ascii(t.words))
		if t.anchor != leftOf {
			put(72, fmt.Sprint(int(t.anchor))) // 1 middle, 2 right
			point(11, t.at.X, t.at.Y)
		}
	}
	put(0, "ENDSEC")
	put(0, "EOF")
	return b.Flush()
}

// unitNote says in the drawing what a drawing unit is.
func unitNote(s *sheet) text {
	h := s.texts[0].height
	return text{noteLayer, s.box.Lo(), h, leftOf, "1 drawing unit = 1 mm"}
}
