package model

import (
	"fmt"
	"math"
	"testing"
)

// unbounded returns a station whose governor and relief valve never act.
func unbounded(g Geometry, p Params, outlet float64) *Station {
	p.Governor.SetGauge, p.Relief.SetGauge = 10e6, 0
	return New(g, p, outlet)
}

// Stall without friction p2g = p1g (1 + A_d/A_b), with friction F/A_b less: force balance,
// derived. Each check valve on the way may keep its cracking pressure besides.
func TestStallPressure(t *testing.T) {
	for ratio, g := range map[float64]Geometry{2: Doubling(), 4: Quadrupling()} {
		near(t, "ratio", g.Ratio(), ratio, 1e-12)
		for _, f := range []float64{0, 215, 500} {
			t.Run(fmt.Sprintf("%g:1 F %g N", ratio, f), func(t *testing.T) {
				p := Default()
				p.Piston.Friction = [2]float64{f, f}
				p.Tank.Volume = 5e-3
				s := unbounded(g, p, 640e3)
				s.Advance(900)
				n := s.Strokes()
				s.Advance(1200)
				want := 640e3*ratio - f/g.BoostArea()
				t.Logf("stalls at %.1f kPa, force balance %.1f", s.Outlet()/1e3, want/1e3)
				if got := s.Outlet(); got > want+500 || got < want-2*p.Check.Crack-500 || s.Strokes() > n+2 {
					t.Errorf("%d, then %d strokes", n, s.Strokes())
				}
			})
		}
	}
}

// Inlet over delivered air of a quasi-static booster without friction and dead volume is
// 1 + A_d/A_b at full drive pressure, and less below it: derived. Near stall it comes
// close, here with what little dead volume the test leaves; fast strokes far below stall
// change over before the drive chamber is full.
func TestFlowRatio(t *testing.T) {
	for ratio, g := range map[float64]Geometry{2: Doubling(), 4: Quadrupling()} {
		g.DeadDrive, g.DeadBoost = 0.002, 0.002
		at := func(demand float64) float64 {
			p := Default()
			p.Piston.Friction = [2]float64{}
			p.Check.Crack, p.Drive.Wall = 100, 2000 // nearly isothermal
			p.Demand = Constant(demand / (ratio - 1))
			p.Regulator.SetGauge = 500e3
			s := unbounded(g, p, 630e3*ratio)
			s.Advance(300)
			b := s.Totals()
			s.Advance(2100)
			e := s.Totals()
			got := (e.Inlet - b.Inlet) / (e.Delivered - b.Delivered)
			t.Logf("%g:1, %d strokes, outlet %.0f kPa: ratio %.4f", ratio, e.Strokes-b.Strokes, s.Outlet()/1e3, got)
			return got
		}
		near(t, "near stall", at(0.4e-3), ratio, 0.01)
		if got := at(7e-3); got > 0.97*ratio {
			t.Errorf("%g:1 far below stall: ratio %.4f", ratio, got)
		}
	}
}

