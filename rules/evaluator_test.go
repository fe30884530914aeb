package rules

import (
	"bytes"
	"math"
	"testing"

	"strokewise/analyzer/station"
)

const t0 = station.Instant(1767225600 * station.Second)

// stage plays seconds of status into an evaluator and keeps the transitions.
type stage struct {
	v   *Evaluator
	now station.Instant
	got []Transition
	s   station.Status
}

func newStage(p station.Plate) *stage {
	g := &stage{now: t0}
	g.v = NewEvaluator(&p, func(t *Transition) { g.got = append(g.got, *t) })
	g.s.State = station.Holding
	g.s.Inlet = known(600e3)
	g.s.Outlet = known(900e3)
	g.s.Estimates[station.SupplySag] = station.Unknown("test")
	g.s.Estimates[station.LeakFlow] = station.Unknown("test")
	g.s.Estimates[station.StoredEnergy] = known(30e3)
	g.s.OutletLastSeen = 900e3
	return g
}

func known(v float64) station.Estimate {
	return station.Estimate{Value: v, Method: station.MethodTraces, Confidence: 1}
}

// play runs n seconds, changing the status each second.
func (g *stage) play(n int, change func(i int, s *station.Status)) {
	for i := range n {
		if change != nil {
			change(i, &g.s)
		}
		g.s.At = g.now
		g.v.Step(&g.s)
		g.now = g.now.Add(station.Second)
	}
}

func (g *stage) count(alarm string, to AlarmState) int {
	n := 0
	for _, t := range g.got {
		if t.Alarm == alarm && t.To == to {
			n++
		}
	}
	return n
}

func (g *stage) shut(s *station.Status) {
	s.State, s.ShutdownAt, s.ShutdownBy = station.Residual, g.now, ByInlet
	s.Inlet = known(0)
}

func TestPressureLeftRaisesAfterGraceWithEnergyAndCaution(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) { g.shut(s) })
	g.play(298, nil)
	if g.count(PressureLeft, Unacknowledged) != 0 {
		t.Fatal("raised before the grace time was over")
	}
	g.play(10, nil)
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Fatalf("raised %d times, want once", g.count(PressureLeft, Unacknowledged))
	}
	tr := g.got[0]
	if tr.Caution != CautionStored {
		t.Errorf("caution is %q", tr.Caution)
	}
	found := false
	for _, e := range tr.Evidence {
		found = found || e.Name == "stored_energy_isentropic" && e.Value == 30e3 && e.Unit == "J"
	}
	if !found {
		t.Errorf("no stored energy in the evidence: %+v", tr.Evidence)
	}
}

func TestPressureLeftWithUnknownOutletIsRaisedUnverified(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) {
		g.shut(s)
		s.State, s.Outlet = station.Blind, station.Unknown("no reading since 06:00")
	})
	g.play(301, nil)
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Fatal("an unknown outlet at shutdown must be treated as charged")
	}
}

func TestPressureLeftIgnoresASuddenZero(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) { g.shut(s) })
	g.play(310, nil)
	g.play(600, func(_ int, s *station.Status) { s.Outlet, s.State = known(0), station.Off }) // a broken wire
	if n := len(g.got); n != 1 {
		t.Fatalf("%d transitions, want the raise alone: a sudden zero clears nothing", n)
	}
	g.play(5, func(_ int, s *station.Status) { s.Outlet, s.State = known(900e3), station.Residual }) // wire mended
	g.play(60, func(i int, s *station.Status) { s.Outlet = known(900e3 * math.Exp(-float64(i)/10)) })
	if g.count(PressureLeft, ReturnedUnacknowledged) != 1 {
		t.Fatalf("a fall that a live sensor saw must clear it: %+v", g.got)
	}
}

func TestPressureLeftIsNotClearedByFrozenOrLostSensor(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) { g.shut(s) })
	g.play(310, nil)
	g.play(100, func(_ int, s *station.Status) { s.Outlet = station.Unknown("no reading") })
	g.play(100, func(_ int, s *station.Status) { s.Outlet = known(0) })
	if n := len(g.got); n != 1 {
		t.Fatalf("%d transitions: a sensor that was lost on the way proves nothing", n)
	}
}

func TestPressureLeftClearsWhenFedAgain(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) { g.shut(s) })
	g.play(310, nil)
	g.play(2, func(_ int, s *station.Status) {
		s.State, s.ShutdownAt, s.ShutdownBy, s.Inlet = station.Stroking, 0, station.NoShutdown, known(600e3)
	})
	if g.count(PressureLeft, ReturnedUnacknowledged) != 1 {
		t.Fatalf("got %+v", g.got)
	}
}

func TestPressureLeftWhenTheStationFallsSilentAfterShutdown(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(1, func(_ int, s *station.Status) { g.shut(s) })
	g.play(20, nil) // then the gateway is switched off with the machine
	var a Arrivals
	a[station.InletPressure], a[station.OutletPressure] = g.now, g.now
	for i := range 100 {
		g.v.Tick(g.now.Add(int64(i)*5*station.Second), &a)
	}
	if g.count(PressureLeft, Unacknowledged) != 1 || g.count(SignalLost, Unacknowledged) != 1 {
		t.Fatalf("want pressure-left and signal-lost once each, got %+v", g.got)
	}
}

