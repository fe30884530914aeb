package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	leakTogether = 15 * station.Minute60 // within which decay and make-up speak of the same leak
	leakOld      = 8 * 60 * station.Minute60
	leakDrift    = 0.15 // by which a leak may have changed, share of it, in an hour
	holeCd       = 0.65 // discharge coefficient of the equivalent hole: sharp-edged (handbook tables)
)

// leakMix keeps what decay and make-up last told of the leak's conductance, m³/(s·Pa), each
// with its own window, and what follows from both. Fields are exported for snapshots only.
type leakMix struct {
	Decay, Makeup station.Estimate
	Joined        station.Estimate // what follows from both, without the temperature's error in its band
	Shape         air.Shape        // of the last decay
	Back          station.Instant  // closing of the supply in which air came back through the check valves, 0: none
	Less          bool             // Makeup is what the fall between the rounds tells, less than their strokes do
	Inside        bool             // their difference is taken for a loss inside the booster
}

// noLeakKnown says why the leak is unknown.
func (e *Engine) noLeakKnown(reason string) {
	for _, f := range [...]station.Figure{station.LeakFlow, station.LeakConductance, station.LeakHole} {
		e.Est[f] = station.Unknown(reason)
	}
}

// forgetLeak drops what was concluded with another tank.
func (e *Engine) forgetLeak() {
	e.Mix, e.Past, e.Wall = leakMix{}, leakPast{}, wallHeat{}
	e.Floor5.Hours, e.Floor5.Stood = [floorHours]floorHour{}, [stoodBins]stoodBound{}
	e.noLeakKnown(firstReasons[station.LeakFlow])
}

// decay takes what a standing window tells.
func (e *Engine) decay(g station.Estimate) {
	e.Basis.Window = e.Leak.window()
	e.Mix.Decay = e.lessMeant(g, e.Basis.Window)
	e.mixLeak(g.At)
}

// makeup notes a flow, m³/s ANR, with half of its 90 % band, that strokes make up for at
// pressure p (Pa abs) from one time to another.
func (e *Engine) makeup(flow, band, p float64, from, at station.Instant) {
	e.Mix.Less = false
	e.Basis.makeup(&e.Leak, &e.Rounds, flow, p)
	k := p * e.airTemperature().Root()
	e.Mix.Makeup = e.lessMeant(station.Estimate{Value: flow / k, Low: max(0, flow-band) / k, High: (flow + band) / k,
		Method: station.MethodMakeup, Confidence: 0.6, From: from, At: at}, p)
	e.mixLeak(at)
}

// makeupInside takes rounds whose strokes deliver more, by count, than the outlet's fall
// between them tells (told, m³/s ANR): that much is lost inside the booster, and the leak is
// what the fall tells.
func (e *Engine) makeupInside(flow, band, told, p float64, from, at station.Instant) {
	e.Mix.Less = true
	e.Basis.Inside = insideBasis{Strokes: flow, Outlet: told}
	e.Basis.makeup(&e.Leak, &e.Rounds, told, p)
	k := p * e.airTemperature().Root()
	e.Est[station.InternalLeak] = station.Estimate{Value: flow - told, Low: max(0, flow-band-toldHigh*told), High: flow + band - toldLow*told,
		Method: station.MethodMakeup, Confidence: 0.5, From: from, At: at}
	e.Mix.Makeup = e.lessMeant(station.Estimate{Value: told / k, Low: toldLow * told / k, High: toldHigh * told / k,
		Method: station.MethodMakeup, Confidence: 0.5, From: from, At: at}, p)
	e.mixLeak(at)
}

// insideNot takes rounds whose strokes deliver no more than the outlet's fall explains: at
// most high, m³/s ANR, is lost inside the booster.
func (e *Engine) insideNot(high float64, from, at station.Instant) {
	e.Est[station.InternalLeak] = station.Estimate{High: max(0, high), Method: station.MethodMakeup, Confidence: 0.5, From: from, At: at}
}

// spread gives the standard error that a 90 % band tells, and what a leak may have changed
// since.
func spread(g *station.Estimate, at station.Instant) float64 {
	age := float64(at.Sub(g.At)) / float64(60*station.Minute60)
	return math.Hypot((g.High-g.Low)/(2*1.645), leakDrift*age*max(g.Value, g.High/2))
}

// mixLeak weighs decay and make-up by the inverse of their variance, where their bands
// meet:
//
//	C = (C1/s1² + C2/s2²)/(1/s1² + 1/s2²),  s = sqrt(1/(1/s1² + 1/s2²))
//
// s is a band's standard error, widened by 15 % of the leak for each hour of its age.
// Where the bands do not meet, mixApart decides.
func (e *Engine) mixLeak(at station.Instant) {
	d, m := &e.Mix.Decay, &e.Mix.Makeup
	hasD := d.Known() && at.Sub(d.At) < leakOld
	hasM := m.Known() && at.Sub(m.At) < leakOld
	switch {
	case hasD && hasM && d.Low <= m.High && m.Low <= d.High:
		e.Mix.Inside = false
		e.setLeak(mean2(d, m, at), at)
	case hasD && hasM:
		e.mixApart(at)
	case hasD:
		e.setLeak(*d, at)
	case hasM:
		e.setLeak(*m, at)
	}
}

