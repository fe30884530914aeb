package mqtt

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// script is a broker that does what the test tells it.
type script struct {
	t       *testing.T
	l       net.Listener
	session bool
	deny    bool                          // subscriptions
	after   func(c net.Conn, connect int) // once the client has subscribed
	mu      sync.Mutex
	acks    []uint16
	filters []string
	conns   int
}

func newScript(t *testing.T) *script {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &script{t: t, l: l}
	return s
}

func (s *script) url() string { return "tcp://" + s.l.Addr().String() }

func (s *script) serve() {
	var wg sync.WaitGroup
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := s.l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { s.client(c) })
		}
	}()
	s.t.Cleanup(func() { s.l.Close(); <-done; wg.Wait() })
}

func (s *script) client(c net.Conn) {
	defer c.Close()
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		switch p := p.(type) {
		case *packets.ConnectPacket:
			a := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
			a.SessionPresent = s.session
			a.Write(c)
		case *packets.SubscribePacket:
			a := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			a.MessageID = p.MessageID
			for range p.Topics {
				code := byte(1)
				if s.deny {
					code = refused
				}
				a.ReturnCodes = append(a.ReturnCodes, code)
			}
			a.Write(c)
			s.mu.Lock()
			s.filters = append(s.filters, p.Topics...)
			s.conns++
			n := s.conns
			s.mu.Unlock()
			if s.after != nil {
				go s.after(c, n)
			}
		case *packets.PubackPacket:
			s.mu.Lock()
			s.acks = append(s.acks, p.MessageID)
			s.mu.Unlock()
		case *packets.PingreqPacket:
			packets.NewControlPacket(packets.Pingresp).Write(c)
		case *packets.DisconnectPacket:
			return
		}
	}
}

func (s *script) acked() []uint16 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]uint16(nil), s.acks...)
}

func publish(w io.Writer, topic string, id uint16, payload []byte) {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Qos, p.MessageID, p.Payload = topic, 1, id, payload
	p.Write(w)
}

// start runs a source until the test's end.
func start(t *testing.T, opt Options) *Source {
	t.Helper()
	if opt.ClientID == "" {
		opt.ClientID = "strokewise-test"
	}
	if opt.Filters == nil {
		opt.Filters = []string{"boost/#"}
	}
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := contextOf(t)
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	t.Cleanup(func() { cancel(); <-done })
	return s
}

func await(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(20 * time.Second); time.Now().Before(until); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("waited in vain for: %s", what)
}

// An announced packet of 200 MB is read over in bounded memory, acknowledged, reported,
// and the messages around it arrive.
func TestHugePacketIsReadOver(t *testing.T) {
	const huge = 200 << 20
	b := newScript(t)
	sent := make(chan struct{})
	b.after = func(c net.Conn, _ int) {
		defer close(sent)
		publish(c, "boost/a", 1, []byte("before"))
		head := []byte{0x32} // publish, QoS 1
		rest := 2 + len("boost/huge") + 2 + huge
		for n := rest; n > 0; n >>= 7 {
			d := byte(n & 0x7f)
			if n >= 0x80 {
				d |= 0x80
			}
			head = append(head, d)
		}
		head = append(head, 0, byte(len("boost/huge")))
		head = append(head, "boost/huge"...)
		c.Write(append(head, 0, 2))
		chunk := bytes.Repeat([]byte{'9'}, 1<<20)
		for range huge / len(chunk) {
			c.Write(chunk)
		}
		publish(c, "boost/a", 3, []byte("after"))
	}
	b.serve()
	var mu sync.Mutex
	var got []string
	var large []string
	var before, most runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	start(t, Options{Broker: b.url(), MaxPacket: 1 << 20,
		Handle: func(m *Message) {
			mu.Lock()
			defer mu.Unlock()
			got = append(got, string(m.Payload))
			runtime.ReadMemStats(&most)
			m.Ack()
		},
		TooLarge: func(topic string, size int64) {
			mu.Lock()
			defer mu.Unlock()
			large = append(large, fmt.Sprint(topic, size))
		}})
	<-sent
	await(t, "both messages", func() bool { mu.Lock(); defer mu.Unlock(); return len(got) == 2 })
	await(t, "three acknowledgements", func() bool { return len(b.acked()) == 3 })
	if got[0] != "before" || got[1] != "after" || len(large) != 1 || large[0] != fmt.Sprint("boost/huge", 2+10+2+huge) {
		t.Errorf("got %v, too large %v", got, large)
	}
	grown := int64(most.Sys) - int64(before.Sys)
	t.Logf("memory from the system grew by %d KiB, %d KiB were allocated in all", grown>>10, (most.TotalAlloc-before.TotalAlloc)>>10)
	if grown > 32<<20 {
		t.Errorf("memory grew by %d bytes", grown)
	}
}

