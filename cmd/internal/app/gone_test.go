package app

import (
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// A station with an open HIGH is renamed in the configuration, while running and over a
// restart, with its memory and without: the alarm stays, under the old name, wherever alarms
// are shown, until somebody closes it.
func TestAnAlarmOutlivesItsStation(t *testing.T) {
	for _, c := range []struct {
		name           string
		restart, loses bool
	}{{"reload", false, false}, {"restart", true, false}, {"restart without a snapshot", true, true}} {
		t.Run(c.name, func(t *testing.T) { renamed(t, c.restart, c.loses) })
	}
}

func renamed(t *testing.T, restart, loses bool) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 2)
	o.Zones = map[string]*time.Location{o.Stations[0].Plate.Key.Site: time.UTC}
	o.Stations[0].Plate.Branch = "forming"
	k, name := o.Stations[0].Plate.Key, "station-0"
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	left := charged(f, k)
	next := slices.Clone(o.Stations)
	next[0].Plate.Key.Station = "press-one"
	if o.Stations = next; restart {
		stop()
		if loses {
			execute(t, o, `DELETE FROM snapshots`)
			trimAll(t, &o)
		}
		a, stop = running(t, o)
		f.a = a
	} else if err := a.Reload(t.Context(), next); err != nil {
		t.Fatal(err)
	}
	defer func() { stop() }()
	f.settle()
	f.tick(station.InstantOf(time.Now()).Add(120 * station.Second)) // beyond the limit of silence
	stands := func(when string) {
		t.Helper()
		if is, ok := shown(a, k, rules.PressureLeft); !ok || is.To != rules.Acknowledged || is.Raised != left.Raised || is.Message != left.Message {
			t.Fatalf("%s: on the board %+v, was %+v", when, is, left)
		}
		if _, ok := shown(a, k, rules.SignalLost); ok {
			t.Errorf("%s: the silence of a station that nobody listens to is an alarm", when)
		}
		for path, words := range map[string]string{
			"/":                               "No longer configured",
			"/after-shift":                    "no longer configured; still open when it was removed: pressure-left",
			"/station/" + k.Site + "/" + name: "pressure-left",
			"/metrics":                        `strokewise_alarm_active{alarm="pressure-left",branch="forming",priority="high",site="` + k.Site + `",station="station-0"} 1`,
		} {
			if _, got := page(t, a, path); !strings.Contains(got, words) || !strings.Contains(got, name) {
				t.Errorf("%s: %s lacks %q", when, path, words)
			}
		}
		if _, got := page(t, a, "/metrics"); strings.Contains(got, `strokewise_silent{branch="forming",site="`+k.Site+`",station="station-0"}`) {
			t.Errorf("%s: the metrics say whether it is silent", when)
		}
	}
	stands("after the change")
	stop()
	a, stop = running(t, o) // and over any start that follows
	f.a = a
	stands("after another start")
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "close", Alarm: rules.PressureLeft, By: "Ada"}); err == nil {
		t.Error("closed without a cause")
	}
	f.must(k, station.Command{Kind: "close", Alarm: rules.PressureLeft, By: "Ada", Cause: station.CausePlannedWork, Note: "vented and taken away, gauge read"})
	if s, ok := a.board.Get(k); ok {
		t.Errorf("closed, and still on the board: %+v", s.Alarms)
	}
	got := life(t, a, k, rules.PressureLeft)
	if last := got[len(got)-1]; last.To != rules.Normal || last.By != "Ada" || last.Cause != station.CausePlannedWork || last.Priority != rules.High {
		t.Errorf("%+v", last)
	}
	if !slices.ContainsFunc(got, func(x rules.Transition) bool {
		return strings.Contains(x.Reason(), "no longer in the configuration") && x.To == rules.Acknowledged
	}) {
		t.Errorf("no transition says that the station was removed: %+v", got)
	}
	stop()
	if list := acts(t, o); list[0].What != "close" || list[0].Who != "Ada" || list[0].Outcome.Result != rules.Done {
		t.Errorf("audit: %+v", list[0])
	}
	a, stop = running(t, o)
	if _, ok := a.board.Get(k); ok {
		t.Error("it is back after a start")
	}
}

