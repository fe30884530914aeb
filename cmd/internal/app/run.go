package app

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

const (
	readAgain   = time.Second // after a reading error
	closeWithin = 10 * time.Second
)

// group runs goroutines until their context ends.
type group struct {
	ctx    context.Context
	cancel context.CancelFunc
	wg     sync.WaitGroup
}

func newGroup(ctx context.Context) *group {
	g := &group{}
	g.ctx, g.cancel = context.WithCancel(ctx)
	return g
}

func (g *group) run(f func(ctx context.Context)) { g.wg.Go(func() { f(g.ctx) }) }

func (g *group) stop() {
	g.cancel()
	g.wg.Wait()
}

// Run works until ctx ends, then stops in order: no new messages, what was received to
// the log, what was read to the history, a last snapshot.
func (a *App) Run(ctx context.Context) error {
	ctx, cancel := a.untilLost(ctx)
	defer cancel()
	if err := a.runUntilLost(ctx); !a.lost() {
		return err
	}
	return errLost
}

// runUntilLost works until ctx ends, or another process has taken over: then nothing more is stored or sent.
func (a *App) runUntilLost(ctx context.Context) error {
	serve, work := newGroup(context.WithoutCancel(ctx)), newGroup(context.WithoutCancel(ctx))
	take := newGroup(ctx)
	defer serve.stop()
	defer work.stop()
	defer take.stop()
	a.watchLease(a.health.Part("lease", 0))
	if err := a.serve(serve); err != nil {
		return err
	}
	serve.run(a.figuresLoop)
	if err := a.catchUp(ctx, work); err != nil {
		return err
	}
	a.knowHeaders()
	a.warn("cannot store the alarms of headers", a.headers.step(ctx, a.time())) // before what waits for them is sent
	a.headers.health = a.health.Part("headers", lateAfter(headerEvery))
	work.run(a.headers.run)
	work.run(func(ctx context.Context) { every(ctx, time.Minute, a.knowHeaders) }) // plate data take effect in the log's order
	work.run(func(ctx context.Context) {
		every(ctx, time.Second, func() { a.warn("cannot append a site's answers", a.overtime(ctx)) })
	})
	a.headers.nudge()
	a.noteTold()
	work.run(func(ctx context.Context) { every(ctx, time.Minute, a.noteTold) })
	serve.run(func(ctx context.Context) { a.warn("sending notifications ended", a.sender.Run(ctx)) })
	a.sender.Wake()
	a.runReach(serve)
	if a.export != nil {
		serve.run(func(ctx context.Context) { a.warn("exporting ended", a.export.Run(ctx)) })
	}
	if a.backtests != nil {
		serve.run(a.backtests.loop)
	}
	serve.run(a.first.loop)
	work.run(a.rebuildLoop)
	a.takeMessages(take)
	a.log.Info("ready", "address", a.URL(), "broker", a.BrokerURL(), "stations", len(a.configured()))
	<-ctx.Done()
	if a.lost() {
		return errLost
	}
	take.stop()
	a.settleAll()
	work.stop()
	a.warn("cannot store the alarms of headers", a.headers.step(context.WithoutCancel(ctx), a.time()))
	a.saveAll()
	a.noteTold()
	return ctx.Err()
}

// workOff waits until partition n has concluded what its log holds now, looking at intervals, and
// commits it.
func (a *App) workOff(ctx context.Context, n int, p *partition, poll time.Duration) error {
	last, _, err := a.samples.Last(ctx, n)
	if err != nil {
		return err
	}
	for !p.reached(last) {
		if err := p.failure(); err != nil {
			return err
		}
		if pause(ctx, poll); ctx.Err() != nil {
			return ctx.Err()
		}
	}
	for {
		err := p.commit(ctx)
		if !errors.Is(err, samplelog.ErrDoubt) || ctx.Err() != nil {
			return err
		}
		pause(ctx, lookEvery)
	}
}

