// Package app is the runtime that ties collector, analyzer, rules and dashboards
// together. The binary and the end-to-end tests share it.
package app

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/cmd/internal/pipeline"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/dashboards/live"
	"strokewise/dashboards/prometheus"
	"strokewise/rules"
)

// Store is what a partition needs of the history.
type Store interface {
	Commit(ctx context.Context, commits []history.Commit) error
	SaveSnapshot(ctx context.Context, partition int, position uint64, schema, engine string, blob []byte) error
	LoadSnapshot(ctx context.Context, partition int) (history.Snapshot, bool, error)
	Today(ctx context.Context, k station.Key, from station.Instant) ([station.NumStates]int64, error)
	Rebuild(ctx context.Context, r *history.Rebuilt) (history.Correction, error)
	Strokes(ctx context.Context, k station.Key, from, to station.Instant) (strokes, lost int64, err error)
	StrokesSince(ctx context.Context, k station.Key, from station.Instant) (strokes int64, until station.Instant, err error)
}

// catalog gives what is known of the stations from the configuration and, as of the
// start, from the history.
type catalog struct {
	stations map[station.Key]Station
	zones    map[string]*time.Location // by site
	tariffs  map[string]*cost.Tariffs  // by site
	totals   map[station.Key]board.Totals
	costs    map[station.Key]cost.Account
	today    map[station.Key][station.NumStates]int64
	alarms   map[station.Key][]board.Alarm
	day      map[string]station.Instant // midnight of today, by site
	records  map[station.Key][]record   // of done services
	declarations
	learned map[station.Key]history.Learned // as of the start
	holds   map[station.Key]int64           // hold-off of the headers that several stations hang on, ns
	late    map[station.Key]lateOf          // as of the start
}

// partition is the only writer of its stations: it reads its part of the log, runs
// their units, commits what they conclude, and shows it on the board.
type partition struct {
	number  int
	store   Store
	board   *board.Board
	live    *live.Live
	catalog *catalog
	log     *slog.Logger
	wake    func()       // the outbox has something new
	hurry   func()       // an alarm waits for its commit
	nudge   func()       // there is something for the alarms of headers
	speak   func() error // nil while what is concluded counts; nil: always
	toldTo  uint64       // what was concluded up to here another process has told, less what told names
	told    *history.Told
	answers *answers
	health  *health.Part
	now     func() station.Instant // the program's time
	timings *prometheus.Timings    // nil: none are taken
	arrived []station.Instant      // when the entries came that wait for their commit
	newest  func() uint64          // entry of the log's share, as far as known
	pending pending

	mu        sync.Mutex
	units     map[station.Key]*unit
	ordered   []*unit // the units by key: what one record does to several must not depend on map order
	position  uint64  // of the newest entry worked off
	midway    uint64  // of the entry that is being worked off, 0: none
	nth       int     // record of that entry
	news      history.LateNews
	committed uint64 // of the newest commit: outputs up to here are stored already
	ticked    station.Instant
	adopted   bool // the units' alarms stand as the history has them, see adopt
	dirty     bool
	urgent    bool // an alarm's change or a command waits for its commit
	waiting   int  // conclusions that wait for a commit
	people    people
	failed    error
	// why the newest commit failed; nil when it did not
	uncommitted error
	commits     int64
	commitNs    int64 // duration of the last commit
	commitSum   int64 // ns, of all of them
	commitAt    time.Time
	saved       uint64 // position of the newest snapshot
	savedAt     time.Time

	quarantine *quarantine // nil: a station that panics is put aside, and nothing is kept of it
	working    uint64      // position of the entry that is worked off
	unraised   bool        // a station is in quarantine and nobody was told
	retries    map[station.Key]*held
	learned    map[station.Key]*learnedOf
}

// unit is a pipeline unit with its committed sums.
type unit struct {
	*pipeline.Unit
	key    station.Key
	totals board.Totals
	since  board.Since
	costs  cost.Account
	prices []cost.Charge // of Out.Minutes, see price
	today  [station.NumStates]int64
	day    station.Instant // midnight that today counts from
	alarms []board.Alarm
	told   int   // of Out.Intervals: those the rings have
	duesAt int64 // minute for which due is
	due    []rules.Due
	held   *held // in quarantine: Unit is a stand-in
	dead   bool  // the stand-in failed too
	again  *held // tried again after it was in quarantine, not yet stored
	late   lateOf
}

func (p *partition) epoch(r *station.Record) {
	u := p.units[r.Key]
	if u == nil && r.Epoch.Removed() {
		return // nothing of it is open and nobody is at work: adopt would have made its unit
	}
	if u == nil {
		u = p.make(r.Key, r.Epoch.Plate, r.Epoch.Revision)
		p.recall(u, r.Arrival)
	}
	p.safe(u, "its plate data", r, func() { u.Epoch(r.Epoch, r.Arrival) })
}

// unit gives the unit of a station, made from the configuration if the log's own word on
// its plate has been trimmed; nil for a station that is no longer configured.
func (p *partition) unit(k station.Key, at station.Instant) *unit {
	if u := p.units[k]; u != nil {
		return u
	}
	s, ok := p.catalog.stations[k]
	if !ok {
		return nil
	}
	u := p.make(k, s.Plate, s.Revision)
	p.recall(u, at)
	return u
}