func TestSubscribesAgainAfterTheConnectionIsLost(t *testing.T) {
	b := newScript(t)
	b.after = func(c net.Conn, n int) {
		publish(c, "boost/a", uint16(n), []byte{byte('0' + n)})
		if n < 3 {
			time.Sleep(20 * time.Millisecond)
			c.Close()
		}
	}
	b.serve()
	var mu sync.Mutex
	got := ""
	s := start(t, Options{Broker: b.url(), Handle: func(m *Message) {
		mu.Lock()
		got += string(m.Payload)
		mu.Unlock()
		m.Ack()
	}})
	await(t, "a message on the third connection", func() bool { mu.Lock(); defer mu.Unlock(); return got == "123" })
	if f := s.Figures(); f.Reconnects != 2 || !f.Connected || f.Received != 3 {
		t.Errorf("figures %+v", f)
	}
}

func TestAcknowledgesOnlyWhenTold(t *testing.T) {
	b := newScript(t)
	b.after = func(c net.Conn, _ int) {
		for i := range 10 {
			publish(c, "boost/a", uint16(i+1), []byte("x"))
		}
	}
	b.serve()
	held := make(chan *Message, 10)
	start(t, Options{Broker: b.url(), Handle: func(m *Message) { held <- m }})
	for i := range 10 {
		m := <-held
		if i == 4 {
			if n := len(b.acked()); n > 4 {
				t.Fatalf("%d acknowledgements before the fifth was given", n)
			}
		}
		m.Ack()
	}
	await(t, "ten acknowledgements", func() bool { return len(b.acked()) == 10 })
	for i, id := range b.acked() {
		if int(id) != i+1 {
			t.Fatalf("acknowledged out of order: %v", b.acked())
		}
	}
}

func TestRefusedSubscriptionIsSaid(t *testing.T) {
	b := newScript(t)
	b.deny = true
	b.serve()
	s := start(t, Options{Broker: b.url(), Handle: func(*Message) {}})
	await(t, "a connection", func() bool { b.mu.Lock(); defer b.mu.Unlock(); return b.conns > 0 })
	if s.Figures().Subscribed {
		t.Error("a refused subscription counts as one")
	}
}

func TestBacklogEndsWithTheFirstPauseOrADropOfTheRate(t *testing.T) {
	t0 := time.Now()
	at := func(ms int) time.Time { return t0.Add(time.Duration(ms) * time.Millisecond) }
	var b backlog
	b.connected(false, time.Millisecond, t0)
	if b.message(at(1)) {
		t.Error("a new session has no backlog")
	}
	b.connected(true, time.Millisecond, t0)
	if !b.message(at(1)) || !b.message(at(2)) {
		t.Error("the first messages of a resumed session are backlog")
	}
	if b.message(at(40)) || b.message(at(41)) {
		t.Error("after a pause the stream is live")
	}
	b.connected(true, time.Millisecond, t0)
	for ms := range 6200 { // drained at 1000 a second for 4 s, then live at 100
		live := ms >= 4000
		if live && ms%10 != 0 {
			continue
		}
		if got := b.message(at(ms)); !live && !got || ms >= 6100 && got {
			t.Fatalf("at %d ms backlog is %v", ms, got)
		}
	}
	b.connected(true, time.Millisecond, t0)
	b.message(at(1))
	b.handled(at(500)) // a slow handler is no pause of the stream
	if !b.message(at(501)) {
		t.Error("the handler's time was taken for a pause")
	}
}

func TestBadOptions(t *testing.T) {
	h := func(*Message) {}
	for _, o := range []Options{
		{}, {Broker: "127.0.0.1:1883", ClientID: "x", Filters: []string{"a"}, Handle: h},
		{Broker: "http://127.0.0.1:1883", ClientID: "x", Filters: []string{"a"}, Handle: h},
		{Broker: "tcp://127.0.0.1:1883", Filters: []string{"a"}, Handle: h},
	} {
		if _, err := New(o); err == nil {
			t.Errorf("%+v was taken", o)
		}
	}
}
