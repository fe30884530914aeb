package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

// level follows one pressure channel slot by slot. Pressures are Pa gauge. Fields are
// exported for snapshots only.
type level struct {
	N              int     // samples in the slot
	Sum, Low, High float64 // of the slot
	Mean           float64 // of the last slot with samples
	Before         float64 // mean of the slot before that
	Last           station.Instant
	Seen           bool
}

func (l *level) open() { l.N, l.Sum = 0, 0 }

// take adds the slot's samples, of which there is at least one.
func (l *level) take(values []float64) {
	low, high, sum := values[0], values[0], 0.0
	for _, x := range values {
		if x < low {
			low = x
		}
		if x > high {
			high = x
		}
		sum += x
	}
	l.N, l.Sum, l.Low, l.High = len(values), sum, low, high
}

func (l *level) close(last station.Instant) {
	if l.N == 0 {
		return
	}
	m := l.Sum / float64(l.N)
	if !l.Seen {
		l.Before = m
	} else {
		l.Before = l.Mean
	}
	l.Mean, l.Last, l.Seen = m, last, true
}

// slope gives the change from the slot before, Pa/s.
func (l *level) slope() float64 { return (l.Mean - l.Before) / (float64(slotLen) * 1e-9) }

// event is the end of a stroke as the traces show it, or an increment of the counter; at
// orders them.
type event struct {
	at    station.Instant // when it was known
	n     int64           // increments, 0 for an end
	found stroke.Candidate
}

// valve is the state of the supply valve's signal.
type valve struct {
	Known bool
	Open  bool
	At    station.Instant
}

// slot processes the samples of [start, end).
func (e *Engine) slot(start, end station.Instant) {
	e.events = e.events[:0]
	e.pressure(station.InletPressure, &e.Inlet, &e.Ends.In, end)
	e.pressure(station.OutletPressure, &e.Outlet, &e.Ends.Out, end)
	if e.tracesServe() {
		e.Ends.Search(e.Pace.Full, e.usualInterval(), e.Pace.Mass > 0 || e.Pace.Failed(e.Ends.Worked), e.found)
		e.Pace.Comb(e.Ends.Comb)
		e.Pace.Weigh(&e.Ends.Teeth, e.Ends.Comb)
		for {
			c, ok := e.Pace.Ripe(end, e.Ends.Idle, e.Ends.Drawing, e.Ends.Drawn)
			if !ok {
				break
			}
			e.events = append(e.events, event{at: c.At, found: c})
		}
	}
	e.counter(end)
	e.slowChannels(end)
	e.strokes()
	e.decide(start, end)
	e.Min.addSlot(e)
	e.closeMinute(end)
	if end.Floor(station.Second) == end {
		e.step(end)
	}
}

// pressure feeds one channel's samples before end to its slot level and its trace.
func (e *Engine) pressure(c station.Channel, l *level, d *stroke.Trace, end station.Instant) {
	q := &e.Queues[c]
	n := q.until(end)
	l.open()
	if n == 0 {
		return
	}
	if l.Seen && q.T[0].Sub(l.Last) > e.blindAfter(d) {
		d.Reset()
	}
	times, values := q.T[:n], q.V[:n]
	l.take(values)
	if c == station.InletPressure {
		e.reference()
		e.lift()
		e.Supply.take(values)
		e.Ends.Inlet(times, values)
	} else {
		d.Take(times, values)
		e.Health.pulse(times, values)
	}
	d.TakeNoise(e.State.Current.Working())
	l.close(q.T[n-1])
	q.drop(n)
}

// usualInterval gives the usual time between strokes, ns, 0 while too few were seen.
func (e *Engine) usualInterval() int64 {
	if e.Fuse.Interval.N < 6 {
		return 0
	}
	return e.Fuse.Interval.Median()
}

// candidate takes what may be the end of a stroke.
func (e *Engine) candidate(c stroke.Candidate) {
	e.events = append(e.events, event{at: c.At, found: c})
}