// add takes a unit in, with the sums that the history had of it at the start.
func (p *partition) add(k station.Key, run *pipeline.Unit) *unit {
	c := p.catalog
	if run != nil {
		run.KeepStrokes = true // for the rings, see tell
	}
	u := &unit{Unit: run, again: p.retries[k], key: k, totals: c.totals[k], costs: slices.Clone(c.costs[k]), today: c.today[k], day: c.day[k.Site], alarms: c.alarms[k], late: c.late[k]}
	p.units[k] = u
	at, _ := slices.BinarySearchFunc(p.ordered, u, byKey)
	p.ordered = slices.Insert(p.ordered, at, u)
	return u
}

func byKey(a, b *unit) int {
	return cmp.Or(cmp.Compare(a.key.Site, b.key.Site), cmp.Compare(a.key.Station, b.key.Station))
}

// hurried tells whether an alarm's change waits for its commit. After a commit that failed
// nothing is hurried.
func (p *partition) hurried() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.urgent && p.uncommitted == nil
}

// show puts the unit on the board. One whose station is no longer configured stays there until
// nothing of it is open.
func (p *partition) show(u *unit) {
	_, configured := p.catalog.stations[u.key]
	if !configured && len(u.alarms) == 0 {
		p.board.Remove(u.key)
		return
	}
	var s board.Station
	for range 2 { // what fails is shown by its stand-in
		if p.safe(u, "its page", nil, func() { s = p.picture(u, configured) }) {
			p.board.Put(s)
			return
		}
	}
	p.board.Put(board.Station{Gone: !configured, Plate: u.held.Plate, Status: unseen(), Totals: u.totals, Since: u.since, Today: u.today, Alarms: u.alarms, Unwatched: u.held.shown()})
}

// picture returns what the board shows of the unit.
func (p *partition) picture(u *unit, configured bool) board.Station {
	n := u.Tally()
	s := board.Station{
		Gone:  !configured,
		Plate: *u.Plate(), Status: *u.Status, Totals: u.totals, Since: u.since, Costs: slices.Clone(u.costs), Today: u.today,
		Reached: u.late.ceiling.Totals, ReachedCosts: u.late.ceiling.Costs,
		Alarms: u.standing(),
		LagNs:  u.LagNs(), Newest: u.Arrived(), OffsetNs: u.OffsetNs(), SilentSince: u.SilentSince(p.ticked, rules.SilenceNs),
		Late: n.Late, Duplicate: n.Duplicate, ClockSteps: n.ClockSteps, Gaps: n.Gaps, Arrival: n.Arrival,
		Counter: board.CounterOddities(n.Counter), Dues: u.dues(p.ticked), Below: u.Below(), AtWork: u.AtWork(),
	}
	if !u.Stepped() {
		s.Status = unseen()
	}
	if u.held != nil {
		s.Unwatched = u.held.shown()
	}
	return s
}

// unseen returns the status of a station that has taken no step.
func unseen() station.Status {
	return station.Status{StateReason: station.StateReason{Is: station.NoSamples}, Inlet: station.Unknown("no samples yet"),
		Outlet: station.Unknown("no samples yet"), StrokeRate: station.Unknown("no samples yet")}
}

// standing returns the alarms that are not normal, with what is read now.
func (u *unit) standing() []board.Alarm {
	out := append([]board.Alarm(nil), u.alarms...)
	for i := range out {
		if r, ok := u.Progress(out[i].Transition.Alarm); ok {
			out[i].Progress = &r
		}
	}
	return out
}

// midnight gives the start of the day of t in the site's zone.
func midnight(t station.Instant, zone *time.Location) station.Instant {
	if zone == nil {
		zone = time.UTC
	}
	y, m, d := t.Time().In(zone).Date()
	return station.InstantOf(time.Date(y, m, d, 0, 0, 0, 0, zone))
}

func (u *unit) addTransition(t *rules.Transition) { u.alarms = withTransition(u.alarms, t) }

// reached tells whether the partition has worked off the log up to position.
func (p *partition) reached(position uint64) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.position >= position
}

// fail stops the partition with an error that readiness shows.
func (p *partition) fail(err error) {
	if err == nil || errors.Is(err, context.Canceled) {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failed == nil {
		p.failed = err
		p.health.Fails("stopped: %v", err)
		p.log.Error("partition stopped", "partition", p.number, "error", err)
	}
}

// failure gives the error that stopped the partition.
func (p *partition) failure() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.failed
}

// at gives the position of the newest entry worked off.
func (p *partition) at() uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.position
}

// showAll puts all units on the board.
func (p *partition) showAll() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.units {
		p.show(u)
	}
}

// partFigures are a partition's own.
type partFigures struct {
	position          uint64
	commits           int64
	commitSeconds     float64
	commitSum         float64 // s
	commitAt, savedAt time.Time
}

func (p *partition) figures() partFigures {
	p.mu.Lock()
	defer p.mu.Unlock()
	return partFigures{p.position, p.commits, float64(p.commitNs) * 1e-9, float64(p.commitSum) * 1e-9, p.commitAt, p.savedAt}
}
