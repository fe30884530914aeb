package app

import (
	"bytes"
	"context"
	"encoding/gob"
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
		return
	}
	p.position, p.saved, p.savedAt = s.Position, s.Position, time.Now()
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
	if p.dirty || p.failed != nil || p.position == 0 {
		return nil, 0, p.failed
	}
	blob, err := p.save()
	return blob, p.position, err
}

func (p *partition) save() ([]byte, error) {
	var buf bytes.Buffer
	units := p.ordered
	if err := gob.NewEncoder(&buf).Encode(struct {
		N      int
		Ticked station.Instant
	}{len(units), p.ticked}); err != nil {
		return nil, fmt.Errorf("cannot write snapshot of partition %d: %w", p.number, err)
	}
	for _, u := range units {
		if err := u.Save(&buf); err != nil {
			return nil, err
		}
	}
	return buf.Bytes(), nil
}

func (p *partition) restore(blob []byte) error {
	r := bytes.NewReader(blob)
	var h struct {
		N      int
		Ticked station.Instant
	}
	if err := gob.NewDecoder(r).Decode(&h); err != nil {
		return fmt.Errorf("cannot read snapshot of partition %d: %w", p.number, err)
	}
	p.ticked = h.Ticked
	for range h.N {
		u, err := pipeline.Restore(r)
		if err != nil {
			return err
		}
		p.add(u.Plate().Key, u)
	}
	return nil
}
