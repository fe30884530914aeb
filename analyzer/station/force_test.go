package station

import (
	"math"
	"testing"
)

// Values by hand from the force balance p2 = p1 + p_d A_d/A_b (gauge, no friction). The first two are common practice, no
// source: equal areas double, a drive three times as large quadruples.
func TestStall(t *testing.T) {
	for _, c := range []struct{ ratio, drive, p1, p2 float64 }{
		{1, 0, 400e3, 800e3},
		{3, 0, 100e3, 400e3},
		{1, 300e3, 600e3, 900e3},  // 600 + 300
		{3, 200e3, 600e3, 1200e3}, // 600 + 3 x 200
		{3, 200e3, 150e3, 600e3},  // below its set the regulator is open: 4 x 150
	} {
		p := Plate{AreaRatio: c.ratio, DriveSet: Gauge(c.drive)}
		if got := p.Stall(Gauge(c.p1)); math.Abs(float64(got)-c.p2) > 1e-6 {
			t.Errorf("%+v: outlet %g", c, got)
		}
		if got := p.StallInlet(Gauge(c.p2)); math.Abs(float64(got)-c.p1) > 1e-6 {
			t.Errorf("%+v: inlet %g", c, got)
		}
	}
	if p := (Plate{}); !math.IsNaN(float64(p.Stall(1))) || !math.IsNaN(float64(p.StallInlet(1))) {
		t.Error("a stall is told without bores")
	}
}

func TestDriveSupply(t *testing.T) {
	p := Plate{DriveSet: 300e3, Ambient: 100e3}
	if a, b := p.DriveSupply(700e3), p.DriveSupply(350e3); a != 400e3 || b != 350e3 {
		t.Errorf("%g and %g Pa absolute, want 400 and 350 kPa", a, b)
	}
}