func TestSupplyUndersizedDelayAndHysteresis(t *testing.T) {
	g := newStage(station.Plate{})
	sag := func(v float64) func(int, *station.Status) {
		return func(_ int, s *station.Status) { s.State, s.Estimates[station.SupplySag] = station.Stroking, known(v) }
	}
	g.play(119, sag(0.2))
	g.play(60, sag(0.05))
	g.play(500, sag(0.099))
	if len(g.got) != 0 {
		t.Fatalf("raised below the limit or before the delay: %+v", g.got)
	}
	g.play(200, sag(0.11))
	g.play(200, sag(0.09)) // between: neither
	if len(g.got) != 1 {
		t.Fatalf("want one transition, got %d", len(g.got))
	}
	g.play(5, sag(0.07))
	if g.count(SupplyUndersized, ReturnedUnacknowledged) != 1 {
		t.Fatal("did not clear below 80 % of the limit")
	}
}

func TestUnknownFreezes(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(200, func(_ int, s *station.Status) { s.Estimates[station.LeakFlow] = known(30e-3 / 60) })
	g.play(200, func(_ int, s *station.Status) { s.Estimates[station.LeakFlow] = station.Unknown("blind") })
	if n := len(g.got); n != 1 {
		t.Fatalf("%d transitions: an unknown figure must neither raise nor clear", n)
	}
}

func TestChargingSuppressesSagAndLeak(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(600, func(_ int, s *station.Status) {
		s.State = station.Charging
		s.Estimates[station.SupplySag], s.Estimates[station.LeakFlow] = known(0.5), known(1e-2)
	})
	if len(g.got) != 0 {
		t.Fatalf("alarms while charging: %+v", g.got)
	}
}

func TestSignalLostAndOnChange(t *testing.T) {
	for _, tc := range []struct {
		cadence station.Cadence
		want    int
	}{{station.Periodic, 1}, {station.OnChange, 0}} {
		g := newStage(station.Plate{Cadence: tc.cadence})
		var a Arrivals
		a[station.InletPressure], a[station.OutletPressure] = t0, t0
		for i := range 20 {
			g.v.Tick(t0.Add(int64(i)*5*station.Second), &a)
		}
		if n := g.count(SignalLost, Unacknowledged); n != tc.want {
			t.Errorf("cadence %v: raised %d times, want %d", tc.cadence, n, tc.want)
		}
		now := t0.Add(100 * station.Second)
		a[station.InletPressure], a[station.OutletPressure] = now, now
		g.v.Tick(now, &a)
		if n := g.count(SignalLost, ReturnedUnacknowledged); n != tc.want {
			t.Errorf("cadence %v: cleared %d times, want %d", tc.cadence, n, tc.want)
		}
	}
}

// The transitions are those of IEC 62682 / ISA-18.2 (from memory, checked against the
// list of states in the standards' summaries).
func TestLifeCycle(t *testing.T) {
	g := newStage(station.Plate{})
	sag := func(v float64) func(int, *station.Status) {
		return func(_ int, s *station.Status) { s.State, s.Estimates[station.SupplySag] = station.Stroking, known(v) }
	}
	want := []struct {
		act func()
		to  AlarmState
	}{
		{func() { g.play(130, sag(0.2)) }, Unacknowledged},
		{func() { g.v.Acknowledge(SupplyUndersized, g.now) }, Acknowledged},
		{func() { g.play(3, sag(0)) }, Normal},
		{func() { g.play(130, sag(0.2)) }, Unacknowledged},
		{func() { g.play(3, sag(0)) }, ReturnedUnacknowledged},
		{func() { g.play(130, sag(0.2)) }, Unacknowledged},
		{func() { g.play(3, sag(0)) }, ReturnedUnacknowledged},
		{func() { g.v.Acknowledge(SupplyUndersized, g.now) }, Normal},
	}
	for i, w := range want {
		w.act()
		if len(g.got) != i+1 || g.got[i].To != w.to {
			t.Fatalf("step %d: want a transition to %v, have %+v", i, w.to, g.got)
		}
	}
}

func TestSnapshotKeepsDelay(t *testing.T) {
	g := newStage(station.Plate{})
	bad := func(_ int, s *station.Status) { s.State, s.Estimates[station.SupplySag] = station.Stroking, known(0.2) }
	g.play(60, bad)
	var buf bytes.Buffer
	if err := g.v.Save(&buf); err != nil {
		t.Fatal(err)
	}
	v, err := Restore(&buf, &station.Plate{}, func(t *Transition) { g.got = append(g.got, *t) })
	if err != nil {
		t.Fatal(err)
	}
	g.v = v
	g.play(59, bad)
	if len(g.got) != 0 {
		t.Fatal("raised too early after a restore")
	}
	g.play(3, bad)
	if len(g.got) != 1 {
		t.Fatal("the delay did not go on where it was")
	}
}

func TestCatalogueIsComplete(t *testing.T) {
	for _, d := range Catalogue() {
		if d.Consequence == "" || len(d.Causes) == 0 || d.CheckFirst == "" || d.RespondIn == "" || d.Caution == "" {
			t.Errorf("%s lacks part of its rationale: %+v", d.Name, d)
		}
	}
}
