package pipeline_test

import (
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
	"strokewise/rules"
)

// vents gives a station that is vented for three minutes at each of these seconds.
func vents(t *testing.T, id string, at []int64, faults ...rig.Fault) rig.Spec {
	s := virtual(t, id, faults...)
	for _, sec := range at {
		s.Faults = append(s.Faults, rig.Fault{Kind: rig.Vented, From: rigStart.Add(sec * station.Second), Until: rigStart.Add((sec + 180) * station.Second)})
	}
	return s
}

// Zeros of both sensors as the rig set them, within 0.3 kPa, from a vented moment; they correct
// nothing.
func TestZeros(t *testing.T) {
	for _, c := range []struct{ in, out float64 }{{0, 0}, {6e3, -4e3}, {-9e3, 11e3}} {
		s := vents(t, "press-4", []int64{300}, rig.Fault{Kind: rig.InletOffset, Level: c.in + 1e-9}, rig.Fault{Kind: rig.SensorOffset, Level: c.out + 1e-9})
		u, _ := play(s, 470, nil)
		es := &u.Status.Estimates
		for f, want := range map[station.Figure]float64{station.InletZero: c.in, station.OutletZero: c.out} {
			if e := es[f]; !e.Known() || math.Abs(e.Value-want) > 300 {
				t.Errorf("%s: %.0f Pa (%s), the rig's %.0f", station.Figures[f].Name, e.Value, e.Reason, want)
			}
		}
		if b := es[station.OutletOffset]; !b.Known() || b.Method != station.MethodBound || c.out-c.in > b.High || c.out-c.in < b.Low {
			t.Errorf("outlet against inlet %.0f to %.0f Pa (%s), the rig's %.0f", b.Low, b.High, b.Reason, c.out-c.in)
		}
		for _, f := range []station.Figure{station.InletNoise, station.OutletNoise} {
			if e := es[f]; !e.Known() || math.Abs(e.Value-500) > 75 {
				t.Errorf("%s: %.0f Pa (%s), the rig's 500", station.Figures[f].Name, e.Value, e.Reason)
			}
		}
		if u.Status.State != station.Off {
			t.Errorf("zeros of %g and %g Pa: %s (%s)", c.in, c.out, u.Status.State, u.Status.StateReason.String())
		}
	}
}

// An offset that was always there is named at the first vented moment, within five minutes of
// it, and pressure-left stays: the reading alone does not tell an offset from pressure.
func TestAConstantOffsetIsNamedWhenVented(t *testing.T) {
	for _, c := range []struct {
		fault rig.Fault
		says  string
	}{
		{rig.Fault{Kind: rig.SensorOffset, Level: 30e3}, "the outlet reads 30 kPa at rest after venting"},
		{rig.Fault{Kind: rig.SensorOffset, Level: 17e3}, "the outlet reads 17 kPa at rest after venting"},
		{rig.Fault{Kind: rig.SensorOffset, Level: -25e3}, "the outlet reads far below atmosphere"},
		{rig.Fault{Kind: rig.InletOffset, Level: 22e3}, "the inlet reads 22 kPa at rest after venting"},
	} {
		s := vents(t, "press-4", []int64{300}, c.fault)
		s.Plate.Grace = 30e9
		u, _ := play(s, 470, nil)
		if u.Status.State != station.Blind || !strings.Contains(u.Status.StateReason.String(), c.says) {
			t.Errorf("%s %g Pa: %s (%s)", c.fault.Kind, c.fault.Level, u.Status.State, u.Status.StateReason.String())
		}
		if c.fault.Kind == rig.SensorOffset && raised(u, rules.PressureLeft) != 1 {
			t.Errorf("%s %g Pa: pressure-left was raised %d times", c.fault.Kind, c.fault.Level, raised(u, rules.PressureLeft))
		}
	}
}

// A sensor whose zero grows from one vented moment to the next drifts, and is named once it is
// beyond 15 kPa.
func TestDriftIsNamed(t *testing.T) {
	s := vents(t, "bench-2", []int64{300, 2400, 4500}, rig.Fault{Kind: rig.SensorOffset, Level: 18e3, From: rigStart, Grow: 4500 * station.Second})
	s.Rhythm.Flow, s.Sensors.Rate = 2e-3, 10
	said := map[string]int{}
	u, _ := play(s, 4700, func(u *pipeline.Unit) {
		if u.Status.State == station.Blind && u.Status.At > rigStart.Add(5*station.Second) {
			said[u.Status.StateReason.String()]++
		}
	})
	if !strings.Contains(u.Status.StateReason.String(), "the outlet reads 18 kPa at rest after venting") || !strings.Contains(u.Status.StateReason.String(), "its sensor drifts") || len(said) != 1 {
		t.Errorf("%s: %s; %v", u.Status.State, u.Status.StateReason.String(), said)
	}
}

