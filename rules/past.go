package rules

import (
	"math"

	"strokewise/analyzer/station"
)

// past keeps what conditions need of earlier steps, in rings over event time: outlet by
// the second, work by the minute. Fields are exported for snapshots only.
type past struct {
	Second, Minute int64 // of the newest step, since 1970
	Outlet         [60]float64
	Heard          int         // readings of the outlet without a gap, at most 60
	Fed, Worked    [60]uint8   // s of the minute
	Top            [10]float64 // highest inlet while fed, Pa gauge
	Drawn          [60]float32 // what left the outlet in the minute while fed, m³ ANR
	Drew           [60]uint8   // s of the minute in which that was known
	Vents          vents
	Word           station.Instant    // shutdown that a person said to be vented, 0: none
	InletWord      station.Instant    // likewise, until the inlet is read above the limit
	Below          station.Instant    // since when the outlet reads below the limit in this shutdown, 0: it does not
	Rose           [2]station.Instant // since when inlet and outlet read above the limit again, after they read below it in this shutdown, 0: they do not
	Low            [2]bool            // they read below the limit
	Dark           int                // s without a reading of the outlet in this shutdown, while nobody and nothing showed that it was vented
}

// vents is which sides were vented, so that pressure that returns can be told.
type vents struct {
	Vented, InletVented bool       // see was_vented and inlet_was_vented
	Words               []Spoken   // persons' words "vented" that stand
	VentedBy            string     // how it was told
	Base                [2]float64 // what the sensors of inlet and outlet read at the newest word, 0 where nothing, Pa gauge
	Opens               bool       // nobody said it, a shift runs, and pressure has just come back: the crew opens the supply
}

// said reports whether a person's word "vented" stands.
func (w *vents) said() bool { return len(w.Words) > 0 }

// back sets what the two sides read, as far as it may be air that returned. Once a person relies on the
// alarm, a reading counts whether it is believed or not, as at work.
func (w *vents) back(s *station.Status, q *values) {
	q[qInletBack], q[qOutletBack] = value(&s.Inlet), value(&s.Outlet)
	r := readings(s)
	for i, k := range [2]int{qInletBack, qOutletBack} {
		if math.IsNaN(q[k]) && w.said() {
			q[k] = r[i] - math.Max(0, w.Base[i])
		}
	}
}

// rest keeps what the sensors read at a word.
func (w *vents) rest(s *station.Status) {
	for i, p := range readings(s) {
		if w.Base[i] = 0; finite(p) {
			w.Base[i] = p
		}
	}
}

// darkSeconds is how long the outlet must be unknown in a shutdown for a low reading after it
// to prove nothing: shorter gaps occur while sensors are heard for the first time. Own choice.
const darkSeconds = 10

// step follows one second; seen is what live sensors show of both sides.
func (p *past) step(s *station.Status, seen seenVents) {
	sec := int64(s.At.Floor(station.Second)) / station.Second
	if sec == p.Second {
		return
	}
	if sec < p.Second || sec-p.Second > 3600 {
		*p = past{Vents: p.Vents, Word: p.Word, InletWord: p.InletWord, Below: p.Below, Rose: p.Rose, Low: p.Low, Dark: p.Dark, Minute: sec / 60}
	}
	if sec-p.Second > 2 || !s.Outlet.Known() {
		p.Heard = 0
	}
	p.Second = sec
	for m := max(p.Minute+1, sec/60-59); m <= sec/60; m++ {
		p.Fed[m%60], p.Worked[m%60], p.Top[m%10], p.Drawn[m%60], p.Drew[m%60] = 0, 0, 0, 0, 0
	}
	p.Minute = sec / 60
	p.count(s)
	if s.Outlet.Known() {
		p.Outlet[sec%60] = s.Outlet.Value
		p.Heard = min(p.Heard+1, 60)
	}
	p.left(s, &seen)
}

// seenVents is how a step stands to venting.
type seenVents struct {
	shut          shutdown
	outside       bool // no shift runs by the calendar
	shift         bool // one does
	outlet, inlet bool // its way down was seen by a live sensor
	contradicts   bool // see contradicts
}

// seenVented returns how the newest step stands to venting.
func (v *Evaluator) seenVented(s *station.Status) seenVents {
	_, outside := v.roster.outside(v.plate.Calendar, s.At)
	return seenVents{shut: v.shut, outside: outside, shift: v.roster.works(), outlet: v.Fall.believed(fallSeconds), inlet: v.InletFall.believed(inletFallSeconds), contradicts: v.contradicts(s)}
}

