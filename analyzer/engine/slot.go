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
	Peak           float64 // highest mean of a slot since the last step
	Peaked         bool    // there is one
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
	if !l.Peaked || m > l.Peak {
		l.Peak, l.Peaked = m, true
	}
}

// peak returns the highest mean of a slot since it was asked for last, what the sensor reads where
// there was none.
func (l *level) peak(reads station.Gauge) station.Gauge {
	if !l.Peaked {
		return reads
	}
	l.Peaked = false
	return station.Gauge(l.Peak)
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
	if first, ok := e.oldest(); ok && first < end {
		e.Min.Sampled = true
	}
	e.follow(start, end)
	e.date(end)
	e.weighSensors(start, end)
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
	e.countExcess(end)
	e.slowChannels(end)
	e.strokes()
	e.decide(start, end)
	e.watchRelief(end)
	e.watchFalls(end)
	e.watchFloor(end)
	e.watchLeakGrows(end)
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
		e.inletSamples(times, values)
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

// slowChannels reads the newest value of the channels that need no detector.
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
	if n := q.until(end); n > 0 {
		e.Warmth.readTemperature(q.V[n-1], q.T[n-1])
		q.drop(n)
	}
	e.Warmth.follow(end)
}
