package pipeline_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"text/tabwriter"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// random gives a random virtual station: geometry, header, set, tank, demand and supply;
// every third one has a leak and nothing else to do.
func random(seed uint64, rate float64) rig.Spec {
	r := rand.New(rand.NewPCG(seed, 40))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	four := r.IntN(4) == 0
	bore := between(0.05, 0.1)
	g := model.Geometry{DriveBore: bore, BoostBore: bore, Rod: 0.25 * bore, Stroke: between(0.05, 0.1), DeadDrive: 0.08, DeadBoost: 0.07}
	if four {
		g = model.Quadrupling()
		g.DriveBore, g.BoostBore, g.Stroke = bore, bore/math.Sqrt(3), between(0.05, 0.1)
	}
	p := model.Default()
	size := g.BoostArea() * g.Stroke / (model.Doubling().BoostArea() * model.Doubling().Stroke)
	drive := g.DriveArea() * g.Stroke / (model.Doubling().DriveArea() * model.Doubling().Stroke)
	for _, n := range []*model.Nozzle{&p.Drive.Feed, &p.Drive.Exhaust} {
		n.C *= drive
	}
	for _, n := range []*model.Nozzle{&p.Check.Inlet, &p.Check.Outlet} {
		n.C *= size
	}
	for i := range p.Piston.Friction {
		p.Piston.Friction[i] *= bore / 0.08
	}
	p.Supply.Line.C *= between(0.7, 1.5) * (size + drive) / 2
	p.Supply.HeaderGauge = between(560e3, 700e3)
	set := p.Supply.HeaderGauge * between(1.45, 1.65)
	if four {
		set = p.Supply.HeaderGauge * between(2, 2.7)
	}
	p.Governor.SetGauge, p.Relief.SetGauge = set, set+250e3
	p.Regulator.SetGauge = 0.7 * set
	tank := between(10e-3, 50e-3)
	p.Tank.Volume = tank
	s := rig.Spec{
		Plate: station.Plate{Key: station.Key{Site: "random", Station: fmt.Sprint(seed)}, Set: station.Gauge(set), TankVolume: tank,
			Relief: station.Gauge(set + 250e3), Counts: station.CountsCycles, AirTemperature: p.Ambient},
		Geometry: g, Params: p, Outlet: math.NaN(), Seed: seed,
		Sensors: rig.Sensors{Rate: rate, Noise: 500, Step: 100, Inlet: true, Outlet: true, Counter: true},
		Rhythm:  rig.Rhythm{Flow: 7e-3 * size * between(0.5, 1), Period: between(8, 25), Share: between(0.2, 0.5), Vary: 0.3},
	}
	s.Plate.Bores(g.DriveBore, g.BoostBore, g.Rod, g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
	if seed%3 == 0 {
		s.Rhythm = rig.Rhythm{}
		s.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: 1.5e-9 * size * between(0.3, 1)}}
	}
	return s
}

// measured is what the analyzer made of a virtual station, beside the truth.
type measured struct {
	result
	truth model.Totals
	leak  station.Estimate
	hole  float64
}

// off gives how far the figures are from the truth: strokes, delivered, inlet in per cent,
// duty in points.
func (m *measured) off() (strokes, duty, delivered, inlet float64) {
	t := &m.truth
	return 100 * (m.strokes/float64(t.Strokes) - 1), 100 * (m.duty - t.Moving/(t.Moving+t.Holding+t.Starved)),
		100 * (m.delivered/t.Delivered - 1), 100 * (m.inlet/t.Inlet - 1)
}

