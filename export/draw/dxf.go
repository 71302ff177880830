package draw

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/golang/geo/r2"
)

// Layers of a DXF that are of no kind of line.
const (
	dxfTextLayer = "TEXT" // a machine that takes every entity for a cut can be told to leave it out
	dxfFillLayer = "FILL"
)

// WriteDXF writes a drawing in true size as DXF of release 12 (AC1009), which
// about every program reads, with its title and notes above and check lines below
// it: POLYLINE with VERTEX and SEQEND, arcs as bulges, areas as SOLID, TEXT, and
// a layer with its line type for each kind of line. One drawing unit is one mm;
// release 12 has no header variable for that ($INSUNITS came later), so a comment
// and a text say it. Points are rounded to 0.0001 mm. Letters that are not ASCII
// become "?".
func WriteDXF(w io.Writer, d *Drawing) error {
	if err := d.check(); err != nil {
		return err
	}
	d, box := d.framed()
	unit := Text{At: box.Lo().Sub(r2.Point{Y: noteHeight}), Height: noteHeight, Words: "1 drawing unit = 1 mm"}
	for _, p := range unit.corners() {
		box = box.AddPoint(p)
	}
	styles := d.styles()

	b := bufio.NewWriter(w)
	put := func(code int, value string) { fmt.Fprintf(b, "%3d\n%s\n", code, value) }
	// Real numbers have a decimal point in every reader's examples.
	real := func(code int, v float64, decimals int) {
		text := decimal(v, decimals)
		if !strings.Contains(text, ".") {
			text += ".0"
		}
		put(code, text)
	}
	point := func(code int, p r2.Point) {
		real(code, p.X, 4)
		real(code+10, p.Y, 4)
		real(code+20, 0, 4)
	}

	put(999, "lengths in mm")
	put(0, "SECTION")
	put(2, "HEADER")
	put(9, "$ACADVER")
	put(1, "AC1009")
	put(9, "$EXTMIN")
	point(10, box.Lo())
	put(9, "$EXTMAX")
	point(10, box.Hi())
	put(0, "ENDSEC")

	put(0, "SECTION")
	put(2, "TABLES")
	put(0, "TABLE")
	put(2, "LTYPE")
	dashed := 0
	for _, s := range styles {
		if s.Dash != nil {
			dashed++
		}
	}
	put(70, strconv.Itoa(1+dashed))
	lineType := func(name string, dash []float64) {
		put(0, "LTYPE")
		put(2, name)
		put(70, "0")
		put(3, aboutDashes(dash))
		put(72, "65") // alignment "A", the only one there is
		put(73, strconv.Itoa(len(dash)))
		total := 0.0
		for _, v := range dash {
			total += v
		}
		real(40, total, 4)
		for i, v := range dash {
			if i%2 == 1 {
				v = -v // a gap
			}
			real(49, v, 4)
		}
	}
	lineType("CONTINUOUS", nil)
	for _, s := range styles {
		if s.Dash != nil {
			lineType(s.Name, s.Dash)
		}
	}
	put(0, "ENDTAB")
	put(0, "TABLE")
	put(2, "LAYER")
	fills := min(len(d.Fills), 1)
	put(70, strconv.Itoa(len(styles)+2+fills))
	layer := func(name string, aci int, lineType string) {
		put(0, "LAYER")
		put(2, name)
		put(70, "0")
		put(62, strconv.Itoa(aci))
		put(6, lineType)
	}
	layer("0", 7, "CONTINUOUS")
	for _, s := range styles {
		if s.Dash != nil {
			layer(s.Name, s.ACI, s.Name)
		} else {
			layer(s.Name, s.ACI, "CONTINUOUS")
		}
	}
	layer(dxfTextLayer, 8, "CONTINUOUS")
	if fills > 0 {
		layer(dxfFillLayer, 8, "CONTINUOUS")
	}
	put(0, "ENDTAB")
	put(0, "ENDSEC")

	put(0, "SECTION")
	put(2, "ENTITIES")
	polyline := func(layer string, vertices []Vertex, closed bool) {
		put(0, "POLYLINE")
		put(8, layer)
		put(66, "1") // vertices follow
		point(10, r2.Point{})
		if closed {
			put(70, "1")
		} else {
			put(70, "0")
		}
		for _, v := range vertices {
			put(0, "VERTEX")
			put(8, layer)
			point(10, v.Point)
			if v.Bulge != 0 {
				// The belly of an arc is half its chord times the bulge away: with ten
				// decimals it is right to 1e-6 mm on a chord of 10 m.
				real(42, v.Bulge, 10)
			}
		}
		put(0, "SEQEND")
		put(8, layer)
	}
	for _, f := range d.Fills {
		if !triangle(f.Vertices) {
			polyline(dxfFillLayer, f.Vertices, true)
			continue
		}
		put(0, "SOLID")
		put(8, dxfFillLayer)
		for i, k := range [4]int{0, 1, 2, 2} {
			point(10+i, f.Vertices[k].Point)
		}
	}
	for k, style := range styles {
		for _, s := range d.of(Kind(k)) {
			polyline(style.Name, s.Vertices, s.Closed)
		}
	}
	for _, t := range append(d.Texts[:len(d.Texts):len(d.Texts)], unit) {
		words := ascii(Printable(t.Words))
		if words == "" {
			continue // a TEXT without any is an error to some readers
		}
		put(0, "TEXT")
		put(8, dxfTextLayer)
		point(10, t.At)
		real(40, t.Height, 4)
		put(1, words)
		if t.Turn != 0 {
			real(50, t.Turn.Degrees(), 6)
		}
		if t.Anchor != Left {
			put(72, strconv.Itoa(int(t.Anchor))) // 1 middle, 2 right
			point(11, t.At)
		}
	}
	put(0, "ENDSEC")
	put(0, "EOF")
	return b.Flush()
}

// aboutDashes says for the table of line types what dashes look like.
func aboutDashes(dash []float64) string {
	switch len(dash) {
	case 0:
		return "full line"
	case 2:
		return "dashed"
	case 4:
		return "long-dashed dotted"
	}
	return "long-dashed double-dotted"
}

// triangle says whether an area is one, such as an arrow head: SOLID of release 12
// has three or four corners, and not all readers agree on the order of four.
func triangle(vs []Vertex) bool {
	if len(vs) != 3 {
		return false
	}
	for _, v := range vs {
		if v.Bulge != 0 {
			return false
		}
	}
	return true
}
