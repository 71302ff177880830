package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/golang/geo/s1"
	"github.com/urfave/cli/v2"

	"barwright/export"
	"barwright/export/section"
	"barwright/export/sheet"
	"barwright/export/table"
	"barwright/fit"
	"barwright/mesh"
)

// cageName is the file of an output folder that holds everything.
const cageName = "cage.json"

// maxLean bounds --lean, in degrees: beyond it the plane is rather a level one.
const maxLean = 60

func sectionCommand() *cli.Command {
	return &cli.Command{
		Name:      "section",
		Usage:     "cut a scan by a plane and draw the outline in true size",
		ArgsUsage: "SCAN | JOB.toml --x 250 [--lean 8]",
		Description: strings.TrimSpace(`
Example:

   barwright section job.toml --x 250 --lean 8 --fitted out --out section

Writes section.svg and section.dxf, both in true size, and section.png, to look
at, to the folder DIR. Give one of --x, --y and --z: where the plane stands in the
car's axes, in the job's unit (a scan: mm). --lean tilts a plane across x about
the floor level z = 0. Or give --bar, a hoop of the fit: the plane is its own, and
the drawing a template of it.

A scan is cut as it stands in its file. A job's scan is cut as a fit takes it:
aligned, cleaned, holes closed by caps, which are drawn dashed. --fitted adds the
bars of a fit: what the plane cuts of them, and the outline of a hoop that lies
in the plane.`),
		Flags: []cli.Flag{
			&cli.Float64Flag{Name: "x", Usage: "cut across the car at `X`"},
			&cli.Float64Flag{Name: "y", Usage: "cut along the car at `Y`"},
			&cli.Float64Flag{Name: "z", Usage: "cut level at `Z`"},
			&cli.Float64Flag{Name: "lean", Usage: "tilt the plane across x by `DEGREES`, positive: its top to the rear"},
			&cli.StringFlag{Name: "bar", Usage: "cut in the plane of the fitted hoop `NAME`; needs --fitted"},
			&cli.StringFlag{Name: "fitted", Usage: "also cut the bars in `OUT`, the output folder of a fit"},
			&cli.StringFlag{Name: "out", Usage: "write to the folder `DIR`", Value: "section"},
			&cli.StringFlag{Name: "units", Usage: "unit of a scan: auto, mm, cm, m or in", Value: "auto"},
			&cli.IntFlag{Name: "workers", Usage: "use `N` threads; 0: one per core"},
		},
		Action: runSection,
	}
}

func runSection(c *cli.Context) error {
	name, err := oneArg(c, "SCAN or JOB.toml")
	if err != nil {
		return err
	}
	workers, err := count(c, "workers", maxWorkers)
	if err != nil {
		return err
	}
	where, err := planeFlags(c)
	if err != nil {
		return err
	}
	dir := c.String("out")
	if dir == "" {
		return usageError("section: --out is empty")
	}
	if err := export.Check(dir); err != nil { // before the work, not after it
		return err
	}
	var cage *fit.Cage
	if c.IsSet("fitted") {
		if cage, err = loadCage(c.String("fitted")); err != nil {
			return err
		}
	}
	p := newProgress(c.App.ErrWriter)
	defer p.end()
	s, err := loadSource(c, name, workers, p)
	if err != nil {
		return err
	}
	p.stage("cutting")
	scale := 1.0
	if s.lengths.inches && s.isJob {
		scale = mmPerInch
	}
	plane, err := where.plane(scale, cage)
	if err != nil {
		return err
	}
	drawing, err := section.Cut(s.title, plane, s.sheet, s.caps, cage)
	if errors.Is(err, section.ErrEmpty) {
		box := s.sheet.Bounds()
		return fmt.Errorf("the plane %s meets nothing: the scan reaches from %s to %s %s",
			plane.Name(s.lengths.inches), s.lengths.point(box.Min.X, box.Min.Y, box.Min.Z), s.lengths.point(box.Max.X, box.Max.Y, box.Max.Z), s.lengths.unit())
	}
	if err != nil {
		return err
	}
	drawing.Inches = s.lengths.inches
	p.stage("writing " + dir)
	if err := writeFiles(c.Context, dir, sectionFiles(drawing)); err != nil {
		return err
	}
	p.end()
	out := &printer{w: c.App.Writer}
	printSection(out, drawing, s.lengths)
	out.printf("\nsection.svg, section.dxf and section.png in %s\n", oneLine(dir))
	out.printf("for a first template, print section.svg at actual size (100 %%), measure its 100 mm line, stick it on board and cut along the outline\n")
	return out.err
}

// cutAt is what the options say about the plane, in the job's unit.
type cutAt struct {
	axis string
	at   float64
	lean s1.Angle
	bar  string // instead of the others
}

