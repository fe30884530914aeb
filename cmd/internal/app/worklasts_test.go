package app

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
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
			if !ok || x.To != rules.Unacknowledged || !strings.Contains(x.Message, "Nothing watches it now") || !strings.Contains(x.Message, "Ada until") {
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

// What people said comes back in the order in which it was decided, though our clock was set back
// between the words; a word "vented" ends by its owner, or when the return was acknowledged.
func TestDeclarationsOverAClockSetBack(t *testing.T) {
	s, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	began := station.InstantOf(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	for _, a := range []history.Act{
		{What: "at-work", Who: "Ana", Detail: "seal", At: began.Add(60 * station.Minute60)},
		{What: "work-ended", Who: "Ana", At: began.Add(61 * station.Minute60)},
		{What: "at-work", Who: "Ana", Detail: "seal again", At: began}, // an hour back
		{What: "vented", Who: "Ana", Detail: "gauges", At: began},
		{What: "at-work", Who: "Bea", Detail: "hose", At: began.Add(station.Minute60)},
		{What: "vented", Who: "Bea", Detail: "gauges", At: began.Add(station.Minute60)},
		{What: "vented", Who: "Bea", Detail: "again", At: began.Add(station.Minute60), Outcome: rules.Outcome{Result: rules.Refused, Reason: "x"}},
		{What: "vented", Who: "Ana", Detail: "again", At: began.Add(station.Minute60)},
		{What: "work-ended", Who: "Bea", At: began.Add(2 * station.Minute60)},
	} {
		a.Target = "north/a"
		if err := s.AddAct(t.Context(), a); err != nil {
			t.Fatal(err)
		}
	}
	got, err := (&App{store: s}).declared(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	k := station.Key{Site: "north", Station: "a"}
	if w := got.atWork[k]; len(w) != 1 || w[0].Who != "Ana" || w[0].What != "seal again" {
		t.Errorf("%+v", w)
	}
	if v := got.vented[k]; len(v) != 2 { // Bea ended her work while Ana was at work
		t.Errorf("%+v", v)
	}
}

// A word "vented" outlives a start without snapshot and without the log that held it, as after a
// long shutdown in which the program was renewed. Acknowledging the return ends it for good.
func TestAWordVentedOutlivesTheLog(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 1)
	k := o.Stations[0].Plate.Key
	o.Zones = map[string]*time.Location{k.Site: time.UTC}
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	f.seconds(20, fedCalm)
	f.seconds(30, ventedCalm)
	f.must(k, station.Command{Kind: "vented", By: "Ada", Note: "both gauges read zero"})
	restart := func() {
		stop()
		execute(t, o, `DELETE FROM snapshots`)
		trimAll(t, &o)
		a, stop = running(t, o)
		f.a = a
	}
	restart()
	f.seconds(20, ventedCalm)
	f.seconds(20, fedCalm)
	if x, ok := shown(a, k, rules.PressureReturned); !ok || !strings.Contains(x.Message, "the word of Ada") {
		t.Errorf("%+v", x)
	}
	f.must(k, station.Command{Kind: "acknowledge", Alarm: rules.PressureReturned, By: "Ada"})
	f.seconds(5, fedCalm)
	restart()
	f.seconds(20, fedCalm)
	if x, ok := shown(a, k, rules.PressureReturned); ok {
		t.Errorf("%+v", x)
	}
	stop()
}
