package rules

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// fallSeconds is how many seconds a live sensor must be seen between charged and vented
// for the fall to be believed: a broken wire or a closed gauge cock falls at once.
const fallSeconds = 3

// fall follows the outlet's way down. Fields are exported for snapshots only.
type fall struct {
	Top     float64 // the charged reading it started from, Pa gauge
	Seconds int     // readings between 90 % of Top and the vented limit
	Broken  bool    // the sensor was lost on the way
	Prev    float64
}

// stillCharged is the outlet, Pa gauge, above which an alarm that stands goes on: an outlet
// that creeps past ChargedMin would be raised again by its noise.
const stillCharged = 0.9 * ChargedMin

// step follows one second of outlet readings.
func (f *fall) step(s *station.Status) {
	if !s.Outlet.Known() {
		f.Broken = true
		return
	}
	p := s.Outlet.Value
	switch {
	case p > f.Prev+5e3 || p > f.Top:
		f.Top, f.Seconds, f.Broken = p, 0, false
	case p <= 0.9*f.Top && p > ChargedMin:
		f.Seconds++
	}
	f.Prev = p
}

// believed tells whether the way down was seen by a live sensor.
func (f *fall) believed() bool { return !f.Broken && f.Seconds >= fallSeconds }

// pressureLeft: the station is shut down and its outlet is charged, or unknown. It
// clears on a fall that a live sensor saw, or when the station is fed again.
func (v *Evaluator) pressureLeft(s *station.Status) verdict {
	active := v.Alarms[index(PressureLeft)].Present
	if s.ShutdownAt == 0 {
		if s.State == station.Blind {
			return verdict{}
		}
		return verdict{answer: no, message: "The supply is open again; the outlet is charged as in service."}
	}
	if s.At.Sub(s.ShutdownAt) < v.grace() && !active {
		return verdict{answer: no}
	}
	if !s.Outlet.Known() || v.plate.Sensor == station.AtBranch {
		if v.Past.Word == s.ShutdownAt {
			return verdict{answer: no, message: "The supply is closed, the outlet is unknown; a person said that it is vented."}
		}
		return verdict{answer: yes, say: (*Evaluator).unverified}
	}
	if s.Outlet.Value > ChargedMin || active && s.Outlet.Value > stillCharged {
		v.Past.Word = 0
		return verdict{answer: yes, say: (*Evaluator).charged}
	}
	if v.Past.Word == s.ShutdownAt {
		return verdict{answer: no, message: "A person said that the line is vented, and the outlet reads below the limit."}
	}
	if active && !v.Fall.believed() {
		return verdict{} // a sudden zero proves nothing
	}
	return verdict{answer: no, message: belowLimit}
}

// belowLimit is said when it clears by a reading.
var belowLimit = fmt.Sprintf("The outlet reads below %.0f kPa gauge; not verified.", ChargedMin/1e3)

// wording puts a verdict in words, from the newest step.
type wording func(*Evaluator) (string, []Evidence)

// charged gives the verdict with stored energy for a reading above the limit.
func (v *Evaluator) charged() (string, []Evidence) {
	s := &v.Last
	c := verdict{answer: yes, message: fmt.Sprintf("The outlet still reads %.0f kPa gauge; the supply was closed at %s (told by the %s).",
		s.Outlet.Value/1e3, s.ShutdownAt.Floor(station.Second), s.ShutdownBy)}
	c.evidence = v.shutdownEvidence(s)
	c.evidence = append(c.evidence, Evidence{Name: "outlet_pressure", Value: s.Outlet.Value, Unit: "Pa gauge"})
	if e := &s.Estimates[station.StoredEnergy]; e.Known() {
		c.message += fmt.Sprintf(" The tank stores about %.3g kJ (isentropic expansion to ambient).", e.Value/1e3)
		c.evidence = append(c.evidence, Evidence{Name: "stored_energy_isentropic", Value: e.Value, Unit: "J"})
	} else {
		c.evidence = append(c.evidence, Evidence{Name: "stored_energy_isentropic", Text: "unknown: " + e.Reason})
	}
	return c.message, c.evidence
}

// unverified gives the verdict for a shutdown without a reading of the outlet.
func (v *Evaluator) unverified() (string, []Evidence) {
	s := &v.Last
	c := verdict{answer: yes, message: "The supply is closed and the outlet's pressure is not known: treat it as charged."}
	c.evidence = v.shutdownEvidence(s)
	if !math.IsNaN(float64(s.OutletLastSeen)) {
		c.evidence = append(c.evidence, Evidence{Name: "outlet_pressure_last_seen", Value: float64(s.OutletLastSeen), Unit: "Pa gauge"})
	}
	reason := s.Outlet.Reason
	if reason == "" {
		reason = "the outlet sensor does not see the tank"
	}
	c.evidence = append(c.evidence, Evidence{Name: "outlet_pressure", Text: "unknown: " + reason})
	return c.message, c.evidence
}

func (v *Evaluator) shutdownEvidence(s *station.Status) []Evidence {
	return []Evidence{
		{Name: "shutdown_at", Text: s.ShutdownAt.Floor(station.Second).String()},
		{Name: "shutdown_told_by", Text: s.ShutdownBy},
	}
}

// silentShutdown: the station fell silent while shut down and charged or unknown; no
// further step will come, so ticks carry the grace time on.
func (v *Evaluator) silentShutdown(now station.Instant, a *Arrivals) verdict {
	s := &v.Last
	if !v.HaveStep || s.ShutdownAt == 0 || now.Sub(a.newest()) <= v.silence() || now.Sub(s.ShutdownAt) < v.grace() {
		return verdict{}
	}
	if s.Outlet.Known() && s.Outlet.Value <= ChargedMin {
		return verdict{}
	}
	if v.Past.Word == s.ShutdownAt {
		return verdict{}
	}
	return verdict{answer: yes, say: (*Evaluator).unverified}
}

func (a *Arrivals) newest() station.Instant {
	var n station.Instant
	for _, t := range a {
		n = max(n, t)
	}
	return n
}

func (v *Evaluator) grace() int64 {
	if v.plate.Grace > 0 {
		return int64(v.plate.Grace)
	}
	return GraceNs
}
