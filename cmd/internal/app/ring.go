package app

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// ring keeps room in the sample log. What is analysed, in the history with what is to be exported,
// and behind every partition's snapshot, is evidence: it goes, oldest first, before the log refuses
// samples. Only samples that are not analysed stop the collector.
type ring struct {
	app      *App
	evidence evidence

	mu    sync.Mutex // one makes room at a time
	pause time.Time  // until then no room is tried for: the last time too little could be dropped

	standing sync.Mutex
	why      [2]string // samples, or the program's and people's own entries, are refused; empty: they are not
}

const (
	roomAgain  = time.Second      // after too little could be dropped, at least
	roomRest   = 4                // times as long as that took, so that storing snapshots does not hold up the analysis it waits for
	roomWithin = 10 * time.Second // for the snapshots that dropping waits for
	roomTries  = 3                // of one entry
	roomSteps  = 12               // of one trimming, each half of what is left to do
)

func newRing(a *App) *ring {
	return &ring{app: a, evidence: evidence{part: a.health.Part("evidence", 0)}}
}

// newest returns a function that returns the newest position of a partition.
func (r *ring) newest(partition int) func() uint64 {
	return func() uint64 { return r.app.samples.Newest(partition) }
}

// errBehind is wrapped beside samplelog.ErrFull: all that the log holds is needed.
var errBehind = errors.New("it holds nothing but samples that are not analysed yet")

// Append implements batch.Appender: it makes room where the log is full.
func (r *ring) Append(ctx context.Context, partition int, records []station.Record) (uint64, error) {
	for try := 1; ; try++ {
		p, err := r.app.samples.Append(ctx, partition, records)
		switch {
		case err == nil:
			r.took(kind(records))
			r.app.parts[partition].pending.appended(time.Now())
			return p, nil
		case !errors.Is(err, samplelog.ErrFull):
			r.refused(ctx, kind(records), err)
			return 0, err
		}
		if try == roomTries || !r.room(ctx, samplelog.Weight(records)) {
			err = fmt.Errorf("%w: %w; %s", err, errBehind, r.holder())
			r.refused(ctx, kind(records), err)
			return 0, err
		}
	}
}

// Kinds of entries: the program's and people's own have a reserve.
const (
	ofSamples = iota
	ofOthers
)

// kind returns the kind of an entry.
func kind(records []station.Record) int {
	for i := range records {
		if r := &records[i]; r.Command != nil || r.Epoch != nil || r.Tick {
			return ofOthers
		}
	}
	return ofSamples
}

// took notes that the log takes entries of a kind.
func (r *ring) took(kind int) {
	r.standing.Lock()
	defer r.standing.Unlock()
	if r.why[kind] != "" {
		r.why[kind] = ""
		r.report()
	}
}

// refused notes why it does not.
func (r *ring) refused(ctx context.Context, kind int, err error) {
	if ctx.Err() != nil {
		return
	}
	r.standing.Lock()
	defer r.standing.Unlock()
	r.why[kind] = err.Error()
	r.report()
}

func (r *ring) report() {
	say := func(kind int, what string) {
		var err error
		if r.why[kind] != "" {
			err = fmt.Errorf("%s: %s", what, r.why[kind])
		}
		r.app.logPart.Report(what, err)
	}
	say(ofSamples, "the sample log does not take records: no sample is acknowledged")
	say(ofOthers, "the sample log does not take records: neither ticks nor commands are written down")
}

// room drops evidence so that an entry of so many bytes fits, and reports whether the entry should be
// tried again.
func (r *ring) room(ctx context.Context, need int64) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	began := time.Now()
	if began.Before(r.pause) {
		return false
	}
	c, cancel := context.WithTimeout(context.WithoutCancel(ctx), roomWithin)
	defer cancel()
	dropped, enough, err := r.shorten(c, need)
	r.app.warn("cannot make room in the sample log", err)
	if !enough {
		r.pause = time.Now().Add(min(max(roomAgain, roomRest*time.Since(began)), roomWithin))
	}
	return dropped || enough
}

// trim removes what is older than the time to keep, and then what must go to keep room.
func (r *ring) trim(ctx context.Context) {
	r.mu.Lock()
	defer r.mu.Unlock()
	to, err := r.app.samples.Before(ctx, r.app.time().Add(-r.app.opt.Keep))
	if err != nil {
		r.app.warn("cannot find what to trim", r.app.doubtful("trim", r.app.opt.Every.Trim, err))
		return
	}
	r.app.warn("cannot trim the sample log", r.app.doubtful("trim", r.app.opt.Every.Trim, r.app.trim(ctx, to)))
	size, err := r.app.samples.Size(ctx)
	if err == nil && r.tight(size, 0) {
		_, _, err = r.shorten(ctx, 0)
		size, _ = r.app.samples.Size(ctx)
	}
	r.app.warn("cannot make room in the sample log", err)
	r.evidence.look(time.Now(), r.app, size)
}

// tight reports whether the log must be trimmed, so that an entry of so many bytes fits beside what
// samples leave to others.
func (r *ring) tight(s samplelog.Size, need int64) bool {
	return s.MaxBytes > 0 && (float64(s.Bytes) > samplelog.TrimAbove*float64(s.MaxBytes) || s.Bytes+need > samplelog.ForSamples(s.MaxBytes))
}

