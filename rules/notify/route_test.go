package notify

import (
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

var berlin = func() *time.Location {
	z, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		panic(err)
	}
	return z
}()

// dayShift runs from 06:00 to 22:00 by Berlin's clock.
func dayShift(_ string, t time.Time) bool { h := t.In(berlin).Hour(); return h >= 6 && h < 22 }

func utc(t testing.TB, s string) time.Time {
	t.Helper()
	x, err := time.Parse("2006-01-02 15:04", s)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// change is a transition of an alarm that was raised at a time.
func change(raised, at time.Time, from, to rules.AlarmState) rules.Transition {
	return rules.Transition{Key: station.Key{Site: "northdock", Station: "press-4"}, Branch: "forming", Alarm: rules.PressureLeft, Priority: rules.High,
		From: from, To: to, At: station.InstantOf(at), Raised: station.InstantOf(raised)}
}

func raisedAt(at time.Time) rules.Transition {
	return change(at, at, rules.Normal, rules.Unacknowledged)
}

func TestRoutesByPlacePriorityAndShift(t *testing.T) {
	day, night := utc(t, "2026-06-01 10:00"), utc(t, "2026-06-01 23:00")
	r := &Routes{Working: dayShift, Routes: []Route{
		{Scope: Scope{Sites: []string{"northdock"}}, When: InShift, Receivers: []string{"shift"}},
		{Scope: Scope{Branches: []string{"forming"}}, When: OutsideShift, Receivers: []string{"on-call"}, Priorities: []rules.Priority{rules.High}},
		{Priorities: []rules.Priority{rules.High}, Receivers: []string{"lead"}},
		{Priorities: []rules.Priority{rules.Low}, Receivers: []string{"log"}, After: time.Hour},
	}}
	for name, c := range map[string]struct {
		at     time.Time
		change func(*rules.Transition)
		told   string
	}{
		"high by day":                  {at: day, told: "shift lead"},
		"high by night":                {at: night, told: "on-call lead"},
		"medium by day":                {at: day, change: func(x *rules.Transition) { x.Priority = rules.Medium }, told: "shift"},
		"medium by night: nobody: all": {at: night, change: func(x *rules.Transition) { x.Priority = rules.Medium }, told: "shift on-call lead log"},
		"another branch by night":      {at: night, change: func(x *rules.Transition) { x.Branch = "testing" }, told: "lead"},
		"another site by day":          {at: day, change: func(x *rules.Transition) { x.Key.Site = "quarry" }, told: "lead"},
		"only an escalation: all":      {at: night, change: func(x *rules.Transition) { x.Priority = rules.Low }, told: "shift on-call lead log"},
		// the return goes where the raise went, whatever the hour
		"returned by night, raised by day": {at: day, change: func(x *rules.Transition) {
			x.From, x.To, x.At = rules.Unacknowledged, rules.ReturnedUnacknowledged, station.InstantOf(night)
		}, told: "shift lead"},
	} {
		x := raisedAt(c.at)
		if c.change != nil {
			c.change(&x)
		}
		told := ""
		for _, who := range []string{"shift", "on-call", "lead", "log"} {
			if r.Decide(who, &x, c.at, &x).Send {
				told += " " + who
			}
		}
		if told != " "+c.told {
			t.Errorf("%s: told%s, expected %s", name, told, c.told)
		}
	}
	x := raisedAt(day)
	if !(&Routes{}).Decide("anybody", &x, day, nil).Send {
		t.Error("without routes not everybody is told")
	}
}

// A shift's end by the site's clock on the days on which the clocks change.
func TestShiftRoutesWhenTheClocksChange(t *testing.T) {
	r := &Routes{Working: dayShift, Routes: []Route{{When: InShift, Receivers: []string{"shift"}}, {When: OutsideShift, Receivers: []string{"on-call"}}}}
	for at, want := range map[string]string{
		"2026-03-28 05:00": "shift", "2026-03-28 04:59": "on-call", // 06:00 CET
		"2026-03-29 04:00": "shift", "2026-03-29 03:59": "on-call", // 06:00 CEST, that night
		"2026-10-25 05:00": "shift", "2026-10-25 04:59": "on-call", // 06:00 CET again
	} {
		x := raisedAt(utc(t, at))
		for _, who := range []string{"shift", "on-call"} {
			if got := r.Decide(who, &x, utc(t, at), &x).Send; got != (who == want) {
				t.Errorf("at %s %s is told: %v", at, who, got)
			}
		}
	}
}

func TestEscalation(t *testing.T) {
	at := utc(t, "2026-06-01 10:00")
	m := func(n int) time.Time { return at.Add(time.Duration(n) * time.Minute) }
	r := &Routes{Routes: []Route{{Receivers: []string{"shift"}}, {Receivers: []string{"boss"}, After: 15 * time.Minute}}}
	raise := raisedAt(at)
	acked := change(at, m(5), rules.Unacknowledged, rules.Acknowledged)
	ackedLate := change(at, m(20), rules.Unacknowledged, rules.Acknowledged)
	back := change(at, m(5), rules.Unacknowledged, rules.ReturnedUnacknowledged)
	backLate := change(at, m(20), rules.Unacknowledged, rules.ReturnedUnacknowledged)
	ackedBack := change(at, m(30), rules.Acknowledged, rules.Normal)
	again := raisedAt(m(10))
	for name, c := range map[string]struct {
		t       rules.Transition
		now     time.Time
		present *rules.Transition
		want    Verdict
	}{
		"at once it waits":            {raise, at, &raise, Verdict{Wait: m(15)}},
		"unacknowledged":              {raise, m(15), &raise, Verdict{Send: true}},
		"acknowledged in time":        {raise, m(15), &acked, Verdict{}},
		"over in time":                {raise, m(15), &back, Verdict{}},
		"over and forgotten":          {raise, m(15), nil, Verdict{}},
		"raised anew meanwhile":       {raise, m(15), &again, Verdict{}},
		"its acknowledgement":         {acked, m(5), &acked, Verdict{}},
		"its return":                  {back, m(5), &back, Verdict{}},
		"a late acknowledgement":      {ackedLate, m(20), &ackedLate, Verdict{Send: true}},
		"a late return":               {backLate, m(20), &backLate, Verdict{Send: true}},
		"the end of what was in hand": {ackedBack, m(30), nil, Verdict{}},
	} {
		got := r.Decide("boss", &c.t, c.now, c.present)
		if got.Send != c.want.Send || !got.Wait.Equal(c.want.Wait) {
			t.Errorf("%s: %+v, expected %+v", name, got, c.want)
		}
		if v := r.Decide("shift", &c.t, c.now, c.present); !v.Send {
			t.Errorf("%s: the shift is not told", name)
		}
	}
	for n, want := range map[int]bool{0: false, 14: false, 15: true, 60: true} {
		if r.Tells("boss", &raise, m(n)) != want || !r.Tells("shift", &raise, m(n)) {
			t.Errorf("sent again after %d min: %v", n, !want)
		}
	}
	if r.Tells("boss", &acked, m(60)) || !r.Tells("boss", &ackedLate, m(60)) {
		t.Error("what was acknowledged in time is sent again, or what was not is not")
	}
}

// A window from 22:00 to 06:00 by the site's clock, over the night on which the clocks go
// forward (7 h long) and back (9 h long).
func TestMaintenance(t *testing.T) {
	for night, w := range map[string]struct{ from, to string }{
		"forward": {"2026-03-28 21:00", "2026-03-29 04:00"}, "back": {"2026-10-24 20:00", "2026-10-25 05:00"},
	} {
		from, to := utc(t, w.from), utc(t, w.to)
		local := func(x time.Time) time.Time { // what the clock shows
			y := x.In(berlin)
			return time.Date(y.Year(), y.Month(), y.Day(), y.Hour(), y.Minute(), 0, 0, time.UTC)
		}
		r := &Routes{Zones: map[string]*time.Location{"northdock": berlin},
			Windows: []Window{{Scope: Scope{Stations: []string{"press-4"}}, From: local(from), To: local(to), Reason: "valves"}}}
		if l := local(from); l.Hour() != 22 || local(to).Hour() != 6 {
			t.Fatal(l, local(to))
		}
		before, in, later, after := from.Add(-time.Minute), from.Add(time.Hour), from.Add(2*time.Hour), to.Add(time.Hour)
		raiseIn, raiseBefore := raisedAt(in), raisedAt(before)
		backIn := change(in, later, rules.Unacknowledged, rules.ReturnedUnacknowledged)
		backBefore := change(before, later, rules.Unacknowledged, rules.ReturnedUnacknowledged)
		backAfter := change(in, after, rules.Unacknowledged, rules.ReturnedUnacknowledged)
		other := raiseIn
		other.Key.Station = "press-5"
		for name, c := range map[string]struct {
			t       rules.Transition
			now     time.Time
			present *rules.Transition
			want    Verdict
		}{
			"raised within":                {raiseIn, in, &raiseIn, Verdict{Wait: to}},
			"a moment before the end":      {raiseIn, to.Add(-time.Second), &raiseIn, Verdict{Wait: to}},
			"it stands at the end":         {raiseIn, to, &raiseIn, Verdict{Send: true}},
			"it is over at the end":        {raiseIn, to, &backIn, Verdict{}},
			"its return":                   {backIn, to, &backIn, Verdict{}},
			"its return after the end":     {backAfter, after, &backAfter, Verdict{Send: true}},
			"raised before":                {raiseBefore, before, &raiseBefore, Verdict{Send: true}},
			"raised before, told too late": {raiseBefore, in, &raiseBefore, Verdict{Wait: to}},
			"return of what was told":      {backBefore, later, &backBefore, Verdict{Wait: to}},
			"that, after the end":          {backBefore, to, &backBefore, Verdict{Send: true}},
			"another station":              {other, in, &other, Verdict{Send: true}},
		} {
			got := r.Decide("shift", &c.t, c.now, c.present)
			if got.Send != c.want.Send || !got.Wait.Equal(c.want.Wait) {
				t.Errorf("clocks %s, %s: %+v, expected %+v", night, name, got, c.want)
			}
		}
		if r.Tells("shift", &raiseIn, in) || !r.Tells("shift", &raiseIn, to) || !r.Tells("shift", &other, in) {
			t.Errorf("clocks %s: what is sent again does not mind the window", night)
		}
	}
}

// Maintenance is when people are at the machine: what guards them at once is not held back, and
// is sent again where a receiver wants that.
func TestMaintenanceHoldsNothingBackThatGuardsPeople(t *testing.T) {
	in := utc(t, "2026-03-02 12:00")
	r := &Routes{Windows: []Window{{From: in.Add(-time.Hour), To: in.Add(time.Hour), Reason: "seals"}}}
	for alarm, want := range map[string]bool{
		rules.PressureAtWork: true, rules.PressureReturned: true, rules.WorkTimeOver: true, rules.OverPressure: true, rules.OutletCollapse: true,
		rules.PressureLeft: false, rules.OutletLeak: false, rules.SignalLost: false, "of the site": false,
	} {
		x := raisedAt(in)
		x.Alarm = alarm
		over := change(in, in.Add(time.Minute), rules.Unacknowledged, rules.ReturnedUnacknowledged)
		over.Alarm = alarm
		if got := r.Decide("phone", &x, in, &x); got.Send != want {
			t.Errorf("%s: %+v", alarm, got)
		}
		if got := r.Decide("phone", &x, in.Add(2*time.Minute), &over); got.Send != want { // and where it is over before it could be sent
			t.Errorf("%s, over: %+v", alarm, got)
		}
		if r.Tells("phone", &x, in) != want {
			t.Errorf("%s is not sent again", alarm)
		}
	}
}

// Through the sender: what is withheld waits in the outbox or leaves it, delivers nothing
// and fails nothing.
func TestSenderMindsRoutes(t *testing.T) {
	b := newBox("phone", "pressure-left", "pressure-left", "outlet-leak")
	start := time.Unix(1767225600, 0)
	c := &clock{start}
	var told []string
	s := New(b, nil, nil)
	s.Add("phone", way(func(i *Item) { told = append(told, i.Transition.Alarm+" "+i.Transition.To.String()) }))
	leak := b.items[2].Transition
	s.Route(&Routes{Windows: []Window{{From: start.UTC().Add(-time.Hour), To: start.UTC().Add(time.Hour)}}}, func(_ station.Key, alarm string) *rules.Transition {
		if alarm == leak.Alarm {
			return &leak
		}
		return nil
	})
	r := s.receivers[0]
	r.now = func() time.Time { return c.at }
	for end := start.Add(2 * time.Hour); c.at.Before(end); c.at = c.at.Add(time.Minute) {
		for r.round(t.Context()) {
		}
		if c.at.Before(start.Add(time.Hour)) && len(told) > 0 {
			t.Fatal("told within maintenance")
		}
	}
	if len(told) != 1 || told[0] != "outlet-leak unacknowledged" || b.left() != 0 || r.withheld != 2 || r.delivered != 1 || r.failed != 0 {
		t.Errorf("told %v, %d left, %d withheld, %d delivered, %d failed", told, b.left(), r.withheld, r.delivered, r.failed)
	}
}

// Reminders go where the raise went. Those of what nobody has acknowledged go to whom it was
// escalated, too; those of what somebody has do not.
func TestRoutesOfReminders(t *testing.T) {
	day := utc(t, "2026-06-01 10:00")
	r := &Routes{Routes: []Route{{Receivers: []string{"shift"}}, {Receivers: []string{"lead"}, After: 15 * time.Minute}}}
	later := day.Add(time.Hour)
	again := change(day, later, rules.Unacknowledged, rules.Unacknowledged)
	for _, who := range []string{"shift", "lead"} {
		if v := r.Decide(who, &again, later, &again); !v.Send {
			t.Errorf("%s: %+v", who, v)
		}
	}
	known := change(day, later, rules.Acknowledged, rules.Acknowledged)
	if v := r.Decide("shift", &known, later, &known); !v.Send {
		t.Errorf("shift: %+v", v)
	}
	if v := r.Decide("lead", &known, later, &known); v.Send || !v.Wait.IsZero() {
		t.Errorf("lead, of what was acknowledged: %+v", v)
	}
}

// Each channel carries the pressure, the energy, how the shutdown was told, and the caution; none
// promises that the air will go by itself.
func TestEveryChannelSaysWhatPressureLeftNeeds(t *testing.T) {
	var got []rules.Transition
	plate := &station.Plate{Key: station.Key{Site: "northdock", Station: "press-4"}}
	v := rules.NewEvaluator(plate, func(x *rules.Transition) { got = append(got, *x) })
	start := station.InstantOf(utc(t, "2026-06-01 22:00"))
	s := &station.Status{State: station.Residual, ShutdownAt: start, ShutdownBy: rules.ByValve,
		Inlet: station.Estimate{Method: station.MethodTraces}, Outlet: station.Estimate{Value: 880e3, Method: station.MethodTraces}}
	s.Estimates[station.StoredEnergy] = station.Estimate{Value: 23e3, Method: station.MethodPlate}
	for sec := int64(0); sec < 3600*2; sec++ {
		s.At = start.Add(sec * station.Second)
		v.Step(s)
	}
	if len(got) != 2 || !got[1].Reminder() {
		t.Fatalf("%+v", got)
	}
	for i := range got {
		x := &got[i]
		event, err := encode(x, nil)
		if err != nil {
			t.Fatal(err)
		}
		subject, body := mailText(x, nil, time.UTC, "")
		a := (&Alertmanager{}).alert(x, x.At.Time())
		alert := ""
		for _, text := range a.Annotations {
			alert += text + "\n"
		}
		for name, text := range map[string]string{"webhook": string(event), "mail": subject + body, "alertmanager": alert} {
			for _, want := range []string{"880 kPa gauge", "23 kJ", "isentropic", "The supply valve was closed at", rules.CautionStored} {
				if !strings.Contains(text, want) {
					t.Errorf("%s, %d: no %q in\n%s", name, i, want, text)
				}
			}
			if strings.Contains(text, "leak") {
				t.Errorf("%s, %d speaks of leaking:\n%s", name, i, text)
			}
		}
	}
}
