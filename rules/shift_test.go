package rules

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// lisbon is a plate of a site that works from 06:00 to 22:00 in Lisbon.
func lisbon(t *testing.T) *station.Plate {
	t.Helper()
	z, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Skip("no zone database here: " + err.Error())
	}
	c := station.Calendar{Grace: 30, Shifts: []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: 6 * 60, To: 22 * 60}}}
	c.SetZone(z)
	return &station.Plate{Key: scriptKey, TankVolume: 0.02, Calendar: c.Text()}
}

// fedAt is a station in service, at a time.
func fedAt(at station.Instant, outlet float64) *station.Status {
	s := &station.Status{At: at, Since: at, State: station.Holding, Inlet: shows(590e3), Outlet: shows(outlet), StrokeRate: shows(0.1), StrokesMinute: 6, OutletLastSeen: station.Gauge(outlet)}
	s.Estimates[station.StoredEnergy] = shows(23e3)
	return s
}

func at(s string) station.Instant {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return station.InstantOf(t)
}

// On the evening after the clock was put forward the shift ends an hour earlier by UTC.
func TestPressureLeftByTheCalendarSaysSo(t *testing.T) {
	for _, c := range []struct{ day, end string }{{"2026-03-28", "T22:00:00Z"}, {"2026-03-29", "T21:00:00Z"}, {"2026-10-24", "T21:00:00Z"}, {"2026-10-25", "T22:00:00Z"}} {
		var got []Transition
		v := NewEvaluator(lisbon(t), func(t *Transition) { got = append(got, *t) })
		end := at(c.day + c.end)
		for now := end.Add(-station.Minute60); now < end.Add(40*station.Minute60); now = now.Add(station.Second) {
			v.Step(fedAt(now, 880e3))
		}
		if len(got) != 1 || got[0].Alarm != PressureLeft || got[0].At != end.Add(30*station.Minute60) {
			t.Fatalf("%s: %+v", c.day, got)
		}
		m := got[0].Message
		for _, want := range []string{"880 kPa gauge", "By the calendar, the shift ended at " + c.day + " 22:00 (Europe/Lisbon)", "the supply is still open: the inlet reads 590 kPa", "23 kJ (isentropic"} {
			if !strings.Contains(m, want) {
				t.Errorf("%s: no %q in %q", c.day, want, m)
			}
		}
		if got[0].Caution != CautionStored || strings.Contains(m, "leak") || strings.Contains(m, "safe") {
			t.Errorf("%q, %q", m, got[0].Caution)
		}
	}
}

// Reminders come hourly until somebody acknowledges, then every twelve hours, until the
// outlet is seen to fall. A run that is restored in between gives the same.
func TestRemindersGoOnUntilItIsVented(t *testing.T) {
	run := func(restore bool) []Transition {
		var got []Transition
		emit := func(t *Transition) { got = append(got, *t) }
		plate := &station.Plate{Key: scriptKey}
		v := NewEvaluator(plate, emit)
		s := fedAt(t0, 880e3)
		s.State, s.ShutdownAt, s.ShutdownBy = station.Residual, t0, ByValve
		s.Inlet = shows(0)
		for sec := int64(0); sec < 40*3600; sec++ {
			s.At = t0.Add(sec * station.Second)
			if sec >= 39*3600+60 {
				s.Outlet.Value = math.Max(0, 880e3-10e3*float64(sec-39*3600-60))
			}
			v.Step(s)
			if sec == 3*3600 {
				if err := v.Command(&station.Command{Kind: "acknowledge", Alarm: PressureLeft, By: "Ana"}, s.At); err != nil {
					t.Fatal(err)
				}
			}
			if restore && sec%4999 == 0 {
				var b bytes.Buffer
				if err := v.Save(&b); err != nil {
					t.Fatal(err)
				}
				var err error
				if v, err = Restore(&b, plate, emit); err != nil {
					t.Fatal(err)
				}
			}
		}
		return got
	}
	got := run(false)
	var said []string
	ids := map[string]bool{}
	for _, x := range got {
		word := x.From.String() + ">" + x.To.String()
		if x.Reminder() {
			word = "again"
			if !strings.Contains(x.Message, "880 kPa gauge") || !strings.Contains(x.Why, "still present, ") || x.Caution != CautionStored {
				t.Errorf("%+v", x)
			}
		}
		said = append(said, x.At.Time().Sub(t0.Time()).Round(time.Minute).String()+" "+word)
		ids[x.ID()] = true
	}
	want := "5m0s normal>unacknowledged, 1h5m0s again, 2h5m0s again, 3h0m0s unacknowledged>acknowledged, 15h0m0s again, 27h0m0s again, 39m0s"
	want = strings.Replace(want, "39m0s", "39h0m0s again, 39h2m0s acknowledged>normal", 1)
	if s := strings.Join(said, ", "); s != want {
		t.Errorf("got  %s\nwant %s", s, want)
	}
	if len(ids) != len(got) {
		t.Error("two transitions have one ID")
	}
	if again := run(true); !reflect.DeepEqual(again, got) {
		t.Errorf("restored: %d transitions, else %d", len(again), len(got))
	}
}

