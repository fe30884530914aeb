package mqtt

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"net"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// rude is a broker that treats its n-th connection as it likes, and all further ones well.
type rude struct {
	l       net.Listener
	manners []func(c net.Conn)
	sound   *script
	wg      sync.WaitGroup
	n       atomic.Int64
}

func newRude(t *testing.T, manners ...func(net.Conn)) *rude {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &rude{l: l, manners: manners}
	r.sound = &script{t: t, play: func(c *client, _ int) { _ = c.publish("boost/a", 1, "sound") }}
	r.wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			n := int(r.n.Add(1))
			r.wg.Go(func() {
				if n <= len(manners) {
					defer c.Close()
					manners[n-1](c)
					return
				}
				r.sound.serve(&client{Conn: c})
			})
		}
	})
	t.Cleanup(func() { l.Close(); r.wg.Wait(); r.sound.conns.Wait() })
	return r
}

// hears reads packets until one of a type has come, and returns it.
func hears(c net.Conn, kind byte) packets.ControlPacket {
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			return nil
		}
		is := byte(0)
		switch p.(type) {
		case *packets.ConnectPacket:
			is = packets.Connect
		case *packets.SubscribePacket:
			is = packets.Subscribe
		case *packets.PublishPacket:
			is = packets.Publish
		}
		if is == kind {
			return p
		}
	}
}

// says writes bytes once CONNECT has come, and waits until we hang up.
func says(text ...byte) func(net.Conn) {
	return func(c net.Conn) {
		hears(c, packets.Connect)
		_, _ = c.Write(text)
		_, _ = io.Copy(io.Discard, c)
	}
}

var welcome = []byte{0x20, 2, 0, 0}

// subscribed answers SUBSCRIBE, whose identifier it is given, and waits until we hang up.
func subscribed(answer func(id uint16) []byte) func(net.Conn) {
	return func(c net.Conn) {
		hears(c, packets.Connect)
		_, _ = c.Write(welcome)
		p, ok := hears(c, packets.Subscribe).(*packets.SubscribePacket)
		if !ok {
			return
		}
		_, _ = c.Write(answer(p.MessageID))
		_, _ = io.Copy(io.Discard, c)
	}
}

func suback(id uint16, codes int) []byte {
	b := []byte{0x90}
	b = binary.AppendUvarint(b, uint64(2+codes))
	return append(binary.BigEndian.AppendUint16(b, id), bytes.Repeat([]byte{1}, codes)...)
}

// then is a connection that is sound until the broker says something else.
func then(text ...byte) func(net.Conn) {
	return subscribed(func(id uint16) []byte { return append(suback(id, 1), text...) })
}

// A broker that lies, stammers, stalls or hangs up ends a connection, never the program: the next
// connection is sound, its message comes, and little memory was used meanwhile.
func TestARudeBrokerCostsAConnection(t *testing.T) {
	garbage := make([]byte, 64<<10)
	chance := rand.New(rand.NewPCG(1, 2))
	for i := range garbage {
		garbage[i] = byte(chance.Uint32())
	}
	huge := []byte{0xff, 0xff, 0xff, 0x7f} // 268,435,455 bytes, the most that can be announced
	for name, manner := range map[string]func(net.Conn){
		"hangs up":                   func(net.Conn) {},
		"garbage":                    says(garbage...),
		"another protocol":           says([]byte("HTTP/1.1 400 Bad Request\r\n\r\n")...),
		"empty CONNACK":              says(0x20, 0),
		"long CONNACK":               says(append([]byte{0x20}, huge...)...),
		"CONNACK of no known code":   says(0x20, 2, 0, 77),
		"CONNACK with flags":         says(0x20, 2, 0xff, 0),
		"length without end":         says(0x20, 0xff, 0xff, 0xff, 0xff, 0xff),
		"PUBLISH before CONNACK":     says(announced("boost/a", 1, 0)...),
		"CONNACK twice":              then(welcome...),
		"too many codes":             subscribed(func(id uint16) []byte { return suback(id, 200) }),
		"no codes":                   subscribed(func(id uint16) []byte { return suback(id, 0) }),
		"SUBACK of another":          subscribed(func(id uint16) []byte { return suback(id+1, 1) }),
		"SUBACK twice":               subscribed(func(id uint16) []byte { return append(suback(id, 1), suback(id, 1)...) }),
		"SUBACK without identifier":  subscribed(func(uint16) []byte { return []byte{0x90, 1, 0} }),
		"topic beyond its packet":    then(0x32, 4, 0xff, 0xff, 'a', 'b'),
		"no room for its identifier": then(0x32, 3, 0, 1, 'a'),
		"empty topic":                then(0x30, 3, 0, 0, 'x'),
		"empty PUBLISH":              then(0x30, 0),
		"QoS 2":                      then(0x34, 6, 0, 1, 'a', 0, 1, 'x'),
		"QoS 3":                      then(0x36, 6, 0, 1, 'a', 0, 1, 'x'),
		"PUBREL":                     then(0x62, 2, 0, 1),
		"CONNECT":                    then(0x10, 0),
		"type 0":                     then(0, 0),
		"type 15":                    then(0xf0, 0),
		"long PUBACK":                then(append([]byte{0x40}, huge...)...),
		"long QoS 2":                 then(append([]byte{0x34}, huge...)...),
		"half a packet":              func(c net.Conn) { hears(c, packets.Connect); _, _ = c.Write([]byte{0x20}) },
		"half a message, and silent": then(append(announced("boost/a", 1, 1000), "only this"...)...),
		"half a long one":            then(append(announced("boost/a", 1, 200<<20), "only this"...)...),
		"no word of welcome":         says(),
	} {
		t.Run(name, func(t *testing.T) {
			r := newRude(t, manner, manner)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			got := make(chan string, 10)
			s := start(t, Options{Brokers: []string{"tcp://" + r.l.Addr().String()}, Filters: []string{"boost/#"}, KeepAlive: time.Second, MaxWait: time.Millisecond, Handshake: time.Second,
				Handle: func(_ context.Context, m Message) { got <- string(m.Payload); m.Ack() }})
			if g := <-got; g != "sound" {
				t.Errorf("got %q", g)
			}
			runtime.ReadMemStats(&after)
			if grown := after.TotalAlloc - before.TotalAlloc; grown > 8<<20 {
				t.Errorf("%d bytes were allocated", grown)
			}
			if f := s.Figures(); f.LastError == "" || len(f.LastError) > 1000 {
				t.Errorf("figures %+v", f)
			}
		})
	}
}

