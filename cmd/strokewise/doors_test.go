package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/cmd/internal/config"
	"strokewise/dashboards/trail"
	"strokewise/deploy/peers"
	"strokewise/rules/notify/egress"
)

const panelPassword = "four hoses and a valve"

// lockedPlant is a program that people log in to.
type lockedPlant struct {
	*child
	dir, users, token string
	ca                *authority
	broker            string
}

// authority issues certificates.
type authority struct {
	t    *testing.T
	key  *ecdsa.PrivateKey
	cert *x509.Certificate
	file string
}

func newAuthority(t *testing.T, dir string) *authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	a := &authority{t: t, key: key, file: filepath.Join(dir, "ca.pem")}
	a.cert = &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, a.cert, a.cert, &key.PublicKey, key)
	if err == nil {
		err = os.WriteFile(a.file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// issue writes a certificate for this machine with a serial number, and its key.
func (a *authority) issue(serial int64, certFile, keyFile string) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		a.t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "monitor"}, NotAfter: time.Now().Add(time.Hour), DNSNames: []string{"localhost"},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, c, a.cert, &key.PublicKey, a.key)
	if err != nil {
		a.t.Fatal(err)
	}
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		a.t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: der}, keyFile: {Type: "PRIVATE KEY", Bytes: raw}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			a.t.Fatal(err)
		}
	}
}

// startLocked starts a plant whose http section also says more. ana is an operator; the token may scrape.
func startLocked(t *testing.T, secure bool, more string) *lockedPlant {
	t.Helper()
	broker := peers.Mosquitto(t)
	p := &lockedPlant{dir: t.TempDir(), broker: broker.Addr}
	p.users = filepath.Join(p.dir, "users.yaml")
	if code, _, errOut := types(t, panelPassword+"\n", "user", "add", "ana", "--role", "operator", "--users", p.users); code != 0 {
		t.Fatal(errOut)
	}
	code, secret, errOut := types(t, "", "token", "add", "scraper", "--only", "scrape", "--users", p.users)
	if code != 0 {
		t.Fatal(errOut)
	}
	p.token = filepath.Join(p.dir, "token")
	if err := os.WriteFile(p.token, []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	p.ca = newAuthority(t, p.dir)
	http := "users_file: " + p.users
	if secure {
		p.ca.issue(2, p.path("pages.crt"), p.path("pages.key"))
		http += fmt.Sprintf(", tls: { cert_file: %s, key_file: %s }", p.path("pages.crt"), p.path("pages.key"))
	}
	text := strings.Replace(configText(t, broker.Addr, t.TempDir(), ""), `listen: "127.0.0.1:0"`, `listen: "127.0.0.1:0", `+http+more, 1)
	p.child = start(t, "run", "--config", write(t, "strokewise.yaml", text))
	return p
}

func (p *lockedPlant) path(name string) string { return filepath.Join(p.dir, name) }

// browser returns a client that keeps cookies and trusts the plant's authority.
func (p *lockedPlant) browser() *http.Client {
	p.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		p.t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AddCert(p.root())
	tr := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, DisableKeepAlives: true}
	return &http.Client{Jar: jar, Transport: tr}
}

func (p *lockedPlant) root() *x509.Certificate {
	p.t.Helper()
	text, err := os.ReadFile(p.ca.file)
	if err != nil {
		p.t.Fatal(err)
	}
	b, _ := pem.Decode(text)
	c, err := x509.ParseCertificate(b.Bytes)
	if err != nil {
		p.t.Fatal(err)
	}
	return c
}

