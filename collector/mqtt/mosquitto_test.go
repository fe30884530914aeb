package mqtt

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/deploy/peers"
)

func contextOf(testing.TB) (context.Context, context.CancelFunc) {
	return context.WithCancel(context.Background())
}

func publisher(t testing.TB, addr string) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("publisher"))
	if k := c.Connect(); !k.WaitTimeout(10*time.Second) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	return c
}

func send(t testing.TB, c paho.Client, from, to int) {
	t.Helper()
	var last paho.Token
	for i := from; i < to; i++ {
		last = c.Publish("boost/a", 1, false, fmt.Sprint(i))
	}
	if !last.WaitTimeout(20*time.Second) || last.Error() != nil {
		t.Fatal(last.Error())
	}
}

// What was not acknowledged comes again, in order, after the client is gone; what was
// sent meanwhile follows and is marked as backlog.
func TestUnacknowledgedComesAgainFromMosquitto(t *testing.T) {
	m := peers.Mosquitto(t)
	pub := publisher(t, m.Addr)
	defer pub.Disconnect(100)
	opt := Options{Broker: "tcp://" + m.Addr, ClientID: "keeper", Filters: []string{"boost/#"}}
	var mu sync.Mutex
	var first, second []string
	opt.Handle = func(msg *Message) {
		mu.Lock()
		defer mu.Unlock()
		if first = append(first, string(msg.Payload)); len(first) <= 5 {
			msg.Ack()
		}
	}
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	await(t, "the subscription", func() bool { return s.Figures().Subscribed })
	send(t, pub, 0, 20)
	await(t, "20 messages", func() bool { mu.Lock(); defer mu.Unlock(); return len(first) == 20 })
	cancel()
	<-done
	send(t, pub, 20, 30)
	marked := 0
	opt.Handle = func(msg *Message) {
		mu.Lock()
		defer mu.Unlock()
		second = append(second, string(msg.Payload))
		if msg.Backlog {
			marked++
		}
		msg.Ack()
	}
	start(t, opt)
	await(t, "the rest", func() bool { mu.Lock(); defer mu.Unlock(); return len(second) >= 25 })
	mu.Lock()
	defer mu.Unlock()
	for i, v := range second {
		if v != fmt.Sprint(5+i) {
			t.Fatalf("second run got %v", second)
		}
	}
	if marked != len(second) {
		t.Errorf("%d of %d messages marked as backlog", marked, len(second))
	}
}

// BenchmarkDrain gives messages a second at QoS 1 from a real Mosquitto: this source with
// an empty handler, and a bare default paho subscriber.
func BenchmarkDrain(b *testing.B) {
	payload := make([]byte, 700)
	for _, name := range []string{"source", "bare-paho"} {
		b.Run(name, func(b *testing.B) {
			m := peers.Mosquitto(b)
			var n atomic.Int64
			all := make(chan struct{})
			count := func() {
				if n.Add(1) == int64(b.N) {
					close(all)
				}
			}
			ready := make(chan struct{})
			ctx, cancel := context.WithCancel(b.Context())
			defer cancel()
			if name == "source" {
				s, err := New(Options{Broker: "tcp://" + m.Addr, ClientID: "bench", Filters: []string{"boost/#"}, Handle: func(msg *Message) { msg.Ack(); count() }})
				if err != nil {
					b.Fatal(err)
				}
				go s.Run(ctx)
				go func() {
					for !s.Figures().Subscribed {
						time.Sleep(time.Millisecond)
					}
					close(ready)
				}()
			} else {
				c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + m.Addr).SetClientID("bench"))
				if k := c.Connect(); !k.WaitTimeout(10*time.Second) || k.Error() != nil {
					b.Fatal(k.Error())
				}
				defer c.Disconnect(100)
				c.Subscribe("boost/#", 1, func(paho.Client, paho.Message) { count() }).Wait()
				close(ready)
			}
			<-ready
			pub := publisher(b, m.Addr)
			defer pub.Disconnect(100)
			b.ResetTimer()
			for range b.N {
				pub.Publish("boost/a", 1, false, payload)
			}
			<-all
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "msg/s")
		})
	}
}
