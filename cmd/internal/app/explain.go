package app

import (
	"context"
	"errors"
	"time"

	"strokewise/analyzer/station"
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
	answer := make(chan []station.Explanation, 1) // nobody may wait for it any more
	go func() { answer <- a.parts[k.Partition()].explain(k) }()
	select {
	case <-ctx.Done():
		return nil, errBusy
	case x := <-answer:
		if x == nil {
			return nil, errNoState
		}
		return x, nil
	}
}

// explain asks the station's unit between two entries of the log; nil: there is none.
func (p *partition) explain(k station.Key) []station.Explanation {
	p.mu.Lock()
	defer p.mu.Unlock()
	u := p.units[k]
	if u == nil {
		return nil
	}
	return u.Explain()
}
