package station

import (
	"testing"
	"time"
	_ "time/tzdata"
)

// in gives an instant of a zone's clock; the Go library's zones are independent of Calendar's.
func in(t *testing.T, zone, s string) Instant {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	x, err := time.ParseInLocation("2006-01-02 15:04", s, z)
	if err != nil {
		t.Fatal(err)
	}
	return InstantOf(x)
}

func calendarOf(t *testing.T, zone string, shifts ...Shift) *Calendar {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	c := &Calendar{Shifts: shifts, Grace: 30}
	c.SetZone(z)
	again, err := ReadCalendar(c.Text())
	if err != nil {
		t.Fatal(err)
	}
	return again
}

var (
	all     = [7]bool{true, true, true, true, true, true, true}
	working = [7]bool{1: true, 2: true, 3: true, 4: true, 5: true}
)

func utc(s string) Instant {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return InstantOf(t)
}

// Changes of the clock: Lisbon 2026-03-29 01:00 UTC and 2026-10-25 01:00 UTC (EU, 2000/84/EC);
// New York 2026-03-08 07:00 UTC and 2026-11-01 06:00 UTC (15 USC 260a); Lord Howe, by half an
// hour, 2026-10-03 15:30 UTC and 2026-04-04 15:00 UTC (tz database); Kathmandu has none.
func TestShiftsOverChangesOfTheClock(t *testing.T) {
	night := Shift{Days: all, From: 22 * 60, To: 6 * 60}
	odd := Shift{Days: all, From: 90, To: 3 * 60} // 01:30 to 03:00
	for _, c := range []struct {
		zone     string
		shift    Shift
		at       string // UTC
		from, to string // UTC, of the shift that runs
	}{
		{"Europe/Lisbon", night, "2026-03-29T00:30:00Z", "2026-03-28T22:00:00Z", "2026-03-29T05:00:00Z"}, // 7 h
		{"Europe/Lisbon", night, "2026-10-25T00:30:00Z", "2026-10-24T21:00:00Z", "2026-10-25T06:00:00Z"}, // 9 h
		{"Europe/Lisbon", night, "2026-07-01T00:30:00Z", "2026-06-30T21:00:00Z", "2026-07-01T05:00:00Z"},
		{"Europe/Lisbon", odd, "2026-03-29T01:30:00Z", "2026-03-29T01:00:00Z", "2026-03-29T02:00:00Z"}, // 01:30 is skipped
		{"Europe/Lisbon", odd, "2026-10-25T00:45:00Z", "2026-10-25T00:30:00Z", "2026-10-25T03:00:00Z"}, // 01:30 comes twice: the first
		{"Europe/Lisbon", Shift{Days: all, From: 0, To: 90}, "2026-10-25T01:15:00Z", "2026-10-24T23:00:00Z", "2026-10-25T01:30:00Z"},
		{"America/New_York", night, "2026-03-08T06:30:00Z", "2026-03-08T03:00:00Z", "2026-03-08T10:00:00Z"},
		{"America/New_York", night, "2026-11-01T05:30:00Z", "2026-11-01T02:00:00Z", "2026-11-01T11:00:00Z"},
		{"America/New_York", Shift{Days: all, From: 150, To: 240}, "2026-03-08T07:10:00Z", "2026-03-08T07:00:00Z", "2026-03-08T08:00:00Z"},
		{"Australia/Lord_Howe", night, "2026-10-03T16:00:00Z", "2026-10-03T11:30:00Z", "2026-10-03T19:00:00Z"},
		{"Australia/Lord_Howe", night, "2026-04-04T15:10:00Z", "2026-04-04T11:00:00Z", "2026-04-04T19:30:00Z"},
		{"Asia/Kathmandu", night, "2026-03-29T00:10:00Z", "2026-03-28T16:15:00Z", "2026-03-29T00:15:00Z"},
	} {
		k := calendarOf(t, c.zone, c.shift)
		from, to := utc(c.from), utc(c.to)
		if s := k.At(utc(c.at)); !s.Working || s.Until != to {
			t.Errorf("%s at %s: %+v until %s, want working until %s", c.zone, c.at, s, s.Until, to)
		}
		if s := k.At(from.Add(-1)); s.Working || s.Until != from {
			t.Errorf("%s before %s: %+v until %s", c.zone, c.from, s, s.Until)
		}
		if s := k.At(to); s.Working || s.From != to {
			t.Errorf("%s at the end %s: %+v, from %s", c.zone, c.to, s, s.From)
		}
	}
}

