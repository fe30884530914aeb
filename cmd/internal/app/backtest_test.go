package app

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/dashboards/web"
	"strokewise/rules"
)

// leaky gives a running program whose log holds 75 minutes of a station with a leak, arrived
// at once and dated ahead, and that has worked it off. Its rehearsal delays the leak's alarm for the
// changes "later", and refuses all others.
func leaky(t *testing.T) (*App, station.Key) {
	t.Helper()
	start := station.InstantOf(time.Now()).Floor(station.Minute60)
	specs, err := rig.Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	s, err := rig.Find(specs, "clamp-3")
	if err != nil {
		t.Fatal(err)
	}
	s.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: 2.3e-9, From: start.Add(2400 * station.Second)}}
	o := options(t, "127.0.0.1:1", "other")
	o.BrokerListen, o.Keep = "127.0.0.1:0", 24*time.Hour
	one := Station{Plate: s.Plate, Revision: "1"}
	o.Stations = append(o.Stations, one)
	o.Rehearse = func(changes string) ([]Station, error) {
		changed := one
		switch changes {
		case "":
		case "later":
			changed.Plate.Alarms = "- name: outlet-leak\n  delay: 3h\n"
		default:
			return nil, fmt.Errorf("changes:2:3: %s", changes)
		}
		return []Station{o.Stations[0], changed}, nil
	}
	a, stop := running(t, o)
	t.Cleanup(stop)
	v, k := rig.New(s, start, 0), s.Plate.Key
	for sec := int64(10); sec <= 4500; sec += 10 {
		at := start.Add(sec * station.Second)
		if _, err := a.samples.Append(t.Context(), k.Partition(), []station.Record{{Key: k, Arrival: at, Blocks: v.Until(at)}}); err != nil {
			t.Fatal(err)
		}
	}
	for until := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		ts, err := a.store.Transitions(t.Context(), k, 0, math.MaxInt64)
		if err != nil || time.Now().After(until) {
			t.Fatalf("%d transitions, %v", len(ts), err)
		}
		last, _, _ := a.samples.Last(t.Context(), k.Partition())
		if len(ts) > 0 && a.parts[k.Partition()].figures().position >= last {
			return a, k
		}
	}
}

// finished waits for the end of a run.
func finished(t *testing.T, b *backtests) web.BacktestState {
	t.Helper()
	for until := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		if s := b.State(); s.Ended != 0 {
			return s
		}
		if time.Now().After(until) {
			t.Fatalf("the back-test does not end: %+v", b.State())
		}
	}
}

// A back-test in the running program: the present alarms give what was, a later alarm is no
// longer raised, one runs at a time, a run can be cancelled, and faults of the changes are
// told. The live analysis goes on meanwhile, and the log is not called damaged.
func TestBacktestBesideTheLiveRun(t *testing.T) {
	a, k := leaky(t)
	b := a.backtests
	if err := b.Start(web.BacktestOf{}); err != nil {
		t.Fatal(err)
	}
	if err := b.Start(web.BacktestOf{}); err == nil || !strings.Contains(err.Error(), "is running") {
		t.Errorf("a second run begins: %v", err)
	}
	if s := finished(t, b); s.Problem != "" || len(s.Rows) != 1 || s.Rows[0].Kind != "as before" || s.Rows[0].Alarm != rules.OutletLeak || s.Rows[0].Raised != s.Rows[0].WasRaised {
		t.Errorf("the present alarms: %+v", s)
	}
	if err := b.Start(web.BacktestOf{Changes: "later", Station: k.Station}); err != nil {
		t.Fatal(err)
	}
	s := finished(t, b)
	if s.Problem != "" || len(s.Rows) != 1 || s.Rows[0].Kind != "no longer" || s.Done != 1 || len(s.Spans) != 1 {
		t.Errorf("with a later alarm: %+v", s)
	}
	if n := len(s.Sums); n != 2 || s.Sums[0].Was != 1 || s.Sums[0].Is != 0 || !(s.Sums[0].WasDay > 0) {
		t.Errorf("sums: %+v", s.Sums)
	}
	if err := b.Start(web.BacktestOf{Changes: "nonsense"}); err == nil || err.Error() != "changes:2:3: nonsense" {
		t.Errorf("faulty changes: %v", err)
	}
	if err := b.Start(web.BacktestOf{Station: "nowhere"}); err == nil {
		t.Error("a station that does not exist is taken")
	}
	if err := b.Start(web.BacktestOf{}); err != nil {
		t.Fatal(err)
	}
	b.Cancel()
	if s := finished(t, b); s.Problem != "it was cancelled" || len(s.Rows) != 0 {
		t.Errorf("cancelled: %+v", s)
	}
	if err := a.Ready(); err != nil && !strings.Contains(err.Error(), "broker") {
		t.Errorf("the live run suffers: %v", err)
	}
	if size, err := a.samples.Size(t.Context()); err != nil || size.Gaps != 0 {
		t.Errorf("%d gaps, %v", size.Gaps, err)
	}
}

// Explanations come out of running engines while samples come in: run with -race.
func TestExplainWhileSamplesComeIn(t *testing.T) {
	a, k := leaky(t)
	done, ctx := make(chan error, 1), t.Context()
	go func() {
		at := station.InstantOf(time.Now().Add(80 * time.Minute))
		for i := range 200 {
			t := at.Add(int64(i) * station.Second / 10)
			bl := []station.Block{{Channel: station.InletPressure, Start: t, Values: []float64{640e3}}, {Channel: station.OutletPressure, Start: t, Values: []float64{990e3}}}
			if _, err := a.samples.Append(ctx, k.Partition(), []station.Record{{Key: k, Arrival: t, Blocks: bl}}); err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	for range 200 {
		list, err := a.Explain(t.Context(), k)
		if err != nil || len(list) < 10 {
			t.Fatalf("%d explanations, %v", len(list), err)
		}
		if list[0].Name != "state" || list[0].Said == "" {
			t.Fatalf("%+v", list[0])
		}
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
	if _, err := a.Explain(t.Context(), station.Key{Site: "no", Station: "such"}); err == nil {
		t.Error("a station of which nothing came is explained")
	}
}
