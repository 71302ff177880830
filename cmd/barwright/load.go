package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"barwright/export/model"
	"barwright/fit"
	"barwright/fit/check"
	"barwright/fit/finish"
	"barwright/fit/job"
	"barwright/mesh"
	axes "barwright/mesh/align"
)

// maxJob bounds the size of a job file, in bytes. A hundred bars take about
// 50 kB.
const maxJob = 4 << 20

// maxSketch bounds the size of a sketch file, in bytes.
const maxSketch = 64 << 20

// loadJob reads and parses a job file and the sketch files that it names.
func loadJob(name string) (*job.Job, error) {
	data, err := readSmall(fmt.Sprintf("job %q", name), name, "", maxJob)
	if err != nil {
		return nil, err
	}
	j, err := job.Parse(name, data)
	if err != nil {
		return nil, err
	}
	for _, file := range j.SketchFiles() {
		data, err := readSmall(fmt.Sprintf("sketch %q", file), beside(name, file), name, maxSketch)
		if err != nil {
			return nil, err
		}
		if err := j.AttachSketches(file, data); err != nil {
			return nil, err
		}
	}
	return j, j.Finish()
}

// readSmall reads a file of at most limit bytes.
func readSmall(what, name, jobName string, limit int64) ([]byte, error) {
	wrap := func(err error) error { return &fileError{what: what, job: jobName, err: err} }
	f, err := os.Open(name)
	if err != nil {
		return nil, wrap(err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, wrap(err)
	}
	if int64(len(data)) > limit {
		return nil, wrap(fmt.Errorf("over %d MB, which no such file is", limit>>20))
	}
	return data, nil
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

// input is what a fit works on. Once it is settled, all of it is in the car's axes.
type input struct {
	job      *job.Job
	scan     *mesh.Mesh
	report   *mesh.Report
	frame    axes.Frame   // of the car, in scan coordinates
	found    *axes.Result // how the frame was found; nil: the job asks for none
	cuts     []removed
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
	in.notes = append(in.notes, j.Notes...)
	if err := in.settle(ctx, p); err != nil {
		return nil, err
	}
	return in, ctx.Err()
}

// removed says what a [[shell.cut]] took away.
type removed struct {
	name string
	mesh.CutCount
}

// cut takes away the regions that are given in that frame.
func (in *input) cut(frame job.Frame) error {
	var regions []mesh.Region
	for _, c := range in.job.Shell.Cuts {
		if c.Frame != frame {
			continue
		}
		r := mesh.Region{Name: c.Name}
		if c.Box != nil {
			r.Box = &mesh.Box{Min: c.Box.Min, Max: c.Box.Max}
		}
		if c.Sphere != nil {
			r.Sphere = &mesh.Sphere{Centre: c.Sphere.Centre, Radius: c.Sphere.Radius}
		}
		regions = append(regions, r)
	}
	if len(regions) == 0 {
		return nil
	}
	scan, counts, err := mesh.Cut(in.scan, regions)
	if err != nil {
		return &shellError{scan: in.job.Shell.File, size: in.scan.Bounds().Size(), err: err}
	}
	in.scan = scan
	for i, c := range counts {
		in.cuts = append(in.cuts, removed{regions[i].Name, c})
		if c.Removed == 0 {
			in.notes = append(in.notes, fmt.Sprintf("cut %q takes nothing away", regions[i].Name))
		}
	}
	return nil
}

// settle cuts the scan and brings everything into the car's axes.
func (in *input) settle(ctx context.Context, p *progress) error {
	if err := in.cut(job.ScanFrame); err != nil {
		return err
	}
	in.frame = axes.Identity()
	if in.job.Shell.Align != nil {
		p.stage("aligning the scan")
		found, err := axes.Align(ctx, in.scan, alignOptions(in.job.Shell.Align))
		if err != nil {
			return &fileError{what: "[shell.align]", job: in.job.File, err: err}
		}
		in.found, in.frame = &found, found.Frame
		in.scan = in.frame.Mesh(in.scan)
		for _, note := range found.Notes {
			in.notes = append(in.notes, "alignment: "+note)
		}
		if !found.Sure {
			in.notes = append(in.notes, "alignment: not sure of the car's axes: compare barwright inspect and a section with the car")
		}
	}
	if in.job.SketchFrame == job.ScanFrame {
		for name, m := range in.keepouts {
			in.keepouts[name] = in.frame.Mesh(m)
		}
	}
	in.job = in.job.InCarFrame(in.frame.Apply)
	if err := in.job.Finish(); err != nil {
		return err
	}
	return in.cut(job.CarFrame)
}

// alignOptions passes a job's [shell.align] on.
func alignOptions(a *job.Align) axes.Options {
	opt := axes.Options{Up: a.Up, Front: a.Front, Origin: a.Origin}
	switch a.Mode {
	case job.AlignAxes:
		opt.Mode = axes.Axes
	case job.AlignDatum:
		opt.Mode = axes.Datum
		copy(opt.Floor[:], a.Floor)
		opt.Left, opt.Right, opt.Ahead = *a.Left, *a.Right, *a.Ahead
	case job.AlignAuto:
		opt.Mode = axes.Auto
	}
	return opt
}

// reduce returns how far the scan may be off in exchange for fewer triangles,
// mm; 0: not at all.
func (in *input) reduce() float64 {
	switch {
	case in.job.Shell.Reduce != nil:
		return *in.job.Shell.Reduce
	case len(in.scan.Triangles) > job.AutoReduceAbove:
		return job.AutoReduce
	}
	return 0
}

// prepare makes a shell of the scan.
func (in *input) prepare(ctx context.Context, workers int, p *progress) (*mesh.Shell, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	drop := mesh.DropNormal
	if in.job.Shell.DropHard {
		drop = mesh.DropHard
	}
	shell, err := mesh.Prepare(ctx, in.scan, mesh.PrepareOptions{
		Seeds:        fit.Seeds(in.job, in.scan.Bounds()),
		KeepSuspects: in.job.Shell.KeepSuspects,
		KeepIslands:  in.job.Shell.KeepIslands,
		Drop:         drop,
		Reduce:       in.reduce(),
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
	err = finish.Cage(ctx, cage, in.job, shell, check.Options{Keepouts: in.keepouts, Workers: opt.Workers})
	if err != nil {
		return nil, err
	}
	cage.Findings = append(cage.Findings, model.Findings(cage)...)
	return cage, ctx.Err()
}

// errNoScan is the cause where inspect is given something that is neither.
var errNoScan = errors.New("neither a scan nor a job")
