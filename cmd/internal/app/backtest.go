package app

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/web"
)

// Rehearsal gives the stations with changes of the alarms; faults are told with line and
// column. An empty text changes nothing.
type Rehearsal func(changes string) ([]Station, error)

// mostRows bounds the occurrences that a back-test keeps for its page.
const mostRows = 2000

// backtests runs back-tests over the log of the running program, one at a time.
type backtests struct {
	app      *App
	rehearse atomic.Pointer[Rehearsal]
	begin    chan []reanalyse.Station

	mu        sync.Mutex
	state     web.BacktestState
	cancel    context.CancelFunc // of the run, nil: none works
	cancelled bool               // before it began to work
}

func newBacktests(a *App, r Rehearsal) *backtests {
	b := &backtests{app: a, begin: make(chan []reanalyse.Station, 1)}
	b.rehearse.Store(&r)
	return b
}

// Rehearse puts another rehearsal in force, after the configuration was reloaded.
func (a *App) Rehearse(r Rehearsal) {
	if a.backtests != nil {
		a.backtests.rehearse.Store(&r)
	}
}

// Start implements web.Backtest.
func (b *backtests) Start(of web.BacktestOf) error {
	if !b.app.board.Ready() {
		return errStarting
	}
	all, err := (*b.rehearse.Load())(of.Changes)
	if err != nil {
		return err
	}
	var chosen []reanalyse.Station
	for _, s := range all {
		if k := s.Plate.Key; of.Station == "" || of.Station == k.Station || of.Station == k.String() {
			chosen = append(chosen, reanalyse.Station{Plate: s.Plate, Revision: s.Revision})
		}
	}
	if len(chosen) == 0 {
		return fmt.Errorf("there is no station %.80q: the configuration names those that there are", of.Station)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.state.Began != 0 && b.state.Ended == 0 {
		return errors.New("a back-test is running: wait for it, or cancel it")
	}
	b.state, b.cancelled = web.BacktestState{Of: of, Began: station.InstantOf(time.Now())}, false
	b.begin <- chosen // has room: nothing runs
	return nil
}

// Cancel implements web.Backtest.
func (b *backtests) Cancel() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.cancelled = true
	if b.cancel != nil {
		b.cancel()
	}
}

// State implements web.Backtest.
func (b *backtests) State() web.BacktestState {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.state
}

// loop works until ctx ends.
func (b *backtests) loop(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case stations := <-b.begin:
			b.run(ctx, stations)
		}
	}
}

// run compares, and keeps what came out.
func (b *backtests) run(ctx context.Context, stations []reanalyse.Station) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	b.mu.Lock()
	b.cancel = cancel
	if b.cancelled {
		cancel()
	}
	of := b.state.Of
	b.mu.Unlock()
	tested, err := reanalyse.Backtest(ctx, &calmLog{backtests: b, parts: partsOf(stations)}, b.app.store, stations, of.From, of.To)
	b.mu.Lock()
	defer b.mu.Unlock()
	s := &b.state
	s.Ended, s.Done, b.cancel = station.InstantOf(time.Now()), 1, nil
	switch {
	case ctx.Err() != nil:
		s.Problem = "it was cancelled"
	case err != nil:
		s.Problem = err.Error()
	default:
		told(s, tested)
	}
}

// partsOf counts the partitions that the stations are in.
func partsOf(stations []reanalyse.Station) int {
	has := map[int]bool{}
	for _, s := range stations {
		has[s.Plate.Key.Partition()] = true
	}
	return len(has)
}

// calmLog is the running program's log for a reader that must not disturb the others: it
// rests as long as it works, tells how far it has come, and keeps away from the end that is
// trimmed.
type calmLog struct {
	*backtests
	parts, begun int
}

// Last implements reanalyse.Log.
func (l *calmLog) Last(ctx context.Context, n int) (uint64, uint64, error) {
	return l.app.samples.Last(ctx, n)
}

// Read implements reanalyse.Log.
func (l *calmLog) Read(ctx context.Context, n int, _ uint64, fn func(samplelog.Entry) error) error {
	l.begun++
	size, err := l.app.samples.Size(ctx)
	if err != nil {
		return err
	}
	reach := l.app.opt.Keep
	if size.MaxBytes > 0 && float64(size.Bytes) > nearlyFull*float64(size.MaxBytes) {
		reach = min(reach, time.Since(size.Oldest))
	}
	from, err := l.app.samples.Before(ctx, time.Now().Add(trimMargin(reach)-reach))
	if err != nil {
		return err
	}
	last, _, err := l.app.samples.Last(ctx, n)
	if err != nil {
		return err
	}
	return l.app.samples.Read(ctx, n, from, func(e samplelog.Entry) error {
		at := time.Now()
		err := fn(e)
		if last > from {
			l.progress(float64(e.Position-from) / float64(last-from))
		}
		if err == nil {
			pause(ctx, time.Since(at))
		}
		return err
	})
}

// nearlyFull is the share of log.max_bytes above which the oldest entries may go while they are read.
const nearlyFull = 0.85

// trimMargin is how much of the beginning of a log that reaches back so far is left out: what is
// trimmed under a reader ends it.
func trimMargin(reach time.Duration) time.Duration { return min(10*time.Minute, reach/10) }

// progress notes how much of the present partition is read.
func (l *calmLog) progress(share float64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.state.Done = (float64(l.begun-1) + min(share, 1)) / float64(max(1, l.parts))
}