// Strokes that bring an isothermal tank from p1 to the set pressure, against the mass
// balance N m_b = V_t (p_s - p1)/(R T) with m_b = p1 V_b eta/(R T) and eta from the
// re-expansion of the dead volume, 1 - c ((p2/p1)^(1/kappa) - 1), summed while p2 rises;
// for wide check valves, slow strokes and chambers near the wall's temperature.
func TestStrokesToFill(t *testing.T) {
	p := Default()
	p.Tank.Volume, p.Tank.Thermal, p.Tank.Wall = 0.1, 1e-3, 0
	p.Governor.Band = 0
	for _, n := range []*Nozzle{&p.Supply.Line, &p.Check.Inlet, &p.Check.Outlet} {
		n.C *= 10
	}
	p.Check.Crack, p.Drive.Wall = 100, 2000
	p.Drive.Feed.C /= 4 // slow strokes
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
	if math.Abs(got-want) > 0.02*want {
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

// more is everything, and every other way in which air moves: another booster, a port with its
// hose, a header that moves, consumers, uneven sides, an exhaust that ices, a relief valve that pops.
func more() *Station {
	p := everything().Params
	p.Supply.Header = Header{Band: 60e3, Period: 40, Load: 0.4, Noise: 2e3, NoiseLag: 20, Neighbours: 2, Draw: 5e3, Hold: 15, Ramp: 1, Trip: Trip{300, 30, 200e3, 5e3}, Seed: 2}
	p.Port = Port{Volume: 0.2e-3, Hose: Nozzle{3 * DM3SBar, 0.3}}
	p.Second = Second{On: true, SetAbove: -3e3}
	p.Uneven = Uneven{Feed: [2]float64{0.05, -0.05}, Exhaust: [2]float64{-0.05, 0}, Inlet: [2]float64{0.1, 0}, Outlet: [2]float64{0, -0.1}}
	p.Drive.Ice = Ice{Depth: 0.4, Air: 300, Thaw: 300}
	p.Governor.Lag, p.Governor.Wander, p.Governor.WanderLag = 0.3, 4e3, 60
	p.Relief.SetGauge, p.Relief.Blowdown = 960e3, 0.05
	p.Regulator.Lag, p.SensorLag = 0.5, 5e-3
	for k := Steady; k <= Actuate; k++ {
		p.Demand.Consumers = append(p.Demand.Consumers, Consumer{Kind: k, Flow: 1e-3, Every: 9, On: 1.2, Seed: uint64(k)})
	}
	p.Demand.Work, p.Demand.Pause = 100, 40
	g := Doubling()
	g.DeadMore = [2]float64{0.1, -0.1}
	return New(g, p, 900e3)
}

// With every feature at work what comes in stays, or goes out by a way that is counted.
func TestMassBalanceOfEveryFeature(t *testing.T) {
	for _, fixed := range []bool{false, true} {
		s := more()
		s.Params.Governor.Without = fixed
		content := s.Content()
		s.Advance(500)
		s.Params.Port.Volume = 0.4e-3
		s.Advance(600)
		k := s.Totals()
		out := k.Exhaust + k.Demand + k.Leak + k.LineLeak + k.Relief + k.Resized
		near(t, "inlet air, L ANR", k.Inlet, out+s.Content()-content, 1e-9)
		near(t, "fed seconds", k.Stroking+k.Holding+k.Starved, k.Fed, 1e-9)
		if min(k.Strokes, k.Second) < 50 || min(k.Demand, k.Leak, k.LineLeak, k.Relief) <= 0 || s.State.Ice == 0 {
			t.Errorf("not everything was at work: %+v", k)
		}
	}
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
	near(t, "fed seconds", k.Stroking+k.Holding+k.Starved, k.Fed, 1e-9)
	near(t, "fed until the supply was shut", k.Fed, 580, 1e-9)
	if k.Strokes < 100 || min(k.Demand, k.Leak, k.LineLeak, k.Relief, k.Resized) <= 0 {
		t.Errorf("not everything was at work: %+v", k)
	}
}

// Steps five times finer change strokes and air by about a hundredth at most (the exhaust
// of slow strokes the most), under a small, a large and a pulsating demand.
func TestStepIsFineEnough(t *testing.T) {
	for _, d := range []Demand{Constant(2.4e-3), Constant(6e-3), {Pulse: Pulse{Every: 8.2, On: 2.5, Flow: 8e-3}}} {
		p := Default()
		p.Demand = d
		a := New(Doubling(), p, 950e3)
		b := *a
		a.Advance(120)
		for b.State.Time < 120 {
			b.Step(fine / 5)
		}
		x, y := a.Totals(), b.Totals()
		t.Logf("%d and %d strokes, inlet %.1f and %.1f L, exhaust %.1f and %.1f L", x.Strokes, y.Strokes, x.Inlet, y.Inlet, x.Exhaust, y.Exhaust)
		near(t, "strokes", float64(x.Strokes), float64(y.Strokes), 0.015)
		near(t, "inlet", x.Inlet, y.Inlet, 0.015)
		near(t, "delivered", x.Delivered, y.Delivered, 0.015)
		near(t, "exhaust", x.Exhaust, y.Exhaust, 0.015)
	}
}

// Any step is stable, from 10 µs to minutes; with every feature (written as a negative step) to
// parts of a second.
func TestAnyStepIsStable(t *testing.T) {
	for _, dt := range []float64{1e-5, 1e-3, 0.02, 0.3, 5, 100, -1e-3, -0.02, -0.3} {
		s := everything()
		if dt < 0 {
			s, dt = more(), -dt
		}
		for range 5000 {
			s.Step(dt)
			p1, p2, st := s.Inlet(), s.Outlet(), &s.State
			if !(p1 > -2e3 && p1 <= 690e3 && p2 > -2e3 && p2 < 1300e3 && st.X >= 0 && st.X <= 0.07) {
				t.Fatalf("step %g: p1 %g, p2 %g, x %g at %g s", dt, p1, p2, st.X, st.Time)
			}
			for _, v := range []*Volume{&st.Line, &st.Tank, &st.Boost[0], &st.Boost[1], &st.Drive[0], &st.Drive[1], &st.Second.Boost[0], &st.Second.Drive[0]} {
				if k := v.Temperature(); !(k > 100 && k < 900) {
					t.Fatalf("step %g: %g K at %g s", dt, k, st.Time)
				}
			}
		}
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
