package rules

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// charged brings a station to a standing pressure-left that was raised at 983 kPa.
func charged(t *testing.T) *stage {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) { g.shut(s); s.Outlet = known(983e3) })
	g.play(310, nil)
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Fatalf("%+v", g.got)
	}
	return g
}

func (g *stage) progress(t *testing.T, alarm string) Progress {
	t.Helper()
	r, ok := g.v.Now(alarm)
	if !ok {
		t.Fatalf("no reading of %s", alarm)
	}
	return r
}

// From 983 kPa the outlet falls by 4 kPa a minute for ten minutes: 40 kPa less.
func TestAnAlarmThatStandsSaysWhatIsReadNow(t *testing.T) {
	g := charged(t)
	g.play(600, func(i int, s *station.Status) { s.Outlet = known(983e3 - 4e3*float64(i+1)/60) })
	r := g.progress(t, PressureLeft)
	if got := r.String(); got != "983 kPa gauge when raised, 943 now, falling 4.0 kPa/min" {
		t.Errorf("%q", got)
	}
	if !strings.Contains(r.Message, "943 kPa") || strings.Contains(r.Message, "983") {
		t.Errorf("the message as of now: %q", r.Message)
	}
	var b bytes.Buffer
	if err := g.v.Save(&b); err != nil {
		t.Fatal(err)
	}
	again, err := Restore(&b, g.v.plate, func(*Transition) {})
	if err != nil {
		t.Fatal(err)
	}
	if x, ok := again.Now(PressureLeft); !ok || x != r {
		t.Errorf("restored: %+v, want %+v", x, r)
	}
}

