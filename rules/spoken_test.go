package rules

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// try passes a command on and returns why it was refused.
func (w *works) try(c station.Command) string {
	if err := w.v.Command(&c, w.s.At); err != nil {
		return err.Error()
	}
	return ""
}

// A slip in one's own name ends nobody's work: others are ended by a reason that names them.
func TestWorkOfOthersEndsByName(t *testing.T) {
	w := vented(t)
	for _, who := range []string{"Ada Lund", "Bo", "José"} {
		w.say("at-work", who, "seal", 60)
	}
	for _, c := range []struct{ who, why string }{
		{"Ada", "seal is done"}, {"Bob", "finished"}, {"Ada L.", "bolts, border and boring done"}, {"Jose\u0301", "done"}, {"Cem", ""},
	} {
		if got := w.try(station.Command{Kind: "work-ended", By: c.who, Note: c.why}); !strings.Contains(got, "with their names") || len(w.v.AtWork()) != 3 {
			t.Errorf("%q, %q: %q, at work %+v", c.who, c.why, got, w.v.AtWork())
		}
	}
	w.say("work-ended", "Cem", "ada  LUND and Bo have left", 0)
	x := w.of(PressureAtWork)
	w.expect(x[len(x)-1], Normal, "Cem", "Cem has ended the work of Ada Lund, Bo here. At work here: José until")
	w.s.Outlet = shows(640e3)
	w.run(1)
	if x = w.of(PressureAtWork); x[len(x)-1].To != Unacknowledged {
		t.Errorf("%+v", x[len(x)-1])
	}
	w.say("work-ended", " JOSÉ ", "", 0)
	if len(w.v.AtWork()) != 0 {
		t.Errorf("%+v", w.v.AtWork())
	}
}

// Two people say that the line is vented: the end of one's work leaves the other's word as it is.
func TestAWordVentedEndsWithItsOwner(t *testing.T) {
	w := vented(t)
	w.say("vented", "Ada", "both gauges", 0)
	w.run(10)
	w.say("vented", "Bea", "both gauges", 0)
	w.say("at-work", "Bea", "gauge", 60)
	w.say("work-ended", "bea", "", 0)
	x := w.of(PressureAtWork)
	w.expect(x[len(x)-1], Normal, "bea", "The word of Ada that the line is vented still stands: pressure that returns raises an alarm.")
	w.s.ShutdownAt, w.s.State, w.s.Inlet, w.s.Outlet = 0, station.Holding, shows(600e3), shows(880e3)
	w.run(3)
	if x := w.of(PressureReturned); len(x) != 1 || x[0].To != Unacknowledged {
		t.Errorf("%+v", x)
	}
}

// Acknowledged, vented and said again, returned again: raised again.
func TestPressureReturnsASecondTime(t *testing.T) {
	w := vented(t)
	for n := 1; n <= 2; n++ {
		w.say("vented", "Ada", "both gauges", 0)
		w.s.ShutdownAt, w.s.State, w.s.Inlet, w.s.Outlet = 0, station.Holding, shows(600e3), shows(880e3)
		w.run(3)
		raised := 0
		for _, x := range w.of(PressureReturned) {
			if x.To == Unacknowledged {
				raised++
			}
		}
		if raised != n {
			t.Fatalf("raised %d times of %d: %+v", raised, n, w.of(PressureReturned))
		}
		w.say("acknowledge", "Ada", PressureReturned, 0)
		w.s.ShutdownAt, w.s.State, w.s.Inlet = w.s.At, station.Residual, shows(0)
		for p := 880e3; p > -1; p -= 88e3 {
			w.s.Outlet = shows(p)
			w.run(2)
		}
		w.s.Outlet = shows(0)
		w.run(3)
	}
}

// A word that the history knows is put into an evaluator that has lost it, and not given twice.
func TestAWordVentedIsRecalled(t *testing.T) {
	w := vented(t)
	words := []Spoken{{"Ada", t0}, {"Bea", t0.Add(station.Second)}}
	w.v.RecallVented(words)
	w.v.RecallVented(words)
	w.run(1)
	w.s.ShutdownAt, w.s.State, w.s.Inlet, w.s.Outlet = 0, station.Holding, shows(600e3), shows(880e3)
	w.run(3)
	if x := w.of(PressureReturned); len(x) != 1 || !strings.Contains(x[0].Message, "the word of Bea at 2026-01-01 00:00 UTC") || len(w.v.Past.Vents.Words) != 2 {
		t.Errorf("%+v", x)
	}
	w = vented(t)
	w.v.RecallVented(nil)
	if w.v.Past.Vents.said() {
		t.Error("nobody's word")
	}
}

// Where sensors publish on change, the last reading holds however old it is: a word that it
// contradicts is refused.
func TestAWordVentedAgainstAReadingOnChange(t *testing.T) {
	w := vented(t)
	w.plate.Cadence = station.OnChange
	w.s.Outlet = shows(640e3)
	w.run(1)
	w.v.Tick(w.s.At.Add(60*station.Second), &w.heard)
	if got := w.try(station.Command{Kind: "vented", By: "Ada", Note: "gauge"}); !strings.Contains(got, "the outlet still reads 640 kPa") {
		t.Errorf("%q", got)
	}
	w.s.Outlet = shows(0)
	w.run(1)
	w.v.Tick(w.s.At.Add(60*station.Second), &w.heard)
	w.say("vented", "Ada", "gauge", 0)
}

// After a person's word a return is told though the readings are not believed, measured from what they
// were at the word: a sensor that is 30 kPa off is no return. A reading that is not believed clears nothing.
func TestPressureReturnsOnAReadingThatIsNotBelieved(t *testing.T) {
	w := vented(t)
	off := func(p float64) { w.s.Inlet, w.s.InletReads = station.Unknown("an offset"), station.Gauge(p) }
	off(30e3)
	w.run(5)
	w.say("vented", "Ada", "both gauges", 0)
	if w.run(30); w.raised(PressureReturned) != 0 {
		t.Fatalf("an offset is a return: %+v", w.of(PressureReturned))
	}
	off(630e3)
	w.run(3)
	x := w.of(PressureReturned)
	if len(x) != 1 || !strings.Contains(x[0].Message, "the inlet reads 600 kPa gauge") {
		t.Fatalf("%+v", x)
	}
	off(0)
	if w.run(30); len(w.of(PressureReturned)) != 1 {
		t.Errorf("%+v", w.of(PressureReturned))
	}
}
