package draw

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/golang/geo/r2"
)

// WriteSVG writes a drawing in true size, with its title and notes above and
// check lines below it. Width and height are in mm, one unit of the viewBox is
// one mm (1 in = 25.4 mm = 96 px: CSS Values, section on absolute lengths), and y
// counts down from the drawing's 0. Each kind of line is a group of its own, of
// which width and dashes are attributes and id and class are the kind's name; all is
// black on white, unless the drawing has styles of its own. Points are rounded to 0.0001 mm.
func WriteSVG(w io.Writer, d *Drawing) error {
	if err := d.check(); err != nil {
		return err
	}
	d, box := d.framed()
	b := bufio.NewWriter(w)
	size := box.Size()
	fmt.Fprintf(b, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="%s %s %[1]s %[2]s">
<title>%[5]s</title>
<rect x="%[3]s" y="%[4]s" width="%[1]s" height="%[2]s" fill="#fff"/>
`, decimal(size.X, 4), decimal(size.Y, 4), decimal(box.X.Lo, 4), decimal(-box.Y.Hi, 4), escape(Printable(d.Title)))
	if len(d.Fills) > 0 {
		fmt.Fprintln(b, `<g id="fill" class="fill" stroke="none">`)
		for _, f := range d.Fills {
			fmt.Fprintf(b, `<path d="%s" fill="%s"/>`+"\n", svgPath(f.Vertices, true), svgGrey(f.Grey))
		}
		fmt.Fprintln(b, "</g>")
	}
	for k, style := range d.styles() {
		lines := d.of(Kind(k))
		if len(lines) == 0 {
			continue
		}
		name := strings.ToLower(style.Name)
		fmt.Fprintf(b, `<g id="%s" class="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"`, name, name, svgColour(style.Colour), decimal(style.Width, 4))
		if style.Dash != nil {
			dash := make([]string, len(style.Dash))
			for i, v := range style.Dash {
				dash[i] = decimal(v, 4)
			}
			fmt.Fprintf(b, ` stroke-dasharray="%s"`, strings.Join(dash, " "))
		}
		fmt.Fprintln(b, ">")
		for _, s := range lines {
			fmt.Fprintf(b, `<path d="%s"/>`+"\n", svgPath(s.Vertices, s.Closed))
		}
		fmt.Fprintln(b, "</g>")
	}
	if len(d.Texts) > 0 {
		fmt.Fprintln(b, `<g id="text" class="text" font-family="Go, Helvetica, Arial, sans-serif" stroke="none">`)
		for _, t := range d.Texts {
			fmt.Fprint(b, "<text")
			if t.Turn == 0 {
				fmt.Fprintf(b, ` x="%s" y="%s"`, decimal(t.At.X, 4), decimal(-t.At.Y, 4))
			} else {
				fmt.Fprintf(b, ` transform="translate(%s %s) rotate(%s)"`, decimal(t.At.X, 4), decimal(-t.At.Y, 4), decimal(-t.Turn.Degrees(), 6))
			}
			fmt.Fprintf(b, ` font-size="%s" fill="%s"`, decimal(face(t.Bold).size(t.Height), 4), svgColour(t.Colour))
			if t.Anchor != Left {
				fmt.Fprintf(b, ` text-anchor="%s"`, [...]string{Middle: "middle", Right: "end"}[t.Anchor])
			}
			if t.Bold {
				fmt.Fprint(b, ` font-weight="bold"`)
			}
			fmt.Fprintf(b, ">%s</text>\n", escape(Printable(t.Words)))
		}
		fmt.Fprintln(b, "</g>")
	}
	fmt.Fprintln(b, "</svg>")
	return b.Flush()
}

// of returns the lines of a kind.
func (d *Drawing) of(k Kind) []Stroke {
	var out []Stroke
	for _, s := range d.Strokes {
		if s.Kind == k {
			out = append(out, s)
		}
	}
	return out
}

// svgPath writes a line as path data. SVG tells an arc by its ends and its
// radius. Near half a turn these no longer tell it well: of two ends 2r apart and
// a radius rounded by e, the middle of the arc is off by sqrt(2 r e). So arcs
// turn by a quarter at most, where it is off by less than 2e.
func svgPath(vertices []Vertex, closed bool) string {
	var b strings.Builder
	point := func(p r2.Point) { b.WriteString(decimal(p.X, 4) + " " + decimal(-p.Y, 4)) }
	b.WriteString("M")
	point(vertices[0].Point)
	ways := legs(vertices, closed)
	for i, l := range ways {
		for _, p := range l.pieces(math.Pi / 2) {
			c, ok := arcOf(p.a, p.b, p.bulge)
			switch {
			case ok:
				sweep := 0 // y counts down, so counterclockwise is SVG's negative way
				if c.sweep < 0 {
					sweep = 1
				}
				r := decimal(c.radius, 4)
				fmt.Fprintf(&b, "A%s %s 0 0 %d ", r, r, sweep)
				point(p.b)
			case closed && i == len(ways)-1: // Z draws it
			default:
				b.WriteString("L")
				point(p.b)
			}
		}
	}
	if closed {
		b.WriteString("Z")
	}
	return b.String()
}

func svgGrey(grey float64) string {
	v := uint8(math.Round(255 * min(max(grey, 0), 1)))
	return svgColour([3]uint8{v, v, v})
}

func svgColour(c [3]uint8) string { return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2]) }

func escape(text string) string {
	var b strings.Builder
	// A strings.Builder takes everything.
	_ = xml.EscapeText(&b, []byte(text))
	return b.String()
}

// decimal formats a number for a drawing, without a negative zero or zeros at the
// end of its decimals.
func decimal(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if decimals > 0 {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}
