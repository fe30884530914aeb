// Package engine turns one station's samples, in event time, into strokes, states,
// minutes and estimates. It is pure computation: the only input is the log's order of
// samples, the only output goes to an Observer, and equal input gives equal output
// however it is cut into blocks.
package engine

import (
	"math"

	"strokewise/analyzer/balance"
	"strokewise/analyzer/feed"
	"strokewise/analyzer/motion"
	"strokewise/analyzer/sensors"
	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

// Version names the engine's arithmetic. Snapshots of another version are not restored.
const Version = "11"

// Revision is stored with every minute that this engine made.
const Revision = 11

// slotLen is the length of a slot: decisions are taken twice a second of event time. Own choice.
const slotLen = station.Second / 2

// Observer takes what the engine concludes, in event time. Pointers are valid during
// the call only.
type Observer interface {
	Stroke(station.Stroke)
	Interval(station.Interval)
	Minute(*station.Minute)
	// Gap is called with whole minutes without a sample, none of which is a Minute.
	Gap(station.Gap)
	// Step is called each second of event time and at every change of state.
	Step(*station.Status)
	// Hour is called with the newest step of an hour, once the next hour or a clock set back is
	// seen: a trace that ends within an hour does not end it.
	Hour(*station.Status)
}

// core is the whole state of an engine. Fields are exported for snapshots only.
type core struct {
	Plate station.Plate
	Samples
	Inlet, Outlet level
	Ends          stroke.Ends
	Counter       stroke.Counter
	Fuse          stroke.Fuse
	Pace          stroke.Pace
	Weak          int     // candidates in a row that were weak
	Refuted       int     // slots in which the inlet was above its resting pressure, less others
	RefThen       float64 // reference that the draw of strokes was learned from, Pa gauge
	Drawless      drawless
	Counted       float64 // draw up to the last increment of the counter
	Rested        bool    // the draw is measured from a resting pressure
	Valve         valve
	Struck        int64 // strokes since the analysis began

	Feed     feed.Follower
	Dates    motion.Dater
	Sensors  sensors.Watch
	Needed   needed
	Act      activity
	Supply   supply
	Bal      balance.Line
	Hdr      header
	Line     line
	Reach    reach
	Speed    pace
	Starts   starts
	Wear     wear
	Holds    setLevel
	Leak     leakWatch
	Mix      leakMix
	Wall     wallHeat
	Floor5   leakFloor
	Closed   inletWatch
	Past     leakPast
	Rounds   rounds
	Doubt    doubt
	Mismatch mismatch
	Silence  silence
	Jitter   jitter
	Health   health
	State    stateNow
	Proof    fedProof
	Unsure   unsure
	Min      minute
	Est      station.Estimates
	Rate     rateWindow

	Air       strokeAir
	Recharge  recharge
	Meter     meter
	Warmth    warmth
	Pops      pops
	Falls     falls
	LeastDraw drawFloor
	Steady    steadyDraw
	Basis     basis // of the leak, for Explain
}

// Engine is one station's analyzer. It is not safe for concurrent use.
type Engine struct {
	core
	obs    Observer
	events []event
	status *station.Status // the newest step, see Status
	blind  blindText

	elsewhere elsewhereText
	emit      func(station.Stroke)
	found     func(stroke.Candidate)
}

// New gives an engine for a station that reports to obs.
func New(plate station.Plate, obs Observer) *Engine {
	e := &Engine{obs: obs, status: new(station.Status)}
	e.emit, e.found = e.stroke, e.candidate
	e.Plate = plate
	e.restart()
	e.resetEstimates()
	return e
}

// Key gives the station.
func (e *Engine) Key() station.Key { return e.Plate.Key }

// Status gives the newest step, with At 0 before the first. The next step writes into it.
func (e *Engine) Status() *station.Status { return e.status }

// CurrentPlate gives the plate in force.
func (e *Engine) CurrentPlate() *station.Plate { return &e.Plate }

// Tally gives what was turned away or noticed in the input.
func (e *Engine) Tally() Counts {
	n := e.Counts
	e.addCounter(&n.Counter)
	return n
}

// addCounter adds what the present segment's counter noticed.
func (e *Engine) addCounter(n *CounterCounts) {
	n.Resets += e.Counter.Resets
	n.Rolls += e.Counter.Rolls
	n.Bounced += e.Counter.Bounced
	n.Back += e.Counter.Back
}

// SetPlate puts new plate data in force from the current slot on.
func (e *Engine) SetPlate(p station.Plate) {
	if p.TankVolume != e.Plate.TankVolume || p.Sensor != e.Plate.Sensor || p.BaseDemand != e.Plate.BaseDemand || p.Tank != e.Plate.Tank {
		e.forgetLeak()
	}
	if p.Serial != e.Plate.Serial || p.Overhauled != e.Plate.Overhauled || p.TankVolume != e.Plate.TankVolume {
		e.Recharge.Base = baseline{} // another booster has another usual value
	}
	e.judgePlate(&p)
	e.Plate = p
	e.Counter.PerCycle = p.Counts == station.CountsCycles
	e.Counter.Expect(&p)
	e.Fuse.PerCycle = e.Counter.PerCycle
}

// restart prepares the detectors for a new segment.
func (e *Engine) restart() {
	e.Ends, e.Pace = stroke.NewEnds(), stroke.Pace{Timed: true}
	e.addCounter(&e.Counts.Counter)
	e.Counter = stroke.NewCounter(&e.Plate)
	e.Counter.Expect(&e.Plate)
	e.Fuse = stroke.NewFuse(&e.Plate)
	e.Inlet, e.Outlet = level{}, level{}
	e.Act, e.Proof, e.Unsure = activity{}, fedProof{}, unsure{}
	e.Sensors = sensors.Watch{}
	e.Feed.Reset()
	e.Dates = motion.Dater{}
	e.Leak.reset()
	e.Rounds.stop()
	e.stopAir()
	e.Doubt, e.Health, e.Mismatch, e.Jitter, e.Silence = doubt{}, health{}, mismatch{}, jitter{}, silence{}
	e.Warmth, e.Pops = warmth{}, pops{}
	e.Falls.stop(true)
	e.Floor5, e.Closed, e.Past, e.Wall = leakFloor{}, inletWatch{}, leakPast{}, wallHeat{}
	e.State.Edge = edges{}
	e.newSegment()
	e.Samples.clear()
}

// Push handles a block that arrived at the given time. Call Advance afterwards.
func (e *Engine) Push(b *station.Block, arrival station.Instant) {
	if b.Channel >= station.NumChannels {
		return
	}
	if b.Stamp == station.StampArrival {
		e.Counts.Arrival += int64(b.Len())
	}
	for i, back := e.Samples.take(b, 0, arrival); back; i, back = e.Samples.take(b, i, arrival) {
		e.Flush()
		e.restart()
		e.Samples.nextSegment()
	}
}

// Watermark returns the time up to which samples are taken as complete.
func (e *Engine) Watermark() station.Instant { return e.Samples.complete(e.lateness()) }

func (e *Engine) lateness() int64 {
	if e.Plate.Lateness > 0 {
		return int64(e.Plate.Lateness)
	}
	return 2 * station.Second
}

// Advance processes everything up to the watermark.
func (e *Engine) Advance() {
	for e.AdvanceSome(math.MaxInt) {
	}
}

// AdvanceSome does a part of Advance: at most n slots, a silence counting as one. It reports whether there
// may be more to do. A minute and a few intervals at most end with a slot, so what the observer gets meanwhile is
// bounded, however much time the pending samples span.
func (e *Engine) AdvanceSome(n int) bool {
	w := e.Watermark()
	if !e.start(w) {
		return false
	}
	for ; e.Slot.Add(slotLen) <= w; n-- {
		if n <= 0 {
			return true
		}
		if !e.process(w) {
			return false
		}
	}
	return false
}

// Settle processes what is pending up to the second of the newest sample, quiet ns after that has
// arrived, if its sensors publish on change: then no later sample need come, and once the lateness
// has passed none that is older is awaited.
func (e *Engine) Settle(quiet int64) {
	if e.Plate.Cadence != station.OnChange || quiet < e.lateness() {
		return
	}
	to := e.Watermark().Add(e.lateness())
	if to = to.Floor(station.Second).Add(station.Second); !e.start(to) {
		return
	}
	for e.Slot.Add(slotLen) <= to && e.process(to) {
	}
}

// start fixes the first slot once the watermark has passed the first sample.
func (e *Engine) start(w station.Instant) bool {
	if e.Started {
		return true
	}
	first, ok := e.oldest()
	if !ok || first > w {
		return false
	}
	e.begin(first)
	return true
}

func (e *Engine) begin(first station.Instant) {
	e.Samples.open(first)
	e.State = stateNow{Current: station.Blind, From: first, Reason: station.StateReason{Is: station.NoSamples}, Edge: e.State.Edge.known()}
	e.Min.open(first.Floor(station.Minute60), e.Segment)
}

// process runs the next slot, or a whole gap of slots at once. It waits, reporting
// false, while a gap's end is not behind the watermark: how a gap is closed must not
// depend on how the input was cut.
func (e *Engine) process(w station.Instant) bool {
	to, silent := e.Samples.next()
	switch {
	case silent && to > w:
		return false
	case silent:
		e.gap(to)
	default:
		e.slot(e.Slot, to)
		e.Slot, e.Floor = to, to
	}
	return true
}

// Flush processes all that is pending, at the end of a trace or segment, and closes the
// last interval and minute at the last sample.
func (e *Engine) Flush() {
	last := e.Samples.newest()
	if last == 0 {
		return
	}
	if !e.start(last) {
		return
	}
	for e.Slot.Add(slotLen) <= last && e.process(last) {
	}
	if e.Slot < last {
		e.slot(e.Slot, last)
	}
	e.finish(last)
}

// finish closes the open interval and minute at the last sample of the segment.
func (e *Engine) finish(last station.Instant) {
	e.Min.close(last, e) // before the step, as at the end of any minute
	e.step(last)
	e.enter(station.NumStates, last, station.StateReason{})
	e.Started = false
}
