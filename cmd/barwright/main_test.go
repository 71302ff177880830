package main

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/golang/geo/r3"
	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/mesh"
	"barwright/mesh/sample"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"barwright": func() { os.Exit(program()) }})
}

// TestScripts runs testdata/script: the whole command, failures included.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// room FILE [SCALE | turned] writes the scan of a closed invented room, 2.4 x
			// 1.4 x 1.2 m, in mm over SCALE or standing on its end.
			"room": func(ts *testscript.TestScript, neg bool, args []string) {
				scale := 1.0
				if len(args) == 2 && args[1] == "turned" {
					ts.Check(writeTurnedRoom(ts.MkAbs(args[0])))
					return
				}
				if len(args) == 2 {
					var err error
					scale, err = strconv.ParseFloat(args[1], 64)
					ts.Check(err)
				}
				ts.Check(writeRoom(ts.MkAbs(args[0]), scale))
			},
			// exit CODE COMMAND... runs a command that must end with that code.
			"exit": func(ts *testscript.TestScript, neg bool, args []string) {
				err := ts.Exec(args[1], args[2:]...)
				code := 0
				if err != nil {
					var ended *exec.ExitError
					if !asExit(err, &ended) {
						ts.Fatalf("%v", err)
					}
					code = ended.ExitCode()
				}
				if fmt.Sprint(code) != args[0] {
					ts.Fatalf("exit code is %d, not %s", code, args[0])
				}
			},
			// one-line FILE: the file is a single line, and perhaps a hint. Signs of
			// life, which a busy machine gives after a second, do not count.
			"one-line": func(ts *testscript.TestScript, neg bool, args []string) {
				lines := strings.Split(strings.TrimSuffix(ts.ReadFile(args[0]), "\n"), "\n")
				lines = slices.DeleteFunc(lines, func(l string) bool {
					return strings.HasPrefix(l, "preparing the scan: ") || strings.HasPrefix(l, "reading ")
				})
				if len(lines) == 2 && strings.HasPrefix(lines[1], "hint: ") {
					lines = lines[:1]
				}
				if len(lines) != 1 || lines[0] == "" {
					ts.Fatalf("not one line of failure:\n%s", strings.Join(lines, "\n"))
				}
			},
		},
	})
}

func asExit(err error, target **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*target = e
	return ok
}

func writeRoom(name string, scale float64) error {
	return writeMoved(name, func(v r3.Vector) r3.Vector { return v.Mul(1 / scale) })
}

func writeTurnedRoom(name string) error {
	return writeMoved(name, func(v r3.Vector) r3.Vector { return r3.Vector{X: v.Y, Y: v.Z, Z: v.X} })
}

func writeMoved(name string, move func(r3.Vector) r3.Vector) error {
	m := sample.Box(2400, 1400, 1200, 120).Mesh
	scaled := &mesh.Mesh{Triangles: m.Triangles}
	for _, v := range m.Vertices {
		scaled.Vertices = append(scaled.Vertices, move(v))
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	defer f.Close()
	return mesh.WriteSTL(f, "room", scaled)
}

const roomJob = `
title = "room"
units = "mm"
[shell]
file = "room.stl"
units = "mm"
clearance = 20
[die.d45]
od = 45
clr = 135
[tube.main]
od = 45
wall = 2.5
die = "d45"
material = "1020 DOM"
[[bar]]
name = "hoop"
tube = "main"
sketch = [[0, -600, 0], [0, -600, 1100], [0, 600, 1100], [0, 600, 0]]
ends = ["shell", "shell"]
mirror = "self"
flat = true
`

// roomDir makes a folder with a job and its scan.
func roomDir(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, writeRoom(filepath.Join(dir, "room.stl"), 1))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "job.toml"), []byte(roomJob), 0o666))
	return dir
}

func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		out[name] = string(data)
		return err
	}))
	return out
}

// countdown is a context that is interrupted when it has been asked so often
// whether it is.
type countdown struct {
	context.Context
	left   atomic.Int64
	cancel context.CancelFunc
}

func (c *countdown) Err() error {
	if c.left.Add(-1) < 0 {
		c.cancel()
	}
	return c.Context.Err()
}

func TestInterruptAnywhereKeepsOldOutput(t *testing.T) {
	dir := roomDir(t)
	out := filepath.Join(dir, "out")
	call := func(n int64) (int, string) {
		inner, cancel := context.WithCancel(context.Background())
		defer cancel()
		ctx := &countdown{Context: inner, cancel: cancel}
		ctx.left.Store(n)
		var stderr strings.Builder
		code := run(ctx, []string{"barwright", "fit", filepath.Join(dir, "job.toml"), "--out", out}, nil, io.Discard, &stderr)
		return code, stderr.String()
	}
	code, _ := call(1 << 40)
	require.Equal(t, exitDone, code)
	// A changed job, so that the new output would differ.
	changed := strings.Replace(roomJob, "clearance = 20", "clearance = 30", 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "job.toml"), []byte(changed), 0o666))
	before := tree(t, dir)
	interrupted := 0
	for n := int64(0); ; n = n*3 + 1 {
		code, stderr := call(n)
		if code == exitDone {
			break
		}
		require.Equal(t, exitInterrupted, code, "after %d", n)
		require.True(t, strings.HasSuffix(stderr, "barwright: interrupted; files are as they were\n"), stderr)
		require.Equal(t, before, tree(t, dir), "after %d", n)
		interrupted++
	}
	assert.Greater(t, interrupted, 3)
	assert.NotEqual(t, before, tree(t, dir))
}