// Pressure that is left at 40 kPa, having leaked down slowly, is no zero of the sensor.
func TestPressureIsNoZero(t *testing.T) {
	s := virtual(t, "bench-1", rig.Fault{Kind: rig.Shutdown, From: rigStart.Add(120 * station.Second)}, rig.Fault{Kind: rig.OutletLeak, Level: 2e-9, From: rigStart.Add(150 * station.Second)})
	s.Plate.Grace = 60e9
	v, u, low := rig.New(s, rigStart, 0), pipeline.New(s.Plate, "test"), math.Inf(1)
	for at := rigStart; at < rigStart.Add(1800*station.Second); at = at.Add(station.Second) {
		u.Samples(v.Until(at.Add(station.Second)), at.Add(station.Second))
		if u.Status.State == station.Blind && u.Status.At > rigStart.Add(5*station.Second) {
			t.Fatalf("blind at %.0f Pa: %s", u.Status.Outlet.Value, u.Status.StateReason.String())
		}
		if low = u.Status.Outlet.Value; low > 1e3 && low < 45e3 {
			v.Mend(rig.OutletLeak, at)
		}
	}
	if low < 20e3 || low > 60e3 {
		t.Fatalf("the test's outlet rests at %.0f Pa", low)
	}
	if raised(u, rules.PressureLeft) != 1 {
		t.Errorf("pressure-left was raised %d times; outlet %.0f Pa", raised(u, rules.PressureLeft), low)
	}
	if z := u.Status.Estimates[station.OutletZero]; z.Known() && math.Abs(z.Value) > 15e3 {
		t.Errorf("pressure was taken for a zero of %.0f Pa", z.Value)
	}
}

// otherKind says that the counter counts strokes and is declared to count cycles.
const otherKind = rig.NumKinds + 1

// A counter that misses three of ten increments, and one that counts the other kind, are told
// against the traces; a sound one is not, on stations with demand.
func TestCountMismatch(t *testing.T) {
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	told, sound := 0, 0
	for _, seed := range []uint64{1, 2, 7, 11, 3, 6} {
		for _, c := range []struct {
			kind  rig.Kind
			level float64
			want  float64
		}{{rig.NumKinds, 0, 0}, {rig.CounterMisses, 0.3, 1/0.7 - 1}, {otherKind, 1, -0.5}} {
			s := draw.Steady(seed, []float64{100, 50, 20}[(seed/3)%3])
			v, plate := rig.New(s, rigStart, 0), s.Plate
			if c.kind == otherKind {
				s.Plate.Counts = station.CountsStrokes
				v = rig.New(s, rigStart, 0)
			} else if c.level > 0 {
				v.Cause(rig.Fault{Kind: c.kind, Level: c.level})
			}
			u := pipeline.New(plate, "test")
			for at := rigStart; at < rigStart.Add(1800*station.Second); at = at.Add(station.Second) {
				u.Samples(v.Until(at.Add(station.Second)), at.Add(station.Second))
			}
			e, n := u.Status.Estimates[station.CountMismatch], raised(u, "count-mismatch")
			if e.Known() {
				t.Logf("station %d, %s: %+.3f (%.3f to %.3f), expected %+.3f, raised %d times", seed, c.kind, e.Value, e.Low, e.High, c.want, n)
			}
			switch {
			case c.level == 0 && n != 0:
				t.Errorf("station %d: raised by a sound counter", seed)
			case c.level == 0 && e.Known():
				sound++
				if math.Abs(e.Value) > 0.06 {
					t.Errorf("station %d: mismatch %+.3f of a sound counter", seed, e.Value)
				}
			case e.Known() && n == 1:
				told++
			}
		}
	}
	t.Logf("sound counters compared: %d of 6; faults told: %d of 12", sound, told)
	if sound < 4 || told < 8 {
		t.Error("of stations with demand each is to be compared, and each fault told")
	}
}

// Times of arrival are uneven, those of a device's clock are not: traces alone are then less
// sure of strokes.
func TestTimesOfArrivalAreLessSure(t *testing.T) {
	for _, late := range []int64{0, 12} {
		s := virtual(t, "press-4")
		s.Sensors.Rate, s.Sensors.Counter = 20, false
		v, u := rig.New(s, rigStart, 0), pipeline.New(s.Plate, "test")
		seed := uint64(1)
		for at := rigStart; at < rigStart.Add(300*station.Second); at = at.Add(station.Second) {
			blocks := v.Until(at.Add(station.Second))
			for i := range blocks {
				b := &blocks[i]
				for k := range b.Len() {
					seed = seed*6364136223846793005 + 1442695040888963407
					b.Times = append(b.Times[:k:k], b.Start.Add(int64(k)*b.Step+int64(seed>>40)%(late*station.Millisecond+1)))
				}
				b.Stamp = station.StampArrival
			}
			u.Samples(blocks, at.Add(station.Second))
		}
		want := 0.9
		if late > 0 {
			want = 0.54
		}
		if r := u.Status.StrokeRate; !r.Known() || math.Abs(r.Confidence-want) > 1e-9 {
			t.Errorf("times late by up to %d ms: rate %g, confidence %.2f (%s), want %.2f", late, r.Value, r.Confidence, r.Reason, want)
		}
		if u.Tally().Arrival == 0 {
			t.Error("samples stamped on arrival are not counted")
		}
	}
}
