package app

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
)

// Samples gives the samples of stations as they would have been sent before now. Each is
// called once a stretch, by one goroutine.
type Samples interface {
	// Samples calls fn with blocks in order of time; they are valid during the call.
	Samples(ctx context.Context, k station.Key, from, to station.Instant, fn func([]station.Block) error) error
}

// PastOf says what past is filled in.
type PastOf struct {
	Samples Samples
	Began   time.Time                // where the live run took over
	Ready   []string                 // stages that an earlier run filled in
	Done    func(stage string) error // called as stages are filled in; they should be ready next time
}

// stage is a stretch of the past, nearest first.
type stage struct {
	name     string
	from, to time.Duration // before now
}

// stages are filled in one after the other: what a person looks at first comes first.
var stages = []stage{
	{"the last hour", time.Hour, 0},
	{"the last shift", 8 * time.Hour, time.Hour},
	{"the last week", 7 * 24 * time.Hour, 8 * time.Hour},
}

// pastWorkers is how many stations are worked on at once. The live partitions go on
// beside them.
const pastWorkers = 2

// FillPast runs the stations' past through the same analyzer, in engines of its own, and
// stores its minutes and states. Nothing of it is counted in totals or sent to anybody.
// It returns when all is filled in or ctx ends.
func (a *App) FillPast(ctx context.Context, p PastOf) error {
	// the minute in which the live run began is the live run's
	began := station.InstantOf(p.Began).Floor(60 * station.Second)
	done := slices.Clone(p.Ready)
	for _, s := range stages {
		if slices.Contains(done, s.name) {
			continue
		}
		at := time.Now()
		if err := a.fillStage(ctx, p.Samples, began, s, slices.Clone(done)); err != nil {
			return err
		}
		done = append(done, s.name)
		if err := p.Done(s.name); err != nil {
			return err
		}
		a.log.Info("the past is filled in", "stage", s.name, "after", time.Since(at).Round(time.Second/10))
	}
	a.board.SetPast(board.Past{Ready: done})
	return nil
}

func (a *App) fillStage(ctx context.Context, p Samples, began station.Instant, s stage, done []string) error {
	var mu sync.Mutex
	show := board.Past{Stage: s.name, All: (s.from - s.to).Hours() * float64(len(a.opt.Stations)), Ready: done}
	a.board.SetPast(show)
	progress := func(d int64) {
		mu.Lock()
		defer mu.Unlock()
		show.Done += time.Duration(d).Hours()
		a.board.SetPast(show)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	work := make(chan Station)
	var wg sync.WaitGroup
	for range pastWorkers {
		wg.Go(func() {
			for st := range work {
				if err := a.fillStation(ctx, p, st, began.Add(-int64(s.from)), began.Add(-int64(s.to)), progress); err != nil {
					cancel(err)
				}
			}
		})
	}
feed:
	for _, st := range a.opt.Stations {
		select {
		case work <- st:
		case <-ctx.Done():
			break feed
		}
	}
	close(work)
	wg.Wait()
	if err := context.Cause(ctx); err != nil {
		return err
	}
	for _, part := range a.parts {
		if err := part.recountToday(ctx); err != nil {
			return err
		}
	}
	return nil
}

// pastChunk is how much of a station's past is stored at once.
const pastChunk = 30 * 60 * station.Second

// fillStation works out a stretch of one station's past.
func (a *App) fillStation(ctx context.Context, p Samples, s Station, from, to station.Instant, progress func(int64)) error {
	u := pipeline.New(s.Plate, s.Revision)
	at := from
	recent := station.InstantOf(time.Now()).Sub(to) < station.Minute60 // within the rings' reach
	u.KeepStrokes = recent
	var strokes []station.Stroke // an hour's
	var intervals []station.Interval
	store := func(now station.Instant) error {
		o := u.Take()
		progress(now.Sub(at))
		at = now
		if recent {
			strokes, intervals = append(strokes, o.Strokes...), append(intervals, o.Intervals...)
		}
		return a.store.Import(ctx, history.StationMinutes{Key: s.Plate.Key, Revision: engine.Revision, Minutes: o.Minutes, Charges: charges(nil, o.Minutes, a.opt.Tariffs[s.Plate.Key.Site]), Gaps: o.Gaps, Intervals: o.Intervals, Figures: o.Figures})
	}
	err := p.Samples(ctx, s.Plate.Key, from, to, func(blocks []station.Block) error {
		var last station.Instant
		for i := range blocks {
			last = max(last, blocks[i].At(blocks[i].Len()-1))
		}
		if f := pipeline.Try(s.Plate.Key, "its past", func() { u.Samples(blocks, last) }); f != nil {
			return f
		}
		if recent {
			a.live.Samples(s.Plate.Key, blocks)
		}
		if last.Sub(at) >= pastChunk {
			return store(last)
		}
		return ctx.Err()
	})
	if err != nil {
		return fmt.Errorf("cannot fill in the past of %s: %w", s.Plate.Key, err)
	}
	if f := pipeline.Try(s.Plate.Key, "its past", u.Flush); f != nil {
		return f
	}
	if err := store(to); err != nil {
		return err
	}
	a.live.Past(s.Plate.Key, strokes, intervals)
	return nil
}

// recountToday takes the time a state since midnight from the history anew, after
// something was stored beside the partition.
func (p *partition) recountToday(ctx context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.ordered {
		today, err := p.store.Today(ctx, u.key, u.day)
		if err != nil {
			return err
		}
		u.today = today
		p.show(u)
	}
	return nil
}
