package model

import (
	"fmt"
	"math"
	"testing"
)

// unbounded gives a station whose governor and relief valve never act.
func unbounded(g Geometry, p Params, outlet float64) *Station {
	p.Governor.SetGauge, p.Relief.SetGauge = 10e6, 0
	return New(g, p, outlet)
}

// Stall without friction p2g = p1g (1 + A_d/A_b), with friction F/A_b less: force balance,
// derived. Each check valve on the way may keep its cracking pressure besides.
func TestStallPressure(t *testing.T) {
	for ratio, g := range map[float64]Geometry{2: Doubling(), 4: Quadrupling()} {
		near(t, "ratio", g.Ratio(), ratio, 1e-12)
		for _, f := range []float64{0, 145, 400} {
			t.Run(fmt.Sprintf("%g:1 F %g N", ratio, f), func(t *testing.T) {
				p := Default()
				p.Piston.Friction = [2]float64{f, f}
				p.Tank.Volume = 5e-3
				s := unbounded(g, p, 640e3)
				s.Advance(900)
				n := s.Strokes()
				s.Advance(1200)
				want := 640e3*ratio - f/g.BoostArea()
				if got := s.Outlet(); got > want+3e3 || got < want-2*p.Check.Crack-0.005*want || s.Strokes() > n+2 {
					t.Errorf("stalls at %.1f kPa after %d, %d strokes; want %.1f", got/1e3, n, s.Strokes(), want/1e3)
				} else {
					t.Logf("stalls at %.1f kPa, force balance %.1f", got/1e3, want/1e3)
				}
			})
		}
	}
}

// Strokes that bring an isothermal tank from p1 to the set pressure, against the mass
// balance N m_b = V_t (p_s - p1)/(R T) with m_b = p1 V_b eta/(R T) and eta from the
// re-expansion of the dead volume, 1 - c ((p2/p1)^(1/kappa) - 1), summed while p2 rises.
// Warm chambers and cracking pressures cost some per cent more.
func TestStrokesToFill(t *testing.T) {
	p := Default()
	p.Tank.Volume, p.Tank.Thermal, p.Tank.Wall = 0.1, 1e-3, 0
	p.Governor.Band = 0
	p.Supply.Line.C *= 10
	g := Doubling()
	s := New(g, p, 640e3)
	for !s.State.Governed {
		s.Advance(s.State.Time + 0.1)
	}
	want, p1, p2 := 0.0, 741.3e3, 741.3e3
	for ; p2 < 1101.3e3; want++ {
		eta := 1 - g.DeadBoost*(math.Pow(p2/p1, 1/kappa)-1)
		p2 += p1 * g.BoostArea() * g.Stroke * eta / p.Tank.Volume
	}
	got := float64(s.Strokes())
	t.Logf("%g strokes, balance %g", got, want)
	if got < want-1 || got > 1.06*want+1 {
		t.Errorf("filled in %g strokes, the balance says %g", got, want)
	}
}

// everything is a station with every way in and out at work.
func everything() *Station {
	p := Default()
	p.Demand = Demand{Steps: []DemandStep{{0, 1e-3}, {40, 2e-3}}, Repeat: 90, Pulse: Pulse{Every: 7, On: 1.5, Flow: 3e-3}}
	p.Leaks = Leaks{Tank: Nozzle{0.05 * DM3SBar, 0.5}, Branch: Nozzle{0.02 * DM3SBar, 0.5}, Line: Nozzle{0.03 * DM3SBar, 0.5}, DriveSeal: Nozzle{0.02 * DM3SBar, 0.5}}
	p.Check.Back[1] = Nozzle{0.05 * DM3SBar, 0.5}
	p.Relief.SetGauge = 990e3
	return New(Doubling(), p, 900e3)
}

// What comes in stays, or goes out by a way that is counted; times add up.
func TestMassAndTimeBalance(t *testing.T) {
	s := everything()
	content := s.Content()
	s.Advance(540)
	s.Params.Tank.Volume = 12e-3
	s.Params.Supply.Dump = Nozzle{DM3SBar, 0.3}
	s.Advance(580)
	s.Params.Supply.Shut, s.Params.VentOpen = true, true
	s.Advance(600)
	k := s.Totals()
	out := k.Exhaust + k.Demand + k.Leak + k.LineLeak + k.Relief + k.Resized
	near(t, "inlet air, L ANR", k.Inlet, out+s.Content()-content, 1e-9)
	near(t, "seconds", k.Moving+k.Holding+k.Starved+k.Resting, 600, 1e-9)
	if k.Strokes < 100 || min(k.Demand, k.Leak, k.LineLeak, k.Relief, k.Resized, k.Resting) <= 0 {
		t.Errorf("not everything was at work: %+v", k)
	}
}

// A copy goes its own way, and the same way.
func TestCopyIsIndependentAndEqual(t *testing.T) {
	a := everything()
	a.Advance(33)
	b := *a
	a.Advance(66)
	if b.State.Time != 33 {
		t.Fatal("the copy moved")
	}
	b.Advance(66)
	if a.State != b.State || a.Totals() != b.Totals() {
		t.Errorf("the copy went another way: %+v, %+v", a.State, b.State)
	}
}

func TestTakeStrokesGivesEachOnce(t *testing.T) {
	p := Default()
	p.Demand = Constant(4e-3)
	s := New(Doubling(), p, 900e3)
	var got []Stroke
	for i := range 40 {
		s.Advance(float64(i))
		got = s.TakeStrokes(got)
	}
	if len(got) != s.Strokes() || len(got) < 40 {
		t.Fatalf("%d strokes taken of %d", len(got), s.Strokes())
	}
	for i, e := range got {
		if int(e.Side) != i%2 || i > 0 && e.At <= got[i-1].At {
			t.Errorf("stroke %d: %+v", i, e)
		}
	}
	s.Advance(600)
	if n := len(s.TakeStrokes(nil)); n != maxRecent {
		t.Errorf("%d strokes kept, want %d", n, maxRecent)
	}
}

func TestDemandFlow(t *testing.T) {
	d := Demand{Steps: []DemandStep{{2, 1}, {5, 3}}, Repeat: 10, Pulse: Pulse{Every: 4, On: 1, Offset: 6, Flow: 10}}
	var cursor int
	for _, c := range []struct{ at, want float64 }{{0, 0}, {2, 1}, {4.9, 1}, {5, 3}, {6, 13}, {7, 3}, {10.5, 10}, {12, 1}, {15, 3}, {3, 1}} {
		if got := d.at(c.at, &cursor); got != c.want {
			t.Errorf("at %g s: %g, want %g", c.at, got, c.want)
		}
	}
}
