package draw_test

import (
	"bytes"
	"fmt"
	"image"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/golang/geo/r2"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/export/draw"
)

// poppler runs one of the programs of poppler-utils, a PDF reader made by others,
// on a PDF.
func poppler(t *testing.T, name string, pdf []byte, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Skip("no poppler-utils")
	}
	cmd := exec.Command(name, args...)
	cmd.Stdin = bytes.NewReader(pdf)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	require.Empty(t, stderr.String(), "the reader has nothing to complain of")
	return string(out)
}

// render returns the pages as pictures.
func render(t *testing.T, pdf []byte, dpi int) []*image.Gray {
	t.Helper()
	dir := t.TempDir()
	poppler(t, "pdftoppm", pdf, "-gray", "-r", fmt.Sprint(dpi), "-", filepath.Join(dir, "p"))
	names, err := filepath.Glob(filepath.Join(dir, "p*.pgm"))
	require.NoError(t, err)
	var out []*image.Gray
	for _, name := range names { // in order: numbers have leading zeros
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		// A portable greymap: "P5", width, height, 255, one white space, the pixels.
		var w, h int
		n, err := fmt.Sscanf(string(data[:20]), "P5\n%d %d\n255\n", &w, &h)
		require.NoError(t, err)
		require.Equal(t, 2, n)
		out = append(out, &image.Gray{Pix: data[len(data)-w*h:], Stride: w, Rect: image.Rect(0, 0, w, h)})
	}
	return out
}

func pdf(t *testing.T, title string, pages ...[]draw.Page) []byte {
	t.Helper()
	var all []draw.Page
	for _, p := range pages {
		all = append(all, p...)
	}
	var b bytes.Buffer
	require.NoError(t, draw.WritePDF(&b, title, all))
	return b.Bytes()
}

func tiles(t *testing.T, d *draw.Drawing, p draw.Paper) []draw.Page {
	t.Helper()
	pages, err := draw.Tile(d, p)
	require.NoError(t, err)
	return pages
}

// Boxes of pages, to 0.01 mm.
func TestPDFBoxes(t *testing.T) {
	d := hoop(600, 500)
	arranged, err := draw.Arrange([]*draw.Drawing{d}, draw.Letter)
	require.NoError(t, err)
	pages := append(append(tiles(t, d, draw.A4), tiles(t, d, draw.A3)...), tiles(t, d, draw.Whole)...)
	file := pdf(t, "a job", pages, arranged)
	pages = append(pages, arranged...)
	info := poppler(t, "pdfinfo", file, "-box", "-f", "1", "-l", fmt.Sprint(len(pages)), "-")
	assert.Contains(t, info, "Title:           a job\n")
	met := 0
	for _, line := range strings.Split(info, "\n") {
		var n int
		var box [4]float64
		if _, err := fmt.Sscanf(line, "Page %d MediaBox: %f %f %f %f", &n, &box[0], &box[1], &box[2], &box[3]); err != nil {
			continue
		}
		met++
		p := pages[n-1].Paper
		assert.InDelta(t, p.Width, (box[2]-box[0])*25.4/72, 0.01, "page %d", n)
		assert.InDelta(t, p.Height, (box[3]-box[1])*25.4/72, 0.01, "page %d", n)
	}
	assert.Equal(t, len(pages), met)
	assert.Contains(t, string(file), "/ViewerPreferences << /PrintScaling /None >>")
}

// A pixel is dark that a line covers; of two that share a line, each is at least
// greyish.
const (
	dark    = 128
	greyish = 225
)

// ends returns the middles of the first and the last dark run of a row, in pixels.
func ends(t *testing.T, img *image.Gray, row, from, to int) (first, last float64) {
	t.Helper()
	var runs [][2]int
	for x := from; x < to; x++ {
		if img.GrayAt(x, row).Y >= dark {
			continue
		}
		if n := len(runs); n > 0 && runs[n-1][1] == x {
			runs[n-1][1]++
		} else {
			runs = append(runs, [2]int{x, x + 1})
		}
	}
	require.Len(t, runs, 2, "two ticks in row %d", row)
	return float64(runs[0][0]+runs[0][1]) / 2, float64(runs[1][0]+runs[1][1]) / 2
}

