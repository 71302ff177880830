package section

import (
	"bufio"
	"image"
	"image/color"
	imagedraw "image/draw"
	"image/png"
	"io"
	"math"

	"github.com/golang/geo/r2"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	"barwright/export/draw"
)

// Figures of the picture.
const (
	longSide   = 2000 // of the picture, px
	thinLine   = 1.0  // lines are at least so wide, px
	lineScale  = 2.0  // and wider than on paper, where they are looked at from closer by
	mostPixels = 4.0  // px per mm at most, for a small section
)

// WritePNG writes a picture of a drawing, 2000 px on its longer side (a small
// section: 4 px/mm). It is for the screen: it isn't in true size.
//
// The standard library can neither fill an outline nor set a text;
// golang.org/x/image does both and brings a font, with the licence of Go itself.
func WritePNG(w io.Writer, d *Drawing) error {
	s := d.layout()
	if err := checkSheet(s); err != nil {
		return err
	}
	size := s.box.Size()
	scale := min(longSide/max(size.X, size.Y), mostPixels)
	img := image.NewRGBA(image.Rect(0, 0, int(math.Ceil(size.X*scale)), int(math.Ceil(size.Y*scale))))
	imagedraw.Draw(img, img.Bounds(), image.White, image.Point{}, imagedraw.Src)
	c := canvas{img: img, box: s.box, scale: scale}
	for l := range layers {
		c.layer(looks[l], s.of(l))
	}
	for _, t := range s.texts {
		if err := c.text(t); err != nil {
			return err
		}
	}
	b := bufio.NewWriter(w)
	if err := png.Encode(b, img); err != nil {
		return err
	}
	return b.Flush()
}

// fontSize is the size of a font in heights of its capital letters, about.
const fontSize = 1.35

// canvas puts lines and texts on a picture.
type canvas struct {
	img   *image.RGBA
	box   r2.Rect // of the sheet, mm
	scale float64 // px per mm
	faces map[float64]font.Face
}

// place returns where a point of the sheet is in the picture, in px.
func (c *canvas) place(p r2.Point) r2.Point {
	return r2.Point{X: (p.X - c.box.X.Lo) * c.scale, Y: (c.box.Y.Hi - p.Y) * c.scale}
}

// layer draws lines. All of them are one shape, so that a colour is laid on once
// where they cross.
func (c *canvas) layer(k draw.Style, lines []Line) {
	if len(lines) == 0 {
		return
	}
	half := max(k.Width*c.scale*lineScale, thinLine) / 2
	on, off := 0.0, 0.0
	if k.Dash != nil {
		on, off = k.Dash[0]*c.scale, k.Dash[1]*c.scale
	}
	size := c.img.Bounds().Size()
	r := vector.NewRasterizer(size.X, size.Y)
	for _, l := range lines {
		points := make([]r2.Point, 0, len(l.Points)+1)
		for _, p := range l.Points {
			points = append(points, c.place(p))
		}
		if l.Closed {
			points = append(points, points[0])
		}
		for _, d := range dashes(points, on, off) {
			for i := 1; i < len(d); i++ {
				ribbon(r, d[i-1], d[i], half)
			}
		}
	}
	r.Draw(c.img, c.img.Bounds(), image.NewUniform(color.RGBA{k.Colour[0], k.Colour[1], k.Colour[2], 255}), image.Point{})
}

// ribbon adds a straight line with round ends, half as wide as said, all in px.
// All ribbons turn the same way, so that the rasteriser takes overlaps as one.
func ribbon(r *vector.Rasterizer, a, b r2.Point, half float64) {
	const corners = 6 // of each round end
	along := b.Sub(a)
	if along.Norm() == 0 {
		return
	}
	start := math.Atan2(along.Y, along.X) + math.Pi/2
	first := true
	for i, at := range [2]r2.Point{a, b} {
		for k := 0; k <= corners; k++ {
			sin, cos := math.Sincos(start + math.Pi*(float64(i)+float64(k)/corners))
			x, y := float32(at.X+half*cos), float32(at.Y+half*sin)
			if first {
				r.MoveTo(x, y)
				first = false
			} else {
				r.LineTo(x, y)
			}
		}
	}
	r.ClosePath()
}

// dashes cuts a line into dashes of the given lengths; off = 0: none.
func dashes(points []r2.Point, on, off float64) [][]r2.Point {
	if off == 0 {
		return [][]r2.Point{points}
	}
	var out [][]r2.Point
	left, drawn := on, true
	now := []r2.Point{points[0]}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		length := b.Sub(a).Norm()
		at := 0.0
		for length-at > left {
			at += left
			p := a.Add(b.Sub(a).Mul(at / length))
			if drawn {
				out = append(out, append(now, p))
				left = off
			} else {
				left = on
			}
			now = []r2.Point{p}
			drawn = !drawn
		}
		left -= length - at
		now = append(now, b)
	}
	if drawn {
		out = append(out, now)
	}
	return out
}

func (c *canvas) text(t text) error {
	size := t.height * fontSize * c.scale
	face := c.faces[size]
	if face == nil {
		parsed, err := opentype.Parse(goregular.TTF)
		if err != nil {
			return err
		}
		// 72 dpi: a point is a pixel.
		face, err = opentype.NewFace(parsed, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			return err
		}
		if c.faces == nil {
			c.faces = map[float64]font.Face{}
		}
		c.faces[size] = face
	}
	colour := looks[t.layer].Colour
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(color.RGBA{colour[0], colour[1], colour[2], 255}), Face: face}
	p := c.place(t.at)
	wide := float64(d.MeasureString(t.words)) / 64
	p.X -= wide * [...]float64{draw.Left: 0, draw.Middle: 0.5, draw.Right: 1}[t.anchor]
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round(p.X * 64)), Y: fixed.Int26_6(math.Round(p.Y * 64))}
	d.DrawString(t.words)
	return nil
}
