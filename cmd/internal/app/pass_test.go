package app

import (
	"errors"
	"testing"
	"time"

	"strokewise/collector/intake"
	"strokewise/collector/letters"
	"strokewise/collector/payload"
	"strokewise/deploy/peers"
)

// A pass that a new doubt of our clock ends early has handed on some messages. They have left the store
// then, and the next pass hands on the others alone.
func TestAPassThatEndsEarlyRepeatsNothing(t *testing.T) {
	broker := peers.Mosquitto(t)
	a, stop := running(t, options(t, broker.Addr, "press-4"))
	defer stop()
	const n = 5
	for i := range n {
		stored := make(chan struct{})
		l := letters.Letter{Held: true, Label: waitsForClock, Topic: "boost/northdock/press-4/outlet_pressure", Run: a.run,
			Payload: hundred(time.Now().Add(time.Duration(i-n) * time.Second)), Arrival: a.now(), Mono: int64(i + 1)}
		if err := a.batch.AddLetter(t.Context(), l, func() { close(stored) }); err != nil {
			t.Fatal(err)
		}
		<-stored
	}
	seen := 0
	first := a.newPass(func(*letters.Letter, letters.Label, *intake.Taken, *payload.Refusal) (bool, error) {
		if seen++; seen > 3 {
			return false, errTime
		}
		return true, nil
	})
	if err := first.run(t.Context(), []letters.Label{letters.Held}); !errors.Is(err, errTime) {
		t.Fatal(err)
	}
	second := a.newPass(func(*letters.Letter, letters.Label, *intake.Taken, *payload.Refusal) (bool, error) {
		return true, nil
	})
	if err := second.run(t.Context(), []letters.Label{letters.Held}); err != nil {
		t.Fatal(err)
	}
	if first, second := first.accepted+first.refused, second.accepted+second.refused; first != 3 || second != n-3 {
		t.Errorf("%d of %d were handed on, then %d", first, n, second)
	}
}