// measure runs a virtual station for some seconds through the analyzer.
func measure(s rig.Spec, seconds int64, counter bool) measured {
	const start = station.Instant(1767225600e9)
	v := rig.New(s, start, 100)
	u := pipeline.New(s.Plate, "test")
	for at := start; at < start.Add(seconds*station.Second); at = at.Add(station.Second) {
		blocks := v.Until(at.Add(station.Second))
		kept := blocks[:0]
		for _, b := range blocks {
			if counter || b.Channel != station.Cycles {
				kept = append(kept, b)
			}
		}
		u.Samples(kept, at.Add(station.Second))
	}
	u.Flush()
	m := measured{result: resultOf(u), truth: v.Truth(), leak: u.Status.Estimates[station.LeakConductance]}
	if len(s.Faults) > 0 {
		m.hole = s.Faults[0].Level
	}
	return m
}

// Forty random virtual stations, 15 minutes each, at 100, 50 and 20 Hz, with their counter
// and from the traces alone. Source of the truth: collector/rig/model, which shares no code
// with the analyzer. Limits that are wider than they should be are what was reached; the
// README states them.
func TestRandomStations(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 1, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "station\tHz\tcounter\tstrokes\toff %\tduty off\tdelivered off %\tinlet off %\tleak/truth\t")
	var close1, working, found, dutyOff int
	dutySum := 0.0
	for seed := range uint64(40) {
		rate := []float64{100, 50, 20}[(seed/3)%3]
		for _, counter := range []bool{true, false} {
			m := measure(random(seed, rate), 900, counter)
			strokes, duty, delivered, inlet := m.off()
			fmt.Fprintf(w, "%d\t%g\t%v\t%d\t%+.2f\t%+.1f\t%+.1f\t%+.1f\t%.2f\t\n", seed, rate, counter, m.truth.Strokes, strokes, duty, delivered, inlet, m.leak.Value/m.hole)
			switch {
			case counter:
				if math.Abs(m.strokes-float64(m.truth.Strokes)) > 2 {
					t.Errorf("station %d: with the counter %g strokes, truth %d", seed, m.strokes, m.truth.Strokes)
				}
				if math.Abs(delivered) > 5 || math.Abs(inlet) > 17 {
					t.Errorf("station %d: delivered off by %+.1f %%, inlet by %+.1f %%", seed, delivered, inlet)
				}
				dutySum += math.Abs(duty)
				if math.Abs(duty) > 2 {
					dutyOff++
				}
				if m.hole > 0 && m.leak.Known() {
					found++
					if r := m.leak.Value / m.hole; r < 0.8 || r > 1.2 {
						t.Errorf("station %d: leak %.3f of the truth", seed, r)
					}
				}
			case m.hole == 0:
				working++
				if math.Abs(strokes) <= 1 {
					close1++
				}
				if math.Abs(strokes) > 10 {
					t.Errorf("station %d: from the traces alone %+.2f %% strokes", seed, strokes)
				}
			}
			if m.hole == 0 && m.raised["outlet-leak"] > 0 {
				t.Errorf("station %d: a leak alarm without a leak", seed)
			}
		}
	}
	w.Flush()
	t.Logf("\n%s", table.String())
	t.Logf("from the traces alone, stations with demand: %d of %d within 1 %%; leaks found with the counter: %d of 14; duty off by more than 2 points: %d of 40, by %.1f in the mean", close1, working, found, dutyOff, dutySum/40)
	if dutyOff > 21 || dutySum > 40*4.5 {
		t.Errorf("duty off by more than 2 points on %d of 40, by %.1f in the mean", dutyOff, dutySum/40)
	}
	if close1 < 22 || found < 12 {
		t.Errorf("%d of %d within 1 %% from the traces alone, %d leaks found of 14", close1, working, found)
	}
}

// A station that has only a counter, read once a second, is right within a cycle at either
// end of the recording.
func TestRandomStationsThatOnlyCount(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for seed := range uint64(40) {
		m := measure(random(seed, 1), 900, true)
		if d := m.strokes - float64(m.truth.Strokes); math.Abs(d) > 4 {
			t.Errorf("station %d: %g strokes, truth %d", seed, m.strokes, m.truth.Strokes)
		}
	}
}
