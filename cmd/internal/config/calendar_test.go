package config

import (
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

const calendarFile = `
sites:
  - id: north
    zone: America/New_York
    shifts: [{ days: mon-fri, from: "06:00", to: "14:00" }, { days: mon-thu, from: "22:00", to: "06:00" }]
    holidays: [2026-12-25, 2026-12-28..2027-01-01]
    exceptions: [{ date: 2026-12-29, from: "08:00", to: "12:00" }, { date: 2026-12-23, closed: true }]
    after_shift: hold
    after_shift_grace: 45 min
stations:
  - { id: a, site: north }
  - id: b
    site: north
    after_shift: vent
    service:
      - { what: relief-test, last: 2026-01-10, every: 12 months, remind: 3 weeks }
      - { what: filter, last: 2026-02-01, every: 90 days, every_cycles: 2_000_000, cycles_before: 350000 }
      - { what: hose, next: 2028-05-01 }
`

func TestCalendarAndServiceReachThePlate(t *testing.T) {
	c, err := Parse([]byte(calendarFile), "x.yaml", Options{NoBroker: true})
	if err != nil {
		t.Fatal(err)
	}
	a, err := station.ReadCalendar(c.Stations[0].Plate.Calendar)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := station.ReadCalendar(c.Stations[1].Plate.Calendar)
	if !a.Hold || b.Hold || a.Grace != 45 || a.Zone != "America/New_York" {
		t.Errorf("%+v %+v", a, b)
	}
	zone, _ := time.LoadLocation("America/New_York")
	for at, want := range map[string]bool{
		"2026-12-21 05:59": false, "2026-12-21 06:00": true, "2026-12-21 14:00": false, "2026-12-22 03:00": true,
		"2026-12-23 10:00": false, "2026-12-23 05:30": true, // the shift of the 22nd
		"2026-12-25 10:00": false, "2026-12-29 09:00": true, "2026-12-29 12:00": false, "2027-01-04 06:00": true,
	} {
		x, err := time.ParseInLocation("2006-01-02 15:04", at, zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Sites[0].Working(x); got != want || a.At(station.InstantOf(x)).Working != want {
			t.Errorf("%s: %v", at, got)
		}
	}
	list, err := c.Stations[1].Plate.Services()
	want := []station.Service{{What: station.ReliefTest, Last: "2026-01-10", Months: 12, Remind: 21},
		{What: station.FilterElement, Last: "2026-02-01", Days: 90, Cycles: 2e6, Before: 350e3, Remind: 30, RemindCycles: 1e5}, {What: station.HoseReplacement, Next: "2028-05-01", Remind: 30}}
	if err != nil || len(list) != len(want) {
		t.Fatalf("%+v, %v", list, err)
	}
	for i := range want {
		if list[i] != want[i] {
			t.Errorf("%+v, want %+v", list[i], want[i])
		}
	}
}

func TestFaultsOfCalendarAndService(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"2026-12-25,", "2026-13-25,", `sites[0].holidays[0]: "2026-13-25" is no day`},
		{"2026-12-28..2027-01-01", "2027-01-01..2026-12-28", "ends before it begins"},
		{`date: 2026-12-29, `, ``, "sites[0].exceptions[0].date: is missing"},
		{`closed: true`, `closed: true, from: "06:00"`, "stands beside a time of work"},
		{`, to: "12:00"`, `, to: "08:00"`, "is the same as from"},
		{"after_shift: hold", "after_shift: keep", `"keep" is not known`},
		{"45 min", "13 h", "is out of range"},
		{"    shifts: ", "    # ", "sites[0].holidays: is given without shifts"},
		{"what: hose, ", "what: hoses, ", "did you mean hose?"},
		{"what: hose, ", "what: filter, ", "is given twice"},
		{"last: 2026-01-10, ", "", "an interval counts from a date"},
		{"every: 12 months", "every: 12", "has no unit of a calendar"},
		{"every: 12 months", "every: -1 months", "is no such time"},
		{", next: 2028-05-01", "", "there is no interval without a setting"},
		{"2_000_000", "many", "is no such number"},
		{"remind: 3 weeks", "remind: 1 month", "is in months"},
	} {
		_, err := Parse([]byte(strings.Replace(calendarFile, c.old, c.new, 1)), "x.yaml", Options{NoBroker: true})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: %v, want %q", c.new, c.old, err, c.want)
		}
	}
}