// Both check lines of every page, measured in a rendering at 300 dpi: 100 mm are
// 1181.1 pixels and 4 in are 1200. And nothing is printed within 10 mm of an edge.
func TestCheckLinesAndMargins(t *testing.T) {
	d := hoop(330, 160)
	small := &draw.Drawing{Title: "small"}
	small.Circle(draw.Cut, r2.Point{}, 30)
	for _, p := range []draw.Paper{draw.A4, draw.Letter, draw.Whole} {
		if p == draw.Whole {
			d = small
		}
		arranged, err := draw.Arrange([]*draw.Drawing{small, small}, p)
		require.NoError(t, err)
		pages := append(tiles(t, d, p)[:1:1], arranged[0])
		if p == draw.Letter {
			pages = pages[1:]
		}
		images := render(t, pdf(t, "a job", pages), 300)
		require.Len(t, images, len(pages))
		for i, img := range images {
			px := func(mm float64) int { return int(math.Round(mm * 300 / 25.4)) }
			high := img.Bounds().Dy()
			for _, c := range []struct{ row, want float64 }{{18.6, 100.0 * 300 / 25.4}, {10.6, 1200}} {
				first, last := ends(t, img, high-px(c.row), px(5), px(10+101.6+3))
				assert.InDelta(t, c.want, last-first, 1, "%s, page %d", p.Name, i+1)
			}
			// 9.5 mm: half a pixel and half a line width of leeway.
			margin := px(9.5)
			b := img.Bounds()
			for y := range b.Dy() {
				for x := range b.Dx() {
					edge := x < margin || y < margin || x >= b.Dx()-margin || y >= b.Dy()-margin
					if edge && img.GrayAt(x, y).Y < 255 {
						require.Fail(t, "not white", "%s, page %d: %d, %d", p.Name, i+1, x, y)
					}
				}
			}
		}
	}
}

// Pages, cut and laid together as they say, are the drawing on one sheet.
func TestTilesMakeTheSheet(t *testing.T) {
	d := hoop(320, 260)
	d.Arc(draw.Thin, at(0, 150), 60, 0, 300*s1.Degree)
	d.Text(at(-100, 150), 8, draw.Middle, "cut across")
	d.Texts = append(d.Texts, draw.Text{At: at(100, 100), Height: 8, Turn: 30 * s1.Degree, Words: "turned", Bold: true})
	d.Hatch([]draw.Vertex{{Point: at(-60, 60)}, {Point: at(60, 60)}, {Point: at(0, 130)}}, 4, 0.7)
	d.Fills = append(d.Fills, draw.Fill{Grey: 0.3, Vertices: []draw.Vertex{{Point: at(-100, 20), Bulge: 1}, {Point: at(-60, 20), Bulge: 1}}})
	pages := tiles(t, d, draw.Paper{Name: "small", Width: 200, Height: 190})
	require.Greater(t, len(pages), 4)
	whole := tiles(t, d, draw.Whole)
	const dpi = 100
	images := render(t, pdf(t, "job", pages, whole), dpi)
	sheet := images[len(images)-1]
	// Where a point of the drawing is on a page's picture.
	pixel := func(p draw.Page, q r2.Point, img *image.Gray) (int, int) {
		q = q.Sub(p.Net.Lo()).Add(p.At)
		return int(q.X * dpi / 25.4), int((p.Paper.Height - q.Y) * dpi / 25.4)
	}
	near := func(img *image.Gray, x, y int) bool {
		for dy := -2; dy <= 2; dy++ {
			for dx := -2; dx <= 2; dx++ {
				if img.GrayAt(x+dx, y+dy).Y < greyish {
					return true
				}
			}
		}
		return false
	}
	darkOnes := 0
	bounds := d.Bounds()
	const step = 25.4 / dpi
	for y := bounds.Y.Lo; y <= bounds.Y.Hi; y += step {
		for x := bounds.X.Lo; x <= bounds.X.Hi; x += step {
			q := at(x, y)
			sx, sy := pixel(whole[0], q, sheet)
			onSheet := sheet.GrayAt(sx, sy).Y < dark
			covered := false
			for i, p := range pages {
				if !p.Net.ContainsPoint(q) {
					continue
				}
				px, py := pixel(p, q, images[i])
				if onSheet {
					darkOnes++
					covered = covered || near(images[i], px, py)
				}
				// Away from the page's own marks, nothing is there that is not drawn.
				if p.Net.ExpandedByMargin(-9).ContainsPoint(q) && images[i].GrayAt(px, py).Y < dark && !near(sheet, sx, sy) {
					require.Fail(t, "not on the sheet", "%s at %v", p.Tile, q)
				}
			}
			if onSheet && !covered {
				require.Fail(t, "on no page", "%v", q)
			}
		}
	}
	assert.Greater(t, darkOnes, 5000)
}

