package influx

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

const t0 = station.Instant(1767225600 * station.Second)

var press = station.Key{Site: "northdock", Station: "press-4"}

// request is what the fake server saw.
type request struct {
	at     time.Time
	header http.Header
	query  string
	lines  []string
}

// fake is a server in memory. It keeps points as the real ones do: the same measurement,
// tags and time are the same point.
type fake struct {
	*httptest.Server
	// answers decides on a request; nil, or 0 from it, means that all is taken.
	answers func(w http.ResponseWriter, r *request) (done bool)

	mu       sync.Mutex
	requests []request
	points   map[string]string // fields by measurement, tags and time
}

func newFake(t testing.TB, answers func(w http.ResponseWriter, r *request) bool) *fake {
	f := &fake{answers: answers, points: map[string]string{}}
	f.Server = httptest.NewServer(f)
	t.Cleanup(f.Close)
	return f
}

func (f *fake) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	r := request{at: time.Now(), header: req.Header, query: req.URL.Path + "?" + req.URL.RawQuery}
	z, err := gzip.NewReader(req.Body)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	body, err := io.ReadAll(z)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	r.lines = strings.Split(strings.TrimSuffix(string(body), "\n"), "\n")
	f.mu.Lock()
	f.requests = append(f.requests, r)
	f.mu.Unlock()
	if f.answers != nil && f.answers(w, &r) {
		return
	}
	f.keep(r.lines...)
	w.WriteHeader(http.StatusNoContent)
}

// keep stores points.
func (f *fake) keep(lines ...string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, l := range lines {
		i := strings.Index(strings.ReplaceAll(l, `\ `, "__"), " ")
		j := strings.LastIndex(l, " ")
		f.points[l[:i]+l[j:]] = l[i:j]
	}
}

func (f *fake) stored() map[string]string {
	f.mu.Lock()
	defer f.mu.Unlock()
	out := make(map[string]string, len(f.points))
	for k, v := range f.points {
		out[k] = v
	}
	return out
}

func (f *fake) seen() []request {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]request(nil), f.requests...)
}

// hourFigure gives a figure of the first hour.
func hourFigure(f station.Figure, v float64) station.HourFigure {
	return station.HourFigure{Hour: t0, Figure: f, Estimate: station.Estimate{Value: v, Low: 0.9 * v, High: 1.1 * v,
		Method: station.MethodTraces, Confidence: 0.8, At: t0.Add(50 * station.Minute60)}}
}

// minute makes a minute with every figure known, n minutes after t0.
func minute(n int) station.Minute {
	m := station.Minute{
		Start: t0.Add(int64(n) * station.Minute60), Covered: 60e9, Strokes: int64(60 + n), StrokeMethod: station.MethodBoth,
		Inlet: 50e6, Exhaust: 30e6, Delivered: 20e6, InletLow: 44e6, InletHigh: 56e6, DeliveredLow: 19e6, DeliveredHigh: 21e6,
		InletMean: 594e3, OutletMean: 880.25e3, OutletMax: 900e3,
		Leak: station.Estimate{Value: 1e-3, Low: 9e-4, High: 11e-4, Method: station.MethodDecay, Confidence: 0.8, At: t0},
	}
	m.StateNs[station.Stroking], m.StateNs[station.Holding] = 40e9, 20e9
	return m
}

// unheard makes a minute of which nothing is known.
func unheard(n int) station.Minute {
	nan := station.Gauge(math.NaN())
	m := station.Minute{Start: t0.Add(int64(n) * station.Minute60), AirReason: "no samples", InletMean: nan, OutletMean: nan, OutletMax: nan,
		Leak: station.Unknown("no samples")}
	m.StateNs[station.Blind] = 60e9
	return m
}

func alarm(n int, to rules.AlarmState) rules.Transition {
	return rules.Transition{Key: press, Branch: "forming", Alarm: rules.OutletLeak, Priority: rules.Medium, From: rules.Normal, To: to,
		At: t0.Add(int64(n) * station.Second), Raised: t0.Add(int64(n) * station.Second), Message: `leak of "1 L/min"`}
}

func openStore(t testing.TB, path string) *history.Store {
	t.Helper()
	s, err := history.Open(path, history.Options{Exporters: []string{Name}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// filled gives a store with n minutes, and its path.
func filled(t testing.TB, n int) *history.Store {
	t.Helper()
	s := openStore(t, filepath.Join(t.TempDir(), "history.db"))
	var ms []station.Minute
	for i := range n {
		ms = append(ms, minute(i))
	}
	commit(t, s, 1, ms)
	return s
}

func commit(t testing.TB, s *history.Store, position uint64, ms []station.Minute, ts ...rules.Transition) {
	t.Helper()
	c := history.Commit{Partition: 5, Position: position, Transitions: ts, Stations: []history.StationMinutes{{Key: press, Revision: 1, Minutes: ms}}}
	if err := s.Commit(t.Context(), []history.Commit{c}); err != nil {
		t.Fatal(err)
	}
}

// quick has short waits. A server of a test answers late only because the machine is busy, so a
// request has time.
var quick = Pace{Look: 5 * time.Millisecond, First: 10 * time.Millisecond, Most: 40 * time.Millisecond, Timeout: never}

const (
	patience = 5 * time.Minute // for what must happen, on a machine however busy
	never    = time.Hour       // longer than any test
)

func options(url string) Options {
	return Options{URL: url, Org: "plant", Bucket: "boost/autogen", Keep: 7 * 24 * time.Hour, Pace: quick,
		Branches: map[station.Key]string{press: "forming"}}
}

// said is what an exporter logged.
type said struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *said) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(b)
}

func (s *said) count(text string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Count(s.b.String(), text)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// running starts an exporter until the test's end; stop ends it before.
func running(t testing.TB, q Queue, o Options) (e *Exporter, log *said, stop func()) {
	t.Helper()
	log = &said{}
	e, err := New(q, o, slog.New(slog.NewTextHandler(log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); e.Run(ctx) }()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return e, log, stop
}

func pending(t testing.TB, s *history.Store) int64 {
	t.Helper()
	p, err := s.ExportPending(context.Background(), Name)
	if err != nil {
		t.Fatal(err)
	}
	return p.Rows
}

// drained waits until nothing is left to export.
func drained(t testing.TB, s *history.Store) {
	t.Helper()
	await(t, "an empty queue", func() bool { return pending(t, s) == 0 })
}

func await(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatal("waited in vain for " + what)
		}
	}
}

// promptly runs what must not wait for never.
func promptly(t testing.TB, what string, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() { defer close(done); f() }()
	select {
	case <-done:
	case <-time.After(patience):
		t.Fatal("waited in vain for " + what)
	}
}

// say answers with a status and a text.
func say(w http.ResponseWriter, status int, text string) bool {
	w.WriteHeader(status)
	fmt.Fprint(w, text)
	return true
}
