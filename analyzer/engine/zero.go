package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	ventedAtMost = 60e3             // Pa gauge: a reading above it is pressure, not a zero
	ventedFrom   = 200e3            // Pa gauge: what fell from there was vented
	ventedWithin = station.Minute60 // of that fall
	ventedFor    = station.Minute60 // of rest that shows a zero
	zeroLimit    = 15e3             // Pa: a larger zero is an offset
	driftLeast   = 5e3              // Pa by which a zero must have grown to be called drift
	driftAfter   = station.Minute60 * 60
	cracks       = 10e3 // two cracking pressures of check valves, Pa (common practice, no source)
	offsetSpan   = 24 * station.Minute60 * 60
)

// zeros learns the sensors' zeros from vented moments, and bounds of the outlet's offset from
// fed moments without strokes. Nothing is corrected by them: an outlet that rests at 30 kPa
// may be charged. Fields are exported for snapshots only.
type zeros struct {
	In, Out zero
	Offset  offset
	NoiseAt station.Instant
}

// zero follows one channel.
type zero struct {
	High     station.Instant // when it last read as charged
	Rest     float64         // where it rests, Pa gauge
	From     station.Instant // since when, 0: it moves
	Sum      float64
	N        int
	Fell     bool // it came there from charged within a minute
	Done     bool // this rest was taken
	Earliest float64
	First    station.Instant // when the earliest zero was taken, 0: none yet
	Value    float64
	At       station.Instant
}

// offset keeps the bounds of two days: p2 - p1 of the readings where the check valves, and the
// piston's forces, bound it.
type offset struct {
	High, Low         float64 // Pa, of the present day
	OldHigh, OldLow   float64
	Day               station.Instant
	Seen, OldSeen     bool
	LowSeen, OldLower bool
}

// watchZeros looks at the slot that ended.
func (e *Engine) watchZeros(end station.Instant) {
	z := &e.Doubt.Zero
	in := z.In.slot(&e.Inlet, e.Ends.In.Noise(), end)
	out := z.Out.slot(&e.Outlet, e.Ends.Out.Noise(), end)
	if e.State.ShutdownAt != 0 && in && out && e.frozenFor() < ventedFor/2 {
		e.takeZero(&z.In, station.InletZero, inletDoubted, end)
		e.takeZero(&z.Out, station.OutletZero, outletDoubted, end)
	}
	e.cureZero(end)
	e.boundOffset(end)
	if end.Sub(z.NoiseAt) >= station.Minute60 {
		z.NoiseAt = end
		e.noise(station.InletNoise, e.Ends.In.NoiseRaw, e.Ends.In.N, end)
		e.noise(station.OutletNoise, e.Ends.Out.NoiseRaw, e.Ends.Out.N, end)
	}
}

// frozenFor gives for how long, ns, either reading has not changed at all although it has
// noise: such a rest shows nothing.
func (e *Engine) frozenFor() int64 {
	d, longest := &e.Doubt, int64(0)
	for _, s := range [...]*still{&d.Inlet, &d.Outlet} {
		if s.Noise > 2*quantumNoise {
			longest = max(longest, s.For)
		}
	}
	return longest
}

// slot takes a slot's reading and tells whether it has rested near atmosphere for long enough.
func (z *zero) slot(l *level, noise float64, end station.Instant) bool {
	if l.N == 0 {
		return z.From != 0 && end.Sub(z.From) >= ventedFor
	}
	m := l.Mean
	if m > ventedFrom {
		z.High = end
	}
	if math.Abs(m) > ventedAtMost || z.From == 0 || math.Abs(m-z.Rest) > max(1e3, 4*noise) {
		fell := z.High != 0 && end.Sub(z.High) <= ventedWithin || z.From != 0 && z.Fell && math.Abs(m-z.Rest) < ventedAtMost && end.Sub(z.High) <= 2*ventedWithin
		z.From, z.Rest, z.Sum, z.N, z.Fell, z.Done = 0, m, 0, 0, fell, false
		if math.Abs(m) <= ventedAtMost {
			z.From = end
		}
		return false
	}
	z.Sum += m
	z.N++
	return end.Sub(z.From) >= ventedFor
}

