package stock

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit/tube"
)

// The same problem written down as an integer program over all fillings and
// solved by GLPK (Debian: glpk-utils), which shares nothing with this package.
func TestAgainstGLPK(t *testing.T) {
	glpsol, err := exec.LookPath("glpsol")
	if err != nil || os.Getenv("BARWRIGHT_FULL") != "1" {
		t.Skip("needs BARWRIGHT_FULL=1 and glpsol of Debian's glpk-utils")
	}
	for _, kind := range []string{"one length", "two lengths", "three lengths", "three prices", "offcuts"} {
		for seed := range 4 {
			pieces, sticks := cagePieces(13, seed), cageSticks[kind]
			p, err := Pack(pieces, sticks, Options{Kerf: 2})
			require.NoError(t, err)
			require.True(t, p.Proven)
			assert.InDelta(t, byGLPK(t, glpsol, pieces, sticks, 2), p.Cost, 1e-3, "%s, seed %d", kind, seed)
		}
	}
	h1 := published[0]
	assert.InDelta(t, 73*5600, byGLPK(t, glpsol, h1.pieces, endless(5600), 0), 1e-3)
}

// byGLPK returns the least cost.
func byGLPK(t *testing.T, glpsol string, pieces []Piece, sticks []tube.Stick, kerf float64) float64 {
	var goal, rows, whole bytes.Buffer
	cover := make([]bytes.Buffer, len(pieces))
	used := make([]bytes.Buffer, len(sticks))
	n := 0
	for k, s := range sticks {
		cost := s.Length
		if s.Price > 0 {
			cost = s.Price
		}
		counts := make([]int, len(pieces))
		var grow func(i int, room float64)
		grow = func(i int, room float64) {
			if i < len(pieces) {
				most := min(pieces[i].Count, int((room+1e-9)/(pieces[i].Length+kerf)))
				for c := most; c >= 0; c-- {
					counts[i] = c
					grow(i+1, room-float64(c)*(pieces[i].Length+kerf))
				}
				return
			}
			for j, p := range pieces { // only fillings to which nothing can be added
				if counts[j] < p.Count && p.Length+kerf <= room {
					return
				}
			}
			n++
			fmt.Fprintf(&goal, " + %g x%d\n", cost, n)
			fmt.Fprintf(&used[k], " + x%d\n", n)
			fmt.Fprintf(&whole, " x%d\n", n)
			for j, c := range counts {
				if c > 0 {
					fmt.Fprintf(&cover[j], " + %d x%d\n", c, n)
				}
			}
		}
		grow(0, s.Length+kerf)
	}
	for j := range cover {
		fmt.Fprintf(&rows, " p%d:%s >= %d\n", j, cover[j].String(), pieces[j].Count)
	}
	for k, s := range sticks {
		if s.Stock >= 0 && used[k].Len() > 0 {
			fmt.Fprintf(&rows, " s%d:%s <= %d\n", k, used[k].String(), s.Stock)
		}
	}
	model := fmt.Sprintf("Minimize\n obj:%sSubject To\n%sGeneral\n%sEnd\n", goal.String(), rows.String(), whole.String())
	dir := t.TempDir()
	in, out := filepath.Join(dir, "m.lp"), filepath.Join(dir, "m.txt")
	require.NoError(t, os.WriteFile(in, []byte(model), 0o600))
	log, err := exec.Command(glpsol, "--lp", in, "--cuts", "-o", out).CombinedOutput()
	require.NoError(t, err, string(log))
	report, err := os.ReadFile(out)
	require.NoError(t, err)
	require.Contains(t, string(report), "INTEGER OPTIMAL")
	value := regexp.MustCompile(`Objective:\s+obj = (\S+)`).FindSubmatch(report)
	require.NotNil(t, value)
	v, err := strconv.ParseFloat(string(value[1]), 64)
	require.NoError(t, err)
	return math.Round(v*1e4) / 1e4
}