// A broker that sends without end while nothing can be worked off is held back by the network: we read
// no further, and keep little.
func TestAFloodIsHeldBack(t *testing.T) {
	const most = 256 << 20
	message := append(announced("boost/a", 1, 1000), make([]byte, 1000)...)
	flood := bytes.Repeat(message, 1000)
	var sent atomic.Int64
	stuck := make(chan struct{})
	r := newRude(t, func(c net.Conn) {
		defer close(stuck)
		hears(c, packets.Connect)
		_, _ = c.Write(welcome)
		p, ok := hears(c, packets.Subscribe).(*packets.SubscribePacket)
		if !ok {
			return
		}
		_, _ = c.Write(suback(p.MessageID, 1))
		for sent.Load() < most {
			_ = c.SetWriteDeadline(time.Now().Add(time.Second))
			n, err := c.Write(flood)
			sent.Add(int64(n))
			if err != nil {
				return
			}
		}
	})
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	start(t, Options{Brokers: []string{"tcp://" + r.l.Addr().String()}, Filters: []string{"boost/#"}, Handle: func(ctx context.Context, _ Message) { <-ctx.Done() }})
	<-stuck
	runtime.GC()
	runtime.ReadMemStats(&after)
	kept := int64(after.HeapAlloc) - int64(before.HeapAlloc)
	t.Logf("%d KiB were sent before the broker was held back, %d KiB are kept", sent.Load()>>10, kept>>10)
	if sent.Load() >= most || kept > 8<<20 {
		t.Errorf("%d bytes were taken, %d are kept", sent.Load(), kept)
	}
}

