package intake

import (
	"testing"
	"unicode"

	"strokewise/analyzer/station"
	"strokewise/deploy/hostile"
)

// A station with a hostile name is none that is configured: its messages are refused, and why is said in
// characters that print. None of them is taken for another station's.
func TestHostileNamesAreRefused(t *testing.T) {
	for name, text := range hostile.Texts {
		if text == "press-4" {
			continue
		}
		in := newIntake(t)
		for _, topic := range []string{"boost/northdock/" + text + "/inlet_pressure", "boost/" + text + "/press-4/inlet_pressure", "boost/northdock/press-4/" + text, "line/" + text, text} {
			rec, r := in.Decide(&Message{Topic: topic, Payload: []byte("612.4"), Arrival: now})
			if r == nil {
				t.Errorf("%s: %q is taken as %v", name, topic, rec.Key)
				continue
			}
			for _, c := range r.Error() {
				if !unicode.IsPrint(c) {
					t.Errorf("%s: %q", name, r.Error())
					break
				}
			}
		}
		if strangers, _ := in.Strangers(); len(strangers) > keepNames {
			t.Errorf("%s: %d strangers", name, len(strangers))
		}
	}
	in := newIntake(t)
	for i := range 10 * keepNames { // a flood of names is bounded
		in.Decide(&Message{Topic: "line/s" + string(rune('a'+i%26)) + string(rune('a'+i/26)), Payload: []byte("1"), Arrival: station.Instant(now)})
	}
	if list, further := in.Strangers(); len(list) != keepNames || further == 0 {
		t.Errorf("%d strangers, %d further", len(list), further)
	}
}
