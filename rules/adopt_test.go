package rules

import (
	"testing"

	"strokewise/analyzer/station"
)

// An evaluator that is older than what was stored takes the stored states over without a
// transition: one it does not know of clears in its turn, one that has gone can rise again.
func TestAdopt(t *testing.T) {
	var got []Transition
	plate := station.Plate{Key: station.Key{Site: "northdock", Station: "press-4"}}
	v := NewEvaluator(&plate, func(t *Transition) { got = append(got, *t) })
	leak, lost := index(OutletLeak), index(SignalLost)
	v.Alarms[lost] = alarm{State: Unacknowledged, Raised: 5, True: 5}
	v.Adopt([]Transition{{Alarm: OutletLeak, To: Acknowledged, Raised: 100}})
	if len(got) > 0 || v.Alarms[leak].State != Acknowledged || v.Alarms[lost].State != Normal {
		t.Fatalf("%+v, transitions %v", v.Alarms, got)
	}
	v.advance(leak, 200, verdict{answer: no})
	v.advance(lost, 5+station.Instant(catalogue[lost].DelayNs), verdict{answer: yes})
	if len(got) != 2 || got[0].From != Acknowledged || got[0].To != Normal || got[0].Raised != 100 || got[1].Alarm != SignalLost || got[1].To != Unacknowledged {
		t.Errorf("%+v", got)
	}
}
