package mqtt

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/deploy/peers"
)

// publisher gives a bare client of the library.
func publisher(t testing.TB, addr string) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("publisher"))
	if k := c.Connect(); !k.WaitTimeout(patience) || k.Error() != nil {
		t.Fatal("cannot connect: ", k.Error())
	}
	t.Cleanup(func() { c.Disconnect(250) })
	return c
}

// publish sends the messages from..to-1 and waits until the broker has them.
func publish(t testing.TB, c paho.Client, from, to int, payload string) {
	t.Helper()
	tokens := make([]paho.Token, 0, to-from)
	for i := from; i < to; i++ {
		tokens = append(tokens, c.Publish("boost/a", 1, false, fmt.Sprint(i, payload)))
	}
	for _, k := range tokens {
		if !k.WaitTimeout(patience) || k.Error() != nil {
			t.Fatal("cannot publish: ", k.Error())
		}
	}
}

func TestMosquittoSendsAgainWhatWasNotAcknowledged(t *testing.T) {
	m := peers.Mosquitto(t)
	pub := publisher(t, m.Addr)
	got := make(chan Message, 100)
	opt := Options{Brokers: []string{"tcp://" + m.Addr}, ClientID: "keeper", Filters: []string{"boost/#"}, MaxPacket: 1 << 16,
		Handle: func(ctx context.Context, m Message) {
			select {
			case got <- m:
			case <-ctx.Done():
			}
		}}
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- s.Run(ctx) }()
	await(t, "the subscription", func() bool { return s.Figures().Subscribed })
	publish(t, pub, 0, 20, "")
	for i := range 20 {
		msg := <-got
		if string(msg.Payload) != fmt.Sprint(i) || msg.Backlog || msg.Duplicate {
			t.Errorf("message %d: %+v", i, msg)
		}
		if i < 5 {
			msg.Ack()
		}
	}
	time.Sleep(50 * time.Millisecond)
	_ = s.present().Conn.Close() // as a kill of the client: no DISCONNECT
	for i := 5; i < 20; i++ {
		msg := <-got
		if string(msg.Payload) != fmt.Sprint(i) || !msg.Backlog || !msg.Duplicate {
			t.Errorf("again: message %d: %s, %+v", i, msg.Payload, msg)
		}
		if i < 10 {
			msg.Ack()
		}
	}
	time.Sleep(50 * time.Millisecond)
	cancel()
	<-done
	publish(t, pub, 20, 30, "")
	if k := pub.Publish("boost/huge", 1, false, make([]byte, 1<<20)); !k.WaitTimeout(patience) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	publish(t, pub, 30, 31, "")
	s = start(t, opt)
	for i := 10; i < 31; i++ {
		msg := <-got
		if string(msg.Payload) != fmt.Sprint(i) || !msg.Backlog {
			t.Errorf("after a restart: message %d: %s, %+v", i, msg.Payload, msg)
		}
		msg.Ack()
	}
	time.Sleep(2 * pause)
	publish(t, pub, 31, 32, "")
	if msg := <-got; msg.Backlog || string(msg.Payload) != "31" {
		t.Errorf("the first live message: %+v", msg)
	} else {
		msg.Ack()
	}
	if f := s.Figures(); f.TooLarge != 1 || f.Received != 22 || f.Reconnects != 0 {
		t.Errorf("figures %+v", f)
	}
}

func TestMosquittoMayRestart(t *testing.T) {
	m := peers.Mosquitto(t)
	got := make(chan string, 10)
	s := start(t, Options{Brokers: []string{"tcp://" + m.Addr}, MaxWait: 100 * time.Millisecond, Handle: func(_ context.Context, m Message) {
		got <- string(m.Payload)
		m.Ack()
	}})
	await(t, "the subscription", func() bool { return s.Figures().Subscribed })
	m.Kill()
	await(t, "the loss", func() bool { return !s.Figures().Connected })
	m.Restart()
	await(t, "the subscription again", func() bool { return s.Figures().Subscribed })
	publish(t, publisher(t, m.Addr), 5, 6, "")
	if g := <-got; g != "5" {
		t.Errorf("got %q", g)
	}
}

