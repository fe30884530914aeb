package engine

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// supplied is a station behind a line of known conductance that strokes for 12 s out of every 24. A
// stroke lasts 0.5 s and draws for 0.4 s of it, always the same air at a steady flow.
type supplied struct {
	c        float64 // m³/(s Pa) ANR, critical pressure ratio assumedB
	air      float64 // m³ ANR of a stroke
	header   func(t float64) float64
	sensed   bool                 // the header has its own sensor
	longFrom float64              // s, when a run begins that does not end, 0: none
	slowFrom float64              // s, when the piston begins to travel at a stroke in 6 s, 0: not
	lift     float64              // of the outlet by a stroke, Pa
	unseen   func(t float64) bool // whether the draw does not reach the inlet, nil: it does
	plain    bool                 // there is no counter
}

const (
	suppliedPeriod, suppliedRun, suppliedStroke, suppliedTravel = 24.0, 11.9, 0.5, 0.4 // s
	suppliedStrokes                                             = 24.0                 // of a run
	suppliedVolume                                              = 0.3e-3               // m³ behind the line
	atmosphere                                                  = float64(station.StandardAtmosphere)
)

// stroke returns how long a stroke takes and how long of it the piston draws, s, and whether it does at t s.
func (s *supplied) stroke(t float64) (takes, draws float64, now bool) {
	if s.slowFrom > 0 && t > s.slowFrom {
		takes, draws = 6, 5.9
	} else if takes, draws = suppliedStroke, suppliedTravel; s.longFrom == 0 || t < s.longFrom {
		t = math.Mod(t, suppliedPeriod) - (suppliedPeriod - suppliedRun)
	}
	return takes, draws, t >= 0 && math.Mod(t, takes) < draws
}

// flow returns what passes the line from the header to p, both Pa gauge:
//
//	q = C p_h psi(p/p_h),  psi(r) = sqrt(1 - ((r-b)/(1-b))²)    ISO 6358
func (s *supplied) flow(h, p float64) float64 {
	r := (p + atmosphere) / (h + atmosphere)
	if r > 1 {
		return -s.c * (p + atmosphere) * air.FlowFactor(1/r, assumedB)
	}
	return s.c * (h + atmosphere) * air.FlowFactor(r, assumedB)
}

// rows returns rows at 100 Hz with a counter of cycles and 200 Pa of noise. The inlet's volume is filled
// through the line and drawn from, isothermally. The outlet is drawn as a saw that rises while the piston
// travels, and consumers draw down while it stands.
func (s *supplied) rows(seconds int) []sample {
	const steps, dt = 20, 0.5e-3 // s
	rng := rand.New(rand.NewPCG(11, 12))
	var out []sample
	strokes, before, p1, p2 := 0, false, s.header(0), 880e3
	for i := range seconds * 100 {
		for k := range steps {
			t := float64(i)/100 + float64(k)*dt
			q := s.flow(s.header(t), p1)
			takes, draws, now := s.stroke(t)
			if now {
				if s.unseen == nil || !s.unseen(t) {
					q -= s.air / draws
				}
				p2 += s.lift / draws * dt
			} else if before {
				strokes++
			}
			before = now
			switch {
			case s.longFrom > 0 && t > s.longFrom || s.slowFrom > 0 && t > s.slowFrom:
				p2 -= s.lift / takes * dt
			case math.Mod(t, suppliedPeriod) < suppliedPeriod-suppliedRun:
				p2 -= s.lift * suppliedStrokes / (suppliedPeriod - suppliedRun) * dt
			}
			p1 += q * float64(air.P0ANR) / suppliedVolume * dt
		}
		at := t0.Add(int64(i) * 10 * station.Millisecond)
		out = append(out, sample{station.InletPressure, at, p1 + 200*rng.NormFloat64()},
			sample{station.OutletPressure, at, p2 + 200*rng.NormFloat64()})
		if !s.plain {
			out = append(out, sample{station.Cycles, at, float64(strokes / 2)})
		}
		if s.sensed && i%10 == 0 {
			out = append(out, sample{station.HeaderPressure, at, s.header(float64(i)/100) + 200*rng.NormFloat64()})
		}
	}
	return out
}