// catchUp starts the partitions, and returns once they have worked off what the log held.
func (a *App) catchUp(ctx context.Context, g *group) error {
	for n, p := range a.parts {
		if err := a.retryAll(ctx, n, p); err != nil {
			return err
		}
		g.run(func(ctx context.Context) { a.read(ctx, p) })
	}
	g.run(a.commitLoop)
	if err := a.epochs(ctx, a.configured()); err != nil {
		return err
	}
	for n, p := range a.parts {
		if err := a.workOff(ctx, n, p, 10*time.Millisecond); err != nil {
			return err
		}
		p.showAll()
	}
	if err := a.retire(ctx); err != nil {
		return err
	}
	a.board.SetReady(true)
	for n, p := range a.parts {
		g.run(func(ctx context.Context) { a.snapshotLoop(ctx, n, p) })
	}
	g.run(a.tickLoop)
	g.run(a.trimLoop)
	g.run(a.retainLoop)
	g.run(a.clockLoop)
	return nil
}

// epochs appends plate data to the log, which also says that we listen from now on.
func (a *App) epochs(ctx context.Context, stations []Station) error {
	list := make([]*station.Epoch, len(stations))
	for i, s := range stations {
		list[i] = &station.Epoch{Revision: s.Revision, Plate: s.Plate}
	}
	return a.appendEpochs(ctx, list)
}

func (a *App) appendEpochs(ctx context.Context, list []*station.Epoch) error {
	var parts [station.Partitions][]station.Record
	now := a.now()
	for _, e := range list {
		n := e.Plate.Key.Partition()
		parts[n] = append(parts[n], station.Record{Key: e.Plate.Key, Arrival: now, Epoch: e})
	}
	for n, records := range parts {
		for len(records) > 0 {
			k := min(len(records), 500)
			if err := a.epoch(ctx, n, records[:k]); err != nil {
				return err
			}
			records = records[k:]
		}
	}
	return nil
}

// epochTries is how often plate data are appended at the start to a log that does not accept them.
const epochTries = 24

// epoch appends plate data of a partition. At the start the log may be busy with a large backlog:
// an answer may come late, and the writer's lease be in doubt for a moment. A log that an earlier
// version left full has room once it is analysed. Only another writer cannot be waited for.
func (a *App) epoch(ctx context.Context, partition int, records []station.Record) error {
	for try := 1; ; try++ {
		_, err := a.ring.Append(ctx, partition, records)
		full := errors.Is(err, samplelog.ErrFull)
		if err == nil || ctx.Err() != nil || errors.Is(err, samplelog.ErrLease) || try >= epochTries && !full {
			return err
		}
		for _, p := range a.parts {
			if why := p.failure(); full && why != nil {
				return errors.Join(err, why)
			}
		}
		if !full || a.quiet.due(time.Now()) {
			a.log.Warn("the sample log is busy: plate data are appended again", "partition", partition, "error", err)
		}
		pause(ctx, readAgain)
	}
}

// read works off a partition's part of the log, for good. A log that does not answer is
// asked for ever. An entry of a newer program stops the partition, which readiness then shows: what
// follows must not overtake it.
func (a *App) read(ctx context.Context, p *partition) {
	for ctx.Err() == nil {
		if a.speak() != nil {
			pause(ctx, lookEvery)
			continue
		}
		err := a.samples.Read(ctx, p.number, p.at(), func(e samplelog.Entry) error { return p.entry(ctx, e) })
		if ctx.Err() != nil || p.failure() != nil {
			return
		}
		if errors.Is(err, samplelog.ErrEntry) {
			p.fail(err)
			return
		}
		a.warn("reading the sample log ended, trying again", err)
		pause(ctx, readAgain)
	}
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// every calls f at intervals until ctx ends.
func every(ctx context.Context, d time.Duration, f func()) {
	t := time.NewTicker(d)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			f()
		}
	}
}

