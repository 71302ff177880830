package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"barwright/fit"
	"barwright/fit/check"
	"barwright/fit/job"
	"barwright/mesh"
)

// maxJob bounds the size of a job file, in bytes. A hundred bars take about
// 50 kB.
const maxJob = 4 << 20

// loadJob reads and parses a job file.
func loadJob(name string) (*job.Job, error) {
	what := fmt.Sprintf("job %q", name)
	f, err := os.Open(name)
	if err != nil {
		return nil, &fileError{what: what, err: err}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxJob+1))
	if err != nil {
		return nil, &fileError{what: what, err: err}
	}
	if len(data) > maxJob {
		return nil, &fileError{what: what, err: fmt.Errorf("over %d MB, which no job file is", maxJob>>20)}
	}
	return job.Parse(name, data)
}

// loadMesh reads a mesh file. jobName is the job that names it, "" for none.
func loadMesh(what, name, jobName string, unit mesh.Unit, p *progress) (*mesh.Mesh, *mesh.Report, error) {
	wrap := func(err error) error {
		return &fileError{what: fmt.Sprintf("%s %q", what, name), job: jobName, err: err}
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, nil, wrap(err)
	}
	defer f.Close()
	m, report, err := mesh.Read(newMeter(f, name, p), mesh.ReadOptions{Name: filepath.Base(name), Unit: unit})
	if err != nil {
		// The reader's message names the file and the place in it.
		return nil, nil, &fileError{what: what, job: jobName, err: err}
	}
	return m, report, nil
}

// beside returns a file's name as seen from the working folder, given as a job
// file names it.
func beside(jobName, name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(jobName), name)
}

// input is what a fit works on.
type input struct {
	job      *job.Job
	scan     *mesh.Mesh
	report   *mesh.Report
	keepouts map[string]*mesh.Mesh // by the file name as written in the job
	notes    []string              // what is odd about the scan
}

// loadInput reads the scan and the keep-out meshes that a job names.
func loadInput(ctx context.Context, j *job.Job, jobName string, p *progress) (*input, error) {
	unit, err := mesh.ParseUnit(string(j.Shell.Unit))
	if err != nil {
		return nil, err
	}
	in := &input{job: j, keepouts: map[string]*mesh.Mesh{}}
	p.stage("reading " + j.Shell.File)
	in.scan, in.report, err = loadMesh("scan", beside(jobName, j.Shell.File), jobName, unit, p)
	if err != nil {
		return nil, err
	}
	in.notes = in.report.Notes
	for _, k := range j.Keepouts {
		if k.Mesh == "" {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p.stage("reading " + k.Mesh)
		// A seat or a helmet is no cabin, so its unit can't be guessed from its
		// size; it is taken to be in the scan's unit.
		in.keepouts[k.Mesh], _, err = loadMesh(fmt.Sprintf("keep-out %q:", k.Name), beside(jobName, k.Mesh), jobName, in.report.Unit, p)
		if err != nil {
			return nil, err
		}
	}
	return in, ctx.Err()
}

// prepare makes a shell of the scan.
func (in *input) prepare(ctx context.Context, workers int, p *progress) (*mesh.Shell, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	shell, err := mesh.Prepare(ctx, in.scan, mesh.PrepareOptions{
		Seeds:        fit.Seeds(in.job, in.scan.Bounds()),
		KeepSuspects: in.job.Shell.KeepSuspects,
		Accuracy:     in.job.Shell.Accuracy,
		Workers:      workers,
		Progress:     p.prepare,
	})
	if err != nil {
		return nil, &shellError{scan: in.job.Shell.File, size: in.scan.Bounds().Size(), err: err}
	}
	in.notes = append(in.notes, shell.Notes...)
	return shell, nil
}

// fit fits the bars and gathers all findings.
func (in *input) fit(ctx context.Context, opt fit.Options, p *progress) (*fit.Cage, error) {
	shell, err := in.prepare(ctx, opt.Workers, p)
	if err != nil {
		return nil, err
	}
	opt.Keepouts, opt.Progress = in.keepouts, p.event
	cage, err := fit.Fit(ctx, in.job, shell, opt)
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err // the bars are the best so far, not the answer
	}
	p.stage("checking")
	cage.Shell.File = in.job.Shell.File
	cage.Shell.Triangles = in.report.Triangles
	cage.Shell.Unit = job.Unit(in.report.Unit.String())
	cage.Findings = check.Cage(cage, in.job, shell, check.Options{Keepouts: in.keepouts, Workers: opt.Workers})
	return cage, ctx.Err()
}

// errNoScan is the cause where inspect is given something that is neither.
var errNoScan = errors.New("neither a scan nor a job")
