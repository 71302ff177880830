package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// alignedJob is the room's job with its scan turned: the scan's y points forward
// and its x to the right, and the car's origin is at (100, 200, 0) of the scan.
// What it draws is in the scan's axes.
const alignedJob = `
sketch_frame = "scan"
[shell.align]
mode = "axes"
up = "+z"
front = "+y"
origin = [100, 200, 0]
[[shell.cut]]
name = "corner"
sphere = { centre = [1200, 700, 0], radius = 300 }
[[keepout]]
name = "seat"
mesh = "seat.stl"
[[keepout]]
name = "helmet"
sphere = { centre = [100, 500, 900], radius = 100 }
`

func TestScanFrame(t *testing.T) {
	dir := roomDir(t)
	require.NoError(t, writeRoom(filepath.Join(dir, "seat.stl"), 10))
	head, rest, _ := strings.Cut(alignedJob, "[shell.align]")
	text := strings.Replace(roomJob, "[shell]\n", strings.TrimSpace(head)+"\n[shell]\n", 1)
	text = strings.Replace(text, "mirror = \"self\"\n", "", 1)
	name := filepath.Join(dir, "aligned.toml")
	require.NoError(t, os.WriteFile(name, []byte(text+"[shell.align]"+rest), 0o666))

	j, err := loadJob(name)
	require.NoError(t, err)
	p := newProgress(io.Discard)
	defer p.end()
	in, err := loadInput(context.Background(), j, name, p)
	require.NoError(t, err)

	// Forward is what was y less 200, left is 100 less what was x.
	same := func(want, got r3.Vector) { t.Helper(); assert.InDelta(t, 0, got.Sub(want).Norm(), 1e-9) }
	same(r3.Vector{X: -700 - 200, Y: 100 - 1200}, in.scan.Bounds().Min)
	same(r3.Vector{X: 700 - 200, Y: 100 + 1200, Z: 1200}, in.scan.Bounds().Max)
	same(r3.Vector{X: -600 - 200, Y: 100}, in.job.Bars[0].Sketch[0])
	same(r3.Vector{X: 300, Z: 900}, in.job.Keepouts[1].Sphere.Centre)
	same(r3.Vector{X: -70 - 200, Y: 100 - 120}, in.keepouts["seat.stl"].Bounds().Min)
	require.Len(t, in.cuts, 1)
	assert.Positive(t, in.cuts[0].Removed)
	corner := r3.Vector{X: 700 - 200, Y: 100 - 1200}
	for _, v := range in.scan.Vertices {
		assert.Greater(t, v.Sub(corner).Norm(), 150.0, "the corner is cut away")
	}
	require.NotNil(t, in.found)
}
