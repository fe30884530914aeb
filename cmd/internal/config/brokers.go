package config

import (
	"strings"

	"go.yaml.in/yaml/v3"
)

const moreExample = "brokers: [{ name: southmill, broker: ssl://broker.southmill.example:8883, site: southmill }]"

// connection reads how a broker is reached.
func (d *decoder) connection(m *mapping, l *Link) {
	m.broker(&l.Broker, &l.Others)
	m.text("client_id", &l.ClientID, "a name that no other client of the broker has", "client_id: strokewise")
	m.text("user", &l.User, "the user's name at the broker", "user: strokewise")
	m.readable("password_file", "/etc/strokewise/mqtt.password", &l.PasswordFile)
	d.tls(m.mapping("tls", "tls: { ca_file: /etc/strokewise/ca.pem }"), &l.TLS, "the broker's")
	m.clearBroker(l)
}

// locks reports what does not go together.
func (d *decoder) locks(m *mapping, l *Link) {
	if l.PasswordFile != "" && !m.has("user") {
		m.fail("password_file", "is given without a user", "user as well", "user: strokewise")
	}
	if m.has("tls") && l.Broker != "" && !l.Secure() {
		m.fail("tls", "is given, but the broker is not spoken to over TLS", "a broker with ssl, mqtts, tls or wss before ://", "broker: ssl://broker.example:8883")
	}
}

// more reads the brokers beside the main one.
func (d *decoder) more(m *mapping) {
	q := &d.cfg.MQTT
	m.each("brokers", moreExample, func(n *yaml.Node, path string) {
		b := d.item(n, path, "a broker", moreExample)
		if b == nil {
			return
		}
		l := Link{ClientID: q.ClientID}
		d.connection(b, &l)
		d.brokerName(b, &l)
		if s, ok := b.scalar("site", "one of the sites", "site: southmill"); ok {
			if l.Site = s; d.cfg.Site(s) == nil {
				b.fail("site", "there is no site "+quote(s), "one of the sites", "")
			}
		}
		b.done(map[string]string{"password": "a password stands in a file of its own: name it in password_file", "topics": "the topics are those of all brokers: name them beside brokers"})
		d.locks(b, &l)
		switch {
		case !b.has("broker"):
			b.failValue("broker", "is missing", brokers, "ssl://broker.example:8883")
		case l.Broker == Embedded:
			b.failValue("broker", "is the one inside the process", "the URL of another broker", "ssl://broker.example:8883")
		}
		q.More = append(q.More, l)
	})
}

// promote makes the first of the brokers the main one where there is none.
func (q *MQTT) promote(m *mapping) {
	if !m.has("broker") && len(q.More) > 0 {
		q.Link, q.More = q.More[0], q.More[1:]
	}
}

// brokerName reads the name of a broker in metrics and logs.
func (d *decoder) brokerName(b *mapping, l *Link) {
	const expected, example = "a name of at most 64 letters, digits, - and _, other than main", "southmill"
	s, ok := b.scalar("name", expected, "name: "+example)
	switch {
	case !b.has("name"):
		b.failValue("name", "is missing", expected, example)
	case !ok:
	case !isName(s) || s == "main":
		b.failValue("name", quote(s)+" is no name of a broker", expected, example)
	default:
		for i := range d.cfg.MQTT.More {
			if strings.EqualFold(d.cfg.MQTT.More[i].Name, s) {
				b.failValue("name", quote(s)+" is given twice", "a name for each", example)
			}
		}
		l.Name = s
	}
}

// sited reports whether every broker stands for a site, before one of them is the main one.
func (q *MQTT) sited() bool {
	for i := range q.More {
		if q.More[i].Site == "" {
			return false
		}
	}
	return q.Broker == "" && len(q.More) > 0
}
