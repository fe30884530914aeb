package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// newLog says where a restored history takes up the log.
type newLog struct {
	id        string // of the log
	positions [station.Partitions]uint64
	why       string
}

// belong checks that the history's positions count in this sample log. A history that was
// restored on purpose may go on with another one, from where newLog says; any other is
// refused: the positions of one log mean nothing in another.
func (a *App) belong(ctx context.Context, positions [station.Partitions]uint64) (*newLog, error) {
	l, err := a.store.Lineage(ctx)
	if err != nil {
		return nil, err
	}
	id, err := a.samples.ID(ctx)
	if err != nil {
		return nil, err
	}
	size, err := a.samples.Size(ctx)
	if err != nil {
		return nil, err
	}
	other := ""
	for n, p := range positions {
		switch {
		case p > size.Last:
			other = fmt.Sprintf("the history has worked off the sample log up to position %d of partition %d, and the log ends at %d", p, n, size.Last)
		case p > 0 && l.Log != id && (l.Log != "" || l.Restored != ""):
			other = fmt.Sprintf("the history has worked off another sample log (%q) than this one (%q)", l.Log, id)
		}
	}
	most := slices.Max(positions[:])
	switch {
	case other != "" && l.Restored == "" && (l.Log == id || l.Log == "") && size.Last > 0 && most > size.Last && most-size.Last <= samplelog.MostLost:
		if err := a.fillLostEnd(ctx, size, most); err != nil || l.Log == id {
			return nil, err
		}
		return nil, a.store.JoinLog(ctx, id, nil)
	case other != "" && l.Restored != "":
		if id == l.Log { // an older copy of the same log: what it numbers from now on is not what was numbered so before
			if id, err = a.samples.Renew(ctx); err != nil {
				return nil, err
			}
		}
		n := &newLog{id: id, why: fmt.Sprintf("a new log begins: %s. What it holds up to position %d is left out", other, size.Last)}
		for p := range n.positions {
			n.positions[p] = size.Last
		}
		return n, nil
	case other != "":
		return nil, fmt.Errorf("cannot go on in %q: %s; the log folder was replaced or restored from an older copy. Restore log and history together, or tell that the log is lost (strokewise backup --data %[1]s --out COPY, then strokewise restore --data %[1]s --replace COPY), or move history.db away to begin a new history", a.opt.Data, other)
	case l.Restored == "" && l.Log == id:
		return nil, nil
	case l.Restored == "":
		return nil, a.store.JoinLog(ctx, id, nil)
	}
	first := size.First
	if first == 0 { // empty
		first = size.Last + 1
	}
	return a.resume(ctx, id, positions, first)
}

// resume goes on from a restored history with the log that it had worked off: the log
// holds what followed. Where it has been trimmed beyond the engines' snapshots, the engines
// cannot work off what led to the stored positions, and go on from there with a gap.
func (a *App) resume(ctx context.Context, id string, positions [station.Partitions]uint64, first uint64) (*newLog, error) {
	for n, p := range positions {
		s, ok, err := a.store.LoadSnapshot(ctx, n)
		if err != nil {
			a.log.Warn("snapshot is not usable", "partition", n, "error", err)
		}
		if p > 0 && (!ok || s.Position+1 < first) && first > 1 {
			return &newLog{id: id, positions: positions, why: fmt.Sprintf("the sample log begins at position %d, behind what the restored engines have seen: the time between is missing", first)}, nil
		}
	}
	a.log.Info("the restored history goes on with its sample log")
	return nil, a.store.JoinLog(ctx, id, a.act("the sample log holds what followed the backup: it is worked off from there"))
}

func (a *App) act(detail string) *history.Act {
	return &history.Act{At: a.now(), Who: "strokewise", What: "start after restore", Target: a.opt.Data, Detail: detail}
}

// beginLog moves the restored engines to the log's new positions.
func (a *App) beginLog(ctx context.Context, n *newLog) error {
	h := history.NewLog{Log: n.id, Positions: n.positions, Act: *a.act(n.why)}
	for i, p := range a.parts {
		blob, err := p.moveTo(ctx, n.positions[i])
		if err != nil {
			return err
		}
		h.Snapshots[i] = history.Snapshot{Position: n.positions[i], Schema: pipeline.Version, Engine: engine.Version, Blob: blob}
	}
	if err := a.store.BeginLog(ctx, h); err != nil {
		return err
	}
	a.log.Warn("the restored history goes on", "how", n.why)
	return nil
}

// moveTo lets the units go on at a position of another log, and gives their state. They
// may be older than what is stored of them, by a minute or so; the alarms are set to what
// is stored, since nothing will tell how they came there.
func (p *partition) moveTo(ctx context.Context, position uint64) ([]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.ordered {
		start, strokes := u.Open()
		stored, until, err := p.store.StrokesSince(ctx, u.key, start)
		if err != nil {
			return nil, err
		}
		if start != 0 && until != 0 {
			u.Resume(until, stored-strokes)
		}
	}
	p.adoptAll(p.now())
	for _, l := range p.learned {
		l.position = 0 // before all that the other log will hold
	}
	p.recallLearned(position)
	p.position, p.committed = position, position
	blob, err := p.save()
	if err == nil {
		p.saved, p.savedAt = position, time.Now()
		p.pending.position.Store(position)
		p.pending.saved.Store(position)
	}
	return blob, err
}

func transitionsOf(alarms []board.Alarm) []rules.Transition {
	out := make([]rules.Transition, len(alarms))
	for i := range alarms {
		out[i] = alarms[i].Transition
	}
	return out
}
