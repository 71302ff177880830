package mesh

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/hschendel/stl"
)

// readASCII reads an ASCII STL file of size bytes, standing at the word
// "solid", into a soup. Notes go into rep.
//
// The grammar is that of the format, read kindly: keywords in any case,
// any white space, LF, CRLF or CR at line ends, any number of solids with or
// without a name, the normal ignored whatever it says. The rest of a line
// after "solid" or "endsolid" is a name, unless it goes on with "facet
// normal": some files are a single line.
func readASCII(r io.Reader, size int64, rep *Report) (*soup, error) {
	p := &asciiParser{
		wordReader: wordReader{r: r, buf: make([]byte, min(size+1, bufferSize)), line: 1},
		soup:       newSoup(int(min(size/asciiFacet, MaxTriangles))),
		rep:        rep,
	}
	if err := p.file(); err != nil {
		return nil, err
	}
	p.soup.flush()
	return p.soup, nil
}

// asciiFacet is about what a triangle takes in an ASCII file, in bytes; it
// only sizes the tables at the start.
const asciiFacet = 250

type asciiParser struct {
	wordReader
	soup *soup
	rep  *Report
}

// file reads all solids.
func (p *asciiParser) file() error {
	inside := false // a solid
	ignored := 0    // line of the first text outside solids
	for {
		word := p.next()
		if word == nil {
			break
		}
		facet := false
		switch {
		case isKeyword(word, "solid"):
			if p.rep.Solids == 0 && word[0] == 'S' {
				p.rep.note("keywords are in upper case")
			}
			p.rep.Solids++
			inside = true
			facet = p.name()
		case isKeyword(word, "endsolid"):
			inside = false
			facet = p.name()
		case isKeyword(word, "facet"):
			facet = true
		case inside:
			return p.expected(`"facet" or "endsolid"`, word)
		default:
			if ignored == 0 {
				ignored = p.line
			}
			facet = p.name()
		}
		if facet {
			if err := p.facet(); err != nil {
				return err
			}
		}
	}
	if p.err != nil {
		return &ReadError{Text: "cannot be read", Err: p.err}
	}
	if ignored > 0 {
		p.rep.note("text outside the solids, first in line %d, is not read", ignored)
	}
	if inside {
		p.rep.note("the last solid has no endsolid: the file may have been cut off")
	}
	if p.rep.Solids > 1 {
		p.rep.note("%d solids are read as one mesh", p.rep.Solids)
	}
	return nil
}

// name skips the rest of a line. It tells whether it has just read "facet
// normal".
func (p *asciiParser) name() bool {
	facet := false
	for {
		word := p.nextInLine()
		if word == nil {
			return false
		}
		if facet && isKeyword(word, "normal") {
			return true
		}
		facet = isKeyword(word, "facet")
	}
}

// facet reads a triangle after the word "facet".
func (p *asciiParser) facet() error {
	// The normal is not used and may be missing, zero or "nan".
	word := p.next()
	for i := 0; i < 4 && !isKeyword(word, "outer"); i++ {
		word = p.next()
	}
	if !isKeyword(word, "outer") {
		return p.expected(`"outer loop"`, word)
	}
	if word = p.next(); !isKeyword(word, "loop") {
		return p.expected(`"loop"`, word)
	}
	var t stl.Triangle
	for c := range t.Vertices {
		if word = p.next(); !isKeyword(word, "vertex") {
			return p.expected(`"vertex"`, word)
		}
		for axis := range t.Vertices[c] {
			word = p.next()
			x, ok := parseFloat32(word)
			if !ok {
				return p.badNumber(word)
			}
			t.Vertices[c][axis] = x
		}
	}
	if word = p.next(); !isKeyword(word, "endloop") {
		return p.expected(`"endloop"`, word)
	}
	if word = p.next(); !isKeyword(word, "endfacet") {
		return p.expected(`"endfacet"`, word)
	}
	p.soup.AppendTriangle(t)
	if p.soup.err != nil {
		p.soup.err.Line = p.line
		return p.soup.err
	}
	return nil
}

