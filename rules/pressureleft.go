package rules

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// How many seconds a live sensor must be seen between charged and vented for a fall to be
// believed: a broken wire or a closed gauge cock falls at once. The line of the inlet is
// short and empties sooner.
const (
	fallSeconds      = 3
	inletFallSeconds = 2
)

// fall follows a pressure's way down. Fields are exported for snapshots only.
type fall struct {
	Top     float64 // the charged reading it started from, Pa gauge
	Seconds int     // readings between 90 % of Top and the vented limit
	Broken  bool    // the sensor was lost on the way
	Prev    float64
	Against int // s for which the inlet has contradicted it
}

// stillCharged is the outlet, Pa gauge, above which an alarm that stands goes on: an outlet
// that creeps past ChargedMin would be raised again by its noise.
const stillCharged = 0.9 * ChargedMin

// step follows one second of readings.
func (f *fall) step(e *station.Estimate) {
	if !e.Known() {
		f.Broken = true
		return
	}
	p := e.Value
	switch {
	case p > f.Prev+5e3 || p > f.Top:
		f.Top, f.Seconds, f.Broken = p, 0, false
	case p <= 0.9*f.Top && p > ChargedMin:
		f.Seconds++
	}
	f.Prev = p
}

// believed tells whether the way down was seen by a live sensor.
func (f *fall) believed(seconds int) bool { return !f.Broken && f.Seconds >= seconds }

// pressureLeft: the station is shut down, or its shift is over, and its outlet is charged
// or unknown. It clears on a fall that a live sensor saw, on a person's word, or when the
// station is in service again.
func (v *Evaluator) pressureLeft(s *station.Status) verdict {
	active := v.Alarms[v.index(PressureLeft)].Present
	if v.shut.at == 0 {
		if active && !s.State.Fed() {
			return verdict{} // that nobody knows of a shutdown ends nothing: the supply must be seen to be open
		}
		return verdict{answer: no, message: "The supply is open and no shift is over: the outlet is charged, as in service."}
	}
	if !v.due(v.shut, s.At) && !active {
		return verdict{answer: no}
	}
	if v.contradicts(s) {
		if !active && v.Past.opening(0, s.At) {
			return verdict{} // a tank that is filled lags behind
		}
		v.Past.Word = 0
		return verdict{answer: yes, say: (*Evaluator).left}
	}
	if !active && (v.Over.waits(s.At) || v.followsHeader(s) || v.supplyUnclear(s)) {
		return verdict{} // at work after the shift, or its header is low, or may be
	}
	if !v.seesTank(s) {
		if v.Past.Word == v.shut.at {
			return verdict{answer: no, message: "The outlet is unknown. " + v.wordStands()}
		}
		return verdict{answer: yes, say: (*Evaluator).left}
	}
	if !active && v.Past.opening(1, s.At) {
		return verdict{}
	}
	if s.Outlet.Value > ChargedMin || active && s.Outlet.Value > stillCharged {
		v.Past.Word = 0
		return verdict{answer: yes, say: (*Evaluator).left}
	}
	if v.Past.Word == v.shut.at {
		return verdict{answer: no, message: v.belowByWord("outlet")}
	}
	switch {
	case active && !v.Fall.believed(fallSeconds):
		return verdict{} // a sudden zero proves nothing
	case v.Past.Dark >= darkSeconds:
		return verdict{answer: yes, say: (*Evaluator).left} // unknown at the shutdown, and nobody saw it fall
	}
	return verdict{answer: no, message: v.belowLimit("outlet")}
}

// seesTank tells whether there is a reading that says something of the tank.
func (v *Evaluator) seesTank(s *station.Status) bool {
	return s.Outlet.Known() && v.plate.Sensor != station.AtBranch
}

// contradictsBy returns by how much the outlet must read below the inlet for the check valves to
// be contradicted, Pa: air passes through them until no more than their two cracking pressures
// are left (30 kPa, or 5 % for what flows; common practice, no source).
func contradictsBy(inlet float64) float64 { return math.Max(30e3, 0.05*inlet) }

