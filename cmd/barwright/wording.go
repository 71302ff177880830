package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"unicode"

	"github.com/golang/geo/r3"

	"barwright/export"
	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/mesh"
)

// All that the command says about failures is in this file. Libraries return
// errors that say what is wrong; the hints that say what to do are added here.

// errFindings ends a run that is done but has findings of severity error.
var errFindings = errors.New("there are findings of severity error")

// usage is an error in how the command was called.
type usage struct{ err error }

func (u usage) Error() string { return u.err.Error() }
func (u usage) Unwrap() error { return u.err }

func usageError(format string, args ...any) error { return usage{fmt.Errorf(format, args...)} }

// fileError says which file of the job a failure is about.
type fileError struct {
	what string // `scan "cabin.stl"`
	job  string // the job file that names it; "" if it was given on the command line
	err  error
}

func (e *fileError) Error() string {
	text := e.what + ": " + plain(e.err)
	if e.job != "" {
		text += " (named in " + e.job + ")"
	}
	return text
}

func (e *fileError) Unwrap() error { return e.err }

// shellError: a scan was read but can't be worked with.
type shellError struct {
	scan string
	size r3.Vector // of the scan, mm
	err  error
}

func (e *shellError) Error() string { return fmt.Sprintf("scan %s: %v", e.scan, e.err) }
func (e *shellError) Unwrap() error { return e.err }

// counted gives "1 bar", "2 bars".
func counted(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// plain gives the text of an error of the file system without the path and the
// system call: the message around it names the file.
func plain(err error) string {
	if path, ok := err.(*fs.PathError); ok {
		return path.Err.Error()
	}
	return err.Error()
}

// explain prints what is to be said about the end of a run and returns its exit
// code.
func explain(ctx context.Context, w io.Writer, err error) int {
	var parse job.ParseErrors
	var wrong usage
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errFindings):
		return exitFindings
	case ctx.Err() != nil && (errors.Is(err, context.Canceled) || errors.Is(err, context.Cause(ctx))):
		fmt.Fprintln(w, "barwright: interrupted; files are as they were")
		return exitInterrupted
	case errors.As(err, &wrong):
		fmt.Fprintf(w, "barwright: %s\n", oneLine(wrong.Error()))
		fmt.Fprintln(w, "hint: barwright --help lists the commands, barwright COMMAND --help shows an example")
		return exitUsage
	case errors.As(err, &parse):
		// One line for each, so that an editor can jump to the place.
		for _, one := range parse {
			fmt.Fprintln(w, oneLine(one.Error()))
		}
	default:
		fmt.Fprintf(w, "barwright: %s\n", oneLine(err.Error()))
	}
	if h := hint(err); h != "" {
		fmt.Fprintf(w, "hint: %s\n", h)
	}
	return exitFailed
}

// errUnsure keeps a fit from being made in axes that were guessed.
var errUnsure = errors.New("the scan does not show the car's axes well enough to be sure of them")

// hint says what to do about a failure, or "".
func hint(err error) string {
	var parse job.ParseErrors
	var foreign *export.ForeignError
	var file *fileError
	var shell *shellError
	var contradiction *bender.Contradiction
	switch {
	case errors.As(err, &contradiction) && slices.ContainsFunc(contradiction.Faults, func(f bender.Fault) bool { return f.Missing }):
		return "barwright testbend --help shows what to measure, and how"
	case errors.As(err, &contradiction):
		return "measure again what is named; a piece that can't be measured again is better left out"
	case errors.As(err, &parse) && strings.Contains(parse.Error(), notTOML):
		return "numbers are written with a point and without a unit, texts in quotes, paths with /, one setting on a line; nothing was written"
	case errors.As(err, &parse):
		return "numbers behind the file name are line and column; nothing was written"
	case errors.As(err, &foreign) && foreign.Path == "":
		return "--out takes the name of a folder; choose another"
	case errors.As(err, &foreign):
		return "only an empty folder or an unchanged earlier output is replaced; move your files or choose another --out"
	case errors.Is(err, export.ErrInUse):
		return "choose a folder below it for --out"
	case errors.Is(err, mesh.ErrUnit) && errors.As(err, &file) && file.job != "":
		return `name the scan's unit: units = "mm", "cm", "m" or "in" under [shell]`
	case errors.Is(err, mesh.ErrUnit):
		return "name the scan's unit with --units mm, cm, m or in"
	case errors.Is(err, fs.ErrNotExist) && errors.As(err, &file) && file.job != "":
		return "file names in a job are relative to the job file"
	case errors.As(err, &shell) && !likeCabin(shell.size):
		return fmt.Sprintf("the scan is %.4g x %.4g x %.4g mm: is units under [shell] right?", shell.size.X, shell.size.Y, shell.size.Z)
	case errors.As(err, &shell) && askew(shell.size) != "":
		return askew(shell.size)
	case errors.As(err, &shell):
		return "inside under [shell] (without a job, --inside) names a point in open cabin air; barwright inspect tells more about the scan"
	case errors.Is(err, errDemoChanged):
		return "the demo does not overwrite your edits; choose another --out"
	case errors.Is(err, errUnsure):
		return `look at barwright inspect and a section, then give the axes yourself: mode = "datum" with points, or mode = "axes"`
	case errors.Is(err, errNotOurs):
		return "choose another name for -o, or say --force"
	case errors.Is(err, errIsInput):
		return "choose another name for -o: the scan is never written over"
	case errors.Is(err, errNoDie):
		return "give one with --od and --clr instead of the job"
	case errors.Is(err, errNoScan):
		return "a scan is an STL, PLY or OBJ file, a job a text file whose name ends in .toml"
	}
	return ""
}

// notTOML is in the message of a job file that is not even TOML.
const notTOML = "not valid TOML"

// likeCabin tells whether a scan may be a cabin's or a whole car's: 0.5 to 10 m
// long.
func likeCabin(size r3.Vector) bool {
	longest := max(size.X, size.Y, size.Z)
	return longest > 500 && longest < 10000
}

// askew says that a scan of this size does not stand in the car's axes, or "". A
// cabin that is cut off short may be wider than long, but never taller.
func askew(size r3.Vector) string {
	switch {
	case size.Z > size.X || size.Z > size.Y:
		return "the scan is taller than it is long or wide: z must point up, x forward and y to the left"
	case size.Y > 1.3*size.X:
		return "the scan is much wider than long: x must point forward, y to the left and z up"
	}
	return ""
}

// oneLine makes text safe to print as one line: what is not printable, such as
// control codes from a file's name or content, becomes a blank.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, strings.TrimSpace(text))
}
