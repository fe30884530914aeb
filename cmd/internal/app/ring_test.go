package app

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// stateOf returns what a part of the program has reported.
func stateOf(t testing.TB, a *App, part string) health.State {
	t.Helper()
	for _, s := range a.Health().List() {
		if s.Part == part {
			return s
		}
	}
	t.Fatalf("no part %q among %+v", part, a.Health().List())
	return health.State{}
}

// seldom does nothing but commit often: what else happens is done on demand.
var seldom = Intervals{Commit: 10 * time.Millisecond, Snapshot: time.Hour, Trim: time.Hour, Tick: time.Hour}

// note sends a person's note to the first station, and fails where it is not written down.
func note(t testing.TB, a *App, text string) {
	t.Helper()
	k := a.configured()[0].Plate.Key
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "note", By: "Ines", Note: text}); err != nil {
		t.Errorf("a note is refused: %v", err)
	}
}

// A log that holds a part of a plant's day only, while log.keep asks for two days, and whose snapshots
// are an hour apart: the oldest entries make room as they are analysed, no message waits for long, a
// person's words are taken, and the conclusions are those of an undisturbed run.
func TestAnalysedEvidenceMakesRoom(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	var log said
	o.Logger, o.MaxBytes, o.Keep, o.Every = log.logger(), 500_000, 48*time.Hour, seldom
	a, stop := running(t, o)
	played := playing(t, broker.Addr, from, 0)
	for i := range 20 {
		note(t, a, "round "+string(rune('a'+i)))
	}
	played()
	settle(t, a)
	note(t, a, "after all")
	size, err := a.samples.Size(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	f := a.ring.evidence.figures(time.Now(), o.MaxBytes)
	t.Logf("%d of %d bytes in the log, positions %d to %d, %d dropped early, reaches back %.1f s", size.Bytes, size.MaxBytes, size.First, size.Last, f.DroppedEarly, f.Reach)
	if size.Bytes > size.MaxBytes || a.samples.Added() < size.MaxBytes {
		t.Errorf("%d bytes in the log, %d were added, it may hold %d", size.Bytes, a.samples.Added(), size.MaxBytes)
	}
	if f.DroppedEarly == 0 || f.DroppedEarly != int64(size.First)-1 {
		t.Errorf("%d dropped early, the log begins at %d", f.DroppedEarly, size.First)
	}
	if s := stateOf(t, a, "evidence"); s.Level != health.Doubtful || !strings.Contains(s.Reason, "evidence shortened: the sample log reaches back") || !strings.Contains(s.Reason, "48h") {
		t.Errorf("%+v", s)
	}
	if s := stateOf(t, a, "sample-log"); s.Level != health.Works {
		t.Errorf("%+v", s)
	}
	if n := strings.Count(log.String(), "evidence is shortened"); n != 1 {
		t.Errorf("said %d times within the hour", n)
	}
	if _, body := page(t, a, "/metrics"); !strings.Contains(body, "\nstrokewise_log_evidence_seconds ") || strings.Contains(body, "\nstrokewise_log_entries_dropped_early_total 0\n") {
		t.Error("the metrics do not say it")
	}
	stop()
	same(t, want, concluded(t, o))

	// what was dropped early is known after a restart too
	a, stop = running(t, o)
	defer stop()
	waitFor(t, "the state of the evidence", func() bool { return stateOf(t, a, "evidence").Level == health.Doubtful })
}

// A log that an earlier version left full to its last byte, with and without usable snapshots: the
// program starts, writes down plate data, ticks and words, and goes on as an undisturbed one.
func TestALogThatWasLeftFull(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	twice(t, o, broker.Addr, lostFrom, func() {})
	want := concluded(t, o)
	for name, meddle := range map[string]func(Options){
		"snapshots": func(Options) {},
		"none":      func(o Options) { execute(t, o, `DELETE FROM snapshots`) },
	} {
		t.Run(name, func(t *testing.T) {
			broker := peers.Mosquitto(t)
			o := plant(t, broker.Addr)
			a, stop := running(t, o)
			play(t, broker.Addr, lostFrom, 0)
			settle(t, a)
			size, err := a.samples.Size(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			stop()
			meddle(o)
			o.MaxBytes, o.Every = size.Bytes, seldom
			began := time.Now()
			a, stop = running(t, o)
			t.Logf("ready after %s with %d bytes of %d", time.Since(began).Round(time.Millisecond), size.Bytes, o.MaxBytes)
			note(t, a, "first thing in the morning")
			for _, n := range a.used() {
				if _, err := a.ring.Append(t.Context(), n, []station.Record{{Arrival: station.InstantOf(lostFrom.Add(30 * time.Minute)), Tick: true}}); err != nil {
					t.Errorf("a tick is refused: %v", err)
				}
			}
			play(t, broker.Addr, lostFrom.Add(30*time.Minute), 0)
			settle(t, a)
			t.Logf("the second half is stored after %s", time.Since(began).Round(time.Millisecond))
			if s := stateOf(t, a, "sample-log"); s.Level != health.Works {
				t.Errorf("%+v", s)
			}
			if size, err = a.samples.Size(t.Context()); err != nil || size.Bytes > size.MaxBytes || size.First == 1 {
				t.Errorf("%+v, %v", size, err)
			}
			stop()
			same(t, want, concluded(t, o))
		})
	}
}

// disordered is a history that stores nothing while it is told so.
type disordered struct {
	Store
	now *atomic.Bool
}

func (r disordered) Commit(ctx context.Context, c []history.Commit) error {
	if r.now.Load() {
		return errors.New("the history is out of order")
	}
	return r.Store.Commit(ctx, c)
}

// outOfOrder lets no partition commit until the function that it returns is called.
func outOfOrder(a *App) (mend func()) {
	now := new(atomic.Bool)
	now.Store(true)
	for _, p := range a.parts {
		p.mu.Lock()
		p.store = disordered{p.store, now}
		p.mu.Unlock()
	}
	return func() { now.Store(false) }
}

// What a partition holds is not dropped, however full the log is: one that has stopped keeps what it
// needs, and the commit age is its age, not the youngest.
func TestAStoppedPartitionHoldsWhatItNeeds(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	o.MaxBytes, o.Every = 200_000, seldom
	o.Every.Tick = 5 * time.Millisecond
	a, stop := running(t, o)
	defer stop()
	dead := a.used()[0]
	a.parts[dead].fail(errors.New("out of order"))
	needs := a.parts[dead].pending.saved.Load()
	waitFor(t, "a refusal", func() bool { return stateOf(t, a, "sample-log").Level == health.Fails })
	size, err := a.samples.Size(t.Context())
	if err != nil || size.First > needs+1 {
		t.Errorf("%+v, %v; partition %d needs what follows %d", size, err, dead, needs)
	}
	if s := stateOf(t, a, "sample-log"); !strings.Contains(s.Reason, fmt.Sprintf("partition %d holds it", dead)) {
		t.Errorf("%+v", s)
	}
	age, n := a.commitAge(time.Now())
	if n != dead || age <= 0 {
		t.Errorf("partition %d has waited longest, for %s; partition %d has stopped", n, age, dead)
	}
	if _, body := page(t, a, "/metrics"); strings.Contains(body, "\nstrokewise_commit_age_seconds 0\n") {
		t.Error("the metric is the youngest partition's")
	}
}

// The age of what a partition has to do, by an injected clock.
func TestPendingAge(t *testing.T) {
	at := func(s int) time.Time { return time.Unix(1000+int64(s), 0) }
	var p pending
	if d := p.age(at(0), 0); d != 0 {
		t.Errorf("nothing to do: %s", d)
	}
	p.appended(at(0))
	p.appended(at(5))
	if d := p.age(at(10), 3); d != 10*time.Second {
		t.Errorf("an entry that nobody reads: %s", d)
	}
	p.worked(at(10), 2, 3, true)
	if d := p.age(at(12), 3); d != 2*time.Second {
		t.Errorf("another entry waits: %s", d)
	}
	p.worked(at(13), 3, 3, true)
	if d := p.age(at(20), 3); d != 10*time.Second {
		t.Errorf("a commit that is due since 10: %s", d)
	}
	p.committed()
	p.appended(at(21)) // its answer came after it was worked off
	if d := p.age(at(60), 3); d != 0 {
		t.Errorf("all is done: %s", d)
	}
}

// The rate at which a log grows, and for how long it lasts: 1 MB a minute into 900 MB, of which nine
// tenths are used, is 810 minutes.
func TestFlow(t *testing.T) {
	var f flow
	at, added := time.Unix(0, 0), int64(0)
	f.take(at, added)
	for i := range 3000 {
		if i == 9 && f.lasts(900e6) != 0 {
			t.Error("known after nine minutes")
		}
		at, added = at.Add(time.Minute), added+1e6
		f.take(at, added)
	}
	if got := f.lasts(900e6); got.Round(time.Minute) != 810*time.Minute {
		t.Errorf("lasts %s", got)
	}
	if text := f.advice(24 * time.Hour); text != "; set log.max_bytes to 1600 MB, or log.keep to less" { // 1440 MB / 0.9
		t.Error(text)
	}
}

// What people must know of the evidence, and until when: as long as the dropped entries would still be
// kept.
func TestDoubtsAboutTheEvidence(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	e := evidence{oldest: now.Add(-5 * time.Hour)}
	keep := 48 * time.Hour
	if why := e.doubts(now, keep, time.Time{}, 1e9); why != "" {
		t.Errorf("a young log: %s", why)
	}
	why := e.doubts(now, keep, now.Add(-5*time.Hour), 1e9)
	if !strings.Contains(why, "evidence shortened: the sample log reaches back 5h0m0s, to 2026-03-01T07:00:00Z, and log.keep asks for 48h0m0s") {
		t.Error(why)
	}
	if why := e.doubts(now.Add(44*time.Hour), keep, now.Add(-5*time.Hour), 1e9); why != "" {
		t.Errorf("49 h after the newest dropped entry: %s", why)
	}
	e.flow = flow{known: time.Hour, perSecond: 1e9 * 0.9 / (31 * 3600)}
	if why := e.doubts(now, keep, time.Time{}, 1e9); !strings.Contains(why, "evidence will be shortened") || !strings.Contains(why, "lasts for 31h0m0s") || !strings.Contains(why, "max_bytes to 1549 MB") { // 48/31 GB
		t.Error(why)
	}
	e = evidence{lost: 1591, gaps: 1, lostAt: now.Add(-time.Hour)}
	if why := e.doubts(now, keep, time.Time{}, 0); !strings.Contains(why, "lost at least 1591 entries") {
		t.Error(why)
	}
	if why := e.doubts(now.Add(keep), keep, time.Time{}, 0); why != "" {
		t.Error(why)
	}
}

// A reader whose entries are dropped under it gets an error that says so, and nothing is taken for
// damage.
func TestABacktestWhoseEntriesAreDropped(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	o.Every = seldom
	a, stop := running(t, o)
	defer stop()
	n := a.used()[0]
	for i := range 2000 {
		if _, err := a.samples.Append(t.Context(), n, []station.Record{{Arrival: station.InstantOf(begun).Add(int64(i)), Tick: true}}); err != nil {
			t.Fatal(err)
		}
	}
	l := &calmLog{backtests: &backtests{app: a}, parts: 1}
	read := 0
	err := l.Read(t.Context(), n, 0, func(samplelog.Entry) error {
		if read++; read == 1 {
			return a.samples.Trim(context.WithoutCancel(t.Context()), 1900)
		}
		return nil
	})
	if !errors.Is(err, samplelog.ErrTrimmed) || !strings.Contains(err.Error(), "dropped meanwhile to make room") {
		t.Errorf("%d entries read, %v", read, err)
	}
	if size, err := a.samples.Size(t.Context()); err != nil || size.Gaps != 0 {
		t.Errorf("%+v, %v", size, err)
	}
}