// whyContradicts is what is wrong with an outlet that reads vented below a charged inlet.
const whyContradicts = "air passes from the inlet through the check valves to the outlet, so these readings contradict each other (a closed gauge cock, a bled gauge line, an inlet sensor in front of the closed valve)"

// contradicts reports whether the outlet reads vented, or is not seen, below an inlet that
// cannot be charged without it.
func (v *Evaluator) contradicts(s *station.Status) bool {
	if !s.Inlet.Known() || s.Inlet.Value <= ChargedMin {
		return false
	}
	if !v.seesTank(s) {
		return s.Inlet.Value > contradictsBy(s.Inlet.Value)
	}
	return s.Outlet.Value <= ChargedMin && s.Outlet.Value < s.Inlet.Value-contradictsBy(s.Inlet.Value)
}

// contradictedFor is for how many seconds of a shutdown readings must contradict each other for the
// outlet's fall to be disbelieved: air that flows while a line is vented makes them differ for
// a moment. Own choice.
const contradictedFor = 10

// contradiction follows readings that contradict each other while the supply is closed: then
// what the outlet showed of its way down proves nothing.
func (v *Evaluator) contradiction(s *station.Status) {
	f := &v.Fall
	if s.ShutdownAt == 0 || !v.contradicts(s) {
		f.Against = 0
		return
	}
	if f.Against++; f.Against >= contradictedFor {
		f.Broken = true
		if !v.Past.Vents.said() {
			v.Past.Vents.Vented = false
		}
	}
}

// wordStands words that an alarm ends on a person's word alone.
func (v *Evaluator) wordStands() string {
	if by := v.Past.Vents.VentedBy; v.Past.Vents.said() && by != "" {
		return "It ends on " + by + " that the line was vented. Nothing here verifies it."
	}
	return "It ends on a person's word that the line was vented. Nothing here verifies it."
}

// belowByWord is the message of an end by a person's word, with a reading that does not contradict it.
func (v *Evaluator) belowByWord(side string) string {
	return "The " + side + " reads below " + v.plate.Reading.Gauge(ChargedMin) + ". " + v.wordStands()
}

// belowLimit is the message of an end by a reading.
func (v *Evaluator) belowLimit(side string) string {
	return "The " + side + " reads below " + v.plate.Reading.Gauge(ChargedMin) + ". Nobody has verified it."
}

// wording puts a verdict in words, from the newest step.
type wording func(*Evaluator) (string, []Evidence)

// left words the alarm as things stand now: charged, unknown, or a zero that nobody saw come.
func (v *Evaluator) left() (string, []Evidence) {
	s := v.last()
	switch {
	case v.Silent || !v.seesTank(s):
		return v.unverified()
	case s.Outlet.Value > ChargedMin:
		return v.charged()
	case v.contradicts(s):
		return fmt.Sprintf("The outlet reads %s, but the inlet %s: %s. Treat the station as charged until a person has looked. %s", v.plate.Reading.Gauge(s.Outlet.Value), v.plate.Reading.Gauge(s.Inlet.Value), whyContradicts, v.sinceWhen()),
			append(v.shutdownEvidence(), pressureEvidence("outlet_pressure", &s.Outlet), pressureEvidence("inlet_pressure", &s.Inlet))
	}
	return v.unseenFall("outlet", &s.Outlet),
		append(v.shutdownEvidence(), pressureEvidence("outlet_pressure", &s.Outlet))
}

// unseenFall words a reading near zero that no sensor saw come.
func (v *Evaluator) unseenFall(side string, e *station.Estimate) string {
	return fmt.Sprintf("The %s reads %s, but no sensor saw it fall. Treat it as charged until somebody has read the local gauge. %s", side, v.plate.Reading.Gauge(e.Value), v.sinceWhen())
}

