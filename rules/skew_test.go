package rules

import (
	"testing"

	"strokewise/analyzer/station"
)

// skewed goes on for some seconds at a station whose clock is five hours behind ours, as one that
// publishes its local time as UTC.
func (w *works) skewed(seconds int) {
	for range seconds {
		w.s.At = w.s.At.Add(station.Second)
		s := w.s
		w.heard[station.InletPressure], w.heard[station.OutletPressure] = w.here(), w.here()
		w.v.Step(&s)
		w.v.Tick(w.here(), &w.heard)
	}
}

func (w *works) here() station.Instant { return w.s.At.Add(300 * station.Minute60) }

// raised returns how often an alarm was raised.
func (w *works) raised(alarm string) (n int) {
	for _, x := range w.of(alarm) {
		if x.To == Unacknowledged && x.From != Unacknowledged {
			n++
		}
	}
	return n
}

// An acknowledgement is of our time, readings are of the sensor's: where that is hours behind, an
// alarm with a delay is raised again all the same.
func TestAnAlarmComesAgainThoughTheClocksDiffer(t *testing.T) {
	w := vented(t)
	w.plate.TankPS = 850e3
	w.s.ShutdownAt, w.s.State, w.s.Inlet = 0, station.Holding, shows(600e3)
	for n := 1; n <= 3; n++ {
		w.s.Outlet = shows(900e3)
		w.skewed(10)
		if got := w.raised(OverPressure); got != n {
			t.Fatalf("raised %d times of %d: %+v", got, n, w.of(OverPressure))
		}
		if err := w.v.Command(&station.Command{Kind: "acknowledge", Alarm: OverPressure, By: "Ada"}, w.here()); err != nil {
			t.Fatal(err)
		}
		w.s.Outlet = shows(800e3)
		w.skewed(10)
	}
}

// Reminders come at their time, whichever clock an acknowledgement or a silence was of. (pressure-at-work:
// 15 min, acknowledged 1 h.)
func TestRemindersThoughTheClocksDiffer(t *testing.T) {
	w := vented(t)
	w.skewed(1)
	if err := w.v.Command(&station.Command{Kind: "at-work", By: "Ada", Note: "seal", Until: w.here().Add(600 * station.Minute60)}, w.here()); err != nil {
		t.Fatal(err)
	}
	silent := w.here()
	for now := silent; now < silent.Add(40*station.Second); now = now.Add(station.Second) {
		w.v.Tick(now, &w.heard)
	}
	w.s.At = w.s.At.Add(40 * station.Second)
	w.s.Outlet = shows(640e3)
	reminders := func() (n int) {
		for _, x := range w.of(PressureAtWork) {
			if x.Reminder() && x.Trigger == StillPresent {
				n++
			}
		}
		return n
	}
	if w.skewed(16 * 60); reminders() != 1 {
		t.Errorf("%d reminders in 16 min: %+v", reminders(), w.of(PressureAtWork))
	}
	if err := w.v.Command(&station.Command{Kind: "acknowledge", Alarm: PressureAtWork, By: "Bea"}, w.here()); err != nil {
		t.Fatal(err)
	}
	if w.skewed(59 * 60); reminders() != 1 {
		t.Errorf("%d reminders 59 min after the acknowledgement", reminders())
	}
	if w.skewed(2 * 60); reminders() != 2 {
		t.Errorf("%d reminders 61 min after the acknowledgement", reminders())
	}
}