// expected says that word stands where want should. A nil word is the end of
// the file.
func (p *asciiParser) expected(want string, word []byte) error {
	switch {
	case p.atEnd() && p.err != nil:
		return &ReadError{Text: "cannot be read", Err: p.err}
	case word == nil:
		return p.fail("truncated: the file ends where %s should come", want)
	case p.atEnd():
		return p.fail("truncated: the file ends in %.40q where %s should come", word, want)
	}
	return p.fail("%s expected, found %.40q", want, word)
}

func (p *asciiParser) badNumber(word []byte) error {
	if notFinite(word) {
		return p.fail("coordinate is not finite: %.40q", word)
	}
	return p.expected("a coordinate", word)
}

// notFinite tells whether a word is a number that no file should hold: NaN,
// infinite, or more than a float32 can be.
func notFinite(word []byte) bool {
	x, _ := strconv.ParseFloat(string(word), 32)
	return math.IsNaN(x) || math.IsInf(x, 0)
}

// fail returns an error at the line of the last word, in the triangle that is
// being read.
func (p *asciiParser) fail(format string, args ...any) error {
	return &ReadError{Line: p.line, Triangle: p.soup.count() + 1, Text: fmt.Sprintf(format, args...)}
}

// isKeyword compares a word with a lower-case keyword, in any case of letters.
func isKeyword(word []byte, keyword string) bool {
	if len(word) != len(keyword) {
		return false
	}
	for i, b := range word {
		if b|0x20 != keyword[i] {
			return false
		}
	}
	return true
}

// parseFloat32 reads a decimal float32, correctly rounded, as strconv.ParseFloat
// does. False: it is no decimal number, or not finite.
func parseFloat32(word []byte) (float32, bool) {
	// Rounding what parseDecimal gives again to float32 is right unless it lies
	// exactly half-way between two float32, or in the denormal range: these,
	// and all other numbers, are left to strconv.
	x, exact, ok := parseDecimal(word)
	if !ok {
		return 0, false
	}
	const halfWay, below = 1 << 28, 1<<29 - 1 // of the 29 bits that float32 drops
	size := math.Abs(x)
	if !exact || size != 0 && (size < 0x1p-126 || size > math.MaxFloat32) || math.Float64bits(x)&below == halfWay {
		return slowFloat32(word)
	}
	return float32(x), true
}

// parseFloat64 is parseFloat32 for float64.
func parseFloat64(word []byte) (float64, bool) {
	x, exact, ok := parseDecimal(word)
	if ok && !exact {
		var err error
		x, err = strconv.ParseFloat(string(word), 64)
		ok = err == nil
	}
	return x, ok
}

// parseDecimal reads a decimal number. Exact: x is the float64 nearest to it; else
// x is 0 and strconv must tell. Not ok: it is no decimal number.
func parseDecimal(word []byte) (x float64, exact, ok bool) {
	// Up to 15 digits and a power of ten up to 22 are exact in float64, so one
	// multiplication or division rounds once (the classic fast path, as in
	// strconv's own).
	var mantissa uint64
	digits, exponent, i := 0, 0, 0
	negative := false
	if len(word) > 0 && (word[0] == '-' || word[0] == '+') {
		negative = word[0] == '-'
		i++
	}
	point, any := false, false
	for ; i < len(word); i++ {
		b := word[i]
		if b == '.' && !point {
			point = true
			continue
		}
		if b < '0' || b > '9' {
			break
		}
		any = true
		if mantissa != 0 || b != '0' {
			digits++
		}
		if digits <= 15 {
			mantissa = mantissa*10 + uint64(b-'0')
		}
		if point {
			exponent--
		}
	}
	if !any {
		return 0, false, false
	}
	if i < len(word) {
		if word[i]|0x20 != 'e' {
			return 0, false, false
		}
		i++
		sign := 1
		if i < len(word) && (word[i] == '-' || word[i] == '+') {
			if word[i] == '-' {
				sign = -1
			}
			i++
		}
		if i == len(word) {
			return 0, false, false
		}
		e := 0
		for ; i < len(word); i++ {
			if word[i] < '0' || word[i] > '9' {
				return 0, false, false
			}
			e = min(10*e+int(word[i]-'0'), 10_000)
		}
		exponent += sign * e
	}
	if digits > 15 || exponent < -22 || exponent > 22 {
		return 0, false, true
	}
	x = float64(mantissa)
	if exponent < 0 {
		x /= powersOfTen[-exponent]
	} else {
		x *= powersOfTen[exponent]
	}
	if negative {
		x = -x
	}
	return x, true, true
}

