package mqtt

import (
	"context"
	"testing"

	"strokewise/deploy/peers"
)

// A passing listener leaves nothing behind: what is published while it is away is not kept for it, and what it
// hears needs no acknowledgement.
func TestAPassingListenerLeavesNothingBehind(t *testing.T) {
	m := peers.Mosquitto(t)
	pub := publisher(t, m.Addr)
	got := make(chan Message, 100)
	listen := func() (stop func()) {
		s, err := New(Options{Brokers: []string{"tcp://" + m.Addr}, ClientID: "passer", Filters: []string{"#"}, Passing: true,
			Handle: func(_ context.Context, m Message) { got <- m }})
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- s.Run(ctx) }()
		await(t, "the subscription", func() bool { return s.Figures().Subscribed })
		return func() { cancel(); <-done }
	}
	stop := listen()
	publish(t, pub, 0, 1, " heard")
	if x := <-got; string(x.Payload) != "0 heard" || x.QoS != 0 {
		t.Errorf("%q at quality of service %d", x.Payload, x.QoS)
	}
	stop()
	publish(t, pub, 1, 20, " missed")
	defer listen()()
	publish(t, pub, 20, 21, " heard")
	if x := <-got; string(x.Payload) != "20 heard" {
		t.Errorf("the broker had kept %q", x.Payload)
	}
}
