package cope

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
)

// The metal that is left of a branch, by the boolean of another program:
// Debian's openscad, which works with CGAL. Cylinders are prisms of as much
// area there.
func TestVolumeAgainstOpenSCAD(t *testing.T) {
	if os.Getenv("BARWRIGHT_FULL") != "1" {
		t.Skip("BARWRIGHT_FULL=1 runs it")
	}
	program, err := exec.LookPath("openscad")
	if err != nil {
		t.Skip("openscad is not installed")
	}
	shifted := func(b *fit.Bar, y float64) *fit.Bar {
		b.Path = b.Path.Transformed(func(p r3.Vector) r3.Vector { return p.Add(v(0, y, 0)) })
		return b
	}
	short := func(name string, od, x, angle float64) *fit.Bar {
		sin, cos := math.Sincos(angle * math.Pi / 180)
		return bar(t, name, od, 2.5, 0, [2]job.End{onto("rail"), free}, v(x, 0, 0), v(x+120*cos, 0, 120*sin))
	}
	for name, bars := range map[string][]*fit.Bar{
		"tee":    {rail(t, 45), short("b", 38, 0, 90)},
		"equal":  {rail(t, 45), short("b", 45, 0, 50)},
		"offset": {rail(t, 60), shifted(short("b", 38, 0, 65), 6)},
		"node":   {rail(t, 45), short("a", 38, 0, 80), short("b", 30, 6, 45)},
	} {
		c := cage(bars...)
		all := landings(c)
		order(c, all)
		l := all[len(all)-1]
		b := l.branch

		// The wall in rings of lines, by Simpson's rule across it.
		q, r, length := b.Tube.Inner()/2, b.Radius(), b.Path.Length
		own := 0.0
		const rings = 8
		for i := range rings + 1 {
			rho := q + (r-q)*float64(i)/rings
			weight := []float64{2, 4}[i%2]
			if i == 0 || i == rings {
				weight = 1
			}
			for n := range clocks {
				own += weight * rho * (length - l.cut(rho, l.direction(float64(n)*math.Pi/180)).x)
			}
		}
		own *= (r - q) / rings / 3 * 2 * math.Pi / clocks

		var cut []string
		for _, o := range bars[:len(bars)-1] {
			cut = append(cut, prism(o, o.Radius(), 1))
		}
		text := fmt.Sprintf("difference() { %s %s %s }", prism(b, r, 0), prism(b, q, 1), strings.Join(cut, " "))
		dir := t.TempDir()
		in, out := filepath.Join(dir, "a.scad"), filepath.Join(dir, "a.stl")
		require.NoError(t, os.WriteFile(in, []byte(text), 0o600))
		message, err := exec.Command(program, "-o", out, in).CombinedOutput()
		require.NoError(t, err, string(message))
		stl, err := os.ReadFile(out)
		require.NoError(t, err)
		assert.InEpsilon(t, volume(t, string(stl)), own, 1e-3, name)
	}
}

// prism writes a straight bar for openscad, longer at its end A by more mm.
func prism(b *fit.Bar, radius, more float64) string {
	const sides = 180
	radius *= math.Sqrt(2 * math.Pi / sides / math.Sin(2*math.Pi/sides))
	s := b.Path.Segments[0]
	d := s.Dir
	from := s.From.Sub(d.Mul(more))
	return fmt.Sprintf("translate([%g, %g, %g]) rotate([0, %g, %g]) cylinder(h = %g, r = %g, $fn = %d);",
		from.X, from.Y, from.Z, math.Acos(d.Z)*180/math.Pi, math.Atan2(d.Y, d.X)*180/math.Pi, s.Length+2*more, radius, sides)
}

// volume of a closed ASCII STL, mm3.
func volume(t *testing.T, stl string) float64 {
	var corners []r3.Vector
	for line := range strings.Lines(stl) {
		var p r3.Vector
		if n, _ := fmt.Sscanf(strings.TrimSpace(line), "vertex %g %g %g", &p.X, &p.Y, &p.Z); n == 3 {
			corners = append(corners, p)
		}
	}
	require.NotEmpty(t, corners)
	sum := 0.0
	for i := 0; i+2 < len(corners); i += 3 {
		sum += corners[i].Dot(corners[i+1].Cross(corners[i+2])) / 6
	}
	return sum
}
