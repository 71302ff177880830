package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"github.com/golang/geo/r3"
	"github.com/urfave/cli/v2"

	"barwright/export/table"
	"barwright/mesh"
	axes "barwright/mesh/align"
)

func inspectCommand() *cli.Command {
	return &cli.Command{
		Name:      "inspect",
		Usage:     "say what a scan holds and what is wrong with it",
		ArgsUsage: "SCAN | JOB.toml",
		Description: strings.TrimSpace(`
Example:

   barwright inspect cabin.stl --units mm

It says where the car's axes may lie in the scan, how sure that is, and how the
left side differs from the right. Given a job, it looks at the job's scan as a
fit would: it also says how noisy the scan is, which parts of it would be left
out or closed, and how much of the cabin has no surface.`),
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "units", Usage: "unit of a scan: auto, mm, cm, m or in", Value: "auto"},
			&cli.IntFlag{Name: "workers", Usage: "use `N` threads; 0: one per core"},
		},
		Action: runInspect,
	}
}

func runInspect(c *cli.Context) error {
	name, err := oneArg(c, "SCAN.stl or JOB.toml")
	if err != nil {
		return err
	}
	workers, err := count(c, "workers", maxWorkers)
	if err != nil {
		return err
	}
	p := newProgress(c.App.ErrWriter)
	defer p.end()
	if strings.EqualFold(filepath.Ext(name), ".toml") {
		if c.IsSet("units") {
			return usageError("inspect: --units goes with a scan; a job names the unit of its own")
		}
		return inspectJob(c, name, workers, p)
	}
	unit, err := mesh.ParseUnit(c.String("units"))
	if err != nil {
		return usageError("inspect: --units: %w", err)
	}
	p.stage("reading " + name)
	m, report, err := loadMesh("scan", name, "", unit, p)
	if err != nil {
		return err
	}
	p.stage("looking for the car's axes")
	found, err := axes.Align(c.Context, m, axes.Options{Mode: axes.Auto})
	if err != nil {
		return err
	}
	p.end()
	l := lengths{inches: report.Unit == mesh.Inch}
	out := &printer{w: c.App.Writer}
	printScan(out, name, m, report, l)
	out.printf("\nas mode = \"auto\" under [shell.align] would turn it, with nothing said about up and front:\n")
	printFrame(out, &found, l)
	for _, note := range found.Notes {
		out.printf("note: %s\n", oneLine(l.text(note)))
	}
	return out.err
}

func inspectJob(c *cli.Context, name string, workers int, p *progress) error {
	j, err := loadJob(name)
	if err != nil {
		return err
	}
	in, err := loadInput(c.Context, j, name, p)
	if err != nil {
		return err
	}
	shell, err := in.prepare(c.Context, workers, p)
	if err != nil {
		return err
	}
	p.end()
	l := lengthsOf(j)
	out := &printer{w: c.App.Writer}
	out.printf("job: %s, %s, %s\n", oneLine(j.Title), counted(len(j.Bars), "bar"), counted(len(j.Keepouts), "keep-out"))
	printFrame(out, in.found, l)
	printCuts(out, in.cuts)
	printScan(out, j.Shell.File, in.scan, in.report, l)
	out.printf("noise: one sigma %s %s\n", l.format(shell.Noise), l.unit())
	if full := shell.Full(); full != shell {
		out.printf("fitted to %d triangles, within %s %s of the scan; certified against all\n",
			len(shell.Used.Triangles), l.format(shell.ReducedBy), l.unit())
	}
	printSuspects(out, shell.Suspects, l)
	printCaps(out, shell.Caps, l)
	out.printf("no sheet metal: %s %% of the directions from inside the cabin\n", table.Fixed(100*shell.Open, 1))
	for _, note := range in.notes[len(in.report.Notes):] { // those of the report are above
		out.printf("note: %s\n", oneLine(l.text(note)))
	}
	return out.err
}

// printFrame says how a scan is turned into the car's axes, and how sure that is;
// nil: it is not.
func printFrame(out *printer, f *axes.Result, l lengths) {
	if f == nil {
		return
	}
	sure := "sure"
	if !f.Sure {
		sure = "NOT SURE: see the notes"
	}
	out.printf("car's axes in the scan: %s\n", sure)
	rows := [][]string{{"axis", "x", "y", "z"}}
	for _, axis := range []struct {
		name string
		v    r3.Vector
	}{{"x (forward)", f.Frame.X}, {"y (left)", f.Frame.Y}, {"z (up)", f.Frame.Z}} {
		rows = append(rows, []string{axis.name, table.Fixed(axis.v.X, 6), table.Fixed(axis.v.Y, 6), table.Fixed(axis.v.Z, 6)})
	}
	o := f.Frame.Origin
	rows = append(rows, []string{"origin " + l.unit(), l.format(o.X), l.format(o.Y), l.format(o.Z)})
	out.printf("%s", align(rows, "lrrr"))
	if f.UpResidual > 0 {
		out.printf("up: floor flat to %s %s", l.format(f.UpResidual), l.unit())
		if f.FloorShare > 0 {
			out.printf(" over %s %% of the surface", table.Fixed(100*f.FloorShare, 1))
		}
		if f.UpSigma > 0 {
			out.printf(", one sigma %s degrees", table.Fixed(f.UpSigma.Degrees(), 3))
		}
		out.printf("\n")
	}
	if f.MirrorOverlap > 0 {
		out.printf("middle: left and right agree to %s %s on %s %% of the surface", l.format(f.MirrorResidual), l.unit(), table.Fixed(100*f.MirrorOverlap, 1))
		if f.PlaneAngleSigma > 0 {
			out.printf(", one sigma %s %s and %s degrees", l.format(f.PlaneSigma), l.unit(), table.Fixed(f.PlaneAngleSigma.Degrees(), 3))
		}
		out.printf("\n")
	}
}