// Whatever the zone, the clock is the one that Go's library shows.
func TestCalendarShowsTheZonesClock(t *testing.T) {
	for _, zone := range []string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Africa/Casablanca", "UTC"} {
		z, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		c := calendarOf(t, zone)
		for at := time.Date(2020, 1, 2, 0, 7, 0, 0, time.UTC); at.Year() < 2045; at = at.Add(23*time.Hour + 11*time.Minute) {
			if got, want := c.Date(InstantOf(at))+" "+c.Clock(InstantOf(at)), at.In(z).Format("2006-01-02 15:04"); got != want {
				t.Fatalf("%s at %s shows %s, want %s", zone, at, got, want)
			}
		}
	}
}

func TestShiftsThatMeetAndDaysOff(t *testing.T) {
	const zone = "Europe/Lisbon"
	c := calendarOf(t, zone, Shift{working, 14 * 60, 22 * 60}, Shift{working, 6 * 60, 14 * 60})
	day := func(s string) int64 { return DayOf(in(t, zone, s+" 12:00").Time()) }
	c.Holidays = []Holidays{{day("2026-12-24"), day("2027-01-03")}}
	c.Exceptions = []Exception{{Day: day("2026-12-28"), From: 8 * 60, To: 12 * 60}, {Day: day("2026-12-28"), From: 13 * 60, To: 15 * 60},
		{Day: day("2026-12-22"), Closed: true}, {Day: day("2026-12-20"), From: 20 * 60, To: 2 * 60}}
	for _, x := range []struct {
		at          string
		working     bool
		from, until string
	}{
		{"2026-12-21 06:00", true, "", "2026-12-21 22:00"}, // two shifts in one
		{"2026-12-21 05:59", false, "2026-12-21 02:00", "2026-12-21 06:00"},
		{"2026-12-20 19:00", false, "2026-12-18 22:00", "2026-12-20 20:00"}, // a Sunday, worked
		{"2026-12-20 23:00", true, "", "2026-12-21 02:00"},
		{"2026-12-22 10:00", false, "2026-12-21 22:00", "2026-12-23 06:00"}, // closed
		{"2026-12-25 10:00", false, "2026-12-23 22:00", "2026-12-28 08:00"}, // holiday
		{"2026-12-28 09:00", true, "", "2026-12-28 12:00"},                  // worked though a holiday
		{"2026-12-28 12:30", false, "2026-12-28 12:00", "2026-12-28 13:00"},
		{"2026-12-28 16:00", false, "2026-12-28 15:00", "2027-01-04 06:00"},
	} {
		s := c.At(in(t, zone, x.at))
		if s.Working != x.working || s.Until != in(t, zone, x.until) || x.from != "" && s.From != in(t, zone, x.from) {
			t.Errorf("%s: %+v (from %s until %s), want %+v", x.at, s, s.From, s.Until, x)
		}
	}
	always := calendarOf(t, zone, Shift{all, 0, 1440})
	if s := always.At(in(t, zone, "2026-03-29 02:30")); !s.Working {
		t.Errorf("always: %+v", s)
	}
	if s := calendarOf(t, zone).At(0); s.Working || s.From != 0 || s.Until <= 0 {
		t.Errorf("never: %+v", s)
	}
}

// A stretch is the same whenever one asks in it: what is cached and what is asked anew agree.
func TestStretchDoesNotDependOnWhenItIsAsked(t *testing.T) {
	c := calendarOf(t, "America/New_York", Shift{working, 22 * 60, 6 * 60}, Shift{[7]bool{6: true}, 8 * 60, 12*60 + 30})
	var last Stretch
	for at := utc("2026-02-20T00:00:00Z"); at < utc("2026-12-01T00:00:00Z"); at = at.Add(47 * Minute60) {
		s := c.At(at)
		if last.Until > at && s != last {
			t.Fatalf("at %s: %+v, before %+v", at, s, last)
		}
		if last.Until != 0 && last.Until <= at && s.Working == last.Working {
			t.Fatalf("at %s: nothing changed at %s", at, last.Until)
		}
		last = s
	}
}

func TestCalendarTextThatIsDamaged(t *testing.T) {
	for _, s := range []string{"", "{", `{"changes":"zz"}`, `{"changes":"!:1"}`, `{"shifts":[["a"]]}`} {
		if _, err := ReadCalendar(s); err == nil {
			t.Errorf("%q is read", s)
		}
	}
}
