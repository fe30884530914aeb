// Package mqtt receives messages from an MQTT 3.1.1 broker: a persistent session at QoS 1,
// acknowledged by hand, one message at a time, with packets bounded before they are
// allocated. A Source subscribes; all it publishes are questions to those who send, see Ask.
package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Defaults of Options.
const (
	DefaultMaxPacket   = 1 << 20
	DefaultKeepAlive   = 30 * time.Second
	DefaultMaxWait     = 10 * time.Second
	DefaultMaxBacklog  = 2 * time.Minute
	shortestWait       = 100 * time.Millisecond
	connectTimeout     = 10 * time.Second
	firstResubscribe   = 10 * time.Second
	longestResubscribe = time.Minute
)

// Message is a message as it arrived.
type Message struct {
	Topic    string
	Payload  []byte
	QoS      byte
	Retained bool
	// Duplicate says that the broker had sent it before; not every broker tells.
	Duplicate bool
	// Backlog says that it may have waited in the broker or on its way to us, so that its
	// arrival tells little of its age; see backlog for how that is guessed.
	Backlog bool
	// Arrival is when its last bytes were read from the network, which is before Handle
	// is called, by as long as Handle was busy with earlier ones.
	Arrival time.Time
	// Ack acknowledges the message; once is enough, and it never blocks on the network.
	// Call it in the order of arrival. On another connection than the message's own it
	// does nothing: the broker sends the message again there.
	Ack func()
}

// Options of a Source.
type Options struct {
	Brokers   []string // tcp, ssl, ws or wss://host:port, tried in this order
	ClientID  string   // names the session at the broker, so it must stay the same
	User      string
	Password  func() (string, error) // asked for at every connection; nil: none
	TLS       *tls.Config            // of ssl://; nil: the system's certificates
	Filters   []string               // subscribed at QoS 1, or at 0 where Passing
	Passing   bool                   // the session ends with the connection: the broker keeps nothing for us
	MaxPacket int64                  // bound on a packet's announced bytes after its header, 0: 1 MiB
	// Handle is called for each message in turn. While it blocks nothing is read from the
	// broker: that is the back pressure. It returns early when ctx ends, and then does not
	// acknowledge.
	Handle func(ctx context.Context, m Message)
	// OnTooLarge is called for a message beyond MaxPacket, after it was read over, with
	// its announced bytes. It must not block.
	OnTooLarge func(topic string, size int64)
	KeepAlive  time.Duration // whole seconds, 0: 30 s
	MaxWait    time.Duration // longest wait between attempts to connect, 0: 10 s
	MaxBacklog time.Duration // see backlog, 0: 2 min
	Handshake  time.Duration // longest time for dialling and for the broker's word of welcome, each; 0: 10 s
	Logger     *slog.Logger  // nil: none
}

// Source is a connection to a broker that is kept up while Run runs.
type Source struct {
	opt Options
	log *slog.Logger

	mu       sync.Mutex
	evicted  evictions
	conn     *conn       // the present one
	client   paho.Client // of the present connection, nil between two
	figures  Figures
	lostAt   time.Time // when the last connection ended, zero: never had one
	handling sync.Mutex
}

// Figures are how a source does.
type Figures struct {
	Connected  bool
	Broker     string    // of those in the list, the one that the present connection is to
	Subscribed bool      // every filter was granted on this connection
	Reconnects int64     // connections after the first
	Received   int64     // messages handed on, redelivered ones again
	TooLarge   int64     // messages read over
	LastError  string    // why the last connection ended or could not be made
	Since      time.Time // of the present connection
	// Doubled is why another client seems to use our client id, "" where none does.
	Doubled string
}

// New gives a source; Run connects it. It fails on options that cannot work.
func New(opt Options) (*Source, error) {
	if opt.ClientID == "" {
		return nil, errors.New("cannot keep an MQTT session without a client id: give mqtt.client_id")
	}
	if len(opt.Filters) == 0 || opt.Handle == nil {
		return nil, errors.New("cannot receive MQTT messages without a topic filter and a handler")
	}
	if len(opt.Brokers) == 0 {
		return nil, errors.New("cannot receive MQTT messages without a broker: give mqtt.broker, such as tcp://127.0.0.1:1883")
	}
	for _, b := range opt.Brokers {
		if err := checkBroker(b); err != nil {
			return nil, err
		}
	}
	return &Source{opt: opt.withDefaults(), log: logger(opt.Logger)}, nil
}

func (o Options) withDefaults() Options {
	if o.MaxPacket <= 0 {
		o.MaxPacket = DefaultMaxPacket
	}
	if o.OnTooLarge == nil {
		o.OnTooLarge = func(string, int64) {}
	}
	if o.KeepAlive < time.Second {
		o.KeepAlive = DefaultKeepAlive
	}
	if o.MaxWait <= 0 {
		o.MaxWait = DefaultMaxWait
	}
	if o.MaxBacklog <= 0 {
		o.MaxBacklog = DefaultMaxBacklog
	}
	if o.Handshake <= 0 {
		o.Handshake = connectTimeout
	}
	return o
}

func logger(l *slog.Logger) *slog.Logger {
	if l == nil {
		return slog.New(slog.DiscardHandler)
	}
	return l
}

// schemes tells which schemes are encrypted.
var schemes = map[string]bool{"tcp": false, "mqtt": false, "ws": false, "ssl": true, "tls": true, "mqtts": true, "wss": true}

func checkBroker(broker string) error {
	u, err := url.Parse(broker)
	if err != nil || u.Port() == "" {
		return fmt.Errorf("cannot use broker %q: expected scheme, host and port, such as tcp://127.0.0.1:1883", redacted(broker))
	}
	if _, ok := schemes[u.Scheme]; !ok {
		return fmt.Errorf("cannot use broker %q: the scheme %q is not known; use tcp, ssl, ws or wss", redacted(broker), u.Scheme)
	}
	return nil
}

// redacted gives a broker's address without what may be a password.
func redacted(broker string) string {
	if i := strings.LastIndexByte(broker, '@'); i >= 0 {
		return "..." + broker[i:]
	}
	return broker
}

// Figures returns the present figures.
func (s *Source) Figures() Figures {
	s.mu.Lock()
	defer s.mu.Unlock()
	f := s.figures
	if s.evicted.suspicious() && !(f.Connected && time.Since(f.Since) > shortLived) {
		f.Doubled = s.doubled()
	}
	return f
}

func (s *Source) update(f func(*Figures)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(&s.figures)
}
