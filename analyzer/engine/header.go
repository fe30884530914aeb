package engine

import (
	"strokewise/analyzer/station"
)

const (
	headerFresh = 30 * station.Second   // age up to which a header reading is the present one
	staticAge   = 10 * station.Minute60 // age up to which a resting pressure counts as the present one
	pairWithin  = 10 * station.Second   // of a run's begin and end, for resting pressures that go with it
	slowEvery   = 10 * station.Second   // between computations of slow figures
	restedNot   = "the inlet fell while the piston worked, without the swing that the line makes, and has not rested since"
	neverStands = "the piston never stands: line or header cannot be told apart"
)

// header follows the pressure before the supply line: by its own channel where there is one,
// else by the inlet's resting pressure. Pressures are Pa gauge. Fields are exported for
// snapshots only.
type header struct {
	Mean   float64         // of the last slot with readings
	N      int             // of these
	At     station.Instant // 0: no reading yet
	All    float64         // slow mean, over a minute
	Rest   float64         // while the piston stands
	RestAt station.Instant
	Off    float64 // of its sensor against the inlet's, from rests

	RunSum float64 // of the present run
	RunN   int

	Sag, Line, Weight float64 // weighted sums of the two parts of the sag
	Pair              pair
}

// pair is a run that began at rest, kept until the inlet rests again: the two resting
// pressures tell how the header moved meanwhile.
type pair struct {
	Open          bool // the present run began at rest
	Before        float64
	Dynamic, Secs float64
	EndAt         station.Instant // 0: nothing waits for a rest
}

// readHeader takes a slot's readings of the header.
func (e *Engine) readHeader(sum float64, n int, at station.Instant) {
	h := &e.Hdr
	h.Mean, h.N = sum/float64(n), n
	if h.At == 0 {
		h.All = h.Mean
	}
	h.All += (h.Mean - h.All) * float64(slotLen) / float64(station.Minute60)
	h.At = at
}

// headerNow gives the header's present pressure in terms of the inlet's sensor, Pa gauge;
// false without a channel, and where it reads below the inlet: air does not flow uphill.
func (e *Engine) headerNow(end station.Instant) (float64, bool) {
	h := &e.Hdr
	if h.At == 0 || e.Plate.Cadence != station.OnChange && end.Sub(h.At) > headerFresh {
		return 0, false
	}
	x := h.Mean - h.Off
	return x, x >= e.Inlet.Mean-max(vented, 0.05*e.Inlet.Mean)
}

// fedByHeader tells whether a low inlet is no closed supply: the header is as low.
func (e *Engine) fedByHeader(end station.Instant) bool {
	x, ok := e.headerNow(end)
	return ok && x > 30e3 && e.Inlet.Mean > 0.95*x
}

// headerRests takes a slot in which the piston stands and the inlet rests.
func (e *Engine) headerRests(end station.Instant) {
	h := &e.Hdr
	if p := &h.Pair; p.EndAt != 0 {
		if end.Sub(p.EndAt) <= pairWithin {
			e.pairUp(e.Inlet.Mean, end)
		}
		p.EndAt = 0
	}
	if _, ok := e.headerNow(end); !ok {
		return
	}
	if h.RestAt == 0 {
		h.Off = h.Mean - e.Inlet.Mean
	}
	if h.RestAt == 0 || end.Sub(h.RestAt) > pairWithin { // it has moved since
		h.Rest = h.Mean
	}
	h.Rest += 0.2 * (h.Mean - h.Rest)
	h.Off += 0.02 * (h.Mean - e.Inlet.Mean - h.Off)
	h.RestAt = end
}

// pairUp splits the sag of a run by the resting pressures before and after it. What the header
// fell and has not regained shows in them; a fall that recovers at once does not, so the
// header's part is a lower bound and the line's an upper one.
func (e *Engine) pairUp(after float64, at station.Instant) {
	h := &e.Hdr
	p := &h.Pair
	static := p.Before
	fall := max(0, p.Before-after) / 2 // the mean of before and after, against before
	h.share(fall/static, (static-fall-p.Dynamic)/static, p.Secs)
	e.Basis.Header = headerBasis{Static: static, Rested: true}
	e.Est[station.HeaderSag] = station.Estimate{Value: h.Sag / h.Weight, Low: h.Sag / h.Weight, High: (h.Sag + h.Line) / h.Weight, Method: station.MethodTraces, Confidence: 0.4, At: at}
	e.Est[station.LineSag] = station.Estimate{Value: h.Line / h.Weight, High: h.Line / h.Weight, Method: station.MethodTraces, Confidence: 0.4, At: at}
}

