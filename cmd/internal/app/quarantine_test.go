package app

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/cmd/internal/pipeline"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// poison lets the units of a station panic on what trial tells.
func poison(a *App, k station.Key, on func(u *unit, while string, r *station.Record) bool) {
	a.quarantine.trial = func(u *unit, while string, r *station.Record) {
		if u.key == k && on(u, while, r) {
			panic("index out of range [7] with length 3")
		}
	}
}

// samplesFrom is the fault of samples that arrive at or after a time.
func samplesFrom(at station.Instant) func(*unit, string, *station.Record) bool {
	return func(u *unit, _ string, r *station.Record) bool {
		return u.held == nil && r != nil && len(r.Blocks) > 0 && r.Arrival >= at
	}
}

// shift lets half of the stations be shut down charged for a while.
func shift(i, s int) moment {
	if i%2 == 0 && s >= 40 && s < 100 {
		return moment{0, 880e3, 0}
	}
	return moment{600e3, 890e3 + 5e3*float64((s+i)%3), 1}
}

// neighbours returns a station with another one in its partition.
func neighbours(t *testing.T, list []Station) (victim, other station.Key) {
	t.Helper()
	in := map[int]station.Key{}
	for i, s := range list {
		k := s.Plate.Key
		if was, ok := in[k.Partition()]; ok && i%2 == 1 {
			return k, was
		}
		in[k.Partition()] = k
	}
	t.Fatal("no two stations share a partition")
	return
}

// sameAs checks that what is stored of a station is what its twin has.
func sameAs(t *testing.T, a, twin *App, k station.Key, transitions bool) {
	t.Helper()
	all := func(a *App) (out []any) {
		m, err1 := a.store.Minutes(t.Context(), k, 0, 1<<62)
		v, err2 := a.store.Intervals(t.Context(), k, 0, 1<<62)
		totals, err3 := a.store.Totals(t.Context())
		tr, err4 := a.store.Transitions(t.Context(), k, 0, 1<<62)
		if err1 != nil || err2 != nil || err3 != nil || err4 != nil || len(m) == 0 {
			t.Fatal(len(m), err1, err2, err3, err4)
		}
		out = append(out, m, v, totals[k])
		if transitions {
			out = append(out, tr)
		}
		return out
	}
	is, was := all(a), all(twin)
	for i, what := range []string{"minutes", "states", "totals", "transitions"}[:len(is)] {
		if !reflect.DeepEqual(is[i], was[i]) {
			t.Errorf("%s of %s differ from the undisturbed twin's:\n%+v\n%+v", what, k, is[i], was[i])
		}
	}
}

