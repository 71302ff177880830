package fit_test

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/golang/geo/r3"

	"github.com/stretchr/testify/require"

	"barwright/mesh"
)

// acPart is one object of an AC3D file, in our axes and mm. Its name is the
// bare part name, without what the exporter hangs on it.
type acPart struct {
	name string
	mesh mesh.Mesh
}

// readAC3D reads an AC3D text file (the format is described in "The AC3D file
// format" at inivis.com; from memory): nested objects, each with a rotation and
// a place relative to its parent, vertices in metres with y up, and surfaces
// that are polygons (kind 0) or triangle strips (kind 4). Normals behind the
// vertices, textures and materials are passed over; lines are left out.
//
// The car's x stays x, up goes from y to z, and left is minus z.
func readAC3D(data []byte) ([]acPart, error) {
	r := &acReader{lines: bufio.NewScanner(bytes.NewReader(data))}
	r.lines.Buffer(nil, 1<<20)
	if head := r.next(); len(head) == 0 || !strings.HasPrefix(head[0], "AC3D") {
		return nil, fmt.Errorf("not an AC3D file")
	}
	for {
		f := r.next()
		if f == nil {
			return r.parts, r.err
		}
		if f[0] == "OBJECT" {
			r.object(acFrame{rows: [3]r3.Vector{{X: 1}, {Y: 1}, {Z: 1}}})
		}
	}
}

// acFrame takes a row vector v of an object to the world: v rows + at.
type acFrame struct {
	rows [3]r3.Vector
	at   r3.Vector
}

func (f acFrame) turn(v r3.Vector) r3.Vector {
	return f.rows[0].Mul(v.X).Add(f.rows[1].Mul(v.Y)).Add(f.rows[2].Mul(v.Z))
}

type acReader struct {
	lines *bufio.Scanner
	parts []acPart
	err   error
}

// next returns the words of the next line that has any; nil at the end.
func (r *acReader) next() []string {
	for r.err == nil && r.lines.Scan() {
		if f := strings.Fields(r.lines.Text()); len(f) > 0 {
			return f
		}
	}
	if r.err == nil {
		r.err = r.lines.Err()
	}
	return nil
}

func (r *acReader) number(f []string, i int) float64 {
	if i < len(f) {
		v, err := strconv.ParseFloat(f[i], 64)
		if err == nil {
			return v
		}
	}
	if r.err == nil {
		r.err = fmt.Errorf("number %d missing in %q", i, strings.Join(f, " "))
	}
	return 0
}

func (r *acReader) vector(f []string, i int) r3.Vector {
	return r3.Vector{X: r.number(f, i), Y: r.number(f, i+1), Z: r.number(f, i+2)}
}

// object reads what follows an OBJECT line, with all its kids.
func (r *acReader) object(parent acFrame) {
	rot := [3]r3.Vector{{X: 1}, {Y: 1}, {Z: 1}}
	var loc r3.Vector
	var local []r3.Vector
	var part acPart
	for {
		f := r.next()
		if f == nil {
			return
		}
		switch f[0] {
		case "name":
			part.name, _, _ = strings.Cut(strings.Trim(strings.Join(f[1:], " "), `"`), "_")
		case "rot":
			rot = [3]r3.Vector{r.vector(f, 1), r.vector(f, 4), r.vector(f, 7)}
		case "loc":
			loc = r.vector(f, 1)
		case "data":
			r.next() // one line of free text
		case "numvert":
			for range int(r.number(f, 1)) {
				local = append(local, r.vector(r.next(), 0))
			}
		case "SURF":
			kind, err := strconv.ParseUint(f[1], 0, 32)
			if err != nil && r.err == nil {
				r.err = err
			}
			r.surface(&part.mesh, int(kind&15), len(local))
		case "kids":
			frame := acFrame{at: parent.at.Add(parent.turn(loc))}
			for i, row := range rot {
				frame.rows[i] = parent.turn(row)
			}
			for _, v := range local {
				w := frame.at.Add(frame.turn(v)).Mul(1000)
				part.mesh.Vertices = append(part.mesh.Vertices, r3.Vector{X: w.X, Y: -w.Z, Z: w.Y})
			}
			if len(part.mesh.Triangles) > 0 {
				r.parts = append(r.parts, part)
			}
			for range int(r.number(f, 1)) {
				if k := r.next(); k == nil || k[0] != "OBJECT" {
					return
				}
				r.object(frame)
			}
			return
		}
	}
}

