package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"github.com/urfave/cli/v2"
)

// Exit codes, as --help lists them.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitFindings    = 3
	exitInterrupted = 130
)

func main() { os.Exit(program()) }

// program runs the command on the process's own arguments and streams.
func program() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// The first interrupt ends the run in good order; from then on the next one
	// has its usual effect.
	context.AfterFunc(ctx, stop)
	return run(ctx, os.Args, os.Stdin, os.Stdout, os.Stderr)
}

// run runs the command with args (args[0] is the program) and returns its exit
// code. It never exits, and it uses no other streams.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	app := newApp()
	app.Reader, app.Writer, app.ErrWriter = stdin, stdout, stderr
	err := app.RunContext(ctx, arrange(app, args))
	return explain(ctx, stderr, err)
}

func newApp() *cli.App {
	app := &cli.App{
		Name:  "barwright",
		Usage: "fit the tubes of a safety cage to a scan of the body",
		Description: strings.TrimSpace(`
Try it with:

   barwright demo

Exit codes: 0 done, 1 failed, 2 wrong usage, 3 done but there are findings of
severity error, 130 interrupted.

barwright never says that a cage is safe or legal. Have yours checked against
the rule book in force by people who are entitled to, before it is welded.`),
		Commands:        []*cli.Command{demoCommand(), inspectCommand(), sectionCommand(), cleanCommand(), fitCommand(), testbendCommand(), gaugeCommand()},
		HideVersion:     true,
		HideHelpCommand: true,
		ExitErrHandler:  func(*cli.Context, error) {}, // run does it
		OnUsageError:    onUsageError,
		Action: func(c *cli.Context) error {
			if c.Args().Present() {
				return usageError("there is no command %q", c.Args().First())
			}
			if err := cli.ShowAppHelp(c); err != nil {
				return err
			}
			return usageError("no command given")
		},
	}
	for _, command := range app.Commands {
		command.OnUsageError = onUsageError
		command.HideHelpCommand = true
	}
	return app
}

func onUsageError(_ *cli.Context, err error, _ bool) error { return usageError("%w", err) }

// arrange moves the options of a command in front of its other arguments: the
// cli package takes everything after the first of those as it is. What comes
// after "--" stays where it is.
func arrange(app *cli.App, args []string) []string {
	if len(args) < 2 {
		return args
	}
	command := app.Command(args[1])
	if command == nil {
		return args
	}
	takesValue := map[string]bool{}
	for _, flag := range command.Flags {
		_, isBool := flag.(*cli.BoolFlag)
		for _, name := range flag.Names() {
			takesValue[name] = !isBool
		}
	}
	var options, others []string
	for rest := args[2:]; len(rest) > 0; rest = rest[1:] {
		arg := rest[0]
		if arg == "--" {
			others = append(others, rest[1:]...)
			break
		}
		if len(arg) < 2 || arg[0] != '-' {
			others = append(others, arg)
			continue
		}
		options = append(options, arg)
		if !takesValue[strings.TrimLeft(arg, "-")] {
			continue
		}
		if len(rest) == 1 { // its value is missing: the cli package says so
			return append(slices.Clone(args[:2]), options...)
		}
		rest = rest[1:]
		options = append(options, rest[0])
	}
	return slices.Concat(args[:2], options, []string{"--"}, others)
}

// oneArg returns the single argument that a command takes.
func oneArg(c *cli.Context, what string) (string, error) {
	switch {
	case c.NArg() == 0 || c.Args().First() == "":
		return "", usageError("%s: %s is missing", c.Command.Name, what)
	case c.NArg() > 1:
		return "", tooMany(c, 1)
	}
	return c.Args().First(), nil
}

func tooMany(c *cli.Context, wanted int) error {
	return usageError("%s: %q is one argument too many", c.Command.Name, c.Args().Get(wanted))
}

// count reads an option that counts something: 0, the default, to limit.
func count(c *cli.Context, name string, limit int) (int, error) {
	n := c.Int(name)
	if n < 0 || n > limit {
		return 0, usageError("%s: --%s %d is not from 0 to %d", c.Command.Name, name, n, limit)
	}
	return n, nil
}

// printer writes results. It keeps the first error, so that it has to be looked
// at only once.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) printf(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}