// One station's samples make the engine panic: it is put aside, people are told, and all others
// go on as in a twin without the fault. A restart of the same version leaves it there; another
// version works off what it missed.
func TestAPanicOfOneStationStopsNoOther(t *testing.T) {
	t.Parallel() // it waits more than it works
	c := &crew{}
	srv := httptest.NewServer(c)
	defer srv.Close()
	broker := peers.Mosquitto(t)
	begin := station.InstantOf(time.Now()).Floor(station.Minute60).Add(-600 * station.Second)
	plan := func(hook string) Options {
		o := massPlant(t, broker.Addr, hook, 24)
		o.Zones = map[string]*time.Location{o.Stations[0].Plate.Key.Site: time.UTC}
		o.Version = "1"
		return o
	}
	o, quiet := plan(srv.URL), plan("http://127.0.0.1:1")
	quiet.MQTT.ClientID = "twin"
	victim, _ := neighbours(t, o.Stations)
	fault := begin.Add(131 * station.Second)

	twin, stopTwin := running(t, quiet)
	defer func() { stopTwin() }()
	a, err := New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	poison(a, victim, samplesFrom(fault))
	stop := start(t, a)
	defer func() { stop() }()
	f, g := &feeder{t: t, a: a, start: begin}, &feeder{t: t, a: twin, start: begin}
	both := func(n int) {
		from := f.now
		at := func(i, s int) moment { return shift(i, from+s) }
		f.seconds(n, at)
		g.seconds(n, at)
	}
	both(70)
	a.saveAll() // the state before
	both(180)

	raised, ok := shown(a, victim, rules.StationNotWatched)
	if !ok || raised.To != rules.Unacknowledged || raised.At != fault || raised.Priority != rules.Medium {
		t.Fatalf("the alarm: %+v; want it raised at %s", raised, fault)
	}
	waitFor(t, "the notification", func() bool { return len(c.of(rules.StationNotWatched)) == 1 })
	quarantined := func(when string) {
		t.Helper()
		for path, words := range map[string]string{
			"/":            "Not watched since",
			"/after-shift": "not watched since",
			"/station/" + victim.Site + "/" + victim.Station: "treat it as unknown",
			"/metrics": "strokewise_stations_quarantined 1",
		} {
			if _, got := page(t, a, path); !strings.Contains(got, words) {
				t.Errorf("%s: %s lacks %q", when, path, words)
			}
		}
		if _, got := page(t, a, "/metrics"); strings.Contains(got, `strokewise_outlet_pressure_pascals{basis="gauge",branch="",site="`+victim.Site+`",station="`+victim.Station+`"`) {
			t.Errorf("%s: /metrics has a pressure of it", when)
		}
		if _, err := a.Explain(t.Context(), victim); err == nil || !strings.Contains(err.Error(), "watched") {
			t.Errorf("%s: explained: %v", when, err)
		}
		if i := slices.IndexFunc(a.Health().List(), func(s health.State) bool { return s.Part == "station" }); i < 0 || a.Health().List()[i].Level != health.Doubtful || !strings.Contains(a.Health().List()[i].Reason, victim.String()) {
			t.Errorf("%s: health: %+v", when, a.Health().List())
		}
	}
	quarantined("after the fault")
	same := func() {
		t.Helper()
		for _, s := range o.Stations {
			if k := s.Plate.Key; k != victim {
				sameAs(t, a, twin, k, true)
			}
		}
	}
	same()
	f.must(victim, station.Command{Kind: "acknowledge", Alarm: rules.StationNotWatched, By: "Ada"})
	held, err := a.quarantine.folder.load()
	if h := held[victim]; err != nil || len(held) != 1 || h.At != fault || !strings.Contains(h.Stack, "quarantine_test") || h.Program != "1" ||
		len(h.Record) == 0 || len(h.Snapshot) == 0 || h.SnapshotAt == 0 || h.SnapshotAt >= h.Position || h.Plate.Set != 900e3 {
		t.Errorf("the record: %+v, %v", held[victim], err)
	}
	if info, err := os.Stat(a.quarantine.folder.file(victim)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file of the record: %v, %v", info, err)
	}

	var lines said
	again := func(version string, on func(*unit, string, *station.Record) bool) {
		t.Helper()
		stop()
		stopTwin()
		if twin, stopTwin = running(t, quiet); err != nil {
			t.Fatal(err)
		}
		o.Version, o.Logger = version, lines.logger()
		if a, err = New(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		poison(a, victim, on)
		stop = start(t, a)
		f.a, g.a = a, twin
	}
	again("1", func(u *unit, _ string, r *station.Record) bool {
		if u.held == nil && r != nil {
			t.Error("the same version tried again")
		}
		return false
	})
	both(60)
	quarantined("after a restart")
	if is, _ := shown(a, victim, rules.StationNotWatched); is.To != rules.Acknowledged || is.Raised != raised.Raised {
		t.Errorf("after a restart the alarm is %+v", is)
	}
	same()

	again("2", samplesFrom(fault)) // its fault is not mended
	both(60)
	quarantined("after an upgrade that did not help")
	if is, _ := shown(a, victim, rules.StationNotWatched); is.To != rules.Acknowledged || is.Raised != raised.Raised {
		t.Errorf("after an upgrade that did not help the alarm is %+v", is)
	}
	if held, err := a.quarantine.folder.load(); err != nil || held[victim].Program != "2" || len(held[victim].Snapshot) == 0 {
		t.Errorf("the record of the second try: %+v, %v", held[victim], err)
	}
	same()

	again("3", func(*unit, string, *station.Record) bool { return false })
	both(60)
	if is, ok := shown(a, victim, rules.StationNotWatched); ok {
		t.Errorf("watched again, and the alarm is %+v", is)
	}
	if _, got := page(t, a, "/metrics"); !strings.Contains(got, "strokewise_stations_quarantined 0") {
		t.Error("the metric still counts it")
	}
	if held, err := a.quarantine.folder.load(); err != nil || len(held) != 0 {
		t.Errorf("still on record: %+v, %v", held, err)
	}
	same()
	sameAs(t, a, twin, victim, false) // minutes, states and totals of what it missed
	if t.Failed() {
		t.Log(lines.String())
	}
}

// Wherever a unit panics, its stand-in takes over and the others of the partition go on. The alarms
// that were open stay, and a person's word on them counts.
func TestAPanicAnywhereIsOneStations(t *testing.T) {
	t.Parallel() // it waits more than it works
	broker := peers.Mosquitto(t)
	for _, while := range []string{"its samples", "a tick", "a command", "its plate data", "its snapshot", "its page", "its feed", "its alarms", "its services", "what it has learned"} {
		t.Run(while, func(t *testing.T) {
			o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 24)
			o.Zones = map[string]*time.Location{o.Stations[0].Plate.Key.Site: time.UTC}
			k, other := neighbours(t, o.Stations)
			a, err := New(t.Context(), o)
			if err != nil {
				t.Fatal(err)
			}
			armed := while == "its services" // at the start
			poison(a, k, func(u *unit, w string, _ *station.Record) bool { return armed && u.held == nil && w == while })
			stop := start(t, a)
			defer func() { stop() }()
			f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
			f.seconds(40, fedCalm)
			f.seconds(60, func(int, int) moment { return moment{0, 880e3, 0} })
			p := a.parts[k.Partition()]
			p.mu.Lock()
			armed = true
			p.mu.Unlock()
			switch while {
			case "a tick":
				f.tick(f.start.Add(102 * station.Second))
			case "a command":
				f.must(k, station.Command{Kind: "acknowledge", Alarm: rules.PressureLeft, By: "Ada"})
			case "its plate data":
				next := slices.Clone(o.Stations)
				for i := range next {
					next[i].Revision = "2"
				}
				if err := a.Reload(t.Context(), next); err != nil {
					t.Fatal(err)
				}
			case "its snapshot":
				a.saveAll()
			case "its feed":
				a.knowHeaders()
			case "what it has learned":
				p.mu.Lock()
				p.learned[k].written = time.Time{} // the next commit stores it
				p.mu.Unlock()
			case "its alarms":
				stop()
				if a, err = New(t.Context(), o); err != nil {
					t.Fatal(err)
				}
				poison(a, k, func(u *unit, w string, _ *station.Record) bool { return u.held == nil && w == while })
				stop = start(t, a)
				f.a = a
			}
			for range 2 { // what fails at a commit is told with the next entry of the log
				f.seconds(10, func(int, int) moment { return moment{0, 880e3, 0} })
			}
			if is, ok := shown(a, k, rules.StationNotWatched); !ok || is.To != rules.Unacknowledged {
				t.Fatalf("not told: %+v", is)
			}
			if is, ok := shown(a, k, rules.PressureLeft); (while == "its services") == ok || ok && (while == "a command") != (is.To == rules.Acknowledged) {
				t.Errorf("its open alarm: %+v, open %v", is, ok)
			}
			if is, ok := shown(a, other, rules.PressureLeft); !ok {
				t.Errorf("the alarm of its neighbour: %+v", is)
			}
			if _, ok := shown(a, other, rules.StationNotWatched); ok {
				t.Error("its neighbour is in quarantine too")
			}
			f.must(k, station.Command{Kind: "acknowledge", Alarm: rules.StationNotWatched, By: "Ada"})
			if is, _ := shown(a, k, rules.StationNotWatched); is.To != rules.Acknowledged {
				t.Errorf("acknowledged: %+v", is)
			}
		})
	}
}

