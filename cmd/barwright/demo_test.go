package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/stock"
)

// The demo on a scan of a sixth of its size: nothing but notes (and a spike
// of the scan beside a tube), joints that can be welded, and the same bytes from one worker as from two. BARWRIGHT_FULL=1
// takes the scan as it is.
func TestDemo(t *testing.T) {
	triangles := 35000
	if os.Getenv("BARWRIGHT_FULL") != "" {
		triangles = 0
	} else if testing.Short() {
		t.Skip("fits a cage of twenty bars twice")
	}
	j, err := job.Parse(demoJobName, demoJob)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(j.Bars), 12)
	scan, err := demoScan(triangles)
	require.NoError(t, err)
	ctx := context.Background()
	var trees [2]map[string]string
	for i := range trees {
		p := newProgress(io.Discard)
		in, err := demoInput(ctx, j, scan)
		require.NoError(t, err)
		cage, err := in.fit(ctx, fit.Options{Workers: i + 1}, p)
		require.NoError(t, err)
		p.end()
		for _, f := range cage.Findings {
			// The spikes of the small scan are elsewhere, and one is near a tube. The
			// side bars sit on the hoop's corners, which are bends, and plates of the
			// size that rules ask for find no room on its sills.
			if f.Rule != "joint" && f.Rule != "landing" && (f.Rule != "scan-accuracy" || triangles == 0) {
				assert.Equal(t, fit.Note, f.Severity, "%s %s: %s", f.Bar, f.Rule, f.Message)
			}
			assert.NotEqual(t, fit.Error, f.Severity)
		}
		t.Chdir(t.TempDir()) // so that files have the same names
		_, err = writeSet(ctx, "out", cage, j, stock.ForCage(cage, j, 0), p)
		require.NoError(t, err)
		trees[i] = tree(t, "out")
	}
	assert.Greater(t, len(trees[0]), 20)
	for name, data := range trees[0] {
		assert.True(t, data == trees[1][name], "%s depends on the number of workers", name)
	}
	assert.Len(t, trees[1], len(trees[0]))
	for name, angle := range landingAngles(t, trees[0][filepath.Join("out", "cage.json")]) {
		assert.GreaterOrEqual(t, angle, 30.0, name)
	}
}

// landingAngles works out from cage.json alone how steeply bars meet, in degrees.
func landingAngles(t *testing.T, cage string) map[string]float64 {
	t.Helper()
	type point [3]float64
	var c struct {
		Bars []struct {
			Name  string    `json:"name"`
			Ends  [2]string `json:"ends"`
			Nodes []point   `json:"nodes_mm"`
			Path  []struct {
				From   point  `json:"from_mm"`
				To     point  `json:"to_mm"`
				Kind   string `json:"kind"`
				Centre point  `json:"centre_mm"`
				Axis   point  `json:"axis"`
			} `json:"path"`
		} `json:"bars"`
	}
	require.NoError(t, json.Unmarshal([]byte(cage), &c))
	sub := func(a, b point) point { return point{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
	dot := func(a, b point) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
	scale := func(a point, s float64) point { return point{a[0] * s, a[1] * s, a[2] * s} }
	cross := func(a, b point) point {
		return point{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
	}
	norm := func(a point) float64 { return math.Sqrt(dot(a, a)) }
	out := map[string]float64{}
	for _, b := range c.Bars {
		for e, node := range []point{b.Nodes[0], b.Nodes[len(b.Nodes)-1]} {
			next := b.Nodes[1]
			if e == 1 {
				next = b.Nodes[len(b.Nodes)-2]
			}
			for _, target := range c.Bars {
				if target.Name != b.Ends[e] {
					continue
				}
				// The direction of the segment on which the node lies.
				least, along := math.Inf(1), point{}
				for _, s := range target.Path {
					chord := sub(s.To, s.From)
					share := dot(sub(node, s.From), chord) / dot(chord, chord)
					if share < 0 || share > 1 {
						continue
					}
					off, dir := norm(sub(sub(node, s.From), scale(chord, share))), chord
					if s.Kind == "arc" {
						spoke := sub(node, s.Centre)
						off, dir = math.Abs(norm(spoke)-norm(sub(s.From, s.Centre))), cross(s.Axis, spoke)
					}
					if off < least {
						least, along = off, dir
					}
				}
				require.Less(t, least, 0.2, "%s on %s", b.Name, target.Name)
				out[b.Name+" on "+target.Name+" "+"AB"[e:e+1]] = 180 / math.Pi * math.Acos(math.Abs(dot(sub(next, node), along))/(norm(sub(next, node))*norm(along)))
			}
		}
	}
	require.Greater(t, len(out), 20)
	return out
}

// The whole command at full size, as the README says it.
func TestDemoCommand(t *testing.T) {
	if os.Getenv("BARWRIGHT_FULL") == "" {
		t.Skip("runs the demo; set BARWRIGHT_FULL=1")
	}
	t.Chdir(t.TempDir())
	var stdout, stderr bytes.Buffer
	assert.Equal(t, exitDone, run(context.Background(), []string{"barwright", "demo"}, nil, &stdout, &stderr), stderr.String())
	assert.Contains(t, stdout.String(), "findings: 0 errors, 0 warnings")
	first := tree(t, ".")
	// The job that it wrote gives the same again.
	assert.Equal(t, exitDone, run(context.Background(), []string{"barwright", "fit", "barwright-demo/job.toml", "--out", "barwright-demo/out", "--workers", "1"}, nil, io.Discard, io.Discard))
	assert.Equal(t, first, tree(t, "."))
}
