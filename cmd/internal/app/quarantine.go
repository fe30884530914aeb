package app

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
	"strokewise/rules"
)

// quarantine keeps a panic of one station's engine or alarms from stopping the others. It is
// shared by the partitions.
type quarantine struct {
	folder  evidenceFolder
	version string // of this program: another one tries again
	part    *health.Part

	// trial is called with what a unit is about to work off; tests let it panic.
	trial func(u *unit, while string, r *station.Record)

	mu    sync.Mutex
	since map[station.Key]station.Instant // stations that are not watched
}

// openQuarantine reads the records of the stations that earlier runs put into quarantine.
func (a *App) openQuarantine() (map[station.Key]*held, error) {
	a.quarantine = &quarantine{
		folder: evidenceFolder(filepath.Join(a.opt.Data, "quarantine")), version: a.opt.Version, part: a.health.Part("station", 0),
		since: make(map[station.Key]station.Instant),
	}
	return a.quarantine.folder.load()
}

// report sets what is said of the stations that are not watched.
func (q *quarantine) report(k station.Key, since station.Instant) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.since[k] = since; since == 0 {
		delete(q.since, k)
	}
	if len(q.since) == 0 {
		q.part.Works()
		return
	}
	var list []string
	for k, at := range q.since {
		list = append(list, k.String()+" since "+at.Floor(station.Second).String())
	}
	slices.Sort(list)
	q.part.Doubtful("a fault of the program keeps stations from being watched, treat them as unknown: %s; their files in %s say more",
		strings.Join(list[:min(len(list), 5)], ", "), q.folder)
}

// count returns how many stations are not watched.
func (q *quarantine) count() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.since)
}

// safe runs f on a unit and reports whether it went through: a panic in it quarantines the
// station. The record is what f works off, nil where it is none.
func (p *partition) safe(u *unit, while string, r *station.Record, f func()) bool {
	if u.dead {
		return false
	}
	fault := pipeline.Try(u.key, while, func() {
		if q := p.quarantine; q != nil && q.trial != nil {
			q.trial(u, while, r)
		}
		f()
	})
	if fault != nil {
		p.isolate(u, fault, r)
	}
	return fault == nil
}

// isolate puts a stand-in in the place of a unit that cannot go on. Where the stand-in fails too,
// nothing is called any more; the alarms stay as they were.
func (p *partition) isolate(u *unit, f *pipeline.Fault, r *station.Record) {
	if u.held != nil {
		u.dead = true
		p.log.Error("what keeps the alarms of a station in quarantine failed too: people's words on them have no effect", "station", u.key, "while", f.While, "panic", f.Panic, "stack", f.Stack)
		return
	}
	at := p.ticked
	if r != nil {
		at = r.Arrival
	}
	h := p.evidence(u, f, r, at)
	where := "no folder"
	if q := p.quarantine; q != nil {
		path, err := q.folder.save(h)
		if where = path; err != nil {
			where = err.Error()
		}
	}
	p.log.Error("a station is not watched from here on, its analysis failed; the others go on. Treat it as unknown, and report the fault with the file",
		"station", u.key, "file", where, "while", f.While, "panic", f.Panic, "stack", f.Stack)
	p.stand(u, h)
	p.unraised = true
	if p.adopted && p.working > p.committed && p.working != p.position { // within an entry whose conclusions will be stored
		p.raiseUnwatched(at)
	}
}

// stand replaces the unit by its stand-in, with its open alarms and what it has concluded.
func (p *partition) stand(u *unit, h *held) {
	old, alarms := u.Unit, slices.Clone(u.alarms)
	plate, work := h.Plate, []rules.AtWork(nil)
	if old != nil {
		for i := range old.Out.Transitions {
			alarms = withTransition(alarms, &old.Out.Transitions[i])
		}
		_ = pipeline.Try(u.key, "its people at work", func() { work = old.AtWork() })
	}
	var in *pipeline.Unit
	if pipeline.Try(u.key, "its plate data", func() { in = pipeline.StandIn(plate, h.Revision) }) != nil {
		in = pipeline.StandIn(station.Plate{Key: u.key, Branch: plate.Branch}, h.Revision)
	}
	u.Unit, u.held = in, h
	p.safe(u, "its alarms", nil, func() {
		if old != nil {
			in.Out = old.Out
		}
		in.Adopt(transitionsOf(alarms))
		in.RecallWork(work, h.At)
	})
	if p.quarantine != nil {
		p.quarantine.report(u.key, h.At)
	}
}

// raiseUnwatched raises the alarm of the stations in quarantine that nobody was told of yet.
func (p *partition) raiseUnwatched(at station.Instant) {
	p.unraised = false
	for _, u := range p.ordered {
		if h := u.held; h != nil {
			p.safe(u, "its alarm", nil, func() { u.Unwatch(max(at, h.At), h.Panic) })
		}
	}
}

// make returns a new unit, a stand-in where its plate data make it panic.
func (p *partition) make(k station.Key, plate station.Plate, revision string) *unit {
	var run *pipeline.Unit
	fault := pipeline.Try(k, "its plate data", func() { run = pipeline.New(plate, revision) })
	u := p.add(k, run)
	if fault != nil {
		h := p.evidence(u, fault, nil, p.ticked)
		h.Plate, h.Revision = plate, revision
		if p.quarantine != nil {
			_, err := p.quarantine.folder.save(h)
			p.log.Error("a station is not watched, its plate data make the analysis fail", "station", k, "panic", fault.Panic, "stack", fault.Stack, "file", err)
		}
		p.stand(u, h)
		p.unraised = true
	}
	return u
}

// evidence gathers what people need to repeat a fault, and what another version begins from.
func (p *partition) evidence(u *unit, f *pipeline.Fault, r *station.Record, at station.Instant) *held {
	h := &held{
		Site: u.key.Site, Station: u.key.Station, Partition: p.number, Position: cmp.Or(p.working, p.position), At: at,
		Units: pipeline.Version, While: f.While, Panic: f.Panic, Stack: f.Stack,
	}
	if p.quarantine != nil {
		h.Program = p.quarantine.version
	}
	if u.Unit != nil {
		_ = pipeline.Try(u.key, "its plate data", func() { h.Plate, h.Revision = *u.Plate(), u.Revision() })
	}
	if r != nil {
		if data, err := samplelog.Encode([]station.Record{*r}); err == nil {
			h.Record = data
		}
	}
	if again := u.again; again != nil { // from where this version began, the next one may too
		h.Snapshot, h.SnapshotAt, h.SnapshotUnits = again.Snapshot, again.SnapshotAt, again.SnapshotUnits
		u.again = nil
		return h
	}
	if err := p.before(h, u.key); err != nil {
		p.log.Warn("the state of a station before its fault cannot be kept; it will begin anew", "station", u.key, "error", err)
	}
	return h
}

// unwatched words why a person's command or a page gets nothing from a station.
func (h *held) unwatched() string {
	return fmt.Sprintf("a fault of the program keeps the station from being watched since %s", h.At.Floor(station.Second))
}
