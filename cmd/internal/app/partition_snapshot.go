package app

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"time"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// start restores the snapshot; without a usable one the partition stays at position zero,
// which rebuilds from what the log still holds.
func (p *partition) start(ctx context.Context, committed uint64) {
	p.committed, p.units = committed, make(map[station.Key]*unit)
	p.knowLearned(p.catalog.learned)
	s, ok, err := p.store.LoadSnapshot(ctx, p.number)
	if err != nil {
		p.log.Warn("snapshot is not usable, rebuilding from the log", "partition", p.number, "error", err)
	}
	if !ok || err != nil || s.Schema != pipeline.Version || s.Engine != engine.Version || s.Position > committed {
		return
	}
	if err := p.restore(s.Blob); err != nil {
		p.log.Warn("snapshot is not usable, rebuilding from the log", "partition", p.number, "error", err)
		p.units, p.ordered = make(map[station.Key]*unit), nil
		p.knowLearned(p.catalog.learned)
		return
	}
	p.position, p.saved, p.savedAt = s.Position, s.Position, time.Now()
	p.recallLearned(s.Position) // of stations that began anew
}

// snapshot stores the state of all units at the committed position.
func (p *partition) snapshot(ctx context.Context) error {
	blob, position, err := p.freeze()
	if err != nil || blob == nil {
		return err
	}
	if err := p.store.SaveSnapshot(ctx, p.number, position, pipeline.Version, engine.Version, blob); err != nil {
		return err
	}
	p.mu.Lock()
	p.saved, p.savedAt = position, time.Now()
	p.pending.saved.Store(position)
	p.mu.Unlock()
	return nil
}

// freeze gives the state of all units, nil while there is something to commit first.
func (p *partition) freeze() ([]byte, uint64, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.dirty || p.midway != 0 || p.failed != nil || p.position == 0 {
		return nil, 0, p.failed
	}
	blob, err := p.save()
	return blob, p.position, err
}

func (p *partition) save() ([]byte, error) {
	var units bytes.Buffer
	h := snapshotHead{Ticked: p.ticked}
	for _, u := range p.ordered {
		if u.held != nil {
			continue
		}
		began, err := units.Len(), error(nil)
		if !p.safe(u, "its snapshot", nil, func() { err = u.Save(&units) }) {
			units.Truncate(began)
			continue
		}
		if err != nil {
			return nil, err
		}
		h.N++
		h.Keys, h.Sizes = append(h.Keys, u.key), append(h.Sizes, units.Len()-began)
	}
	var head bytes.Buffer
	if err := gob.NewEncoder(&head).Encode(&h); err != nil {
		return nil, fmt.Errorf("cannot write snapshot of partition %d: %w", p.number, err)
	}
	return append(head.Bytes(), units.Bytes()...), nil
}

// snapshotHead stands before the units. Keys and Sizes part them, so that one can be read without
// the others; snapshots of older programs have none.
type snapshotHead struct {
	N      int
	Ticked station.Instant
	Keys   []station.Key
	Sizes  []int // bytes
}

// read reads the head; what follows it in r are the units.
func (h *snapshotHead) read(r *bytes.Reader) error {
	if err := gob.NewDecoder(r).Decode(h); err != nil {
		return err
	}
	sum := 0
	for _, n := range h.Sizes {
		sum += n
	}
	if len(h.Sizes) > 0 && (len(h.Sizes) != h.N || len(h.Keys) != h.N || sum != r.Len()) {
		return errors.New("its stations do not add up")
	}
	return nil
}

func (p *partition) restore(blob []byte) error {
	r := bytes.NewReader(blob)
	var h snapshotHead
	if err := h.read(r); err != nil {
		return fmt.Errorf("cannot read snapshot of partition %d: %w", p.number, err)
	}
	p.ticked = h.Ticked
	for i := range h.N {
		if h.Sizes == nil { // of an older program
			u, err := pipeline.Restore(r)
			if err != nil {
				return err
			}
			p.add(u.Plate().Key, u)
			p.experienced(u.Plate().Key)
			continue
		}
		one := make([]byte, h.Sizes[i])
		_, _ = r.Read(one) // they add up, see read
		if err := p.restoreOne(h.Keys[i], one); err != nil {
			return err
		}
	}
	return nil
}

// restoreOne adds a unit. Where its state makes the engine panic, the station begins anew with what is
// stored of what it had learned.
func (p *partition) restoreOne(k station.Key, blob []byte) (err error) {
	var run *pipeline.Unit
	if f := pipeline.Try(k, "its snapshot", func() { run, err = pipeline.Restore(bytes.NewReader(blob)) }); f != nil {
		p.log.Error("the state of a station cannot be restored: it begins anew", "station", k, "panic", f.Panic, "stack", f.Stack)
		plate, revision := p.begin(k)
		p.recall(p.make(k, plate, revision), p.ticked)
		return nil
	}
	if err == nil {
		p.add(k, run)
		p.experienced(k)
	}
	return err
}
