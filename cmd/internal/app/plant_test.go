package app

import (
	"bytes"
	"context"
	"log/slog"
	"path/filepath"
	"reflect"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// said is a log that can be read.
type said struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.buf.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.buf.String()
}

func (s *said) logger() *slog.Logger { return slog.New(slog.NewTextHandler(s, nil)) }

// plant gives options of a run with the recordings' stations.
func plant(t testing.TB, addr string) Options {
	t.Helper()
	o := options(t, addr)
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rs {
		o.Stations = append(o.Stations, Station{Plate: r.Plate, Revision: "1"})
	}
	o.Every = Intervals{Commit: 20 * time.Millisecond, Snapshot: time.Hour, Tick: time.Hour}
	return o
}

// minuteBegun is a time some minutes ago, from which recordings are played in tests.
func minuteBegun() time.Time {
	return time.Now().Add(-20 * time.Minute).Truncate(time.Minute).Add(30 * time.Second)
}

// play publishes all recordings once, beginning at a time, with pace of wall time a second
// of recording.
func play(t testing.TB, addr string, from time.Time, pace time.Duration) {
	t.Helper()
	playing(t, addr, from, pace)()
}

// playing is play in the background; the function waits for its end.
func playing(t testing.TB, addr string, from time.Time, pace time.Duration) func() {
	t.Helper()
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	wait := through(t, from, pace, p.Publish)
	return func() { wait(); p.Close() }
}

// through is playing with a way of publishing.
func through(t testing.TB, from time.Time, pace time.Duration, publish func(ctx context.Context, topic string, payload []byte) error) func() {
	t.Helper()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	done := make(chan error, 1)
	go func() {
		done <- playback.New(playback.Options{Recordings: rs, Start: from, Rounds: 1, Publish: publish,
			Wait: func(ctx context.Context, _ time.Time) error { time.Sleep(pace); return ctx.Err() }}).Run(ctx)
	}()
	return func() {
		t.Helper()
		defer cancel()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
	}
}

// conclusions are what a run has stored of its stations.
type conclusions struct {
	Minutes     []station.Minute
	Intervals   []station.Interval
	Transitions []rules.Transition
	Figures     []station.HourFigure // where the recordings run over the end of an hour
}

func concluded(t testing.TB, o Options) map[station.Key]conclusions {
	t.Helper()
	s, err := history.Open(filepath.Join(o.Data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	out := map[station.Key]conclusions{}
	for _, st := range o.Stations {
		k := st.Plate.Key
		var c conclusions
		var err [4]error
		c.Minutes, err[0] = s.Minutes(t.Context(), k, 0, 1<<62)
		c.Intervals, err[1] = s.Intervals(t.Context(), k, 0, 1<<62)
		c.Transitions, err[2] = s.Transitions(t.Context(), k, 0, 1<<62)
		c.Figures, err[3] = s.Figures(t.Context(), k, 0, 1<<62)
		for _, e := range err {
			if e != nil {
				t.Fatal(e)
			}
		}
		for i := range c.Minutes {
			for _, p := range [...]*station.Gauge{&c.Minutes[i].InletMean, &c.Minutes[i].OutletMean, &c.Minutes[i].OutletMax} {
				if *p != *p {
					*p = -1e9 // unknown: comparable
				}
			}
		}
		out[k] = c
	}
	return out
}

// same reports where two runs concluded different things.
func same(t testing.TB, want, got map[station.Key]conclusions) {
	t.Helper()
	for k, w := range want {
		g := got[k]
		if len(w.Minutes) == 0 {
			t.Errorf("%s: no minutes to compare", k)
		}
		if !reflect.DeepEqual(w.Minutes, g.Minutes) {
			t.Errorf("%s: minutes differ: %d, undisturbed %d", k, len(g.Minutes), len(w.Minutes))
			for i := range min(len(w.Minutes), len(g.Minutes)) {
				if !reflect.DeepEqual(w.Minutes[i], g.Minutes[i]) {
					t.Logf("minute %d\n got  %+v\n want %+v", i, g.Minutes[i], w.Minutes[i])
					break
				}
			}
		}
		if !reflect.DeepEqual(w.Intervals, g.Intervals) {
			t.Errorf("%s: states differ\n got  %v\n want %v", k, g.Intervals, w.Intervals)
		}
		if !reflect.DeepEqual(w.Transitions, g.Transitions) {
			t.Errorf("%s: transitions differ\n got  %v\n want %v", k, g.Transitions, w.Transitions)
		}
		if !reflect.DeepEqual(w.Figures, g.Figures) {
			t.Errorf("%s: hourly figures differ\n got  %v\n want %v", k, g.Figures, w.Figures)
		}
	}
}

// settle waits until everything that the broker had is concluded and stored.
func settle(t testing.TB, a *App) {
	t.Helper()
	quiet := 0
	var before int64
	for until := time.Now().Add(patience); quiet < 10; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatalf("does not settle; ready: %v", a.Ready())
		}
		done := a.batch.Figures().Queue == 0
		for n, p := range a.parts {
			last, _, err := a.samples.Last(t.Context(), n) // fails while the log restarts
			p.mu.Lock()
			done = done && err == nil && p.committed >= last
			p.mu.Unlock()
		}
		now := a.received().Received
		if quiet++; !done || now != before {
			quiet, before = 0, now
		}
	}
}

// begun is the time at which the recordings are played in the tests that compare with an
// undisturbed run: that is made once.
var begun = minuteBegun()

var calm struct {
	once sync.Once
	got  map[station.Key]conclusions
}

// undisturbed gives what the recordings lead to, played at begun, when nothing goes wrong.
func undisturbed(t testing.TB) map[station.Key]conclusions {
	t.Helper()
	calm.once.Do(func() {
		broker := peers.Mosquitto(t)
		o := plant(t, broker.Addr)
		a, stop := running(t, o)
		play(t, broker.Addr, begun, 0)
		settle(t, a)
		stop()
		calm.got = concluded(t, o)
	})
	if calm.got == nil {
		t.Fatal("the undisturbed run failed")
	}
	return calm.got
}
