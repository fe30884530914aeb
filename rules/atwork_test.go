package rules

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// works is a vented station whose evaluator a test drives second by second.
type works struct {
	t     *testing.T
	v     *Evaluator
	plate *station.Plate
	got   []Transition
	s     station.Status
	heard Arrivals
}

func vented(t *testing.T) *works {
	w := &works{t: t, plate: &station.Plate{Key: scriptKey}}
	w.v = NewEvaluator(w.plate, w.emit)
	w.s = *fedAt(t0, 0)
	w.s.State, w.s.ShutdownAt, w.s.ShutdownBy, w.s.Inlet = station.Off, t0, ByValve, shows(0)
	w.run(60)
	return w
}

func (w *works) emit(t *Transition) { w.got = append(w.got, *t) }

// run goes on for some seconds.
func (w *works) run(seconds int) {
	for range seconds {
		w.s.At = w.s.At.Add(station.Second)
		s := w.s
		w.heard[station.InletPressure], w.heard[station.OutletPressure] = s.At, s.At
		w.v.Step(&s)
		w.v.Tick(s.At, &w.heard)
	}
}

func (w *works) say(kind, who, why string, minutes int64) {
	w.t.Helper()
	c := &station.Command{Kind: kind, By: who, Note: why}
	if minutes > 0 {
		c.Until = w.s.At.Add(minutes * station.Minute60)
	}
	if kind == "acknowledge" {
		c.Alarm = why
	}
	if err := w.v.Command(c, w.s.At); err != nil {
		w.t.Fatal(err)
	}
}

// of returns the transitions of an alarm.
func (w *works) of(alarm string) (out []Transition) {
	for _, x := range w.got {
		if x.Alarm == alarm {
			out = append(out, x)
		}
	}
	return out
}

func (w *works) expect(x Transition, to AlarmState, by string, words ...string) {
	w.t.Helper()
	if x.To != to || x.By != by || x.Caution != CautionAtWork || x.Alarm == PressureAtWork && x.Priority != High || x.Alarm == WorkTimeOver && x.Priority != Medium {
		w.t.Errorf("%+v", x)
	}
	for _, want := range words {
		if !strings.Contains(x.Message, want) {
			w.t.Errorf("no %q in %q", want, x.Message)
		}
	}
}

// Every message names who is at work and until when, and says that it is no lock-out. Who ends
// whose work is said too.
func TestMessagesOfWork(t *testing.T) {
	w := vented(t)
	w.say("at-work", " Ada ", "regulator diaphragm", 90)
	w.say("at-work", "Bea", "gauge", 30)
	w.s.Outlet = shows(62e3)
	w.run(1)
	w.say("work-ended", "Ada", "", 0)
	w.say("work-ended", "Cem", "Bea has left, nobody is there", 0)
	x := w.of(PressureAtWork)
	if len(x) != 5 {
		t.Fatalf("%+v", x)
	}
	w.expect(x[0], Normal, "Ada", "At work here: Ada until 2026-01-01 01:31 UTC (regulator diaphragm).", noLockOut)
	w.expect(x[1], Normal, "Bea", "Ada until", "; Bea until 2026-01-01 00:31 UTC (gauge).")
	w.expect(x[2], Unacknowledged, "", "The outlet has risen from 0 to 62 kPa gauge. Warn them now.", "Ada until", "Bea until", noLockOut)
	w.expect(x[3], Unacknowledged, "Ada", "The work of Ada here has ended.", "At work here: Bea until")
	w.expect(x[4], ReturnedUnacknowledged, "Cem", "Cem has ended the work of Bea here.", "Nobody is declared at work here now")
	ids := map[string]bool{}
	for i := range x {
		ids[x[i].ID()] = true
	}
	if len(ids) != len(x) || len(w.v.AtWork()) != 0 {
		t.Errorf("%d of %d transitions have an ID of their own; at work: %+v", len(ids), len(x), w.v.AtWork())
	}
}

