package engine

import (
	"strokewise/analyzer/station"
)

// suspect makes the station blind for a reason. When a doubt begins, what was made of
// readings since the fault is dropped.
func (e *Engine) suspect(reason station.StateReason, w who, since, end station.Instant) {
	d := &e.Doubt
	began := d.Who == 0
	if d.Reason != reason {
		d.Reason, d.Told = reason, "not believed: "+reason.String()
	}
	grown := w &^ d.Who
	d.Who = w
	if began || grown != 0 {
		e.forgetSince(since, w)
	}
	if w&outletDoubted != 0 {
		e.unsee(since)
	}
	if w&inletDoubted != 0 {
		if grown&inletDoubted != 0 {
			d.Kept = d.Past[1]
			if d.Kept.Rest == 0 {
				d.Kept = supplyLevels{e.Supply.Rest, e.Supply.Peak}
			}
			d.Top, d.Back = e.supplyReading().Mean, 0
			if s := &e.State; s.ShutdownBy == station.ByInlet && s.ShutdownAt >= since.Add(-slotLen) {
				s.ShutdownAt, s.ShutdownBy, s.LowSince = 0, station.NoShutdown, 0
			}
		}
		e.Supply.Rest, e.Supply.Peak = d.Kept.Rest, d.Kept.Peak
	}
	e.Rounds.stop()
	e.Health.Count = 0
}

// trust ends a doubt, and remembers levels of the inlet while there is none.
func (e *Engine) trust(end station.Instant) {
	d := &e.Doubt
	if d.Who&inletDoubted != 0 {
		e.Supply.Rest, e.Supply.Peak = 0, 0 // learned anew
		d.Past = [2]supplyLevels{}
	}
	d.Reason, d.Told, d.Who = station.StateReason{}, "", 0
	if end.Sub(d.PastAt) >= station.Minute60 {
		d.Past[1], d.Past[0], d.PastAt = d.Past[0], supplyLevels{e.Supply.Rest, e.Supply.Peak}, end
	}
}

// dropped is why a figure is unknown that was made of readings that are not believed now.
const dropped = "dropped: it was made of readings of a sensor that is not believed"

// forgetSince drops the figures of leak and supply that rest on readings since then, and the
// windows that are open.
func (e *Engine) forgetSince(since station.Instant, w who) {
	sag, line := e.Est[station.SupplySag].At, e.Est[station.SupplyConductance].At
	for f := range e.Est {
		g := station.Figures[f].Group
		if (g == station.GroupLeak || g == station.GroupSupply) && e.Est[f].Known() && e.Est[f].At >= since {
			e.Est[f] = station.Unknown(dropped)
		}
	}
	e.Leak.reset()
	e.Leak.Steady = 0
	e.Floor5 = leakFloor{}
	e.Rounds.stop()
	s := &e.Supply
	s.Track = false
	if sag >= since {
		s.SagSum, s.SagWeight, s.Rested = 0, 0, 0
	}
	if line >= since {
		e.forgetLine()
	}
	if w&outletDoubted != 0 {
		e.State.TopOutlet = 0
	}
}

// supplyReading gives the reading that tells of the supply while the inlet is doubted.
func (e *Engine) supplyReading() *level {
	if e.Doubt.Held.Is == exchanged {
		return &e.Outlet
	}
	return &e.Inlet
}

// quietAfter is how long, ns, no stroke is counted before a doubted inlet may tell a shutdown. The
// traces do not count: what they show of strokes comes from that inlet.
const quietAfter = 10 * station.Second

// doubtedSupply concludes a shutdown from an inlet that is not believed: whatever its offset or
// unit, a reading that falls to a quarter of what it was, without a stroke counted since, is a
// supply that was closed. The outlet then counts as charged.
func (e *Engine) doubtedSupply(start, end station.Instant) {
	d, l, s := &e.Doubt, e.supplyReading(), &e.State
	if l.N == 0 || d.Top <= 0 {
		d.Top = max(d.Top, l.Mean)
		return
	}
	d.Top = max(d.Top, l.Mean)
	switch {
	case s.ShutdownAt == 0:
		if l.Mean >= 0.25*d.Top || d.Held.Is == noInlet && d.Top < 2e3 {
			s.LowSince = 0
			return
		}
		if s.LowSince == 0 {
			s.LowSince = start
		}
		if end.Sub(max(s.LowSince, e.Fuse.LastInc)) >= quietAfter {
			s.shut(start, station.ByInlet)
		}
	case s.ShutdownBy != station.ByInlet || l.Mean < 0.7*d.Top || d.Held.Off != 0 && l.Mean-d.Held.Off < 30e3:
		d.Back = 0
	case d.Back == 0:
		d.Back = start
	case end.Sub(d.Back) >= station.Second:
		s.ShutdownAt, s.ShutdownBy, s.LowSince, s.OKSince, d.Back = 0, station.NoShutdown, 0, 0, 0
	}
}

// believed gives a pressure of the moment, unknown while its sensor is doubted.
func (e *Engine) believed(x station.Estimate, w who) station.Estimate {
	if e.Doubt.Who&w != 0 && x.Known() {
		return station.Unknown(e.Doubt.Told)
	}
	return x
}
