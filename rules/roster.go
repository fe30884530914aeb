package rules

import (
	"fmt"
	"time"

	"strokewise/analyzer/station"
)

// What shows a shutdown.
const (
	ByValve    = station.ByValve
	ByInlet    = station.ByInlet
	ByCalendar = station.ByCalendar
)

// roster is what the plate's calendar says about the time of the last question. It follows
// from the plate and that time alone, so it is no part of snapshots.
type roster struct {
	text    string // of the plate
	cal     *station.Calendar
	asked   station.Instant
	stretch station.Stretch
}

// over gives the end of the last shift, if by the calendar the station should be vented
// at t: no shift runs, the grace time is over, and it is not held charged by intent.
func (r *roster) over(text string, t station.Instant) (end station.Instant, ok bool) {
	end, ok = r.outside(text, t)
	return end, ok && end != 0 && t.Sub(end) >= int64(r.cal.Grace)*station.Minute60
}

// outside reports whether no shift runs at t by the calendar, and returns the end of the last
// one. A station that is held charged by intent has no shifts.
func (r *roster) outside(text string, t station.Instant) (end station.Instant, ok bool) {
	r.read(text)
	if r.cal == nil || r.cal.Hold {
		return 0, false
	}
	if t < r.asked || t >= r.stretch.Until || r.asked == 0 {
		r.asked, r.stretch = t, r.cal.At(t)
	}
	return r.stretch.From, !r.stretch.Working
}

// works reports whether a shift runs, after the question of a time.
func (r *roster) works() bool { return r.cal != nil && !r.cal.Hold && r.stretch.Working }

// grace returns the calendar's grace time, ns, after the question of a time.
func (r *roster) grace() int64 {
	if r.cal == nil {
		return 0
	}
	return int64(r.cal.Grace) * station.Minute60
}

// read parses the plate's calendar where it has changed. One of another program means nothing.
func (r *roster) read(text string) {
	if text == r.text {
		return
	}
	*r = roster{text: text}
	if cal, err := station.ReadCalendar(text); text != "" && err == nil {
		r.cal = cal
	}
}

// clock gives a time as the site's clock shows it.
func (r *roster) clock(t station.Instant) string {
	if r.cal == nil {
		return t.Time().UTC().Format("2006-01-02 15:04") + " UTC"
	}
	return r.cal.Date(t) + " " + r.cal.Clock(t) + " (" + r.cal.Zone + ")"
}

// shutdown is a shutdown as the rules see it: told by the engine, or else by the calendar.
type shutdown struct {
	at station.Instant // zero: there is none
	by station.ShutdownSource
}

// told gives the shutdown at t. The calendar counts once its grace time is over, and only
// while the engine tells none.
func (v *Evaluator) told(s *station.Status, t station.Instant) shutdown {
	if s.ShutdownAt != 0 {
		return shutdown{s.ShutdownAt, s.ShutdownBy}
	}
	if end, ok := v.roster.over(v.plate.Calendar, t); ok {
		return shutdown{end, ByCalendar}
	}
	if end := v.Over.End; t < end && v.leftByCalendar() {
		return shutdown{end, ByCalendar} // a clock that was set back to before the shift's end ends no alarm
	}
	return shutdown{}
}

// leftByCalendar reports whether an alarm on stored pressure stands at a station of which the
// calendar alone said that it should be vented.
func (v *Evaluator) leftByCalendar() bool {
	if v.shut.by != ByCalendar {
		return false
	}
	left, inlet := v.index(PressureLeft), v.index(InletPressureLeft)
	return left >= 0 && v.Alarms[left].Present || inlet >= 0 && v.Alarms[inlet].Present
}

// due tells whether the grace time of a shutdown is over.
func (v *Evaluator) due(d shutdown, t station.Instant) bool {
	return d.by == ByCalendar || t.Sub(d.at) >= v.grace()
}

// AfterShift gives the end of the last shift, if by the calendar of the plate its station
// should be vented at t.
func AfterShift(p *station.Plate, t station.Instant) (end station.Instant, ok bool) {
	var r roster
	return r.over(p.Calendar, t)
}

// spanOf returns a length of time, ns, in words, to the minute: "1 h 5 min".
func spanOf(ns int64) string {
	minutes := (ns + station.Minute60/2) / station.Minute60
	switch d, h, m := minutes/(24*60), minutes/60%24, minutes%60; {
	case d > 0 && h > 0:
		return fmt.Sprintf("%d d %d h", d, h)
	case d > 0:
		return fmt.Sprintf("%d d", d)
	case h > 0 && m > 0:
		return fmt.Sprintf("%d h %d min", h, m)
	case h > 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d min", minutes)
}

// secondsOf returns a length of time, ns, in words: to the second below two minutes.
func secondsOf(ns int64) string {
	if ns < 2*station.Minute60 {
		return fmt.Sprintf("%d s", (ns+station.Second/2)/station.Second)
	}
	return spanOf(ns)
}

// hour returns the start of the hour of the site's clock in which t lies, and what the clock shows then.
func (r *roster) hour(text string, t station.Instant) (from, local station.Instant) {
	r.read(text)
	if r.cal == nil {
		from = t.Floor(hourNs)
		return from, from
	}
	local = r.cal.Local(t).Floor(hourNs)
	return t.Add(local.Sub(r.cal.Local(t))), local
}

// worksIn reports whether a shift runs in the middle of an hour; without shifts, whether its day is one of Monday to Friday.
func (r *roster) worksIn(local, from station.Instant) bool {
	if r.cal != nil && !r.cal.Hold && len(r.cal.Shifts) > 0 {
		return r.cal.At(from.Add(hourNs / 2)).Working
	}
	day := local.Time().Weekday()
	return day != time.Saturday && day != time.Sunday
}