// blindAfter gives the silence of a pressure channel, ns, after which it tells nothing.
func (e *Engine) blindAfter(d *stroke.Trace) int64 {
	if e.Plate.Cadence == station.OnChange {
		return math.MaxInt64
	}
	return max(2*station.Second, int64(5*d.Step*1e9))
}

// counter turns readings of the cycle counter into events.
func (e *Engine) counter(end station.Instant) {
	q := &e.Queues[station.Cycles]
	n := q.until(end)
	for i := 0; i < n; i++ {
		e.Fuse.Seen = true
		if k := e.Counter.Push(q.T[i], q.V[i]); k > 0 {
			e.insertEvent(event{at: q.T[i], n: k})
		}
	}
	q.drop(n)
}

func (e *Engine) insertEvent(v event) {
	e.events = append(e.events, v)
	for i := len(e.events) - 1; i > 0 && e.events[i-1].at > e.events[i].at; i-- {
		e.events[i-1], e.events[i] = e.events[i], e.events[i-1]
	}
}

// slowChannels takes the newest value of the channels that need no detector.
func (e *Engine) slowChannels(end station.Instant) {
	q := &e.Queues[station.SupplyOpen]
	if n := q.until(end); n > 0 {
		e.Valve = valve{Known: true, Open: q.V[n-1] != 0, At: q.T[n-1]}
		q.drop(n)
	}
	q = &e.Queues[station.HeaderPressure]
	if n := q.until(end); n > 0 {
		sum := 0.0
		for _, v := range q.V[:n] {
			sum += v
		}
		e.readHeader(sum, n, q.T[n-1])
		q.drop(n)
	}
	q = &e.Queues[station.InletFlow]
	if n := q.until(end); n > 0 {
		e.Meter.read(q.V[:n], q.T[n-1])
		q.drop(n)
	}
	q = &e.Queues[station.TankTemperature]
	q.drop(q.until(end))
}

// longestWait is how long, ns, a stroke that has ended may wait until it is told.
const longestWait = 2 * station.Second

// mostUnseen bounds the unseen strokes of a slot: more are faster than any booster.
const mostUnseen = 4

// strokes feeds the slot's events to the fuse.
func (e *Engine) strokes() {
	floor := max(e.Min.M.Start, e.First)
	past := max(e.Min.M.Start.Add(-longestWait), e.First)
	e.Act.Teeth, e.Act.Strokes = 0, 0
	for i := range e.events {
		v := &e.events[i]
		switch {
		case v.n > 0:
			e.Mismatch.Count += v.n * e.perCount()
			e.Fuse.Increment(v.at, v.n, e.tracesServe(), past, e.halfway(v.at), e.emit)
			e.Counted = e.Ends.DrawnBy(v.at)
		case e.State.ShutdownAt != 0:
			e.Act.Teeth++ // no stroke without supply; enough of them tell that it is back
		default:
			e.end(&v.found, floor, past)
		}
	}
	if !e.tracesServe() {
		e.Min.Unseen = true
		return
	}
	if e.State.ShutdownAt == 0 && !e.passing() && (e.Pace.Combed || e.Supply.Rest > 0 && e.Inlet.Mean > fedShare*e.Supply.Rest) {
		for range mostUnseen {
			at := e.Pace.Unseen(e.Ends.Settled())
			if at == 0 {
				break
			}
			e.Mismatch.Teeth++
			e.Fuse.Tooth(max(at, floor), max(at, floor), false, e.emit)
		}
	}
}

// passing tells whether air also goes straight through the check valves, so that the draw
// tells nothing of strokes.
func (e *Engine) passing() bool { return e.Outlet.Mean < 1.05*e.Inlet.Mean }