// takeZero takes the rest of a channel as its zero. One beyond the limit makes the sensor
// doubted if the reading fell there from charged: it is an offset, or pressure that was left,
// and both must be looked at.
func (e *Engine) takeZero(z *zero, f station.Figure, w who, end station.Instant) {
	if z.Done || z.N == 0 {
		return
	}
	z.Done = true
	v := z.Sum / float64(z.N)
	large := math.Abs(v) > zeroLimit
	if large && !z.Fell && v > 0 {
		return // it may be that pressure
	}
	z.Value, z.At = v, end
	if z.First == 0 {
		z.First, z.Earliest = end, v
	}
	g := station.Estimate{Value: v, Low: v - 1e3, High: v + 1e3, Method: station.MethodTraces, Confidence: 0.7, From: z.From, At: end}
	if large {
		g.Confidence = 0.4
	}
	e.Est[f] = g
	if large && v > 0 { // below atmosphere it is doubted anyway
		if h := &e.Doubt.Held; h.Is < zeroOff {
			h.hold(zeroOff, w, z.From, z.why(w))
			h.Off = v
		}
	}
}

// why returns what a zero beyond the limit may mean.
func (z *zero) why(w who) station.StateReason {
	r := station.StateReason{Is: station.ZeroOff, Sides: w, Value: z.Value}
	if grown := z.Value - z.Earliest; z.At.Sub(z.First) >= driftAfter && math.Abs(grown) >= driftLeast && grown*z.Value > 0 {
		r.Is, r.Was, r.At = station.ZeroDrifted, z.Earliest, z.First
	}
	return r
}

// cureZero ends a doubt of an offset once the sensor rests near zero while vented.
func (e *Engine) cureZero(end station.Instant) {
	d := &e.Doubt
	h := &d.Held
	if h.Is != zeroOff && h.Is != jumped && h.Is != vacuum || e.State.ShutdownAt == 0 {
		return
	}
	fine := func(z *zero) bool {
		return z.Done && (z.Fell || h.Is == vacuum) && z.At > h.Since && math.Abs(z.Value) <= zeroLimit/2
	}
	if (h.Who&inletDoubted == 0 || fine(&d.Zero.In)) && (h.Who&outletDoubted == 0 || fine(&d.Zero.Out)) {
		d.clear()
	}
}

// boundOffset bounds the outlet sensor's offset against the inlet's from a fed moment without
// strokes, in which both readings rest:
//
//	p2 >= p1 - 2 p_crack          so  offset <= r2 - r1 + 2 p_crack
//	p2 <= p1 (1 + A_d/A_b)        so  offset >= r2 - r1 (1 + A_d/A_b), gauge, r1 the highest of a day
//
// with readings r. The value is the upper bound, the least of one to two days.
func (e *Engine) boundOffset(end station.Instant) {
	o := &e.Doubt.Zero.Offset
	if e.Inlet.N == 0 || e.Outlet.N == 0 || e.State.ShutdownAt != 0 || e.Doubt.Who != 0 || e.Supply.RestAt < end.Add(-slotLen) {
		return
	}
	if end.Sub(o.Day) >= offsetSpan {
		o.OldHigh, o.OldLow, o.OldSeen, o.OldLower = o.High, o.Low, o.Seen, o.LowSeen
		o.Seen, o.LowSeen, o.Day = false, false, end
	}
	r1, r2 := e.Inlet.Mean, e.Outlet.Mean
	high := r2 - r1 + cracks
	changed := !o.Seen || high < o.High
	if changed {
		o.High, o.Seen = high, true
	}
	if ratio := e.Plate.AreaRatio; ratio > 0 {
		if low := r2 - e.Supply.Peak*(1+ratio); !o.LowSeen || low > o.Low {
			o.Low, o.LowSeen, changed = low, true, true
		}
	}
	if changed {
		e.Est[station.OutletOffset] = o.estimate(end)
	}
}

func (o *offset) estimate(end station.Instant) station.Estimate {
	high, low, lower := o.High, o.Low, o.LowSeen
	if o.OldSeen {
		high = min(high, o.OldHigh)
	}
	if o.OldLower {
		low = max(low, o.OldLow)
		if !lower {
			low = o.OldLow
		}
		lower = true
	}
	g := station.Estimate{Value: high, High: high, Method: station.MethodBound, Confidence: 0.8, At: end}
	if lower {
		g.Low = low
	}
	return g
}

// noise reports a channel's noise, from samples that are quick enough to tell it from what
// the piston does.
func (e *Engine) noise(f station.Figure, rms float64, n int64, end station.Instant) {
	switch {
	case n < 100 || rms == 0:
	case !e.tracesServe():
		e.Est[f] = station.Unknown("too few samples a second to tell noise from what the piston does")
	default:
		e.Est[f] = station.Estimate{Value: rms, Method: station.MethodTraces, Confidence: 0.7, At: end}
	}
}
