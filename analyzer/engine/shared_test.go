package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// decaying returns an engine whose standing window of two minutes falls by a rate, 1/s, from 1 MPa abs.
func decaying(p station.Plate, rate float64) *Engine {
	e := New(p, &discard{})
	l := &e.Leak
	for t := 0.25; t < 120; t += 0.5 {
		l.T, l.P = append(l.T, t), append(l.P, 1e6*math.Exp(-rate*t))
	}
	e.fitLeak(t0.Add(120 * station.Second))
	e.leaveShared()
	return e
}

// A tank that falls with a share rate loses C = V rate/p0 (choked), whoever fills it, while nobody does. The station that speaks for
// the tank tells it once; that it does not fall proves nothing, since another booster may hold it up.
func TestSharedTankHasOneLeak(t *testing.T) {
	const rate = 1e-4
	for _, c := range []struct {
		name, tank, at string
		rate           float64
		known          bool
		reason         string
	}{
		{"a tank of its own", "", "", rate, true, ""},
		{"a tank of its own, tight", "", "", 0, true, ""},
		{"speaks for the tank", "hall", "", rate, true, ""},
		{"speaks for the tank, which does not fall", "hall", "", 0, false, sharedTank},
		{"another speaks for it", "hall", "p-1", rate, false, "told of p-1, which has the same tank"},
	} {
		p := testPlate()
		p.Tank, p.TankAt, p.AirTemperature = c.tank, c.at, 293.15
		g := decaying(p, c.rate).Est[station.LeakConductance]
		if g.Known() != c.known || g.Reason != c.reason {
			t.Errorf("%s: %+v", c.name, g)
		}
		if want := p.TankVolume * c.rate / float64(air.P0ANR); c.known && math.Abs(g.Value-want) > 0.1*want+1e-15 {
			t.Errorf("%s: %g, want %g", c.name, g.Value, want)
		}
	}
}

// What a balance of the tank or the line needs and another booster takes part in is unknown, with the reason.
func TestSharedTankAndLineAreSaid(t *testing.T) {
	p := testPlate()
	p.Tank, p.LineShared = "hall", true
	e := New(p, &discard{})
	for f := range e.Est {
		e.Est[f] = station.Estimate{Value: 1, Method: station.MethodTraces}
	}
	e.leaveShared()
	for f, want := range map[station.Figure]string{station.StrokeDelivery: sharedTank, station.OutletDraw: sharedTank, station.LeakAtMost: sharedTank,
		station.SupplyConductance: sharedLine, station.SupplySag: "", station.LeakFlow: "", station.StoredEnergy: ""} {
		if e.Est[f].Reason != want || e.Est[f].Known() != (want == "") {
			t.Errorf("%s: %+v, want %q", station.Figures[f].Name, e.Est[f], want)
		}
	}
}
