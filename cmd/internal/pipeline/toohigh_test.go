package pipeline_test

import (
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// firstRaise returns the first transition that raises an alarm, nil if none does.
func firstRaise(ts []rules.Transition, alarm string) *rules.Transition {
	for i := range ts {
		if ts[i].Alarm == alarm && ts[i].To == rules.Unacknowledged {
			return &ts[i]
		}
	}
	return nil
}

// The outlet is too high in several ways: each raises its alarm once, and what else it raises is named. Source of
// the truth: collector/rig.
func TestOutletTooHigh(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	const sets = 900 // s
	for _, c := range []struct {
		name, alarm string
		change      func(*rig.Spec)
		fault       rig.Fault
		within, run int64 // s after the fault
		also        []string
		text        string
	}{
		{name: "a governor that does not close on a high header, and a relief valve that is stuck; no PS, no hoses given",
			alarm: rules.OverPressure, change: func(s *rig.Spec) {
				s.Params.Supply.HeaderGauge, s.Params.Relief.SetGauge = 900e3, 0
			}, fault: rig.Fault{Kind: rig.SetHigh, Level: 600e3}, within: 600, run: 900,
			also: []string{"outlet-above-set", "duty-high", "set-changed", "set-above-relief"}, text: "10 % above the relief valve"},
		{name: "an outlet sensor that drifts above what the forces allow", alarm: "outlet-impossible",
			change: func(s *rig.Spec) { s.Plate.Relief = 0 },
			fault:  rig.Fault{Kind: rig.SensorOffset, Level: 450e3, Grow: 1200 * station.Second}, within: 1200, run: 1800,
			also: []string{"outlet-above-set", "set-changed", "sensor-implausible"}, text: "A sensor or the configured bores are wrong"},
		{name: "a governor turned up by 8 %", alarm: "outlet-above-set", fault: rig.Fault{Kind: rig.SetHigh, Level: 80e3}, within: 900, run: 1800},
		{name: "a relief valve that pops, the set turned above it, a tank in which the outlet falls for seconds", alarm: "relief-lifting",
			change: func(s *rig.Spec) {
				s.Plate.Relief, s.Params.Tank.Volume, s.Plate.TankVolume = 1120e3, 0.08, 0.08
				s.Params.Relief = model.Relief{SetGauge: 1120e3, Blowdown: 0.05, Full: model.Nozzle{C: 0.6 * model.DM3SBar, B: 0.3}}
				s.Params.Supply.HeaderGauge = 700e3
			}, fault: rig.Fault{Kind: rig.SetHigh, Level: 200e3}, within: 600, run: 900,
			also: []string{"outlet-above-set", "duty-high", "set-changed"}},
		{name: "a relief valve that simmers, the set turned above it, while consumers move the outlet by more than it is flat", alarm: "relief-lifting",
			change: func(s *rig.Spec) {
				s.Plate.Relief = 1120e3
				s.Params.Relief = model.Relief{SetGauge: 1120e3, Over: 50e3, Full: model.Nozzle{C: 1.2 * model.DM3SBar, B: 0.3}}
				s.Params.Supply.HeaderGauge, s.Rhythm.Flow, s.Rhythm.Vary = 700e3, 6e-3, 0.4
			}, fault: rig.Fault{Kind: rig.SetHigh, Level: 250e3}, within: 600, run: 900,
			also: []string{"outlet-above-set", "duty-high", "set-changed"}},
	} {
		s := virtual(t, "press-4")
		s.Rhythm = rig.Rhythm{Flow: 5e-3, Period: 20, Share: 0.5}
		if c.change != nil {
			c.change(&s)
		}
		st := watch(s)
		st.run(sets)
		for _, a := range st.unit.Out.Transitions {
			t.Errorf("%s: before it: %s: %s", c.name, a.Alarm, a.Message)
		}
		blown := st.rig.Truth().Relief
		c.fault.From = st.now
		st.rig.Cause(c.fault)
		st.run(c.run)
		a := firstRaise(st.unit.Out.Transitions, c.alarm)
		if a == nil || raised(st.unit, c.alarm) != 1 || a.At.Sub(c.fault.From) > c.within*station.Second || !strings.Contains(a.Message, c.text) {
			t.Errorf("%s: %s was raised %d times, first %+v", c.name, c.alarm, raised(st.unit, c.alarm), a)
		} else {
			t.Logf("%s: %s after %d s, %.0f L blown off: %s", c.name, a.Alarm, a.At.Sub(c.fault.From)/station.Second, st.rig.Truth().Relief-blown, a.Message)
		}
		for _, a := range st.unit.Out.Transitions {
			if a.Alarm != c.alarm && !keptBack(&a) && !strings.Contains(strings.Join(c.also, " "), a.Alarm) {
				t.Errorf("%s: %s %s after %d s: %s", c.name, a.Alarm, a.To, a.At.Sub(c.fault.From)/station.Second, a.Message)
			}
		}
	}
}

// A plate whose set pressure is above its relief valve's is one that a plant can have: the finding stands while it
// runs, and nothing else is raised where the valve does not lift.
func TestPlateWithItsSetAboveItsRelief(t *testing.T) {
	s := virtual(t, "press-4")
	s.Plate.Relief = 990e3 // the valve that is fitted opens at 1,250 kPa
	st := watch(s)
	st.run(300)
	if n := raised(st.unit, "set-above-relief"); n != 1 || len(st.unit.Out.Transitions) != 1 {
		t.Errorf("raised %d times among %+v", n, st.unit.Out.Transitions)
	}
}

// What a leak's message says it costs a year is what the page of costs says of the same leak, taken to 8,760 h. Both
// have the leak's flow of the engine; the page has air drawn and delivered by the minute, the alarm those of the last
// two hundred strokes.
func TestLeakCostsWhatThePageSays(t *testing.T) {
	const energy = 0.12 * 3.6e6
	price := station.Price{PerJoule: 0.18 / 3.6e6, Currency: "EUR"}
	tariffs := &cost.Tariffs{List: []cost.Tariff{{From: cost.Always, Rates: cost.RatesOf(energy, price, 0)}}}
	s := virtual(t, "clamp-3", rig.Fault{Kind: rig.OutletLeak, Level: 2.3e-9})
	s.Plate.AirPrice = station.PriceOfAir(energy, price)
	st := watch(s)
	st.run(3600)
	a := firstRaise(st.unit.Out.Transitions, rules.OutletLeak)
	if a == nil {
		t.Fatal("no leak is told")
	}
	var sum cost.Sum
	for i := range st.unit.Out.Minutes {
		if m := &st.unit.Out.Minutes[i]; m.AirReason == "" && m.Leak.Known() && m.Start > a.At {
			sum.Add(&cost.Sum{Inlet: m.Inlet, Delivered: m.Delivered, Leak: station.MicrolitresOf(m.Leak.Value * 60e3), LeakNs: station.Minute60})
			charge := tariffs.Of(m)
			sum.Account.Add(charge.Line())
		}
	}
	paid := float64(sum.Account.Money("EUR")) / 1e6
	page := paid * float64(sum.LeakAtInlet()) / float64(sum.Inlet) * float64(station.YearHours*60*station.Minute60) / float64(sum.LeakNs)
	said := math.NaN()
	for _, e := range a.Evidence {
		if e.Name == "leak_cost_year" && e.Unit == "EUR" {
			said = e.Value
		}
	}
	t.Logf("%s\nthe page: %.0f EUR a year over %d minutes", a.Message, page, sum.LeakNs/station.Minute60)
	if !(math.Abs(said/page-1) < 0.1) { // the figures of one moment against the hour after it
		t.Errorf("the alarm says %g EUR a year, the page %g", said, page)
	}
	if !strings.Contains(a.Message, " EUR, with the drive air") {
		t.Errorf("the message says %q", a.Message)
	}
}
