package mqtt

import (
	"context"
	"strings"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// handler hands messages of one connection to Handle, one at a time, until ctx ends.
func (s *Source) handler(ctx context.Context) paho.MessageHandler {
	return func(_ paho.Client, m paho.Message) {
		s.handling.Lock()
		defer s.handling.Unlock()
		if ctx.Err() != nil {
			return // not acknowledged: it comes again
		}
		s.mu.Lock()
		s.figures.Received++
		c := s.conn
		s.mu.Unlock()
		n := c.note()
		s.opt.Handle(ctx, Message{
			Topic: m.Topic(), Payload: m.Payload(), QoS: m.Qos(), Retained: m.Retained(), Duplicate: m.Duplicate(),
			Arrival: n.arrival, Backlog: n.backlog, Ack: c.acker(m),
		})
	}
}

// note gives what was noted of the next message when it was read. The library hands on
// every message, in order, so there is always one.
func (c *conn) note() note {
	select {
	case n := <-c.notes:
		return n
	default:
		return note{arrival: time.Now(), backlog: true}
	}
}

// acker gives the function that acknowledges m on this connection, once.
func (c *conn) acker(m paho.Message) func() {
	if m.Qos() == 0 {
		return func() {}
	}
	var acked atomic.Bool
	id := m.MessageID()
	return func() {
		if !acked.Swap(true) {
			c.ack(id)
		}
	}
}

// lastHeard gives when something was last read from the network.
func (c *conn) lastHeard() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.heard
}

// tooLarge counts and reports a message that was read over.
func (s *Source) tooLarge(topic string, size int64) {
	s.update(func(f *Figures) { f.TooLarge++ })
	s.opt.OnTooLarge(topic, size)
}

// present gives the present connection, nil between two.
func (s *Source) present() *conn {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.conn
}

// away gives for how long we had not heard the broker, 0 where that is not known.
func (s *Source) away() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lostAt.IsZero() {
		return 0
	}
	return time.Since(s.lostAt)
}

// brokers names the brokers, for messages.
func (s *Source) brokers() string {
	names := make([]string, len(s.opt.Brokers))
	for i, b := range s.opt.Brokers {
		names[i] = redacted(b)
	}
	return strings.Join(names, ", ")
}

// sleep waits, and tells whether ctx has not ended.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
