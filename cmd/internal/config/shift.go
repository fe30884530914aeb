package config

import (
	"fmt"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const (
	shiftExample = `{ days: mon-fri, from: "06:00", to: "22:00" }`
	day          = 24 * time.Hour
)

// Shift is a span of the day on some days of the week, by the site's clock. One whose
// end is not after its start runs into the next day.
type Shift struct {
	Days     [7]bool       // by time.Weekday, on which it starts
	From, To time.Duration // since midnight, up to 24 h
}

// Working tells whether a shift runs at t; always, where the site has none.
func (s *Site) Working(t time.Time) bool {
	if len(s.Shifts) == 0 {
		return true
	}
	c := s.calendar
	if c == nil {
		c = s.Calendar()
	}
	return c.At(station.InstantOf(t)).Working
}

// shift reads a shift.
func (d *decoder) shift(m *mapping) (s Shift, ok bool) {
	days := m.days(&s.Days)
	from, to := m.clock("from", "06:00", &s.From), m.clock("to", "22:00", &s.To)
	m.done(nil)
	if from && s.From == day {
		m.fail("from", "is the end of the day", "the time at which the shift starts", `from: "00:00"`)
		return s, false
	}
	if from && to && s.From == s.To {
		m.fail("to", "is the same as from", "the time at which the shift ends", `to: "22:00"`)
		return s, false
	}
	return s, days && from && to
}

var weekdays = [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

func weekday(s string) (int, bool) {
	s = strings.ToLower(strings.TrimSpace(s))
	for i, w := range weekdays {
		if s == w || s == strings.ToLower(time.Weekday(i).String()) {
			return i, true
		}
	}
	return 0, false
}

// days reads "mon-fri", "mon,wed,fri", or a list of such.
func (m *mapping) days(into *[7]bool) bool {
	const expected, example = "days of the week (mon, tue, wed, thu, fri, sat, sun), with - for a range and commas between", "days: mon-fri"
	var parts []string
	m.single("days", expected, example)
	m.alsoList("days")
	switch n := m.get("days"); {
	case n == nil:
		m.fail("days", "is missing", expected, example)
		return false
	case n.Kind == yaml.SequenceNode:
		for _, item := range n.Content {
			parts = append(parts, strings.Split(follow(item).Value, ",")...)
		}
	case n.Kind == yaml.ScalarNode:
		parts = strings.Split(n.Value, ",")
	}
	for _, p := range parts {
		if !addDays(p, into) {
			m.fail("days", quote(strings.TrimSpace(p))+" is no day of the week and no range of them", expected, example)
			return false
		}
	}
	if *into == [7]bool{} {
		m.fail("days", "names no day", expected, example)
	}
	return *into != [7]bool{}
}

// addDays adds "mon" or "fri-mon".
func addDays(s string, into *[7]bool) bool {
	first, last, isRange := strings.Cut(s, "-")
	a, ok := weekday(first)
	b := a
	if ok && isRange {
		b, ok = weekday(last)
	}
	if !ok {
		return false
	}
	for into[a] = true; a != b; into[a] = true {
		a = (a + 1) % 7
	}
	return true
}

// clock reads a time of day, 00:00 to 24:00.
func (m *mapping) clock(key, example string, into *time.Duration) bool {
	const expected = "a time of day from 00:00 to 24:00, in quotes"
	example = fmt.Sprintf("%s: %q", key, example)
	if !m.has(key) {
		m.get(key)
		m.fail(key, "is missing", expected, example)
		return false
	}
	s, ok := m.scalar(key, expected, example)
	if !ok {
		return false
	}
	if s == "24:00" {
		*into = day
		return true
	}
	t, err := time.Parse("15:04", s)
	if err != nil {
		m.fail(key, quote(s)+" is no time of day", expected, example)
		return false
	}
	*into = time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
	return true
}
