package engine

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// filling returns a station without a counter whose strokes lift the outlet by 4 kPa, and the tank in which
// a stroke lifts it by that at most, by the closed form kappa p1 V_b eta/V_t.
func filling() (supplied, station.Plate) {
	s := supplied{air: 2.4e-3, lift: 4e3, plain: true, header: func(float64) float64 { return 600e3 }}
	s.c = s.air / suppliedTravel / ((600e3 + atmosphere) * air.FlowFactor((592e3+atmosphere)/(600e3+atmosphere), assumedB))
	p := testPlate()
	p.TankVolume = 1.4 * (595e3 + atmosphere) * p.SweptBoost * 0.97 / 4e3
	return s, p
}

// Strokes that the traces show are refused where the tank's mass balance needs more of them: told where
// each lifts a tank of its size by what it can, refused where the tank is twice as large, or where every other run
// lifts the outlet and nothing is drawn.
func TestStrokesThatDoNotFillTheTankAreRefused(t *testing.T) {
	everyOther := func(t float64) bool { return math.Mod(t, 2*suppliedPeriod) >= suppliedPeriod }
	for _, c := range []struct {
		name    string
		tank    float64 // times the one that strokes lift as they do
		unseen  func(float64) bool
		refused bool
		least   float64 // strokes needed for each that is told
		dark    bool    // the piston works without a draw that shows
	}{
		{"as they lift it", 1, nil, false, 1, false},
		{"a smaller tank", 0.5, nil, false, 0.5, false},
		{"a tank twice as large", 2, nil, true, 2, false},
		{"every other run unseen, with enough strokes in all", 0.5, everyOther, true, 1, true},
	} {
		s, p := filling()
		p.TankVolume *= c.tank
		s.unseen = c.unseen
		var r recorder
		e := New(p, &r)
		run(e, s.rows(300), 1)
		e.Flush()
		m := &r.Minutes[3]
		why := "the outlet rises by more than those that were seen deliver"
		if c.dark {
			why = "without a draw or a stroke that shows"
		}
		refused := m.StrokeMethod == station.MethodNone && strings.Contains(m.AirReason, why)
		n := &e.Needed
		t.Logf("%s: %d strokes (%s, %q); %.2f needed for each told, %.2f of the work dark", c.name, m.Strokes, m.StrokeMethod, m.AirReason, n.Least/n.Told, n.Dark/n.Work)
		if refused != c.refused || !refused && m.StrokeMethod != station.MethodTraces {
			t.Errorf("%s: strokes by %v (%s), refused: want %v", c.name, m.StrokeMethod, m.AirReason, c.refused)
		}
		if math.Abs(n.Least/n.Told/c.least-1) > 0.05 || c.dark != (n.Dark > darkShare*n.Work) {
			t.Errorf("%s: %.2f strokes needed for each told, want %.2f; %.2f of the work dark", c.name, n.Least/n.Told, c.least, n.Dark/n.Work)
		}
	}
}

// Work without a visible draw is told by strokes that were told without one; and nothing is needed where
// the outlet's rise is not the strokes' alone, or does not show the tank.
func TestDarkWorkNeedsStrokes(t *testing.T) {
	after := func(set func(*Engine)) *Engine {
		_, p := filling()
		e := New(p, &discard{})
		e.Inlet.Mean, e.Outlet.Mean = 595e3, 800e3
		e.Feed.At, e.Ends.In.Step, e.Act.Strokes = t0, 0.01, 1
		for range 16 {
			e.Fuse.Interval.Add(slotLen)
		}
		set(e)
		for range 100 {
			e.Feed.Climb.Sum += 4e3
			e.watchNeeded()
		}
		return e
	}
	if e := after(func(*Engine) {}); e.tooFew() != "" || math.Abs(e.Needed.Least/e.Needed.Told-1) > 1e-9 || e.Needed.Dark != e.Needed.Work {
		t.Errorf("one stroke a slot, none of which draws visibly: %q, %+v", e.tooFew(), e.Needed)
	}
	if e := after(func(e *Engine) { e.Act.Strokes = 0 }); e.tooFew() == "" {
		t.Errorf("dark work without strokes: %+v", e.Needed)
	}
	for name, set := range map[string]func(*Engine){
		"air passes straight through": func(e *Engine) { e.Outlet.Mean = 600e3 },
		"a sensor behind a regulator": func(e *Engine) { e.Plate.Sensor = station.AtBranch },
		"a doubted sensor":            func(e *Engine) { e.Doubt.Who = inletDoubted },
		"a closed supply":             func(e *Engine) { e.State.ShutdownAt = t0 },
		"no tank volume":              func(e *Engine) { e.Plate.TankVolume = 0 },
	} {
		if e := after(set); e.Needed.Least != 0 || e.Needed.Told == 0 {
			t.Errorf("%s: %+v", name, e.Needed)
		}
	}
}

// Stroking and stall add up to the fed time, whenever the supply is closed while the piston stands: told
// from the inlet alone, within a second and a half a closing (three slots), and to the nanosecond over the minutes.
// Duty is within two points of what was drawn.
func TestDutyAndStallAddUpToTheFedTime(t *testing.T) {
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 8))
		rows := invented(300, false)
		var from, to []float64
		shut := 0.0
		for k := 3; k < 10; k += 1 + rng.IntN(3) { // the piston stands from 10 to 30 s of each half minute
			a := float64(30*k) + 12 + 4*rng.Float64()
			b := a + 5 + 7*rng.Float64()
			from, to, shut = append(from, a), append(to, b), shut+b-a
		}
		for i := range rows {
			x := float64(rows[i].t.Sub(t0)) * 1e-9
			for k := range from {
				if x >= from[k] && x < to[k] && rows[i].c == station.InletPressure {
					rows[i].v = 2e3 + rows[i].v - 600e3
				}
			}
		}
		var r recorder
		e := New(testPlate(), &r)
		run(e, rows, seed)
		e.Flush()
		var ns [station.NumStates]int64
		fed, covered := int64(0), int64(0)
		for _, m := range r.Minutes {
			covered += m.Covered
			for s, x := range m.StateNs {
				if ns[s] += x; station.State(s).Fed() {
					fed += x
				}
			}
		}
		work, stall := ns[station.Charging]+ns[station.Stroking], ns[station.Holding]+ns[station.Starved]
		duty, ok := station.Duty(ns)
		total := rows[len(rows)-1].t.Sub(rows[0].t)
		if work+stall != fed || !ok || math.Abs(duty*float64(fed)-float64(work)) > 1 || covered != total || work == 0 || stall == 0 {
			t.Errorf("seed %d: stroking %d, stall %d, fed %d, covered %d of %d ns; duty %g", seed, work, stall, fed, covered, total, duty)
		}
		if off := float64(total-fed)*1e-9 - shut - float64(ns[station.Blind])*1e-9; math.Abs(off) > 1.5*float64(len(from)) {
			t.Errorf("seed %d: fed for %.1f s, closed %.1f s of %.1f in %d times", seed, float64(fed)*1e-9, shut, float64(total)*1e-9, len(from))
		} else if truth := 100 / (300 - shut); math.Abs(duty-truth) > 0.02 { // ten runs of 10 s
			t.Errorf("seed %d: duty %.3f, truth %.3f", seed, duty, truth)
		} else {
			t.Logf("seed %d: %d closings of %.1f s, off by %.2f s; duty %.3f, truth %.3f", seed, len(from), shut, off, duty, truth)
		}
	}
}