// What was seen decides the words.
func TestWhatIsSaidOfEachSign(t *testing.T) {
	for _, c := range []struct {
		change func(*works)
		words  string
	}{
		{func(w *works) { w.s.Strokes++ }, "The booster has stroked. Warn them now."},
		{func(w *works) { w.s.Valve = station.ValveOpen }, "The supply valve signals open. Warn them now."},
		{func(w *works) { w.s.Inlet = shows(600e3) }, "The inlet has risen from 0 to 600 kPa gauge."},
		{func(w *works) { w.s.Inlet, w.s.InletReads = station.Unknown("a step that no header makes"), 600e3 }, "The inlet has risen from 0 to 600 kPa gauge."},
		{func(w *works) { w.s.Inlet, w.s.InletReads = station.Unknown("no reading"), station.Gauge(math.NaN()) }, "The inlet pressure is not known (no reading): pressure that returns might not be seen. Warn them, and watch the local gauges."},
	} {
		w := vented(t)
		w.say("at-work", "Ada", "seal", 60)
		c.change(w)
		w.run(11)
		x := w.of(PressureAtWork)
		if len(x) != 2 {
			t.Fatalf("%q: %+v", c.words, x)
		}
		w.expect(x[1], Unacknowledged, "", c.words, noLockOut)
		if late := x[1].At.Sub(x[0].At); late > 2*station.Second && !strings.Contains(c.words, "not known") {
			t.Errorf("%q: %d ns after the declaration", c.words, late)
		}
	}
}

// Work on a charged line, and on one that is not seen, is told with the declaration itself.
func TestWorkOnAChargedLineIsToldAtOnce(t *testing.T) {
	w := vented(t)
	w.s.Outlet = shows(640e3)
	w.run(1)
	w.say("at-work", "Ada", "seal", 60)
	x := w.of(PressureAtWork)
	if len(x) != 1 {
		t.Fatalf("%+v", x)
	}
	w.expect(x[0], Unacknowledged, "Ada", "The outlet reads 640 kPa gauge: it is charged.")

	v := NewEvaluator(w.plate, w.emit)
	w.got = nil
	if err := v.Command(&station.Command{Kind: "at-work", By: "Ada", Note: "seal", Until: t0.Add(station.Minute60)}, t0); err != nil {
		t.Fatal(err)
	}
	w.expect(w.got[0], Unacknowledged, "Ada", "No samples come from the station")
}

// A station without samples is told of by the passing of time, 30 s after the last of them.
func TestSilenceAtWork(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	from := w.s.At
	for now := from; now <= from.Add(40*station.Second); now = now.Add(5 * station.Second) {
		w.v.Tick(now, &w.heard)
	}
	x := w.of(PressureAtWork)
	if len(x) != 2 || x[1].At.Sub(from) != 35*station.Second { // the first tick after 30 s
		t.Fatalf("%+v", x)
	}
	w.expect(x[1], Unacknowledged, "", "No samples come from the station: pressure that returns would not be seen.")
}

// The end of the declared time is told hourly until somebody prolongs or ends the work; a second
// person whose time is over is told at once.
func TestTimeOfWorkIsOver(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 10)
	w.say("at-work", "Bea", "gauge", 30)
	w.run(100 * 60)
	w.say("acknowledge", "Cem", WorkTimeOver, 0)
	w.run(65 * 60)
	w.say("at-work", "Ada", "seal, takes longer", 60)
	w.say("work-ended", "Bea", "", 0)
	x := w.of(WorkTimeOver)
	var said []string
	for _, a := range x {
		said = append(said, spanOf(a.At.Sub(t0))+" "+a.From.String()+">"+a.To.String())
	}
	// declared at 1 min; over at 11 min, Bea's at 31, an hour later again at 91, acknowledged at 101, an hour later at 161, ended at 166
	want := "11 min normal>unacknowledged, 31 min unacknowledged>unacknowledged, 1 h 31 min unacknowledged>unacknowledged, 1 h 41 min unacknowledged>acknowledged, 2 h 41 min acknowledged>acknowledged, 2 h 46 min acknowledged>normal"
	if got := strings.Join(said, ", "); got != want {
		t.Fatalf("got  %s\nwant %s", got, want)
	}
	w.expect(x[0], Unacknowledged, "", "nobody has said that it has ended: Ada until", noLockOut)
	w.expect(x[1], Unacknowledged, "", "Ada until", "Bea until")
	if w.expect(x[5], Normal, "Bea"); len(w.of(PressureAtWork)) != 4 {
		t.Errorf("%+v", w.of(PressureAtWork))
	}
}