// gather is how long an alarm waits for others before its partition is committed ahead of
// its turn: in a mass event one commit takes them all.
const gather = 50 * time.Millisecond

func (a *App) commitLoop(ctx context.Context) {
	t := time.NewTicker(a.opt.Every.Commit)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			a.settle(ctx, false)
		case <-a.early:
			if a.board.Ready() { // while a backlog is worked off nothing is early
				pause(ctx, gather)
				a.settle(ctx, true)
			}
		}
	}
}

// hurry asks for a commit ahead of its turn.
func (a *App) hurry() {
	select {
	case a.early <- struct{}{}:
	default:
	}
}

// settle commits every partition, or only those in which an alarm waits. One that cannot is
// tried again next time; nothing is lost meanwhile.
func (a *App) settle(ctx context.Context, urgent bool) {
	for _, p := range a.parts {
		if urgent && !p.hurried() {
			continue
		}
		if err := p.commit(ctx); err != nil && a.quiet.due(time.Now()) {
			a.warn("cannot commit, trying again; nothing is lost meanwhile", err)
		}
	}
}

// quiet lets a line that would come twice a second through once a minute.
type quiet struct{ last atomic.Int64 }

func (q *quiet) due(now time.Time) bool {
	last := q.last.Load()
	return now.UnixNano()-last > int64(time.Minute) && q.last.CompareAndSwap(last, now.UnixNano())
}

// settleAll lets the partitions work off what the log holds, and commits it.
func (a *App) settleAll() {
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	for n, p := range a.parts {
		last, _, err := a.samples.Last(ctx, n)
		for err == nil && ctx.Err() == nil && p.failure() == nil && !p.reached(last) {
			pause(ctx, 5*time.Millisecond)
		}
	}
	a.settle(ctx, false)
}

func (a *App) saveAll() {
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	for _, p := range a.parts {
		a.warn("cannot store snapshot", p.snapshot(ctx))
	}
}

// snapshotLoop stores a partition's snapshot at intervals, staggered over the partitions.
func (a *App) snapshotLoop(ctx context.Context, n int, p *partition) {
	pause(ctx, a.opt.Every.Snapshot*time.Duration(n+1)/station.Partitions)
	save := func() {
		if err := p.commit(ctx); err == nil {
			err = p.snapshot(ctx)
			a.snapshots.Doubt(writerName(n), err)
			a.warn("cannot store snapshot", err)
		}
	}
	if ctx.Err() == nil {
		save()
	}
	every(ctx, a.opt.Every.Snapshot, save)
}

// tickLoop appends the passing of time.
func (a *App) tickLoop(ctx context.Context) {
	every(ctx, a.opt.Every.Tick, func() { a.tick(ctx) })
}

// used lists the partitions that have stations, or open alarms of stations that they had.
func (a *App) used() []int {
	var has [station.Partitions]bool
	for _, s := range a.configured() {
		has[s.Plate.Key.Partition()] = true
	}
	var out []int
	for n, ok := range has {
		if ok || a.parts[n].holdsGone() {
			out = append(out, n)
		}
	}
	return out
}

// trimLoop removes from the log what nobody needs any more: what is older than the time
// to keep, or must make room, and below every snapshot.
func (a *App) trimLoop(ctx context.Context) {
	trim := func() {
		if a.trusted() {
			a.ring.trim(ctx)
		}
	}
	trim()
	every(ctx, a.opt.Every.Trim, trim)
}

// takeMessages connects to the broker.
func (a *App) takeMessages(g *group) {
	g.run(func(ctx context.Context) { a.warn("appending ended", a.batch.Run(ctx)) })
	a.beginFresh(g.ctx)
	g.run(a.lettersLoop)
	for _, s := range a.sources {
		g.run(func(ctx context.Context) { a.warn("receiving ended", s.Run(ctx)) })
	}
}
