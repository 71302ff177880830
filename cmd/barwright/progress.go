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

const (
	// quiet is how long a run stays silent, and then how long between two lines
	// on a pipe.
	quiet = time.Second
	// redraw is the time between two pictures of the bar on a terminal.
	redraw = quiet / 5
	// lively is how long a pipe gets no line before it is told that the run is
	// still alive.
	lively = 10 * time.Second
)

// progress shows on stderr how far a run is: a bar on a terminal, else a line
// now and then, both also while nothing new is to be said. Runs under a second
// show nothing. Its methods may be called from any goroutine.
type progress struct {
	w        io.Writer
	terminal bool
	stop     chan struct{}

	mu    sync.Mutex
	now   func() time.Time
	begun time.Time // when what the run is at began
	next  time.Time // when the next line may be printed
	alive time.Time // when the next sign of life is due
	last  string    // the last line
	at    state
	bar   *progressbar.ProgressBar
	ended bool
}

// state is what a run is at; done < 0: nobody knows how far.
type state struct {
	what        string
	done, total int
}

func newProgress(w io.Writer) *progress {
	p := &progress{w: w, now: time.Now, stop: make(chan struct{})}
	p.begun = p.now()
	p.next, p.alive = p.begun.Add(quiet), p.begun.Add(lively)
	if f, ok := w.(*os.File); ok {
		info, err := f.Stat()
		p.terminal = err == nil && info.Mode()&os.ModeCharDevice != 0
	}
	go func() {
		tick := time.NewTicker(redraw)
		defer tick.Stop()
		for {
			select {
			case <-p.stop:
				return
			case <-tick.C:
				p.tick()
			}
		}
	}()
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
	what = oneLine(what)
	if what != p.at.what {
		p.begun = p.now()
	}
	p.at = state{what, done, total}
	if !p.terminal && !p.ended {
		p.line()
	}
}

// tick shows that the run is alive.
func (p *progress) tick() {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.now()
	switch {
	case p.ended || p.at.what == "" || now.Before(p.next):
	case p.terminal:
		p.draw()
	case !now.Before(p.alive):
		p.alive = now.Add(lively)
		fmt.Fprintf(p.w, "%s, for %d s now\n", p.at.what, int(now.Sub(p.begun).Seconds()))
	}
}

// line prints a line on a pipe, unless it is too soon or says nothing new.
func (p *progress) line() {
	now := p.now()
	if now.Before(p.next) {
		return
	}
	line := p.at.what
	if p.at.done >= 0 {
		line += fmt.Sprintf(" (%d of %d)", p.at.done, p.at.total)
	}
	if line == p.last {
		return
	}
	p.last, p.next, p.alive = line, now.Add(quiet), now.Add(lively)
	fmt.Fprintln(p.w, line)
}

// draw shows a bar. Failing to is no reason to end a run.
func (p *progress) draw() {
	total := max(p.at.total, 1)
	if p.bar == nil {
		p.bar = progressbar.NewOptions(total,
			progressbar.OptionSetWriter(p.w),
			progressbar.OptionSetWidth(30),
			progressbar.OptionClearOnFinish(),
			progressbar.OptionSetPredictTime(false),
			progressbar.OptionSetElapsedTime(false))
	}
	p.bar.Describe(fmt.Sprintf("%-40.40s %3d s", p.at.what, int(p.now().Sub(p.begun).Seconds())))
	p.bar.ChangeMax(total)
	_ = p.bar.Set(min(max(p.at.done, 0), total-1)) // the last step would finish the bar for good
}

// end takes the bar off the terminal. Nothing is shown after it.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.ended {
		return
	}
	p.ended = true
	close(p.stop)
	if p.bar != nil {
		_ = p.bar.Clear()
	}
}

// meter tells how much of a file has been read.
type meter struct {
	io.ReadSeeker
	what string
	size int64
	at   int64
	p    *progress
}

func newMeter(f *os.File, name string, p *progress) *meter {
	m := &meter{ReadSeeker: f, what: "reading " + name, p: p}
	if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
		m.size = info.Size()
	}
	return m
}

func (m *meter) Read(b []byte) (int, error) {
	n, err := m.ReadSeeker.Read(b)
	m.at += int64(n)
	if m.size > 0 {
		m.p.show(m.what, int(100*m.at/m.size), 100)
	}
	return n, err
}

func (m *meter) Seek(offset int64, whence int) (int64, error) {
	at, err := m.ReadSeeker.Seek(offset, whence)
	if err == nil {
		m.at = at
	}
	return at, err
}
