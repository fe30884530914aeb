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

func (l *level) add(x float64) {
	if l.N == 0 || x < l.Low {
		l.Low = x
	}
	if l.N == 0 || x > l.High {
		l.High = x
	}
	l.N++
	l.Sum += x
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

// event is a tooth or a counter increment inside a slot; At orders them.
type event struct {
	at    station.Instant // when it was known
	n     int64           // increments, 0 for a tooth
	found stroke.Found    // the tooth
	inlet bool            // a tooth of the inlet
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
	inTeeth := e.pressure(station.InletPressure, &e.Inlet, &e.TeethIn, end)
	outTeeth := e.pressure(station.OutletPressure, &e.Outlet, &e.TeethOut, end)
	e.chooseTeeth(inTeeth, outTeeth)
	e.counter(end)
	e.slowChannels(end)
	e.strokes(start)
	e.decide(start, end)
	e.Min.addSlot(e)
	e.closeMinute(end)
	if end.Floor(station.Second) == end {
		e.step(end)
	}
}

// pressure feeds one channel's samples before end to its slot level and tooth detector.
// Teeth are appended to events; it gives how many.
func (e *Engine) pressure(c station.Channel, l *level, d *stroke.Tooth, end station.Instant) int {
	q := &e.Queues[c]
	n := q.until(end)
	l.open()
	teeth := 0
	if n == 0 {
		return 0
	}
	if l.Seen && q.T[0].Sub(l.Last) > e.blindAfter(d) {
		d.Reset()
	}
	inlet := c == station.InletPressure
	if inlet {
		d.Ref = e.reference(q.T[0])
	}
	for i := 0; i < n; i++ {
		x, t := q.V[i], q.T[i]
		l.add(x)
		if inlet {
			e.Supply.sample(x)
		}
		if f, ok := d.Push(t, x); ok && f.Fall < 5*station.Second {
			e.events = append(e.events, event{at: t, found: f, inlet: inlet})
			teeth++
		}
	}
	d.TakeNoise()
	l.close(q.T[n-1])
	q.drop(n)
	return teeth
}

// blindAfter gives the silence of a pressure channel, ns, after which it tells nothing.
func (e *Engine) blindAfter(d *stroke.Tooth) int64 {
	if e.Plate.Cadence == station.OnChange {
		return math.MaxInt64
	}
	return max(2*station.Second, int64(5*d.Step*1e9))
}

// chooseTeeth keeps the teeth of one channel: the inlet's, which demand does not touch,
// unless only the outlet shows any.
func (e *Engine) chooseTeeth(in, out int) {
	if out == 0 {
		return
	}
	if in > 0 || e.TeethIn.Visible() || !e.TeethOut.Visible() {
		e.events = e.events[:in]
		return
	}
	e.events = e.events[in:]
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
		e.Header, e.HeaderAt = q.V[n-1], q.T[n-1]
		q.drop(n)
	}
	for _, c := range [...]station.Channel{station.TankTemperature, station.InletFlow} {
		q := &e.Queues[c]
		q.drop(q.until(end))
	}
}

// strokes feeds the slot's events to the fuse.
func (e *Engine) strokes(start station.Instant) {
	floor := e.Min.M.Start
	e.Act.Teeth, e.Act.Strokes = 0, 0
	for _, v := range e.events {
		if v.n > 0 {
			e.Fuse.Increment(v.at, v.n, e.TeethIn.Visible() || e.TeethOut.Visible(), max(floor, e.First), e.emit)
			continue
		}
		switch {
		case !e.tracesServe():
			e.Min.Unseen = true
		case e.State.ShutdownAt != 0:
			e.Act.Teeth++ // no stroke without supply; enough of them tell that it is back
		default:
			e.tooth(&v, max(floor, e.First))
		}
	}
}

// tooth judges one tooth and passes on the strokes that ended with it or, unseen, before
// it: those are set where the draw paused.
func (e *Engine) tooth(v *event, floor station.Instant) {
	n := 1
	passing := e.Outlet.Mean < 1.05*e.Inlet.Mean // air also goes straight through
	if v.inlet && e.Supply.Rest > 0 && !passing {
		n = e.Gulp.Strokes(&v.found, e.Fuse.Interval.Median())
	}
	if n == 0 {
		return
	}
	e.Act.Teeth++
	for k := n - 1; k > 0; k-- {
		at := v.found.Idle
		if at == 0 {
			at = v.found.At.Add(-int64(k) * e.Fuse.Interval.Median())
		}
		e.Fuse.Tooth(max(at, floor), e.emit)
	}
	e.Fuse.Tooth(max(v.found.At, floor), e.emit)
}

// reference gives the pressure at which the inlet rests or, never having rested, the
// highest seen; Pa gauge, 0 if unknown.
func (e *Engine) reference(t station.Instant) float64 {
	if s := &e.Supply; s.Rest > 0 {
		return s.Rest
	}
	return 0
}
