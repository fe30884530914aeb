package config

import (
	"net"
	"net/netip"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// HTTP says where the pages and metrics are served, and to whom.
type HTTP struct {
	Listen    string   // address and port
	Hosts     []string // names under which the pages are asked for, besides the loopback names; lower case
	UsersFile string   // "": nobody logs in by a password
	Confirm   int      // place in Confirms of what acts on stored pressure ask for
	Idle      time.Duration
	Longest   time.Duration // of a login
	TLS       TLS           // certificate and key of ours; empty: none
	Proxy     Proxy
	PlainHTTP bool // said in words: passwords may travel in clear
	Metrics   MetricsListener
	Profiles  string // path of a socket for the program's own profiles; "": none
	OIDC      OIDC
	Audit     Audit
}

// Confirms are what acts that concern stored pressure ask for.
var Confirms = []string{"login", "second-person", "none"}

// Proxy names the proxies in front of the pages.
type Proxy struct {
	Trusted []netip.Prefix
	Header  string // with the name of who has logged in there
}

// MetricsListener is an address of its own for metrics, liveness and readiness.
type MetricsListener struct {
	Listen     string // "": they are served with the pages
	ConfigFile string // TLS and logins, in the form of the exporter toolkit
}

// OIDC is an OpenID Connect provider at which people log in.
type OIDC struct {
	Issuer       string // "": none
	ClientID     string
	SecretFile   string
	Pages        string            // our address as people reach it; the provider leads back there
	Scopes       []string          // asked for beside openid
	NameClaim    string            // what becomes the name in the audit
	GroupsClaim  string            // list of groups
	Roles        map[string]string // role by group
	CAFile       string            // of the provider; "": the system's
	SecondFactor string            // acr that logins must have; "": any
}

// Secure reports whether we serve over TLS.
func (h *HTTP) Secure() bool { return h.TLS.CertFile != "" }

// Logins reports whether people log in.
func (h *HTTP) Logins() bool { return h.UsersFile != "" || h.OIDC.Issuer != "" }

const (
	listenText = "an IP address and a port"

	usersExample = "users_file: /etc/strokewise/users.yaml"
	tlsExample   = "tls: { cert_file: /etc/strokewise/pages.crt, key_file: /etc/strokewise/pages.key }"
	proxyExample = "behind_proxy: { trusted: [10.0.0.5], identity_header: X-Remote-User }"
	oidcExample  = "oidc: { issuer: https://login.example, client_id: strokewise, client_secret_file: /etc/strokewise/oidc.secret, pages: https://monitor.plant.example, roles: { mechanics: operator } }"
	clearText    = "passwords-in-clear" // what plain_http says
)

// http reads where the pages are served, and to whom.
func (d *decoder) http(m *mapping) {
	h := &d.cfg.HTTP
	m.listen("listen", &h.Listen)
	m.each("hosts", "hosts: [monitor.plant.example]", func(n *yaml.Node, path string) {
		s := strings.ToLower(n.Value)
		if !isHost(s) {
			d.fail(n, path, quote(n.Value)+" is no host name", "the name under which the pages are asked for, without scheme, port and path", "hosts: [monitor.plant.example]")
			return
		}
		h.Hosts = append(h.Hosts, s)
	})
	if m.file("users_file", "/etc/strokewise/users.yaml", &h.UsersFile) {
		m.checkUsers(h.UsersFile)
	}
	if i, ok := m.choice("confirm", Confirms...); ok {
		h.Confirm = i
	}
	d.session(m.mapping("session", "session: { idle: 1 h, longest: 12 h }"), h)
	d.pagesTLS(m.mapping("tls", tlsExample), h)
	d.proxy(m.mapping("behind_proxy", proxyExample), &h.Proxy)
	if word, ok := m.scalar("plain_http", clearText, "plain_http: "+clearText); ok {
		if h.PlainHTTP = word == clearText; !h.PlainHTTP {
			m.fail("plain_http", quote(word)+" is not the word", "the word that says what it means: "+clearText, "plain_http: "+clearText)
		}
	}
	d.metrics(m.mapping("metrics", "metrics: { listen: 127.0.0.1:9420 }"), &h.Metrics)
	m.file("profiles", "/run/strokewise/profiles.sock", &h.Profiles)
	d.oidc(m.mapping("oidc", oidcExample), &h.OIDC)
	d.audit(m.mapping("audit", auditExample), &h.Audit)
	const users = "users stand in a file of their own, with hashed passwords: name it in users_file"
	m.done(map[string]string{"users": users, "user": users, "password": users})
	m.demandLocks(h)
}

// demandLocks reports doors that are open without a lock.
func (m *mapping) demandLocks(h *HTTP) {
	host, _, err := net.SplitHostPort(h.Listen)
	if h.Proxy.Header != "" && h.UsersFile == "" {
		m.fail("behind_proxy", "says who asks, but there is no users file to tell what they may do", "users_file as well", usersExample)
	}
	if err != nil || loopback(host) {
		return
	}
	if !h.Logins() {
		m.fail("listen", quote(h.Listen)+" is no loopback address, and nobody has to log in", "a loopback address, or users_file, or oidc", usersExample)
	}
	if !h.Secure() && !h.Proxy.given() && !h.PlainHTTP {
		m.fail("listen", quote(h.Listen)+" is no loopback address, and passwords and logins would travel in clear",
			"tls, or behind_proxy where a proxy speaks TLS, or plain_http: "+clearText, tlsExample)
	}
}

func (p *Proxy) given() bool { return len(p.Trusted) > 0 }

func (m *mapping) listen(key string, into *string) {
	s, ok := m.scalar(key, listenText, listenExample)
	if !ok {
		return
	}
	host, port, err := net.SplitHostPort(s)
	_, bad := strconv.ParseUint(port, 10, 16)
	_, none := netip.ParseAddr(host)
	if err != nil || bad != nil || none != nil && host != "localhost" {
		m.fail(key, quote(s)+" is no address with a port", listenText, listenExample)
		return
	}
	*into = s
}

func (d *decoder) session(m *mapping, h *HTTP) {
	quantity(m, "idle", station.ParseDuration, between(minute, 24*time.Hour, "1 min to 24 h"), &h.Idle)
	quantity(m, "longest", station.ParseDuration, between(5*minute, 7*day, "5 min to 7 d"), &h.Longest)
	m.done(nil)
}

func (d *decoder) pagesTLS(m *mapping, h *HTTP) {
	m.readable("cert_file", "/etc/strokewise/pages.crt", &h.TLS.CertFile)
	m.readable("key_file", "/etc/strokewise/pages.key", &h.TLS.KeyFile)
	m.done(map[string]string{"cert": "the key is cert_file", "key": "the key is key_file"})
	if m.node == nil {
		return
	}
	for _, key := range []string{"cert_file", "key_file"} {
		if !m.has(key) {
			m.failValue(key, "is missing", "certificate and key, each a PEM file", "/etc/strokewise/pages.crt")
		}
	}
	m.checkPair(h)
}

func (d *decoder) proxy(m *mapping, p *Proxy) {
	m.each("trusted", "trusted: [10.0.0.5]", func(n *yaml.Node, path string) {
		prefix, err := parsePrefix(n.Value)
		if err != nil {
			d.fail(n, path, quote(n.Value)+" is no address", "the address of the proxy, or a network such as 10.0.0.0/24", "trusted: [10.0.0.5]")
			return
		}
		p.Trusted = append(p.Trusted, prefix)
	})
	if m.text("identity_header", &p.Header, "the header in which the proxy says who has logged in", "identity_header: X-Remote-User") && !isName(p.Header) {
		m.fail("identity_header", quote(p.Header)+" is no name of a header", "letters, digits and -", "identity_header: X-Remote-User")
	}
	m.done(nil)
	if m.node != nil && !p.given() {
		m.fail("trusted", "names no proxy", "the addresses whose headers are believed", "trusted: [10.0.0.5]")
	}
}

// parsePrefix reads an address or a network.
func parsePrefix(text string) (netip.Prefix, error) {
	if a, err := netip.ParseAddr(text); err == nil {
		a = a.Unmap()
		return a.Prefix(a.BitLen())
	}
	p, err := netip.ParsePrefix(text)
	return p.Masked(), err
}

func (d *decoder) metrics(m *mapping, o *MetricsListener) {
	m.listen("listen", &o.Listen)
	m.readable("web_config_file", "/etc/strokewise/metrics.yaml", &o.ConfigFile)
	m.done(nil)
	if m.node == nil {
		return
	}
	host, _, err := net.SplitHostPort(o.Listen)
	switch {
	case !m.has("listen"):
		m.fail("listen", "is missing", listenText, "listen: 127.0.0.1:9420")
	case err == nil && !loopback(host) && o.ConfigFile == "":
		m.fail("listen", quote(o.Listen)+" is no loopback address, and anybody could read the metrics",
			"web_config_file with TLS and a login, in the form of the exporter toolkit", "web_config_file: /etc/strokewise/metrics.yaml")
	}
}

func (d *decoder) oidc(m *mapping, o *OIDC) {
	if m.node == nil {
		return
	}
	o.NameClaim, o.GroupsClaim = "preferred_username", "groups"
	m.link("issuer", []string{"https", "http"}, "https://login.example", &o.Issuer)
	m.link("pages", []string{"https", "http"}, "https://monitor.plant.example", &o.Pages)
	m.text("client_id", &o.ClientID, "the name that the provider knows us by", "client_id: strokewise")
	m.readable("client_secret_file", "/etc/strokewise/oidc.secret", &o.SecretFile)
	m.readable("ca_file", "/etc/strokewise/ca.pem", &o.CAFile)
	m.text("name_claim", &o.NameClaim, "the claim that becomes the name in the audit", "name_claim: email")
	m.text("groups_claim", &o.GroupsClaim, "the claim that lists groups", "groups_claim: groups")
	m.text("acr", &o.SecondFactor, "the class that a login must have", "acr: phr")
	o.Scopes = d.scopes(m)
	o.Roles = d.groups(m.mapping("roles", "roles: { mechanics: operator }"))
	m.done(map[string]string{"client_secret": "a secret stands in a file of its own: name it in client_secret_file"})
	for _, key := range []string{"issuer", "pages", "client_id", "roles"} {
		if !m.has(key) {
			m.fail(key, "is missing", "issuer, pages, client_id and roles", oidcExample)
		}
	}
	for key, link := range map[string]string{"issuer": o.Issuer, "pages": o.Pages} {
		if strings.HasPrefix(link, "http://") && !loopback(hostOf(link)) {
			m.fail(key, quote(link)+" is asked in clear", "an address that begins with https://", key+": https://login.example")
		}
	}
}