func TestInterruptSignal(t *testing.T) {
	if testing.Short() {
		t.Skip("needs a run of over a second")
	}
	dir := t.TempDir()
	program, err := exec.LookPath("barwright") // put into PATH by testscript.Main
	require.NoError(t, err)
	command := exec.Command(program, "demo", "--out", filepath.Join(dir, "demo"), "--workers", "1")
	stderr, err := command.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, command.Start())
	first := make([]byte, 1)
	_, err = stderr.Read(first) // the first line of progress comes after a second
	require.NoError(t, err)
	require.NoError(t, command.Process.Signal(os.Interrupt))
	rest, err := io.ReadAll(stderr)
	require.NoError(t, err)
	err = command.Wait()
	var ended *exec.ExitError
	require.ErrorAs(t, err, &ended)
	assert.Equal(t, exitInterrupted, ended.ExitCode())
	assert.Contains(t, string(rest), "barwright: interrupted")
	assert.Empty(t, tree(t, dir), "nothing was written")
}

// The output does not depend on the number of workers, nor on the run.
func TestSameInputSameBytes(t *testing.T) {
	dir := roomDir(t)
	var stdout [3]strings.Builder
	var trees [3]map[string]string
	for i, workers := range []string{"1", "1", "4"} {
		out := filepath.Join(dir, "out")
		code := run(context.Background(), []string{"barwright", "fit", filepath.Join(dir, "job.toml"), "--workers", workers, "--out=" + out}, nil, &stdout[i], io.Discard)
		require.Equal(t, exitDone, code)
		trees[i] = tree(t, out)
	}
	for i := 1; i < 3; i++ {
		assert.Equal(t, trees[0], trees[i])
		assert.Equal(t, stdout[0].String(), stdout[i].String())
	}
}

// full is a pipe whose reader has gone.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, fs.ErrClosed }

func TestFailureToPrintIsAFailure(t *testing.T) {
	dir := roomDir(t)
	code := run(context.Background(), []string{"barwright", "inspect", filepath.Join(dir, "room.stl")}, nil, full{}, io.Discard)
	assert.Equal(t, exitFailed, code)
}

func TestArrange(t *testing.T) {
	app := newApp()
	for in, want := range map[string]string{
		"b":                            "b",
		"b --help":                     "b --help",
		"b other x --out y":            "b other x --out y",
		"b fit job --out dir":          "b fit --out dir -- job",
		"b fit job --out=dir --bends":  "b fit --out=dir --bends -- job",
		"b fit --bends job -out dir x": "b fit --bends -out dir -- job x",
		"b fit job --out":              "b fit --out",
		"b fit -- -job.toml":           "b fit -- -job.toml",
		"b fit job --nope":             "b fit --nope -- job",
		"b inspect - --workers 3":      "b inspect --workers 3 -- -",
	} {
		assert.Equal(t, want, strings.Join(arrange(app, strings.Fields(in)), " "), in)
	}
}

func TestProgressIsQuietThenSparing(t *testing.T) {
	var out strings.Builder
	p := newProgress(&out)
	p.end() // stops its own ticker: time is in the test's hands
	p.ended = false
	clock := time.Unix(1e9, 0)
	p.now = func() time.Time { return clock }
	p.begun, p.next, p.alive = clock, clock.Add(quiet), clock.Add(lively)
	wait := func(d time.Duration) { clock = clock.Add(d); p.tick() }

	p.stage("early")
	assert.Empty(t, out.String(), "nothing within the first second")
	wait(quiet)
	assert.Empty(t, out.String(), "a tick says nothing new")
	p.prepare("caps", 0.5)
	p.prepare("caps", 0.6) // too soon
	wait(2 * quiet)
	p.stage("a\x1b[2Jname\nwith codes")
	wait(lively - quiet)
	wait(2 * quiet) // eleven seconds without a line: a sign of life
	wait(quiet)
	assert.Equal(t, "preparing the scan: caps (50 of 100)\na [2Jname with codes\na [2Jname with codes, for 11 s now\n", out.String())

	out.Reset()
	p.terminal = true
	p.prepare("inside", 0.3)
	wait(quiet)
	assert.Contains(t, out.String(), "preparing the scan: inside")
	assert.Contains(t, out.String(), " 1 s")
	assert.Contains(t, out.String(), "30%")
}

func TestMeterCountsBytes(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "scan.stl"))
	require.NoError(t, err)
	defer f.Close()
	_, err = f.WriteString(strings.Repeat("x", 1000))
	require.NoError(t, err)
	p := newProgress(io.Discard)
	defer p.end()
	m := newMeter(f, "scan.stl", p)
	_, err = m.Seek(100, io.SeekStart)
	require.NoError(t, err)
	_, err = io.ReadFull(m, make([]byte, 200))
	require.NoError(t, err)
	assert.Equal(t, state{"reading scan.stl", 30, 100}, p.at)
}
