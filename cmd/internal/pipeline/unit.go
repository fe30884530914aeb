// Package pipeline joins analyzer and rules for one station: what a live run, a replay
// and a restored run share, so that they give the same results.
package pipeline

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"io"
	"math"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Output gathers what a unit concluded since it was last taken.
type Output struct {
	Minutes     []station.Minute
	Gaps        []station.Gap // whole minutes without a sample, which are not among Minutes
	Intervals   []station.Interval
	Strokes     []station.Stroke // only with KeepStrokes
	Transitions []rules.Transition
	Feeds       []rules.Feed         // for the alarms of the header
	Figures     []station.HourFigure // of finished hours
}

// Unit is one station's engine and alarms. It is not safe for concurrent use.
type Unit struct {
	KeepStrokes bool
	Out         Output
	Status      *station.Status // the newest step, with At 0 before the first

	engine   *engine.Engine
	rules    *rules.Evaluator
	arrivals rules.Arrivals
	revision string
	newest   station.Instant // arrival of the newest samples
	offset   int64           // arrival minus device time of the newest sample, ns
	standIn  bool            // judges nothing, see StandIn
}

// New gives the unit of a station seen for the first time.
func New(plate station.Plate, revision string) *Unit {
	u := &Unit{revision: revision}
	u.engine = engine.New(plate, u)
	u.Status = u.engine.Status()
	u.rules = rules.NewEvaluator(u.engine.CurrentPlate(), u.transition)
	u.rules.Feeds = u.feed
	return u
}

// Stroke implements engine.Observer.
func (u *Unit) Stroke(s station.Stroke) {
	if u.KeepStrokes {
		u.Out.Strokes = append(u.Out.Strokes, s)
	}
}

// Interval implements engine.Observer.
func (u *Unit) Interval(i station.Interval) { u.Out.Intervals = append(u.Out.Intervals, i) }

// Minute implements engine.Observer.
func (u *Unit) Minute(m *station.Minute) { u.Out.Minutes = append(u.Out.Minutes, *m) }

// Gap implements engine.Observer.
func (u *Unit) Gap(g station.Gap) { u.Out.Gaps = append(u.Out.Gaps, g) }

// Step implements engine.Observer.
func (u *Unit) Step(s *station.Status) { u.rules.Step(s) }

// Hour implements engine.Observer: an hour leaves the figures of its last step behind.
func (u *Unit) Hour(s *station.Status) { u.Out.Figures = s.HourFigures(u.Out.Figures) }

// Stepped tells whether there is a Status.
func (u *Unit) Stepped() bool { return u.Status.At != 0 }

func (u *Unit) transition(t *rules.Transition) { u.Out.Transitions = append(u.Out.Transitions, *t) }

func (u *Unit) feed(f *rules.Feed) { u.Out.Feeds = append(u.Out.Feeds, *f) }

// FeedState gives how the station is fed.
func (u *Unit) FeedState() rules.FeedState { return u.rules.FeedState() }

// OverState returns how the station stands to the end of its shift.
func (u *Unit) OverState() rules.OverState { return u.rules.OverState() }

// LevelState returns what the station shows of the level of its header.
func (u *Unit) LevelState() (rules.LevelState, bool) { return u.rules.LevelState() }

// Plate gives the plate in force.
func (u *Unit) Plate() *station.Plate { return u.engine.CurrentPlate() }

// Revision returns the digest of the plate data in force.
func (u *Unit) Revision() string { return u.revision }

// Tally gives what the engine turned away or noticed.
func (u *Unit) Tally() engine.Counts { return u.engine.Tally() }

// LagNs gives the arrival time of the newest samples less the watermark.
func (u *Unit) LagNs() int64 {
	if u.newest == 0 {
		return 0
	}
	return u.newest.Sub(u.engine.Watermark())
}

// Arrived returns when the newest samples arrived, zero before the first.
func (u *Unit) Arrived() station.Instant { return u.newest }

// OffsetNs gives arrival less device time of the newest sample.
func (u *Unit) OffsetNs() int64 { return u.offset }