// A restored evaluator goes on as if nothing had been; one that is rebuilt takes the declarations
// from the history, each from its own time on.
func TestWorkSurvives(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.run(5)
	var b bytes.Buffer
	if err := w.v.Save(&b); err != nil {
		t.Fatal(err)
	}
	v, err := Restore(&b, w.plate, w.emit)
	if err != nil {
		t.Fatal(err)
	}
	w.v = v
	w.s.Inlet = shows(6e3)
	if w.run(1); len(w.of(PressureAtWork)) != 2 {
		t.Errorf("restored: %+v", w.got)
	}

	w = vented(t)
	from := w.s.At.Add(30 * station.Second)
	w.v.RecallWork([]AtWork{{Who: "Ada", What: "seal", From: from, Until: from.Add(60 * station.Minute60)}}, w.s.At)
	w.s.Outlet = shows(640e3)
	if w.run(29); len(w.of(PressureAtWork)) != 0 {
		t.Errorf("before it was declared: %+v", w.got)
	}
	if w.run(2); len(w.of(PressureAtWork)) != 1 {
		t.Errorf("once it was declared: %+v", w.got)
	}
}

// A clock that is set back by an hour does not keep a sensor that is lost from being told of.
func TestWorkOverAStepOfTheClock(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	w.s.Outlet, w.s.OutletReads = station.Unknown("no reading"), station.Gauge(math.NaN())
	w.run(5)
	w.s.At, w.s.Segment = w.s.At.Add(-60*station.Minute60), 1
	w.run(7)
	if x := w.of(PressureAtWork); len(x) != 2 || x[1].To != Unacknowledged {
		t.Errorf("%+v", x)
	}
}

// Steps allocate nothing while people are at work and nothing happens.
func TestWorkAllocatesNothing(t *testing.T) {
	w := vented(t)
	w.say("at-work", "Ada", "seal", 60)
	s := w.s
	if n := testing.AllocsPerRun(100, func() { s.At = s.At.Add(station.Second); w.v.Step(&s) }); n > 0 {
		t.Errorf("%g allocations a step", n)
	}
}

// A charged station that cannot be seen is of medium priority, from the raise to the end; a
// vented one is of low priority.
func TestBlindnessOfAChargedStation(t *testing.T) {
	for _, c := range []struct {
		outlet float64
		want   Priority
	}{{ChargedMin + 1, Medium}, {ChargedMin - 1, Low}} {
		w := vented(t)
		w.s.Outlet, w.s.OutletLastSeen = shows(c.outlet), station.Gauge(c.outlet)
		w.run(5)
		for now := w.s.At; now <= w.s.At.Add(60*station.Second); now = now.Add(5 * station.Second) {
			w.v.Tick(now, &w.heard)
		}
		w.s.At = w.s.At.Add(70 * station.Second)
		w.run(2)
		x := w.of(SignalLost)
		if len(x) != 2 || x[0].Priority != c.want || x[1].Priority != c.want {
			t.Errorf("%g Pa: %+v", c.outlet, x)
		}
		open := x[0]
		w.v = NewEvaluator(w.plate, w.emit)
		w.got = nil
		w.v.Adopt([]Transition{open})
		if w.run(1); len(w.of(SignalLost)) != 1 || w.of(SignalLost)[0].Priority != c.want {
			t.Errorf("%g Pa, adopted: %+v", c.outlet, w.got)
		}
	}
}

// A person's word "vented" is in the snapshot.
func TestTheWordVentedSurvives(t *testing.T) {
	w := vented(t)
	w.say("vented", "Ada", "both gauges", 0)
	var b bytes.Buffer
	if err := w.v.Save(&b); err != nil {
		t.Fatal(err)
	}
	v, err := Restore(&b, w.plate, w.emit)
	if err != nil {
		t.Fatal(err)
	}
	w.v, w.s.ShutdownAt, w.s.State = v, 0, station.Holding
	w.s.Inlet, w.s.Outlet = shows(600e3), shows(880e3)
	w.run(7)
	x := w.of(PressureReturned)
	if len(x) != 1 || !strings.Contains(x[0].Message, "the word of Ada at 2026-01-01 00:01 UTC") || !strings.Contains(x[0].Message, "the inlet reads 600 kPa gauge, the outlet 880 kPa gauge") {
		t.Errorf("%+v", x)
	}
}
