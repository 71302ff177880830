package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/golang/geo/r3"
	"github.com/urfave/cli/v2"

	"barwright/fit/job"
	"barwright/mesh"
)

// cleanedName is the name of the solid in what clean writes, by which it knows
// its own files.
const cleanedName = "shell cleaned by barwright"

// errNotOurs: a file is there that this program didn't write.
var errNotOurs = errors.New("is there already, and clean did not write it")

// errIsInput: the output is the input.
var errIsInput = errors.New("is the scan itself")

func cleanCommand() *cli.Command {
	return &cli.Command{
		Name:      "clean",
		Usage:     "write a scan aligned and cleaned, for any other program",
		ArgsUsage: "SCAN | JOB.toml -o shell.stl",
		Description: strings.TrimSpace(`
Example:

   barwright clean scan.ply -o shell.stl --align auto --up +y --front -z

Writes a binary STL file in mm, in the car's axes: corners joined, loose bits left
out, spikes levelled, and without what the job cuts away. Holes stay open unless
--caps closes them as a fit does. All that is left out is listed.

A job says itself how its scan is aligned and cleaned. A scan alone is taken to
stand in the car's axes unless --align says otherwise.`),
		Flags: append([]cli.Flag{
			&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "write the STL `FILE`"},
			&cli.BoolFlag{Name: "caps", Usage: "close holes as a fit does"},
			&cli.BoolFlag{Name: "force", Usage: "replace FILE even if it isn't from clean"},
			&cli.IntFlag{Name: "workers", Usage: "use `N` threads; 0: one per core"},
		}, scanFlags()...),
		Action: runClean,
	}
}

// scanFlags say about a scan by itself what a job says about its own.
func scanFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "units", Usage: "unit of a scan: auto, mm, cm, m or in", Value: "auto"},
		&cli.StringFlag{Name: "align", Usage: "turn a scan into the car's axes: none, axes or auto", Value: "none"},
		&cli.StringFlag{Name: "up", Usage: "`AXIS` of the scan that points up, +x to -z"},
		&cli.StringFlag{Name: "front", Usage: "`AXIS` of the scan that points forward, +x to -z"},
		&cli.StringFlag{Name: "inside", Usage: "a point in open cabin air, `X,Y,Z` in mm in the car's axes; none: the scan's middle"},
	}
}

// jobOfScan makes of a scan's options the job that says the same.
func jobOfScan(c *cli.Context, name string) (*job.Job, error) {
	unit, err := mesh.ParseUnit(c.String("units"))
	if err != nil {
		return nil, usageError("%s: --units: %w", c.Command.Name, err)
	}
	j := &job.Job{
		Title: filepath.Base(name), Unit: job.MM, File: name, SketchFrame: job.CarFrame,
		Shell: job.Shell{File: filepath.Base(name), Unit: job.Unit(unit.String())},
	}
	axis := func(flag string) (string, error) {
		text := c.String(flag)
		if text != "" && (len(text) != 2 || !strings.Contains("+-", text[:1]) || !strings.Contains("xyz", text[1:])) {
			return "", usageError("%s: --%s %q is not an axis: +x, -x, +y, -y, +z or -z", c.Command.Name, flag, text)
		}
		return text, nil
	}
	up, err := axis("up")
	if err != nil {
		return nil, err
	}
	front, err := axis("front")
	if err != nil {
		return nil, err
	}
	switch mode := c.String("align"); {
	case mode == "none" && up+front != "":
		return nil, usageError("%s: --up and --front go with --align", c.Command.Name)
	case mode == "none":
	case mode == "axes" && (up == "" || front == ""):
		return nil, usageError("%s: --align axes needs --up and --front", c.Command.Name)
	case mode == "axes" && up[1] == front[1]:
		return nil, usageError("%s: --up %s and --front %s are along the same axis", c.Command.Name, up, front)
	case mode == "axes" || mode == "auto":
		j.Shell.Align = &job.Align{Mode: job.AlignMode(mode), Up: up, Front: front}
	default:
		return nil, usageError("%s: --align %q is not none, axes or auto", c.Command.Name, mode)
	}
	if text := c.String("inside"); text != "" {
		var p r3.Vector
		if n, err := fmt.Sscanf(text+";", "%g,%g,%g;", &p.X, &p.Y, &p.Z); n != 3 || err != nil {
			return nil, usageError("%s: --inside %q is not a point such as 0,0,700", c.Command.Name, text)
		}
		j.Shell.Inside = &p
	}
	return j, nil
}