// A fault that was not stored yet is not remembered: the log is worked off again. One whose file
// somebody removed is tried again, and the alarm ends.
func TestARemovedRecordIsTriedAgain(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, "http://127.0.0.1:1", 2)
	k := o.Stations[0].Plate.Key
	a, err := New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second).Add(-600 * station.Second)}
	poison(a, k, samplesFrom(f.start.Add(30*station.Second)))
	stop := start(t, a)
	f.seconds(60, fedCalm)
	if _, ok := shown(a, k, rules.StationNotWatched); !ok {
		t.Fatal("not told")
	}
	folder := a.quarantine.folder
	held, err := folder.load()
	if err != nil {
		t.Fatal(err)
	}
	stop()
	if err := os.Remove(folder.file(k)); err != nil {
		t.Fatal(err)
	}
	a, stop = running(t, o)
	f.a = a
	f.seconds(20, fedCalm)
	if is, ok := shown(a, k, rules.StationNotWatched); !ok || is.To != rules.ReturnedUnacknowledged {
		t.Errorf("tried again: %+v", is)
	}
	stop()
	late := *held[k]
	late.Position = 1 << 40
	if _, err := folder.save(&late); err != nil {
		t.Fatal(err)
	}
	a, stop = running(t, o)
	defer func() { stop() }()
	if held, err := folder.load(); err != nil || len(held) != 0 {
		t.Errorf("a record from beyond what is stored stays: %+v, %v", held, err)
	}
	if s, _ := a.board.Get(k); s.Unwatched != nil {
		t.Error("it is not watched")
	}
}

