package model

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Abs(want)) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, tol)
	}
}

// ISO 6358 with C = 2 dm³/(s bar), b = 0.3, pressures in bar absolute at 20 °C: flows
// computed independently from the standard's formula.
func TestNozzleFollowsISO6358(t *testing.T) {
	n := Nozzle{2 * DM3SBar, 0.3}
	for down, want := range map[float64]float64{6: 8.4757, 5: 11.2848, 1: 14} {
		near(t, "dm³/s ANR", n.flow(7e5, down*1e5, refT)/refRho*1e3, want, 1e-4)
	}
	if n.flow(5e5, 5e5, refT) != 0 || n.flow(4e5, 5e5, refT) != 0 || (Nozzle{}).flow(5e5, 1e5, refT) != 0 {
		t.Error("it flows without a drop, upwards or through a shut nozzle")
	}
}

// hole is an ideal round nozzle, m sqrt(R T)/(A p) = 0.68473 while choked (computed
// independently), with the critical ratio 0.52828 of kappa 1.4 (NACA 1135, from memory).
func hole(mm float64) Nozzle {
	area := math.Pi / 4 * mm * mm * 1e-6
	return Nozzle{C: 0.68473 * area / (refRho * math.Sqrt(gasR*refT)), B: 0.52828}
}

// bottle is a station with a charged tank and nothing on its inlet.
func bottle(volume, atmosphere, absolute, kelvin, thermal float64, leak Nozzle) *Station {
	p := Default()
	p.Atmosphere, p.Ambient, p.Supply.Shut = atmosphere, kelvin, true
	p.Tank = Tank{Volume: volume, Thermal: thermal}
	p.Relief.SetGauge = 0
	p.Leaks.Tank = leak
	return New(Doubling(), p, absolute-atmosphere)
}

// until returns the time at which the tank has fallen to p Pa absolute.
func (s *Station) until(t *testing.T, p float64) float64 {
	t.Helper()
	for s.State.Tank.Pressure() > p {
		s.Advance(s.State.Time + 0.02)
		if s.State.Time > 1e4 {
			t.Fatal("it does not fall so far")
		}
	}
	return s.State.Time
}

// Isothermal choked blow-down (Balmer, Thermodynamics, ex. 16.8, inputs as published;
// results computed independently): 1 ft³, 0.0938 in hole, 70 °F, 50 psia; unchokes at 13.1
// psig after 18.7 s, time constant 31.95 s.
func TestPublishedBlowDown(t *testing.T) {
	const psi, ft3 = 6894.757, 0.0283168466
	s := bottle(ft3, 14.7*psi, 50*psi, 294.26, 1e-3, hole(0.0938*25.4))
	near(t, "time to unchoke, s", s.until(t, (13.1+14.7)*psi), 18.7, 0.005)
	near(t, "time constant, s", s.State.Time/math.Log(50*psi/s.State.Tank.Pressure()), 31.95, 0.005)
}

// Adiabatic charge of 100 L from a line at tank temperature, 1 to 7 bar absolute, 20 °C:
// 115.1 °C, and p1 + (p2-p1)/kappa = 5.286 bar absolute after cooling (exact identity).
func TestChargingHeats(t *testing.T) {
	v := Fill(0.1, 1e5, 293.15)
	for range 200_000 {
		admit(&v, 7e5, 293.15, hole(5), 1e-3)
	}
	near(t, "Pa", v.Pressure(), 7e5, 1e-6)
	near(t, "°C", v.Temperature()-273.15, 115.1, 1e-3)
	near(t, "Pa after cooling", v.M*gasR*293.15/v.V, 5.286e5, 1e-4)
}

// Adiabatic discharge 8 to 4 bar absolute from 20 °C: -32.7 °C, recovers to 4.876 bar
// absolute; and 20 m³ of 10 MPa, 25 °C to 200 kPa: 2338 to 143.0 kg, 97.45 K (published
// example). Computed independently.
func TestDischargingCools(t *testing.T) {
	v := Fill(0.1, 8e5, 293.15)
	for v.Pressure() > 4e5 {
		release(&v, 1e5, hole(1), 1e-3)
	}
	near(t, "°C", v.Temperature()-273.15, -32.7, 2e-3)
	near(t, "Pa after rewarming", v.M*gasR*293.15/v.V, 4.876e5, 1e-4)

	v = Fill(20, 10e6, 298.15)
	near(t, "kg", v.M, 2338, 2e-3)
	for v.Pressure() > 200e3 {
		release(&v, 1e5, hole(30), 0.1)
	}
	near(t, "kg left", v.M, 143.0, 2e-3)
	near(t, "K", v.Temperature(), 97.45, 2e-3)
}

// Isentropic compression p V^kappa = const (from memory) in steps of a thousandth.
func TestResizeIsIsentropic(t *testing.T) {
	v := Fill(1e-3, 1e5, 293.15)
	for i := range 500 {
		v.resize(1e-3 * (1 - float64(i+1)/1000))
	}
	near(t, "Pa", v.Pressure(), 1e5*math.Pow(2, 1.4), 1e-5)
}
