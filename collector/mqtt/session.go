package mqtt

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	refused       = 0x80 // return code of a subscription (MQTT 3.1.1, 3.9.3)
	noPingTimeout = 10 * 365 * 24 * time.Hour
	libraryWait   = 5 * time.Second // of a subscription for the library's own goroutines
	goodbye       = 250             // ms for the library to send DISCONNECT
)

// Run connects, subscribes and hands messages on until ctx ends, and connects again, after
// growing waits, whenever the connection is lost. It returns ctx's error, once Handle has
// returned for the last time; what was not acknowledged stays with the broker.
//
// Every connection has its own client of the library, which is told neither to retry nor
// to reconnect: its waits cannot be cut short, and on a reconnection it does not tell
// whether the broker kept the session. Subscriptions are made anew on each connection
// (and so are not resumed by the library), since a broker may have lost them.
func (s *Source) Run(ctx context.Context) error {
	wait := shortestWait
	for ctx.Err() == nil {
		began := time.Now()
		err := s.session(ctx)
		if ctx.Err() != nil {
			break
		}
		if time.Since(began) > s.opt.MaxWait {
			wait = shortestWait // it had been sound
		}
		s.log.Error("no connection to the broker", slog.Any("error", err), slog.Duration("retry_in", wait))
		s.update(func(f *Figures) { f.LastError = err.Error() })
		if why := s.Figures().Doubled; why != "" {
			s.log.Error("the broker keeps ending our connection", slog.String("why", why))
		}
		if !sleep(ctx, wait) {
			break
		}
		wait = min(2*wait, s.opt.MaxWait)
	}
	return ctx.Err()
}

// session is one connection from beginning to end; its error tells why it ended.
func (s *Source) session(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	lost := make(chan error, 1)
	opt, err := s.options(ctx, lost)
	if err != nil {
		return err
	}
	client := paho.NewClient(opt)
	defer s.leave(client, cancel)
	if err := s.connect(ctx, client); err != nil {
		s.note(nil)
		return err
	}
	stop := make(chan struct{})
	subscribed := make(chan struct{})
	go func() {
		defer close(subscribed)
		s.subscribe(ctx, client, stop)
	}()
	defer func() { close(stop); <-subscribed }()
	select {
	case err := <-lost:
		s.note(s.present())
		return fmt.Errorf("connection lost: %w", err)
	case <-ctx.Done():
		return ctx.Err()
	}
}

// leave ends a connection and waits for its handler and its goroutines.
func (s *Source) leave(client paho.Client, cancel context.CancelFunc) {
	client.Disconnect(goodbye)
	cancel()
	c := s.present()
	if c == nil {
		return
	}
	_ = c.Close()
	c.done.Wait()
	s.handling.Lock() // no call of Handle begins after this one has ended
	defer s.handling.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.figures.Connected {
		s.lostAt = c.lastHeard()
	}
	s.client = nil
	s.conn, s.figures.Connected, s.figures.Subscribed, s.figures.Broker = nil, false, false, ""
}

// connect makes the connection, or gives up when ctx ends.
func (s *Source) connect(ctx context.Context, client paho.Client) error {
	token := client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		if c := s.present(); c != nil {
			_ = c.Close() // cuts the handshake short
		}
		<-token.Done()
	}
	if err := token.Error(); err != nil {
		return fmt.Errorf("cannot connect to %s: %w", s.brokers(), err)
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	s.mu.Lock()
	s.client = client
	s.mu.Unlock()
	s.update(func(f *Figures) {
		if !s.lostAt.IsZero() {
			f.Reconnects++
		}
		f.Connected, f.Since = true, time.Now()
	})
	resumed := token.(*paho.ConnectToken).SessionPresent()
	s.log.Info("connected to the broker", slog.String("broker", s.Figures().Broker), slog.Bool("session_resumed", resumed))
	return nil
}

func (s *Source) options(ctx context.Context, lost chan<- error) (*paho.ClientOptions, error) {
	password, err := secret(s.opt.Password)
	if err != nil {
		return nil, err
	}
	o := paho.NewClientOptions()
	for _, b := range s.opt.Brokers {
		o.AddBroker(b)
	}
	o.SetClientID(s.opt.ClientID).SetUsername(s.opt.User).SetPassword(password).SetProtocolVersion(4)
	o.SetCleanSession(s.opt.Passing).SetResumeSubs(false).SetStore(noStore{})
	o.SetConnectRetry(false).SetAutoReconnect(false).SetConnectTimeout(s.opt.Handshake).SetWriteTimeout(libraryWait)
	o.SetKeepAlive(s.opt.KeepAlive).SetPingTimeout(noPingTimeout)
	o.SetOrderMatters(true).SetAutoAckDisabled(true)
	o.SetDefaultPublishHandler(s.handler(ctx)) // queued messages come before the subscription is confirmed
	o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	o.SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) { return s.open(ctx, u) })
	return o, nil
}

// secret asks for the password of a broker.
func secret(ask func() (string, error)) (string, error) {
	if ask == nil {
		return "", nil
	}
	text, err := ask()
	if err != nil {
		return "", fmt.Errorf("no password for the broker: %w", err)
	}
	return text, nil
}

// open dials a broker and makes the connection the present one.
func (s *Source) open(ctx context.Context, u *url.URL) (net.Conn, error) {
	nc, err := s.dial(ctx, u)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, errors.Join(err, nc.Close())
	}
	s.conn = newConn(nc, s)
	s.figures.Broker = redacted(u.String())
	return s.conn, nil
}

func (s *Source) dial(ctx context.Context, u *url.URL) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, s.opt.Handshake)
	defer cancel()
	return reach(ctx, u, s.opt.TLS, (&net.Dialer{}).DialContext)
}
