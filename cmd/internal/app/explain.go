package app

import (
	"context"
	"errors"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// explainWithin is how long a page waits for a partition that commits.
const explainWithin = 2 * time.Second

var (
	errBusy    = errors.New("the station's partition is busy with a commit: try again in a moment")
	errNoState = errors.New("nothing has come from the station since the start")
)

// Explain says how the figures of a station are obtained, out of its running engine.
func (a *App) Explain(ctx context.Context, k station.Key) ([]station.Explanation, error) {
	ctx, cancel := context.WithTimeout(ctx, explainWithin)
	defer cancel()
	type said struct {
		list []station.Explanation
		err  error
	}
	answer := make(chan said, 1) // nobody may wait for it any more
	go func() {
		list, err := a.parts[k.Partition()].explain(k)
		answer <- said{list, err}
	}()
	select {
	case <-ctx.Done():
		return nil, errBusy
	case x := <-answer:
		return x.list, x.err
	}
}

// explain asks the station's unit between two entries of the log. Explaining changes nothing of the
// unit, so that one that fails on it is watched on.
func (p *partition) explain(k station.Key) (list []station.Explanation, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	u := p.units[k]
	switch {
	case u == nil:
		return nil, errNoState
	case u.held != nil:
		return nil, errors.New(u.held.unwatched())
	}
	if f := pipeline.Try(k, "its explanations", func() { list = u.Explain() }); f != nil {
		p.log.Error("the figures of a station cannot be explained", "station", k, "panic", f.Panic, "stack", f.Stack)
		return nil, f
	}
	return list, nil
}
