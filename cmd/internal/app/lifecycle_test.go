package app

import (
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// tick lets a time of arrival pass in every partition that has stations.
func (f *feeder) tick(at station.Instant) {
	f.t.Helper()
	for _, n := range f.a.used() {
		if _, err := f.a.samples.Append(f.t.Context(), n, []station.Record{{Arrival: at, Tick: true}}); err != nil {
			f.t.Fatal(err)
		}
	}
	f.settle()
}

// life returns every state that an alarm of a station has gone to, in order.
func life(t testing.TB, a *App, k station.Key, alarm string) (out []rules.Transition) {
	t.Helper()
	list, err := a.store.Transitions(t.Context(), k, 0, 1<<62)
	if err != nil {
		t.Fatal(err)
	}
	for i := range list {
		if list[i].Alarm == alarm {
			out = append(out, list[i])
		}
	}
	return out
}

// shown returns the open alarm of a station on the board, false if there is none.
func shown(a *App, k station.Key, alarm string) (rules.Transition, bool) {
	s, _ := a.board.Get(k)
	for i := range s.Alarms {
		if s.Alarms[i].Transition.Alarm == alarm {
			return s.Alarms[i].Transition, true
		}
	}
	return rules.Transition{}, false
}

// must passes a command on and waits until it is worked off.
func (f *feeder) must(k station.Key, c station.Command) {
	f.t.Helper()
	if _, err := f.a.Command(f.t.Context(), k, c); err != nil {
		f.t.Fatal(err)
	}
	f.settle()
}

var fedCalm = func(int, int) moment { return moment{600e3, 895e3, 1} }

// A station's publisher is off; somebody acknowledged signal-lost. However the runtime comes
// back, the alarm is the same one, acknowledged, until a sample arrives.
func TestSignalLostOutlivesARestart(t *testing.T) {
	t.Parallel() // it waits more than it works
	for _, c := range []struct {
		name string
		lose func(t *testing.T, o *Options)
	}{
		{"with its snapshot", func(*testing.T, *Options) {}},
		{"rebuilt from the log", func(t *testing.T, o *Options) { execute(t, *o, `DELETE FROM snapshots`) }},
		{"rebuilt from the history, the log trimmed", func(t *testing.T, o *Options) {
			execute(t, *o, `DELETE FROM snapshots`)
			trimAll(t, o)
		}},
	} {
		t.Run(c.name, func(t *testing.T) { lostOverRestart(t, c.lose) })
	}
}

// trimAll removes every entry of the sample log.
func trimAll(t *testing.T, o *Options) {
	t.Helper()
	l, err := samplelog.Open(t.Context(), samplelog.Options{Dir: o.Data + "/log", MaxBytes: o.MaxBytes, URL: o.LogURL})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	size, err := l.Size(t.Context())
	if err == nil {
		err = l.Trim(t.Context(), size.Last)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func lostOverRestart(t *testing.T, lose func(*testing.T, *Options)) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 1)
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	first := silenced(f, k)
	stop()
	lose(t, &o)
	a, stop = running(t, o)
	defer func() { stop() }()
	f.a = a
	heardOnlyBySamples(f, k, first)
}

// silenced lets a station fall silent, and somebody acknowledge it.
func silenced(f *feeder, k station.Key) (raised rules.Transition) {
	f.t.Helper()
	f.seconds(60, fedCalm)
	f.tick(f.start.Add(60 * station.Second))
	f.tick(f.start.Add(100 * station.Second)) // 40 s after the last sample; the limit is 30
	raised, ok := shown(f.a, k, rules.SignalLost)
	if !ok || raised.To != rules.Unacknowledged {
		f.t.Fatalf("not raised: %+v", raised)
	}
	f.must(k, station.Command{Kind: "acknowledge", Alarm: rules.SignalLost, By: "Ada"})
	return raised
}

// heardOnlyBySamples checks that the alarm stands as it stood until samples come.
func heardOnlyBySamples(f *feeder, k station.Key, was rules.Transition) {
	f.t.Helper()
	now := station.InstantOf(time.Now()).Add(2 * station.Second)
	for _, after := range []int64{0, 10, 25, 31, 60} {
		f.tick(now.Add(after * station.Second))
		if is, _ := shown(f.a, k, rules.SignalLost); is.To != rules.Acknowledged || is.Raised != was.Raised || is.Priority != was.Priority {
			f.t.Fatalf("%d s after the start it is %s, raised %s; was acknowledged, raised %s: %+v", after, is.To, is.Raised, was.Raised, life(f.t, f.a, k, rules.SignalLost))
		}
	}
	if got := life(f.t, f.a, k, rules.SignalLost); len(got) != 2 {
		f.t.Errorf("transitions: %+v", got)
	}
	f.start = now.Add(61 * station.Second)
	f.now = 0
	f.seconds(3, fedCalm)
	f.tick(now.Add(65 * station.Second))
	if is, open := shown(f.a, k, rules.SignalLost); open {
		f.t.Errorf("samples came, and it is %s", is.To)
	}
}

// Another node takes the log over and has no history of its own: what the log says, it says.
func TestSignalLostOutlivesATakeover(t *testing.T) {
	broker := peers.Mosquitto(t)
	s := logServer(t, t.TempDir(), peers.Port(t))
	defer func() { s.Shutdown(); s.WaitForShutdown() }()
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 1)
	o.LogURL = s.ClientURL()
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	first := silenced(f, k)
	stop()
	o.Data = t.TempDir()
	a, stop = running(t, o)
	defer func() { stop() }()
	f.a = a
	heardOnlyBySamples(f, k, first)
}

// A shut-down station is charged, and the runtime comes back without anything but its history:
// pressure-left stands as it stood, with samples that say nothing new.
func TestPressureLeftOutlivesALostMemory(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 1)
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	left := charged(f, k)
	stop()
	execute(t, o, `DELETE FROM snapshots`)
	trimAll(t, &o)
	a, stop = running(t, o)
	defer func() { stop() }()
	f.a = a
	f.seconds(40, func(int, int) moment { return moment{0, 880e3, 0} })
	if is, _ := shown(a, k, rules.PressureLeft); is.To != rules.Acknowledged || is.Raised != left.Raised {
		t.Errorf("with the valve closed: %+v", life(t, a, k, rules.PressureLeft))
	}
}

// charged shuts a station down that stays charged, and lets somebody acknowledge it.
func charged(f *feeder, k station.Key) rules.Transition {
	f.t.Helper()
	f.seconds(40, fedCalm)
	f.seconds(60, func(int, int) moment { return moment{0, 880e3, 0} })
	raised, ok := shown(f.a, k, rules.PressureLeft)
	if !ok {
		f.t.Fatal("pressure-left is not raised")
	}
	f.must(k, station.Command{Kind: "acknowledge", Alarm: rules.PressureLeft, By: "Ada"})
	return raised
}
