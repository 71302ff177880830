package main

import (
	"strings"

	"github.com/urfave/cli/v2"

	"barwright/export"
	"barwright/export/table"
	"barwright/fit"
	"barwright/fit/stock"
)

// Bounds of what --workers and --starts take: far above what makes sense, far
// below what would exhaust memory.
const (
	maxWorkers = 1024
	maxStarts  = 1000
)

func fitFlags() []cli.Flag {
	return []cli.Flag{
		&cli.IntFlag{Name: "workers", Usage: "use `N` threads; 0: one per core. Results do not depend on it"},
		&cli.IntFlag{Name: "starts", Usage: "start the search for each bar from `N` places; 0: as many as the bar asks for"},
		&cli.BoolFlag{Name: "bends", Usage: "print the bend tables too"},
		&cli.BoolFlag{Name: "all", Usage: "print all findings, also those that follow from another bar's failure"},
	}
}

func fitOptions(c *cli.Context) (opt fit.Options, err error) {
	if opt.Workers, err = count(c, "workers", maxWorkers); err != nil {
		return opt, err
	}
	opt.Starts, err = count(c, "starts", maxStarts)
	return opt, err
}

func fitCommand() *cli.Command {
	return &cli.Command{
		Name:      "fit",
		Usage:     "fit the bars of a job to its scan and write the output folder",
		ArgsUsage: "JOB.toml --out DIR",
		Description: strings.TrimSpace(`
Example:

   barwright fit job.toml --out out

DIR gets cage.json, bends.csv, bars.csv and models/*.stl. It is replaced as a
whole once all is done, and only if it is empty or holds an unchanged earlier
output. Exit code 3: everything was written, but there are findings of severity
error.`),
		Flags: append([]cli.Flag{
			&cli.StringFlag{Name: "out", Usage: "write to the folder `DIR`"},
		}, fitFlags()...),
		Action: runFit,
	}
}

func runFit(c *cli.Context) error {
	name, err := oneArg(c, "JOB.toml")
	if err != nil {
		return err
	}
	dir := c.String("out")
	if dir == "" {
		return usageError("fit: --out DIR is missing")
	}
	opt, err := fitOptions(c)
	if err != nil {
		return err
	}
	p := newProgress(c.App.ErrWriter)
	defer p.end()
	j, err := loadJob(name)
	if err != nil {
		return err
	}
	if err := export.Check(dir); err != nil { // before the work, not after it
		return err
	}
	in, err := loadInput(c.Context, j, name, p)
	if err != nil {
		return err
	}
	if in.found != nil && !in.found.Sure {
		// Metal is not cut by a guess.
		return &fileError{what: "[shell.align]", job: name, err: errUnsure}
	}
	cage, err := in.fit(c.Context, opt, p)
	if err != nil {
		return err
	}
	metal := stock.ForCage(cage, j, 0)
	files, err := writeSet(c.Context, dir, cage, j, metal, p)
	if err != nil {
		return err
	}
	p.end()
	return conclude(c, in, cage, metal, dir, files)
}

// conclude prints the result of a fit. Its error is errFindings if there are
// findings of severity error.
func conclude(c *cli.Context, in *input, cage *fit.Cage, metal []stock.TubePlan, dir string, files int) error {
	out := &printer{w: c.App.Writer}
	out.err = printCage(c.App.Writer, cage, in.job, in.notes, c.Bool("bends"), c.Bool("all"))
	out.printf("\n")
	printMetal(out, metal, lengthsOf(in.job))
	out.printf("\n%s in %s\n", counted(files, "file"), oneLine(dir))
	if out.err != nil {
		return out.err
	}
	if table.CageStatus(cage) == table.Error {
		return errFindings
	}
	return nil
}

// printMetal says what to buy.
func printMetal(out *printer, metal []stock.TubePlan, l lengths) {
	for _, t := range metal {
		switch {
		case t.Err != nil:
			out.printf("metal: tube %q: %s\n", t.Tube.Name, oneLine(l.text(t.Err.Error())))
		case t.Plan != nil:
			word := "best found"
			if t.Plan.Proven {
				word = "proven least"
			}
			cost := ""
			if t.Plan.Priced {
				cost = ", price " + table.Fixed(t.Plan.Cost, 2)
			}
			out.printf("metal: tube %q: %s, %s %s bought for %s %s%s (%s)\n", t.Tube.Name, counted(len(t.Plan.Sticks), "stick"),
				l.format(t.Plan.Bought), l.unit(), l.format(t.Need), l.unit(), cost, word)
		}
	}
}
