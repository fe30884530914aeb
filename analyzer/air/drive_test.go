package air

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

func doubler() station.Plate {
	var p station.Plate
	p.Bores(0.063, 0.063, 0.016, 0.060, false, true)
	return p
}

// An independent model of a doubling booster, 63 mm bore, 594 kPa in and 880 kPa out, exhausted
// 1.11 litres ANR a stroke at full speed; the force balance gave 0.78 and the supply 1.38.
func TestDriveLawAgainstAnIndependentModel(t *testing.T) {
	p := doubler()
	amb := p.AmbientPressure()
	a, reason := PerStroke(&p, station.Gauge(594e3).Absolute(amb), station.Gauge(880e3).Absolute(amb))
	if reason != "" {
		t.Fatal(reason)
	}
	t.Logf("drive %+v, inlet %+v", a.Drive, a.Inlet)
	if math.Abs(a.Drive.Value/1.11-1) > 0.1 || a.Drive.Low > 1.11 || a.Drive.High < 1.11 {
		t.Errorf("drive air %+v, the independent model has 1.11 L", a.Drive)
	}
}

// Laws of the drive pressure: it stays between force balance and supply, a slower stroke never has
// more than a faster one, and the inlet's air is the sum of both sides.
func TestDriveLawBounds(t *testing.T) {
	p := doubler()
	var l Learned
	for p2 := station.Absolute(4e5); p2 < 14e5; p2 += 5e4 {
		last := math.Inf(1)
		for _, took := range []float64{0.2, 0.4, 0.6, 0.8, 1, 1.4} {
			a, _ := l.PerStroke(&p, 7e5, p2, Pace{Took: took, Fastest: 0.4})
			low, high := DriveBounds(&p, 7e5, p2)
			least, most := driveAir(&p, low, p.AmbientPressure()), driveAir(&p, high, p.AmbientPressure())
			if a.Drive.Low < least-1e-9 || a.Drive.High > most+1e-9 || a.Drive.Low > a.Drive.Value || a.Drive.Value > a.Drive.High {
				t.Errorf("p2 %g, %g s: %+v outside %g..%g", p2, took, a.Drive, least, most)
			}
			if left := float64(high-low) / 7e5; left > 0.2 && a.Drive.Value > last+0.02*most {
				t.Errorf("p2 %g: a stroke of %g s has more drive air than a faster one", p2, took)
			}
			last = a.Drive.Value
			if math.Abs(a.Inlet.Value-a.Boost.Value-a.Drive.Value) > 1e-12 {
				t.Errorf("inlet %g is not the sum", a.Inlet.Value)
			}
		}
	}
}

// A meter that has taught the usual law itself, without doubt, changes no value; what is later
// learned of the boost side leaves the inlet's air where the meter had it.
func TestMeteredStroke(t *testing.T) {
	p := doubler()
	plain, _ := PerStroke(&p, 7e5, 10e5)
	l := Learned{Metered: true, Drive: UsualDrive, MeterEta: 1, MeterBand: 0.02}
	a, _ := l.PerStroke(&p, 7e5, 10e5, Pace{})
	if math.Abs(a.Inlet.Value/plain.Inlet.Value-1) > 1e-9 || math.Abs((a.Inlet.High-a.Inlet.Value)/a.Inlet.Value-0.02) > 1e-9 {
		t.Errorf("metered %+v, plain %+v", a.Inlet, plain.Inlet)
	}
	l.Eta, l.EtaBand = 0.95, 0.03
	b, _ := l.PerStroke(&p, 7e5, 10e5, Pace{})
	if b.Inlet.Value != a.Inlet.Value || math.Abs(b.Drive.Value-(a.Inlet.Value-0.95*plain.Boost.Value)) > 1e-9 {
		t.Errorf("after recharges %+v, before %+v", b, a)
	}
	l.Away = true
	if c, _ := l.PerStroke(&p, 7e5, 10e5, Pace{}); c.Inlet.High-c.Inlet.Low < 1.5*(b.Inlet.High-b.Inlet.Low) {
		t.Errorf("away from the calibration the band is %+v, was %+v", c.Inlet, b.Inlet)
	}
}
