// Package mqtt receives messages from any MQTT 3.1.1 broker: a persistent session at QoS
// 1, acknowledged by hand, in order, with bounded packets. It only subscribes.
package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	dialTimeout   = 10 * time.Second
	keepAlive     = 30 * time.Second
	pingTimeout   = 20 * time.Second
	mostBetween   = 10 * time.Second // between attempts to connect
	subscribeWait = 10 * time.Second
	subscribeNext = 15 * time.Second // after a refused subscription
	refused       = 0x80             // return code of a subscription (MQTT 3.1.1, 3.9.3)
	// DefaultMaxPacket bounds a packet where the options do not, bytes.
	DefaultMaxPacket = 1 << 20
)

// Message is a message as it arrived. Ack must be called once, in the order of arrival;
// what was not acknowledged comes again on the next connection.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool
	Backlog  bool // it may have waited in the broker's queue
	Arrival  time.Time
	Ack      func()
}

// Options of a Source.
type Options struct {
	Broker    string // tcp://host:port or ssl://host:port
	ClientID  string // stable: it names the session
	User      string
	Password  string
	TLS       *tls.Config
	Filters   []string
	MaxPacket int64 // bytes, 0: DefaultMaxPacket
	// Handle is called for each message in turn. While it blocks, nothing else is read
	// from the broker: that is the back pressure.
	Handle func(*Message)
	// TooLarge is called for each message that was read over.
	TooLarge func(topic string, size int64)
	Logger   *slog.Logger
}

// Source is a connection to a broker that is kept up.
type Source struct {
	opt        Options
	client     paho.Client
	backlog    backlog
	connected  atomic.Bool
	connects   atomic.Int64
	received   atomic.Int64
	ended      context.Context
	end        context.CancelFunc
	subscribed atomic.Bool
}

// New gives a source that does not connect yet.
func New(opt Options) (*Source, error) {
	if opt.ClientID == "" || len(opt.Filters) == 0 || opt.Handle == nil {
		return nil, errors.New("cannot subscribe without client id, filters and handler")
	}
	if opt.MaxPacket <= 0 {
		opt.MaxPacket = DefaultMaxPacket
	}
	if opt.TooLarge == nil {
		opt.TooLarge = func(string, int64) {}
	}
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	u, err := url.Parse(opt.Broker)
	if err != nil || u.Host == "" {
		return nil, fmt.Errorf("cannot use broker %q: expected something like tcp://127.0.0.1:1883", opt.Broker)
	}
	if _, ok := schemes[u.Scheme]; !ok {
		return nil, fmt.Errorf("cannot use broker %q: %q is not supported, tcp and ssl are", opt.Broker, u.Scheme)
	}
	s := &Source{opt: opt}
	s.ended, s.end = context.WithCancel(context.Background())
	s.client = paho.NewClient(s.options())
	return s, nil
}

// schemes tells which of them are encrypted.
var schemes = map[string]bool{"tcp": false, "mqtt": false, "ssl": true, "tls": true, "mqtts": true}

func (s *Source) options() *paho.ClientOptions {
	o := paho.NewClientOptions().AddBroker(s.opt.Broker).SetClientID(s.opt.ClientID).
		SetUsername(s.opt.User).SetPassword(s.opt.Password).
		SetProtocolVersion(4).SetCleanSession(false).SetResumeSubs(false).
		SetOrderMatters(true).SetAutoAckDisabled(true).
		SetAutoReconnect(true).SetConnectRetry(true).SetConnectRetryInterval(time.Second).SetMaxReconnectInterval(mostBetween).
		SetConnectTimeout(dialTimeout).SetKeepAlive(keepAlive).SetPingTimeout(pingTimeout).
		SetCustomOpenConnectionFn(s.open)
	// queued messages may come before the subscription is confirmed, so no handler hangs
	// on a subscription
	o.SetDefaultPublishHandler(s.handle)
	o.SetOnConnectHandler(s.onConnect)
	o.SetConnectionLostHandler(func(_ paho.Client, err error) {
		s.connected.Store(false)
		s.opt.Logger.Warn("connection to the broker is lost, trying again", "broker", s.opt.Broker, "error", err)
	})
	o.SetConnectionNotificationHandler(func(_ paho.Client, n paho.ConnectionNotification) {
		if f, ok := n.(paho.ConnectionNotificationFailed); ok {
			s.opt.Logger.Warn("cannot connect to the broker, trying again", "broker", s.opt.Broker, "error", f.Reason)
		}
	})
	return o
}

