package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"barwright/export"
	"barwright/fit/job"
	"barwright/fit/stock"
	"barwright/mesh"
	"barwright/mesh/sample"
)

//go:embed demo.toml
var demoJob []byte

// The files of the demo.
const (
	demoScanName = "coupe.stl"
	demoJobName  = "job.toml"
	demoOutName  = "out"
)

// errDemoChanged: a file of an earlier demo is not as the demo wrote it.
var errDemoChanged = errors.New("is there already and differs from the demo's")

func demoCommand() *cli.Command {
	return &cli.Command{
		Name:      "demo",
		Usage:     "fit a cage to an invented coupe, to see what comes out",
		ArgsUsage: " ",
		Description: strings.TrimSpace(`
Example:

   barwright demo --out my-demo

Writes an invented scan (coupe.stl), a job for it (job.toml) and the output
folder of the fit (out) to DIR. Then change job.toml and try

   barwright fit my-demo/job.toml --out my-demo/out`),
		Flags: append([]cli.Flag{
			&cli.StringFlag{Name: "out", Usage: "write to the folder `DIR`", Value: "barwright-demo"},
		}, fitFlags()...),
		Action: runDemo,
	}
}

func runDemo(c *cli.Context) error {
	if c.NArg() > 0 {
		return tooMany(c, 0)
	}
	dir := c.String("out")
	if dir == "" {
		return usageError("demo: --out is empty")
	}
	opt, err := fitOptions(c)
	if err != nil {
		return err
	}
	p := newProgress(c.App.ErrWriter)
	defer p.end()
	j, err := job.Parse(demoJobName, demoJob)
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	p.stage("making the scan")
	scan, err := demoScan(0)
	if err != nil {
		return err
	}
	// Everything that can be refused is, before the work.
	inputs := []struct {
		name string
		data []byte
	}{{demoScanName, scan}, {demoJobName, demoJob}}
	for _, in := range inputs {
		if err := unchanged(filepath.Join(dir, in.name), in.data); err != nil {
			return err
		}
	}
	out := filepath.Join(dir, demoOutName)
	if err := export.Check(out); err != nil {
		return err
	}
	in, err := demoInput(c.Context, j, scan)
	if err != nil {
		return err
	}
	cage, err := in.fit(c.Context, opt, p)
	if err != nil {
		return err
	}
	// From here on there is no more to be said than that the disk is full.
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for _, in := range inputs {
		if err := replaceFile(filepath.Join(dir, in.name), in.data); err != nil {
			return err
		}
	}
	metal := stock.ForCage(cage, j, 0)
	files, err := writeSet(c.Context, out, cage, j, metal, p)
	if err != nil {
		return err
	}
	p.end()
	return conclude(c, in, cage, metal, out, files)
}

// demoScan makes the demo's scan of about so many triangles (0: 200,000), as a
// binary STL file.
func demoScan(triangles int) ([]byte, error) {
	m := sample.NewCoupe(sample.CoupeOptions{Triangles: triangles}).Scan(sample.Dirt{Sigma: 0.5, Spikes: 6, Islands: 3, Holes: 8, Seed: 1})
	var b bytes.Buffer
	err := mesh.WriteSTL(&b, "invented coupe", m)
	return b.Bytes(), err
}

// demoInput reads the demo's scan as fit reads it from the disk.
func demoInput(ctx context.Context, j *job.Job, scan []byte) (*input, error) {
	unit, err := mesh.ParseUnit(string(j.Shell.Unit))
	if err != nil {
		return nil, err
	}
	in := &input{job: j}
	in.scan, in.report, err = mesh.Read(bytes.NewReader(scan), mesh.ReadOptions{Name: demoScanName, Unit: unit})
	if err != nil {
		return nil, err
	}
	in.notes = in.report.Notes
	return in, ctx.Err()
}

// unchanged is an error unless the file is not there or holds data.
func unchanged(name string, data []byte) error {
	info, err := os.Stat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return &fileError{what: name, err: err}
	}
	if info.Mode().IsRegular() && info.Size() == int64(len(data)) {
		old, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		if bytes.Equal(old, data) {
			return nil
		}
	}
	return fmt.Errorf("%s %w", name, errDemoChanged)
}

// replaceFile writes a file beside and renames it into place.
func replaceFile(name string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Chmod(0o644), f.Close()); err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
