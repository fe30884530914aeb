package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// Alarms of the supply and of the booster's work, each on its fault on a virtual station: the
// alarm is raised once, after the fault sets in, and beside it only what is named.
func TestAlarmsOnTheirFaults(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	const sets = 900 // s
	steady := rig.Rhythm{Flow: 5e-3, Period: 20, Share: 0.5}
	for _, c := range []struct {
		alarm, id string
		fault     rig.Fault
		header    bool
		rhythm    rig.Rhythm
		after     float64 // m³/s ANR of demand all the time once the fault sets in
		runs      int64   // s after the fault
		also      map[string]bool
	}{
		{alarm: "header-low", id: "press-4", fault: rig.Fault{Kind: rig.HeaderLow, Level: 150e3}, header: true, rhythm: steady, runs: 600, also: map[string]bool{"set-out-of-reach": true}},
		{alarm: "supply-restricting", id: "press-4", fault: rig.Fault{Kind: rig.FilterClogging, Level: 0.6}, rhythm: steady, runs: 2400},
		{alarm: "piston-stuck", id: "press-4", fault: rig.Fault{Kind: rig.PistonStuck}, rhythm: steady, runs: 600},
		{alarm: "capacity-short", id: "press-4", after: 6e-3, rhythm: steady, runs: 900, also: map[string]bool{"duty-high": true, "demand-step": true}},
		{alarm: "slow-strokes", id: "press-4", fault: rig.Fault{Kind: rig.FeedNarrow, Level: 0.7}, rhythm: rig.Rhythm{Flow: 6e-3, Period: 30, Share: 0.5}, runs: 2400},
		{alarm: "set-changed", id: "press-4", fault: rig.Fault{Kind: rig.SetLow, Level: 80e3}, rhythm: steady, runs: 1800},
		{alarm: "set-changed", id: "press-4", fault: rig.Fault{Kind: rig.SetHigh, Level: 48e3}, rhythm: steady, runs: 1800},
		{alarm: "hunting", id: "press-4", fault: rig.Fault{Kind: rig.Hunting}, rhythm: rig.Rhythm{Flow: 0.35e-3, Period: 20, Share: 0.6}, runs: 1800},
		{alarm: "relief-lifting", id: "press-9", fault: rig.Fault{Kind: rig.SetHigh, Level: 500e3}, rhythm: rig.Rhythm{Flow: 2.5e-3, Period: 15, Share: 0.3}, runs: 900, also: map[string]bool{"duty-high": true, "set-changed": true}},
	} {
		s := virtual(t, c.id)
		s.Rhythm, s.Sensors.Header = c.rhythm, c.header
		st := watch(s)
		st.run(sets)
		if n := len(st.unit.Out.Transitions); n > 0 {
			t.Errorf("%s: before the fault: %+v", c.alarm, st.unit.Out.Transitions[0])
		}
		if c.after > 0 {
			st.rig.Rhythm = rig.Rhythm{Base: c.after}
		} else {
			c.fault.From = st.now
			st.rig.Cause(c.fault)
		}
		st.run(c.runs)
		if n := raised(st.unit, c.alarm); n != 1 {
			t.Errorf("%s was raised %d times on %s at %g", c.alarm, n, c.fault.Kind, c.fault.Level)
		}
		for _, a := range st.unit.Out.Transitions {
			if a.Alarm == c.alarm && a.To == rules.Unacknowledged {
				t.Logf("%s, %s: after %d s: %s", c.id, c.fault.Kind, a.At.Sub(rigStart)/station.Second-sets, a.Message)
			} else if a.Alarm != c.alarm && !keptBack(&a) && !c.also[a.Alarm] {
				t.Errorf("%s: %s %s after %d s: %s", c.alarm, a.Alarm, a.To, a.At.Sub(rigStart)/station.Second-sets, a.Message)
			}
		}
		if testing.Verbose() {
			e := &st.unit.Status.Estimates
			for _, f := range []station.Figure{station.HeaderStatic, station.SupplyChange, station.Load, station.StrokeTimeChange, station.SetShift, station.StartsShort, station.ReachablePressure} {
				t.Logf("  %s %g %s", station.Figures[f].Name, e[f].Value, e[f].Reason)
			}
			t.Logf("  state %s (%s), inlet %.0f outlet %.0f, %d strokes", st.unit.Status.State, st.unit.Status.StateReason, st.unit.Status.Inlet.Value/1e3, st.unit.Status.Outlet.Value/1e3, st.unit.Status.StrokesMinute)
		}
	}
}

// Starts beside how often the model's governor opens after it was shut for a second or more.
// Source of the truth: collector/rig. A governor that hops at once again does not stand.
func TestStarts(t *testing.T) {
	for _, c := range []struct {
		flow    float64
		hunting bool
	}{{0.35e-3, true}, {0.35e-3, false}, {1e-3, false}, {5e-3, false}} {
		s := virtual(t, "press-4")
		s.Rhythm = rig.Rhythm{Flow: c.flow, Period: 20, Share: 0.6}
		if c.hunting {
			s.Faults = []rig.Fault{{Kind: rig.Hunting}}
		}
		v, u := rig.New(s, rigStart, 100), pipeline.New(s.Plate, "test")
		want, shut := 0.0, 0
		const step = 10 * station.Millisecond
		for at := rigStart; at < rigStart.Add(1200*station.Second); at = at.Add(step) {
			u.Samples(v.Until(at.Add(step)), at)
			if v.Governed() {
				shut++
				continue
			}
			if shut >= 100 && at > rigStart.Add(600*station.Second) {
				want++
			}
			shut = 0
		}
		got, hour := u.Status.Estimates[station.StartsShort], u.Status.Estimates[station.StartsHour]
		t.Logf("%.2g m³/s, hunting %v: %g starts in ten minutes, %.0f an hour; the model %g", c.flow, c.hunting, got.Value, hour.Value, want)
		if !got.Known() || math.Abs(got.Value-want) > 0.15*want+3 {
			t.Errorf("%.2g m³/s, hunting %v: %g starts in ten minutes (%s), the model %g", c.flow, c.hunting, got.Value, got.Reason, want)
		}
		if !hour.Known() || math.Abs(hour.Value-6*want) > 0.2*6*want+20 {
			t.Errorf("%.2g m³/s, hunting %v: %.0f starts an hour (%s), the model %g in ten minutes", c.flow, c.hunting, hour.Value, hour.Reason, want)
		}
	}
}