// The folder of records is bounded, and its names are.
func TestTheRecordsAreBounded(t *testing.T) {
	d := evidenceFolder(t.TempDir() + "/q")
	k := station.Key{Site: "nord/dock", Station: strings.Repeat("ü", 200)}
	h := &held{Site: k.Site, Station: k.Station, Snapshot: make([]byte, mostSnapshot+1), Record: []byte{1}, SnapshotAt: 3}
	path, err := d.save(h)
	if err != nil {
		t.Fatal(err)
	}
	got, err := d.load()
	if err != nil || len(got) != 1 || len(got[k].Snapshot) != 0 || len(got[k].Record) != 1 {
		t.Errorf("%s: %+v, %v", path, got, err)
	}
	if err := os.WriteFile(string(d)+"/big", make([]byte, mostEvidence+1), 0o600); err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		h := &held{Site: "a", Station: fmt.Sprint(i), Snapshot: make([]byte, 1000), Record: make([]byte, 1000)}
		if _, err := d.save(h); err != nil {
			t.Fatal(err)
		}
	}
	if got, _ := d.load(); len(got) != 4 || got[station.Key{Site: "a", Station: "2"}].Record != nil {
		t.Errorf("in a full folder: %+v", got)
	}
	if err := os.WriteFile(string(d)+"/torn.json", []byte(`{"Site":`), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := d.load(); len(got) != 4 || err == nil || !strings.Contains(err.Error(), "torn.json") {
		t.Errorf("with a torn file: %d, %v", len(got), err)
	}
}

// A snapshot of an older program, whose units follow each other without their sizes, is still read,
// and so is one of this program. Where the parts do not add up, it is refused.
func TestSnapshotsWithAndWithoutSizes(t *testing.T) {
	k := station.Key{Site: "northdock", Station: "press-4"}
	part := func() *partition {
		return &partition{catalog: &catalog{}, units: make(map[station.Key]*unit), log: slog.New(slog.DiscardHandler)}
	}
	p := part()
	p.add(k, pipeline.New(station.Plate{Key: k}, "1"))
	now, err := p.save()
	if err != nil {
		t.Fatal(err)
	}
	var old bytes.Buffer
	if err := gob.NewEncoder(&old).Encode(struct {
		N      int
		Ticked station.Instant
	}{1, 7}); err != nil {
		t.Fatal(err)
	}
	if err := p.units[k].Save(&old); err != nil {
		t.Fatal(err)
	}
	for name, blob := range map[string][]byte{"of this program": now, "of an older one": old.Bytes()} {
		q := part()
		if err := q.restore(blob); err != nil || q.units[k] == nil || q.units[k].Revision() != "1" {
			t.Errorf("%s: %v, %v", name, q.units, err)
		}
	}
	if err := part().restore(now[:len(now)-1]); err == nil || !strings.Contains(err.Error(), "add up") {
		t.Errorf("cut off: %v", err)
	}
}
