package app

import (
	"context"
	"fmt"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/influx"
)

// questions are what is asked of the log, the history and the partitions for the figures, and to
// know whether they work at all: a log that has lost its quorum, or a damaged history, shows while
// nothing arrives.
func (a *App) openQuestions() {
	stored := a.health.Part("history", lateAfter(a.opt.Every.Figures))
	a.questions = []*question{
		{name: "history", tell: stored.Report, ask: func(ctx context.Context) (func(*board.Pipeline), error) { return nil, a.store.Probe(ctx) }},
		{name: "log", ask: a.askLog, tell: func(err error) {
			if err != nil {
				err = fmt.Errorf("the sample log cannot be read: %w", err)
			}
			a.logPart.Report("read", err)
		}},
		{name: "partitions", ask: a.askPartitions},
		{name: "outbox", ask: a.askOutbox, tell: a.grumble("cannot count the outbox")},
	}
	if a.export != nil {
		a.questions = append(a.questions, &question{name: "export", ask: a.askExport, tell: a.grumble("cannot count what waits to be exported")})
	}
}

// lateAfter returns for how long nothing may be heard of what is done at intervals: three of them
// and a minute, for a machine that is busy.
func lateAfter(every time.Duration) time.Duration { return 3*every + time.Minute }

// grumble returns a function that logs faults once a minute.
func (a *App) grumble(what string) func(error) {
	var q quiet
	return func(err error) {
		if err != nil && q.due(time.Now()) {
			a.warn(what, err)
		}
	}
}

// figuresLoop asks at intervals until ctx ends, and waits for no answer but at its end.
func (a *App) figuresLoop(ctx context.Context) {
	var wg sync.WaitGroup
	defer wg.Wait()
	pass := func() {
		now := time.Now()
		for _, q := range a.questions {
			q.pose(ctx, &wg, now)
		}
		a.lookAtRefused(now)
		a.health.List() // so that levels are dated although nobody looks
	}
	pass()
	every(ctx, a.opt.Every.Figures, pass)
}

// askLog asks for the log's size and the end of each partition.
func (a *App) askLog(ctx context.Context) (func(*board.Pipeline), error) {
	size, err := a.samples.Size(ctx)
	if err != nil {
		return nil, err
	}
	var ends [station.Partitions]uint64
	for n := range ends {
		if ends[n], _, err = a.samples.Last(ctx, n); err != nil {
			return nil, err
		}
	}
	a.logEnds.Store(&ends)
	return func(out *board.Pipeline) { out.LogBytes, out.LogGaps = size.Bytes, size.Gaps }, nil
}

// askPartitions asks the partitions for their figures. One whose commit does not end answers nothing.
func (a *App) askPartitions(context.Context) (func(*board.Pipeline), error) {
	ends := a.logEnds.Load() // before the positions, which then are not behind for being older
	var list [station.Partitions]partFigures
	for n := range list {
		list[n] = a.parts[n].figures()
	}
	used := a.used()
	return func(out *board.Pipeline) {
		now := time.Now()
		for _, n := range used {
			list[n].into(out, now)
		}
		for n := range list {
			if ends != nil && ends[n] > list[n].position {
				out.Behind[n] = ends[n] - list[n].position
			}
		}
	}, nil
}

// into adds a partition's figures to the program's.
func (s *partFigures) into(out *board.Pipeline, now time.Time) {
	out.Commits += s.commits
	out.CommitSum += s.commitSum
	out.CommitSeconds = max(out.CommitSeconds, s.commitSeconds)
	if !s.savedAt.IsZero() {
		out.SnapshotAge = max(out.SnapshotAge, now.Sub(s.savedAt).Seconds())
	}
}

// askOutbox asks how many notifications wait, and since when.
func (a *App) askOutbox(ctx context.Context) (func(*board.Pipeline), error) {
	pending, err := a.store.OutboxPending(ctx)
	if err != nil {
		return nil, err
	}
	oldest, err := a.store.OutboxOldest(ctx)
	if err != nil {
		return nil, err
	}
	return func(out *board.Pipeline) {
		now := station.InstantOf(time.Now())
		out.OutboxPending, out.OutboxAge = pending, make(map[string]float64, len(oldest))
		for name, at := range oldest {
			out.OutboxAge[name] = max(0, float64(now.Sub(at))/1e9)
		}
	}, nil
}

// askExport asks what waits to be exported.
func (a *App) askExport(ctx context.Context) (func(*board.Pipeline), error) {
	pending, err := a.store.ExportPending(ctx, influx.Name)
	if err != nil {
		return nil, err
	}
	return func(out *board.Pipeline) {
		out.Export.Pending = pending.Rows
		if !pending.Oldest.IsZero() {
			out.Export.Age = max(0, time.Since(pending.Oldest).Seconds())
		}
	}, nil
}
