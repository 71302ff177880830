package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"barwright/fit"
)

// quiet is how long a run stays silent, and then how long between two lines on
// a pipe.
const quiet = time.Second

// progress shows on stderr how far a run is: a bar on a terminal, else a line
// now and then. Runs under a second show nothing. Its methods may be called
// from any goroutine.
type progress struct {
	w        io.Writer
	terminal bool

	mu   sync.Mutex
	next time.Time // when the next line may be printed
	last string
	bar  *progressbar.ProgressBar
}

func newProgress(w io.Writer) *progress {
	p := &progress{w: w, next: time.Now().Add(quiet)}
	if f, ok := w.(*os.File); ok {
		info, err := f.Stat()
		p.terminal = err == nil && info.Mode()&os.ModeCharDevice != 0
	}
	return p
}

// stage says what the run is at.
func (p *progress) stage(what string) { p.show(what, -1, 100) }

// prepare says how much of the scan's preparation is done, 0 to 1.
func (p *progress) prepare(what string, done float64) {
	p.show("preparing the scan: "+what, int(100*done), 100)
}

// event tells of a fit.
func (p *progress) event(e fit.Event) {
	what := e.Stage
	if e.Bar != "" {
		what += " " + e.Bar
	}
	p.show(what, e.Done, e.Total)
}

func (p *progress) show(what string, done, total int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	if now.Before(p.next) {
		return
	}
	what = oneLine(what)
	if p.terminal {
		p.next = now.Add(quiet / 10)
		p.draw(what, done, total)
		return
	}
	line := what
	if done >= 0 {
		line += fmt.Sprintf(" (%d of %d)", done, total)
	}
	if line == p.last {
		return
	}
	p.last, p.next = line, now.Add(quiet)
	fmt.Fprintln(p.w, line)
}

// draw shows a bar. Failing to is no reason to end a run.
func (p *progress) draw(what string, done, total int) {
	if p.bar == nil {
		p.bar = progressbar.NewOptions(total,
			progressbar.OptionSetWriter(p.w),
			progressbar.OptionSetWidth(30),
			progressbar.OptionClearOnFinish(),
			progressbar.OptionSetPredictTime(false),
			progressbar.OptionSetElapsedTime(false))
	}
	p.bar.Describe(fmt.Sprintf("%-40.40s", what))
	p.bar.ChangeMax(max(total, 1))
	_ = p.bar.Set(min(max(done, 0), total-1)) // the last step would finish the bar for good
}

// end takes the bar off the terminal.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		_ = p.bar.Clear()
	}
}
