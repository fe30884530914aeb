package rig

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

func nowhere(context.Context, string, []byte) error { return nil }

// A plant goes on where it was: counters, outlets, faults that were caused and mended.
func TestAPlantGoesOnWhereItWas(t *testing.T) {
	p := NewPlayer(plant(t), start.Time(), nil, nowhere)
	p.second(start.Add(60 * station.Second))
	if err := p.Cause("press-4", "outlet-leak", 0.3, time.Minute); err != nil {
		t.Fatal(err)
	}
	if err := p.Mend("clamp-3", ""); err != nil {
		t.Fatal(err)
	}
	p.second(start.Add(120 * station.Second))
	kept := Kept{Began: start, Stations: p.Keep(), Past: []string{"the last hour"}}
	path := filepath.Join(t.TempDir(), "plant.json")
	if err := kept.Write(path); err != nil {
		t.Fatal(err)
	}
	again, err := ReadKept(path)
	if err != nil {
		t.Fatal(err)
	}
	if again.Began != start || len(again.Past) != 1 || len(again.Stations) != 8 {
		t.Fatalf("%+v", again)
	}
	later := start.Add(3600 * station.Second)
	q := NewPlayer(plant(t), later.Time(), again.Stations, nowhere)
	was, is := p.Look(), q.Look()
	for i := range is {
		if len(is[i].Faults) != len(was[i].Faults) {
			t.Errorf("%s: faults %v, were %v", is[i].Key, is[i].Faults, was[i].Faults)
		}
	}
	if f := is[0].Faults; len(f) != 1 || f[0].Kind != OutletLeak || f[0].From != start.Add(60*station.Second) {
		t.Errorf("press-4: %+v", f)
	}
	if f := is[3].Faults; len(f) != 0 {
		t.Errorf("clamp-3 was mended: %+v", f)
	}
	s, err := q.find("press-4")
	if err != nil {
		t.Fatal(err)
	}
	k := kept.Stations["northdock/press-4"]
	for _, b := range s.Until(later.Add(station.Second)) {
		switch b.Channel {
		case station.Cycles:
			if n := int64(b.Values[0]); k.Count < 5 || n < k.Count || n > k.Count+1 {
				t.Errorf("the counter shows %d, showed %d", n, k.Count)
			}
		case station.OutletPressure:
			if d := b.Values[0] - k.Outlet; d > 10e3 || d < -10e3 {
				t.Errorf("outlet %g, was %g Pa", b.Values[0], k.Outlet)
			}
		}
	}
}

func TestAStateThatCannotBeReadSaysSo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plant.json")
	if k, err := ReadKept(path); err != nil || k.Began != 0 {
		t.Errorf("no file: %+v, %v", k, err)
	}
	for _, text := range []string{"{", `{"stations": {"a/b": {"faults": [{"Kind": "rust"}]}}}`} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadKept(path); err == nil || !strings.Contains(err.Error(), "move the file away") {
			t.Errorf("%s: %v", text, err)
		}
	}
}