// BenchmarkDrain gives the messages a second that Mosquitto can send, QoS 1, 2 kB, from a
// queue filled before, to a bare default subscriber of the library and to this source.
func BenchmarkDrain(b *testing.B) {
	const n = benchmarkMessages
	for _, name := range []string{"bare", "source"} {
		b.Run(name, func(b *testing.B) {
			m := peers.Mosquitto(b)
			pub := publisher(b, m.Addr)
			for range b.N {
				b.StopTimer()
				drain := map[string]func(addr string, run bool) time.Duration{"bare": drainBare, "source": drainSource}[name]
				drain(m.Addr, false)
				publish(b, pub, 0, n, string(make([]byte, 2000)))
				b.StartTimer()
				took := drain(m.Addr, true)
				b.ReportMetric(n/took.Seconds(), "msg/s")
			}
		})
	}
}

const benchmarkMessages = 50_000

// drainBare makes the session, or drains it and gives how long that took.
func drainBare(addr string, drain bool) time.Duration {
	done := make(chan struct{})
	var k atomic.Int64
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("bare").SetCleanSession(false)
	o.SetDefaultPublishHandler(func(paho.Client, paho.Message) {
		if k.Add(1) == benchmarkMessages {
			close(done)
		}
	})
	c := paho.NewClient(o)
	began := time.Now()
	c.Connect().Wait()
	c.Subscribe("boost/#", 1, nil).Wait()
	if drain {
		<-done
	}
	took := time.Since(began)
	c.Disconnect(250)
	return took
}

func drainSource(addr string, drain bool) time.Duration {
	done := make(chan struct{})
	var k atomic.Int64
	s, err := New(Options{Brokers: []string{"tcp://" + addr}, ClientID: "source", Filters: []string{"boost/#"}, Handle: func(_ context.Context, m Message) {
		m.Ack()
		if k.Add(1) == benchmarkMessages {
			close(done)
		}
	}})
	if err != nil {
		panic(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	began := time.Now()
	go func() { _ = s.Run(ctx); close(ended) }()
	for !s.Figures().Subscribed {
		time.Sleep(time.Millisecond)
	}
	if drain {
		<-done
	}
	took := time.Since(began)
	cancel()
	<-ended
	return took
}

// Two brokers that take each other's place: while one is away the other is used, and what waits at the first comes once it is used
// again.
func TestBrokersThatTakeEachOthersPlace(t *testing.T) {
	first, second := peers.Mosquitto(t), peers.Mosquitto(t)
	got := make(chan string, 100)
	s := start(t, Options{Brokers: []string{"tcp://" + first.Addr, "tcp://" + second.Addr}, MaxWait: 100 * time.Millisecond,
		Handle: func(_ context.Context, m Message) { got <- string(m.Payload); m.Ack() }})
	uses := func(p *peers.Process) {
		t.Helper()
		await(t, "the subscription at "+p.Addr, func() bool {
			f := s.Figures()
			return f.Subscribed && f.Broker == "tcp://"+p.Addr
		})
	}
	say := func(p *peers.Process, text string) {
		t.Helper()
		c, err := NewPublisher(t.Context(), "tcp://"+p.Addr, "sensors")
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if err := c.Publish(t.Context(), "boost/a", []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	uses(first)
	say(first, "one")
	first.Kill()
	uses(second)
	say(second, "two")
	second.Kill()
	await(t, "the loss", func() bool { return !s.Figures().Connected })
	second.Restart()
	uses(second)
	say(second, "three")
	first.Restart()
	second.Kill()
	uses(first)
	say(first, "four")
	for _, want := range []string{"one", "two", "three", "four"} {
		if text := <-got; text != want {
			t.Errorf("got %q, want %q", text, want)
		}
	}
}
