package model

import (
	"math"
	"testing"
)

// A round hole of 1 mm passes about 1.2 L/s of free air at 6 bar gauge with a discharge coefficient
// of 1: the tables of leak flow that compressed-air handbooks print have 1.2 to 1.3 L/s (common
// practice, no source).
func TestHolePassesWhatTablesOfLeaksHave(t *testing.T) {
	q := Hole(1e-3).flow(101325+600e3, 101325, 293.15) / perLitre / contraction
	if q < 1.0 || q > 1.4 {
		t.Errorf("1 mm at 6 bar passes %.2f L/s", q)
	}
	if r := Hole(4e-3).C / Hole(2e-3).C; math.Abs(r-4) > 1e-9 || Hole(0).C != 0 {
		t.Errorf("twice the diameter passes %g times as much, expected 4", r)
	}
}

// A burst hose empties the tank faster than the booster fills it, and no air comes from nowhere.
func TestMassClosesOverABurst(t *testing.T) {
	s := settled(nil)
	before, was := s.Totals(), s.Content()
	s.Params.Leaks.Hose = Hole(3.8e-3)
	s.Advance(s.State.Time + 120)
	k := s.Totals()
	gain := k.Inlet - k.Exhaust - k.Demand - k.Leak - k.LineLeak - k.Relief - (before.Inlet - before.Exhaust - before.Demand - before.Leak - before.LineLeak - before.Relief)
	if math.Abs(s.Content()-was-gain) > 1e-6*k.Inlet {
		t.Errorf("content rose by %g L, the balance has %g", s.Content()-was, gain)
	}
	t.Logf("outlet %.0f kPa, %.0f L lost in 120 s, %d strokes", s.Outlet()/1e3, k.Leak-before.Leak, k.Strokes-before.Strokes)
	if s.Outlet() > 640e3 || k.Strokes-before.Strokes < 240 {
		t.Errorf("outlet %.0f kPa, %d strokes in two minutes", s.Outlet()/1e3, k.Strokes-before.Strokes)
	}
}

// Coarse steps while the piston stands change neither what a leak loses nor the strokes that make it
// up: within 1 %, of which a tank that is a step longer below set explains less.
func TestCoarseStepsWhileStanding(t *testing.T) {
	run := func(coarse float64) Totals {
		s := settled(func(p *Params) { p.Leaks.Tank, p.Coarse = Nozzle{0.05 * DM3SBar, 0.3}, coarse })
		before := s.Totals()
		s.Advance(s.State.Time + 3600)
		k := s.Totals()
		k.Leak, k.Strokes = k.Leak-before.Leak, k.Strokes-before.Strokes
		return k
	}
	fineSteps, coarseSteps := run(0), run(0.1)
	if d := coarseSteps.Leak/fineSteps.Leak - 1; math.Abs(d) > 0.01 {
		t.Errorf("the leak loses %+.3f of it more", d)
	}
	if d := float64(coarseSteps.Strokes)/float64(fineSteps.Strokes) - 1; math.Abs(d) > 0.01 {
		t.Errorf("%d strokes, with fine steps %d", coarseSteps.Strokes, fineSteps.Strokes)
	}
}
