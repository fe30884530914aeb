package intake

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// A message on which a decoder fails is refused with its reason, and the next one is accepted.
func TestAFailingDecoderEndsNothing(t *testing.T) {
	p, err := topic.Compile("{site}/{station}/{channel}")
	if err != nil {
		t.Fatal(err)
	}
	k := station.Key{Site: "a", Station: "b"}
	in, err := New(Options{Routes: []Route{{Pattern: p}}, Stations: []station.Key{k}})
	if err != nil {
		t.Fatal(err)
	}
	in.decode = func(f payload.Format, data []byte, c *payload.Context, dst []station.Block) ([]station.Block, *payload.Refusal) {
		if string(data) == "1" {
			var none []int
			_ = none[len(data)]
		}
		return payload.Decode(f, data, c, dst)
	}
	m := Message{Topic: "a/b/inlet_pressure", Payload: []byte("1"), Arrival: station.Instant(1e18)}
	if _, r := in.Accept(&m); r == nil || r.Reason != DecoderFault {
		t.Fatalf("refusal %v, want %s", r, DecoderFault)
	}
	m.Payload = []byte("2")
	if _, r := in.Accept(&m); r != nil {
		t.Fatal(r)
	}
	if n := in.Refused()[string(DecoderFault)]; n != 1 {
		t.Errorf("%d counted under %s, want 1", n, DecoderFault)
	}
}
