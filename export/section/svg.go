package section

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"github.com/golang/geo/r2"
)

// WriteSVG writes a drawing in true size: width and height are in mm, one unit
// of the viewBox is one mm, and y counts down from the drawing's 0. Each kind of
// line is a group named after it. (1 mm = 96/25.4 px: CSS values, through
// browsers.)
func WriteSVG(w io.Writer, d *Drawing) error {
	s := d.layout()
	if err := checkSheet(s); err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	size := s.box.Size()
	fmt.Fprintf(b, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="%s %s %s %s">
<title>%s</title>
<rect x="%[3]s" y="%[4]s" width="%[5]s" height="%[6]s" fill="#fff"/>
`, mm(size.X), mm(size.Y), mm(s.box.X.Lo), mm(-s.box.Y.Hi), mm(size.X), mm(size.Y),
		escape(strings.TrimPrefix(printable(d.Title)+": section at "+d.Plane.Name(d.Inches), ": ")))
	for l := range layers {
		look := looks[l]
		lines := s.of(l)
		var texts []text
		for _, t := range s.texts {
			if t.layer == l {
				texts = append(texts, t)
			}
		}
		if len(lines)+len(texts) == 0 {
			continue
		}
		colour := fmt.Sprintf("#%02x%02x%02x", look.colour[0], look.colour[1], look.colour[2])
		fmt.Fprintf(b, `<g id="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"`, strings.ToLower(look.name), colour, mm(look.width))
		if look.dash[0] > 0 {
			fmt.Fprintf(b, ` stroke-dasharray="%s %s"`, mm(look.dash[0]), mm(look.dash[1]))
		}
		fmt.Fprintln(b, ">")
		for _, line := range lines {
			fmt.Fprintf(b, `<path d="%s"/>`+"\n", svgPath(line))
		}
		for _, t := range texts {
			fmt.Fprintf(b, `<text x="%s" y="%s" font-family="sans-serif" font-size="%s" text-anchor="%s" fill="%s" stroke="none">%s</text>`+"\n",
				mm(t.at.X), mm(-t.at.Y), mm(t.height*fontSize), [...]string{leftOf: "start", middleOf: "middle", rightOf: "end"}[t.anchor], colour, escape(t.words))
		}
		fmt.Fprintln(b, "</g>")
	}
	fmt.Fprintln(b, "</svg>")
	return b.Flush()
}

// fontSize is the size of a font in heights of its capital letters, about.
const fontSize = 1.35

func mm(v float64) string { return decimal(v, 3) }

func svgPath(l Line) string {
	var b strings.Builder
	point := func(letter string, p r2.Point) {
		b.WriteString(letter + mm(p.X) + " " + mm(-p.Y))
	}
	for i, p := range l.Points {
		if i == 0 {
			point("M", p)
		} else {
			point("L", p)
		}
	}
	if l.Closed {
		b.WriteString("Z")
	}
	return b.String()
}

func escape(text string) string {
	var b strings.Builder
	// A strings.Builder takes everything.
	_ = xml.EscapeText(&b, []byte(text))
	return b.String()
}