// shorten drops the oldest entries that nobody needs until the log holds no more than TrimTo of what
// it may, and an entry of so many bytes fits. It reports whether it dropped any, and whether there is
// room now. How many bytes the oldest
// entries have is not known beforehand: each step goes half of the way that entries of average size
// would make.
func (r *ring) shorten(ctx context.Context, need int64) (dropped, enough bool, err error) {
	a := r.app
	size, err := a.samples.Size(ctx)
	if err != nil || !r.tight(size, need) {
		return false, err == nil, err
	}
	old, err := a.samples.Before(ctx, a.time().Add(-a.opt.Keep))
	if err != nil {
		return false, false, err
	}
	first := size.First
	size, err = r.steps(ctx, size, need)
	if dropped = size.First > first; dropped {
		r.evidence.drop(time.Now(), a, size, int64(size.First)-int64(max(first, old+1)))
	}
	return dropped, !r.tight(size, need), err
}

// steps trims step by step, and returns what the log holds afterwards.
func (r *ring) steps(ctx context.Context, size samplelog.Size, need int64) (samplelog.Size, error) {
	near := (samplelog.TrimAbove - samplelog.TrimTo) / 4 * float64(size.MaxBytes)
	target := min(samplelog.TrimTo*float64(size.MaxBytes), float64(samplelog.ForSamples(size.MaxBytes)-need)-near)
	saved := false
	for step := 0; step < roomSteps && float64(size.Bytes) > target+near; step++ {
		share := (1 - target/float64(size.Bytes)) / 2
		to := size.First + uint64(share*float64(size.Last-size.First))
		can, _, err := r.app.unneeded(ctx)
		if err == nil && can < to && !saved {
			saved = true
			r.save(ctx, to)
			can, _, err = r.app.unneeded(ctx)
		}
		if err != nil || can < size.First {
			return size, err
		}
		if err := r.app.samples.Trim(ctx, min(can, to)); err != nil {
			return size, err
		}
		next, err := r.app.samples.Size(ctx)
		if err != nil {
			return size, err
		}
		size = next
	}
	return size, nil
}

// save stores snapshots of the partitions that need entries at or below a position to be restored.
func (r *ring) save(ctx context.Context, to uint64) {
	for _, p := range r.app.parts {
		if at := p.pending.saved.Load(); at >= to || p.pending.position.Load() <= at {
			continue
		}
		if ctx.Err() != nil {
			return
		}
		if !p.answersSoon(ctx) { // it hangs, and the log is kept for it
			continue
		}
		if err := p.commit(ctx); err == nil { // else it says so itself, and the log is kept for it
			r.app.warn("cannot store snapshot", p.snapshot(ctx))
		}
	}
}

// savePatience is how long a partition is waited for that works or commits.
const savePatience = time.Second

// answersSoon reports whether the partition's lock can be had soon.
func (p *partition) answersSoon(ctx context.Context) bool {
	for until := time.Now().Add(savePatience); ctx.Err() == nil && time.Now().Before(until); pause(ctx, 5*time.Millisecond) {
		if p.mu.TryLock() {
			p.mu.Unlock()
			return true
		}
	}
	return false
}

// holder words which partition the log is kept for.
func (r *ring) holder() string {
	ctx, cancel := context.WithTimeout(context.Background(), roomWithin)
	defer cancel()
	can, n, err := r.app.unneeded(ctx)
	if err != nil || n < 0 {
		return "raise log.max_bytes"
	}
	p := r.app.parts[n]
	what := fmt.Sprintf("partition %d holds it, restorable from position %d of %d, analysed up to %d", n, can, r.app.samples.Newest(n), p.pending.position.Load())
	if age := p.pending.age(time.Now(), r.app.samples.Newest(n)); age > 0 {
		what += fmt.Sprintf(", with something to commit for %s", age.Round(time.Millisecond))
	}
	return what + "; see /readyz for what it waits for, or raise log.max_bytes"
}

// unneeded returns the position up to which no partition needs the log to be restored, and the
// partition that needs what follows, -1: none. A partition needs nothing where its snapshot holds all
// it ever got: else one that gets nothing more would keep a full log full for ever. It waits for no
// partition that works or commits.
func (a *App) unneeded(ctx context.Context) (to uint64, holder int, err error) {
	size, err := a.samples.Size(ctx)
	if err != nil {
		return 0, -1, err
	}
	to, holder = size.Last, -1
	for n, p := range a.parts {
		last, _, err := a.samples.Last(ctx, n) // asked after the end of the log: it is not older
		if err != nil {
			return 0, -1, err
		}
		if has := p.pending.saved.Load(); has < max(last, p.pending.position.Load()) && has < to {
			to, holder = has, n
		}
	}
	return to, holder, nil
}

// trim removes from the log what is at or below a position and below what every partition
// needs to be restored.
func (a *App) trim(ctx context.Context, to uint64) error {
	can, _, err := a.unneeded(ctx)
	if to = min(to, can); err != nil || to == 0 {
		return err
	}
	return a.samples.Trim(ctx, to)
}
