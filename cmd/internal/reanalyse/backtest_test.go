package reanalyse

import (
	"context"
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

const btStart = station.Instant(1767225600e9)

// lived is what a live run left: a leak from 32 to 60 min, silence from 70 to 75 min,
// shelved at 71 min. Its epochs say that a leak must last for 2 min.
type lived struct {
	log   *samplelog.JetStream
	store *history.Store
	plate station.Plate
	was   []rules.Transition
}

const lateLeak = "- name: outlet-leak\n  delay: 2m\n"

// at gives a time of the run, s after its beginning.
func at(s int64) station.Instant { return btStart.Add(s * station.Second) }

func live(t *testing.T) *lived {
	t.Helper()
	specs, err := rig.Plant(btStart)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, "clamp-3")
	if err != nil {
		t.Fatal(err)
	}
	spec.Sensors.Rate, spec.Plate.Alarms = 20, lateLeak
	spec.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: 2.3e-9, From: at(1900), Until: at(3600)}}
	l := &lived{plate: spec.Plate}
	if l.log, err = samplelog.Open(t.Context(), samplelog.Options{Dir: filepath.Join(t.TempDir(), "log"), MaxBytes: 1e9}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.log.Close() })
	if l.store, err = history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.store.Close() })
	l.fill(t, spec)
	return l
}

// fill runs the station as the program does, and logs what it was told.
func (l *lived) fill(t *testing.T, spec rig.Spec) {
	k, v, u := l.plate.Key, rig.New(spec, btStart, 0), pipeline.New(l.plate, "1")
	position := uint64(0)
	put := func(r station.Record) {
		var err error
		if position, err = l.log.Append(t.Context(), k.Partition(), []station.Record{r}); err != nil {
			t.Fatal(err)
		}
	}
	say := func(now station.Instant, c station.Command) {
		put(station.Record{Key: k, Arrival: now, Command: &c})
		if err := u.Command(&c, now); err != nil {
			t.Fatal(err)
		}
	}
	epoch := station.Epoch{Revision: "1", Plate: l.plate}
	put(station.Record{Key: k, Arrival: btStart, Epoch: &epoch})
	u.Epoch(&epoch, btStart)
	for s := int64(10); s <= 5400; s += 10 {
		blocks, now := v.Until(at(s)), at(s)
		if s <= 4200 || s > 4500 {
			put(station.Record{Key: k, Arrival: now, Blocks: blocks})
			u.Samples(blocks, now)
		}
		switch s {
		case 1000: // the program starts anew, with another serial number
			next := station.Epoch{Revision: "2", Plate: l.plate}
			next.Plate.Serial = "77"
			put(station.Record{Key: k, Arrival: now, Epoch: &next})
			u.Epoch(&next, now)
		case 3590:
			say(now, station.Command{Kind: "acknowledge", Alarm: rules.OutletLeak, By: "Ada"})
		case 4260:
			say(now, station.Command{Kind: "shelve", Alarm: rules.SignalLost, By: "Ada", Note: "cable", Until: at(4860)})
		}
		put(station.Record{Arrival: now, Tick: true})
		u.Tick(now)
	}
	l.was = u.Take().Transitions
	if err := l.store.Commit(t.Context(), []history.Commit{{Partition: k.Partition(), Position: position, Transitions: l.was}}); err != nil {
		t.Fatal(err)
	}
}

// test runs a back-test with alarms as the plate carries them.
func (l *lived) test(t *testing.T, alarms string, from, to station.Instant) Tested {
	t.Helper()
	if err := rules.Understood(alarms); err != nil {
		t.Fatal(err)
	}
	p := l.plate
	p.Alarms = alarms
	got, err := Backtest(t.Context(), l.log, l.store, []Station{{p, "another"}}, from, to)
	if err != nil || len(got) != 1 || got[0].Key != p.Key {
		t.Fatalf("%+v, %v", got, err)
	}
	return got[0]
}