// sinceWhen words since when the station is shut down, and what shows it.
func (v *Evaluator) sinceWhen() string {
	at := v.clock(v.shut.at)
	switch {
	case v.shut.at == 0:
		return "When the station was shut down is no longer known."
	case v.shut.by == ByValve:
		return "The supply valve was closed at " + at + "."
	case v.shut.by == ByInlet:
		return "Going by the inlet pressure, the supply was closed at " + at + "."
	}
	words := "By the calendar, the shift ended at " + at
	s := v.last()
	switch {
	case v.Silent || !s.Inlet.Known():
		return words + "; it is not known whether the supply is open."
	case s.State.Fed():
		return words + "; the supply is still open: the inlet reads " + v.plate.Reading.Gauge(s.Inlet.Value) + "."
	}
	return words + "; the inlet reads " + v.plate.Reading.Gauge(s.Inlet.Value) + "."
}

// charged gives the verdict with stored energy for a reading above the limit.
func (v *Evaluator) charged() (string, []Evidence) {
	s := v.last()
	message := fmt.Sprintf("The outlet still reads %s. %s", v.plate.Reading.Gauge(s.Outlet.Value), v.sinceWhen())
	evidence := append(v.shutdownEvidence(), pressureEvidence("outlet_pressure", &s.Outlet))
	if v.shut.by == ByCalendar {
		evidence = append(evidence, pressureEvidence("inlet_pressure", &s.Inlet))
		if s.StrokeRate.Known() {
			evidence = append(evidence, Evidence{Name: "strokes_minute", Value: float64(s.StrokesMinute), Unit: "1"})
		}
	}
	if e := &s.Estimates[station.StoredEnergy]; e.Known() {
		message += fmt.Sprintf(" The tank holds about %.3g kJ (isentropic).", e.Value/1e3)
		evidence = append(evidence, Evidence{Name: "stored_energy_isentropic", Value: e.Value, Unit: "J"})
	} else {
		evidence = append(evidence, Evidence{Name: "stored_energy_isentropic", Text: "unknown: " + e.Reason})
	}
	return message, evidence
}

func pressureEvidence(name string, e *station.Estimate) Evidence {
	if !e.Known() {
		return Evidence{Name: name, Text: "unknown: " + e.Reason}
	}
	return Evidence{Name: name, Value: e.Value, Unit: "Pa gauge"}
}

// unverified gives the verdict for a shutdown without a reading of the outlet.
func (v *Evaluator) unverified() (string, []Evidence) {
	s := v.last()
	evidence := v.shutdownEvidence()
	if !math.IsNaN(float64(s.OutletLastSeen)) {
		evidence = append(evidence, Evidence{Name: "outlet_pressure_last_seen", Value: float64(s.OutletLastSeen), Unit: "Pa gauge"})
	}
	reason := s.Outlet.Reason
	if reason == "" {
		reason = "the outlet sensor does not see the tank"
	}
	if v.Silent {
		reason = "the station is silent"
	}
	evidence = append(evidence, Evidence{Name: "outlet_pressure", Text: "unknown: " + reason})
	return "The outlet pressure is not known: treat it as charged. " + v.sinceWhen(), evidence
}

func (v *Evaluator) shutdownEvidence() []Evidence {
	if v.shut.at == 0 {
		return []Evidence{{Name: "shutdown_at", Text: "no longer known"}}
	}
	return []Evidence{
		{Name: "shutdown_at", Text: v.shut.at.Floor(station.Second).String()},
		{Name: "shutdown_shown_by", Text: v.shut.by.String()},
	}
}

// silentShutdown: the station fell silent while shut down and charged or unknown; no
// further step will come, so ticks carry the grace time and the calendar on.
func (v *Evaluator) silentShutdown(now station.Instant) verdict {
	s := v.last()
	if !v.Silent || v.shut.at == 0 || !v.due(v.shut, now) {
		return verdict{}
	}
	if v.seesTank(s) && s.Outlet.Value <= ChargedMin && !v.contradicts(s) && v.Past.Dark < darkSeconds && !v.Alarms[v.index(PressureLeft)].Present {
		return verdict{}
	}
	if v.Past.Word == v.shut.at {
		return verdict{}
	}
	return verdict{answer: yes, say: (*Evaluator).left}
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