// Progress is in the site's unit, to the digit of its gauges.
func TestProgressInTheSitesUnit(t *testing.T) {
	for _, c := range []struct {
		unit  station.Reading
		slope float64 // kPa/min
		want  string
	}{
		{station.ReadKPa, -4, "983 kPa gauge when raised, 905 now, falling 4.0 kPa/min"},
		{station.ReadKPa, 0.3, "983 kPa gauge when raised, 905 now, rising 0.3 kPa/min"},
		{station.ReadBar, -4, "9.83 bar gauge when raised, 9.05 now, falling 0.040 bar/min"},
		{station.ReadPSI, 14, "143 psi gauge when raised, 131 now, rising 2.0 psi/min"}, // 6.894757 kPa a psi
		{station.ReadPSI, 0.05, "143 psi gauge when raised, 131 now, steady"},
	} {
		p := Progress{Raised: 983e3, Now: 905e3, Slope: c.slope * 1e3 / 60, Unit: c.unit}
		if got := p.String(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// An outlet that falls from 983 kPa to 0 at once ends nothing, and the alarm no longer says that
// it reads 983.
func TestAnAlarmThatStandsFollowsASuddenZero(t *testing.T) {
	g := charged(t)
	g.play(400, func(_ int, s *station.Status) { s.Outlet, s.State = known(0), station.Off })
	r := g.progress(t, PressureLeft)
	if got := r.String(); got != "983 kPa gauge when raised, 0 now, steady" {
		t.Errorf("%q", got)
	}
	if !strings.Contains(r.Message, "reads 0 kPa") || strings.Contains(r.Message, "983") {
		t.Errorf("the message as of now: %q", r.Message)
	}
	g.play(5, func(_ int, s *station.Status) { s.Outlet = station.Unknown("no reading") })
	if r = g.progress(t, PressureLeft); r.String() != "983 kPa gauge when raised, not known now" {
		t.Errorf("without a reading: %q", r.String())
	}
}

// A reminder and a return say both values; the raise says its own once. A person's command adds
// evidence, no words.
func TestWhatIsToldAfterTheRaiseHoldsBothValues(t *testing.T) {
	g := charged(t)
	g.play(3600, func(_ int, s *station.Status) { s.Outlet = known(905e3) })
	told := g.got[len(g.got)-1]
	if !told.Reminder() || !strings.HasSuffix(told.Said(), " Outlet: 983 kPa gauge when raised, 905 now, steady.") {
		t.Errorf("reminder: %+v", told)
	}
	if got := raisedAt(&told); got != 983e3 {
		t.Errorf("the evidence holds %g Pa at the raise", got)
	}
	if strings.Contains(g.got[0].Said(), "when raised") || raisedAt(&g.got[0]) != 983e3 {
		t.Errorf("raise: %+v", g.got[0])
	}
	if err := g.v.Command(&station.Command{Kind: "acknowledge", Alarm: PressureLeft, By: "Ada"}, g.now); err != nil {
		t.Fatal(err)
	}
	if a := g.got[len(g.got)-1]; a.Said() != "" || raisedAt(&a) != 983e3 {
		t.Errorf("acknowledgement: %+v", a)
	}
	g.play(30, func(i int, s *station.Status) { s.Outlet = known(905e3 * math.Exp(-float64(i)/5)) })
	if back := g.got[len(g.got)-1]; back.To != Normal || !strings.Contains(back.Said(), "Outlet: 983 kPa gauge when raised, ") {
		t.Errorf("return: %+v", back)
	}
	if _, ok := g.v.Now(PressureLeft); ok {
		t.Error("an alarm that is normal has a reading")
	}
}

// What is known of an alarm from the history alone holds the value at its raise.
func TestAnAdoptedAlarmKnowsItsRaise(t *testing.T) {
	g := charged(t)
	v := NewEvaluator(&station.Plate{}, func(*Transition) {})
	v.Adopt(g.got[len(g.got)-1:])
	if r, ok := v.Now(PressureLeft); !ok || r.Raised != 983e3 || !math.IsNaN(r.Now) {
		t.Errorf("%+v, %v", r, ok)
	}
}

// The alarms whose message holds a pressure of the station have a reading, others have none.
func TestWhichAlarmsHaveProgress(t *testing.T) {
	want := map[string]string{PressureLeft: "outlet_pressure", InletPressureLeft: "inlet_pressure", PressureReturned: "inlet_pressure",
		OverPressure: "outlet_pressure", "outlet-low": "outlet_pressure", "starved": "outlet_pressure", HeaderLow: "header_static",
		SignalLost: "", OutletLeak: "", ServiceDue: "", InspectionDue: ""}
	for name, quantity := range want {
		q, got := catalogue[index(name)].pressure(), ""
		if q >= 0 {
			got = quantities[q].Name
		}
		if got != quantity {
			t.Errorf("%s is about %q, want %q", name, got, quantity)
		}
	}
}

// A trend needs a minute of readings, starts anew with a clock set back, and does not take a fall
// that is over for one that goes on.
func TestTrend(t *testing.T) {
	x := &trend{}
	at := func(s int) station.Instant {
		return station.Instant(1767225600+int64(s)) * station.Instant(station.Second)
	}
	put := func(s int, p float64) { e := known(p); x.step(at(s), &e) }
	for s := range 59 {
		put(s, 900e3)
	}
	if !math.IsNaN(x.slope()) {
		t.Errorf("known after less than a minute: %g", x.slope())
	}
	for s := 60; s < 120; s++ {
		put(s, 900e3-10e3*float64(s-60))
	}
	if got := x.slope(); math.Abs(got+10e3) > 1 {
		t.Errorf("a fall of a minute: %g Pa/s", got)
	}
	for s := 120; s < 420; s++ {
		put(s, 300e3)
		if got := x.slope(); s >= 160 && got != 0 {
			t.Fatalf("a fall that ended %d s ago: %g Pa/s", s-120, got)
		}
	}
	put(419+1000, 200e3)
	if !math.IsNaN(x.slope()) {
		t.Error("a gap of a quarter of an hour is bridged")
	}
	for s := range 90 {
		put(s-3600, 500e3+100*float64(s))
	}
	if got := x.slope(); math.Abs(got-100) > 1e-6 {
		t.Errorf("after a clock that was set back: %g Pa/s, want 100", got)
	}
}
