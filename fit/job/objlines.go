package job

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"github.com/golang/geo/r3"
)

// This file reads the lines of a Wavefront OBJ file: v, l, o and g. No library
// of the project reads line elements, so it is our own. The format's rules are
// from memory: indices count from 1, or back from -1, and may be followed by
// /texture; a backslash at the end continues a line.

// readOBJ reads an OBJ file in a unit of so many mm. Faces and all else that is
// no line are passed over: an export may well have them.
func (d *drawing) readOBJ(data []byte, mm float64) {
	if at := bytes.IndexByte(data, 0); at >= 0 {
		d.errorf(bytes.Count(data[:at], []byte("\n"))+1, "not a text file: byte 0x00")
		return
	}
	var points []r3.Vector
	index := map[string]*group{}
	name := ""
	rest := bytes.TrimPrefix(data, []byte("\ufeff"))
	for line := 1; len(rest) > 0; {
		var text string
		first := line
		text, rest, line = objLine(rest, line)
		word, args, _ := strings.Cut(strings.ReplaceAll(text, "\t", " "), " ")
		args = strings.TrimSpace(args)
		var err error
		switch word {
		case "v":
			var p r3.Vector
			if p, err = objPoint(strings.Fields(args), mm); err == nil {
				points = append(points, p)
			}
		case "o", "g":
			name = args
		case "l":
			var p *piece
			if p, err = objPiece(strings.Fields(args), points, first); err != nil {
				break
			}
			if name == "" {
				err = fmt.Errorf("l stands before any name of an object or a group")
				break
			}
			g := d.group(name, first, index)
			g.pieces = append(g.pieces, p)
		}
		if err != nil {
			d.errorf(first, "%v", err)
			return
		}
	}
	if len(points) == 0 {
		d.errorf(1, "no v lines in the file, which is no OBJ file then")
	}
}

// objLine returns the next line, without comment and blanks around, what comes
// behind it, and the number of the line there.
func objLine(rest []byte, line int) (string, []byte, int) {
	var parts []string
	for {
		var one []byte
		one, rest, _ = bytes.Cut(rest, []byte("\n"))
		line++
		one, _, _ = bytes.Cut(one, []byte("#"))
		one = bytes.TrimSpace(one)
		more, goesOn := bytes.CutSuffix(one, []byte(`\`))
		parts = append(parts, unicodeText(more))
		if !goesOn || len(rest) == 0 {
			return strings.TrimSpace(strings.Join(parts, " ")), rest, line
		}
	}
}

func objPoint(words []string, mm float64) (r3.Vector, error) {
	if len(words) < 3 {
		return r3.Vector{}, fmt.Errorf("v must have x, y and z, got %s", count(len(words), "number"))
	}
	var c [3]float64
	for i := range c {
		x, err := coordinate(words[i], mm)
		if err != nil {
			return r3.Vector{}, fmt.Errorf("v: %w", err)
		}
		c[i] = x
	}
	return r3.Vector{X: c[0], Y: c[1], Z: c[2]}, nil
}

func objPiece(words []string, points []r3.Vector, line int) (*piece, error) {
	if len(words) < 2 {
		return nil, fmt.Errorf("l must have at least 2 points, got %d", len(words))
	}
	p := &piece{line: line}
	for _, w := range words {
		number, _, _ := strings.Cut(w, "/")
		i, err := strconv.Atoi(number)
		if err != nil {
			return nil, fmt.Errorf("l: %s is no whole number", quoted(w))
		}
		k := i - 1
		if i < 0 {
			k = len(points) + i
		}
		if k < 0 || k >= len(points) {
			return nil, fmt.Errorf("l: there is no point %d, %s so far", i, count(len(points), "v line"))
		}
		p.points = append(p.points, node{points[k], line})
	}
	return p, nil
}
