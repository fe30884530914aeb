package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// passes gives C/sqrt(1-b), m³/(s·Pa), of a smooth pipe from up to down (Pa abs) with b = 0.3:
// isothermal flow without acceleration, friction by Swamee and Jain. It shares nothing with
// the analyzer.
func passes(bore, length, up, down float64) float64 {
	const r, t, mu, rho = 287.05, 293.15, 18.2e-6, 1.185
	f, m := 0.02, 0.0
	for range 30 {
		m = math.Pi / 4 * bore * bore * math.Sqrt((up*up-down*down)/(r*t*f*length/bore))
		re := 4 * m / (math.Pi * bore * mu)
		f = 0.25 / math.Pow(math.Log10(1.5e-6/bore/3.7+5.74/math.Pow(re, 0.9)), 2)
	}
	y := (down/up - 0.3) / 0.7
	return m / rho / (up * math.Sqrt(1-y*y)) / math.Sqrt(0.7)
}

// A station on a hose that is too narrow: the line that the analyzer asks for is put in, and
// the inlet then sags by the limit. The bore that it asks for passes as much.
func TestLineThatWouldDo(t *testing.T) {
	for _, bore := range []float64{6e-3, 6.6e-3} {
		s := virtual(t, "press-4")
		const length, limit = 12.0, 0.10
		s.Rhythm = rig.Rhythm{Flow: 5e-3, Period: 20, Share: 0.5}
		s.Plate.SupplyBore, s.Plate.SupplyLength = bore, length
		up := s.Params.Supply.HeaderGauge + 101325
		s.Params.Supply.Line.C = passes(bore, length, up, up-0.15*640e3) * math.Sqrt(0.7)
		st := watch(s)
		st.run(600)
		sag, needed, asked := st.figure(station.SupplySag), st.figure(station.ConductanceNeeded), st.figure(station.BoreNeeded)
		if !needed.Known() || !asked.Known() || sag.Value < 1.3*limit {
			t.Fatalf("%g mm: sag %.3f, conductance needed %g (%s), bore %g (%s)", 1e3*bore, sag.Value, needed.Value, needed.Reason, asked.Value, asked.Reason)
		}
		if got := passes(asked.Value, length, up, up-limit*640e3); math.Abs(got/needed.Value-1) > 0.05 {
			t.Errorf("%g mm: a bore of %.2f mm passes %.3g, needed %.3g", 1e3*bore, 1e3*asked.Value, got, needed.Value)
		}
		s.Params.Supply.Line.C = needed.Value * math.Sqrt(0.7)
		again := watch(s)
		again.run(600)
		now := again.figure(station.SupplySag)
		t.Logf("%g mm: sag %.3f; conductance %.2f dm³/(s·bar), pipe %.2f, needed %.2f, bore %.1f mm (%.1f to %.1f); with it sag %.3f", 1e3*bore, sag.Value,
			1e8*st.figure(station.SupplyConductance).Value, 1e8*st.figure(station.PipeConductance).Value, 1e8*needed.Value, 1e3*asked.Value, 1e3*asked.Low, 1e3*asked.High, now.Value)
		if !now.Known() || math.Abs(now.Value-limit) > 0.02 {
			t.Errorf("%g mm: with the line that was asked for the sag is %.3f, limit %.2f", 1e3*bore, now.Value, limit)
		}
	}
}

// A filter that has lost most of what the pipe would pass: no bore is given, and the reason
// says where to look; the alarm is raised by bore and length from the first day on.
func TestFilterIsNotTheLine(t *testing.T) {
	s := virtual(t, "press-4", rig.Fault{Kind: rig.FilterClogging, Level: 0.6})
	s.Rhythm = rig.Rhythm{Flow: 5e-3, Period: 20, Share: 0.5}
	up := s.Params.Supply.HeaderGauge + 101325
	s.Plate.SupplyLength = 12
	s.Plate.SupplyBore = air.Pipe{Length: 12, Roughness: air.DrawnRoughness}.BoreFor(
		air.Conductance{C: s.Params.Supply.Line.C, B: 0.3}.Flow(station.Absolute(up), station.Absolute(up-40e3), air.T0ANR), station.Absolute(up), station.Absolute(up-40e3), air.T0ANR)
	st := watch(s)
	st.run(900)
	bore := st.figure(station.BoreNeeded)
	if bore.Known() || bore.Reason != "a filter, a valve or a hose is at fault: the line alone would pass more" {
		t.Errorf("bore needed %.1f mm (%s)", 1e3*bore.Value, bore.Reason)
	}
	if raised(st.unit, "supply-restricting") != 1 {
		t.Errorf("supply-restricting was raised %d times", raised(st.unit, "supply-restricting"))
	}
	if needed := st.figure(station.ConductanceNeeded); !needed.Known() {
		t.Errorf("conductance needed: %s", needed.Reason)
	}
}
