package influx

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// Each of these servers misbehaves for a while and then works: nothing is lost, nothing is
// given up, and the fault is told once.
func TestFaultsLoseNothing(t *testing.T) {
	for _, c := range []struct {
		name  string
		fault func(w http.ResponseWriter) bool
		told  string
	}{
		{"500", func(w http.ResponseWriter) bool { return say(w, 500, "out of order") }, "500 Internal Server Error"},
		{"503", func(w http.ResponseWriter) bool { return say(w, 503, "") }, "503 Service Unavailable"},
		{"401", func(w http.ResponseWriter) bool { return say(w, 401, `{"code":"unauthorized","message":"no"}`) }, "check that token_file"},
		{"404", func(w http.ResponseWriter) bool {
			return say(w, 404, `{"code":"not found","message":"bucket not found"}`)
		}, "the bucket must exist"},
		{"400 for the request", func(w http.ResponseWriter) bool { return say(w, 400, `{"message":"bad org"}`) }, "takes no point at all"},
		{"login page", func(w http.ResponseWriter) bool { return say(w, 200, "<html>log in</html>") }, "as no InfluxDB does"},
		{"redirect", func(w http.ResponseWriter) bool {
			w.Header().Set("Location", "/login")
			return say(w, 302, "")
		}, "302 Found"},
		{"JSON that is none", func(w http.ResponseWriter) bool {
			w.Header().Set("Content-Type", "application/json")
			return say(w, 502, `{"code":`)
		}, "502 Bad Gateway"},
		{"JSON that lies about the status", func(w http.ResponseWriter) bool {
			w.Header().Set("Content-Type", "application/json")
			return say(w, 500, `{"StatusCode":204,"code":"x","message":"y","RetryAfter":4000}`)
		}, "500 Internal Server Error"},
		{"end without an answer", func(w http.ResponseWriter) bool { panic(http.ErrAbortHandler) }, "cannot reach server"},
		{"no HTTP", func(w http.ResponseWriter) bool {
			c, b, err := w.(http.Hijacker).Hijack()
			if err == nil {
				b.WriteString("\x00\x01garbage\n\n")
				b.Flush()
				c.Close()
			}
			return true
		}, "cannot reach server"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var sick atomic.Bool
			sick.Store(true)
			f := newFake(t, func(w http.ResponseWriter, _ *request) bool { return sick.Load() && c.fault(w) })
			s := filled(t, 7)
			e, log, _ := running(t, s, options(f.URL))
			await(t, "four failures", func() bool { return e.Figures().Failed >= 4 && log.count("cannot export") > 0 })
			if n := pending(t, s); n != 7 {
				t.Errorf("%d wait", n)
			}
			sick.Store(false)
			await(t, "the end of the fault in the log", func() bool { return log.count("the export goes on") == 1 }) // the last step of a round
			got := e.Figures()
			if len(f.stored()) != 7 || got.Points != 7 || got.Dropped[refusedReason] != 0 || pending(t, s) != 0 {
				t.Errorf("%d stored, figures %+v", len(f.stored()), got)
			}
			if log.count("cannot export") != 1 || log.count(c.told) == 0 {
				t.Errorf("log, expected %q:\n%s", c.told, log)
			}
		})
	}
}

// A server that is not there at first, and one that stops answering.
func TestServerComesAndGoes(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	s := filled(t, 3)
	e, log, _ := running(t, s, options("http://"+addr))
	await(t, "failures", func() bool { return e.Figures().Failed >= 3 })
	if l, err = net.Listen("tcp", addr); err != nil {
		t.Fatal(err)
	}
	f := &fake{points: map[string]string{}}
	srv := &http.Server{Handler: f}
	go srv.Serve(l)
	defer srv.Close()
	drained(t, s)
	if len(f.stored()) != 3 || log.count("cannot export") != 1 {
		t.Errorf("%d stored, log:\n%s", len(f.stored()), log)
	}
}

func TestSlowServerIsLeftAndTriedAgain(t *testing.T) {
	quicken := make(chan struct{})
	f := newFake(t, func(_ http.ResponseWriter, r *request) bool {
		<-quicken
		return false
	})
	s := filled(t, 3)
	o := options(f.URL)
	o.Pace.Timeout = 50 * time.Millisecond
	e, _, _ := running(t, s, o)
	await(t, "timeouts", func() bool { return e.Figures().Failed >= 2 })
	close(quicken)
	drained(t, s)
	if len(f.stored()) != 3 {
		t.Errorf("%d stored", len(f.stored()))
	}
}

