package model

import "testing"

// An empty tank is charging until it is at set; a later fall to 90 % of set is not.
func TestChargingEndsAtSet(t *testing.T) {
	p := Default()
	s := New(Doubling(), p, 0)
	for !s.atSet() {
		s.Advance(s.State.Time + 0.1)
	}
	first := s.Totals()
	if first.Charging < first.Stroking-0.1 || first.Charging < 10 {
		t.Errorf("charging for %g of %g s of strokes", first.Charging, first.Stroking)
	}
	s.Params.VentOpen = true
	for s.Outlet() > 0.9*p.Governor.SetGauge {
		s.Advance(s.State.Time + 0.01)
	}
	s.Params.VentOpen = false
	s.Advance(s.State.Time + 60)
	if k := s.Totals(); k.Charging != first.Charging || k.Stroking < first.Stroking+1 {
		t.Errorf("charging %g s, stroking %g s after %+v", k.Charging, k.Stroking, first)
	}
}

// A piston that creeps at half the speed of one stroke in SlowestStroke stands, one at twice
// that speed strokes (the definition).
func TestCreepCountsAsStanding(t *testing.T) {
	s := settled(nil)
	slowest := s.geometry.Stroke / SlowestStroke
	for v, travels := range map[float64]bool{0: false, 0.5 * slowest: false, -0.5 * slowest: false, 2 * slowest: true, -2 * slowest: true} {
		s.State.V = v
		if s.travels() != travels {
			t.Errorf("at %g m/s: strokes %v, want %v", v, s.travels(), travels)
		}
	}
	s.State.V, s.State.Switch = 0, 1e-3
	if !s.travels() {
		t.Error("a changeover counts as standing")
	}
}

// A shut supply, and an inlet below FedAbove, count in none of the times.
func TestUnfedTimeIsNotCounted(t *testing.T) {
	s := settled(nil)
	s.Params.Supply.Shut = true
	before := s.Totals()
	s.Advance(s.State.Time + 10)
	if s.Totals() != before {
		t.Errorf("shut: %+v, was %+v", s.Totals(), before)
	}
	p := Default()
	p.Supply.HeaderGauge = 40e3
	low := New(Doubling(), p, 0)
	low.Advance(10)
	if k := low.Totals(); k.Fed != 0 || k.Stroking != 0 {
		t.Errorf("header of 40 kPa: %+v", k)
	}
}
