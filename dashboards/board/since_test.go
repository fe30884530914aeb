package board

import (
	"testing"

	"strokewise/analyzer/station"
)

// Sources: 0.5 L/s for 60 s are 30 L; of the half-widths 5 and 3 L of inlet and delivered air that of the exhaust is
// sqrt(5² - 3²) = 4 L (station.Minute.ExhaustBand). Unknown air and a bound of the leak add nothing.
func TestSumsSinceTheStart(t *testing.T) {
	const litre = station.Microlitres(1e6)
	m := station.Minute{Covered: 60e9, Inlet: 50 * litre, InletLow: 45 * litre, InletHigh: 55 * litre, Exhaust: 30 * litre,
		Delivered: 20 * litre, DeliveredLow: 17 * litre, DeliveredHigh: 23 * litre,
		Leak: station.Estimate{Value: 0.5e-3, Method: station.MethodDecay}}
	unknown := m
	unknown.AirReason, unknown.Leak.Method = "not counted", station.MethodBound
	var s Since
	for range 2 {
		s.Add(&m)
		s.Add(&unknown)
	}
	want := Since{Leak: 60 * litre, LeakNs: 120e9, InletLow: 90 * litre, InletHigh: 110 * litre, ExhaustLow: 52 * litre, ExhaustHigh: 68 * litre,
		DeliveredLow: 34 * litre, DeliveredHigh: 46 * litre, Bands: true}
	if s != want {
		t.Errorf("%+v, want %+v", s, want)
	}
}
