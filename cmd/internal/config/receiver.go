package config

import (
	"fmt"
	"net"
	"net/mail"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// Mail is a mail server with the people to write to.
type Mail struct {
	Name         string
	Server       string // host:port
	From         string
	To           []string
	User         string
	PasswordFile string
	CAFile       string        // empty: the system's certificate authorities
	NoTLS        bool          // only to a loopback address
	Digest       time.Duration // after midnight of the site: when low ones and findings are sent
}

// Panel is a prefix of retained topics for lights and panels.
type Panel struct {
	Name   string
	Prefix string
}

// DeadMan is an address that is called while all works. Every is zero without one.
type DeadMan struct {
	URL   Secret
	Every time.Duration
}

const (
	alertmanagerExample = "{ name: alertmanager, url: http://127.0.0.1:9093 }"
	mailExample         = "{ name: shift, server: mail.plant.example:587, from: boost@plant.example, to: [shift@plant.example] }"
	addressesExample    = "addresses: [10.20.0.0/16, 192.0.2.7]"
	panelExample        = "{ name: lights, topic_prefix: lights/boost }"
)

// receivers reads the receivers other than webhooks. Names are of all kinds together.
func (d *decoder) receivers(m *mapping, seen map[string]int) {
	m.link("pages", []string{"https", "http"}, "https://monitor.plant.example", &d.cfg.Notify.Pages)
	m.each("addresses", addressesExample, func(n *yaml.Node, path string) {
		prefix, err := parsePrefix(n.Value)
		if err != nil {
			d.fail(n, path, quote(n.Value)+" is no address", "an address, or a network such as 10.20.0.0/16", addressesExample)
			return
		}
		d.cfg.Notify.Addresses = append(d.cfg.Notify.Addresses, prefix)
	})
	for _, k := range [...]struct {
		key, what, example string
		read               func(*mapping, map[string]int)
	}{
		{"alertmanagers", "an Alertmanager", alertmanagerExample, d.alertmanager},
		{"mail", "a mail receiver", mailExample, d.mail},
		{"panels", "a panel", panelExample, d.panel},
	} {
		m.each(k.key, k.key+": ["+k.example+"]", func(n *yaml.Node, path string) {
			if r := d.item(n, path, k.what, k.example); r != nil {
				k.read(r, seen)
			}
		})
	}
	d.routes(m, seen)
	d.deadMan(m.mapping("dead_man", "dead_man: { url: https://watch.example/boost, every: 1 min }"))
}

// receiverName reads a name that no other receiver has.
func (m *mapping) receiverName(example string, seen map[string]int, into *string) {
	if !m.name("name", example, into) {
		return
	}
	switch line, twice := seen[*into]; {
	case *into == deadManName:
		m.failValue("name", quote(*into)+" is the dead man's signal", "another name", example)
	case twice:
		m.failValue("name", fmt.Sprintf("%s is the name of the receiver on line %d too", quote(*into), line), "a name of its own for each receiver", example)
	}
	seen[*into] = m.node.Line
}

// deadManName is how metrics call the dead man's signal.
const deadManName = "dead-man"

func (d *decoder) alertmanager(m *mapping, seen map[string]int) {
	const example = "http://127.0.0.1:9093"
	var w Webhook
	m.receiverName("alertmanager", seen, &w.Name)
	if !m.has("url") {
		m.failValue("url", "is missing", "an http or https URL", example)
	}
	var url string
	m.secretLink("url", []string{"https", "http"}, example, &url)
	if strings.Contains(url, "/api/") {
		m.failValue("url", "holds the path of the API", "the address alone: /api/v2/alerts is added", example)
	}
	w.URL = NewSecret(url)
	m.readable("header_file", "/etc/strokewise/alertmanager.headers", &w.HeaderFile)
	m.clearLink(url, m.has("header_file"))
	m.done(nil)
	d.cfg.Notify.Alertmanagers = append(d.cfg.Notify.Alertmanagers, w)
}

func (d *decoder) mail(m *mapping, seen map[string]int) {
	r := Mail{Digest: 6 * time.Hour}
	m.receiverName("shift", seen, &r.Name)
	m.server(&r.Server)
	m.address("from", "boost@plant.example", &r.From)
	m.each("to", "to: [shift@plant.example]", func(n *yaml.Node, path string) {
		if !isAddress(n.Value) {
			d.fail(n, path, quote(n.Value)+" is no mail address", "an address without a name", "to: [shift@plant.example]")
			return
		}
		r.To = append(r.To, n.Value)
	})
	if n := m.get("to"); n == nil || n.Kind == yaml.SequenceNode && len(n.Content) == 0 {
		m.failValue("to", "names nobody", "at least one address", "[shift@plant.example]")
	}
	m.text("user", &r.User, "the user's name at the mail server", "user: boost")
	m.readable("password_file", "/etc/strokewise/mail.password", &r.PasswordFile)
	m.readable("ca_file", "/etc/strokewise/ca.pem", &r.CAFile)
	if m.has("user") != m.has("password_file") {
		given, lacking := "user", "password_file"
		if m.has("password_file") {
			given, lacking = lacking, given
		}
		m.fail(given, "is given without "+lacking, "both or neither", lacking+": /etc/strokewise/mail.password")
	}
	m.starttls(&r)
	if m.has("digest") {
		m.clock("digest", "06:00", &r.Digest)
	} else {
		m.get("digest")
	}
	m.done(map[string]string{"password": "a password stands in a file of its own: name it in password_file"})
	d.cfg.Notify.Mails = append(d.cfg.Notify.Mails, r)
}

// starttls reads whether mail may go in clear, which it may on this machine alone.
func (m *mapping) starttls(r *Mail) {
	i, ok := m.choice("starttls", "required", "never-on-loopback")
	if r.NoTLS = ok && i == 1; !r.NoTLS || r.Server == "" {
		return
	}
	if host, _, _ := net.SplitHostPort(r.Server); !loopback(host) {
		m.failValue("starttls", "is never-on-loopback, but the server is not on this machine", "required", "required")
	}
}

// server reads host:port.
func (m *mapping) server(into *string) {
	const expected, example = "a host and a port", "mail.plant.example:587"
	if !m.has("server") {
		m.failValue("server", "is missing", expected, example)
	}
	s, ok := m.scalar("server", expected, "server: "+example)
	if !ok {
		return
	}
	host, port, err := net.SplitHostPort(s)
	if n, bad := strconv.ParseUint(port, 10, 16); err != nil || bad != nil || n == 0 || !isHost(strings.ToLower(host)) {
		m.failValue("server", quote(s)+" is no host with a port", expected, example)
		return
	}
	*into = s
}

func (m *mapping) address(key, example string, into *string) {
	const expected = "an address without a name"
	if !m.has(key) {
		m.failValue(key, "is missing", expected, example)
	}
	s, ok := m.scalar(key, expected, key+": "+example)
	if ok && !isAddress(s) {
		m.failValue(key, quote(s)+" is no mail address", expected, example)
		return
	}
	*into = s
}

// isAddress tells whether a text is a bare mail address, of one line.
func isAddress(s string) bool {
	a, err := mail.ParseAddress(s)
	return err == nil && a.Address == s && len(s) <= 254 && strings.IndexFunc(s, unprintable) < 0
}

func (d *decoder) panel(m *mapping, seen map[string]int) {
	const expected, example = "topic levels without wildcards", "lights/boost"
	var p Panel
	m.receiverName("lights", seen, &p.Name)
	if !m.has("topic_prefix") {
		m.failValue("topic_prefix", "is missing", expected, example)
	}
	m.text("topic_prefix", &p.Prefix, expected, "topic_prefix: "+example)
	m.done(nil)
	switch {
	case strings.ContainsAny(p.Prefix, "+#"), strings.HasPrefix(p.Prefix, "$"), strings.HasPrefix(p.Prefix, "/"), strings.HasSuffix(p.Prefix, "/"):
		m.failValue("topic_prefix", quote(p.Prefix)+" is no beginning of a topic", expected, example)
	case p.Prefix != "":
		d.noLoop(m, p.Prefix)
	}
	d.cfg.Notify.Panels = append(d.cfg.Notify.Panels, p)
}

// noLoop refuses a prefix whose topics we would take for samples.
func (d *decoder) noLoop(m *mapping, prefix string) {
	for _, topic := range []string{prefix + "/site/station/alarm", prefix + "/heartbeat"} {
		for i := range d.cfg.MQTT.Topics {
			if match := d.cfg.MQTT.Topics[i].Match; covers(match, topic) {
				m.failValue("topic_prefix", "is within the pattern "+quote(match)+" of mqtt.topics: we would read what we write", "a prefix outside of all patterns", "lights/boost")
				return
			}
		}
	}
}

// covers tells whether a pattern may match a topic, whatever its names stand for.
func covers(pattern, topic string) bool {
	p, t := strings.Split(pattern, "/"), strings.Split(topic, "/")
	for i, level := range p {
		if level == "#" {
			return true
		}
		if i >= len(t) || level != t[i] && level != "+" && !strings.Contains(level, "{") {
			return false
		}
	}
	return len(p) == len(t)
}

func (d *decoder) deadMan(m *mapping) {
	if m.node == nil {
		return
	}
	x := DeadMan{Every: time.Minute}
	const example = "https://watch.example/boost"
	if !m.has("url") {
		m.failValue("url", "is missing", "an http or https URL", example)
	}
	var url string
	m.secretLink("url", []string{"https", "http"}, example, &url)
	x.URL = NewSecret(url)
	quantity(m, "every", station.ParseDuration, between(10*time.Second, day, "10 s to 1 d"), &x.Every)
	m.clearLink(url, false)
	m.done(nil)
	d.cfg.Notify.DeadMan = x
}