// one gives the only pair of an alarm.
func one(t *testing.T, got Tested, alarm string) Pair {
	t.Helper()
	var found []Pair
	for _, p := range got.Pairs {
		if p.Any().Alarm == alarm {
			found = append(found, p)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%s: %d pairs, want one", alarm, len(found))
	}
	return found[0]
}

// times gives raise and end of an alarm's only occurrence among transitions.
func times(t *testing.T, list []rules.Transition, alarm string) (raised, ended station.Instant) {
	t.Helper()
	for _, r := range list {
		switch {
		case r.Alarm != alarm:
		case r.To == rules.Unacknowledged:
			raised = r.At
		case !r.To.Active() && ended == 0:
			ended = r.At
		}
	}
	if raised == 0 || ended == 0 {
		t.Fatalf("%s was not raised and ended: %v", alarm, list)
	}
	return raised, ended
}

// Every way to look at one live run; making it takes seconds.
func TestBacktest(t *testing.T) {
	l := live(t)
	leaked, mended := times(t, l.was, rules.OutletLeak)
	lost, found := times(t, l.was, rules.SignalLost)
	t.Run("the same alarms", func(t *testing.T) {
		got := l.test(t, lateLeak, 0, 0)
		if got.From != at(1800) || got.To != at(5400) || got.Days() != 1.0/24 {
			t.Errorf("compared from %s to %s, %v days", got.From, got.To, got.Days())
		}
		for _, want := range []Occurrence{{rules.OutletLeak, leaked, mended}, {rules.SignalLost, lost, found}} {
			if p := one(t, got, want.Alarm); p.Was == nil || p.Is == nil || *p.Was != want || *p.Is != want {
				t.Errorf("was %+v, is %+v, want both %+v", p.Was, p.Is, want)
			}
		}
		if len(got.Pairs) != 2 {
			t.Errorf("%d pairs, want 2", len(got.Pairs))
		}
	})
	t.Run("the log's epoch does not decide", func(t *testing.T) {
		// the catalogue's delay is 1 min
		p := one(t, l.test(t, "", 0, 0), rules.OutletLeak)
		if p.Was == nil || p.Is == nil || p.Was.Raised != leaked || leaked.Sub(p.Is.Raised) != 60*station.Second || p.Is.Ended != mended {
			t.Errorf("was %+v, is %+v", p.Was, p.Is)
		}
	})
	t.Run("a delay that outlasts the leak", func(t *testing.T) {
		got := l.test(t, "- name: outlet-leak\n  delay: 1h\n", 0, 0)
		if p := one(t, got, rules.OutletLeak); p.Was == nil || p.Is != nil || p.Was.Raised != leaked || p.Was.Ended != mended {
			t.Errorf("was %+v, is %+v", p.Was, p.Is)
		}
		if p := one(t, got, rules.SignalLost); p.Was == nil || p.Is == nil || *p.Was != *p.Is {
			t.Errorf("signal-lost was %+v, is %+v", p.Was, p.Is)
		}
	})
	t.Run("a condition that raises more", func(t *testing.T) {
		got := l.test(t, lateLeak+"- name: pulsation\n  condition: outlet_pressure > 100 * kPa\n  clear: outlet_pressure < 50 * kPa\n  delay: 45m\n", 0, 0)
		p := one(t, got, "pulsation")
		if p.Was != nil || p.Is == nil || p.Is.Raised < at(2700) || p.Is.Raised > at(2800) || p.Is.Ended != 0 {
			t.Errorf("was %+v, is %+v", p.Was, p.Is)
		}
	})
	t.Run("a stretch", func(t *testing.T) {
		if got := l.test(t, lateLeak, leaked, lost); len(got.Pairs) != 1 || got.Pairs[0].Was.Raised != leaked || got.From != leaked || got.To != lost {
			t.Errorf("from the leak up to the silence: %+v", got)
		}
		if got := l.test(t, lateLeak, leaked+1, lost+1); len(got.Pairs) != 1 || got.Pairs[0].Was.Raised != lost {
			t.Errorf("from behind the leak: %+v", got)
		}
		if got := l.test(t, lateLeak, 0, at(1000)); len(got.Pairs) != 0 || got.Days() != 0 {
			t.Errorf("within the warm-up: %+v", got)
		}
	})
	t.Run("nothing is changed", func(t *testing.T) {
		now, err := l.store.Transitions(t.Context(), l.plate.Key, 0, at(1e6))
		if err != nil || len(now) != len(l.was) {
			t.Errorf("%d transitions in the history, were %d, %v", len(now), len(l.was), err)
		}
	})
}

// What the history has not worked off is not compared: it would look like new.
func TestBacktestEndsWithTheHistory(t *testing.T) {
	l := live(t)
	early := historyUpTo{l.store, 1000}
	got, err := Backtest(t.Context(), l.log, early, []Station{{l.plate, "1"}}, 0, 0)
	if err != nil || got[0].To <= at(4000) || got[0].To >= at(5400) {
		t.Errorf("%+v, %v", got, err)
	}
}

// historyUpTo has worked off the log up to a position.
type historyUpTo struct {
	*history.Store
	position uint64
}

func (h historyUpTo) Positions(context.Context) (p [station.Partitions]uint64, err error) {
	for i := range p {
		p[i] = h.position
	}
	return p, nil
}
