package model

import (
	"math"
	"testing"
)

// shut is a station with a shut supply whose piston stands and whose tank is isothermal.
func shut(change func(*Params), outlet float64) *Station {
	p := Default()
	p.Supply.Shut, p.Tank.Thermal, p.Tank.Wall = true, 1e-3, 0
	change(&p)
	return New(Doubling(), p, outlet)
}

// A steady flow through the hose leaves the tank at the ratio that ISO 6358 asks for,
// r = b + (1-b) sqrt(1 - (q/(C p_up))²); the port is a bottle that hardly falls.
func TestHosePassesByISO6358(t *testing.T) {
	hose := Nozzle{3 * DM3SBar, 0.3}
	for _, flow := range []float64{5e-3, 10e-3, 18e-3} { // m³/s ANR
		s := shut(func(p *Params) {
			p.Port = Port{Volume: 50, Hose: hose}
			p.Tank.Volume = 5e-3
			p.Regulator = Regulator{SetGauge: 100e3, Full: Nozzle{1e-6, 0.3}}
			p.Demand = constant(flow)
			p.Relief.SetGauge = 0
		}, 900e3)
		s.Advance(20)
		up := s.State.Port.Pressure()
		x := flow * math.Sqrt(s.State.Port.Temperature()/refT) / (hose.C * up)
		near(t, "p_down/p_up", s.State.Tank.Pressure()/up, hose.B+(1-hose.B)*math.Sqrt(1-x*x), 5e-3)
	}
}

// The outlet sensor at the port sees the drop of the hose while a stroke delivers, one at the tank
// does not; standing they agree.
func TestPortSeesTheHose(t *testing.T) {
	over := func(atTank bool) (most, standing float64) {
		s := working(func(p *Params) {
			p.Port = Port{Volume: 0.2e-3, Hose: Nozzle{2 * DM3SBar, 0.3}, AtTank: atTank}
		})
		for range 1000 {
			s.Advance(s.State.Time + 0.005)
			most = max(most, s.Outlet()-s.Stored())
		}
		s.Params.Demand = Demand{}
		s.Advance(s.State.Time + 60)
		return most, math.Abs(s.Outlet() - s.Stored())
	}
	if w, st := over(false); w < 2e3 || st > 10 {
		t.Errorf("at the port: %g Pa above the tank working, %g standing", w, st)
	}
	if w, st := over(true); w != 0 || st != 0 {
		t.Errorf("at the tank: %g and %g Pa", w, st)
	}
}

// Lags are first order: after a step the share 1 - exp(-t/tau) is reached, whatever the step.
func TestLagsAreFirstOrder(t *testing.T) {
	s := settled(func(p *Params) { p.SensorLag, p.Governor.Lag = 20e-3, 0.4 })
	s.State.Read = [2]float64{}
	p1, p2, from := s.Inlet(), s.Outlet(), s.State.Time
	s.Advance(from + 30e-3)
	in, out := s.Readings()
	near(t, "inlet", in/p1, 0.77687, 2e-3) // 1 - exp(-1.5)
	near(t, "outlet", out/p2, 0.77687, 2e-3)
	s.State.Seen, from = 0, s.State.Time
	s.Params.Supply.Shut = true // the governor opens, and nothing may move
	s.Advance(from + 0.4)
	near(t, "what the governor sees", s.State.Seen/p2, 0.63212, 1e-2) // 1 - 1/e
	s.Params.SensorLag = 0
	if in, out = s.Readings(); in != s.Inlet() || out != s.Outlet() {
		t.Error("sensors without lag lag")
	}
}

// A relief valve that pops opens wholly at its setting and closes at SetGauge (1 - Blowdown). The
// isothermal tank falls from one to the other in V/(C rho_0 R T) ln(p_set/p_close), derived.
func TestReliefPops(t *testing.T) {
	s := shut(func(p *Params) {
		p.Relief = Relief{SetGauge: 900e3, Blowdown: 0.06, Full: Nozzle{6 * DM3SBar, 0.3}}
	}, 899e3)
	s.Advance(1)
	if s.Totals().Relief != 0 {
		t.Fatal("it lifts below its setting")
	}
	s.State.Tank = Fill(30e-3, 900e3+101325, refT)
	from := s.State.Time
	for s.Advance(from + 0.001); s.State.Lifted; {
		s.Advance(s.State.Time + 0.001)
	}
	near(t, "Pa gauge at which it closes", s.Stored(), 846e3, 1e-3)
	tau := 30e-3 / (6 * DM3SBar * refRho * gasR * refT)
	near(t, "s for the blow-down", s.State.Time-from, tau*math.Log(1001325/947325.), 0.02)
	blown := s.Totals().Relief
	s.Advance(s.State.Time + 5)
	if s.Totals().Relief != blown {
		t.Error("it has not closed")
	}
}

