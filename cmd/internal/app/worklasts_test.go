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

var ventedCalm = func(int, int) moment { return moment{0, 0, 0} }

// atWorkThere is a plant of two stations of which the first is vented, with Ada at work there.
func atWorkThere(t *testing.T) (o Options, k station.Key, a *App, stop func(), f *feeder) {
	t.Helper()
	broker := peers.Mosquitto(t)
	o = massPlant(t, broker.Addr, "http://127.0.0.1:1", 2)
	k = o.Stations[0].Plate.Key
	o.Zones = map[string]*time.Location{k.Site: time.UTC}
	a, stop = running(t, o)
	f = &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	f.seconds(30, ventedCalm)
	until := station.InstantOf(time.Now().Add(2 * time.Hour).Truncate(time.Second))
	f.must(k, station.Command{Kind: "at-work", By: "Ada", Note: "seal", Until: until})
	return o, k, a, stop, f
}

// A restart ends no alarm on declared work: the samples that come before the first tick are judged
// with the people at work.
func TestAtWorkOverARestart(t *testing.T) {
	o, k, a, stop, f := atWorkThere(t)
	f.seconds(5, func(int, int) moment { return moment{0, 12e3, 0} })
	if _, ok := shown(a, k, rules.PressureAtWork); !ok {
		t.Fatal("not raised")
	}
	for range 2 {
		stop()
		a, stop = running(t, o)
		f.a = a
		f.seconds(20, func(int, int) moment { return moment{0, 12e3, 0} })
		for _, x := range life(t, a, k, rules.PressureAtWork) {
			if x.To == rules.ReturnedUnacknowledged {
				t.Errorf("%+v", x)
			}
		}
	}
	stop()
}

// A station is renamed while people are at work on it, running and over a restart, with its memory
// and without: its alarm says that nothing watches it any more, under the old name, until the work
// is ended and the alarm acknowledged.
func TestAStationIsRenamedAtWork(t *testing.T) {
	for _, c := range []struct {
		name           string
		restart, loses bool
	}{{"reload", false, false}, {"restart", true, false}, {"restart without a snapshot", true, true}} {
		t.Run(c.name, func(t *testing.T) {
			o, k, a, stop, f := atWorkThere(t)
			f.seconds(30, ventedCalm)
			o.Stations = slices.Clone(o.Stations)
			if o.Stations[0].Plate.Key.Station = "press-one"; c.restart {
				stop()
				if c.loses {
					execute(t, o, `DELETE FROM snapshots`)
					trimAll(t, &o)
				}
				a, stop = running(t, o)
				f.a = a
			} else if err := a.Reload(t.Context(), o.Stations); err != nil {
				t.Fatal(err)
			}
			defer func() { stop() }()
			f.settle()
			x, ok := shown(a, k, rules.PressureAtWork)
			if !ok || x.To != rules.Unacknowledged || !strings.Contains(x.Message, "Nothing watches it any more") || !strings.Contains(x.Message, "Ada until") {
				t.Fatalf("%+v", x)
			}
			if _, err := a.Command(t.Context(), k, station.Command{Kind: "close", Alarm: rules.PressureAtWork, By: "Bea", Cause: station.CausePlannedWork, Note: "gone"}); err != nil {
				t.Fatal(err) // refused by the evaluator, see the outcome
			}
			f.settle()
			if _, ok := shown(a, k, rules.PressureAtWork); !ok {
				t.Fatal("closed while Ada is declared at work")
			}
			f.must(k, station.Command{Kind: "work-ended", By: "Ada"})
			f.must(k, station.Command{Kind: "acknowledge", Alarm: rules.PressureAtWork, By: "Ada"})
			if s, ok := a.board.Get(k); ok {
				t.Errorf("still on the board: %+v", s)
			}
		})
	}
}