// left follows what was vented since the shutdown. A station that is fed again is in service,
// unless a person's word stands or no shift runs: then pressure has returned to a line that
// somebody may take for vented.
func (p *past) left(s *station.Status, seen *seenVents) {
	fed, shut := s.ShutdownAt == 0 && s.State != station.Blind, seen.shut.at != 0
	if fed {
		p.Word, p.InletWord = 0, 0
	}
	low, inletLow := reads(&s.Outlet, seen.contradicts), reads(&s.Inlet, false)
	charged := s.Outlet.Known() && s.Outlet.Value > ChargedMin
	switch {
	case p.Vents.said():
	case fed && !shut && !seen.outside:
		p.Vents.Vented, p.Vents.InletVented = false, false
	case shut:
		p.Vents.Vented, p.Vents.InletVented = p.Vents.Vented || low && seen.outlet, p.Vents.InletVented || inletLow && seen.inlet
		if p.Vents.Vented || p.Vents.InletVented {
			p.Vents.VentedBy = "as live sensors saw"
		}
	}
	if s.Inlet.Known() && s.Inlet.Value > ChargedMin {
		p.InletWord = 0
	}
	p.rises(s, shut)
	p.Vents.Opens = seen.shift && !p.Vents.said() && (p.within(0, s.At, startNs) || p.within(1, s.At, startNs))
	switch {
	case charged, !shut:
		p.Below = 0
	case s.Outlet.Known() && p.Below == 0:
		p.Below = s.At
	}
	switch {
	case !shut, charged, low && seen.outlet:
		p.Dark = 0
	case !s.Outlet.Known() && p.Below == 0 && p.Word != seen.shut.at:
		p.Dark++
	}
}

// openingNs is how long a side that read vented may read charged before it counts as left: a supply
// that is opened lifts both sides before the inlet shows that it is open. Pressure that comes back
// to people is another alarm. Own choice.
const openingNs = 5 * station.Second

// rises follows since when a side is back above the limit within a shutdown.
func (p *past) rises(s *station.Status, shut bool) {
	for i, e := range [2]*station.Estimate{&s.Inlet, &s.Outlet} {
		switch {
		case !shut:
			p.Low[i], p.Rose[i] = false, 0
		case !e.Known():
		case e.Value <= ChargedMin:
			p.Low[i], p.Rose[i] = true, 0
		case p.Low[i]:
			p.Low[i], p.Rose[i] = false, s.At
		}
	}
}

// startNs is how long a crew's opening of the supply may take to show as such: an empty tank behind a narrow line
// keeps the inlet down. Own choice.
const startNs = 60 * station.Second

// opening reports whether a side (0: inlet, 1: outlet) has just come back.
func (p *past) opening(side int, t station.Instant) bool { return p.within(side, t, openingNs) }

// within reports whether a side came back within the last ns.
func (p *past) within(side int, t station.Instant, ns int64) bool {
	return p.Rose[side] != 0 && t.Sub(p.Rose[side]) < ns
}

// reads reports whether a side reads below the limit, and may be believed.
func reads(e *station.Estimate, contradicts bool) bool {
	return e.Known() && e.Value <= ChargedMin && !contradicts
}

// vent notes a person's word that both sides were vented in a shutdown.
func (p *past) vent(shut station.Instant, words []Spoken, by string) {
	p.Word, p.InletWord, p.Dark = shut, shut, 0
	p.Vents = vents{Vented: true, InletVented: true, Words: words, VentedBy: by}
}

func (p *past) count(s *station.Status) {
	m := p.Minute
	if s.State.Fed() {
		p.Fed[m%60]++
		if s.State.Working() {
			p.Worked[m%60]++
		}
		if s.Inlet.Known() {
			p.Top[m%10] = math.Max(p.Top[m%10], s.Inlet.Value)
		}
		if d := &s.Estimates[station.OutletDraw]; d.Known() {
			p.Drawn[m%60] += float32(d.Value)
			p.Drew[m%60]++
		}
	}
}

// worked returns for how many seconds of a time up to the newest step, ns and an hour at most, the
// piston worked, and for how many the station was fed; to the minute.
func (p *past) worked(ns int64) (worked, fed int) {
	for m := int64(0); m < min(60, max(1, ns/station.Minute60)); m++ {
		worked += int(p.Worked[(p.Minute-m+60)%60])
		fed += int(p.Fed[(p.Minute-m+60)%60])
	}
	return worked, fed
}

// drawn returns what left the outlet, m³/s ANR, in the mean of a time up to the newest step, ns and an hour at most;
// false where it was known for less than half of the fed time.
func (p *past) drawn(ns int64) (flow float64, known bool) {
	sum, seconds, fed := 0.0, 0, 0
	for m := int64(0); m < min(60, max(1, ns/station.Minute60)); m++ {
		i := (p.Minute - m + 60) % 60
		sum, seconds, fed = sum+float64(p.Drawn[i]), seconds+int(p.Drew[i]), fed+int(p.Fed[i])
	}
	return sum / float64(max(1, seconds)), seconds > 0 && 2*seconds >= fed
}

// fill gives the quantities that look back; span only where it is wanted.
func (p *past) fill(s *station.Status, q *values, span bool) {
	fed, worked := 0, 0
	for i := range p.Fed {
		fed += int(p.Fed[i])
		worked += int(p.Worked[i])
	}
	q[qDuty] = nan
	if fed >= 1800 {
		q[qDuty] = float64(worked) / float64(fed)
	}
	top := 0.0
	for i := range p.Top {
		top = math.Max(top, p.Top[i])
	}
	q[qInletTop] = given(top)
	q[qSpan] = nan
	if span && p.Heard == 60 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, x := range p.Outlet {
			low, high = math.Min(low, x), math.Max(high, x)
		}
		q[qSpan] = high - low
	}
	p.Vents.back(s, q)
	q[qReturned], q[qInletReturned] = truth(p.Vents.Vented && !p.Vents.Opens), truth(p.Vents.InletVented && !p.Vents.Opens)
}