// SilentSince gives the arrival time of the newest samples if more than limit ns have
// passed since, zero otherwise.
func (u *Unit) SilentSince(now station.Instant, limit int64) station.Instant {
	if u.newest != 0 && now.Sub(u.newest) > limit {
		return u.newest
	}
	return 0
}

// Len returns how many conclusions wait.
func (o *Output) Len() int {
	return len(o.Minutes) + len(o.Gaps) + len(o.Intervals) + len(o.Strokes) + len(o.Transitions) + len(o.Feeds) + len(o.Figures)
}

// Samples handles blocks that arrived together.
func (u *Unit) Samples(blocks []station.Block, arrival station.Instant) {
	u.Push(blocks, arrival)
	for u.Advance(math.MaxInt) {
	}
}

// Advance concludes from what was pushed, a part of it: at most n half seconds, a silence counting
// as one. It reports whether there may be more. Nothing else may be handed to the unit before it reports false.
func (u *Unit) Advance(n int) bool { return !u.rules.Gone && !u.standIn && u.engine.AdvanceSome(n) }

// Push queues blocks that arrived together; Advance concludes from them. Those of a station that is no longer configured
// are ignored.
func (u *Unit) Push(blocks []station.Block, arrival station.Instant) {
	if u.rules.Gone || u.standIn {
		return
	}
	for i := range blocks {
		b := &blocks[i]
		n := b.Len()
		if n == 0 || b.Channel >= station.NumChannels {
			continue
		}
		u.arrivals[b.Channel] = max(u.arrivals[b.Channel], arrival)
		u.newest = max(u.newest, arrival)
		u.offset = arrival.Sub(b.At(n - 1))
		u.engine.Push(b, arrival)
	}
}

// Epoch puts plate data in force from here on. It arrives whenever the collector starts,
// so silence counts from it at the earliest.
//
// The epoch of a removal leaves the plate as it was: open alarms are about that station.
func (u *Unit) Epoch(e *station.Epoch, arrival station.Instant) {
	if e.Removed() {
		u.revision = e.Revision
		u.rules.Retire(arrival)
		return
	}
	if u.standIn {
		u.standsIn(e)
		return
	}
	u.rules.Watch(arrival)
	u.rules.Return()
	if e.Revision == u.revision {
		return
	}
	u.revision = e.Revision
	u.engine.SetPlate(e.Plate)
	u.rules.Changed()
}

// Retired reports whether the station is no longer configured.
func (u *Unit) Retired() bool { return u.rules.Gone }

// Tick takes the passing of arrival time. Our clock may be set back: what arrived later
// than now arrived now, or a silence would go unnoticed until the clock has caught up.
func (u *Unit) Tick(now station.Instant) {
	for c := range u.arrivals {
		u.arrivals[c] = min(u.arrivals[c], now)
	}
	if u.newest = min(u.newest, now); u.newest != 0 && !u.rules.Gone && !u.standIn {
		u.engine.Settle(now.Sub(u.newest))
	}
	u.rules.Late(u.engine.Counts.Late)
	u.rules.Tick(now, &u.arrivals)
}

// Command takes a person's word. An error says why it changed nothing.
func (u *Unit) Command(c *station.Command, at station.Instant) error {
	if rules.Answers(c.Kind) {
		u.rules.Answer(c.Kind, c.Until)
		return nil
	}
	if o, ok := rules.FindOrder(c.Kind); ok && o.Record && c.Alarm == "" && c.Kind != "done" && c.Kind != "inspected" {
		return nil // is in the audit and the notes
	}
	return u.rules.Command(c, at)
}

// Progress returns the pressure that an alarm is about, see rules.Evaluator.Now.
func (u *Unit) Progress(alarm string) (rules.Progress, bool) { return u.rules.Now(alarm) }

// Dues gives what comes due at t.
func (u *Unit) Dues(t station.Instant) []rules.Due { return u.rules.Dues(t) }

// Below gives since when the outlet has read below the limit in the present shutdown.
func (u *Unit) Below() station.Instant { return u.rules.Below() }

