package mqtt

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/deploy/peers"
)

// Mosquitto with a listener for WebSockets: messages come in order, those beyond the bound are read over, and a broker that is killed
// and comes back is found again.
func TestMosquittoByWebSocket(t *testing.T) {
	m := peers.WebMosquitto(t)
	got := make(chan Message, 100)
	large := make(chan int64, 1)
	s := start(t, Options{Brokers: []string{"ws://" + m.Addr + "/mqtt"}, Filters: []string{"boost/#"}, MaxPacket: 50 << 10,
		OnTooLarge: func(_ string, n int64) { large <- n },
		Handle:     func(_ context.Context, m Message) { got <- m; m.Ack() }})
	for round := range 2 {
		await(t, "the subscription", func() bool { return s.Figures().Subscribed })
		c := paho.NewClient(paho.NewClientOptions().AddBroker("ws://" + m.Addr).SetClientID("sensors"))
		if k := c.Connect(); !k.WaitTimeout(patience) || k.Error() != nil {
			t.Fatal(k.Error())
		}
		publish(t, c, 0, 2, strings.Repeat("x", 40<<10)) // a packet in several frames and reads
		publish(t, c, 99, 100, strings.Repeat("y", 60<<10))
		publish(t, c, 2, 8, "")
		for i := range 8 {
			if msg := <-got; !strings.HasPrefix(string(msg.Payload), fmt.Sprint(i)) {
				t.Fatalf("round %d, message %d: %.20s", round, i, msg.Payload)
			}
		}
		if n := <-large; n < 60<<10 {
			t.Errorf("%d bytes were announced", n)
		}
		c.Disconnect(250)
		if round == 0 {
			m.Kill()
			await(t, "the loss", func() bool { return !s.Figures().Connected })
			m.Restart()
		}
	}
}

// Servers that are no broker by WebSocket are named for what they are, and take no memory.
func TestWhatIsNoBrokerByWebSocket(t *testing.T) {
	plain := httptest.NewServer(http.NotFoundHandler())
	defer plain.Close()
	flood, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer flood.Close()
	go func() {
		for {
			c, err := flood.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				_, err := fmt.Fprint(c, "HTTP/1.1 101 Switching Protocols\r\n")
				for err == nil { // headers without end
					_, err = fmt.Fprint(c, "X: "+strings.Repeat("x", 1000)+"\r\n")
				}
			}()
		}
	}()
	for _, c := range []struct{ addr, want string }{{plain.Listener.Addr().String(), "404"}, {flood.Addr().String(), "before the WebSocket stands"}} {
		s := start(t, Options{Brokers: []string{"ws://" + c.addr + "/mqtt"}, Handle: func(context.Context, Message) {}})
		await(t, c.want, func() bool { return strings.Contains(s.Figures().LastError, c.want) })
	}
}
