package app

import (
	"context"
	"errors"
	"slices"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
)

// lateLongest is for how long late samples wait for an end of their buffer at most, ns. Own choice.
const lateLongest = 15 * station.Minute60

// rebuilder works off samples that came late.
type rebuilder struct {
	waiting atomic.Int64 // records
	minutes atomic.Int64 // that were revised since the start
	lost    atomic.Int64 // samples that could not be worked off
	tried   map[station.Key]attempt
}

// attempt is what waited of a station when it was last tried, and how far the station was worked off.
type attempt struct {
	waiting history.Waiting
	behind  station.Instant
}

// rebuildLoop looks for late samples at intervals until ctx ends.
func (a *App) rebuildLoop(ctx context.Context) {
	part := a.health.Part("late-samples", 0)
	every(ctx, a.opt.Every.Rebuild, func() {
		err := a.rebuild(ctx, false)
		if ctx.Err() == nil {
			doubt(part, "samples that came late wait: %v", err)
			a.warn("cannot work off samples that came late, trying again", err)
		}
	})
}

// rebuild works off what waits of stations of which nothing late has come lately, or at once.
func (a *App) rebuild(ctx context.Context, atOnce bool) error {
	list, err := a.store.LateWaiting(ctx)
	if err != nil {
		return err
	}
	var errs []error
	var usable []history.Point
	n := int64(0)
	now := a.now()
	if len(list) > 0 {
		if usable, err = a.pointsInLog(ctx); err != nil {
			return err
		}
	}
	for i := range list {
		w := &list[i]
		n += w.Records
		if !atOnce && now.Sub(w.Newest) < int64(a.opt.Every.LateRest) && now.Sub(w.Oldest) < lateLongest {
			continue
		}
		errs = append(errs, a.rebuildOne(ctx, w, usable))
	}
	a.rebuilder.waiting.Store(n)
	return errors.Join(errs...)
}

// forgetLate removes what no late sample can need any more.
func (a *App) forgetLate(ctx context.Context) {
	size, err := a.samples.Size(ctx)
	if err == nil {
		err = a.store.ForgetLate(ctx, a.now().Add(-int64(a.intake.MaxAge())), size.First)
	}
	a.warn("cannot forget what late samples needed, trying again", err)
}

// rebuildOne works off the late samples of a station from one of the points, unless it stands where it stood at the last try.
func (a *App) rebuildOne(ctx context.Context, w *history.Waiting, points []history.Point) error {
	p := a.parts[w.Key.Partition()]
	upTo, behind, segment := p.reachedOf(w.Key)
	r := &a.rebuilder
	began := time.Now()
	point := pointFor(points, w, segment)
	if point == nil {
		return a.giveUpLate(ctx, w.Key, "there is no state of the station from before the hole: it is older than mqtt.max_age, of another version, or the sample log no longer reaches back to it")
	}
	if r.tried[w.Key] == (attempt{*w, behind}) {
		return nil // it waits for its minute to be closed
	}
	if err := a.store.Point(ctx, point); err != nil {
		return err
	}
	late, err := a.store.Late(ctx, w.Key, point.Position, upTo)
	if err != nil {
		return err
	}
	out, err := reanalyse.Late(ctx, a.samples, point, late, upTo)
	var fault *pipeline.Fault
	if errors.As(err, &fault) || errors.Is(err, reanalyse.ErrSegment) || errors.Is(err, samplelog.ErrTrimmed) {
		return a.giveUpLate(ctx, w.Key, err.Error())
	}
	if err != nil {
		return err
	}
	out.At, out.Charges = a.now().Time(), charges(nil, out.Minutes, a.opt.Tariffs[w.Key.Site])
	c, err := p.correct(ctx, &out)
	if err != nil {
		return err
	}
	if r.tried == nil {
		r.tried = make(map[station.Key]attempt)
	}
	r.tried[w.Key] = attempt{*w, behind}
	r.minutes.Add(int64(c.Minutes))
	if c.Minutes > 0 {
		a.log.Info("minutes were rebuilt from samples that came late", "station", w.Key, "minutes", c.Minutes, "from", out.From, "to", out.To, "took", time.Since(began).Round(time.Millisecond))
	}
	return nil
}

// reachedOf returns the stored position of a partition, the time up to which a station is worked off, and its segment.
func (p *partition) reachedOf(k station.Key) (upTo uint64, behind station.Instant, segment uint32) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if u := p.units[k]; u != nil && u.held == nil {
		behind, segment = u.Behind()
	}
	return p.committed, behind, segment
}

// pointsInLog returns the points of this version from which on the log still holds everything.
func (a *App) pointsInLog(ctx context.Context) ([]history.Point, error) {
	points, err := a.store.Points(ctx)
	if err != nil {
		return nil, err
	}
	size, err := a.samples.Size(ctx)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(points, func(x history.Point) bool { return x.Version != pipeline.Version || x.Position < size.First }), nil
}

// pointFor returns the newest point from before what waits, nil where there is none.
func pointFor(points []history.Point, w *history.Waiting, segment uint32) *history.Point {
	for i := len(points) - 1; i >= 0; i-- {
		if x := points[i]; x.Key == w.Key && x.Segment == segment && x.Floor <= w.Since {
			return &x // a copy: its state is not to be held for longer than it is worked off
		}
	}
	return nil
}

// giveUpLate notes that late samples of a station are lost.
func (a *App) giveUpLate(ctx context.Context, k station.Key, why string) error {
	n, err := a.store.GiveUpLate(ctx, k)
	if err != nil {
		return err
	}
	a.rebuilder.lost.Add(n)
	a.log.Error("samples that came late cannot be worked off; strokewise replay analyses them beside the running program", "station", k, "samples", n, "why", why)
	return nil
}