// end judges what may be the end of a stroke and passes on the strokes that ended with it
// or, unseen, before it: those are set where the draw paused.
func (e *Engine) end(c *stroke.Candidate, floor, past station.Instant) {
	usual := math.Hypot(e.Ends.J, e.Ends.K)
	if e.passing() {
		e.Pace.Forget(e.Ends.Drawn, e.Ends.Ref <= 0)
	}
	last, before := e.Pace.Last, e.Ends.Placed
	e.weak(c, usual)
	begin := e.Pace.Start
	n := e.Pace.Strokes(c, usual)
	e.drawless(c, begin, usual, n)
	if n == 0 {
		return
	}
	e.Ends.Learn(c)
	end := e.Ends.Place(c.At, e.Outlet.Mean < e.Inlet.Mean)
	if n == 1 && c.Idle <= last && e.Ends.Placed.Twice(&before, e.usualInterval()) {
		n = 2
	}
	alone := n
	if c.Idle > last {
		alone = 0 // the piston stood in between: a hop of the governor has no time of its own
	}
	e.strokeTimes(c.At, alone)
	e.Act.Teeth++
	e.Mismatch.Teeth += int64(n)
	for k := n - 1; k > 0; k-- {
		at, by := c.At.Add(-int64(k)*e.Fuse.Interval.Median()), end.Add(-int64(k)*e.Fuse.Interval.Median())
		if c.Idle > last {
			at, by = c.Idle, e.hidden(end, c.Idle, c.Again, c.Rest-begin)
		}
		e.Fuse.Tooth(max(at, floor), max(by, past), false, e.emit)
	}
	e.Fuse.Tooth(max(c.At, floor), max(end, past), e.goesOn(), e.emit)
}

// weak lets the usual score sink where candidates have become weaker, all of them: the
// strokes have changed, or the noise has.
func (e *Engine) weak(c *stroke.Candidate, usual float64) {
	if c.Score >= 0.5*usual {
		e.Weak = 0
		return
	}
	if e.Weak++; e.Weak >= 8 {
		e.Ends.Learn(c)
	}
}

// beginner is how many strokes it takes to trust what they draw.
const beginner = 24

// reference sets the pressure that the draw is measured from: the one at which the inlet
// rests or, until it has been seen to rest, the highest seen.
func (e *Engine) reference() {
	e.refute()
	rested := e.Supply.Rest > 0
	e.Ends.Ref = e.Supply.Rest
	if !rested {
		e.Ends.Ref = e.Supply.Peak
	}
	if rested && e.Drawless.At == e.Supply.RestAt {
		rested, e.Ends.Ref = false, 0
	}
	// until strokes were found the inlet may seem to rest while it draws
	moved := e.Pace.Accepted < beginner && math.Abs(e.Ends.Ref-e.RefThen) > 0.3*e.Ends.Flow*e.Ends.Flow
	if rested != e.Rested || rested && moved {
		e.Rested, e.RefThen = rested, e.Ends.Ref
		e.Pace.Forget(e.Ends.Drawn, e.Ends.Ref <= 0)
	}
}

// refute gives up a resting pressure that the inlet is above again and again: it was none, the
// piston only crept, or the header has risen since. Shorter times above are a blow of the line
// after a stroke.
func (e *Engine) refute() {
	above := e.Ends.Above > 0.3*float64(slotLen)*1e-9
	if above {
		e.Refuted += 2
	}
	if e.Refuted = max(0, e.Refuted-1); e.Refuted >= refuted && above && e.Supply.Rest > 0 {
		e.Supply.Rest, e.Refuted = max(e.Supply.Rest, e.Ends.Top), 0
	}
	e.Ends.Above, e.Ends.Top = 0, 0
}

// refuted is by how many slots more the inlet must be above the resting pressure than not.
const refuted = 6

// lift sets by how much a stroke lifts the outlet of a closed tank, where that is much:
// p1 V_b/V_t, and a fifth more since the air has no time to cool (between isothermal, 1, and
// adiabatic, 1.4).
func (e *Engine) lift() {
	e.Ends.Lift = 0
	if p := &e.Plate; p.TankVolume > 0 && p.SweptBoost > 0 && p.Sensor != station.AtBranch {
		if lift := 1.4 * 0.9 * float64(e.inletAbs()) * p.SweptBoost / p.TankVolume; lift > leastLift {
			e.Ends.Lift = lift
		}
	}
}

// leastLift, Pa: where a stroke lifts the outlet by less, a governor does not close within it.
const leastLift = 60e3
