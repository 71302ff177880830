package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/golang/geo/s1"
	"github.com/urfave/cli/v2"

	"barwright/export"
	"barwright/export/draw"
	"barwright/export/sheet"
	"barwright/export/table"
	"barwright/fit/tube"
)

// papers that sheets can be cut into, by the names that --paper takes.
var papers = []draw.Paper{draw.A4, draw.A3, draw.Letter, draw.Whole}

// paperNames lists them for messages.
const paperNames = "A4, A3, Letter or whole"

func gaugeCommand() *cli.Command {
	return &cli.Command{
		Name:      "gauge",
		Usage:     "draw a bend of each die in true size, to lay a tube on",
		ArgsUsage: "JOB.toml | --od 44.45 --clr 152.4",
		Description: strings.TrimSpace(`
Example:

   barwright gauge job.toml --paper A3
   barwright gauge --od 1.75 --clr 6 --units in --paper Letter

Writes for each die of the job, or for the one given with --od and --clr,
gauge-DIE.pdf, .svg and .dxf to the folder DIR, and .stl to print in 3D. Before a
gauge is used, measure the 100 mm line on its page.

The gauge on paper shows the edges of the tube in a bend, with degrees: a bend
that is laid on it shows its angle, and whether its radius is that of the die. The
printed one is a plate whose round edge fits the inside of the bend, with a notch
at every 10 degrees. It goes over 90 degrees, or less where it would be larger than
200 mm.`),
		Flags: []cli.Flag{
			&cli.Float64Flag{Name: "od", Usage: "outside diameter of the tube, `LENGTH`"},
			&cli.Float64Flag{Name: "clr", Usage: "radius of the bend's centreline, `LENGTH`"},
			&cli.Float64Flag{Name: "max-angle", Usage: "largest bend in `DEGREES`; goes with --od", Value: 180},
			&cli.StringFlag{Name: "units", Usage: "unit of --od and --clr: mm or in", Value: "mm"},
			&cli.StringFlag{Name: "paper", Usage: "`PAPER` of the PDF: " + paperNames, Value: "A4"},
			&cli.StringFlag{Name: "out", Usage: "write to the folder `DIR`", Value: "gauge"},
		},
		Action: runGauge,
	}
}

func runGauge(c *cli.Context) error {
	paper, err := paperFlag(c)
	if err != nil {
		return err
	}
	dir := c.String("out")
	if dir == "" {
		return usageError("gauge: --out is empty")
	}
	dies, l, err := gaugeDies(c)
	if err != nil {
		return err
	}
	if err := export.Check(dir); err != nil {
		return err
	}
	files, err := sheet.GaugeFiles(dies, paper, l.inches)
	if err != nil {
		return err
	}
	if err := writeFiles(c.Context, dir, files); err != nil {
		return err
	}
	out := &printer{w: c.App.Writer}
	rows := [][]string{{"die", "tube " + l.unit(), "CLR " + l.unit(), "on paper", "in 3D"}}
	exact := func(mm float64) string {
		if l.inches {
			mm /= mmPerInch
		}
		return fmt.Sprintf("%.6g", mm)
	}
	degrees := func(a s1.Angle) string {
		if a == 0 {
			return "-"
		}
		return table.Fixed(tube.Degrees(a), 0) + " deg"
	}
	for _, d := range dies {
		rows = append(rows, []string{oneLine(d.Name), exact(d.OD), exact(d.CLR), degrees(d.MaxAngle), degrees(sheet.GaugeSpan(d, d.OD))})
	}
	out.printf("%s\n%s in %s\n", align(rows, "lrrrr"), counted(len(files), "file"), oneLine(dir))
	out.printf("print the PDF at actual size (100 %%) and measure its 100 mm line before you trust the gauge\n")
	return out.err
}

// paperFlag reads --paper.
func paperFlag(c *cli.Context) (draw.Paper, error) {
	if p, ok := paperNamed(c.String("paper")); ok {
		return p, nil
	}
	return draw.Paper{}, usageError("%s: --paper %q is not %s", c.Command.Name, c.String("paper"), paperNames)
}

// paperNamed returns the paper of that name, in whatever case.
func paperNamed(name string) (draw.Paper, bool) {
	for _, p := range papers {
		if strings.EqualFold(p.Name, name) {
			return p, true
		}
	}
	return draw.Paper{}, false
}

// gaugeDies returns the dies of the job, or the one that the options describe.
func gaugeDies(c *cli.Context) ([]*tube.Die, lengths, error) {
	if c.NArg() > 0 {
		for _, name := range []string{"od", "clr", "max-angle", "units"} {
			if c.IsSet(name) {
				return nil, lengths{}, usageError("gauge: --%s does not go with a job, which has dies of its own", name)
			}
		}
		name, err := oneArg(c, "JOB.toml")
		if err != nil {
			return nil, lengths{}, err
		}
		j, err := loadJob(name)
		if err != nil {
			return nil, lengths{}, err
		}
		if len(j.Dies) == 0 {
			return nil, lengths{}, fmt.Errorf("%s: %w", name, errNoDie)
		}
		return j.Dies, lengthsOf(j), nil
	}
	var l lengths
	unit := 1.0
	switch c.String("units") {
	case "mm":
	case "in":
		l.inches, unit = true, mmPerInch
	default:
		return nil, l, usageError("gauge: --units %q is not mm or in", c.String("units"))
	}
	for _, name := range []string{"od", "clr"} {
		switch v := c.Float64(name); {
		case !c.IsSet(name):
			return nil, l, usageError("gauge: JOB.toml, or --od and --clr, is missing: there is no --%s", name)
		case !(v > 0 && v*unit <= maxGauge):
			return nil, l, usageError("gauge: --%s %v is no size of a tube or a bend", name, v)
		}
	}
	top := c.Float64("max-angle")
	if !(top > 0 && top <= 180) {
		return nil, l, usageError("gauge: --max-angle %v is not over 0 and up to 180", top)
	}
	od, clr := c.Float64("od"), c.Float64("clr")
	if clr <= od/2 {
		return nil, l, usageError("gauge: --clr %v leaves no inside to the bend of a tube of %v: it must be over %v", clr, od, od/2)
	}
	return []*tube.Die{{
		Name: fmt.Sprintf("%v x %v", od, clr), OD: od * unit, CLR: clr * unit, MaxAngle: s1.Angle(top) * s1.Degree,
	}}, l, nil
}

// maxGauge bounds --od and --clr, in mm: a larger bend is a slip of the unit.
const maxGauge = 5000

// errNoDie: a job in which nothing is bent.
var errNoDie = errors.New("the job has no die")
