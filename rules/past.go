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
	Heard          int             // readings of the outlet without a gap, at most 60
	Fed, Worked    [60]uint8       // s of the minute
	Top            [10]float64     // highest inlet while fed, Pa gauge
	Vented         bool            // see was_vented
	Word           station.Instant // shutdown that a person said to be vented, 0: none
	InletWord      station.Instant // likewise, until the inlet is read above the limit
	Below          station.Instant // since when the outlet reads below the limit in this shutdown, 0: it does not
}

// step takes one second.
func (p *past) step(s *station.Status, shut shutdown, fell bool) {
	sec := int64(s.At.Floor(station.Second)) / station.Second
	if sec == p.Second {
		return
	}
	if sec < p.Second || sec-p.Second > 3600 {
		*p = past{Vented: p.Vented, Word: p.Word, InletWord: p.InletWord, Below: p.Below, Minute: sec / 60}
	}
	if sec-p.Second > 2 || !s.Outlet.Known() {
		p.Heard = 0
	}
	p.Second = sec
	for m := max(p.Minute+1, sec/60-59); m <= sec/60; m++ {
		p.Fed[m%60], p.Worked[m%60], p.Top[m%10] = 0, 0, 0
	}
	p.Minute = sec / 60
	p.count(s)
	if s.Outlet.Known() {
		p.Outlet[sec%60] = s.Outlet.Value
		p.Heard = min(p.Heard+1, 60)
	}
	p.left(s, shut, fell)
}

// left follows what was vented since the shutdown. Outside the shift a station that is fed
// again stays one that was vented: that its pressure returned is what people must know.
func (p *past) left(s *station.Status, shut shutdown, fell bool) {
	fed := s.ShutdownAt == 0 && s.State != station.Blind
	if fed {
		p.Word, p.InletWord = 0, 0
	}
	low := s.Outlet.Known() && s.Outlet.Value <= ChargedMin
	switch {
	case fed && shut.at == 0:
		p.Vented, p.Below = false, 0
	case shut.at != 0 && low && fell:
		p.Vented = true
	}
	if s.Inlet.Known() && s.Inlet.Value > ChargedMin {
		p.InletWord = 0
	}
	switch {
	case s.Outlet.Known() && !low, shut.at == 0:
		p.Below = 0
	case low && p.Below == 0:
		p.Below = s.At
	}
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
	}
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
	q[qReturned] = truth(p.Vented)
}