func (p *lockedPlant) fetch(c *http.Client, method, path string, form url.Values) (*http.Response, string) {
	p.t.Helper()
	r, err := http.NewRequest(method, "https://"+p.addr+path, strings.NewReader(form.Encode()))
	if err != nil {
		p.t.Fatal(err)
	}
	r.Header.Set("Accept", "text/html")
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	res, err := c.Do(r)
	if err != nil {
		p.t.Fatalf("%s %s: %v\n%s", method, path, err, p.said())
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return res, string(b)
}

// A login over TLS, and a certificate that is renewed while the program runs.
func TestLoginOverTLSAndARenewedCertificate(t *testing.T) {
	p := startLocked(t, true, "")
	c := p.browser()
	res, body := p.fetch(c, http.MethodGet, "/audit", nil)
	if res.Request.URL.Path != "/login" || !strings.Contains(body, `type="password"`) {
		t.Fatalf("%s: %s", res.Request.URL, body)
	}
	res, body = p.fetch(c, http.MethodPost, "/login", url.Values{"name": {"ana"}, "password": {panelPassword}, "next": {"/audit"}})
	if res.Request.URL.Path != "/audit" || !strings.Contains(body, "<h1>Audit trail</h1>") || res.Header.Get("Strict-Transport-Security") != "" {
		t.Errorf("%s, %v: %s", res.Request.URL, res.Header, body)
	}
	if n := res.TLS.PeerCertificates[0].SerialNumber.Int64(); n != 2 {
		t.Errorf("certificate %d", n)
	}
	p.ca.issue(3, p.path("pages.crt"), p.path("pages.key"))
	res, body = p.fetch(c, http.MethodGet, "/account", nil)
	if n := res.TLS.PeerCertificates[0].SerialNumber.Int64(); n != 3 || !strings.Contains(body, "<bdi>ana</bdi>") {
		t.Errorf("certificate %d after the renewal: %s", n, body)
	}
	if err := os.WriteFile(p.path("pages.key"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if res, _ = p.fetch(c, http.MethodGet, "/account", nil); res.TLS.PeerCertificates[0].SerialNumber.Int64() != 3 {
		t.Error("a key that is half written takes the pages down")
	}
	for _, said := range []string{panelPassword, "argon2", "swt_"} {
		if strings.Contains(p.said(), said) {
			t.Errorf("the log says %q", said)
		}
	}
}

// A Prometheus that is elsewhere scrapes over TLS with a token; one without is refused. The command
// line uses a token too.
func TestPrometheusScrapesWithTLSAndAToken(t *testing.T) {
	p := startLocked(t, true, "")
	job := fmt.Sprintf("scheme: https\ntls_config: { ca_file: %s }\nstatic_configs: [{targets: ['%s']}]", p.ca.file, p.addr)
	with := peers.Scraping(t, job+fmt.Sprintf("\nauthorization: { credentials_file: %s }", p.token))
	without := peers.Scraping(t, job)
	query(t, with.Addr, `up{job="strokewise"}`, "1")
	query(t, with.Addr, `count(strokewise_ready)`, "1")
	query(t, without.Addr, `up{job="strokewise"}`, "0")
	var out strings.Builder
	args := []string{"refused", "list", "--url", "https://" + p.addr, "--ca-file", p.ca.file, "--token-file"}
	if code := executeIn(t.Context(), nil, append(args, p.token), &out, &out); code != exitFault || !strings.Contains(out.String(), "is not for look") {
		t.Errorf("a token for the metrics lists refused messages: %d %s", code, out.String())
	}
	_, secret, _ := types(t, "", "token", "add", "lister", "--users", p.users)
	other := write(t, "token", secret)
	out.Reset()
	if code := executeIn(t.Context(), nil, append(args, other), &out, &out); code != exitOK {
		t.Errorf("%d %s", code, out.String())
	}
	if _, list, _ := types(t, "", "token", "list", "--users", p.users); !strings.Contains(list, "give --data") {
		t.Error(list)
	}
	out.Reset()
	if code := executeIn(t.Context(), nil, []string{"refused", "list", "--url", "http://monitor.example", "--token-file", other}, &out, &out); code != exitFault || !strings.Contains(out.String(), "https only") {
		t.Errorf("a token goes out in clear: %d %s", code, out.String())
	}
}

// Metrics on a listener of their own follow the rules of a web configuration file; the profiles
// stand on their socket alone.
func TestMetricsAndProfilesBeside(t *testing.T) {
	port := peers.Port(t)
	at := fmt.Sprintf("127.0.0.1:%d", port)
	dir := t.TempDir()
	socket := filepath.Join(dir, "profiles.sock")
	ca := newAuthority(t, dir)
	ca.issue(7, filepath.Join(dir, "m.crt"), filepath.Join(dir, "m.key"))
	rules := write(t, "web.yaml", fmt.Sprintf("tls_server_config: { cert_file: %[1]s/m.crt, key_file: %[1]s/m.key }\n", dir))
	p := startLocked(t, false, fmt.Sprintf(`, metrics: { listen: "%s", web_config_file: %s }, profiles: %s`, at, rules, socket))
	prom := peers.Scraping(t, fmt.Sprintf("scheme: https\ntls_config: { ca_file: %s }\nstatic_configs: [{targets: ['%s']}]", ca.file, at))
	query(t, prom.Addr, `up{job="strokewise"}`, "1")
	for path, want := range map[string]int{"/metrics": http.StatusUnauthorized, "/healthz": http.StatusOK, "/debug/pprof/": http.StatusUnauthorized, "/": http.StatusUnauthorized} {
		if code, _ := p.get(path); code != want {
			t.Errorf("%s with the pages: %d, want %d", path, code, want)
		}
	}
	if res, err := http.Get("http://" + at + "/metrics"); err == nil && res.StatusCode == http.StatusOK {
		t.Error("the metrics are served in clear")
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", socket)
	}}}
	res, err := client.Get("http://profiles/debug/pprof/goroutine?debug=1")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if info, err := os.Stat(socket); res.StatusCode != http.StatusOK || err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%d, mode %v, %v", res.StatusCode, info.Mode(), err)
	}
}

// What the configuration says of the audit's receivers arrives: they are reached where receivers may be alone.
func TestAuditsReceiversStayWhereReceiversMayBe(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	key := write(t, "sign.key", "a key of a test, thirty-two bytes\n")
	c := &config.Audit{Webhook: config.NewSecret("http://" + l.Addr().String()), Syslog: "tcp://" + l.Addr().String(), SignKeyFile: key}
	targets, err := auditTargets(c, egress.Addresses{netip.MustParsePrefix("10.20.0.0/16")}) // RFC 1918
	if err != nil || len(targets) != 2 {
		t.Fatalf("%d targets, %v", len(targets), err)
	}
	for _, x := range targets {
		if err := x.Send(t.Context(), []byte("{}"), &trail.Entry{}); err == nil || !strings.Contains(err.Error(), "leads to 127.0.0.1") {
			t.Errorf("%s: %v", x.Name, err)
		}
		if hook, ok := x.Target.(*trail.Webhook); ok && string(hook.SignKey) != "a key of a test, thirty-two bytes" {
			t.Error("the key does not arrive")
		}
	}
}