// The exhaust ices while it blows and thaws as exp(-t/Thaw); iced, with half its conductance, it
// slows a piston whose speed the exhaust decides.
func TestExhaustIcesAndThaws(t *testing.T) {
	stroke := func(depth float64) (float64, *Station) {
		s := working(func(p *Params) {
			p.Governor.SetGauge, p.Relief.SetGauge = 2e6, 0
			p.Drive.Exhaust.C *= 0.5
			p.Drive.Ice = Ice{Depth: depth, Air: 300, Thaw: 600}
		})
		n := s.Strokes()
		s.Advance(s.State.Time + 60)
		return 60 / float64(s.Strokes()-n), s
	}
	clear, _ := stroke(0)
	iced, s := stroke(0.5)
	if iced < 1.1*clear || s.State.Ice < 0.5 || s.State.Ice >= 1 {
		t.Errorf("%.3f s a stroke clear, %.3f iced (%.2f)", clear, iced, s.State.Ice)
	}
	s.Params.Supply.Shut = true
	s.Advance(s.State.Time + 30) // what is left in the chambers is let out
	was := s.State.Ice
	s.Advance(s.State.Time + 300)
	near(t, "thawed in half its time constant", s.State.Ice/was, math.Exp(-0.5), 5e-3)
}

// Sides that differ take different times and deliver different amounts; alike ones do not. A dead
// volume larger by d c lowers what a side delivers by d c ((p2/p1)^(1/kappa) - 1) of it at least
// (re-expansion, derived).
func TestSidesDiffer(t *testing.T) {
	sides := func(g Geometry, change func(*Params)) (time, delivered float64) {
		p := Default()
		p.Demand = constant(6e-3)
		p.Governor.SetGauge, p.Relief.SetGauge = 2e6, 0
		change(&p)
		s := New(g, p, 900e3)
		s.Advance(200)
		s.TakeStrokes(nil)
		var took, gave, n [2]float64
		last, before := math.NaN(), 0.0
		for range 20000 {
			s.Advance(s.State.Time + 1e-3)
			for _, e := range s.TakeStrokes(nil) {
				if k := s.Totals().Delivered; !math.IsNaN(last) {
					n[e.Side]++
					took[e.Side] += e.At - last
					gave[e.Side] += k - before
				}
				last, before = e.At, s.Totals().Delivered
			}
		}
		return took[0]/took[1]*n[1]/n[0] - 1, gave[0]/gave[1]*n[1]/n[0] - 1
	}
	alike, even := sides(Doubling(), func(*Params) {})
	if math.Abs(alike) > 2e-3 || math.Abs(even) > 5e-3 {
		t.Errorf("alike sides: times differ by %.3f, delivery by %.3f", alike, even)
	}
	slow, _ := sides(Doubling(), func(p *Params) { p.Uneven.Feed[0] = -0.1 })
	if slow < alike+0.02 {
		t.Errorf("with a tenth less feed side a takes %.3f more time", slow)
	}
	slow, _ = sides(Doubling(), func(p *Params) { p.Uneven.Exhaust[1] = -0.1 })
	if slow < alike+0.02 {
		t.Errorf("with a tenth less exhaust of side b side a takes %.3f more time", slow)
	}
	g := Doubling()
	g.DeadBoost, g.DeadMore[0] = 0.1, 1 // 0.2 at side a
	if _, less := sides(g, func(*Params) {}); less > -0.015 || less < -0.08 {
		t.Errorf("with twice the dead volume side a delivers %.3f more", less)
	}
}

// A second booster takes its share: together they make as many strokes as one alone would for the
// same demand (mass balance), and both stand at set.
func TestTwoBoostersShareADemand(t *testing.T) {
	run := func(on bool) Totals {
		s := settled(func(p *Params) { p.Second.On = on; p.Governor.Band = 0; p.Supply.Line.C *= 3 })
		s.Params.Demand = constant(3e-3)
		b := s.Totals()
		s.Advance(s.State.Time + 600)
		e := s.Totals()
		return Totals{Strokes: e.Strokes - b.Strokes, Second: e.Second - b.Second, Stroking: e.Stroking - b.Stroking}
	}
	alone, both := run(false), run(true)
	near(t, "strokes of both", float64(both.Strokes+both.Second), float64(alone.Strokes), 0.06)
	if alone.Second != 0 || min(both.Strokes, both.Second) < alone.Strokes/4 || both.Stroking > 0.8*alone.Stroking {
		t.Errorf("alone %+v, both %+v", alone, both)
	}
}

// A booster without a governor strokes until its forces balance, p1g (1 + A_d/A_b) - F/A_b less two
// cracking pressures, and counts as holding there.
func TestFixedRatioStandsWhereForcesBalance(t *testing.T) {
	p := Default()
	p.Governor.Without, p.Governor.SetGauge, p.Relief.SetGauge, p.Tank.Volume = true, 1200e3, 0, 5e-3
	s := New(Doubling(), p, 640e3)
	s.Advance(900)
	b := s.Totals()
	s.Advance(1200)
	e := s.Totals()
	near(t, "outlet", s.Outlet(), 2*640e3-215/s.areaB-2*p.Check.Crack, 2e-3)
	if e.Holding-b.Holding < 299 || e.Strokes > b.Strokes+2 {
		t.Errorf("held for %g of 300 s, %d strokes", e.Holding-b.Holding, e.Strokes-b.Strokes)
	}
}

// The set wanders by what it is given, slowly: the outlet of a station that holds at set follows.
func TestSetWanders(t *testing.T) {
	s := settled(func(p *Params) { p.Governor.Wander, p.Governor.WanderLag, p.Seed = 8e3, 120, 4 })
	sum2, n := 0.0, 0.0
	for s.State.Time < 40e3 {
		s.Advance(s.State.Time + 10)
		d := s.set() - s.Params.Governor.SetGauge
		sum2, n = sum2+d*d, n+1
	}
	near(t, "rms of the set, Pa", math.Sqrt(sum2/n), 8e3, 0.1)
}
