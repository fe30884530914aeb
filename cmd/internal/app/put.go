package app

import (
	"context"
	"errors"
	"time"

	"strokewise/analyzer/station"
)

// settlePoll is how often Settle looks.
const settlePoll = 2 * time.Millisecond

// Put appends records that did not come through the broker, each with its own arrival time, as a
// plant that is played faster than the clock needs. A tick goes to every partition with stations.
func (a *App) Put(ctx context.Context, records ...station.Record) error {
	var parts [station.Partitions][]station.Record
	for _, r := range records {
		if !r.Tick {
			n := r.Key.Partition()
			parts[n] = append(parts[n], r)
			continue
		}
		for _, n := range a.used() {
			parts[n] = append(parts[n], r)
		}
	}
	for n := range parts {
		if len(parts[n]) == 0 {
			continue
		}
		if err := a.append(ctx, n, parts[n]); err != nil {
			return err
		}
	}
	return nil
}

// append appends records to a partition, and tries again while the log's server does not answer in
// time, as the batcher does. What it stored without an answer is stored twice then: the analyzer drops
// samples that it has, and a person's word has no second effect.
func (a *App) append(ctx context.Context, n int, records []station.Record) error {
	for {
		_, err := a.ring.Append(ctx, n, records)
		if !errors.Is(err, context.DeadlineExceeded) || ctx.Err() != nil {
			return err
		}
		a.log.Warn("trying again", "error", err)
	}
}

// Settle waits until all that the log holds is concluded, stored and shown, the alarms of headers
// included, and the answers of sites about overtime.
func (a *App) Settle(ctx context.Context) error {
	if err := a.conclude(ctx); err != nil {
		return err
	}
	if err := a.overtime(ctx); err != nil {
		return err
	}
	return a.conclude(ctx)
}

// conclude waits until what the log holds now is concluded, stored and shown.
func (a *App) conclude(ctx context.Context) error {
	for n, p := range a.parts {
		if err := a.workOff(ctx, n, p, settlePoll); err != nil {
			return err
		}
	}
	return a.headers.step(ctx, a.time())
}
