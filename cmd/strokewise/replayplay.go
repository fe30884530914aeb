package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/cmd/internal/progress"
	"strokewise/collector/trace"
)

// player runs traces through a unit, and through another one if there is one.
type player struct {
	key         station.Key
	unit, other *pipeline.Unit
	words       *words // what people said
	firstLate   string // file and line of the first row with a late reading, "": none

	bar         *progress.Bar
	done, total float64 // bytes of the files; total 0: not known
}

// counted counts what is read of a trace.
type counted struct {
	io.Reader
	n *float64
}

func (c counted) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	*c.n += float64(n)
	return n, err
}

// sizes returns how many bytes files have together, 0 where one of them is a pipe.
func sizes(files []string) (sum float64) {
	for _, path := range files {
		info, err := os.Stat(path)
		if err != nil || !info.Mode().IsRegular() {
			return 0
		}
		sum += float64(info.Size())
	}
	return sum
}

// Bounds of what a replay keeps until its report: half a year of minutes, and as much of the rest as a
// plant never has.
const (
	mostMinutes     = 183 * 24 * 60
	mostIntervals   = 4 * mostMinutes
	mostStrokes     = 16 * mostMinutes
	mostTransitions = 100_000
)

// bounded returns an error once there is more to report than memory should hold.
func (p *player) bounded() error {
	for _, u := range []*pipeline.Unit{p.unit, p.other} {
		if u == nil {
			continue
		}
		switch o := &u.Out; {
		case len(o.Minutes) > mostMinutes:
			return fmt.Errorf("the traces hold more than %d minutes: replay half a year at a time", mostMinutes)
		case len(o.Intervals) > mostIntervals, len(o.Strokes) > mostStrokes, len(o.Transitions) > mostTransitions:
			return fmt.Errorf("the traces hold more than %d changes of state, %d strokes or %d changes of alarms: replay them in parts", mostIntervals, mostStrokes, mostTransitions)
		}
	}
	return nil
}

// play runs one trace. A trace does not say when its rows arrived: old ones count as arriving
// at the newest time before them, so that they are late, and no clock that was set back.
func (p *player) play(ctx context.Context, path string, ambient station.Absolute) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("cannot read trace: %w", err)
	}
	defer f.Close()
	defer context.AfterFunc(ctx, func() { f.Close() })() // a pipe may be silent for ever
	r, err := trace.NewReader(counted{f, &p.done}, path, ambient)
	if err != nil {
		return cmp.Or(ctx.Err(), err)
	}
	defer r.Close()
	var newest station.Instant
	for {
		blocks, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil || ctx.Err() != nil {
			return cmp.Or(ctx.Err(), err)
		}
		if len(blocks) == 0 {
			continue // rows of empty cells
		}
		first, last := blocks[0].Start, newest
		for i := range blocks {
			first, last = min(first, blocks[i].Start), max(last, blocks[i].At(blocks[i].Len()-1))
		}
		if f := pipeline.Try(p.key, "its trace", func() { p.take(blocks, max(newest, first)) }); f != nil {
			return fmt.Errorf("%s:%d: %w", path, r.Line(), f)
		}
		newest = last
		p.bar.Set(p.done, p.total)
		if err := p.bounded(); err != nil {
			return err
		}
		if p.firstLate == "" && p.unit.Tally().Late > 0 {
			p.firstLate = fmt.Sprintf("%s:%d", path, r.Line())
		}
	}
}

// take hands blocks that arrive now to both units.
func (p *player) take(blocks []station.Block, now station.Instant) {
	if p.other != nil {
		p.words.pass(now, p.unit, p.other)
	} else {
		p.words.pass(now, p.unit)
	}
	p.unit.Samples(blocks, now)
	if p.other != nil {
		p.other.Samples(blocks, now)
		p.other.Forget()
	}
}
