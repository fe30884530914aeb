package cost

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// A worked example by hand: 1000 m³ at 0.12 kWh/m³ are 120 kWh; at 0.18 a kWh 21.60; at
// 0.30 kg/kWh 36 kg.
func TestWorkedExample(t *testing.T) {
	r := Rates{SpecificEnergy: 0.12 * 3.6e6, Price: station.Price{PerJoule: 0.18 / 3.6e6, Currency: "EUR"}, CO2: 0.30 / 3.6e6}
	v := station.MicrolitresOf(1000e3) // litres
	for name, c := range map[string]struct {
		got  func(station.Microlitres) (float64, bool)
		want float64
	}{"energy": {r.Energy, 120 * 3.6e6}, "money": {r.Money, 21.6}, "carbon": {r.Carbon, 36}} {
		if got, ok := c.got(v); !ok || math.Abs(got/c.want-1) > 1e-9 {
			t.Errorf("%s: %g, %v, want %g", name, got, ok, c.want)
		}
	}
	none := Rates{}
	if _, ok := none.Money(v); ok {
		t.Error("money without a rate")
	}
}

// A doubling booster draws about two litres for one delivered: a leak behind it costs so
// much more, and never more than all.
func TestLeakAtInlet(t *testing.T) {
	s := Sum{Inlet: 200, Delivered: 100, Leak: 10}
	if got := s.LeakAtInlet(); got != 20 {
		t.Errorf("%d", got)
	}
	s.Leak = 1000
	if got := s.LeakAtInlet(); got != 200 {
		t.Errorf("%d", got)
	}
	if got := (&Sum{Leak: 5}).LeakAtInlet(); got != 0 {
		t.Errorf("%d", got)
	}
}