// mean2 is the weighted mean of two estimates, under the method that weighs more.
func mean2(d, m *station.Estimate, at station.Instant) station.Estimate {
	sd, sm := spread(d, at), spread(m, at)
	if sd <= 0 || sm <= 0 || math.IsNaN(sd+sm) {
		return *d
	}
	wd, wm := 1/(sd*sd), 1/(sm*sm)
	g := *d
	if wm > wd {
		g = *m
	}
	s := 1.645 / math.Sqrt(wd+wm)
	g.Value = (wd*d.Value + wm*m.Value) / (wd + wm)
	g.Low, g.High = max(0, g.Value-s), g.Value+s
	g.Confidence = max(d.Confidence, m.Confidence)
	g.From, g.At = min(d.From, m.From), max(d.At, m.At)
	return g
}

// mixApart decides where decay and make-up contradict each other beyond their bands. Where
// the standing window lies within the rounds that make-up counted, and says less, the outlet
// loses what decay says and the booster the rest. Else the leak has changed in between, and
// the later one counts, with less confidence while the other is fresh.
func (e *Engine) mixApart(at station.Instant) {
	d, m := &e.Mix.Decay, &e.Mix.Makeup
	late := *d
	if m.At > d.At {
		late = *m
	}
	if at.Sub(min(d.At, m.At)) > leakTogether {
		e.Mix.Inside = false
		e.setLeak(late, at)
		return
	}
	within := m.From <= d.From && d.At <= m.At
	e.Mix.Inside = m.Value > d.Value && (within || e.Mix.Inside && e.sameInside())
	if e.Mix.Inside {
		e.insideIs(at)
		late = *d
	}
	late.Confidence *= 0.7
	e.setLeak(late, at)
}

// sameInside tells whether make-up still exceeds decay by what was taken for a loss inside
// the booster.
func (e *Engine) sameInside() bool {
	i, p := &e.Est[station.InternalLeak], e.operating()*e.airTemperature().Root()
	d, m := &e.Mix.Decay, &e.Mix.Makeup
	return i.Known() && (m.Low-d.High)*p <= i.High && (m.High-d.Low)*p >= i.Low
}

// insideIs states what make-up says beyond decay, at the operating pressure.
func (e *Engine) insideIs(at station.Instant) {
	d, m, p := &e.Mix.Decay, &e.Mix.Makeup, e.operating()*e.airTemperature().Root()
	diff := m.Value - d.Value
	half := math.Hypot((m.High-m.Low)/2, (d.High-d.Low)/2)
	e.Basis.Inside = insideBasis{m.Value * p, d.Value * p, true}
	e.Est[station.InternalLeak] = station.Estimate{Value: diff * p, Low: max(0, diff-half) * p, High: (diff + half) * p,
		Method: station.MethodMakeup, Confidence: 0.5, From: min(d.From, m.From), At: at}
}

// setLeak states a conductance, and by it the flow at the operating pressure and the round
// hole that loses as much. Where a standing outlet refutes it, a fresh decay takes its place.
func (e *Engine) setLeak(g station.Estimate, at station.Instant) {
	if e.refuted(&g) {
		d := &e.Mix.Decay
		if !d.Known() || at.Sub(d.At) >= leakOld || e.refuted(d) {
			e.noLeakKnown(noLeakSeen)
			return
		}
		g = *d
	}
	p, t := e.operating(), e.airTemperature()
	e.Basis.Pressure = p
	e.Mix.Joined = g
	g = e.leakOf(g)
	c := widened(g, t, 0.5)
	e.Est[station.LeakConductance] = c
	h := c
	h.Value, h.Low, h.High = air.EquivalentHole(c.Value, holeCd), air.EquivalentHole(c.Low, holeCd), air.EquivalentHole(c.High, holeCd)
	e.Est[station.LeakHole] = h
	p *= t.Root()
	g.Value, g.Low, g.High = g.Value*p, g.Low*p, g.High*p
	e.Est[station.LeakFlow] = widened(g, t, 1)
}

// widened returns an estimate with the temperature's error in its band, of a figure that goes with
// (T0/T)^power. Decay and make-up share that error, so it is added after they are joined.
func widened(g station.Estimate, t air.Temperature, power float64) station.Estimate {
	r := t.Widen(air.Range{Value: g.Value, Low: g.Low, High: g.High}, power)
	g.Low, g.High = r.Low, r.High
	return g
}
