// Package progress shows on a terminal how far long work has come: one line that is rewritten,
// with rate and time left. Elsewhere it shows nothing, or lines now and then.
package progress

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/mattn/go-isatty"
)

// every is how often the line is rewritten at most.
const every = 200 * time.Millisecond

// everyLine is the same of lines that stay.
const everyLine = 10 * time.Second

// Bar shows one stage of work. A nil Bar shows nothing. It is safe for concurrent use.
type Bar struct {
	to    io.Writer
	now   func() time.Time
	what  string
	unit  Unit
	began time.Time
	lines bool // that stay

	mu    sync.Mutex
	shown time.Time // zero: nothing is on the line
	ended bool
}

// Unit is what work is counted in.
type Unit struct {
	Name string  // as in "MB"
	Of   float64 // how many of what is counted make one
}

// The units.
var (
	Bytes      = Unit{"MB", 1e6}
	Stations   = Unit{"stations", 1}
	Partitions = Unit{"partitions", 1}
	Pieces     = Unit{"pieces", 1}
)

// Terminal reports whether people watch what is written to w.
func Terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}

// New returns a bar for a stage on a writer, nil where that is no terminal.
func New(to io.Writer, what string, unit Unit) *Bar {
	if !Terminal(to) {
		return nil
	}
	return On(to, time.Now, what, unit)
}

// NewOrLines returns a bar for a stage on a writer, which writes lines of plain text where that is no terminal: the
// first after some seconds.
func NewOrLines(to io.Writer, now func() time.Time, what string, unit Unit) *Bar {
	b := On(to, now, what, unit)
	if !Terminal(to) {
		b.lines, b.shown = true, b.began
	}
	return b
}

// On returns a bar on any writer by any clock.
func On(to io.Writer, now func() time.Time, what string, unit Unit) *Bar {
	return &Bar{to: to, now: now, what: what, unit: unit, began: now()}
}

// Set shows how much is done. A total of zero or less is not known.
func (b *Bar) Set(done, total float64) {
	if b == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.now()
	pace := every
	if b.lines {
		pace = everyLine
	}
	if b.ended || t.Sub(b.shown) < pace {
		return
	}
	b.shown = t
	if b.lines {
		fmt.Fprintln(b.to, b.line(done, total, t.Sub(b.began)))
		return
	}
	fmt.Fprintf(b.to, "\r\x1b[K%s", b.line(done, total, t.Sub(b.began)))
}

// line words the state of the work.
func (b *Bar) line(done, total float64, took time.Duration) string {
	rate := 0.0
	if s := took.Seconds(); s > 0 {
		rate = done / s
	}
	text := b.what
	if total > 0 {
		text += fmt.Sprintf("  %.0f %%", 100*min(1, done/total))
	}
	text += fmt.Sprintf("  %s %s  %s %s/s", figure(done/b.unit.Of), b.unit.Name, figure(rate/b.unit.Of), b.unit.Name)
	if total > 0 && rate > 0 && took >= time.Second {
		left := time.Duration(max(0, total-done) / rate * 1e9)
		text += "  " + left.Round(time.Second).String() + " left"
	}
	return text
}

// figure words a number of work in three digits or so.
func figure(x float64) string {
	if x < 10 {
		return fmt.Sprintf("%.1f", x)
	}
	return fmt.Sprintf("%.0f", x)
}

// End clears the line; nothing is shown after it.
func (b *Bar) End() {
	if b == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ended = true; !b.shown.IsZero() && !b.lines {
		fmt.Fprint(b.to, "\r\x1b[K")
	}
}

// Stages shows stages one after the other, each on the same line.
type Stages struct {
	to   io.Writer
	unit Unit
	name string
	bar  *Bar
}

// NewStages returns stages on a writer, which show nothing where that is no terminal.
func NewStages(to io.Writer, unit Unit) *Stages { return &Stages{to: to, unit: unit} }

// Set shows how much of a stage is done.
func (s *Stages) Set(stage string, done, total int64) {
	if stage != s.name {
		s.End()
		s.name, s.bar = stage, New(s.to, stage, s.unit)
	}
	s.bar.Set(float64(done), float64(total))
}

// End clears the line.
func (s *Stages) End() { s.bar.End() }
