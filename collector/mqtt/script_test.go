package mqtt

import (
	"context"
	"errors"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// script is a broker on loopback that does what a test tells it.
type script struct {
	t        *testing.T
	listener net.Listener
	session  bool                        // CONNACK says that the session was kept
	refuse   map[string]int              // filter -> how many times its subscription is refused
	silent   bool                        // pings are not answered
	play     func(c *client, number int) // after each SUBACK, in its own goroutine; number from 1

	mu     sync.Mutex
	acks   []uint16
	pings  int
	topics [][]string // by subscription
	number int
	conns  sync.WaitGroup
}

// client is a connection to the script.
type client struct {
	net.Conn
	mu sync.Mutex
}

func (c *client) send(p packets.ControlPacket) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return p.Write(c.Conn)
}

func (c *client) publish(topic string, id uint16, payload string) error {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.MessageID, p.Payload = topic, id, []byte(payload)
	if id > 0 {
		p.Qos = 1
	}
	return c.send(p)
}

func serve(t *testing.T, s *script) *script {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.t, s.listener = t, l
	accepting := make(chan struct{})
	go func() {
		defer close(accepting)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s.conns.Go(func() { s.serve(&client{Conn: c}) })
		}
	}()
	t.Cleanup(func() { l.Close(); <-accepting; s.conns.Wait() })
	return s
}

func (s *script) url() string { return "tcp://" + s.listener.Addr().String() }

func (s *script) serve(c *client) {
	defer c.Close()
	for {
		p, err := packets.ReadPacket(c)
		if err != nil || !s.answer(c, p) {
			return
		}
	}
}

func (s *script) answer(c *client, p packets.ControlPacket) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch p := p.(type) {
	case *packets.ConnectPacket:
		if p.CleanSession || p.Keepalive == 0 {
			s.t.Errorf("connect: %v", p)
		}
		a := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
		a.SessionPresent = s.session
		return c.send(a) == nil
	case *packets.SubscribePacket:
		return s.subscribe(c, p) == nil
	case *packets.PubackPacket:
		s.acks = append(s.acks, p.MessageID)
	case *packets.PingreqPacket:
		if s.pings++; !s.silent {
			return c.send(packets.NewControlPacket(packets.Pingresp)) == nil
		}
	case *packets.DisconnectPacket:
		return false
	default:
		s.t.Errorf("the source sent %v", p) // it must publish nothing
	}
	return true
}

func (s *script) subscribe(c *client, p *packets.SubscribePacket) error {
	a := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
	a.MessageID = p.MessageID
	for i, f := range p.Topics {
		code := p.Qoss[i]
		if s.refuse[f] > 0 {
			s.refuse[f]--
			code = refused
		}
		a.ReturnCodes = append(a.ReturnCodes, code)
	}
	s.topics = append(s.topics, p.Topics)
	s.number++
	n := s.number
	err := c.send(a)
	if s.play != nil {
		s.conns.Go(func() { s.play(c, n) })
	}
	return err
}

func (s *script) acked() []uint16 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]uint16(nil), s.acks...)
}

// start runs a source until the test ends.
func start(t *testing.T, opt Options) *Source {
	t.Helper()
	if opt.ClientID == "" {
		opt.ClientID = "watcher"
	}
	if opt.Filters == nil {
		opt.Filters = []string{"boost/#"}
	}
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("run ended with %v", err)
		}
	})
	return s
}

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

// await waits until ok holds.
func await(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for: %s", what)
		}
	}
}
