package web

import (
	"context"
	"html"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// shifts is the calendar of a site that works from 06:00 to 22:00 on working days.
func shifts(hold bool) string {
	c := station.Calendar{Zone: "UTC", Grace: 30, Hold: hold, Shifts: []station.Shift{{Days: [7]bool{1: true, 2: true, 3: true, 4: true, 5: true}, From: 6 * 60, To: 22 * 60}}}
	return c.Text()
}

// intervals is a history of states that a test made up.
type intervals map[string][]station.Interval

func (h intervals) Minutes(context.Context, station.Key, station.Instant, station.Instant) ([]station.Minute, error) {
	return nil, nil
}

func (h intervals) Intervals(_ context.Context, k station.Key, from, to station.Instant) ([]station.Interval, error) {
	var out []station.Interval
	for _, i := range h[k.Station] {
		if i.From < to && i.To > from {
			out = append(out, i)
		}
	}
	return out, nil
}

// noon is Monday 2026-03-02; the shift of Friday ended on 2026-02-27 at 22:00.
func TestCameDown(t *testing.T) {
	from, to := at(-62*time.Hour), at(-6*time.Hour)
	span := func(s station.State, a, b time.Duration) station.Interval {
		return station.Interval{State: s, From: from.Add(int64(a)), To: from.Add(int64(b))}
	}
	const m, end = time.Minute, 56 * time.Hour
	clock := func(t station.Instant) string { return t.Time().Format("15:04") }
	for _, c := range []struct {
		list []station.Interval
		want string
		bad  bool
	}{
		{nil, "unknown: treat as charged", true},
		{[]station.Interval{span(station.Residual, 0, 12*m), span(station.Off, 12*m, end)}, "outlet reading below the limit at 22:12, not verified", false},
		{[]station.Interval{span(station.Off, -m, end)}, "outlet reading below the limit at 22:00, not verified", false},
		{[]station.Interval{span(station.Residual, 0, end)}, "never came down, or was charged again", true},
		{[]station.Interval{span(station.Off, m, 9*m), span(station.Residual, 9*m, end)}, "never came down, or was charged again", true},
		{[]station.Interval{span(station.Off, m, 9*m), span(station.Residual, 9*m, 20*m), span(station.Off, 20*m, end)}, "outlet reading below the limit at 22:20, not verified", false},
		{[]station.Interval{span(station.Holding, -m, end)}, "never came down: the supply stayed open or was opened again (holding)", true},
		{[]station.Interval{span(station.Off, 5*m, 9*m), span(station.Blind, 9*m, end)}, "read below the limit at 22:05, not verified; unknown since, treat as charged", true},
		{[]station.Interval{span(station.Off, 5*m, 30*m)}, "read below the limit at 22:05, not verified; unknown since, treat as charged", true},
		{[]station.Interval{span(station.Residual, 0, 30*m)}, "unknown: treat as charged", true},
	} {
		if got, bad := cameDown(c.list, from, to, clock); got != c.want || bad != c.bad {
			t.Errorf("%+v: %q (%v), want %q", c.list, got, bad, c.want)
		}
	}
}

func TestAfterTheShiftByTheCalendar(t *testing.T) {
	open, held := press(), standing()
	open.Plate.Calendar, held.Plate.Calendar = shifts(false), shifts(true)
	evening := noon.Add(11 * time.Hour) // 23:00
	for _, s := range []*board.Station{&open, &held} {
		s.Status.At, s.Status.Since = station.InstantOf(evening), at(-5*time.Hour)
	}
	if got, _ := after(&open, at(0)); got != inService {
		t.Errorf("in the shift: %d", got)
	}
	if got, _ := after(&open, station.InstantOf(evening)); got != stillCharged {
		t.Errorf("after it: %d", got)
	}
	if got, _ := after(&held, station.InstantOf(evening)); got != inService {
		t.Errorf("held by intent: %d", got)
	}
	o := fixture(open, held)
	o.Now = func() time.Time { return evening }
	friday := at(-62 * time.Hour)
	o.History = intervals{"press-4": {{State: station.Residual, From: friday.Add(-1), To: friday.Add(int64(5 * time.Minute))}, {State: station.Off, From: friday.Add(int64(5 * time.Minute)), To: at(-5 * time.Hour)}}}
	b := get(New(o), "/after-shift").Body.String()
	for _, want := range []string{"2026-03-02 22:00:00 UTC, the end of the shift by the calendar", "the supply is still open", "northdock</bdi>, 2026-02-27: shift ended 22:00, next one 2026-03-02 06:00",
		"outlet reading below the limit at 22:05, not verified", "<strong>never came down: the supply stayed open or was opened again (stroking)</strong>", "stays charged by intent", html.EscapeString(rules.CautionStored)} {
		if !strings.Contains(b, want) {
			t.Errorf("no %q:\n%s", want, b)
		}
	}
}

// evening is an hour after the end of the shift, with one station vented and one held.
func evening() Options {
	open, held := press(), standing()
	open.Plate.Calendar, held.Plate.Calendar = shifts(false), shifts(true)
	o := fixture(open, held, shutDown(), off(), unheard())
	late := noon.Add(11 * time.Hour)
	o.Now = func() time.Time { return late }
	o.History = intervals{"press-4": {{State: station.Off, From: at(-61 * time.Hour), To: at(-6 * time.Hour)}}}
	return o
}

// dated has something of each kind that comes due.
func dated() Options {
	s, t := press(), standing()
	s.Plate.Inspection, s.Plate.Serial = "2026-02-01", "B-7"
	s.Dues = []rules.Due{{What: station.FilterElement, Interval: 2e6, CyclesLeft: 150e3, Last: "2025-11-01"}, {What: station.ReliefTest, Date: "2026-04-01", Last: "2025-04-01", Document: "sheet 7", By: "Ana"}, {What: station.TankInspection, Date: "2026-02-01"}}
	t.Plate.Service = station.ServiceText([]station.Service{{What: station.HoseReplacement, Next: "2028-05-01"}})
	return fixture(s, t)
}

func TestDueByCyclesAndAsATable(t *testing.T) {
	s := press()
	s.Dues = []rules.Due{{What: station.FilterElement, Interval: 2e6, CyclesLeft: -7}, {What: station.ReliefTest, Date: "2026-04-01", Last: "2025-04-01", Document: "=sheet 7", By: "Ana"},
		{What: station.HoseReplacement, Interval: 100, CyclesLeft: 60, Lost: 3}, {What: station.SilencerService, Last: "2025-01-01", Document: "x"}, {What: station.TankInspection, Date: "2026-02-01"}}
	h := New(fixture(s))
	b := get(h, "/due").Body.String()
	for _, want := range []string{"overdue by 7 of 2000000", "<strong>overdue by 29 days</strong>", "in 30 days", "at most 60 left of 100; in 3 minutes they were not known", "2025-04-01, by Ana", "test of the relief valve", "Local law"} {
		if !strings.Contains(b, want) {
			t.Errorf("no %q:\n%s", want, b)
		}
	}
	if strings.Index(b, "inspection of the tank") > strings.Index(b, "test of the relief valve") || strings.Index(b, "filter element") > strings.Index(b, "test of the relief valve") || strings.Index(b, "replacement of hoses") < strings.Index(b, "test of the relief valve") {
		t.Errorf("not in order:\n%s", b)
	}
	w := get(h, "/due?format=csv")
	want := "station,what,due,in,cycles,overdue,last done,document,note\n" +
		"northdock/press-4,tank-inspection,2026-02-01,overdue by 29 days,,true,,,Local law governs.\n"
	if got := w.Body.String(); !strings.HasPrefix(got, want) || !strings.Contains(got, `relief-test,2026-04-01,in 30 days,,false,"2025-04-01, by Ana",'=sheet 7`) || w.Header().Get("Content-Type") != "text/csv; charset=utf-8" {
		t.Errorf("%s", got)
	}
}

func TestDoneFromTheForm(t *testing.T) {
	c := &taken{}
	h := peopled(c)
	const form = "application/x-www-form-urlencoded"
	w := send(h, commandPath, form, "kind=done&who=Ana&why=sheet+9&what=relief-test&date=2026-03-01")
	if len(c.got) != 1 || c.got[0].Service != station.ReliefTest || c.got[0].Date != "2026-03-01" || c.got[0].Document != "sheet 9" {
		t.Errorf("status %d, %+v", w.Code, c.got)
	}
	if w = send(h, commandPath, form, "kind=done&who=Ana&why=&what=relief-test&date=2026-03-01"); len(c.got) != 1 || !strings.Contains(w.Body.String(), "reference of the document") {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	if w = send(h, commandPath, form, "kind=done&who=Ana&why=x&what=relief-test&date=soon"); len(c.got) != 1 || !strings.Contains(w.Body.String(), "a record needs what") {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
}
