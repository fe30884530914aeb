package model

import (
	"math"
	"testing"
)

// Set-ups: a default station that has settled at set, or strokes steadily.
func settled(change func(*Params)) *Station {
	p := Default()
	if change != nil {
		change(&p)
	}
	s := New(Doubling(), p, 990e3)
	s.Advance(900)
	return s
}

func working(change func(*Params)) *Station {
	return settled(func(p *Params) {
		p.Demand = constant(3.5e-3)
		if change != nil {
			change(p)
		}
	})
}

func TestHealthyStationHolds(t *testing.T) {
	s := settled(nil)
	n := s.Strokes()
	s.Advance(1800)
	if s.Strokes() > n+1 || s.Outlet() < 980e3 || s.Outlet() > 1000e3 || math.Abs(s.Inlet()-640e3) > 100 {
		t.Errorf("%d strokes in quiet time, inlet %g, outlet %g", s.Strokes()-n, s.Inlet(), s.Outlet())
	}
}

// A worn seal feeds the drive side past the closed governor: strokes go on in quiet time
// and the outlet creeps above set.
func TestWornSealCreeps(t *testing.T) {
	s := settled(nil)
	s.Params.Leaks.DriveSeal = Nozzle{0.05 * DM3SBar, 0.5}
	n := s.Strokes()
	s.Advance(1500)
	if s.Strokes() < n+5 || s.Outlet() < 1005e3 {
		t.Errorf("%d strokes, outlet %g", s.Strokes()-n, s.Outlet())
	}
}

// A set pressure above the relief valve's ends at the relief valve.
func TestReliefLifts(t *testing.T) {
	s := settled(nil)
	s.Params.Relief.SetGauge, s.Params.Governor.SetGauge = 1030e3, 1200e3
	s.Advance(1200)
	if o := s.Outlet(); o < 1030e3 || o > 1060e3 || s.Totals().Relief < 100 {
		t.Errorf("outlet %g, blown off %g L", o, s.Totals().Relief)
	}
}

// A leaking outlet valve costs one side's delivery: its teeth differ from the other's.
func TestBackLeakMakesTeethUneven(t *testing.T) {
	uneven := func(s *Station) float64 {
		tr := record(s, 60)
		var side [2]float64
		for i := 1; i < len(tr.strokes)-1; i++ {
			from, to := tr.strokes[i-1], tr.strokes[i]
			lo, hi := math.Inf(1), math.Inf(-1)
			for t := from; t < to; t += 0.01 {
				lo, hi = min(lo, between(tr.p2, t)), max(hi, between(tr.p2, t))
			}
			side[i%2] += hi - lo
		}
		return math.Abs(side[0]-side[1]) / (side[0] + side[1])
	}
	healthy, ill := uneven(working(nil)), uneven(working(func(p *Params) { p.Check.Back[0] = Nozzle{0.4 * DM3SBar, 0.5} }))
	t.Logf("unevenness %.3f healthy, %.3f with a back-leak", healthy, ill)
	if healthy > 0.03 || ill < 3*healthy+0.03 {
		t.Errorf("unevenness %.3f healthy, %.3f with a back-leak", healthy, ill)
	}
}

// A narrow line, and a low header, lower the inlet; only the header lowers it at rest too.
func TestSupplyFaultsShowAtTheInlet(t *testing.T) {
	inlet := func(change func(*Params)) float64 { return mean(record(working(change), 30).p1) }
	well := inlet(nil)
	narrow := inlet(func(p *Params) { p.Supply.Factor = 0.4 })
	low := inlet(func(p *Params) { p.Supply.HeaderGauge = 560e3 })
	if narrow > well-20 || low > well-60 {
		t.Errorf("inlet %.1f kPa, narrow line %.1f, low header %.1f", well, narrow, low)
	}
	rest := settled(func(p *Params) { p.Supply.Factor = 0.4 })
	near(t, "inlet at rest behind a narrow line", rest.Inlet(), 640e3, 1e-3)
}

