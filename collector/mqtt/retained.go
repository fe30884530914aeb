package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const retainedWait = 5 * time.Second // for the broker's word on a message

// RetainedOptions say what a Retained keeps at a broker.
type RetainedOptions struct {
	Brokers  []string
	ClientID string
	User     string
	Password func() (string, error) // asked for at every connection; nil: none
	TLS      *tls.Config
	// Heartbeat is a retained topic that holds Alive while we are connected, and Dead
	// afterwards: it is the last will.
	Heartbeat, Alive, Dead string
	// Topics gives all topics and what each is to hold now.
	Topics    func() map[string]string
	Look      time.Duration // for changes, 0: 1 s
	Again     time.Duration // everything anew, 0: 1 min
	KeepAlive time.Duration // whole seconds, 0: 10 s; the broker tells the will after one and a half
	Logger    *slog.Logger
	// Dial makes connections, nil: the usual way. Where they carry nothing any more, the broker
	// tells the will.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
}

// Retained keeps retained messages at a broker up to date while Run runs, for lights and
// panels. It subscribes to nothing, so nothing can be commanded through it.
type Retained struct {
	opt RetainedOptions
	log *slog.Logger

	mu              sync.Mutex
	written, failed int64
	trouble         error
}

// NewRetained gives a Retained that is not connected yet.
func NewRetained(opt RetainedOptions) *Retained {
	for _, x := range [...]struct {
		d     *time.Duration
		usual time.Duration
	}{{&opt.Look, time.Second}, {&opt.Again, time.Minute}, {&opt.KeepAlive, 10 * time.Second}} {
		if *x.d <= 0 {
			*x.d = x.usual
		}
	}
	if opt.Dial == nil {
		opt.Dial = (&net.Dialer{}).DialContext
	}
	return &Retained{opt: opt, log: logger(opt.Logger)}
}

// Figures gives the messages that the broker has taken, and the attempts that failed.
func (r *Retained) Figures() (written, failed int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.written, r.failed
}

// Trouble returns why the topics are not kept up to date, nil while they are.
func (r *Retained) Trouble() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.trouble
}

func (r *Retained) does(trouble error) {
	r.mu.Lock()
	r.trouble = trouble
	r.mu.Unlock()
}

func (r *Retained) count(n *int64) {
	r.mu.Lock()
	*n++
	r.mu.Unlock()
}

// Run keeps the topics up to date until ctx ends, and then says Dead on all of them.
func (r *Retained) Run(ctx context.Context) error {
	for said := (time.Time{}); ctx.Err() == nil; {
		err := r.session(ctx)
		if ctx.Err() != nil {
			break
		}
		r.count(&r.failed)
		r.does(err)
		if time.Since(said) > time.Minute {
			said = time.Now()
			r.log.Error("panels are not told", slog.Any("error", err))
		}
		sleep(ctx, time.Second)
	}
	return ctx.Err()
}

// Once connects, writes one message that is not retained, and leaves.
func (r *Retained) Once(ctx context.Context, topic, text string) error {
	c, _, err := r.connect(ctx, false)
	if err != nil {
		return err
	}
	defer c.Disconnect(100)
	return r.wait(ctx, c.Publish(topic, 1, false, text))
}

// session is one connection. All that is retained is written before the heartbeat.
func (r *Retained) session(ctx context.Context) error {
	c, lost, err := r.connect(ctx, true)
	if err != nil {
		return err
	}
	defer c.Disconnect(100)
	held := map[string]string{}
	defer func() {
		if ctx.Err() != nil {
			r.farewell(c, held)
		}
	}()
	t := time.NewTicker(r.opt.Look)
	defer t.Stop()
	for all := (time.Time{}); ; {
		anew := time.Since(all) >= r.opt.Again
		if err := r.write(ctx, c, held, anew); err != nil {
			return err
		}
		if anew {
			all = time.Now()
			if err := r.put(ctx, c, r.opt.Heartbeat, r.opt.Alive); err != nil {
				return err
			}
			r.does(nil)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-lost:
			return fmt.Errorf("connection lost: %w", err)
		case <-t.C:
		}
	}
}

// write brings the topics up to date; one that is no more says Dead.
func (r *Retained) write(ctx context.Context, c paho.Client, held map[string]string, all bool) error {
	want := r.opt.Topics()
	for topic := range held {
		if _, ok := want[topic]; !ok {
			if err := r.put(ctx, c, topic, r.opt.Dead); err != nil {
				return err
			}
			delete(held, topic)
		}
	}
	for topic, text := range want {
		if is, ok := held[topic]; ok && is == text && !all {
			continue
		}
		if err := r.put(ctx, c, topic, text); err != nil {
			return err
		}
		held[topic] = text
	}
	return nil
}

// farewell says Dead on the heartbeat and on all topics, in the time that there is.
func (r *Retained) farewell(c paho.Client, held map[string]string) {
	ctx, cancel := context.WithTimeout(context.Background(), retainedWait)
	defer cancel()
	if r.put(ctx, c, r.opt.Heartbeat, r.opt.Dead) != nil {
		return
	}
	for topic := range held {
		if r.put(ctx, c, topic, r.opt.Dead) != nil {
			return
		}
	}
}

func (r *Retained) put(ctx context.Context, c paho.Client, topic, text string) error {
	if err := r.wait(ctx, c.Publish(topic, 1, true, text)); err != nil {
		return fmt.Errorf("cannot write %s: %w", topic, err)
	}
	r.count(&r.written)
	return nil
}

func (r *Retained) wait(ctx context.Context, t paho.Token) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.Done():
		return t.Error()
	case <-time.After(retainedWait):
		return errors.New("the broker does not answer")
	}
}

// dial makes a connection by Dial, on which the broker can do no more than answer.
func (r *Retained) dial(ctx context.Context, u *url.URL) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	c, err := reach(ctx, u, r.opt.TLS, r.opt.Dial)
	if err != nil {
		return nil, err
	}
	return answers(c), nil
}

// connect makes a connection, with the last will or without.
func (r *Retained) connect(ctx context.Context, will bool) (paho.Client, <-chan error, error) {
	password, err := secret(r.opt.Password)
	if err != nil {
		return nil, nil, err
	}
	lost := make(chan error, 1)
	o := paho.NewClientOptions()
	for _, b := range r.opt.Brokers {
		o.AddBroker(b)
	}
	o.SetClientID(r.opt.ClientID).SetUsername(r.opt.User).SetPassword(password).SetProtocolVersion(4).SetCleanSession(true)
	o.SetAutoReconnect(false).SetConnectRetry(false).SetConnectTimeout(connectTimeout).SetWriteTimeout(retainedWait)
	o.SetKeepAlive(r.opt.KeepAlive).SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	o.SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) { return r.dial(ctx, u) })
	if will {
		o.SetWill(r.opt.Heartbeat, r.opt.Dead, 1, true)
	}
	c := paho.NewClient(o)
	t := c.Connect()
	select {
	case <-t.Done():
		if err := t.Error(); err != nil {
			c.Disconnect(0)
			return nil, nil, fmt.Errorf("cannot connect to the broker: %w", err)
		}
		return c, lost, nil
	case <-ctx.Done():
		c.Disconnect(0)
		return nil, nil, ctx.Err()
	}
}
