package web

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
)

func TestHost(t *testing.T) {
	h := New(everything())
	for host, ok := range map[string]bool{
		"localhost": true, "localhost:8420": true, "LOCALHOST.": true, "127.0.0.1:8420": true, "127.9.9.9": true,
		"[::1]:8420": true, "[::1]": true, "monitor.plant.example": true, "monitor.plant.example:443": true, "MONITOR.plant.example": true,
		"": false, "evil.example": false, "evil.example:8420": false, "localhost.evil.example": false, "127.0.0.1.evil.example": false,
		"10.0.0.5": false, "xmonitor.plant.example": false, "0.0.0.0": false, "[::]": false, "localhost:80:80": false,
	} {
		for _, path := range []string{"/", "/stations", "/refused", "/healthz", "/readyz", "/static/style.css", "/station/northdock/press-4", "/station/northdock/press-4/trace?span=30"} {
			r := httptest.NewRequest(http.MethodGet, path, nil)
			r.Host = host
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if ok && w.Code != http.StatusOK || !ok && w.Code != http.StatusMisdirectedRequest {
				t.Errorf("host %q, %s: status %d", host, path, w.Code)
			}
			if !ok && (!strings.Contains(w.Body.String(), "http.hosts") || strings.Contains(w.Body.String(), "press-4")) {
				t.Errorf("host %q, %s: %s", host, path, w.Body)
			}
		}
	}
}

func TestOnlyReading(t *testing.T) {
	h := New(everything())
	for _, c := range []struct {
		method, origin, fetchSite string
		status                    int
	}{
		{http.MethodGet, "", "", 200},
		{http.MethodHead, "", "", 200},
		{http.MethodPost, "", "", 405},
		{http.MethodPut, "http://localhost:8420", "", 405},
		{http.MethodDelete, "", "same-origin", 405},
		{http.MethodPost, "http://evil.example", "", 403},
		{http.MethodPost, "null", "", 403},
		{http.MethodPost, "", "cross-site", 403},
		{http.MethodOptions, "http://evil.example", "", 405},
	} {
		r := httptest.NewRequest(c.method, "/", nil)
		r.Host = "localhost:8420"
		if c.origin != "" {
			r.Header.Set("Origin", c.origin)
		}
		if c.fetchSite != "" {
			r.Header.Set("Sec-Fetch-Site", c.fetchSite)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != c.status {
			t.Errorf("%s origin %q site %q: status %d, want %d", c.method, c.origin, c.fetchSite, w.Code, c.status)
		}
		if w.Code == 405 && w.Header().Get("Allow") != "GET, HEAD" {
			t.Errorf("%s: Allow %q", c.method, w.Header().Get("Allow"))
		}
	}
}

func TestHeaders(t *testing.T) {
	o := everything()
	o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {})
	h := New(o)
	for _, path := range []string{"/", "/stations", "/refused", "/metrics", "/healthz", "/readyz", "/static/stations.js", "/nothing", "/station/northdock/press-4", "/station/northdock/press-4/trace?span=30", "/station/northdock/press-4/trace", "/events"} {
		got := get(h, path).Header()
		csp := strings.Split(got.Get("Content-Security-Policy"), "; ")
		for _, want := range []string{"default-src 'none'", "style-src 'self'", "script-src 'self'", "connect-src 'self'", "img-src 'self'",
			"base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'"} {
			found := false
			for _, d := range csp {
				found = found || d == want
			}
			if !found {
				t.Errorf("%s: no %s in %q", path, want, csp)
			}
		}
		if strings.Contains(got.Get("Content-Security-Policy"), "unsafe") {
			t.Errorf("%s: unsafe policy", path)
		}
		if got.Get("X-Content-Type-Options") != "nosniff" || got.Get("Referrer-Policy") != "no-referrer" {
			t.Errorf("%s: %v", path, got)
		}
	}
}

func TestHealthAndReadiness(t *testing.T) {
	o := everything()
	var err error
	o.Ready = func() error { return err }
	h := New(o)
	if w := get(h, "/readyz"); w.Code != 200 || w.Body.String() != "ready\n" {
		t.Errorf("ready: %d %q", w.Code, w.Body)
	}
	err = errTwo
	w := get(h, "/readyz")
	if w.Code != http.StatusServiceUnavailable || w.Body.String() != "partition 3 is 17 entries behind\nnot connected to the broker\n" {
		t.Errorf("two reasons: %d %q", w.Code, w.Body)
	}
	if !strings.Contains(get(h, "/").Body.String(), "Not ready: not connected to the broker") {
		t.Error("the page does not say why it is not complete")
	}
	if w := get(h, "/healthz"); w.Code != 200 {
		t.Errorf("alive while not ready: %d", w.Code)
	}
	err = nil
	o.Board.SetReady(false)
	if w := get(h, "/readyz"); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "restored") {
		t.Errorf("board not ready: %d %q", w.Code, w.Body)
	}
}

func TestMetricsRoute(t *testing.T) {
	o := everything()
	if w := get(New(o), "/metrics"); w.Code != http.StatusNotFound {
		t.Errorf("without metrics: %d", w.Code)
	}
	o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) })
	if w := get(New(o), "/metrics"); w.Code != http.StatusTeapot {
		t.Errorf("with metrics: %d", w.Code)
	}
}

func FuzzHost(f *testing.F) {
	for _, s := range []string{"localhost", "[::1]:1", "127.0.0.1", "evil.example", "[", "]", ":", "[::1", "a:b:c", "localhost:", "::01", "localhost.:80", "\x00"} {
		f.Add(s)
	}
	h := guard(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) }), []string{"monitor.example"}, table{})
	f.Fuzz(func(t *testing.T, host string) {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Host = host
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code == http.StatusTeapot && !ours(host) {
			t.Errorf("host %q is let in", host)
		}
	})
}

// ours tells, by another way than the guard's, whether some beginning of host is a name
// or address that may be asked: any cut at a colon, bracket or
// the end, less a dot there.
func ours(host string) bool {
	host = strings.TrimPrefix(host, "[")
	for i := range len(host) + 1 {
		if i < len(host) && !strings.ContainsRune(":]", rune(host[i])) {
			continue
		}
		name := strings.TrimSuffix(host[:i], ".")
		addr, err := netip.ParseAddr(name)
		if err == nil && addr.Unmap().IsLoopback() || strings.EqualFold(name, "localhost") || strings.EqualFold(name, "monitor.example") {
			return true
		}
	}
	return false
}
