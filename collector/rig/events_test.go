package rig

import (
	"testing"

	"strokewise/analyzer/station"
)

// reading is what the outlet sensor reads last, and what the tank then holds, Pa gauge, so many
// seconds after a fault has set in at a station that has settled.
func reading(t *testing.T, change func(*Spec), after int64, faults ...Kind) (read, tank float64) {
	t.Helper()
	sp := plant(t)[0]
	if change != nil {
		change(&sp)
	}
	s := New(sp, start, 0)
	s.Until(start.Add(30 * station.Second))
	for _, k := range faults {
		s.Cause(Fault{Kind: k})
	}
	for _, b := range s.Until(start.Add((30 + after) * station.Second)) {
		if b.Channel == station.OutletPressure {
			read = b.Values[b.Len()-1]
		}
	}
	_, tank = s.Pressures()
	return read, tank
}

// A gauge line that bleeds down behind its cock reads nothing, and the tank is as full as before:
// after seven time constants of 3 s a thousandth is left.
func TestBledGaugeReadsNothingOfAFullTank(t *testing.T) {
	read, tank := reading(t, nil, 21, GaugeBled)
	if read > 3e3 || tank < 900e3 {
		t.Errorf("the gauge reads %.1f kPa, the tank holds %.1f kPa", read/1e3, tank/1e3)
	}
	if read, _ = reading(t, nil, 3, GaugeBled); read < 0.3*tank || read > 0.45*tank {
		t.Errorf("after one time constant the gauge reads %.1f kPa of %.1f", read/1e3, tank/1e3)
	}
}

// A governor that does not close lets the outlet rise until the forces balance, at 2 times 640 kPa
// less friction, where the relief valve does not open either; else to the relief valve's 1250 kPa.
func TestStuckGovernorEndsAtTheForces(t *testing.T) {
	idle := func(s *Spec) { s.Rhythm = Rhythm{} }
	if _, tank := reading(t, idle, 300, GovernorStuck, ReliefStuck); tank < 1200e3 || tank > 1280e3 {
		t.Errorf("the tank holds %.0f kPa", tank/1e3)
	}
	low := func(s *Spec) { idle(s); s.Params.Relief.SetGauge = 1100e3 }
	if _, tank := reading(t, low, 300, GovernorStuck); tank < 1100e3 || tank > 1130e3 {
		t.Errorf("with its relief valve the tank holds %.0f kPa", tank/1e3)
	}
}

// A hole of 3.8 mm, and a vent valve that stands open, each take the outlet far below set while
// the booster strokes on.
func TestOutletCollapses(t *testing.T) {
	for _, k := range []Kind{HoseBurst, DumpStuck} {
		if read, _ := reading(t, nil, 120, k); read > 650e3 {
			t.Errorf("%s: the outlet reads %.0f kPa after two minutes", k, read/1e3)
		}
	}
}
