package main

import (
	"errors"
	"fmt"
	"io"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/trace"
)

// player runs traces through a unit, and through another one if there is one.
type player struct {
	key         station.Key
	unit, other *pipeline.Unit
	firstLate   string // file and line of the first row with a late reading, "": none
}

// play runs one trace. A trace does not say when its rows arrived: old ones count as arriving
// at the newest time before them, so that they are late, and no clock that was set back.
func (p *player) play(path string, ambient station.Absolute) error {
	r, err := trace.Open(path, ambient)
	if err != nil {
		return err
	}
	defer r.Close()
	var newest station.Instant
	for {
		blocks, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
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
		if p.firstLate == "" && p.unit.Tally().Late > 0 {
			p.firstLate = fmt.Sprintf("%s:%d", path, r.Line())
		}
	}
}

// take hands blocks that arrive now to both units.
func (p *player) take(blocks []station.Block, now station.Instant) {
	p.unit.Samples(blocks, now)
	if p.other != nil {
		p.other.Samples(blocks, now)
		p.other.Forget()
	}
}
