package rules

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// restored is a start from the snapshot: the history is put beside it, and a step comes before the
// first tick.
func (w *works) restored() {
	w.t.Helper()
	people := w.v.AtWork()
	var b bytes.Buffer
	if err := w.v.Save(&b); err != nil {
		w.t.Fatal(err)
	}
	v, err := Restore(&b, w.plate, w.emit)
	if err != nil {
		w.t.Fatal(err)
	}
	w.v = v
	v.RecallWork(people, w.s.At)
}

// A restart ends no alarm on declared work, and moves no base of a rise: what was 3 kPa before
// and is 3 kPa more after it has risen by 6.
func TestARestartEndsNoAlarmOfWork(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Outlet = shows(15e3)
	w.run(1)
	n := len(w.got)
	w.restored()
	if w.run(30); len(w.got) != n {
		t.Errorf("%+v", w.got[n:])
	}

	w = vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Outlet = shows(3e3)
	w.run(1)
	w.restored()
	w.s.Outlet = shows(6e3)
	if w.run(1); len(w.of(PressureAtWork)) != 2 {
		t.Errorf("%+v", w.got)
	}
}

// Where the memory is lost, the alarm goes on by the history, and only a minute that was seen ends it.
func TestARebuiltAlarmOfWorkEndsByWhatIsSeen(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Outlet = shows(15e3)
	w.run(1)
	open, people := w.of(PressureAtWork)[1], w.v.AtWork()
	w.v = NewEvaluator(w.plate, w.emit)
	w.v.Adopt([]Transition{open})
	w.v.RecallWork(people, w.s.At)
	n, from := len(w.got), w.s.At
	w.run(70)
	if len(w.got) != n+1 || w.got[n].At.Sub(from) < quietAfter || !strings.Contains(w.got[n].Message, "for a minute") {
		t.Errorf("%+v", w.got[n:])
	}
}

// A station that is removed from the configuration while people are declared at work on it is
// told of: nothing watches it any more. The alarm stays until somebody ends it.
func TestAStationIsRemovedAtWork(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.v.Retire(w.s.At)
	x := w.of(PressureAtWork)
	if len(x) != 2 {
		t.Fatalf("%+v", x)
	}
	w.expect(x[1], Unacknowledged, "", "removed from the configuration", "Nothing watches it", "Ada until", noLockOut)
	for now := w.s.At; now <= w.s.At.Add(80*station.Minute60); now = now.Add(station.Minute60) {
		w.v.Tick(now, &w.heard)
	}
	if x = w.of(PressureAtWork); len(x) < 6 || x[len(x)-1].To != Unacknowledged { // every 15 min
		t.Errorf("%+v", x)
	}
	if x = w.of(WorkTimeOver); len(x) != 1 || x[0].To != Unacknowledged { // at 60 min
		t.Errorf("%+v", x)
	}
	if err := w.v.Command(&station.Command{Kind: "at-work", By: "Bea", Note: "hose", Until: w.s.At.Add(100 * station.Minute60)}, w.s.At); err == nil || !strings.Contains(err.Error(), "nothing watches it") {
		t.Error(err)
	}
	w.say("work-ended", "Ada", "", 0)
	if x = w.of(PressureAtWork); x[len(x)-1].To != ReturnedUnacknowledged || x[len(x)-1].By != "Ada" {
		t.Errorf("%+v", x[len(x)-1])
	}
}

// A removal does not wait for the end of a shelving.
func TestAStationIsRemovedAtWorkWhileShelved(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	if err := w.v.Command(&station.Command{Kind: "shelve", Alarm: PressureAtWork, By: "Cem", Note: "sensor", Until: w.s.At.Add(10 * station.Minute60)}, w.s.At); err != nil {
		t.Fatal(err)
	}
	w.v.Retire(w.s.At)
	if x := w.of(PressureAtWork); x[len(x)-1].To != Unacknowledged || !strings.Contains(x[len(x)-1].Message, "Ada until") {
		t.Errorf("%+v", x[len(x)-1])
	}
}

func (w *works) shelve(alarm string, minutes int64) {
	w.t.Helper()
	if err := w.v.Command(&station.Command{Kind: "shelve", Alarm: alarm, By: "Cem", Note: "known", Until: w.s.At.Add(minutes * station.Minute60)}, w.s.At); err != nil {
		w.t.Fatal(err)
	}
}

// Shelving hides what was known then: another sign, and somebody else who begins to work, end it.
func TestShelvingHidesNoNewsAtWork(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Inlet, w.s.InletReads = station.Unknown("no reading"), station.Gauge(math.NaN())
	w.run(12)
	w.shelve(PressureAtWork, 15)
	w.run(60)
	if x := w.of(PressureAtWork); x[len(x)-1].To != Shelved {
		t.Fatalf("the sign that was shelved ends the shelving: %+v", x[len(x)-1])
	}
	w.s.Outlet = shows(640e3)
	w.run(1)
	x := w.of(PressureAtWork)
	if w.expect(x[len(x)-1], Unacknowledged, "", "The outlet has risen from 0 to 640 kPa gauge"); x[len(x)-1].Trigger != ShelfNews {
		t.Errorf("%+v", x[len(x)-1])
	}

	w.shelve(PressureAtWork, 15)
	w.run(5)
	w.say("at-work", "Bea", "gauge", 60)
	x = w.of(PressureAtWork)
	w.expect(x[len(x)-1], Unacknowledged, "Bea", "The outlet has risen", "Bea until")

	w = vented(t)
	w.shelve(PressureAtWork, 15)
	w.say("at-work", "Ada", "seal", 60)
	x = w.of(PressureAtWork)
	w.expect(x[len(x)-1], Normal, "Ada", "At work here: Ada until")
	w.s.Outlet = shows(8e3)
	w.run(1)
	x = w.of(PressureAtWork)
	w.expect(x[len(x)-1], Unacknowledged, "", "The outlet has risen")
}