// A silent station is reminded of by ticks, and a word given then counts in a restored run.
func TestRemindersOfASilentStation(t *testing.T) {
	var got []Transition
	emit := func(t *Transition) { got = append(got, *t) }
	plate := lisbon(t)
	v := NewEvaluator(plate, emit)
	end := at("2026-07-01T21:00:00Z")
	var a Arrivals
	last := end.Add(-10 * station.Minute60)
	v.Step(fedAt(last, 880e3))
	a[station.InletPressure], a[station.OutletPressure] = last, last
	for now := last; now < end.Add(150*station.Minute60); now = now.Add(5 * station.Second) {
		v.Tick(now, &a)
	}
	n := 0
	for _, x := range got {
		if x.Alarm != PressureLeft {
			continue
		}
		n++
		if !strings.Contains(x.Message, "treat it as charged") || !strings.Contains(x.Message, "not known whether the supply is open") {
			t.Errorf("%+v", x)
		}
	}
	if n != 2 { // 22:30 the raise, 23:30 again
		t.Errorf("told %d times: %+v", n, got)
	}
	var b bytes.Buffer
	if err := v.Save(&b); err != nil {
		t.Fatal(err)
	}
	v, err := Restore(&b, plate, emit)
	if err != nil {
		t.Fatal(err)
	}
	if err := v.Command(&station.Command{Kind: "vented", By: "Ana", Note: "tank gauge"}, end.Add(151*station.Minute60)); err != nil {
		t.Error(err)
	}
	if x := got[len(got)-1]; x.Alarm != PressureLeft || x.To != ReturnedUnacknowledged || x.By != "Ana" {
		t.Errorf("%+v", x)
	}
}

func TestServicesAreCountedAndRecalled(t *testing.T) {
	plate := &station.Plate{Key: scriptKey, Service: station.ServiceText([]station.Service{{What: station.FilterElement, Last: "2025-12-01", Cycles: 100_000, Before: 40, RemindCycles: 5000}})}
	var got []Transition
	v := NewEvaluator(plate, func(t *Transition) { got = append(got, *t) })
	for sec := int64(0); sec <= 3600; sec++ {
		s := fedAt(t0.Add(sec*station.Second), 880e3)
		if sec > 1800 && sec <= 1860 {
			s.StrokeRate = station.Unknown("not seen")
		}
		v.Step(s)
	}
	d := v.Dues(t0.Add(3600 * station.Second))
	if len(d) != 1 || d[0].CyclesLeft != 100_000-40-59*3 || d[0].Lost != 1 {
		t.Errorf("%+v", d) // 59 of 60 minutes with 6 strokes, 3 cycles each
	}
	if err := v.Command(&station.Command{Kind: "done", By: "Ana", Service: station.FilterElement, Date: "2026-01-01", Document: "sheet: 9"}, t0.Add(3601*station.Second)); err != nil {
		t.Fatal(err)
	}
	if d = v.Dues(t0.Add(3602 * station.Second)); d[0].CyclesLeft != 100_000 || d[0].Lost != 0 || d[0].Last != "2026-01-01" || d[0].Document != "sheet: 9" || d[0].By != "Ana" {
		t.Errorf("%+v", d)
	}
	plate.Service = station.ServiceText([]station.Service{{What: station.FilterElement, Last: "2026-02-01", Cycles: 100_000, Before: 7}})
	if d = v.Dues(t0.Add(3603 * station.Second)); d[0].Last != "2026-02-01" || d[0].CyclesLeft != 99_993 { // the newer of the two counts
		t.Errorf("%+v", d)
	}
	plate.Service = ""
	if d = v.Dues(t0.Add(3604 * station.Second)); len(d) != 1 || d[0].Last != "2026-01-01" || d[0].Date != "" {
		t.Errorf("a record of what the plate does not name any more: %+v", d)
	}
	if len(got) != 0 {
		t.Errorf("%+v", got)
	}
}

// Of what comes due later, while the finding stands, people are told again.
func TestMoreComesDue(t *testing.T) {
	plate := &station.Plate{Key: scriptKey, Service: station.ServiceText([]station.Service{{What: station.FilterElement, Next: "2026-01-05", Remind: 30}, {What: station.HoseReplacement, Next: "2026-02-01", Remind: 30}})}
	var got []Transition
	v := NewEvaluator(plate, func(t *Transition) { got = append(got, *t) })
	for h := int64(0); h < 3*24; h++ {
		v.Step(fedAt(t0.Add(h*60*station.Minute60), 880e3))
		if h == 1 {
			if !v.Acknowledge(ServiceDue, t0.Add(h*60*station.Minute60)) {
				t.Error("not acknowledged")
			}
		}
	}
	if len(got) != 3 || !got[2].Reminder() || got[2].Why != "more has come due" || !strings.Contains(got[2].Message, "replacement of hoses in 30 days") || strings.Contains(got[0].Message, "hoses") {
		t.Errorf("%+v", got)
	}
}
