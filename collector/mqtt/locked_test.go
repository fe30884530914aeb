package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"os"
	"strings"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/deploy/peers"
)

// lockedTLS trusts an authority, and shows the client's certificate unless it has none.
func lockedTLS(t *testing.T, m *peers.Locked, ca string, shows bool) *tls.Config {
	t.Helper()
	text, err := os.ReadFile(ca)
	if err != nil {
		t.Fatal(err)
	}
	c := &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: x509.NewCertPool()}
	if !c.RootCAs.AppendCertsFromPEM(text) {
		t.Fatal("no certificate in ", ca)
	}
	if shows {
		pair, err := tls.LoadX509KeyPair(m.Cert, m.Key)
		if err != nil {
			t.Fatal(err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c
}

func always(text string) func() (string, error) { return func() (string, error) { return text, nil } }

// A real broker with TLS, client certificates, passwords and access rules: what may be read comes,
// what may not does not, and the panels' topics can be written.
func TestMosquittoWithTLSAndAccessRules(t *testing.T) {
	t.Run("ssl", func(t *testing.T) { locksHold(t, "ssl://", peers.LockedMosquitto(t)) })
	t.Run("wss", func(t *testing.T) { locksHold(t, "wss://", peers.LockedMosquitto(t, peers.WebSockets(t)...)) })
}

func locksHold(t *testing.T, scheme string, m *peers.Locked) {
	t.Helper()
	conf := lockedTLS(t, m, m.CA, true)
	got := make(chan Message, 10)
	s := start(t, Options{Brokers: []string{scheme + m.Addr}, User: "reader", Password: always(m.Passwords["reader"]), TLS: conf, Filters: []string{"boost/#", "lights/#"},
		Handle: func(_ context.Context, m Message) { got <- m; m.Ack() }})
	await(t, "the subscription", func() bool { return s.Figures().Subscribed })

	// the panel's light is written, and is not read: reader may not
	panel := NewRetained(RetainedOptions{Brokers: []string{scheme + m.Addr}, ClientID: "panel", User: "reader", Password: always(m.Passwords["reader"]), TLS: conf})
	if err := panel.Once(t.Context(), "lights/a", "high"); err != nil {
		t.Error(err)
	}
	c := paho.NewClient(paho.NewClientOptions().AddBroker(scheme + m.Addr).SetClientID("sensors").SetUsername("sensors").SetPassword(m.Passwords["sensors"]).SetTLSConfig(conf))
	if k := c.Connect(); !k.WaitTimeout(patience) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	defer c.Disconnect(250)
	publish(t, c, 0, 3, "")
	for i := range 3 {
		if msg := <-got; msg.Topic != "boost/a" || string(msg.Payload) != string(rune('0'+i)) {
			t.Errorf("message %d: %+v", i, msg)
		}
	}
	if f := s.Figures(); f.Received != 3 || f.Doubled != "" {
		t.Errorf("figures %+v", f)
	}
}

// Who lacks any of the locks' keys is not let in, and is told which one.
func TestMosquittoLetsNobodyElseIn(t *testing.T) {
	m := peers.LockedMosquitto(t)
	word := always(m.Passwords["reader"])
	for name, c := range map[string]struct {
		url, user string
		password  func() (string, error)
		conf      *tls.Config
		want      string
	}{
		"another authority": {"ssl://", "reader", word, lockedTLS(t, m, m.StrangeCA, true), "unknown authority"},
		"no certificate":    {"ssl://", "reader", word, lockedTLS(t, m, m.CA, false), "certificate"},
		"wrong password":    {"ssl://", "reader", always("guessed"), lockedTLS(t, m, m.CA, true), "not Authorized"},
		"no user":           {"ssl://", "", nil, lockedTLS(t, m, m.CA, true), "not Authorized"},
		"password missing":  {"ssl://", "reader", func() (string, error) { return "", errors.New("the file is empty") }, lockedTLS(t, m, m.CA, true), "the file is empty"},
		"in clear":          {"tcp://", "reader", word, nil, "cannot connect"},
	} {
		t.Run(name, func(t *testing.T) {
			s := start(t, Options{Brokers: []string{c.url + m.Addr}, User: c.user, Password: c.password, TLS: c.conf, Handle: func(context.Context, Message) { t.Error("a message came") }})
			// By TLS 1.3 a broker refuses a client after the client's side of the handshake: an attempt may end by a reset before
			// the reason is read.
			await(t, c.want, func() bool { return strings.Contains(s.Figures().LastError, c.want) })
			if f := s.Figures(); f.Connected || f.Subscribed || strings.Contains(f.LastError, m.Passwords["reader"]) {
				t.Errorf("figures %+v", f)
			}
		})
	}
}

// Two clients with one id: the broker takes the connection from each in turn, and that is said.
func TestADoubledClientIDIsNamed(t *testing.T) {
	m := peers.Mosquitto(t)
	opt := Options{Brokers: []string{"tcp://" + m.Addr}, ClientID: "twin", Handle: func(context.Context, Message) {}}
	one, other := start(t, opt), start(t, opt)
	await(t, "the suspicion", func() bool {
		for _, s := range []*Source{one, other} {
			if strings.Contains(s.Figures().Doubled, `"twin"`) {
				return true
			}
		}
		return false
	})
}

func TestEvictionsInARow(t *testing.T) {
	var e evictions
	for i, c := range []struct {
		sound, byBroker, long bool
		want                  bool
	}{
		{true, true, false, false}, {true, true, false, false}, {false, false, false, false}, // the broker is away: it restarts
		{true, true, false, false}, {true, true, false, false}, {true, false, false, false}, // we ended it
		{true, true, false, false}, {true, true, false, false}, {true, true, true, false}, // it had lasted
		{true, true, false, false}, {true, true, false, false}, {true, true, false, true},
	} {
		lasted := shortLived / 60
		if c.long {
			lasted = 2 * shortLived
		}
		if e.ended(c.sound, c.byBroker, lasted); e.suspicious() != c.want {
			t.Errorf("%d: %d in a row", i, e)
		}
	}
}
