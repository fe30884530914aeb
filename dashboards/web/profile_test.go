package web

import (
	"net/http"
	"net/http/httptest"
	"testing"
)

// Profiles are for this machine: neither for a proxy's name nor for another address.
func TestProfilesAreLocal(t *testing.T) {
	h := New(everything())
	for _, c := range []struct {
		host, from string
		status     int
	}{
		{"localhost:8420", "127.0.0.1:5000", http.StatusOK},
		{"monitor.plant.example:8420", "127.0.0.1:5000", http.StatusForbidden},
		{"localhost:8420", "10.0.0.7:5000", http.StatusForbidden},
		{"evil.example", "127.0.0.1:5000", http.StatusMisdirectedRequest},
	} {
		r := httptest.NewRequest(http.MethodGet, "/debug/pprof/goroutine?debug=1", nil)
		r.Host, r.RemoteAddr = c.host, c.from
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != c.status {
			t.Errorf("%s from %s: status %d, want %d", c.host, c.from, w.Code, c.status)
		}
	}
}