func planeFlags(c *cli.Context) (cutAt, error) {
	var where cutAt
	for _, axis := range []string{"x", "y", "z"} {
		if !c.IsSet(axis) {
			continue
		}
		if where.axis != "" {
			return where, usageError("section: --%s and --%s: one plane at a time", where.axis, axis)
		}
		where.axis, where.at = axis, c.Float64(axis)
	}
	lean := c.Float64("lean")
	where.bar = c.String("bar")
	switch {
	case c.IsSet("bar"):
		switch {
		case where.axis != "":
			return where, usageError("section: --bar and --%s: one plane at a time", where.axis)
		case c.IsSet("lean"):
			return where, usageError("section: --lean goes with --x")
		case !c.IsSet("fitted"):
			return where, usageError("section: --bar needs --fitted")
		}
		return where, nil
	case where.axis == "":
		return where, usageError("section: where to cut is missing: --x, --y, --z or --bar")
	case math.IsNaN(where.at) || math.Abs(where.at) > 1e6:
		return where, usageError("section: --%s %v is not a place in a car", where.axis, where.at)
	case where.axis != "x" && c.IsSet("lean"):
		return where, usageError("section: --lean goes with --x")
	case !(math.Abs(lean) <= maxLean):
		return where, usageError("section: --lean %v is not from -%d to %d", lean, maxLean, maxLean)
	}
	where.lean = s1.Angle(lean) * s1.Degree
	return where, nil
}

// plane returns the plane; scale is the job's unit in mm.
func (w cutAt) plane(scale float64, cage *fit.Cage) (section.Plane, error) {
	switch w.axis {
	case "x":
		return section.AcrossX(w.at*scale, w.lean), nil
	case "y":
		return section.AcrossY(w.at * scale), nil
	case "z":
		return section.AcrossZ(w.at * scale), nil
	}
	for _, b := range cage.Bars {
		if b.Name == w.bar {
			plane, err := section.PlaneOf(b)
			if err != nil {
				return plane, fmt.Errorf("bar %q: %w", b.Name, err)
			}
			return plane, nil
		}
	}
	return section.Plane{}, fmt.Errorf("the fit has no bar %q", w.bar)
}

// loadCage reads the bars of a fit from its output folder, or from its cage.json.
func loadCage(name string) (*fit.Cage, error) {
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		name = filepath.Join(name, cageName)
	}
	what := fmt.Sprintf("fitted bars %q", name)
	f, err := os.Open(name)
	if err != nil {
		return nil, &fileError{what: what, err: err}
	}
	defer f.Close()
	cage, err := table.ReadCage(f)
	if err != nil {
		return nil, &fileError{what: what, err: err}
	}
	return cage, nil
}

// source is a scan to be cut: as it stands in its file, or as a job's fit takes
// it.
type source struct {
	title       string
	isJob       bool
	sheet, caps *mesh.Mesh // caps: nil for a scan
	lengths     lengths
}

func loadSource(c *cli.Context, name string, workers int, p *progress) (*source, error) {
	if !isJob(name) {
		unit, err := mesh.ParseUnit(c.String("units"))
		if err != nil {
			return nil, usageError("%s: --units: %w", c.Command.Name, err)
		}
		p.stage("reading " + name)
		m, report, err := loadMesh("scan", name, "", unit, p)
		if err != nil {
			return nil, err
		}
		return &source{title: filepath.Base(name), sheet: m, lengths: lengths{inches: report.Unit == mesh.Inch}}, c.Context.Err()
	}
	if c.IsSet("units") {
		return nil, usageError("%s: --units goes with a scan; a job names the unit of its own", c.Command.Name)
	}
	j, err := loadJob(name)
	if err != nil {
		return nil, err
	}
	in, err := loadInput(c.Context, j, name, p)
	if err != nil {
		return nil, err
	}
	shell, err := in.prepare(c.Context, workers, p)
	if err != nil {
		return nil, err
	}
	s := &source{title: j.Title, isJob: true, lengths: lengthsOf(j)}
	s.sheet, s.caps = sheetAndCaps(shell.Full())
	return s, c.Context.Err()
}

// sectionFiles are a drawing as SVG, DXF and PNG.
func sectionFiles(d *section.Drawing) []sheet.File {
	var files []sheet.File
	for _, f := range []struct {
		name  string
		write func(io.Writer, *section.Drawing) error
	}{{"section.svg", section.WriteSVG}, {"section.dxf", section.WriteDXF}, {"section.png", section.WritePNG}} {
		files = append(files, sheet.File{Name: f.name, Write: func(w io.Writer) error { return f.write(w, d) }})
	}
	return files
}

func printSection(out *printer, d *section.Drawing, l lengths) {
	out.printf("section at %s, %s\n", d.Plane.Name(d.Inches), d.Plane.View)
	rows := [][]string{{"", "lines", "length " + l.unit(), "width", "height"}}
	row := func(name string, lines []section.Line) {
		if len(lines) > 0 {
			size := section.Bounds(lines).Size()
			rows = append(rows, []string{name, fmt.Sprint(len(lines)), l.format(section.Length(lines)), l.format(size.X), l.format(size.Y)})
		}
	}
	row("shell", d.Shell)
	row("caps, no sheet metal", d.Caps)
	for _, b := range d.Bars {
		row(oneLine(b.Name), b.Outline)
	}
	out.printf("%s", align(rows, "lrrrr"))
}
