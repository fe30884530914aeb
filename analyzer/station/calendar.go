package station

import (
	"cmp"
	"slices"
	"time"
)

// Calendar says when a site works: shifts on days of the week, holidays, and single days
// that are otherwise, by the clock of the site. An exception wins over a holiday, a holiday
// over the shifts; each shift belongs to the day on which it starts. The zone's changes of
// the clock are part of it, so that reading it needs no zone database.
type Calendar struct {
	Zone       string // its name, for people
	Offset     int    // minutes east of UTC before the first change
	Changes    []ClockChange
	Shifts     []Shift
	Holidays   []Holidays
	Exceptions []Exception
	Grace      int  // minutes after the end of a shift before what is charged counts as left
	Hold       bool // stays charged between shifts by intent
}

// ClockChange says that from At on the clock is Offset minutes east of UTC.
type ClockChange struct {
	At     Instant
	Offset int
}

// Shift is a span of the day on some days of the week. One whose end is not after its
// start runs into the next day.
type Shift struct {
	Days     [7]bool // by time.Weekday, on which it starts
	From, To int     // minutes since midnight, up to 1440
}

// Holidays are days without shifts, both ends included, as days since 1970.
type Holidays struct{ First, Last int64 }

// Exception is a day that is otherwise: closed, or worked from From to To (minutes since
// midnight) and at no other time, unless there is a further exception of that day.
type Exception struct {
	Day      int64 // since 1970
	Closed   bool
	From, To int
}

const (
	minutesOfDay = 24 * 60
	ahead        = 40  // days that a stretch is looked for in front
	behind       = 400 // days, and behind
)

// DayOf gives the days since 1970 of a date.
func DayOf(t time.Time) int64 {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400
}

// Stretch is the time about an instant in which the site works, or does not.
type Stretch struct {
	Working bool
	// From is the end of the last shift before; zero while working, and where there was
	// none in 400 days.
	From Instant
	// Until is where the next shift starts, or the present ones end. It is at most some 40
	// days ahead; ask again then.
	Until Instant
}

// At tells whether a shift runs at t. Shifts that meet are one.
func (c *Calendar) At(t Instant) Stretch {
	day := c.day(t)
	spans := c.spans(day-2, day+ahead)
	s := Stretch{Until: c.utc((day+ahead)*minutesOfDay, false)}
	for _, x := range spans {
		switch {
		case x.from <= t && t < x.to && !s.Working:
			s = Stretch{Working: true, Until: x.to}
		case s.Working && x.from <= s.Until:
			s.Until = max(s.Until, x.to)
		case !s.Working && x.from > t:
			s.Until = min(s.Until, x.from)
		}
	}
	if !s.Working {
		s.From = c.lastEnd(t, day)
	}
	return s
}

// lastEnd gives the newest end of a shift up to t, 0 if there is none in 400 days.
func (c *Calendar) lastEnd(t Instant, day int64) (end Instant) {
	more := int64(2) // days that a shift can reach over
	for d := day; d >= day-behind && more > 0; d-- {
		for _, x := range c.spans(d, d) {
			if x.to <= t {
				end = max(end, x.to)
			}
		}
		if end != 0 {
			more--
		}
	}
	return end
}

// span is half-open.
type span struct{ from, to Instant }

// spans gives the shifts that start on the days first to last, in order of their start.
func (c *Calendar) spans(first, last int64) []span {
	var out []span
	for d := first; d <= last; d++ {
		out = c.add(out, d)
	}
	slices.SortFunc(out, func(a, b span) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	return out
}

func (c *Calendar) add(out []span, day int64) []span {
	otherwise := false
	for _, x := range c.Exceptions {
		if x.Day != day {
			continue
		}
		otherwise = true
		if !x.Closed {
			out = append(out, c.span(day, x.From, x.To))
		}
	}
	if otherwise || slices.ContainsFunc(c.Holidays, func(h Holidays) bool { return h.First <= day && day <= h.Last }) {
		return out
	}
	weekday := ((day+4)%7 + 7) % 7 // 1970 began on a Thursday
	for i := range c.Shifts {
		if s := &c.Shifts[i]; s.Days[weekday] {
			out = append(out, c.span(day, s.From, s.To))
		}
	}
	return out
}

// span gives a shift of a day in UTC. Of a time that the clock shows twice the start takes
// the first, the end the second.
func (c *Calendar) span(day int64, from, to int) span {
	if to <= from {
		to += minutesOfDay
	}
	return span{c.utc(day*minutesOfDay+int64(from), false), c.utc(day*minutesOfDay+int64(to), true)}
}

// offset gives what the clock is ahead of UTC at t, ns.
func (c *Calendar) offset(t Instant) int64 {
	i, found := slices.BinarySearchFunc(c.Changes, t, func(x ClockChange, t Instant) int { return cmp.Compare(x.At, t) })
	if found {
		i++
	}
	return c.offsetBefore(i)
}

// offsetBefore gives the offset before change i, ns.
func (c *Calendar) offsetBefore(i int) int64 {
	if i == 0 {
		return int64(c.Offset) * Minute60
	}
	return int64(c.Changes[i-1].Offset) * Minute60
}

// day gives the date that the clock shows, as days since 1970.
func (c *Calendar) day(t Instant) int64 {
	return int64(t.Add(c.offset(t)).Floor(minutesOfDay*Minute60)) / (minutesOfDay * Minute60)
}

// utc gives when the clock shows a time, in minutes since 1970 by the clock: the first or
// the last time. A time that the clock skips is when it skips it.
func (c *Calendar) utc(minute int64, last bool) (at Instant) {
	wall := Instant(minute * Minute60)
	const day = minutesOfDay * Minute60
	at = wall.Add(-c.offset(wall))
	found := false
	for i := 0; i <= len(c.Changes); i++ {
		begin, end := wall.Add(-2*day), wall.Add(2*day)
		if i > 0 {
			begin = max(begin, c.Changes[i-1].At)
		}
		if i < len(c.Changes) {
			end = min(end, c.Changes[i].At)
		}
		u := wall.Add(-c.offsetBefore(i))
		if begin <= u && u < end {
			if !found || last {
				at = u
			}
			found = true
		} else if !found && i < len(c.Changes) && u >= end && end == c.Changes[i].At && wall.Add(-c.offsetBefore(i+1)) < end {
			return end // the clock skips it here
		}
	}
	return at
}

// Local returns what the site's clock shows at t, as the instant at which a clock of UTC shows it.
func (c *Calendar) Local(t Instant) Instant { return t.Add(c.offset(t)) }

// Clock gives how the site's clock shows t, as in "22:00".
func (c *Calendar) Clock(t Instant) string { return c.Local(t).Time().Format("15:04") }

// Date gives the site's date at t, as in "2026-03-01".
func (c *Calendar) Date(t Instant) string { return t.Add(c.offset(t)).Time().Format(time.DateOnly) }