func slowFloat32(word []byte) (float32, bool) {
	x, err := strconv.ParseFloat(string(word), 32)
	return float32(x), err == nil
}

var powersOfTen = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// wordReader cuts a stream into words at white space. Memory does not grow with
// the length of words or lines: of a word that does not fit into the buffer
// only the first longWord bytes are kept.
type wordReader struct {
	r        io.Reader
	buf      []byte
	at, end  int // the part of buf not yet read
	line     int // of the last word, from 1
	returned bool
	err      error // other than the end of the file
	ended    bool
}

const longWord = 256

// next returns the next word, which is valid until the next call, or nil at
// the end of the file.
func (w *wordReader) next() []byte {
	for {
		for w.at < w.end {
			b := w.buf[w.at]
			if b > ' ' {
				w.returned = false
				return w.word()
			}
			w.at++
			w.countLine(b)
		}
		if !w.fill(w.end) {
			return nil
		}
	}
}

// nextInLine is next, but returns nil at the end of the line as well.
func (w *wordReader) nextInLine() []byte {
	for {
		for w.at < w.end {
			b := w.buf[w.at]
			if b > ' ' {
				w.returned = false
				return w.word()
			}
			if b == '\n' || b == '\r' {
				return nil
			}
			w.at++
		}
		if !w.fill(w.end) {
			return nil
		}
	}
}

// atEnd tells whether the last word ended with the file.
func (w *wordReader) atEnd() bool { return w.ended && w.at == w.end }

// countLine counts line ends: LF, CR, or CR LF as one.
func (w *wordReader) countLine(b byte) {
	switch {
	case b == '\r':
		w.line++
		w.returned = true
		return
	case b == '\n' && !w.returned:
		w.line++
	}
	w.returned = false
}

// word reads the word that begins at w.at.
func (w *wordReader) word() []byte {
	start, i := w.at, w.at+1
	for {
		for i < w.end && w.buf[i] > ' ' {
			i++
		}
		if i < w.end {
			break
		}
		if start == 0 && i > longWord {
			w.end, i = longWord, longWord // drop what is beyond
		}
		more := w.fill(start)
		i, start = i-start, 0
		if !more {
			break
		}
	}
	w.at = i
	return w.buf[start:min(i, start+longWord)]
}

// fill moves the bytes from keep on to the front of the buffer and reads more
// behind them. False: there is no more.
func (w *wordReader) fill(keep int) bool {
	w.end = copy(w.buf, w.buf[keep:w.end])
	w.at = 0
	for tries := 0; !w.ended && w.end < len(w.buf); tries++ {
		n, err := w.r.Read(w.buf[w.end:])
		w.end += n
		if err == nil && n == 0 && tries == 100 {
			err = io.ErrNoProgress
		}
		if err != nil {
			w.ended = true
			if err != io.EOF {
				w.err = err
			}
		}
		if n > 0 {
			return true
		}
	}
	return false
}

// startsWith tells whether the next bytes are the given ones, at most a few.
func (w *wordReader) startsWith(next ...byte) bool {
	for w.end-w.at < len(next) {
		if !w.fill(w.at) {
			return false
		}
	}
	return bytes.Equal(w.buf[w.at:w.at+len(next)], next)
}

// crossLine reads past a line end, before which nextInLine has stopped: LF, CR LF
// or CR, of which CR LF is two with crOnly. False: the file ends.
func (w *wordReader) crossLine(crOnly bool) bool {
	n := 1
	if !crOnly && w.startsWith('\r', '\n') {
		n = 2
	} else if w.at == w.end && !w.fill(w.end) {
		return false
	}
	for range n {
		w.countLine(w.buf[w.at])
		w.at++
	}
	return true
}
