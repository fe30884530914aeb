package main

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

// behindNginx is a plant behind the nginx of deploy/nginx.conf. At the proxy ana and bea log in, and
// strokewise knows ana alone.
func behindNginx(t *testing.T) (*lockedPlant, *peers.Process) {
	t.Helper()
	p := startLocked(t, false, ", confirm: none, behind_proxy: { trusted: [127.0.0.1], identity_header: X-Remote-User }")
	p.ca.issue(4, p.path("proxy.crt"), p.path("proxy.key"))
	// {PLAIN} is nginx's form of a password that is not hashed
	if err := os.WriteFile(p.path("proxy.users"), []byte("ana:{PLAIN}at the proxy\nbea:{PLAIN}at the proxy\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	port := fmt.Sprint(peers.Port(t))
	return p, peers.Nginx(t, "127.0.0.1:"+port, "../../deploy/nginx.conf", "listen 443 ssl", "listen 127.0.0.1:"+port+" ssl", "monitor.plant.example;", "localhost;",
		"/etc/ssl/monitor.crt", p.path("proxy.crt"), "/etc/ssl/monitor.key", p.path("proxy.key"), "/etc/nginx/strokewise.users", p.path("proxy.users"), "http://127.0.0.1:8420", "http://"+p.addr)
}

// Through the proxy of the example people are who the proxy says, whatever they write themselves;
// tokens and probes pass it; past it nobody who is not on this machine says who they are.
func TestBehindNginx(t *testing.T) {
	p, proxy := behindNginx(t)
	roots := x509.NewCertPool()
	roots.AddCert(p.root())
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	token, err := os.ReadFile(p.token)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		name, path, user string
		headers          []string
		want             int
		says             string
	}{
		{"nobody", "/account", "", nil, 401, ""},
		{"nobody who says to be somebody", "/account", "", []string{"X-Remote-User", "ana"}, 401, ""},
		{"ana", "/account", "ana", nil, 200, "<bdi>ana</bdi>"},
		{"ana who says to be bea", "/account", "ana", []string{"X-Remote-User", "bea", "x-remote-user", "cyd"}, 200, "<bdi>ana</bdi>"},
		{"bea", "/account", "bea", []string{"X-Remote-User", "ana"}, 403, "does not know that name"},
		{"a token", "/metrics", "", []string{"Authorization", "Bearer " + strings.TrimSpace(string(token))}, 200, "strokewise_ready"},
		{"metrics of nobody", "/metrics", "", []string{"X-Remote-User", "ana"}, 401, ""},
		{"a probe", "/healthz", "", nil, 200, ""},
		{"another page of the probes' kind", "/metrics/../account", "", []string{"X-Remote-User", "ana"}, 401, ""},
		{"a name that is none of ours", "/account", "ana", []string{"Host", "evil.example"}, 421, ""},
	} {
		r, err := http.NewRequest(http.MethodGet, "https://"+proxy.Addr+x.path, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i+1 < len(x.headers); i += 2 {
			if r.Header.Add(x.headers[i], x.headers[i+1]); x.headers[i] == "Host" {
				r.Host = x.headers[i+1]
			}
		}
		if x.user != "" {
			r.SetBasicAuth(x.user, "at the proxy")
		}
		res, err := client.Do(r)
		if err != nil {
			t.Fatalf("%s: %v", x.name, err)
		}
		if body := textOf(t, res); res.StatusCode != x.want || !strings.Contains(body, x.says) {
			t.Errorf("%s: %d, want %d with %q: %s", x.name, res.StatusCode, x.want, x.says, body)
		}
		if hsts := res.Header.Get("Strict-Transport-Security"); hsts != "" {
			t.Errorf("%s: loopback is bound to https: %s", x.name, hsts)
		}
	}
	// who comes from an address that is not trusted: 127.0.0.2 is loopback too
	d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, 2)}}
	past := &http.Client{Transport: &http.Transport{DialContext: d.DialContext, DisableKeepAlives: true}}
	r, err := http.NewRequest(http.MethodGet, "http://"+p.addr+"/account", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("X-Remote-User", "ana")
	res, err := past.Do(r)
	if err != nil {
		t.Skipf("this machine has no second loopback address: %v", err)
	}
	if body := textOf(t, res); res.StatusCode != http.StatusForbidden {
		t.Errorf("past the proxy: %d %s", res.StatusCode, body)
	}
}

func textOf(t *testing.T, res *http.Response) string {
	t.Helper()
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
