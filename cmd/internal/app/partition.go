// Package app is the runtime that ties collector, analyzer, rules and dashboards
// together. The binary and the end-to-end tests share it.
package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/dashboards/live"
	"strokewise/rules"
)

// Store is what a partition needs of the history.
type Store interface {
	Commit(ctx context.Context, commits []history.Commit) error
	SaveSnapshot(ctx context.Context, partition int, position uint64, schema, engine string, blob []byte) error
	LoadSnapshot(ctx context.Context, partition int) (history.Snapshot, bool, error)
	Today(ctx context.Context, k station.Key, from station.Instant) ([station.NumStates]int64, error)
	Strokes(ctx context.Context, k station.Key, from, to station.Instant) (strokes, lost int64, err error)
}

// catalog gives what is known of the stations from the configuration and, as of the
// start, from the history.
type catalog struct {
	stations map[station.Key]Station
	zones    map[string]*time.Location // by site
	totals   map[station.Key]board.Totals
	today    map[station.Key][station.NumStates]int64
	alarms   map[station.Key][]board.Alarm
	day      map[string]station.Instant // midnight of today, by site
	records  map[station.Key][]record   // of done services
	declarations
	holds map[station.Key]int64 // hold-off of the headers that several stations hang on, ns
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
	wake    func() // the outbox has something new
	hurry   func() // an alarm waits for its commit
	nudge   func() // there is something for the alarms of headers
	answers *answers
	newest  func() uint64 // entry of the log's share, as far as known
	pending pending

	mu        sync.Mutex
	units     map[station.Key]*unit
	ordered   []*unit // the units by key: what one record does to several must not depend on map order
	position  uint64  // of the newest entry worked off
	committed uint64  // of the newest commit: outputs up to here are stored already
	ticked    station.Instant
	adopted   bool // the units' alarms stand as the history has them, see adopt
	dirty     bool
	urgent    bool // an alarm's change or a command waits for its commit
	waiting   int  // outputs that wait for a commit
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
}

// mostWaiting bounds the outputs between two commits, while a backlog is worked off.
const mostWaiting = 4096

// unit is a pipeline unit with its committed sums.
type unit struct {
	*pipeline.Unit
	key    station.Key
	totals board.Totals
	today  [station.NumStates]int64
	day    station.Instant // midnight that today counts from
	alarms []board.Alarm
	told   int   // of Out.Intervals: those the rings have
	duesAt int64 // minute for which due is
	due    []rules.Due
}

// entry works off one log entry.
func (p *partition) entry(ctx context.Context, e samplelog.Entry) error {
	full, urgent, err := p.work(e)
	switch {
	case err != nil:
		return err
	case full:
		return p.commit(ctx)
	case urgent:
		p.hurry()
	}
	return nil
}

// work runs the entry's records and tells whether it is time to commit, or soon.
func (p *partition) work(e samplelog.Entry) (full, urgent bool, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failed != nil {
		return false, false, p.failed
	}
	if e.Position > p.committed {
		p.adopt(&e)
	}
	for i := range e.Records {
		p.record(&e.Records[i])
	}
	p.position = e.Position
	if p.position <= p.committed { // concluded and stored before the restart
		for _, u := range p.units {
			u.discard()
		}
		p.people = people{}
		p.worked(false)
		return false, false, nil
	}
	p.dirty = true
	p.worked(true)
	p.urgent = p.urgent || len(p.people.acts) > 0 // somebody waits for the outcome
	for i := range e.Records {
		if u := p.units[e.Records[i].Key]; u != nil {
			p.waiting = max(p.waiting, len(u.Out.Minutes)+len(u.Out.Intervals))
			p.urgent = p.urgent || len(u.Out.Transitions) > 0
		}
	}
	return p.waiting > mostWaiting, p.urgent, nil
}

func (p *partition) record(r *station.Record) {
	switch {
	case r.Tick:
		p.ticked = r.Arrival
		for _, u := range p.ordered {
			u.Tick(r.Arrival)
		}
	case r.Epoch != nil:
		p.epoch(r)
	case r.Command != nil && r.Command.Kind == rules.OverTime:
		if u := p.units[r.Key]; u != nil {
			_ = u.Command(r.Command, r.Arrival)
		}
	case r.Command != nil:
		p.command(r)
	default:
		if u := p.unit(r.Key, r.Arrival); u != nil {
			p.live.Samples(u.key, r.Blocks)
			u.Samples(r.Blocks, r.Arrival)
			p.tell(u)
		}
	}
}

// tell gives the rings what the unit has just concluded. Strokes are kept nowhere else, so
// nothing gathers while a backlog is worked off.
func (p *partition) tell(u *unit) {
	o := &u.Out
	p.live.Segment(u.key, u.Status.Segment, u.Status.At)
	for _, s := range o.Strokes {
		p.live.Stroke(u.key, s)
	}
	o.Strokes = o.Strokes[:0]
	for _, v := range o.Intervals[min(u.told, len(o.Intervals)):] {
		p.live.Interval(u.key, v)
	}
	u.told = len(o.Intervals)
}

// discard forgets what the unit concluded.
func (u *unit) discard() {
	u.Discard()
	u.told = 0
}

