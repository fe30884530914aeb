package air

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// What four recordings of an independent model of a doubling booster delivered a stroke, as a share
// of the swept volume at the inlet's pressure, by the mean of 1/t² (/s²) and p2/p1 of their strokes.
// Its dead volume and valves are not known; the slow station fills better than the quick one.
func TestVolumetricEfficiencyOfAnIndependentModel(t *testing.T) {
	for _, c := range []struct{ perSquare, ratio, eta float64 }{
		{2.72, 1.48, 0.964}, {4.47, 1.48, 0.952}, {5.20, 1.46, 0.949}, {7.57, 1.37, 0.930}} {
		pace := Pace{Mean: 1 / math.Sqrt(c.perSquare)}
		x := Expansion(7e5, 7e5*station.Absolute(c.ratio))
		eta := VolumetricEfficiency(7e5, 7e5*station.Absolute(c.ratio), pace)
		t.Logf("1/t² %.2f, p2/p1 %.2f: %.3f, the model %.3f", c.perSquare, c.ratio, eta, c.eta)
		if off := math.Abs(eta/c.eta - 1); off > 0.015 || off > EfficiencyBand(eta, x) {
			t.Errorf("eta %.3f ± %.3f, the model %.3f", eta, EfficiencyBand(eta, x), c.eta)
		}
	}
}

// Laws of the efficiency: it falls with the pressure ratio and with the speed, is one less the rest
// at no ratio and no speed, and an unknown pace is one of full speed.
func TestVolumetricEfficiencyLaws(t *testing.T) {
	slow := Pace{Mean: 100}
	check(t, "slow, equal pressures", VolumetricEfficiency(7e5, 7e5, slow), 1-restLoss, 1e-5)
	check(t, "isentropic re-expansion of the dead volume", VolumetricEfficiency(5e5, 10e5, slow), 1-restLoss-deadBoost*(math.Pow(2, 1/1.4)-1), 1e-5)
	last := 1.0
	for _, s := range []float64{10, 2, 1, 0.7, 0.5, 0.35} {
		eta := VolumetricEfficiency(6e5, 10e5, Pace{Mean: s})
		if eta >= last {
			t.Errorf("%g s fills no worse than a slower stroke", s)
		}
		last = eta
	}
	if a, b := VolumetricEfficiency(6e5, 10e5, Pace{}), VolumetricEfficiency(6e5, 10e5, Pace{Mean: usualFull}); a != b {
		t.Errorf("unknown pace %g, full speed %g", a, b)
	}
	if a, b := VolumetricEfficiency(6e5, 10e5, Pace{Mean: 1e-3}), VolumetricEfficiency(6e5, 10e5, Pace{Mean: quickestFull}); a != b {
		t.Errorf("a time that no stroke takes counts: %g, %g", a, b)
	}
	if wide, narrow := EfficiencyBand(0.85, 1.3), EfficiencyBand(0.95, 0.3); wide < 1.5*narrow {
		t.Errorf("band %g at a high ratio, %g at a low one", wide, narrow)
	}
}
