package rules

import (
	"strings"
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

// What was known of an alarm is kept: who has seen it, until when it is shelved, when it was
// raised. One that is shelved while its condition is present is raised again when the time is
// over, though nothing is known of the station since.
func TestAdoptKeepsWhatPeopleDid(t *testing.T) {
	var got []Transition
	emit := func(t *Transition) { got = append(got, *t) }
	plate := station.Plate{Key: station.Key{Site: "northdock", Station: "press-4"}}
	v := NewEvaluator(&plate, emit)
	shelved := Transition{Alarm: PressureLeft, From: Unacknowledged, To: Shelved, At: 200, Raised: 100,
		ShelvedUntil: 900 * station.Instant(station.Second)}
	seen := Transition{Alarm: OutletLeak, From: Unacknowledged, To: Acknowledged, At: 150, Raised: 120}
	for range 2 { // a second time changes nothing
		v.Adopt([]Transition{shelved, seen})
	}
	left, leak := v.Alarms[index(PressureLeft)], v.Alarms[index(OutletLeak)]
	if len(got) != 0 || left.State != Shelved || left.Until != 900*station.Instant(station.Second) || left.Raised != 100 || !left.Present {
		t.Errorf("%+v, %+v", left, got)
	}
	if leak.State != Acknowledged || leak.Raised != 120 || leak.Told != 150 {
		t.Errorf("%+v", leak)
	}
	v.Tick(901*station.Instant(station.Second), &Arrivals{})
	if len(got) != 1 || got[0].To != Unacknowledged || got[0].Priority != High {
		t.Errorf("at the end of the shelving: %+v", got)
	}
}

// Of an open alarm that the set does not have the history is told the end.
func TestAdoptEndsWhatTheConfigurationHasNot(t *testing.T) {
	var got []Transition
	v := NewEvaluator(&station.Plate{}, func(t *Transition) { got = append(got, *t) })
	v.Adopt([]Transition{{Alarm: "our-own", To: Unacknowledged, Raised: 100, At: 100, Priority: Medium}})
	if len(got) != 1 || got[0].Alarm != "our-own" || got[0].To != Normal || got[0].Why != whyGone || got[0].Priority != Medium {
		t.Errorf("%+v", got)
	}
}

// An evaluator that lost its memory knows of no shutdown. That ends no alarm on stored
// pressure: only a supply that is seen to be open does.
func TestALostMemoryEndsNoPressureLeft(t *testing.T) {
	g := newStage(station.Plate{})
	at := scriptStart.Add(-60 * station.Second)
	g.v.Adopt([]Transition{{Alarm: PressureLeft, To: Acknowledged, Raised: at, At: at}, {Alarm: InletPressureLeft, To: Acknowledged, Raised: at, At: at}})
	for _, state := range []station.State{station.Blind, station.Residual, station.Off, station.Venting} {
		g.play(60, func(_ int, s *station.Status) { s.State, s.Inlet, s.Outlet = state, known(0), known(880e3) })
		if len(g.got) != 0 {
			t.Fatalf("%s: %+v", state, g.got)
		}
	}
	if m, _ := g.v.left(); !strings.Contains(m, "no longer known") {
		t.Errorf("a reminder reads %q", m)
	}
	g.play(1, func(_ int, s *station.Status) { s.State, s.Inlet = station.Holding, known(600e3) })
	if len(g.got) != 2 || g.got[0].To != Normal {
		t.Errorf("fed again: %+v", g.got)
	}
}
