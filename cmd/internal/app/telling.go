package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/rules/notify"
)

// toldVersion is the newest version of the record that this program reads.
const toldVersion = 1

// toldRecord is what the holder of a shared log leaves there for the next one.
type toldRecord struct {
	Version int    `json:"version"`
	Log     string `json:"log"` // in which the positions count
	history.Told
}

// parseTold reads a record; nil where there is none for this log.
func parseTold(text []byte, log string) (*history.Told, error) {
	if len(text) == 0 {
		return nil, nil
	}
	var r toldRecord
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, fmt.Errorf("cannot read what the last holder of the sample log has told: %w", err)
	}
	if r.Version != toldVersion {
		return nil, fmt.Errorf("cannot read what the last holder of the sample log has told: version %d, this program knows version %d; run the newer program", r.Version, toldVersion)
	}
	if r.Log != log {
		return nil, nil
	}
	r.Told.Sort()
	return &r.Told, nil
}

// telling keeps the record of a shared log.
type telling struct {
	store   *history.Store
	samples *samplelog.JetStream
	log     string        // identity of the sample log
	before  *history.Told // as the last holder left it; nil: nothing

	noting  sync.Mutex // one record after the other
	mu      sync.Mutex
	asked   int64 // calls of note
	covered int64 // of these, the ones that a record covers
}

// openTold reads what the holder before us has told, and drops from our outbox what is told by now.
func (a *App) openTold(ctx context.Context) error {
	if !a.samples.Shared() {
		return nil
	}
	id, err := a.samples.ID(ctx)
	if err != nil {
		return err
	}
	before, err := parseTold(a.samples.Told(), id)
	if err != nil {
		return err
	}
	a.telling = &telling{store: a.store, samples: a.samples, log: id, before: before}
	if before == nil {
		return nil
	}
	size, err := a.samples.Size(ctx)
	if err != nil {
		return err
	}
	for n := range before.Positions { // a log that has lost its end gives positions out again
		before.Positions[n] = min(before.Positions[n], size.Last)
	}
	n, err := a.store.DropTold(ctx, before)
	if n > 0 {
		a.log.Info("another process has told meanwhile what waited here to be told", "notifications", n)
	}
	return err
}

// upto returns the position of a partition up to which another process may have told what is
// concluded, and what it had not; nil where nobody has told anything.
func (a *App) upto(n int) (uint64, *history.Told) {
	if a.telling == nil || a.telling.before == nil {
		return 0, nil
	}
	return a.telling.before.Positions[n], a.telling.before
}

// note leaves for the next holder what has been told by now. Calls that come while a record is
// written share the next one.
func (t *telling) note(ctx context.Context) error {
	t.mu.Lock()
	t.asked++
	mine := t.asked
	t.mu.Unlock()
	t.noting.Lock()
	defer t.noting.Unlock()
	t.mu.Lock()
	done, upto := t.covered >= mine, t.asked
	t.mu.Unlock()
	if done {
		return nil
	}
	if err := t.write(ctx); err != nil {
		return err
	}
	t.mu.Lock()
	t.covered = upto
	t.mu.Unlock()
	return nil
}

// write writes the record. Until we have worked off all that the last holder had, its record
// stands: ours would say that less was told.
func (t *telling) write(ctx context.Context) error {
	now, err := t.store.Told(ctx)
	if err != nil {
		return err
	}
	if b := t.before; b != nil {
		for n := range now.Positions {
			if now.Positions[n] < b.Positions[n] {
				return nil
			}
		}
		now.Headers = newest(now.Headers, b.Headers)
	}
	text, err := json.Marshal(toldRecord{Version: toldVersion, Log: t.log, Told: *now})
	if err != nil {
		return fmt.Errorf("cannot encode what was told: %w", err)
	}
	return t.samples.SetTold(ctx, text)
}

// noteTold leaves for the next holder of a shared log what has been told by now.
func (a *App) noteTold() {
	if a.telling == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	if err := a.telling.note(ctx); err != nil && a.speak() == nil {
		a.warn("cannot leave for a process that may take over what has been told; it would tell it again, under the same id", err)
	}
}

// newest returns the later time of each header of two lists.
func newest(a, b []history.Upto) []history.Upto {
	at := map[station.Key]station.Instant{}
	for _, u := range slices.Concat(a, b) {
		k := station.Key{Site: u.Site, Station: u.Station}
		at[k] = max(at[k], u.At)
	}
	out := make([]history.Upto, 0, len(at))
	for k, t := range at {
		out = append(out, history.Upto{Site: k.Site, Station: k.Station, At: t})
	}
	t := history.Told{Headers: out}
	t.Sort()
	return t.Headers
}

// outbox is the history's, and notes at the shared log what has been delivered. A process that is
// stopped between a delivery and its note leaves one delivery a receiver in doubt: the next holder
// makes it again, under the same id.
type outbox struct {
	*history.Store
	told *telling
	warn func(what string, err error)
}

func (o outbox) noted(ctx context.Context, err error) error {
	if err != nil {
		return err
	}
	if err := o.told.note(ctx); err != nil && !errors.Is(err, samplelog.ErrLease) {
		o.warn("cannot leave for a process that may take over what has been told; it would tell it again, under the same id", err)
	}
	return nil
}

// OutboxDone implements notify.Outbox.
func (o outbox) OutboxDone(ctx context.Context, id int64) error {
	return o.noted(ctx, o.Store.OutboxDone(ctx, id))
}

// OutboxDoneAll removes delivered items.
func (o outbox) OutboxDoneAll(ctx context.Context, ids []int64) error {
	return o.noted(ctx, o.Store.OutboxDoneAll(ctx, ids))
}

// box returns the outbox that senders work off.
func (a *App) box() interface {
	notify.Outbox
	notify.Waiting
} {
	if a.telling == nil {
		return a.store
	}
	return outbox{a.store, a.telling, a.warn}
}