// An answer without end is not read to its end.
func TestEndlessAnswerIsCutOff(t *testing.T) {
	var n atomic.Int64
	f := newFake(t, func(w http.ResponseWriter, _ *request) bool {
		if n.Add(1) > 1 {
			return false
		}
		w.WriteHeader(500)
		for {
			if _, err := io.WriteString(w, strings.Repeat("x", 1<<16)); err != nil {
				return true
			}
		}
	})
	s := filled(t, 1)
	running(t, s, options(f.URL))
	drained(t, s) // waits for less than the timeout of a request
}

func TestBusyServerIsLeftAloneAsLongAsItSays(t *testing.T) {
	for _, status := range []int{http.StatusTooManyRequests, http.StatusServiceUnavailable} {
		var n atomic.Int64
		f := newFake(t, func(w http.ResponseWriter, _ *request) bool {
			if n.Add(1) > 1 {
				return false
			}
			w.Header().Set("Retry-After", "1")
			return say(w, status, "")
		})
		s := filled(t, 3)
		_, log, _ := running(t, s, options(f.URL))
		drained(t, s)
		if r := f.seen(); len(r) != 2 || r[1].at.Sub(r[0].at) < time.Second || log.count("next=1s") != 1 {
			t.Errorf("%d: %d requests, %v between, log:\n%s", status, len(r), r[len(r)-1].at.Sub(r[0].at), log)
		}
	}
}

// A token that was renewed in its file is read after the old one was refused.
func TestRenewedTokenIsRead(t *testing.T) {
	var token atomic.Value
	token.Store("old")
	f := newFake(t, func(w http.ResponseWriter, r *request) bool {
		return r.header.Get("Authorization") != "Token new" && say(w, 401, "")
	})
	s := filled(t, 3)
	o := options(f.URL)
	o.Token = func() (string, error) { return token.Load().(string), nil }
	e, log, _ := running(t, s, o)
	await(t, "refusals", func() bool { return e.Figures().Failed >= 3 })
	token.Store("new")
	drained(t, s)
	if strings.Contains(log.String(), "Token") || log.count("cannot export") != 1 {
		t.Errorf("log:\n%s", log)
	}
}

// A dead server costs what is older than the bound and no more; it is counted and logged.
func TestDeadServerForfeitsAfterTheBound(t *testing.T) {
	var dead atomic.Bool
	dead.Store(true)
	began := time.Now()
	f := newFake(t, func(w http.ResponseWriter, _ *request) bool { return dead.Load() && say(w, 500, "") })
	s := filled(t, 5)
	o := options(f.URL)
	o.Keep = never
	q := &ageing{Queue: s}
	e, log, _ := running(t, q, o)
	await(t, "three looks for old rows", func() bool { return q.looks.Load() >= 3 })
	if n := e.Figures().Dropped[expiredReason]; n != 0 {
		t.Fatalf("%d forfeited before the bound", n)
	}
	if before := *q.before.Load(); before.Before(began.Add(-o.Keep)) || before.After(time.Now().Add(-o.Keep)) {
		t.Errorf("rows queued before %v are too old, with a bound of %v at %v", before, o.Keep, began)
	}
	q.age.Store(int64(2 * o.Keep))
	await(t, "the bound", func() bool { return e.Figures().Dropped[expiredReason] == 5 })
	commit(t, s, 2, []station.Minute{minute(100), minute(101)})
	dead.Store(false)
	drained(t, s)
	if len(f.stored()) != 2 || log.count("given up") != 1 || log.count("rows=5") != 1 {
		t.Errorf("%d stored, log:\n%s", len(f.stored()), log)
	}
}

// ageing is a queue whose rows can be made older, once.
type ageing struct {
	Queue
	looks  atomic.Int64
	before atomic.Pointer[time.Time] // asked for last
	age    atomic.Int64              // that the rows gain at the next look
}

func (q *ageing) ExportForfeit(ctx context.Context, exporter string, before time.Time) (int64, error) {
	q.before.Store(&before)
	q.looks.Add(1)
	return q.Queue.ExportForfeit(ctx, exporter, before.Add(time.Duration(q.age.Swap(0))))
}

