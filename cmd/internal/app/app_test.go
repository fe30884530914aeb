package app

import (
	"bufio"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/collector/samplelog"
	"strokewise/collector/topic"
	"strokewise/deploy/peers"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// options gives those of a run with the given stations on a broker.
func options(t testing.TB, addr string, ids ...string) Options {
	t.Helper()
	o := Options{Data: t.TempDir(), MaxBytes: 1e9, Keep: time.Hour, Listen: "127.0.0.1:0",
		MQTT: mqtt.Options{Brokers: []string{"tcp://" + addr}, ClientID: "test"}}
	for _, s := range []string{"boost/{site}/{station}/{channel}", "boost/{site}/{station}"} {
		p, err := topic.Compile(s)
		if err != nil {
			t.Fatal(err)
		}
		o.Intake.Routes = append(o.Intake.Routes, intake.Route{Pattern: p})
	}
	for _, id := range ids {
		o.Stations = append(o.Stations, Station{Plate: station.Plate{Key: station.Key{Site: playback.Site, Station: id}}, Revision: "1"})
	}
	return o
}

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

// running starts an app and gives it with the function that stops it.
func running(t testing.TB, o Options) (*App, func()) {
	t.Helper()
	a, err := New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return a, start(t, a)
}

// start runs an app that is open and gives the function that stops and closes it.
func start(t testing.TB, a *App) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	for until := time.Now().Add(patience); a.Ready() != nil; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatalf("not ready: %v", a.Ready())
		}
	}
	return func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("run ended with %v", err)
		}
		a.Close()
	}
}

// series is a recording of one channel.
type series struct {
	id     string
	times  []station.Instant
	values []string // as they stand in the recording
}

// datasets reads pressure columns of the open recordings (their README has the sources); times
// start an hour ago.
func datasets(t *testing.T) []series {
	root := filepath.Join("..", "..", "..", "analyzer", "signal", "testdata", "open")
	start := station.InstantOf(time.Now().Add(-time.Hour)).Floor(station.Second)
	var out []series
	for _, c := range []struct {
		path, sep string
		skip, col int
		rate      float64
	}{
		{"self-cycling-pneumatic/first_test.csv.gz", ",", 2, 0, 133},
		{"self-cycling-pneumatic/low_rate.csv.gz", ",", 2, 0, 100},
		{"double-acting-actuator/Circle_5bar.csv.gz", "\t", 0, 5, 100},
		{"chamber-decay/aluminium.csv", ";", 0, 2, 10},
	} {
		f, err := os.Open(filepath.Join(root, filepath.FromSlash(c.path)))
		if err != nil {
			t.Fatal(err)
		}
		var r io.Reader = f
		if strings.HasSuffix(c.path, ".gz") {
			if r, err = gzip.NewReader(f); err != nil {
				t.Fatal(err)
			}
		}
		s := series{id: fmt.Sprintf("set-%d", len(out))}
		sc := bufio.NewScanner(r)
		for n := 0; sc.Scan(); n++ {
			if n < c.skip || sc.Text() == "" {
				continue
			}
			at := start.Add(int64(float64(len(s.values))*1e6/c.rate) * station.Microsecond)
			s.times, s.values = append(s.times, at), append(s.values, strings.TrimSpace(strings.Split(sc.Text(), c.sep)[c.col]))
		}
		f.Close()
		out = append(out, s)
	}
	return out
}

// The open recordings, published through Mosquitto in blocks, stand in the sample log
// sample for sample: every time and every bit of every value.
func TestRecordingsArriveSampleForSample(t *testing.T) {
	sets := datasets(t)
	broker := peers.Mosquitto(t)
	var ids []string
	for _, s := range sets {
		ids = append(ids, s.id)
	}
	a, stop := running(t, options(t, broker.Addr, ids...))
	defer stop()
	pub, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	for _, s := range sets {
		for from := 0; from < len(s.values); from += 250 {
			to := min(from+250, len(s.values))
			var ts []string
			for _, at := range s.times[from:to] {
				ts = append(ts, fmt.Sprintf("%d.%06d", int64(at)/1e9, int64(at)%1e9/1e3))
			}
			msg := `{"t":[` + strings.Join(ts, ",") + `],"v":[` + strings.Join(s.values[from:to], ",") + `]}`
			if err := pub.Publish(t.Context(), "boost/"+playback.Site+"/"+s.id+"/outlet_pressure", []byte(msg)); err != nil {
				t.Fatal(err)
			}
		}
	}
	total := 0
	for _, s := range sets {
		total += len(s.values)
		got := logged(t, a, station.Key{Site: playback.Site, Station: s.id}, len(s.values))
		for i, v := range s.values {
			x, err := strconv.ParseFloat(v, 64)
			if err != nil {
				t.Fatal(err)
			}
			if got.Times[i] != s.times[i] || got.Values[i] != x*1e3 {
				t.Fatalf("%s: sample %d is %v at %s, sent %v at %s", s.id, i, got.Values[i], got.Times[i], x*1e3, s.times[i])
			}
		}
	}
	t.Logf("%d samples of %d recordings", total, len(sets))
}

var errEnough = errors.New("enough")

// logged reads the first n samples of a station's outlet from the sample log.
func logged(t *testing.T, a *App, k station.Key, n int) station.Block {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	var out station.Block
	err := a.samples.Read(ctx, k.Partition(), 0, func(e samplelog.Entry) error {
		for _, r := range e.Records {
			if r.Key != k {
				continue
			}
			for _, b := range r.Blocks {
				for i, v := range b.Values {
					out.Times, out.Values = append(out.Times, b.At(i)), append(out.Values, v)
				}
			}
		}
		if len(out.Values) >= n {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) || len(out.Values) != n {
		t.Fatalf("%s: %d of %d samples in the log: %v", k, len(out.Values), n, err)
	}
	return out
}

// A log folder that was replaced under a history is told, not gone on from: its new
// positions would be taken for stored ones.
func TestALogThatDoesNotBelongToTheHistoryIsRefused(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4")
	o.Every = Intervals{Commit: 10 * time.Millisecond, Tick: 20 * time.Millisecond}
	a, stop := running(t, o)
	for a.parts[station.Key{Site: playback.Site, Station: "press-4"}.Partition()].at() < 5 {
		time.Sleep(5 * time.Millisecond)
	}
	stop()
	if err := os.RemoveAll(filepath.Join(o.Data, "log")); err != nil {
		t.Fatal(err)
	}
	b, err := New(t.Context(), o)
	if err == nil {
		b.Close()
		t.Fatal("it started")
	}
	if !strings.Contains(err.Error(), "Restore log and history together") {
		t.Error(err)
	}
}

func waitFor(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatal("waited in vain for " + what)
		}
	}
}
