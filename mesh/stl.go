package mesh

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/golang/geo/r3"
	"github.com/hschendel/stl"
)

// Layout of a binary STL file: 80 bytes of header, a count as uint32, then 50
// bytes a triangle (normal and three corners as 12 float32, and 2 bytes of
// attributes), all little-endian. Source: paulbourke.net/dataformats/stl.
const (
	stlText   = 80
	stlHeader = 84
	stlFacet  = 50
)

// readBinary reads a binary STL file of size bytes, standing at its start,
// into a soup. Notes go into rep.
func readBinary(r io.Reader, size int64, rep *Report) (*soup, error) {
	header := make([]byte, stlHeader)
	if size < stlHeader {
		return nil, &ReadError{Text: fmt.Sprintf("truncated: %d bytes, a binary STL file has at least %d", size, stlHeader)}
	}
	if _, err := io.ReadFull(r, header); err != nil {
		return nil, cutShort(err)
	}
	count := int64(binary.LittleEndian.Uint32(header[stlText:]))
	body := size - stlHeader
	whole, rest := body/stlFacet, body%stlFacet
	if count > whole {
		return nil, &ReadError{Text: fmt.Sprintf("truncated, or not an STL file: its header promises %d triangles in %d bytes, the file has %d bytes",
			count, stlHeader+stlFacet*count, size)}
	}
	switch extra := whole - count; {
	case extra > 0 && rest == 0:
		rep.note("the header says %d triangles, the file holds %d: all are read", count, whole)
		count = whole
	case count == 0:
		return nil, &ReadError{Text: "no triangles"}
	case body > count*stlFacet:
		rep.note("not read: what comes after the last triangle, %d of %d bytes", body-count*stlFacet, size)
	}
	if count == 0 {
		return nil, &ReadError{Text: "no triangles"}
	}
	if count > MaxTriangles {
		return nil, &ReadError{Text: fmt.Sprintf("%d triangles, more than the %d that can be read", count, MaxTriangles)}
	}
	binary.LittleEndian.PutUint32(header[stlText:], uint32(count))

	s := newSoup(int(count))
	g := &stlGuard{header: header, body: bufio.NewReaderSize(r, bufferSize), size: stlHeader + count*stlFacet, soup: s}
	err := stl.CopyAll(g, s)
	switch {
	case s.err != nil:
		return nil, s.err
	case g.err != nil:
		return nil, cutShort(g.err)
	case err != nil:
		return nil, &ReadError{Text: err.Error()}
	}
	s.flush()
	return s, nil
}

// bufferSize is how much is read at a time, in bytes.
const bufferSize = 256 << 10

// stlGuard stands between a file and the STL library, which knows a binary file
// only by size = 84 + 50 count and trusts the count: it shows the library a
// stream that is exactly so. It also ends the stream when the soup has had
// enough.
type stlGuard struct {
	header []byte // 84 bytes, count corrected
	body   io.Reader
	size   int64 // of the whole stream
	at     int64
	soup   *soup
	err    error // why the body ended early
}

var errStop = errors.New("stopped")

// Read is part of io.Reader. It returns the header by itself, in one piece.
func (g *stlGuard) Read(p []byte) (int, error) {
	if g.at < stlHeader {
		n := copy(p, g.header[g.at:])
		g.at += int64(n)
		return n, nil
	}
	if g.soup.err != nil {
		return 0, errStop
	}
	left := g.size - g.at
	if left == 0 {
		return 0, io.EOF
	}
	n, err := g.body.Read(p[:min(int64(len(p)), left)])
	g.at += int64(n)
	if err == io.EOF && g.at < g.size {
		err = io.ErrUnexpectedEOF
	}
	if err != nil && err != io.EOF {
		g.err = err
	}
	return n, err
}

// Seek is part of io.Seeker: to the end, which tells the size, and back to the
// start before anything but the header was read.
func (g *stlGuard) Seek(offset int64, whence int) (int64, error) {
	switch {
	case offset == 0 && whence == io.SeekEnd:
		return g.size, nil
	case offset == 0 && whence == io.SeekStart && g.at <= stlHeader:
		g.at = 0
		return 0, nil
	}
	return 0, fmt.Errorf("cannot seek to %d, %d", offset, whence)
}

// cutShort turns an end of file where there should be more into a plain error.
func cutShort(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return &ReadError{Text: "truncated: the file became shorter while it was read"}
	}
	return &ReadError{Text: "cannot be read", Err: err}
}

// WriteSTL writes m as a binary STL file, coordinates in mm rounded to
// float32, normals computed from the corners (zero where a triangle has
// none). The header begins with "binary STL, mm: " and the name, cut to fit;
// bytes that are not printable ASCII become "?".
//
// A mesh with an index out of range or a coordinate that float32 cannot hold
// is an error and nothing is written.
func WriteSTL(w io.Writer, name string, m *Mesh) error {
	if int64(len(m.Triangles)) > math.MaxUint32 {
		return fmt.Errorf("%d triangles are more than an STL file can count", len(m.Triangles))
	}
	for i, v := range m.Vertices {
		if !finite32(toFloat32(v)) {
			return fmt.Errorf("vertex %d cannot be written: (%v, %v, %v)", i, v.X, v.Y, v.Z)
		}
	}
	solid := &stl.Solid{
		BinaryHeader: headerText(name),
		Triangles:    make([]stl.Triangle, len(m.Triangles)),
	}
	for t, tri := range m.Triangles {
		for _, i := range tri {
			if i < 0 || int(i) >= len(m.Vertices) {
				return fmt.Errorf("triangle %d has corner %d, there are %d vertices", t, i, len(m.Vertices))
			}
		}
		a, b, c := m.Corners(t)
		solid.Triangles[t] = stl.Triangle{
			Normal:   toFloat32(b.Sub(a).Cross(c.Sub(a)).Normalize()),
			Vertices: [3]stl.Vec3{toFloat32(a), toFloat32(b), toFloat32(c)},
		}
	}
	buffered := bufio.NewWriterSize(w, bufferSize)
	if err := solid.WriteAll(buffered); err != nil {
		return err
	}
	return buffered.Flush()
}

// headerText returns the 80 bytes of text of a binary header. It must not
// begin with "solid", which would make readers take it for ASCII.
func headerText(name string) []byte {
	text := make([]byte, stlText)
	n := copy(text, "binary STL, mm: ")
	copy(text[n:], name)
	for i, b := range text {
		if b != 0 && (b < ' ' || b > '~') {
			text[i] = '?'
		}
	}
	return text
}

func toFloat32(v r3.Vector) [3]float32 {
	return [3]float32{float32(v.X), float32(v.Y), float32(v.Z)}
}
