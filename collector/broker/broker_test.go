package broker

import (
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func connect(t *testing.T, url, id string) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID(id).SetConnectTimeout(10 * time.Second))
	if k := c.Connect(); !k.WaitTimeout(5*time.Minute) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func TestPublishAndSubscribe(t *testing.T) {
	b, err := Start(t.TempDir(), "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	got := make(chan string, 1)
	sub := connect(t, b.URL(), "sub")
	if k := sub.Subscribe("boost/+/+/+", 1, func(_ paho.Client, m paho.Message) { got <- m.Topic() + "=" + string(m.Payload()) }); !k.WaitTimeout(5*time.Minute) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	pub := connect(t, b.URL(), "pub")
	if k := pub.Publish("boost/northdock/press-4/cycles", 1, false, "17"); !k.WaitTimeout(5*time.Minute) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	select {
	case s := <-got:
		if s != "boost/northdock/press-4/cycles=17" {
			t.Error(s)
		}
	case <-time.After(5 * time.Minute):
		t.Fatal("the message did not arrive")
	}
}

func TestRefusesAddressesOfOthers(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", "192.0.2.1:1883", "here", ":1883"} {
		if b, err := Start(t.TempDir(), addr); err == nil {
			b.Close()
			t.Errorf("%s was taken", addr)
		}
	}
}