func (p *partition) epoch(r *station.Record) {
	u := p.units[r.Key]
	if u == nil && r.Epoch.Removed() {
		return // nothing of it is open and nobody is at work: adopt would have made its unit
	}
	if u == nil {
		u = p.add(r.Key, pipeline.New(r.Epoch.Plate, r.Epoch.Revision))
		p.recall(u, r.Arrival)
	}
	u.Epoch(r.Epoch, r.Arrival)
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
	u := p.add(k, pipeline.New(s.Plate, s.Revision))
	p.recall(u, at)
	return u
}

// add takes a unit in, with the sums that the history had of it at the start.
func (p *partition) add(k station.Key, run *pipeline.Unit) *unit {
	c := p.catalog
	run.KeepStrokes = true // for the rings, see tell
	u := &unit{Unit: run, key: k, totals: c.totals[k], today: c.today[k], day: c.day[k.Site], alarms: c.alarms[k]}
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

// commit stores what was concluded up to the newest entry and shows it.
func (p *partition) commit(ctx context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.dirty || p.failed != nil {
		return p.failed
	}
	c := history.Commit{Partition: p.number, Position: p.position, Acts: p.people.acts, Notes: p.people.notes}
	units := p.ordered
	for _, u := range units {
		o := &u.Out
		if len(o.Minutes)+len(o.Intervals)+len(o.Figures) > 0 {
			c.Stations = append(c.Stations, history.StationMinutes{Key: u.key, Revision: engine.Revision, Minutes: o.Minutes, Intervals: o.Intervals, Figures: o.Figures})
		}
		c.Transitions = append(c.Transitions, o.Transitions...)
		c.Acts = append(c.Acts, stated(o.Transitions)...)
		p.hold(&c.Holding, u, len(c.Transitions)-len(o.Transitions))
	}
	c.Holding.Words = p.people.words
	began := time.Now()
	if err := p.store.Commit(ctx, []history.Commit{c}); err != nil {
		p.uncommitted = err
		return fmt.Errorf("cannot commit partition %d at position %d: %w", p.number, p.position, err)
	}
	p.commitAt, p.uncommitted = time.Now(), nil
	p.commitNs = p.commitAt.Sub(began).Nanoseconds()
	p.commitSum += p.commitNs
	p.committed, p.dirty, p.urgent, p.waiting, p.people = p.position, false, false, 0, people{}
	p.commits++
	p.pending.committed()
	p.answers.stored(c.Acts)
	for _, u := range units {
		p.settle(u)
	}
	if len(c.Transitions) > 0 {
		p.wake()
	}
	if len(c.Holding.Feeds)+len(c.Holding.Words)+len(c.Holding.Headers) > 0 {
		p.nudge()
	}
	return nil
}

// settle adds what was committed to the unit's sums and shows the unit on the board.
func (p *partition) settle(u *unit) {
	for i := range u.Out.Minutes {
		u.addMinute(&u.Out.Minutes[i], p.catalog.zones[u.key.Site])
	}
	for i := range u.Out.Transitions {
		u.addTransition(&u.Out.Transitions[i])
	}
	u.discard()
	p.show(u)
}

// show puts the unit on the board. One whose station is no longer configured stays there until
// nothing of it is open.
func (p *partition) show(u *unit) {
	_, configured := p.catalog.stations[u.key]
	if !configured && len(u.alarms) == 0 {
		p.board.Remove(u.key)
		return
	}
	n := u.Tally()
	s := board.Station{
		Gone:  !configured,
		Plate: *u.Plate(), Status: *u.Status, Totals: u.totals, Today: u.today,
		Alarms: u.standing(),
		LagNs:  u.LagNs(), OffsetNs: u.OffsetNs(), SilentSince: u.SilentSince(p.ticked, rules.SilenceNs),
		Late: n.Late, Duplicate: n.Duplicate, ClockSteps: n.ClockSteps, Gaps: n.Gaps, Arrival: n.Arrival,
		Counter: board.CounterOddities(n.Counter), Dues: u.dues(p.ticked), Below: u.Below(), AtWork: u.AtWork(),
	}
	if !u.Stepped() {
		s.Status = station.Status{StateReason: station.StateReason{Is: station.NoSamples}, Inlet: station.Unknown("no samples yet"),
			Outlet: station.Unknown("no samples yet"), StrokeRate: station.Unknown("no samples yet")}
	}
	p.board.Put(s)
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

func (u *unit) addMinute(m *station.Minute, zone *time.Location) {
	u.totals.Add(m)
	if day := midnight(m.Start, zone); day != u.day {
		u.day, u.today = day, [station.NumStates]int64{}
	}
	for s, ns := range m.StateNs {
		u.today[s] += ns
	}
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
		p.log.Error("partition stopped", "partition", p.number, "error", err)
	}
}

// failure gives the error that stopped the partition.
func (p *partition) failure() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.failed
}

// trouble gives what keeps the partition from storing its conclusions.
func (p *partition) trouble() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failed == nil && p.uncommitted != nil {
		return fmt.Errorf("partition %d cannot store its conclusions, trying again: %w", p.number, p.uncommitted)
	}
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