// refuseScanFlags is an error where an option for scans is set beside a job.
func refuseScanFlags(c *cli.Context) error {
	for _, flag := range scanFlags() {
		if name := flag.Names()[0]; c.IsSet(name) {
			return usageError("%s: --%s goes with a scan; a job says so itself", c.Command.Name, name)
		}
	}
	return nil
}

func runClean(c *cli.Context) error {
	name, err := oneArg(c, "SCAN or JOB.toml")
	if err != nil {
		return err
	}
	workers, err := count(c, "workers", maxWorkers)
	if err != nil {
		return err
	}
	to := c.String("output")
	if to == "" {
		return usageError("clean: -o FILE is missing")
	}
	if !strings.EqualFold(filepath.Ext(to), ".stl") {
		return usageError("clean: -o %q: the name must end in .stl, for that is what is written", to)
	}
	var j *job.Job
	scan := name
	if isJob(name) {
		if err = refuseScanFlags(c); err == nil {
			j, err = loadJob(name)
		}
		if err == nil {
			scan = beside(name, j.Shell.File)
		}
	} else {
		j, err = jobOfScan(c, name)
	}
	if err != nil {
		return err
	}
	if err := mayReplace(to, scan, c.Bool("force")); err != nil { // before the work
		return err
	}
	p := newProgress(c.App.ErrWriter)
	defer p.end()
	in, err := loadInput(c.Context, j, name, p)
	if err != nil {
		return err
	}
	shell, err := in.prepare(c.Context, workers, p)
	if err != nil {
		return err
	}
	shell = shell.Full()
	cleaned := shell.Used
	if !c.Bool("caps") {
		cleaned, _ = sheetAndCaps(shell)
	}
	if err := c.Context.Err(); err != nil {
		return err
	}
	p.stage("writing " + to)
	if err := putFile(to, func(w io.Writer) error { return mesh.WriteSTL(w, cleanedName, cleaned) }); err != nil {
		return &fileError{what: to, err: err}
	}
	p.end()

	l := lengthsOf(j)
	out := &printer{w: c.App.Writer}
	printFrame(out, in.found, l)
	printCuts(out, in.cuts)
	printSuspects(out, shell.Suspects, l)
	printCaps(out, shell.Caps, l)
	if !c.Bool("caps") && len(shell.Caps) > 0 {
		out.printf("they are left open here: --caps closes them\n")
	}
	for _, note := range in.notes {
		out.printf("note: %s\n", oneLine(l.text(note)))
	}
	out.printf("\n%s triangles in %s, mm, in the car's axes\n", fmt.Sprint(len(cleaned.Triangles)), oneLine(to))
	return out.err
}

// isJob tells a job from a scan by its name.
func isJob(name string) bool { return strings.EqualFold(filepath.Ext(name), ".toml") }

// sheetAndCaps returns a shell's sheet metal and caps as meshes of their own.
func sheetAndCaps(s *mesh.Shell) (sheet, caps *mesh.Mesh) {
	sheet = &mesh.Mesh{Vertices: s.Used.Vertices}
	caps = &mesh.Mesh{Vertices: s.Used.Vertices}
	for t, tri := range s.Used.Triangles {
		if s.IsCap(int32(t)) {
			caps.Triangles = append(caps.Triangles, tri)
		} else {
			sheet.Triangles = append(sheet.Triangles, tri)
		}
	}
	return sheet, caps
}

// mayReplace is an error where writing the file to would destroy what is not
// this command's: the scan, whatever the force, or any file that clean has not
// written.
func mayReplace(to, scan string, force bool) error {
	info, err := os.Stat(to)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return &fileError{what: to, err: err}
	}
	if input, err := os.Stat(scan); err == nil && os.SameFile(info, input) {
		return fmt.Errorf("%s %w", to, errIsInput)
	}
	if !info.Mode().IsRegular() {
		return fmt.Errorf("%s is not a file", to)
	}
	if force {
		return nil
	}
	f, err := os.Open(to)
	if err != nil {
		return &fileError{what: to, err: err}
	}
	defer f.Close()
	head := make([]byte, 80)
	if _, err := io.ReadFull(f, head); err != nil || !bytes.Contains(head, []byte(cleanedName)) {
		return fmt.Errorf("%s %w", to, errNotOurs)
	}
	return nil
}

// putFile writes a file beside and renames it into place.
func putFile(name string, fill func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	b := bufio.NewWriter(f)
	if err = fill(b); err == nil {
		err = b.Flush()
	}
	if err = errors.Join(err, f.Chmod(0o644), f.Close()); err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