// AtWork returns who is declared at work.
func (u *Unit) AtWork() []rules.AtWork { return u.rules.AtWork() }

// RecallWork sets who is declared at work to what the history knows, see rules.Evaluator.
func (u *Unit) RecallWork(list []rules.AtWork, at station.Instant) { u.rules.RecallWork(list, at) }

// RecallVented puts words "vented" of the history in force, see rules.Evaluator.
func (u *Unit) RecallVented(words []rules.Spoken) { u.rules.RecallVented(words) }

// Recall puts a record of the history in force, see rules.Evaluator.
func (u *Unit) Recall(d rules.Due, at station.Instant) error { return u.rules.Recall(d, at) }

// RunBefore says what was run before, see rules.Evaluator.
func (u *Unit) RunBefore(what station.ServiceKind, strokes, lost int64, at station.Instant) {
	u.rules.RunBefore(what, strokes, lost, at)
}

// Adopt sets the alarms to what is known of them elsewhere, see rules.Evaluator.
func (u *Unit) Adopt(open []rules.Transition) { u.rules.Adopt(open) }

// Open returns the start of the engine's open minute and its strokes so far, see engine.Engine.
func (u *Unit) Open() (start station.Instant, strokes int64) { return u.engine.Open() }

// Resume lets the engine go on behind what is stored, see engine.Engine.
func (u *Unit) Resume(until station.Instant, strokes int64) { u.engine.Resume(until, strokes) }

// Flush ends a trace: everything pending is processed and the last minute closed.
func (u *Unit) Flush() { u.engine.Flush() }

// Take gives what was concluded since the last call and starts afresh.
func (u *Unit) Take() Output {
	o := u.Out
	u.Out = Output{}
	return o
}

// Discard forgets what was concluded since the last call, keeping the memory.
func (u *Unit) Discard() {
	o := &u.Out
	o.Minutes, o.Intervals, o.Strokes, o.Transitions = o.Minutes[:0], o.Intervals[:0], o.Strokes[:0], o.Transitions[:0]
	o.Gaps, o.Feeds, o.Figures = o.Gaps[:0], o.Feeds[:0], o.Figures[:0]
}

// Forget forgets what was concluded so far but the transitions.
func (u *Unit) Forget() {
	ts := u.Out.Transitions
	u.Discard()
	u.Out.Transitions = ts
}

// Version names the layout and arithmetic of snapshots; another one is not restored.
const Version = "1/" + engine.Schema + "/" + engine.Version + "/" + rules.Schema

// head is the part of a snapshot that belongs to the unit itself.
type head struct {
	Revision string
	Arrivals rules.Arrivals
	Newest   station.Instant
	Offset   int64
	Status   station.Status
}

// Save writes the unit's state. What is in Out is not part of it.
func (u *Unit) Save(w io.Writer) error {
	h := head{u.revision, u.arrivals, u.newest, u.offset, *u.Status}
	if err := gob.NewEncoder(w).Encode(&h); err != nil {
		return fmt.Errorf("cannot write snapshot of %s: %w", u.engine.Key(), err)
	}
	if err := u.engine.Save(w); err != nil {
		return err
	}
	return u.rules.Save(w)
}

// Restore gives the unit that Save wrote.
func Restore(r *bytes.Reader) (*Unit, error) {
	u := &Unit{}
	var h head
	if err := gob.NewDecoder(r).Decode(&h); err != nil {
		return nil, fmt.Errorf("cannot read snapshot: %w", err)
	}
	u.revision, u.arrivals, u.newest, u.offset = h.Revision, h.Arrivals, h.Newest, h.Offset
	e, err := engine.Restore(r, u)
	if err != nil {
		return nil, err
	}
	u.engine, u.Status = e, e.Status()
	*u.Status = h.Status
	if u.rules, err = rules.Restore(r, e.CurrentPlate(), u.transition); err != nil {
		return nil, err
	}
	u.rules.Feeds = u.feed
	return u, nil
}
