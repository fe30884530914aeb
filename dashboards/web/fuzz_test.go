package web

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
)

// FuzzPages: whatever path and query are asked for, the answer is no fault of ours, has its headers, and holds no markup of
// the question's.
func FuzzPages(f *testing.F) {
	for _, s := range [][2]string{{"/station/northdock/press-4", "span=3600"}, {"/station/northdock/press-4/trace", "span=1e18&until=-1e300"}, {"/costs", "days=-1"}, {"/audit", "page=99999999999"},
		{"/audit/trail", "before=-9"}, {"/station/<script>/x", ""}, {"/due", "format=csv"}, {"/alarm-figures", "days=%zz;"}, {"/station/northdock/press-4/trends", "weeks=0"}, {"/../x", "a=%00"}} {
		f.Add(s[0], s[1])
	}
	o := everything()
	o.Command, o.Diary = (&taken{}).take, &diary{}
	h := New(o)
	f.Fuzz(func(t *testing.T, path, query string) {
		if !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "/events") {
			return
		}
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.URL, r.Host = &url.URL{Path: path, RawQuery: query}, "localhost:8420"
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code >= http.StatusInternalServerError && w.Code != http.StatusServiceUnavailable || w.Header().Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%q?%q: status %d", path, query, w.Code)
		}
		page := strings.HasPrefix(w.Header().Get("Content-Type"), "text/html")
		if page && strings.Contains(w.Body.String(), "<script>") || w.Code/100 == 3 && strings.HasPrefix(w.Header().Get("Location"), "//") {
			t.Errorf("%q?%q: %s %s", path, query, w.Header().Get("Location"), w.Body)
		}
	})
}

// FuzzBacktestForm: whatever the form sends, a back-test is of bounded text and of an ordered time, or refused.
func FuzzBacktestForm(f *testing.F) {
	const form = "application/x-www-form-urlencoded"
	f.Add(form, "changes=-+%7B+name%3A+outlet-leak%2C+delay%3A+5m+%7D&station=press-4&from=2026-03-01T00:00&to=2026-03-02T00:00")
	f.Add("multipart/form-data; boundary=X", "--X\r\nContent-Disposition: form-data; name=\"file\"; filename=\"../../x\"\r\n\r\n[]\r\n--X--\r\n")
	f.Add("multipart/form-data", "--X")
	f.Fuzz(func(t *testing.T, kind, body string) {
		r := httptest.NewRequest(http.MethodPost, backtestPath, strings.NewReader(body))
		r.Header.Set("Content-Type", kind)
		r.Body = http.MaxBytesReader(httptest.NewRecorder(), r.Body, 2*mostChanges)
		of, err := backtestOf(r)
		if err == nil && (len(of.Changes) > mostChanges || of.From != 0 && of.To != 0 && of.To <= of.From) {
			t.Errorf("%q: %+v", body, of)
		}
	})
}

// FuzzAddress: whatever a request says of where it comes from, it is the peer's address unless a trusted proxy says so, and then
// an address that is none of the trusted ones' inventions of its beginning.
func FuzzAddress(f *testing.F) {
	for _, hops := range []string{"203.0.113.9", "1.2.3.4, 203.0.113.9, 10.0.0.6", "nonsense", "::ffff:203.0.113.9", "fe80::1%eth0", ",,,"} {
		f.Add(hops)
	}
	d := &Identity{Proxy: Proxy{Trusted: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/24")}}}
	f.Fuzz(func(t *testing.T, hops string) {
		for _, peer := range []string{"192.0.2.1:5", "10.0.0.5:5"} {
			r := &http.Request{RemoteAddr: peer, Header: http.Header{"X-Forwarded-For": {hops}}}
			got := d.address(r)
			a, err := netip.ParseAddr(got)
			if err != nil || a.Unmap() != a || peer[0] == '1' && peer[1] == '9' && got != "192.0.2.1" {
				t.Errorf("%q from %s is %q", hops, peer, got)
			}
			if got != "10.0.0.5" && peer == "10.0.0.5:5" && !strings.Contains(hops, got) && !mapped(hops, a) {
				t.Errorf("%q from %s is %q, which nobody said", hops, peer, got)
			}
		}
	})
}

// mapped reports whether one of the hops is an address in another notation.
func mapped(hops string, a netip.Addr) bool {
	for _, h := range strings.Split(hops, ",") {
		if x, err := netip.ParseAddr(strings.TrimSpace(h)); err == nil && x.Unmap() == a {
			return true
		}
	}
	return false
}