// open dials the broker and puts the bound around the connection.
func (s *Source) open(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
	d := &net.Dialer{Timeout: dialTimeout}
	var c net.Conn
	var err error
	if schemes[u.Scheme] {
		c, err = tls.DialWithDialer(d, "tcp", u.Host, s.opt.TLS)
	} else {
		c, err = d.Dial("tcp", u.Host)
	}
	if err != nil {
		return nil, err
	}
	return newConn(c, s.opt.MaxPacket, s.opt.TooLarge, func(session bool, rtt time.Duration) {
		s.backlog.connected(session, rtt, time.Now())
	}), nil
}

func (s *Source) handle(_ paho.Client, m paho.Message) {
	s.received.Add(1)
	now := time.Now()
	s.opt.Handle(&Message{
		Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained(),
		Backlog: s.backlog.message(now), Arrival: now, Ack: m.Ack,
	})
	s.backlog.handled(time.Now())
}

// onConnect subscribes at every connection: a broker may have forgotten the session.
func (s *Source) onConnect(c paho.Client) {
	s.connected.Store(true)
	s.connects.Add(1)
	s.opt.Logger.Info("connected to the broker", "broker", s.opt.Broker, "client_id", s.opt.ClientID)
	for {
		err := s.subscribe(c)
		if err == nil {
			s.subscribed.Store(true)
			return
		}
		if !c.IsConnectionOpen() || s.ended.Err() != nil {
			return // the next connection subscribes
		}
		s.opt.Logger.Error("the broker refuses the subscription, trying again", "broker", s.opt.Broker, "error", err)
		select {
		case <-s.ended.Done():
			return
		case <-time.After(subscribeNext):
		}
	}
}

func (s *Source) subscribe(c paho.Client) error {
	filters := make(map[string]byte, len(s.opt.Filters))
	for _, f := range s.opt.Filters {
		filters[f] = 1
	}
	t, ok := c.SubscribeMultiple(filters, nil).(*paho.SubscribeToken)
	if !ok || !t.WaitTimeout(subscribeWait) {
		return errors.New("no answer to the subscription")
	}
	if err := t.Error(); err != nil {
		return err
	}
	for f, code := range t.Result() {
		if code == refused {
			return fmt.Errorf("filter %q is refused: does the broker let user %q read it?", f, s.opt.User)
		}
	}
	return nil
}

// Run connects and receives until ctx ends, then leaves the broker with the session kept.
func (s *Source) Run(ctx context.Context) error {
	t := s.client.Connect()
	select {
	case <-ctx.Done():
	case <-t.Done():
		if err := t.Error(); err != nil {
			return fmt.Errorf("cannot connect to broker %s: %w", s.opt.Broker, err)
		}
		<-ctx.Done()
	}
	s.end()
	s.client.Disconnect(250)
	s.connected.Store(false)
	return ctx.Err()
}

// Figures are a source's own.
type Figures struct {
	Connected  bool
	Subscribed bool  // at least once
	Reconnects int64 // after the first connection
	Received   int64 // messages, without those read over
}

// Figures gives the source's figures.
func (s *Source) Figures() Figures {
	return Figures{s.connected.Load(), s.subscribed.Load(), max(0, s.connects.Load()-1), s.received.Load()}
}