// A station that comes back under its name takes its alarm up again, and a sample ends it.
func TestAStationThatComesBackTakesItsAlarmUp(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 2)
	o.Zones = map[string]*time.Location{o.Stations[0].Plate.Key.Site: time.UTC}
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	defer func() { stop() }()
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	left := charged(f, k)
	for _, stations := range [][]Station{o.Stations[1:], o.Stations} {
		if err := a.Reload(t.Context(), stations); err != nil {
			t.Fatal(err)
		}
		f.settle()
		if is, _ := shown(a, k, rules.PressureLeft); is.To != rules.Acknowledged || is.Raised != left.Raised {
			t.Fatalf("with %d stations: %+v", len(stations), is)
		}
	}
	f.seconds(20, fedCalm)
	if is, open := shown(a, k, rules.PressureLeft); open {
		t.Errorf("fed again: %+v", is)
	}
}

// A limit that is raised on a reload ends the alarm: its transition and the audit say so.
func TestAChangedLimitIsInTheAudit(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 1)
	k := o.Stations[0].Plate.Key
	o.Zones = map[string]*time.Location{k.Site: time.UTC}
	o.Stations[0].Plate.TankPS = 850e3
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	f.seconds(20, fedCalm)
	if _, ok := shown(a, k, rules.OverPressure); !ok {
		t.Fatal("not raised")
	}
	next := slices.Clone(o.Stations)
	next[0].Plate.TankPS, next[0].Revision = 1100e3, "2"
	if err := a.Reload(t.Context(), next); err != nil {
		t.Fatal(err)
	}
	f.settle()
	got := life(t, a, k, rules.OverPressure)
	if last := got[len(got)-1]; last.To != rules.ReturnedUnacknowledged || !last.ByConfiguration() {
		t.Errorf("%+v", last)
	}
	stop()
	if list := acts(t, o); len(list) != 1 || list[0].Who != "configuration" || list[0].Detail != "the configuration changed" {
		t.Errorf("audit: %+v", list)
	}
}

// A low header is renamed in the configuration: its alarm stays under the old name until
// somebody closes it.
func TestAHeaderIsRenamedWhileItIsLow(t *testing.T) {
	t.Parallel() // it waits more than it works
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 4)
	site := o.Stations[0].Plate.Key.Site
	o.Zones = map[string]*time.Location{site: time.UTC}
	main := station.HeaderKey(site, "")
	a, stop := running(t, o)
	defer func() { stop() }()
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.seconds(30, fedCalm)
	f.seconds(60, func(_, s int) moment { return moment{380e3, max(700e3, 895e3-40e3*float64(s)), 1} })
	open := func() bool { h, _ := a.board.Header(main); return len(h.Alarms) > 0 }
	waitFor(t, "the alarm of the header", open)
	next := slices.Clone(o.Stations)
	for i := range next {
		next[i].Plate.Header, next[i].Revision = "west", "2"
	}
	o.Stations = next
	if err := a.Reload(t.Context(), next); err != nil {
		t.Fatal(err)
	}
	f.settle()
	a.knowHeaders() // as every minute
	a.headers.nudge()
	waitFor(t, "the header to be gone", func() bool { h, _ := a.board.Header(main); return h.Gone && len(h.Alarms) > 0 })
	stop()
	a, stop = running(t, o)
	if _, text := page(t, a, "/"); !open() || !strings.Contains(text, "header main (no longer configured)") {
		t.Error("after a start it is not shown")
	}
	if _, err := a.Command(t.Context(), main, station.Command{Kind: "close", Alarm: rules.HeaderLow, By: "Ada", Cause: station.CauseSetting, Note: "header renamed"}); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "its closing", func() bool { return !open() })
	if got := life(t, a, main, rules.HeaderLow); got[len(got)-1].By != "Ada" || got[len(got)-1].To != rules.Normal {
		t.Errorf("%+v", got)
	}
}
