package app

import (
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/dashboards/influx"
	"strokewise/deploy/peers"
	"strokewise/rules/notify/egress"
)

// Pages and metrics answer 503 while we may not speak, readiness says why, and an answer that is half
// written ends.
func TestServesOnlyWhileItSpeaks(t *testing.T) {
	var err error
	half := func(w http.ResponseWriter, r *http.Request) {
		io.WriteString(w, "half")
		if r.URL.Path == "/events" {
			err = samplelog.ErrDoubt
		}
		if _, e := io.WriteString(w, " whole"); (e != nil) != (err != nil && r.URL.Path == "/events") {
			t.Errorf("%s: writing on gives %v", r.URL.Path, e)
		}
	}
	h := onlyLive(http.HandlerFunc(half), func() error { return err })
	get := func(path string) (int, string) {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		return w.Code, w.Body.String()
	}
	if code, body := get("/"); code != http.StatusOK || body != "half whole" {
		t.Errorf("%d %q", code, body)
	}
	if _, body := get("/events"); body != "half" {
		t.Errorf("a stream goes on: %q", body)
	}
	for path, want := range map[string]int{"/": 503, "/metrics": 503, "/station/a/b": 503, "/readyz": 200, "/healthz": 200} {
		if code, body := get(path); code != want {
			t.Errorf("%s: %d %q", path, code, body)
		}
	}
}

// A connection carries nothing once we may not speak: not what was about to be written, not a farewell.
func TestConnectionsFallSilent(t *testing.T) {
	near, far := net.Pipe()
	defer far.Close()
	var err error
	c := spoken{near, func() error { return err }}
	go c.Write([]byte("a"))
	if n, e := far.Read(make([]byte, 9)); n != 1 || e != nil {
		t.Fatal(n, e)
	}
	err = samplelog.ErrLease
	if n, e := c.Write([]byte("b")); n != 0 || !errors.Is(e, samplelog.ErrLease) {
		t.Errorf("%d bytes were written: %v", n, e)
	}
}

// The export goes to no address beside those that receivers may have.
func TestTheExportStaysWhereReceiversMayBe(t *testing.T) {
	j, err := samplelog.Open(t.Context(), samplelog.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	for list, says := range map[string]string{"127.0.0.0/8": "", "10.20.0.0/16": "leads to 127.0.0.1"} { // RFC 1122, RFC 1918
		a := &App{opt: Options{Influx: &influx.Options{}, Reach: Reach{Addresses: egress.Addresses{netip.MustParsePrefix(list)}}}, samples: j}
		c, err := a.exportOptions().Dial(t.Context(), "tcp", l.Addr().String())
		if says == "" && err != nil || says != "" && (err == nil || !strings.Contains(err.Error(), says)) {
			t.Errorf("%s: %v, want %q", list, err, says)
		}
		if err == nil {
			c.Close()
		}
	}
}

// A record counts for its own log alone, and one of a newer program is refused, not passed over.
func TestRecordsOfWhatWasTold(t *testing.T) {
	const text = `{"version":1,"log":"A","positions":[7],"pending":[{"receiver":"b","site":"s","station":"t","alarm":"x","since":5},{"receiver":"a","site":"s","station":"t","alarm":"x","since":9}]}`
	r, err := parseTold([]byte(text), "A")
	if err != nil || r.Positions[0] != 7 || r.Pending[0].Receiver != "a" {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err := parseTold([]byte(text), "B"); r != nil || err != nil {
		t.Errorf("of another log: %+v, %v", r, err)
	}
	for _, bad := range []string{`{"version":2,"log":"A"}`, "{", "null x"} {
		if r, err := parseTold([]byte(bad), "A"); err == nil {
			t.Errorf("%s gives %+v", bad, r)
		}
	}
}

func FuzzRecordOfWhatWasTold(f *testing.F) {
	f.Add([]byte(`{"version":1,"log":"A","positions":[7],"headers":[{"site":"s","station":"header:main","at":5}],"pending":[{"receiver":"b","site":"s","station":"t","alarm":"x","since":5}]}`))
	f.Add([]byte("{}"))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := parseTold(text, "A")
		if err != nil || r == nil {
			return
		}
		for _, p := range r.Pending {
			if p.Receiver == "" {
				continue
			}
			var x history.OutboxItem
			x.Transition.Key.Site, x.Transition.Key.Station, x.Transition.Alarm, x.Transition.At = p.Site, p.Station, p.Alarm, 1<<62
			if p.Since <= x.Transition.At && len(r.Pending) == 1 && r.Heard(p.Receiver, &x.Transition) {
				t.Errorf("%+v is told, and %s waits for it", x.Transition, p.Receiver)
			}
		}
	})
}

// The log's server is away for longer than the lease: nothing is served or stored meanwhile, readiness names
// the lease, and all goes on by itself afterwards, in the same process.
func TestInDoubtNothingIsServed(t *testing.T) {
	broker := peers.Mosquitto(t)
	dir, port := t.TempDir(), peers.Port(t)
	s := logServer(t, dir, port)
	defer func() { s.Shutdown(); s.WaitForShutdown() }()
	o := plant(t, broker.Addr)
	o.LogURL, o.LeaseTTL = s.ClientURL(), 2*time.Second
	a, stop := running(t, o)
	get := func(path string) int {
		res, err := http.Get("http://" + a.Addr() + path)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res.StatusCode
	}
	waitFor(t, "metrics", func() bool { return get("/metrics") == http.StatusOK })
	s.Shutdown()
	s.WaitForShutdown()
	waitFor(t, "doubt", func() bool { return errors.Is(a.speak(), samplelog.ErrDoubt) })
	for _, path := range []string{"/", "/metrics", "/costs"} {
		if code := get(path); code != http.StatusServiceUnavailable {
			t.Errorf("%s answers %d", path, code)
		}
	}
	if err := a.Ready(); err == nil || !strings.Contains(err.Error(), "lease") {
		t.Errorf("readiness says %v", err)
	}
	if err := a.headers.step(t.Context(), time.Now()); !errors.Is(err, samplelog.ErrDoubt) {
		t.Errorf("the headers conclude: %v", err)
	}
	waitFor(t, "a failing part", func() bool {
		for _, p := range a.Health().Failing() {
			if p.Part == "lease" {
				return true
			}
		}
		return false
	})
	s = logServer(t, dir, port)
	waitFor(t, "readiness", func() bool { return a.Ready() == nil && get("/metrics") == http.StatusOK })
	stop()
}
