package config

import (
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// Exception is a day that is otherwise than shifts and holidays say: closed, or worked
// from From to To alone. Several of a day add up.
type Exception struct {
	Date     time.Time // UTC, standing for the site's date
	Closed   bool
	From, To time.Duration // since midnight
}

// Holidays are days without shifts, both included, in UTC standing for the site's dates.
type Holidays struct{ First, Last time.Time }

const (
	exceptionExample = `{ date: 2026-12-24, from: "06:00", to: "14:00" }`
	holidayExample   = "2026-12-25"
	usualAfterShift  = 30 * time.Minute // between the end of a shift and the alarm
	mostDays         = 1000             // holidays or exceptions of a site
)

// Calendar gives what the site's plates carry.
func (s *Site) Calendar() *station.Calendar {
	c := &station.Calendar{Grace: int(s.Grace / time.Minute), Hold: s.Hold}
	c.SetZone(s.Zone)
	minutes := func(d time.Duration) int { return int(d / time.Minute) }
	for _, x := range s.Shifts {
		c.Shifts = append(c.Shifts, station.Shift{Days: x.Days, From: minutes(x.From), To: minutes(x.To)})
	}
	for _, h := range s.Holidays {
		c.Holidays = append(c.Holidays, station.Holidays{First: station.DayOf(h.First), Last: station.DayOf(h.Last)})
	}
	for _, x := range s.Exceptions {
		c.Exceptions = append(c.Exceptions, station.Exception{Day: station.DayOf(x.Date), Closed: x.Closed, From: minutes(x.From), To: minutes(x.To)})
	}
	return c
}

// calendarText gives what a station's plate carries: nothing where its site has no shifts.
func (d *decoder) calendarText(site string, hold *bool) string {
	s := d.cfg.Site(site)
	if s == nil || len(s.Shifts) == 0 || s.calendar == nil {
		return ""
	}
	c := *s.calendar
	if hold != nil {
		c.Hold = *hold
	}
	return c.Text()
}

// calendar reads shifts, holidays and exceptions, and what is wanted after a shift.
func (d *decoder) calendar(m *mapping, s *Site) {
	m.each("shifts", "shifts: ["+shiftExample+"]", func(n *yaml.Node, path string) {
		if item := d.item(n, path, "a shift", shiftExample); item != nil {
			if shift, ok := d.shift(item); ok {
				s.Shifts = append(s.Shifts, shift)
			}
		}
	})
	m.each("holidays", "holidays: ["+holidayExample+", 2026-12-28..2027-01-01]", func(n *yaml.Node, path string) {
		if h, ok := d.holidays(n, path); ok {
			s.Holidays = append(s.Holidays, h)
		}
	})
	m.each("exceptions", "exceptions: ["+exceptionExample+"]", func(n *yaml.Node, path string) {
		if item := d.item(n, path, "an exception", exceptionExample); item != nil {
			if x, ok := d.exception(item); ok {
				s.Exceptions = append(s.Exceptions, x)
			}
		}
	})
	if len(s.Holidays) > mostDays || len(s.Exceptions) > mostDays {
		m.fail("exceptions", "there are more than 1000 holidays or exceptions", "at most 1000 of each", "")
	}
	if len(s.Shifts) > 0 {
		s.Grace = usualAfterShift
	}
	quantity(m, "after_shift_grace", station.ParseDuration, between(minute, 12*time.Hour, "1 min to 12 h"), &s.Grace)
	if hold := m.afterShift(); hold != nil {
		s.Hold = *hold
	}
	for _, key := range []string{"holidays", "exceptions", "after_shift", "after_shift_grace"} {
		if m.has(key) && !m.has("shifts") {
			m.fail(key, "is given without shifts", "shifts, which it is about", "shifts: ["+shiftExample+"]")
		}
	}
	if len(s.Shifts) > 0 {
		s.calendar = s.Calendar()
	}
}

// afterShift reads whether stations are vented after the shift or stay charged; nil: not said.
func (m *mapping) afterShift() *bool {
	i, ok := m.choice("after_shift", "vent", "hold")
	if !ok {
		return nil
	}
	hold := i == 1
	return &hold
}

// holidays reads a date or "first..last".
func (d *decoder) holidays(n *yaml.Node, path string) (h Holidays, ok bool) {
	first, last, isRange := strings.Cut(n.Value, "..")
	if !isRange {
		last = first
	}
	var err error
	if h.First, err = time.Parse(time.DateOnly, strings.TrimSpace(first)); err == nil {
		h.Last, err = time.Parse(time.DateOnly, strings.TrimSpace(last))
	}
	if n.Kind != yaml.ScalarNode || err != nil {
		d.fail(n, path, quote(n.Value)+" is no day and no range of days", "a day as year-month-day, or two with .. between", holidayExample+" or 2026-12-28..2027-01-01")
		return h, false
	}
	if h.Last.Before(h.First) {
		d.fail(n, path, "ends before it begins", "the first day first", "2026-12-28..2027-01-01")
		return h, false
	}
	return h, true
}

// exception reads a day that is otherwise.
func (d *decoder) exception(m *mapping) (x Exception, ok bool) {
	var date string
	m.date("date", &date)
	if !m.has("date") {
		m.fail("date", "is missing", "the day that is otherwise", "date: 2026-12-24")
	}
	m.flag("closed", &x.Closed)
	switch hours := m.has("from") || m.has("to"); {
	case x.Closed && hours:
		m.get("from")
		m.get("to")
		m.fail("closed", "stands beside a time of work", "closed, or from and to", exceptionExample)
	case !x.Closed:
		from, to := m.clock("from", "06:00", &x.From), m.clock("to", "14:00", &x.To)
		if from && to && x.From == x.To {
			m.fail("to", "is the same as from", "the time at which the work ends", `to: "14:00"`)
		}
		ok = from && to
	}
	m.optional("from", "to")
	m.done(nil)
	t, err := time.Parse(time.DateOnly, date)
	x.Date = t
	return x, err == nil && (ok || x.Closed)
}