func printCuts(out *printer, cuts []removed) {
	if len(cuts) == 0 {
		return
	}
	rows := [][]string{{"cut away", "triangles", "area m2", "across its border"}}
	for _, c := range cuts {
		rows = append(rows, []string{oneLine(c.name), fmt.Sprint(c.Removed), table.Fixed(c.Area/1e6, 3), fmt.Sprint(c.Across)})
	}
	out.printf("%s", align(rows, "lrrr"))
}

// maxListed is how many pieces of a scan are listed one by one.
const maxListed = 10

func printSuspects(out *printer, suspects []mesh.Suspect, l lengths) {
	out.printf("%s that a fit leaves out and then checks\n", counted(len(suspects), "suspect"))
	if len(suspects) == 0 {
		return
	}
	rows := [][]string{{"suspect", "size " + l.unit(), "height " + l.unit(), "at"}}
	for _, s := range suspects[:min(len(suspects), maxListed)] {
		rows = append(rows, []string{s.Kind, l.format(s.Size), l.format(s.Height), l.point(s.At.X, s.At.Y, s.At.Z)})
	}
	out.printf("%s", align(rows, "lrrl"))
	printMore(out, len(suspects))
}

func printCaps(out *printer, caps []mesh.Cap, l lengths) {
	out.printf("%s over openings, which a fit takes for closed\n", counted(len(caps), "cap"))
	if len(caps) == 0 {
		return
	}
	rows := [][]string{{"cap area m2", "size " + l.unit(), "middle"}}
	for _, c := range caps[:min(len(caps), maxListed)] {
		rows = append(rows, []string{table.Fixed(c.Area/1e6, 3), l.format(c.Bounds.Size().Norm()), l.point(c.Centre.X, c.Centre.Y, c.Centre.Z)})
	}
	out.printf("%s", align(rows, "rrl"))
	printMore(out, len(caps))
}

func printMore(out *printer, n int) {
	if n > maxListed {
		out.printf("and %d more\n", n-maxListed)
	}
}

func printScan(out *printer, name string, m *mesh.Mesh, r *mesh.Report, l lengths) {
	guessed := ""
	if r.UnitGuessed {
		guessed = " (guessed)"
	}
	box := m.Bounds()
	out.printf("%s: %s, %d triangles, unit %s%s\n", oneLine(name), r.Format, r.Triangles, r.Unit, guessed)
	rows := [][]string{{"extent " + l.unit(), "from", "to", "length"}}
	for _, axis := range []struct {
		name     string
		from, to float64
	}{
		{"x (forward)", box.Min.X, box.Max.X}, {"y (left)", box.Min.Y, box.Max.Y}, {"z (up)", box.Min.Z, box.Max.Z},
	} {
		rows = append(rows, []string{axis.name, l.format(axis.from), l.format(axis.to), l.format(axis.to - axis.from)})
	}
	out.printf("%s", align(rows, "lrrr"))
	out.printf("left out: %d degenerate and %d duplicate triangles; %d vertices joined with a near one\n", r.Degenerate, r.Duplicate, r.Welded)

	pieces := mesh.Components(m)
	open := 0
	for _, piece := range pieces {
		open += piece.OpenEdges
	}
	out.printf("pieces: %d; open edges: %d; edges of more than two triangles: %d\n", len(pieces), open, mesh.NonManifoldEdges(m))
	if len(pieces) > 1 {
		rows := [][]string{{"piece", "triangles", "area m2", "size " + l.unit(), "open edges", "middle"}}
		for i, piece := range pieces[:min(len(pieces), maxListed)] {
			mid := piece.Bounds.Min.Add(piece.Bounds.Max).Mul(0.5)
			rows = append(rows, []string{
				fmt.Sprint(i + 1), fmt.Sprint(len(piece.Triangles)), table.Fixed(piece.Area/1e6, 3), l.format(piece.Size),
				fmt.Sprint(piece.OpenEdges), l.point(mid.X, mid.Y, mid.Z),
			})
		}
		out.printf("%s", align(rows, "rrrrrl"))
		printMore(out, len(pieces))
	}
	printLeftRight(out, mesh.Asymmetry(m, nil), l)
	if a := askew(box.Size()); a != "" && likeCabin(box.Size()) {
		out.printf("note: %s\n", a)
	}
	for _, note := range r.Notes {
		out.printf("note: %s\n", oneLine(note))
	}
}

// printLeftRight says how the two sides differ. The figures are small only if the
// scan stands in the car's axes.
func printLeftRight(out *printer, a mesh.LeftRight, l lengths) {
	if a.Samples == 0 {
		out.printf("asymmetry about y = 0: nothing has a counterpart on the other side\n")
		return
	}
	out.printf("asymmetry about y = 0: %s %s typical, 95 %% within %s %s, worst area %s %s at %s; %s %% of the surface has no counterpart\n",
		l.format(a.Median), l.unit(), l.format(a.P95), l.unit(), l.format(a.Worst), l.unit(), l.point(a.At.X, a.At.Y, a.At.Z), table.Fixed(100*a.Alone, 1))
}