// What could not be noted as done is sent again, and overwrites itself.
func TestFaultyQueueDoesNotStopTheExport(t *testing.T) {
	f := newFake(t, nil)
	s := filled(t, 3)
	e, log, stop := running(t, &faulty{Queue: s, left: 3}, options(f.URL))
	drained(t, s)
	stop()
	if len(f.stored()) != 3 || e.Figures().Points != 3 || log.count("disk on fire") == 0 {
		t.Errorf("%d stored, %+v, log:\n%s", len(f.stored()), e.Figures(), log)
	}
}

// faulty is a queue that cannot note what was done, for a while.
type faulty struct {
	Queue
	left int
}

func (q *faulty) ExportDone(ctx context.Context, exporter string, upTo int64) error {
	if q.left--; q.left >= 0 {
		return errors.New("disk on fire")
	}
	return q.Queue.ExportDone(ctx, exporter, upTo)
}

// Waits grow, are scattered, and end at once when the context does.
func TestNoBusyLoopAndAPromptEnd(t *testing.T) {
	f := newFake(t, func(w http.ResponseWriter, _ *request) bool { return say(w, 500, "") })
	s := filled(t, 3)
	o := options(f.URL)
	o.Pace = Pace{First: 50 * time.Millisecond}
	_, _, stop := running(t, s, o)
	await(t, "five requests", func() bool { return len(f.seen()) >= 5 })
	stop()
	for i, least := range []time.Duration{25, 50, 100, 200} { // half of a wait that doubles; the other half is chance
		if r := f.seen(); r[i+1].at.Sub(r[i].at) < least*time.Millisecond {
			t.Errorf("%v between requests %d and %d", r[i+1].at.Sub(r[i].at), i, i+1)
		}
	}
	o.Pace = Pace{First: never, Most: never}
	e, _, stop := running(t, s, o)
	await(t, "a failure", func() bool { return e.Figures().Failed == 1 })
	promptly(t, "the end of a wait", stop)
	usual := Pace{}
	usual.fill()
	for n := range 100 {
		if d := backoff(usual, n); d < 500*time.Millisecond || d > time.Minute || n > 6 && d < 30*time.Second {
			t.Errorf("wait %v after %d failures", d, n)
		}
	}
}

// The end does not wait for a server that does not answer.
func TestPromptEndInTheMiddleOfARequest(t *testing.T) {
	release := make(chan struct{})
	f := newFake(t, func(http.ResponseWriter, *request) bool { <-release; return true })
	defer close(release)
	s := filled(t, 3)
	_, log, stop := running(t, s, options(f.URL))
	await(t, "a request", func() bool { return len(f.seen()) == 1 })
	promptly(t, "the end of a request", stop)
	if log.String() != "" {
		t.Errorf("log:\n%s", log)
	}
}

func TestRetryAfter(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for v, want := range map[string]time.Duration{"": 0, "7": 7 * time.Second, "-3": 0, "soon": 0, "999999999": time.Hour,
		"Mon, 02 Mar 2026 12:00:30 GMT": 30 * time.Second, "Mon, 02 Mar 2026 11:00:00 GMT": 0} {
		if got := retryAfter(v, now); got != want {
			t.Errorf("%q gives %v", v, got)
		}
	}
}

// Only a server with a certificate of the named authority is spoken to.
func TestCertificateIsChecked(t *testing.T) {
	f := &fake{points: map[string]string{}}
	srv := httptest.NewUnstartedServer(f)
	srv.Config.ErrorLog = log.New(io.Discard, "", 0) // the handshake that fails
	srv.StartTLS()
	defer srv.Close()
	s := filled(t, 3)
	o := options(srv.URL)
	e, said, stop := running(t, s, o)
	await(t, "a failure", func() bool { return e.Figures().Failed > 0 })
	stop()
	if len(f.seen()) != 0 || said.count("certificate") == 0 {
		t.Errorf("%d requests, log:\n%s", len(f.seen()), said)
	}
	o.TLS = &tls.Config{RootCAs: x509.NewCertPool()}
	o.TLS.RootCAs.AddCert(srv.Certificate())
	_, _, stop = running(t, s, o)
	drained(t, s)
	stop()
	if len(f.stored()) != 3 {
		t.Errorf("%d stored", len(f.stored()))
	}
}
