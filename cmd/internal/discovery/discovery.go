// Package discovery connects to a broker that nobody has described, and keeps what package discover concludes
// of it. It publishes nothing, and leaves nothing behind at the broker.
package discovery

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"strings"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/collector/discover"
	"strokewise/collector/mqtt"
)

// maxPacket is the longest packet that is read, bytes. Longer ones are read over.
const maxPacket = 1 << 20

// At is where to listen.
type At struct {
	Broker         string // scheme://host:port, or host, or host:port
	User, Password string // "": none
	Filter         string // of topics; "": all
}

// Listening is a connection with what it has heard.
type Listening struct {
	at     At
	source *mqtt.Source
	mu     sync.Mutex
	heard  *discover.Listener
}

var errBroker = errors.New("expected an address such as tcp://127.0.0.1:1883, or ssl://broker.example:8883")

// New prepares to listen; Run does. It fails where the address cannot be one, or a password would travel in
// clear.
func New(at At, log *slog.Logger) (*Listening, error) {
	broker, err := address(at.Broker)
	if err != nil {
		return nil, fmt.Errorf("cannot listen at %.80q: %w", withoutLogin(at.Broker), err)
	}
	at.Broker = broker
	if at.Filter == "" {
		at.Filter = "#"
	}
	u, _ := url.Parse(broker)
	if at.User != "" && clear(u.Scheme) && !loopback(u.Hostname()) {
		return nil, fmt.Errorf("cannot listen at %s with a login: the password would travel in clear; use ssl://%s", broker, u.Hostname())
	}
	l := &Listening{at: at, heard: discover.New()}
	o := mqtt.Options{Brokers: []string{broker}, ClientID: "strokewise-first-run-" + rand.Text()[:8], User: at.User, Filters: []string{at.Filter}, Passing: true,
		MaxPacket: maxPacket, Handle: l.take, Logger: log}
	if at.Password != "" {
		o.Password = func() (string, error) { return at.Password, nil }
	}
	l.source, err = mqtt.New(o)
	return l, err
}

// Run listens until ctx ends.
func (l *Listening) Run(ctx context.Context) error { return l.source.Run(ctx) }

func (l *Listening) take(_ context.Context, m mqtt.Message) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.heard.Take(&discover.Message{Topic: m.Topic, Payload: m.Payload, Retained: m.Retained, At: station.InstantOf(m.Arrival)})
	m.Ack()
}

// At returns where it listens, with the address completed.
func (l *Listening) At() At { return l.at }

// Findings returns what was concluded up to now.
func (l *Listening) Findings() *discover.Findings {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.heard.Findings()
}

// Trouble returns why nothing can be heard, "" where it can.
func (l *Listening) Trouble() string {
	f := l.source.Figures()
	switch {
	case f.Connected && f.Subscribed:
		return ""
	case f.Connected:
		return "the broker has not granted the subscription of " + l.at.Filter + ": see its access rules for this user"
	case f.LastError != "":
		return f.LastError
	}
	return "connecting to " + l.at.Broker
}

// address completes the address of a broker.
func address(text string) (string, error) {
	text = strings.TrimSpace(text)
	if !strings.Contains(text, "://") {
		text = "tcp://" + text
	}
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Hostname() == "":
		return "", errBroker
	case u.User != nil:
		return "", errors.New("it holds a user or a password: they have fields of their own")
	case strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "":
		return "", errBroker
	}
	port := u.Port()
	switch u.Scheme {
	case "tcp", "mqtt":
		port = orElse(port, "1883")
	case "ssl", "tls", "mqtts":
		port = orElse(port, "8883")
	default:
		return "", fmt.Errorf("the scheme %.20q is not known: %w", u.Scheme, errBroker)
	}
	return u.Scheme + "://" + net.JoinHostPort(u.Hostname(), port), nil
}

func orElse(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func clear(scheme string) bool { return scheme == "tcp" || scheme == "mqtt" }

// withoutLogin returns an address without what may be a password.
func withoutLogin(s string) string { return s[strings.LastIndexByte(s, '@')+1:] }

// loopback reports whether a host is this machine.
func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}
