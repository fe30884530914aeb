package app

import (
	"bytes"
	"context"
	"errors"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
)

// admit resumes the stations that were in quarantine, once the snapshot is restored. The same
// version leaves them there; another one tries again.
func (p *partition) admit(records map[station.Key]*held) {
	for k, h := range records {
		if k.Partition() != p.number {
			continue
		}
		switch {
		case h.Position > p.committed: // nothing of it was stored: the log is worked off again, and so is the fault
			p.putAside(k)
		case h.Program == p.quarantine.version && h.Units == pipeline.Version:
			u := p.units[k]
			if u == nil {
				u = p.add(k, nil)
			}
			p.stand(u, h)
			p.unraised = true
		default:
			p.log.Info("a station that was in quarantine is tried again by this version", "station", k, "since", h.At.Time(), "version", h.Program)
			p.retry(k, h)
		}
	}
}

func (p *partition) putAside(k station.Key) {
	if err := p.quarantine.folder.over(k); err != nil {
		p.log.Warn("cannot put aside the file of a station that was in quarantine; remove it", "station", k, "error", err)
	}
}

// retry makes the unit as it was before the fault. Where the whole partition is rebuilt from the
// log, so is the station.
func (p *partition) retry(k station.Key, h *held) {
	if p.retries == nil {
		p.retries = make(map[station.Key]*held)
	}
	p.retries[k] = h
	if p.position == 0 {
		return
	}
	if h.SnapshotUnits == pipeline.Version && len(h.Snapshot) > 0 {
		var run *pipeline.Unit
		var err error
		f := pipeline.Try(k, "its snapshot", func() { run, err = pipeline.Restore(bytes.NewReader(h.Snapshot)) })
		if f == nil && err == nil {
			p.add(k, run)
			p.experienced(k)
			return
		}
		p.log.Warn("the state of a station before its fault is not usable, it begins anew", "station", k, "error", errors.Join(err, asError(f)))
	}
	h.SnapshotAt = 0
	p.recall(p.make(k, h.Plate, h.Revision), p.ticked)
}

func asError(f *pipeline.Fault) error {
	if f == nil {
		return nil
	}
	return f
}

// behind returns from where the log has to be read again for stations that are tried again, false
// where there are none.
func (p *partition) behind() (from uint64, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.ordered {
		if u.again != nil && p.position > 0 && (!ok || u.again.SnapshotAt < from) {
			from, ok = u.again.SnapshotAt, true
		}
	}
	return from, ok
}

// errThere ends a reading that has come to its end.
var errThere = errors.New("read up to there")

// retryAll lets the stations of a partition that are tried again catch up with the others, by what
// the log still holds.
func (a *App) retryAll(ctx context.Context, n int, p *partition) error {
	from, ok := p.behind()
	if !ok {
		return nil
	}
	last, _, err := a.samples.Last(ctx, n)
	if err != nil {
		return err
	}
	size, err := a.samples.Size(ctx)
	if err != nil {
		return err
	}
	to := min(last, p.at())
	if to <= from || size.First > to {
		return nil
	}
	err = a.samples.Read(ctx, n, from, func(e samplelog.Entry) error {
		if e.Position <= to {
			p.again(&e)
		}
		if e.Position >= to {
			return errThere
		}
		return nil
	})
	if errors.Is(err, errThere) {
		err = nil
	}
	return err
}

// again works an entry off for the stations that are tried again.
func (p *partition) again(e *samplelog.Entry) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.working = e.Position
	defer func() { p.working = p.position }()
	for _, u := range p.ordered {
		if u.again == nil || e.Position <= u.again.SnapshotAt {
			continue
		}
		for i := range e.Records {
			if r := &e.Records[i]; r.Tick || r.Key == u.key {
				p.safe(u, "its samples, again", r, func() { u.redo(r) })
			}
		}
		p.forget(u, e.Position)
	}
	p.recallLearned(e.Position)
}

// redo works a record off without what belongs to the partition: audit, notes, rings.
func (u *unit) redo(r *station.Record) {
	switch {
	case r.Tick:
		u.Tick(r.Arrival)
	case r.Epoch != nil:
		u.Epoch(r.Epoch, r.Arrival)
	case r.Command != nil:
		_ = u.Command(r.Command, r.Arrival)
	default:
		u.Samples(r.Blocks, r.Arrival)
	}
}

// forget drops what a unit concluded from an entry that was worked off before. Of a station that
// was in quarantine then, minutes and states are new and wait for the next commit; its alarms go on
// from what people know, see adopt.
func (p *partition) forget(u *unit, position uint64) {
	if u.again == nil && u.held == nil || u.again != nil && position < u.again.Position {
		u.discard()
		return
	}
	o := &u.Out
	o.Strokes, o.Transitions, o.Feeds = o.Strokes[:0], o.Transitions[:0], o.Feeds[:0]
	u.told = len(o.Intervals)
}

// watchedAgain ends a retry: what followed from it is stored.
func (p *partition) watchedAgain(u *unit) {
	if u.again == nil || u.held != nil {
		return
	}
	u.again = nil
	delete(p.retries, u.key)
	p.putAside(u.key)
	p.quarantine.report(u.key, 0)
	p.log.Info("a station is watched again", "station", u.key)
}

// before puts the station's state of the newest snapshot into its record.
func (p *partition) before(h *held, k station.Key) error {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	s, ok, err := p.store.LoadSnapshot(ctx, p.number)
	if err != nil || !ok || s.Schema != pipeline.Version {
		return err
	}
	r := bytes.NewReader(s.Blob)
	var head snapshotHead
	if err := head.read(r); err != nil {
		return err
	}
	for i, n := range head.Sizes {
		one := make([]byte, n)
		_, _ = r.Read(one)
		if head.Keys[i] == k {
			h.Snapshot, h.SnapshotAt, h.SnapshotUnits = one, s.Position, s.Schema
		}
	}
	return nil
}

// shown returns what the board says of a station in quarantine.
func (h *held) shown() *board.Unwatched {
	return &board.Unwatched{Since: h.At, Why: h.While + ": " + h.Panic}
}
