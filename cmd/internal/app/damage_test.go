package app

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
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
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
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
		var err [3]error
		c.Minutes, err[0] = s.Minutes(t.Context(), k, 0, 1<<62)
		c.Intervals, err[1] = s.Intervals(t.Context(), k, 0, 1<<62)
		c.Transitions, err[2] = s.Transitions(t.Context(), k, 0, 1<<62)
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
	}
}

// settle waits until everything that the broker had is concluded and stored.
func settle(t testing.TB, a *App) {
	t.Helper()
	quiet := 0
	var before int64
	for until := time.Now().Add(90 * time.Second); quiet < 10; time.Sleep(50 * time.Millisecond) {
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
		now := a.source.Figures().Received
		if quiet++; !done || now != before {
			quiet, before = 0, now
		}
	}
}

// undisturbed gives what the recordings lead to when nothing goes wrong.
func undisturbed(t testing.TB, from time.Time) map[station.Key]conclusions {
	t.Helper()
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	a, stop := running(t, o)
	play(t, broker.Addr, from, 0)
	settle(t, a)
	stop()
	return concluded(t, o)
}

// A snapshot whose bytes were changed on the disk is noticed by its checksum, said, and
// rebuilt from the log; the conclusions are those of an undisturbed run.
func TestADamagedSnapshotIsRebuiltFromTheLog(t *testing.T) {
	from := minuteBegun()
	want := undisturbed(t, from)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	_, stop := running(t, o)
	played := playing(t, broker.Addr, from, 4*time.Millisecond)
	time.Sleep(time.Second)
	stop() // writes snapshots
	n := execute(t, o, `UPDATE snapshots SET blob = CAST(substr(blob, 1, length(blob)/2) || X'00' || substr(blob, length(blob)/2 + 2) AS BLOB)`)
	var log said
	o.Logger = log.logger()
	a, stop := running(t, o)
	played()
	settle(t, a)
	stop()
	if k := strings.Count(log.String(), "checksum does not match"); int64(k) != n || n == 0 {
		t.Errorf("%d damaged snapshots, %d said:\n%s", n, k, log.String())
	}
	same(t, want, concluded(t, o))
}

// block gives the newest block file of the sample log.
func block(t testing.TB, o Options) string {
	t.Helper()
	f, err := filepath.Glob(filepath.Join(o.Data, "log", "stream", "jetstream", "$G", "streams", "SAMPLES", "msgs", "*.blk"))
	if err != nil || len(f) == 0 {
		t.Fatal(f, err)
	}
	slices.Sort(f)
	return f[len(f)-1]
}

// A log that lost its end, as after a power cut: it goes on behind it and says so. What
// was concluded before stays, nothing is counted twice, and what comes then is concluded.
func TestALogThatLostItsEndGoesOn(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	twice(t, o, broker.Addr, lostFrom, func() {})
	want := concluded(t, o)
	for name, lose := range map[string]func(t *testing.T, path string){
		"truncated": func(t *testing.T, path string) {
			i, err := os.Stat(path)
			if err == nil {
				err = os.Truncate(path, i.Size()*9/10)
			}
			if err != nil {
				t.Fatal(err)
			}
		},
		"last record changed": func(t *testing.T, path string) {
			b, err := os.ReadFile(path)
			if err == nil {
				b[len(b)-40] ^= 0xff
				err = os.WriteFile(path, b, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
		},
	} {
		for _, index := range []bool{true, false} { // after a clean end; after a kill
			for _, snapshots := range []bool{true, false} {
				if index && !snapshots {
					continue
				}
				t.Run(fmt.Sprintf("%s, index %v, snapshots %v", name, index, snapshots), func(t *testing.T) {
					lostEnd(t, want, lose, index, snapshots)
				})
			}
		}
	}
}

// twice plays the recordings two times, half an hour apart, with a restart between them
// before which meddle may do what it likes.
func twice(t *testing.T, o Options, addr string, from time.Time, meddle func()) {
	t.Helper()
	for i := range 2 {
		a, stop := running(t, o)
		play(t, addr, from.Add(time.Duration(i)*30*time.Minute), 0)
		settle(t, a)
		stop()
		if i == 0 {
			meddle()
		}
	}
}

// lostFrom begins in a minute's middle, two rounds of the recordings ago.
var lostFrom = minuteBegun().Add(-40 * time.Minute)

func lostEnd(t *testing.T, want map[station.Key]conclusions, lose func(*testing.T, string), index, snapshots bool) {
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	var log said
	o.Logger = log.logger()
	var first map[station.Key]conclusions
	twice(t, o, broker.Addr, lostFrom, func() {
		first = concluded(t, o)
		path := block(t, o)
		lose(t, path)
		if !index {
			if err := os.Remove(filepath.Join(filepath.Dir(path), "index.db")); err != nil {
				t.Fatal(err)
			}
		}
		if !snapshots {
			execute(t, o, `DELETE FROM snapshots`)
		}
	})
	for _, l := range strings.Split(log.String(), "\n") {
		if strings.Contains(l, "level=ERROR") {
			t.Log(l)
		}
	}
	if text := log.String(); !strings.Contains(text, "lost its newest entries") && !strings.Contains(text, "files are damaged") {
		t.Errorf("nothing is said of the damage:\n%s", text)
	}
	got := concluded(t, o)
	if snapshots { // they hold what was in the lost entries
		same(t, want, got)
		return
	}
	compared := 0
	for k, c := range got {
		n, w := len(first[k].Minutes), want[k].Minutes
		if len(c.Minutes) < n || !reflect.DeepEqual(c.Minutes[:n], first[k].Minutes) {
			t.Errorf("%s: minutes that were stored have changed", k)
			continue
		}
		// the second round is whole, but for its first minute: what was standing before it is not known
		again := func(m station.Minute) bool { return m.Start < station.InstantOf(lostFrom.Add(31*time.Minute)) }
		second, wanted := slices.DeleteFunc(slices.Clone(c.Minutes), again), slices.DeleteFunc(slices.Clone(w), again)
		if compared += len(second); len(second) != len(wanted) {
			t.Errorf("%s: %d minutes of the second round, undisturbed %d", k, len(second), len(wanted))
			continue
		}
		for i := range wanted {
			if d := second[i].Strokes - wanted[i].Strokes; d < -1 || d > 1 {
				t.Errorf("%s: %d strokes in minute %s, undisturbed %d", k, second[i].Strokes, second[i].Start, wanted[i].Strokes)
			}
		}
	}
	if compared < 10 {
		t.Errorf("only %d minutes were compared", compared)
	}
}

// execute changes the history of a run that has ended.
func execute(t *testing.T, o Options, query string) int64 {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(o.Data, "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r, err := db.Exec(query)
	if err != nil {
		t.Fatal(err)
	}
	n, _ := r.RowsAffected()
	return n
}