// The panels' connection takes answers alone.
func TestARudeBrokerOfPanels(t *testing.T) {
	for name, manner := range map[string]func(net.Conn){
		"long CONNACK": says(0x20, 0xff, 0xff, 0xff, 0x7f),
		"PUBLISH":      says(append(append([]byte{}, welcome...), 0x30, 3, 0, 1, 'a')...),
		"SUBACK":       says(append(append([]byte{}, welcome...), suback(1, 3)...)...),
		"garbage":      says([]byte("SSH-2.0-x\r\n")...),
	} {
		r := newRude(t, manner)
		p := NewRetained(RetainedOptions{Brokers: []string{"tcp://" + r.l.Addr().String()}, ClientID: "panel"})
		err := p.Once(t.Context(), "lights/a", "high")
		if err == nil || strings.Contains(err.Error(), "does not answer") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A publisher takes answers alone as well: whatever a broker says instead costs a connection and little memory, and
// the message comes by the next one.
func TestARudeBrokerOfAPublisher(t *testing.T) {
	publishes := func(c net.Conn) *packets.PublishPacket {
		hears(c, packets.Connect)
		_, _ = c.Write(welcome)
		p, _ := hears(c, packets.Publish).(*packets.PublishPacket)
		return p
	}
	for name, text := range map[string][]byte{
		"long PUBLISH": announced("boost/a", 1, 200<<20),
		"long PUBACK":  {0x40, 0xff, 0xff, 0xff, 0x7f},
		"SUBACK":       suback(1, 200),
		"PUBREC":       {0x50, 2, 0, 1},
		"garbage":      []byte("SSH-2.0-x\r\n"),
	} {
		t.Run(name, func(t *testing.T) {
			r := newRude(t, func(c net.Conn) {
				if publishes(c) != nil {
					_, _ = c.Write(text)
					_, _ = io.Copy(io.Discard, c)
				}
			}, func(c net.Conn) {
				if p := publishes(c); p != nil {
					_, _ = c.Write(binary.BigEndian.AppendUint16([]byte{puback, 2}, p.MessageID))
					_, _ = io.Copy(io.Discard, c)
				}
			})
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			p, err := NewPublisher(t.Context(), "tcp://"+r.l.Addr().String(), "sensors")
			if err != nil {
				t.Fatal(err)
			}
			defer p.Close()
			if err := p.Publish(t.Context(), "boost/a", []byte("x")); err != nil {
				t.Error(err)
			}
			runtime.ReadMemStats(&after)
			if grown := after.TotalAlloc - before.TotalAlloc; grown > 8<<20 || r.n.Load() != 2 {
				t.Errorf("%d bytes were allocated, %d connections", grown, r.n.Load())
			}
		})
	}
}

// FuzzBroker: whatever a broker sends, the library is given whole packets within the bound, or an error.
func FuzzBroker(f *testing.F) {
	f.Add(append(append([]byte{}, welcome...), suback(1, 1)...))
	f.Add(append(append([]byte{}, welcome...), append(announced("boost/a", 1, 3), "abc"...)...))
	f.Add(append(append([]byte{}, welcome...), append(announced("boost/a", 1, 3000), make([]byte, 3000)...)...))
	f.Add([]byte{0x20, 2, 1, 0, 0xd0, 0, 0x34, 6, 0, 1, 'a', 0, 1, 'x'})
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff})
	f.Fuzz(func(t *testing.T, data []byte) {
		const most = 1 << 10
		s, err := New(Options{Brokers: []string{"tcp://127.0.0.1:1"}, ClientID: "w", Filters: []string{"#"}, MaxPacket: most, Handle: func(context.Context, Message) {}})
		if err != nil {
			t.Fatal(err)
		}
		c := newConn(&stored{r: bytes.NewReader(data)}, s)
		defer func() { c.Close(); c.done.Wait() }()
		c.asks([]byte{0x82, 6, 0, 1, 0, 1, '#', 1})
		for {
			p, err := packets.ReadPacket(c)
			if err != nil {
				return
			}
			switch p := p.(type) {
			case *packets.PublishPacket:
				c.note()
				if p.TopicName == "" || len(p.Payload) > most || p.Qos > 1 {
					t.Errorf("%v", p)
				}
			case *packets.SubackPacket:
				if p.MessageID != 1 || len(p.ReturnCodes) != 1 {
					t.Errorf("%v", p)
				}
			case *packets.ConnackPacket, *packets.PingrespPacket:
			default:
				t.Errorf("%v", p)
			}
		}
	})
}

// FuzzAnswers: whatever a broker sends to those who only publish, the library is given answers alone.
func FuzzAnswers(f *testing.F) {
	f.Add(append(append([]byte{}, welcome...), 0x40, 2, 0, 1, 0xd0, 0))
	f.Add([]byte{0x40, 0xff, 0xff, 0xff, 0x7f})
	f.Add([]byte{0x30, 3, 0, 1, 'a'})
	f.Fuzz(func(t *testing.T, data []byte) {
		c := answers(&stored{r: bytes.NewReader(data)})
		for {
			p, err := packets.ReadPacket(c)
			if err != nil {
				return
			}
			switch p.(type) {
			case *packets.ConnackPacket, *packets.PubackPacket, *packets.PingrespPacket:
			default:
				t.Errorf("%v", p)
			}
		}
	})
}

// stored is a connection from which bytes are read.
type stored struct {
	net.Conn
	r *bytes.Reader
}

func (s *stored) Read(p []byte) (int, error)       { return s.r.Read(p) }
func (s *stored) Write(p []byte) (int, error)      { return len(p), nil }
func (s *stored) Close() error                     { return nil }
func (s *stored) SetReadDeadline(time.Time) error  { return nil }
func (s *stored) SetWriteDeadline(time.Time) error { return nil }
