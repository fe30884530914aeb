package config

import (
	"cmp"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// mqtt reads where samples come from.
func (d *decoder) mqtt(m, top *mapping) {
	q := &d.cfg.MQTT
	d.connection(m, &q.Link)
	d.more(m)
	quantity(m, "max_packet", station.ParseBytes, between[int64](1<<10, 256<<20-1, "1 KiB to just under 256 MiB"), &q.MaxPacket)
	m.each("topics", topicsExample, func(n *yaml.Node, path string) {
		if t := d.item(n, path, "a topic pattern", topicExample); t != nil {
			d.topic(t)
		}
	})
	m.done(map[string]string{"password": "a password stands in a file of its own: name it in password_file"})
	d.locks(m, &q.Link)
	q.promote(m)
	if absent := m.node == nil && (m.pos == nil || isNull(m.pos)); !d.opt.NoBroker && !(absent && top.begins()) {
		m.demandBroker(top)
	}
}

// demandBroker reports what the connection to a broker cannot be without.
func (m *mapping) demandBroker(top *mapping) {
	if m.node == nil && (m.pos == nil || isNull(m.pos)) {
		top.fail("mqtt", "is missing", "the broker and its topics", "mqtt: { broker: tcp://127.0.0.1:1883, "+topicsExample+" }")
		return
	}
	if m.node == nil { // no mapping, as was told
		return
	}
	if !m.has("broker") && !m.has("brokers") {
		m.failValue("broker", "is missing", brokers, "tcp://127.0.0.1:1883")
	}
	if n := m.get("topics"); n == nil || isNull(n) || n.Kind == yaml.SequenceNode && len(n.Content) == 0 {
		m.fail("topics", "names no topic", "at least one pattern", topicsExample)
	}
}

const brokers = `"embedded", or a URL that begins with tcp, mqtt, ws, ssl, mqtts, tls or wss and ://`

// usualPort is the port of a broker, by TLS and WebSocket (RFC 6455, 3; IANA's registry for MQTT).
var usualPort = map[bool]map[bool]string{false: {false: "1883", true: "80"}, true: {false: "8883", true: "443"}}

// usualPath is the path of MQTT over WebSocket (common practice, no source).
const usualPath = "/mqtt"

func webScheme(scheme string) bool { return scheme == "ws" || scheme == "wss" }

// broker reads the broker's address and completes its port.
func (m *mapping) broker(into *string, others *[]string) {
	m.alsoList("broker")
	const example = "tcp://127.0.0.1:1883"
	if n := m.get("broker"); n != nil && n.Kind == yaml.ScalarNode && n.Value == Embedded {
		*into = Embedded
		return
	}
	if n := m.get("broker"); n != nil && n.Kind == yaml.SequenceNode {
		m.brokerList(into, others)
		return
	}
	var s string
	if !m.brokerLink(&s, example) {
		return
	}
	if problem := completeBroker(s, into); problem != "" {
		m.failValue("broker", problem, brokers, example)
	}
}

// brokerList reads brokers of which the first that can be reached is used.
func (m *mapping) brokerList(into *string, others *[]string) {
	const expected, example = "URLs of brokers that take each other's place, with TLS at all of them or at none", "[ssl://broker-1.example:8883, ssl://broker-2.example:8883]"
	var all []string
	m.each("broker", "broker: "+example, func(n *yaml.Node, path string) {
		var s string
		u, err := url.Parse(n.Value)
		switch {
		case n.Kind != yaml.ScalarNode || err != nil || u.Hostname() == "" || !slices.Contains(brokerSchemes, u.Scheme) || strings.IndexFunc(n.Value, unprintable) >= 0:
			m.d.fail(n, path, "is no such URL", expected, example)
		case u.User != nil:
			m.d.fail(n, path, "holds a user or a password", expected+"; the keys user and password_file for the login", example)
		default:
			if problem := completeBroker(n.Value, &s); problem != "" {
				m.d.fail(n, path, problem, expected, example)
			} else if len(all) > 0 && tlsScheme(scheme(s)) != tlsScheme(scheme(all[0])) {
				m.d.fail(n, path, "differs from the first in TLS", expected, example)
			} else {
				all = append(all, s)
			}
		}
	})
	if len(all) > 0 {
		*into, *others = all[0], all[1:]
	}
}

// completeBroker completes the port and the path of a broker's URL, and returns what is wrong with it.
func completeBroker(s string, into *string) (problem string) {
	u, err := url.Parse(s)
	if err != nil || !webScheme(u.Scheme) && strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "" {
		return "has something behind the port"
	}
	port := u.Port()
	if n, err := strconv.ParseUint(port, 10, 16); port != "" && (err != nil || n == 0) {
		return "has no port from 1 to 65535"
	}
	if port == "" {
		port = usualPort[tlsScheme(u.Scheme)][webScheme(u.Scheme)]
	}
	*into = u.Scheme + "://" + net.JoinHostPort(u.Hostname(), port)
	if webScheme(u.Scheme) {
		*into += cmp.Or(strings.TrimRight(u.EscapedPath(), "/"), usualPath)
	}
	return ""
}

// brokerSchemes are those of a broker's URL.
var brokerSchemes = []string{"tcp", "mqtt", "ws", "ssl", "mqtts", "tls", "wss"}

func (m *mapping) brokerLink(into *string, example string) bool {
	before := len(m.d.faults.list)
	ok := m.link("broker", brokerSchemes, example, into)
	for _, e := range m.d.faults.list[min(before, len(m.d.faults.list)):] {
		e.Expected = brokers
		if strings.HasPrefix(e.Problem, "holds a user") {
			e.Expected += "; the keys user and password_file for the login"
		}
	}
	return ok
}

// tls reads the files of a TLS connection to somebody.
func (d *decoder) tls(m *mapping, t *TLS, whose string) {
	m.readable("ca_file", "/etc/strokewise/ca.pem", &t.CAFile)
	m.readable("cert_file", "/etc/strokewise/client.pem", &t.CertFile)
	m.readable("key_file", "/etc/strokewise/client.key", &t.KeyFile)
	check := whose + " certificate is always checked; name its authority in ca_file"
	m.done(map[string]string{"insecure": check, "insecure_skip_verify": check, "skip_verify": check, "verify": check})
	if m.has("cert_file") != m.has("key_file") {
		given, lacking := "cert_file", "key_file"
		if m.has("key_file") {
			given, lacking = lacking, given
		}
		m.fail(given, "is given without "+lacking, "both or neither", lacking+": /etc/strokewise/client.pem")
	}
}

// topic reads an entry of the topics: a pattern, a map of single topics, or both.
func (d *decoder) topic(m *mapping) {
	t := defaultTopic()
	m.payload(&t.Payload)
	m.pressureUnit(&t.PressureUnit)
	quantity(m, "max_age", station.ParseDuration, between(time.Minute, 366*24*time.Hour, "1 min to 366 days"), &t.MaxAge)
	t.Mapping = d.payloadMapping(m, &t)
	matches := m.match(&t)
	d.fixed(m, t)
	m.done(nil)
	if matches {
		d.cfg.MQTT.Topics = append(d.cfg.MQTT.Topics, t)
	}
	if !m.has("match") && !m.has("fixed") {
		m.failValue("match", "is missing", "a pattern, or single topics under fixed", matchExample)
	}
	m.optional("match")
}

// match reads a pattern.
func (m *mapping) match(t *Topic) bool {
	const expected = "levels with slashes between them, each a plain name or {site}, {station} or {channel}"
	s, ok := m.scalar("match", expected, "match: "+matchExample)
	if !ok {
		return false
	}
	problem := ""
	switch {
	case len(m.d.cfg.Sites) > 1 && !strings.Contains(s, "{site}") && !t.namesSite() && !m.d.cfg.MQTT.sited():
		problem = fmt.Sprintf("names no {site}, but there are %d sites", len(m.d.cfg.Sites))
	case t.Payload == "scalar" && !strings.Contains(s, "{channel}") && !t.namesChannel():
		problem = "names no {channel}, and a scalar does not tell its own"
	}
	if problem == "" {
		problem = t.pattern(s)
	}
	for i := range m.d.cfg.MQTT.Topics {
		if m.d.cfg.MQTT.Topics[i].Match == s {
			m.fail("match", quote(s)+" is given twice", "each pattern once", "")
			return false
		}
	}
	if problem != "" {
		m.failValue("match", problem, expected, t.matchFor())
		return false
	}
	t.Match = s
	return true
}

func (m *mapping) payload(into *string) {
	names := payload.FormatNames()
	if i, ok := m.choice("payload", names...); ok {
		*into = names[i]
	}
}

func (m *mapping) pressureUnit(into *float64) {
	s, ok := m.scalar("pressure_unit", station.PressureUnits(), "pressure_unit: kPa")
	if !ok {
		return
	}
	pa, ok := station.PressureUnit(s)
	if !ok {
		m.fail("pressure_unit", quote(s)+" is no unit of pressure", station.PressureUnits(), "pressure_unit: kPa")
		return
	}
	*into = pa
}

// fixed reads the topics that fit no pattern, each with what it stands for.
func (d *decoder) fixed(m *mapping, t Topic) {
	f := m.mapping("fixed", "fixed: { plc7/ai3: northdock/press-4/outlet_pressure }")
	f.anyKeys()
	for _, k := range f.keys {
		target, problem := d.target(f, k.Value)
		switch {
		case k.Value == "" || strings.ContainsAny(k.Value, "+#") || strings.HasPrefix(k.Value, "$") || len(k.Value) > 65535:
			problem = "is no topic that a client can publish to"
		case problem == "" && target.Channel == "" && t.Payload == "scalar" && !t.namesChannel():
			problem = "names no channel, and a scalar does not tell its own"
		}
		if _, twice := d.cfg.MQTT.Fixed[k.Value]; twice {
			problem = "is given in another entry too"
		}
		if problem != "" {
			f.fail(k.Value, problem, "site/station/channel, or site/station where payloads name their channels", "plc7/ai3: northdock/press-4/outlet_pressure")
			continue
		}
		target.Payload, target.PressureUnit, target.Mapping, target.MaxAge = t.Payload, t.PressureUnit, t.Mapping, t.MaxAge
		if d.cfg.MQTT.Fixed == nil {
			d.cfg.MQTT.Fixed = map[string]Fixed{}
		}
		d.cfg.MQTT.Fixed[k.Value] = target
	}
}

// target reads what a fixed topic stands for.
func (d *decoder) target(m *mapping, key string) (Fixed, string) {
	n := follow(m.entries[key].value)
	if n.Kind != yaml.ScalarNode || isNull(n) {
		return Fixed{}, "is " + kind(n)
	}
	parts := strings.Split(n.Value, "/")
	if len(parts) != 2 && len(parts) != 3 {
		return Fixed{}, quote(n.Value) + " has not two or three parts"
	}
	f := Fixed{Site: parts[0], Station: parts[1]}
	if len(parts) == 3 {
		f.Channel = parts[2]
		if _, ok := station.ParseChannel(f.Channel); !ok {
			return f, fmt.Sprintf("%s is no channel (%s)", quote(f.Channel), list(station.ChannelNames()))
		}
	}
	if k := (station.Key{Site: f.Site, Station: f.Station}); d.lines[k] == 0 {
		return f, fmt.Sprintf("the station %s is not in this file", quote(k.String()))
	}
	return f, ""
}