// surface reads the references of a SURF and adds its triangles.
func (r *acReader) surface(m *mesh.Mesh, kind, vertices int) {
	f := r.next()
	for f != nil && f[0] != "refs" {
		f = r.next()
	}
	if f == nil {
		return
	}
	var refs []int32
	for range int(r.number(f, 1)) {
		i := int32(r.number(r.next(), 0))
		if i < 0 || int(i) >= vertices {
			r.err = fmt.Errorf("vertex %d of %d", i, vertices)
			return
		}
		refs = append(refs, i)
	}
	for i := 2; i < len(refs); i++ {
		switch kind {
		case 0:
			m.Triangles = append(m.Triangles, [3]int32{refs[0], refs[i-1], refs[i]})
		case 4:
			m.Triangles = append(m.Triangles, [3]int32{refs[i-2], refs[i-1], refs[i]})
		}
	}
}

// acFile finds an AC3D file under the data of Debian's package torcs-data by
// the first digits of its SHA-256 sum.
func acFile(t testing.TB, sum string) []byte {
	t.Helper()
	files, _ := filepath.Glob("/usr/share/games/torcs/cars/*/*.acc")
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			continue
		}
		h := sha256.Sum256(data)
		if strings.HasPrefix(hex.EncodeToString(h[:]), sum) {
			return data
		}
	}
	t.Skipf("no car body with sum %s: Debian's package torcs-data 1.3.7 is not installed", sum)
	return nil
}

// loose names the parts that are not the body: crew, seats, wheel, cage.
var loose = []string{"DRIVER", "SEAT", "STEER", "VOLANT", "GIRTH", "ROLLBAR", "WIPER", "ANTENNA", "MIRROR", "REARMIRROR"}

// acBody joins the parts of a body, stripped of what is loose in the cabin and,
// if open, of all panes.
func acBody(t testing.TB, data []byte, open bool) *mesh.Mesh {
	t.Helper()
	parts, err := readAC3D(data)
	require.NoError(t, err)
	body := &mesh.Mesh{}
	for _, p := range parts {
		if hasPrefix(p.name, loose) || open && strings.HasPrefix(p.name, "WI") {
			continue
		}
		first := int32(len(body.Vertices))
		body.Vertices = append(body.Vertices, p.mesh.Vertices...)
		for _, tri := range p.mesh.Triangles {
			body.Triangles = append(body.Triangles, [3]int32{tri[0] + first, tri[1] + first, tri[2] + first})
		}
	}
	// What a reader does to every file: weld, and drop what has no area.
	var stl bytes.Buffer
	require.NoError(t, mesh.WriteSTL(&stl, "body", body))
	m, _, err := mesh.Read(bytes.NewReader(stl.Bytes()), mesh.ReadOptions{Unit: mesh.Millimetre})
	require.NoError(t, err)
	return m
}

func hasPrefix(name string, any []string) bool {
	for _, p := range any {
		if strings.HasPrefix(name, p) {
			return true
		}
	}
	return false
}

// section is what a hand with a rule finds in the cabin at one station.
type section struct {
	x, floor, roof float64
	width          func(z float64) float64 // left half, at height z
	corner         r3.Vector               // of side and roof, from 45 degrees
}

// measure looks around from the middle of the cabin at station x, between the
// closed walls.
func measure(ix *mesh.Index, x, z float64) (section, bool) {
	ray := func(o, d r3.Vector) (r3.Vector, bool) {
		h, ok := ix.Ray(o, d, 3000)
		return h.Point, ok
	}
	from := r3.Vector{X: x, Y: 1, Z: z}
	down, ok1 := ray(from, r3.Vector{Z: -1})
	up, ok2 := ray(from, r3.Vector{Z: 1})
	s := section{x: x, floor: down.Z, roof: up.Z, width: func(z float64) float64 {
		p, ok := ray(r3.Vector{X: x, Y: 1, Z: z}, r3.Vector{Y: 1})
		if !ok {
			return 0
		}
		return p.Y
	}}
	if !ok1 || !ok2 {
		return s, false
	}
	var ok bool
	s.corner, ok = ray(r3.Vector{X: x, Y: 1, Z: s.roof - 450}, r3.Vector{Y: 0.8, Z: 0.6})
	return s, ok
}
