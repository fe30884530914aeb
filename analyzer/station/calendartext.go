package station

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// calendarText is a calendar as a plate carries it.
type calendarText struct {
	Zone       string      `json:"zone"`
	Offset     int         `json:"offset,omitempty"`
	Changes    string      `json:"changes,omitempty"` // "minute:offset ..."; minutes since 1970, to base 36
	Shifts     [][3]int    `json:"shifts"`            // days (bit 0: Sunday), from, to
	Holidays   [][2]int64  `json:"holidays,omitempty"`
	Exceptions []Exception `json:"exceptions,omitempty"`
	Grace      int         `json:"grace"`
	Hold       bool        `json:"hold,omitempty"`
}

// Text gives the calendar in one line, always the same for the same calendar.
func (c *Calendar) Text() string {
	t := calendarText{Zone: c.Zone, Offset: c.Offset, Exceptions: c.Exceptions, Grace: c.Grace, Hold: c.Hold}
	var changes []string
	for _, x := range c.Changes {
		changes = append(changes, strconv.FormatInt(int64(x.At)/Minute60, 36)+":"+strconv.Itoa(x.Offset))
	}
	t.Changes = strings.Join(changes, " ")
	for _, s := range c.Shifts {
		bits := 0
		for d, on := range s.Days {
			if on {
				bits |= 1 << d
			}
		}
		t.Shifts = append(t.Shifts, [3]int{bits, s.From, s.To})
	}
	for _, h := range c.Holidays {
		t.Holidays = append(t.Holidays, [2]int64{h.First, h.Last})
	}
	text, err := json.Marshal(&t)
	if err != nil {
		panic("BUG: a calendar does not encode: " + err.Error())
	}
	return string(text)
}

// ReadCalendar reads what Text wrote.
func ReadCalendar(text string) (*Calendar, error) {
	var t calendarText
	if err := json.Unmarshal([]byte(text), &t); err != nil {
		return nil, fmt.Errorf("cannot read calendar: %w", err)
	}
	c := &Calendar{Zone: t.Zone, Offset: t.Offset, Exceptions: t.Exceptions, Grace: t.Grace, Hold: t.Hold}
	for _, x := range strings.Fields(t.Changes) {
		at, offset, _ := strings.Cut(x, ":")
		minute, err := strconv.ParseInt(at, 36, 40)
		if err != nil {
			return nil, fmt.Errorf("cannot read calendar: a change of the clock: %w", err)
		}
		o, err := strconv.Atoi(offset)
		if err != nil {
			return nil, fmt.Errorf("cannot read calendar: a change of the clock: %w", err)
		}
		c.Changes = append(c.Changes, ClockChange{Instant(minute * Minute60), o})
	}
	for _, s := range t.Shifts {
		one := Shift{From: s[1], To: s[2]}
		for d := range one.Days {
			one.Days[d] = s[0]&(1<<d) != 0
		}
		c.Shifts = append(c.Shifts, one)
	}
	for _, h := range t.Holidays {
		c.Holidays = append(c.Holidays, Holidays{h[0], h[1]})
	}
	return c, nil
}

// The years whose changes of the clock a calendar carries. Before and after them the
// clock is taken to stay as it was.
const (
	clockFrom = 2020
	clockTo   = 2045
)

// SetZone takes the clock of a zone from the zone database.
func (c *Calendar) SetZone(z *time.Location) {
	c.Zone, c.Changes = z.String(), nil
	at := time.Date(clockFrom, 1, 1, 0, 0, 0, 0, time.UTC).In(z)
	_, seconds := at.Zone()
	c.Offset = seconds / 60
	for last := c.Offset; at.Year() <= clockTo; {
		_, end := at.ZoneBounds()
		if end.IsZero() {
			return
		}
		if !end.After(at) { // the library's bounds of a far year may be empty
			at = at.Add(time.Hour)
			continue
		}
		if _, seconds := end.Zone(); seconds/60 != last && end.Year() <= clockTo {
			last = seconds / 60
			c.Changes = append(c.Changes, ClockChange{InstantOf(end), last})
		}
		at = end
	}
}