// share adds the parts of a run of some seconds; the past is forgotten as that of the sag.
func (h *header) share(sag, line, seconds float64) {
	keep := keepOver(seconds, h.Weight)
	h.Sag, h.Line, h.Weight = h.Sag*keep+sag*seconds, h.Line*keep+line*seconds, h.Weight*keep+seconds
}

// headerBegins notes with which resting pressure a run begins.
func (e *Engine) headerBegins(end station.Instant) {
	h, s := &e.Hdr, &e.Supply
	h.RunSum, h.RunN = 0, 0
	h.Pair.Open, h.Pair.Before = s.Rest > 0 && end.Sub(s.RestAt) <= pairWithin, s.Rest
}

// headerRun ends a run in which the inlet stood at dynamic, Pa gauge, for some seconds.
func (e *Engine) headerRun(dynamic, seconds float64, end station.Instant) {
	h, d := &e.Hdr, &e.Supply.Done
	open := h.Pair.Open
	h.Pair.Open, h.Pair.EndAt = false, 0
	if d.HeadN < d.Slots*3/4 {
		if open {
			h.Pair.Dynamic, h.Pair.Secs, h.Pair.EndAt = dynamic, seconds, end
		}
		return
	}
	head := d.Head/float64(d.HeadN) - h.Off
	if h.RestAt == 0 || end.Sub(h.RestAt) > staticAge {
		keep := keepOver(seconds, h.Weight)
		h.Line, h.Weight = h.Line*keep+(head-dynamic)/head*seconds, h.Weight*keep+seconds
		e.Basis.Header = headerBasis{Static: head, Sensor: true}
		e.Est[station.HeaderSag] = station.Unknown("the piston never stands: by how much the header falls while it works is not known")
		e.Est[station.LineSag] = station.Estimate{Value: h.Line / h.Weight, Method: station.MethodTraces, Confidence: 0.5, At: end}
		return
	}
	static := h.Rest - h.Off
	h.share((static-head)/static, (head-dynamic)/static, seconds)
	e.Basis.Header = headerBasis{static, true, true}
	e.Est[station.HeaderSag] = station.Estimate{Value: h.Sag / h.Weight, Method: station.MethodTraces, Confidence: 0.8, At: end}
	e.Est[station.LineSag] = station.Estimate{Value: h.Line / h.Weight, Method: station.MethodTraces, Confidence: 0.8, At: end}
}

// headerByFall returns the header, Pa gauge, where the inlet has fallen while the piston works, without the
// swing that the line makes: p1/(1 - sag), with the sag that was learned before. The line takes less from a lower header,
// so it errs by a part of the sag, to the high side. Where no rest was seen the sag is the most that the swing allows.
func (e *Engine) headerByFall() float64 {
	b := &e.Basis.Fallen
	b.In, b.Sag = e.Inlet.Mean, e.sagBefore()
	return b.In / (1 - b.Sag)
}

// fallen reports whether the header fell while the piston worked, or did within staticAge: its return
// must show too.
func (e *Engine) fallen(end station.Instant) bool {
	u := &e.Supply.Unrested
	return u.Doubt || u.Even.FellAt != 0 && end.Sub(u.Even.FellAt) <= staticAge && u.Even.FellAt > e.Supply.RestAt
}

// headerStatic sets the header's pressure at rest.
func (e *Engine) headerStatic(end station.Instant) {
	h, s := &e.Hdr, &e.Supply
	_, ok := e.headerNow(end)
	g := station.Estimate{Method: station.MethodTraces, At: end}
	e.Basis.Fallen = fallenBasis{}
	switch {
	case ok && h.RestAt != 0 && end.Sub(h.RestAt) <= station.Minute60:
		g.Value, g.Confidence, g.At = h.Rest, 0.9, h.RestAt
	case ok:
		g.Value, g.Confidence = h.All, 0.6
	case e.State.ShutdownAt != 0:
		g = station.Unknown("the supply is closed")
	case e.fallen(end) && s.SagWeight > 0 && e.working(end):
		g.Value, g.Confidence = e.headerByFall(), 0.4
	case e.fallen(end):
		g = station.Unknown(restedNot)
	case s.Rest > 0 && end.Sub(s.RestAt) <= staticAge:
		g.Value, g.Confidence, g.At = s.Rest, 0.7, s.RestAt
	case s.Rest > 0:
		g = station.Unknown("the piston has not stood for ten minutes: line or header cannot be told apart")
	default:
		g = station.Unknown(neverStands)
	}
	e.Est[station.HeaderStatic] = g
	if s.Rest == 0 && h.Weight == 0 && !e.Est[station.LineSag].Known() && e.Supply.SagWeight > 0 {
		e.Est[station.HeaderSag] = station.Unknown(neverStands)
		e.Est[station.LineSag] = station.Unknown(neverStands)
	}
}