// A line of known C and b, strokes as pulses through it: where the header stands, slews as a common compressor
// makes it or, with a sensor of its own, by 1 kPa/s, the conductance comes out within 6 % for one unit of air. Where it
// slews more it is unknown, or its band holds the truth. What the engine takes for the air of a stroke is another
// matter (analyzer/air tests it), so the truth is taken for the same air. analyzer/balance tests more of it.
func TestConductanceOfAKnownLine(t *testing.T) {
	triangle := func(slope, half float64) func(float64) float64 {
		return func(t float64) float64 { x := math.Mod(t, 2*half); return 600e3 + slope*min(x, 2*half-x) }
	}
	for _, c := range []struct {
		name   string
		header func(float64) float64
		sensed bool
		known  bool // it must be told; else, where it is told, its band must hold the truth
	}{
		{"steady", triangle(0, 1), false, true},
		{"0.3 kPa/s", triangle(0.3e3, 37), false, true},
		{"1 kPa/s", triangle(1e3, 37), false, false},
		{"4 kPa/s", triangle(4e3, 8.5), false, false},
		{"1 kPa/s, with a sensor", triangle(1e3, 37), true, true},
		{"4 kPa/s, with a sensor", triangle(4e3, 8.5), true, false},
	} {
		for _, sag := range []float64{8e3, 20e3} {
			s := supplied{air: 2.4e-3, lift: 4e3, header: c.header, sensed: c.sensed}
			s.c = s.air / suppliedTravel / ((600e3 + atmosphere) * air.FlowFactor((600e3+atmosphere-sag)/(600e3+atmosphere), assumedB))
			var r recorder
			e := New(testPlate(), &r)
			run(e, s.rows(360), 1)
			e.Flush()
			g := r.Steps[len(r.Steps)-1].Estimates[station.SupplyConductance]
			if !g.Known() {
				if c.known {
					t.Errorf("%s, sag of %g Pa: unknown, %s", c.name, sag, g.Reason)
				}
				continue
			}
			want := s.c / math.Sqrt(1-assumedB) * r.strokeAir() / s.air
			t.Logf("%s, sag of %g Pa: %.3f of the truth", c.name, sag, g.Value/want)
			if c.known && math.Abs(g.Value/want-1) > 0.06 {
				t.Errorf("%s, sag of %g Pa: %.4g m³/(s·Pa), truth for the same air %.4g", c.name, sag, g.Value, want)
			}
			if g.Low > want || g.High < want {
				t.Errorf("%s, sag of %g Pa: the band %.4g to %.4g does not hold the truth %.4g", c.name, sag, g.Low, g.High, want)
			}
		}
	}
}

// strokeAir returns the inlet air that the engine took for a stroke on the mean, m³ ANR.
func (r *recorder) strokeAir() float64 {
	air, n := 0.0, 0.0
	for i := range r.Minutes {
		air += r.Minutes[i].Inlet.CubicMetres()
		n += float64(r.Minutes[i].Strokes)
	}
	return air / n
}

// Duty with a counter: runs of a known length, in two points; and a pace so slow that the draw drowns in the
// noise (0.04 kPa under 0.2) is work by its counter.
func TestDutyOfKnownRuns(t *testing.T) {
	const slowFrom = 7 * suppliedPeriod
	s := supplied{c: 5e-8, air: 2.4e-3, lift: 4e3, header: func(float64) float64 { return 600e3 }, slowFrom: slowFrom}
	var r recorder
	e := New(testPlate(), &r)
	run(e, s.rows(360), 1)
	e.Flush()
	var runs, slow float64
	for _, i := range r.Intervals {
		if !i.State.Working() {
			continue
		}
		from, to := float64(i.From.Sub(t0))*1e-9, float64(i.To.Sub(t0))*1e-9
		runs += max(0, min(to, slowFrom)-from)
		slow += max(0, to-max(from, slowFrom))
	}
	if duty, truth := runs/slowFrom, suppliedRun/suppliedPeriod; math.Abs(duty-truth) > 0.02 {
		t.Errorf("duty %.3f, truth %.3f", duty, truth)
	}
	// two strokes are a cycle: the counter tells after up to three of them
	if whole := 360 - slowFrom; slow < whole-3*2*6 {
		t.Errorf("worked for %.0f of %.0f s of slow strokes", slow, whole)
	}
}