// The time of a second person is told though that of the first was shelved for hours.
func TestShelvingHidesNobodysTime(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 10)
	w.say("at-work", "Bea", "gauge", 30)
	w.run(11 * 60)
	w.shelve(WorkTimeOver, 600)
	w.run(18 * 60)
	if x := w.of(WorkTimeOver); x[len(x)-1].To != Shelved {
		t.Fatalf("%+v", x)
	}
	w.run(2 * 60)
	x := w.of(WorkTimeOver)
	w.expect(x[len(x)-1], Unacknowledged, "", "Ada until", "Bea until")
}

// Who says that a line is vented relies on the alarm: a shelving from before ends.
func TestAWordVentedEndsTheShelvingOfItsAlarm(t *testing.T) {
	w := vented(t)
	w.shelve(PressureReturned, 600)
	w.say("vented", "Ada", "both gauges", 0)
	w.s.ShutdownAt, w.s.State, w.s.Inlet, w.s.Outlet = 0, station.Holding, shows(600e3), shows(880e3)
	w.run(3)
	x := w.of(PressureReturned)
	if len(x) != 3 || x[1].To != Normal || x[1].By != "Ada" || x[2].To != Unacknowledged {
		t.Errorf("%+v", x)
	}
}

// An alarm on blindness that was raised at a vented station is raised again, of medium priority, once
// the station is charged: who acknowledged it acknowledged less.
func TestBlindnessOfAStationThatIsCharged(t *testing.T) {
	w := vented(t)
	blind := func(n int) {
		for range n {
			w.s.At = w.s.At.Add(station.Second)
			s := w.s
			w.heard[station.OutletPressure] = s.At
			w.v.Step(&s)
			w.v.Tick(s.At, &w.heard)
		}
	}
	w.s.Inlet = station.Unknown("no reading")
	blind(40)
	w.say("acknowledge", "Ada", SignalLost, 0)
	w.s.Outlet, w.s.OutletLastSeen, w.s.State, w.s.ShutdownAt = shows(640e3), 640e3, station.Blind, 0
	blind(5)
	x := w.of(SignalLost)
	if len(x) != 3 || x[0].Priority != Low || x[2].Priority != Medium || x[2].To != Unacknowledged {
		t.Fatalf("%+v", x)
	}
	w.say("acknowledge", "Ada", SignalLost, 0)
	blind(60)
	if x = w.of(SignalLost); len(x) != 4 {
		t.Errorf("raised again and again: %+v", x)
	}
	w.v.Retire(w.s.At)
	if x = w.of(SignalLost); x[len(x)-1].Priority != Medium { // nor does a removal lower it
		t.Errorf("%+v", x[len(x)-1])
	}
}

// Who says that a line is vented relies on its watch: a removal says that it has ended.
func TestAStationIsRemovedAfterAWordVented(t *testing.T) {
	w := vented(t)
	w.say("vented", "Ada", "both gauges", 0)
	w.v.Retire(w.s.At)
	x := w.of(PressureReturned)
	if len(x) != 1 || x[0].To != Normal || !x[0].ByConfiguration() || !strings.Contains(x[0].Message, "The word of Ada that the line is vented still stands, but nothing watches the line now.") {
		t.Errorf("%+v", x)
	}
}

// Air that comes is told though the alarm stands already because a side is not seen.
func TestAirThatComesBehindALostSensor(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Inlet, w.s.InletReads = station.Unknown("no reading"), station.Gauge(math.NaN())
	w.run(30)
	w.s.Outlet = shows(640e3)
	w.run(30)
	x := w.of(PressureAtWork)
	if len(x) != 3 || !x[2].Reminder() || x[2].At.Sub(x[1].At) > 21*station.Second {
		t.Fatalf("%+v", x)
	}
	w.expect(x[1], Unacknowledged, "", "The inlet pressure is not known")
	w.expect(x[2], Unacknowledged, "", "The outlet has risen from 0 to 640 kPa gauge")
}

// The other way round nothing is told again: who knows that air comes has nothing to learn from a lost sensor.
func TestALostSensorBehindAirThatComes(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Outlet = shows(640e3)
	w.run(30)
	w.s.Inlet, w.s.InletReads = station.Unknown("no reading"), station.Gauge(math.NaN())
	w.run(90)
	if x := w.of(PressureAtWork); len(x) != 2 {
		t.Fatalf("%+v", x)
	}
}
