package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/netip"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"strokewise/rules"
)

var markIn = regexp.MustCompile(`name="mark" value="([^"]+)"`)

// A proxy as README asks for one: it keeps Host, says where a request comes from and that it came
// encrypted, and puts the name of who has logged in there in the place of whatever came in.
func TestBehindAProxy(t *testing.T) {
	d := newDoors(t, func(o *Options) {
		o.Identity.Proxy = Proxy{Header: "X-Remote-User", Trusted: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}}
		o.Identity.Confirm = NoConfirm
	})
	pages := httptest.NewServer(d.handler)
	defer pages.Close()
	to, err := url.Parse(pages.URL)
	if err != nil {
		t.Fatal(err)
	}
	proxy := httptest.NewServer(&httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(to)
		r.Out.Host = r.In.Host
		r.SetXForwarded()
		r.Out.Header.Set("X-Forwarded-Proto", "https")
		r.Out.Header.Del("X-Remote-User")
		if name, _, ok := r.In.BasicAuth(); ok { // who has logged in at the proxy
			r.Out.Header.Set("X-Remote-User", name)
		}
	}})
	defer proxy.Close()
	ask := func(method, path, as string, form url.Values, headers ...string) (int, string) {
		t.Helper()
		r, err := http.NewRequest(method, proxy.URL+path, strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		if form != nil {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		if as != "" {
			r.SetBasicAuth(as, "x")
		}
		for i := 0; i+1 < len(headers); i += 2 {
			r.Header.Set(headers[i], headers[i+1])
		}
		res, err := (&http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		body, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, string(body)
	}
	if code, _ := ask(http.MethodGet, "/", "", nil, "X-Remote-User", "administrator"); code != http.StatusUnauthorized {
		t.Errorf("a header that the reader wrote: %d", code)
	}
	code, page := ask(http.MethodGet, "/station/northdock/press-4", "proxied", nil, "X-Remote-User", "administrator")
	m := markIn.FindStringSubmatch(page)
	if code != http.StatusOK || m == nil || !strings.Contains(page, "As <bdi>proxied</bdi>") {
		t.Fatalf("%d %s", code, page)
	}
	form := command("acknowledge", rules.OutletLeak, markField, m[1])
	if code, body := ask(http.MethodPost, commandPath, "proxied", form); code != http.StatusSeeOther || d.given.got[0].By != "proxied" {
		t.Errorf("%d %s %+v", code, body, d.given.got)
	}
	if code, _ := ask(http.MethodPost, commandPath, "proxied", form, "Origin", "https://evil.example"); code != http.StatusForbidden {
		t.Errorf("from another origin: %d", code)
	}
	if code, _ := ask(http.MethodPost, commandPath, "operator", form); code != http.StatusForbidden {
		t.Errorf("with another's mark: %d", code)
	}
	if code, _ := ask(http.MethodGet, "/metrics", "", nil, "Authorization", "Bearer "+d.tokens["t-scrape"]); code != http.StatusOK {
		t.Errorf("a token through the proxy: %d", code)
	}
}

// Where only the proxy may ask, whoever comes past it is turned away; this machine's own may.
func TestPastTheProxy(t *testing.T) {
	d := newDoors(t, func(o *Options) {
		o.Identity.OnlyProxies = true
		o.Identity.Proxy = Proxy{Trusted: []netip.Prefix{netip.MustParsePrefix("10.0.0.5/32")}}
	})
	for from, want := range map[string]int{"10.0.0.5:1": http.StatusOK, "10.0.0.6:1": http.StatusForbidden, "127.0.0.1:1": http.StatusOK} {
		if w := d.do(knock{method: http.MethodGet, path: loginPath, from: from}); w.Code != want {
			t.Errorf("from %s: %d, want %d", from, w.Code, want)
		}
	}
}