// A tank ten times smaller makes teeth some ten times higher (m_b R T/V_t, derived).
func TestTeethGrowAsTheTankShrinks(t *testing.T) {
	tooth := func(litres float64) float64 {
		s := working(func(p *Params) { p.Tank.Volume = litres / 1e3; p.Governor.SetGauge = 2e6; p.Relief.SetGauge = 0 })
		return span(record(s, 60).shape(0.1, 2, 2000).outlet)
	}
	small, large := tooth(6), tooth(60)
	if small < 6*large || small > 14*large {
		t.Errorf("teeth %.2f kPa with 6 L, %.2f with 60 L", small, large)
	}
}

// A shut supply traps the inlet or dumps it; the outlet stays charged until it is vented.
func TestShutSupply(t *testing.T) {
	s := settled(nil)
	s.Params.Supply.Shut = true
	s.Advance(960)
	if s.Inlet() < 600e3 || s.Outlet() < 970e3 {
		t.Errorf("trapped inlet %g, outlet %g", s.Inlet(), s.Outlet())
	}
	s.Params.Supply.Dump = Nozzle{DM3SBar, 0.3}
	s.Advance(1020)
	if s.Inlet() > 1e3 || s.Outlet() < 900e3 {
		t.Errorf("dumped inlet %g, outlet %g", s.Inlet(), s.Outlet())
	}
	s.Params.VentOpen = true
	s.Advance(1080)
	if s.Outlet() > 1e3 {
		t.Errorf("vented outlet %g", s.Outlet())
	}
}

// Behind the regulator a leak sees a constant pressure and the outlet falls in a straight
// line; in front of it, and choked, exponentially (isothermal tank, derived).
func TestLeakShapes(t *testing.T) {
	fall := func(l Leaks) (first, second float64) {
		s := settled(func(p *Params) { p.Tank.Thermal, p.Tank.Wall, p.Supply.Shut = 1e-2, 0, true })
		s.Params.Leaks = l
		p0 := s.Outlet()
		s.Advance(s.State.Time + 20)
		p1 := s.Outlet()
		s.Advance(s.State.Time + 20)
		return p0 - p1, p1 - s.Outlet()
	}
	hole := Nozzle{0.1 * DM3SBar, 0.5}
	a, b := fall(Leaks{Branch: hole})
	near(t, "behind: second fall over first", b/a, 1, 1e-3)
	a, b = fall(Leaks{Tank: hole})
	tau := 30e-3 / (hole.C * refRho * gasR * refT)
	near(t, "in front: second fall over first", b/a, math.Exp(-20/tau), 1e-3)
}

// A snapping governor strokes at full speed or stands; the outlet swings between restart
// and set, and goes past them by a stroke at most.
func TestSnappingGovernor(t *testing.T) {
	s := settled(func(p *Params) { p.Governor.Band = 0; p.Demand = constant(1.5e-3) })
	tr := record(s, 240)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range tr.p2 {
		lo, hi = min(lo, v), max(hi, v)
	}
	var fast, stood int
	for i := 1; i < len(tr.strokes); i++ {
		if d := tr.strokes[i] - tr.strokes[i-1]; d < 0.55 {
			fast++
		} else if d > 1.5 {
			stood++
		}
	}
	n := len(tr.strokes) - 1
	t.Logf("outlet %.1f to %.1f kPa; of %d strokes %d fast, %d after standing", lo, hi, n, fast, stood)
	if lo < 976 || lo > 982 || hi < 1000 || hi > 1006 || fast+stood < n*9/10 || min(fast, stood) < n/10 {
		t.Error("it neither snaps nor stands")
	}
}

// Ratio limit: a set pressure out of reach stands below set, starved, at
// p1g (1 + A_d/A_b) - F/A_b (force balance) less two cracking pressures.
func TestSetOutOfReachStarves(t *testing.T) {
	p := Default()
	p.Supply.HeaderGauge = 430e3
	s := New(Doubling(), p, 600e3)
	s.Advance(600)
	b := s.Totals()
	s.Advance(1800)
	near(t, "outlet", s.Outlet(), 860e3-p.Piston.Friction[0]/s.Geometry().BoostArea()-2*p.Check.Crack, 1e-3)
	if got := s.Totals().Starved - b.Starved; got < 1100 {
		t.Errorf("starved %g of 1200 s", got)
	}
}