// Words come out as written, in true place and size: the reader tells boxes.
func TestPDFWords(t *testing.T) {
	d := &draw.Drawing{Title: "words"}
	d.Line(draw.Outline, at(0, 0), at(150, 150))
	want := map[string]draw.Text{}
	for i, words := range []string{"Überrollbügel", "дуга", "στεφάνι", "(a\\b)", "µ37.5°", "Łódź"} {
		text := draw.Text{At: at(75, 20*float64(i)), Height: 5, Anchor: draw.Anchor(i % 3), Words: words, Bold: i%2 == 1}
		d.Texts = append(d.Texts, text)
		want[words] = text
	}
	d.Text(at(75, 130), 5, draw.Left, "弓x🏎")
	upwards := draw.Text{At: at(140, 20), Height: 5, Turn: 90 * s1.Degree, Words: "upwards"}
	d.Texts = append(d.Texts, upwards)
	pages := tiles(t, d, draw.A4)
	out := poppler(t, "pdftotext", pdf(t, "job", pages), "-bbox", "-", "-")
	assert.Contains(t, out, ">?x?</word>", "letters that the font lacks")
	met := 0
	for _, line := range strings.Split(out, "\n") {
		var x0, y0, x1, y1 float64
		if _, err := fmt.Sscanf(strings.TrimSpace(line), `<word xMin="%f" yMin="%f" xMax="%f" yMax="%f">`, &x0, &y0, &x1, &y1); err != nil {
			continue
		}
		words := line[strings.Index(line, ">")+1 : strings.LastIndex(line, "<")]
		if words == upwards.Words {
			met++
			place := upwards.At.Sub(pages[0].Net.Lo()).Add(pages[0].At)
			foot := pages[0].Paper.Height - place.Y
			assert.InDelta(t, foot, y1*25.4/72, 0.1, "it starts at its place")
			assert.InDelta(t, foot-upwards.Width(), y0*25.4/72, 0.1, "and goes up")
			assert.True(t, x0*25.4/72 < place.X-5 && place.X < x1*25.4/72, "with its letters' feet to the right")
			continue
		}
		text, ok := want[words]
		if !ok {
			continue
		}
		met++
		const mm = 25.4 / 72
		place := text.At.Sub(pages[0].Net.Lo()).Add(pages[0].At)
		assert.InDelta(t, text.Width(), (x1-x0)*mm, 0.1, words)
		assert.InDelta(t, place.X-text.Width()*float64(text.Anchor)/2, x0*mm, 0.1, words)
		base := pages[0].Paper.Height - place.Y
		assert.True(t, y0*mm < base-5 && base < y1*mm, words)
	}
	assert.Equal(t, len(want)+1, met)

	for name, words := range hostile {
		h := &draw.Drawing{Title: words, Notes: []string{words}}
		h.Line(draw.Outline, at(0, 0), at(50, 50))
		h.Text(at(0, 0), 3, draw.Left, words)
		if name != "long" {
			poppler(t, "pdfinfo", pdf(t, words, tiles(t, h, draw.A4)), "-")
		}
	}
}
