package app

import (
	"context"
	"errors"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/clock"
	"strokewise/collector/samplelog"
)

// openClock begins to watch our own clock. What the log holds has passed.
func (a *App) openClock(ctx context.Context) error {
	var newest station.Instant
	for n := range a.parts {
		e, ok, err := a.samples.NewestEntry(ctx, n)
		if errors.Is(err, samplelog.ErrEntry) {
			continue // its reader says so
		}
		if err != nil {
			return err
		}
		for i := range e.Records {
			if ok {
				newest = max(newest, e.Records[i].Arrival)
			}
		}
	}
	a.clock = clock.New(time.Now(), clock.Options{Wall: a.opt.Wall, Newest: newest, MaxAge: a.opt.Intake.MaxAge, Steady: a.opt.steady,
		Stations: func() int { return len(a.configured()) }})
	a.opt.Intake.Heard = func(k station.Key, device, arrival station.Instant) { a.clock.Heard(time.Now(), k, device, arrival) }
	a.judge(ctx)
	return nil
}

// now returns the program's time, see clock.Clock.
func (a *App) now() station.Instant {
	at, _, _ := a.clock.At(time.Now())
	return at
}

// time is now as a time.
func (a *App) time() time.Time { return a.now().Time() }

// trusted reports whether the wall clock is the program's time and nothing waits for it: whatever is
// removed for its age depends on it.
func (a *App) trusted() bool { return a.clock.State() == clock.Trusted && !a.gate.closed() }

// clockLoop watches our own clock.
func (a *App) clockLoop(ctx context.Context) {
	every(ctx, a.opt.Every.Clock, func() { a.judge(ctx) })
}

// judge weighs what is known of our clock, and says what becomes of it.
func (a *App) judge(ctx context.Context) {
	a.ticking.Lock() // no tick between a move of the time and the word that we listen from now on
	defer a.ticking.Unlock()
	was := a.clockSaid
	r := a.clock.Judge(time.Now())
	a.clockSaid = r
	part := a.health.Part("clock", 0)
	switch {
	case r.State == clock.Unsure:
		a.gate.close()
		part.Fails("%s", r.Reason)
	case r.Reason != "":
		part.Doubtful("%s", r.Reason)
	default:
		part.Works()
	}
	if r.State != was.State && r.State != clock.Trusted {
		_, mono, _ := a.clock.At(time.Now())
		a.doubted.Store(mono)
		a.log.Error("our own clock is in doubt", "state", r.State, "reason", r.Reason)
	}
	if r.State == clock.Trusted && was.State != clock.Trusted {
		a.log.Warn("our own clock is trusted again", "the_time_moved_by", time.Duration(r.Moved).Round(time.Millisecond))
	}
	a.moved = a.moved || size(r.Moved) > moveLeast
	a.listen(ctx)
}

// moveLeast is the least move of the program's time after which silence counts anew, ns: half of
// what makes a sensor silent at the earliest.
const moveLeast = 15 * station.Second

func size(d int64) int64 { return max(d, -d) }

// listen appends to the log that we listen from now on, after the time has moved: silence counts from
// then. It waits until what was held is in. The caller holds ticking.
func (a *App) listen(ctx context.Context) {
	if !a.moved || !a.board.Ready() || a.gate.closed() || a.clock.State() == clock.Unsure {
		return
	}
	if err := a.epochs(ctx, a.configured()); err != nil {
		a.warn("cannot append plate data after our clock was set right, trying again", err)
		return
	}
	a.moved = false
}

// tick appends the passing of time to the partitions that have stations. While the time is not
// known none passes: a tick with a wrong time would raise and end alarms. None passes either before
// what was held is in, since its sensors were not silent.
func (a *App) tick(ctx context.Context) {
	a.ticking.Lock()
	defer a.ticking.Unlock()
	if a.clock.State() == clock.Unsure || a.gate.closed() || a.moved {
		return
	}
	now := a.now()
	used := a.used()
	a.due(used)
	for _, n := range used {
		// a log that has lost its quorum shows by this while nothing arrives
		if _, err := a.ring.Append(ctx, n, []station.Record{{Arrival: now, Tick: true}}); err != nil && !errors.Is(err, samplelog.ErrFull) {
			a.warn("cannot append a tick", err)
		}
	}
}
