package air

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// Friction factors of the documentation of the Python library fluids (Debian python3-fluids
// 1.0.22; S) at Re 1e5, relative roughness 1e-4.
func TestFrictionFactors(t *testing.T) {
	check(t, "Colebrook", Friction(1e5, 1e-4), 0.018513866, 1e-7)
	check(t, "Haaland", Haaland(1e5, 1e-4), 0.018265053, 1e-7)
	check(t, "Swamee and Jain", swameeJain(1e5, 1e-4), 0.018452424, 1e-7)
	for _, re := range []float64{5e3, 1e5, 1e7} {
		for _, rel := range []float64{1e-6, 1e-4, 1e-2} {
			check(t, "Colebrook beside Swamee and Jain, who claim 1 % (M) where it is rough", Friction(re, rel), swameeJain(re, rel), 0.03)
		}
	}
	check(t, "laminar, Hagen-Poiseuille", Friction(1000, 0.01), 0.064, 1e-12)
	if !math.IsNaN(Friction(0, 0)) {
		t.Error("a standing flow has a friction factor")
	}
}

// swameeJain is an explicit formula of the friction factor (Swamee and Jain 1976; M).
func swameeJain(re, rel float64) float64 {
	x := 2 * math.Log10(rel/3.7+math.Pow(6.97/re, 0.9))
	return 1 / (x * x)
}

func TestPipesOfTextBooks(t *testing.T) {
	// The same library (S): rho 11.3, Darcy .00185, 1e6 -> 9e5 Pa, 1000 m, 0.5 m.
	check(t, "isothermal flow, fluids", Pipe{Bore: 0.5, Length: 1000}.Mass(.00185, 1e6, 9e5, 300, 1e6/11.3/300), 145.4848, 1e-6)
	// Massey, Mechanics of Fluids, ex. 11.7 (S): 0.32 kg/s, 8 -> 5 bar abs, 145 m, Fanning
	// .006, 288 K: 41.46 mm. The book neglects the acceleration; a negative loss takes it off.
	massey := Pipe{Bore: 41.46e-3, Length: 145, Loss: -2 * math.Log(8./5)}
	check(t, "Massey 11.7, kg/s", massey.Mass(4*.006, 8*bar, 5*bar, 288, 287), 0.32, 1e-3)
	massey.Loss = 0
	check(t, "Massey 11.7 with acceleration", massey.Mass(4*.006, 8*bar, 5*bar, 288, 287), 0.32, 0.01)
	// Computed independently (C): 100 m³/h ANR, 26.6 mm, 50 m, 46 µm, 7 bar gauge, 20 °C:
	// Re 87,049, f .024624, isothermal 8,577 Pa.
	p := Pipe{Bore: 26.6e-3, Length: 50, Roughness: 46e-6}
	up := station.Gauge(7 * bar).Absolute(atm)
	check(t, "friction at Re 87,049", Friction(87049, 46./26600), .024624, 1e-4)
	check(t, "100 m³/h through 50 m", p.Flow(up, up-8577, T0ANR)*3600, 100, 5e-3)
	check(t, "the bore for it", p.BoreFor(100./3600, up, up-8577, T0ANR), 26.6e-3, 2e-3)
}

// Esposito 14-1 (S): 100 scfm, 250 ft of 1 in pipe (d^5.31 = 1.2892), 150 psig: 4.93 psi by
// Harris' formula, an experience with rough steel pipes of old. Darcy-Weisbach with the
// roughness of steel (46 µm) must come near; a smooth bore must lose less.
func TestPipeAgainstHarris(t *testing.T) {
	d := math.Pow(1.2892, 1/5.31)
	harris := .1025 / math.Pow(1, .31) * 250 * 100 * 100 / (3600 * 164.7 / 14.7 * 1.2892) // the book takes the nominal bore here
	check(t, "Harris' formula, psi", harris, 4.93, 1e-3)
	up := station.Absolute(164.7 * psi)
	q := func(rough float64) float64 {
		return Pipe{Bore: d * inch, Length: 250 * foot, Roughness: rough}.Flow(up, up-4.93*psi, f68) / cfm /
			(psi14 / float64(P0ANR))
	}
	check(t, "Darcy-Weisbach, 46 µm, scfm", q(46e-6), 100, 0.15)
	if q(DrawnRoughness) <= q(46e-6) {
		t.Error("a smooth pipe passes no more than a rough one")
	}
}

// Laws: flow grows as the drop does and not past choking; BoreFor undoes Flow; the
// conductance of ISO 6358 passes what the pipe does where it was taken.
func TestPipeLaws(t *testing.T) {
	p := Pipe{Bore: 9e-3, Length: 12, Roughness: DrawnRoughness}
	last := 0.0
	for down := 740e3; down > 1e3; down *= 0.95 {
		q := p.Flow(741e3, station.Absolute(down), T0ANR)
		if q < last*(1-1e-9) {
			t.Fatalf("to %g Pa flows less, %g after %g", down, q, last)
		}
		last = q
		check(t, "bore for its flow", p.BoreFor(p.Flow(741e3, 700e3, T0ANR), 741e3, 700e3, T0ANR), 9e-3, 1e-6)
	}
	for _, down := range []station.Absolute{735e3, 700e3, 600e3} {
		c := Conductance{C: p.Conductance(741e3, down, T0ANR, 0.3), B: 0.3}
		check(t, "conductance", c.Flow(741e3, down, T0ANR), p.Flow(741e3, down, T0ANR), 1e-9)
	}
	if p.Flow(7e5, 7e5, T0ANR) != 0 || p.BoreFor(1e3, 2e5, 1.9e5, T0ANR) != 0 || (Pipe{}).Flow(7e5, 6e5, T0ANR) != 0 {
		t.Error("something flows without a drop, or without a bore")
	}
}
