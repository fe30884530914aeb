package rules

import (
	"math"

	"strokewise/analyzer/station"
)

// scriptSeries are what a script can let a station show, in the units of its configuration
// (kPa gauge, L/min ANR), each with what it sets. The state is set before them.
var scriptSeries = map[string]func(*station.Status, float64){
	"inlet_pressure":    func(s *station.Status, x float64) { s.Inlet = shows(1e3 * x) },
	"outlet_pressure":   func(s *station.Status, x float64) { s.Outlet = shows(1e3 * x) },
	"set_pressure":      func(s *station.Status, x float64) { s.Estimates[station.SetPressure] = shows(1e3 * x) },
	"supply_sag":        func(s *station.Status, x float64) { s.Estimates[station.SupplySag] = shows(x) },
	"leak_flow":         func(s *station.Status, x float64) { s.Estimates[station.LeakFlow] = shows(x * 1e-3 / 60) },
	"stroke_unevenness": func(s *station.Status, x float64) { s.Estimates[station.StrokeUnevenness] = shows(x) },
	"pulsation":         func(s *station.Status, x float64) { s.Estimates[station.Pulsation] = shows(x) },
	"strokes_minute": func(s *station.Status, x float64) {
		s.StrokeRate = shows(x / 60)
		if s.StrokesMinute = 0; !math.IsNaN(x) {
			s.StrokesMinute = int64(x)
		}
	},
	"frozen": func(s *station.Status, x float64) {
		reason(s, x, station.StateReason{Is: station.SensorFrozen, Sides: station.OutletSide})
	},
	"implausible": func(s *station.Status, x float64) {
		reason(s, x, station.StateReason{Is: station.OutletBelowInlet, Sides: station.BothSides})
	},
}

// figureSeries gives what a series of the name of a figure sets, in SI units, nil where there is
// none.
func figureSeries(name string) func(*station.Status, float64) {
	f, ok := station.FigureOf(name)
	if !ok {
		return nil
	}
	return func(s *station.Status, x float64) { s.Estimates[f] = shows(x) }
}

// scriptPlate are what a script's plate can hold, likewise.
var scriptPlate = map[string]func(*station.Plate, float64){
	"relief":            func(p *station.Plate, x float64) { p.Relief = station.Gauge(1e3 * x) },
	"tank_ps":           func(p *station.Plate, x float64) { p.TankPS = station.Gauge(1e3 * x) },
	"hose_limit":        func(p *station.Plate, x float64) { p.HoseLimit = station.Gauge(1e3 * x) },
	"required_pressure": func(p *station.Plate, x float64) { p.Required = station.Gauge(1e3 * x) },
	"area_ratio":        func(p *station.Plate, x float64) { p.AreaRatio = x },
	"leak_limit":        func(p *station.Plate, x float64) { p.LeakLimit = x * 1e-3 / 60 },
	"sag_limit":         func(p *station.Plate, x float64) { p.SagLimit = x },
	"outlet_sensor_at_branch": func(p *station.Plate, x float64) {
		if p.Sensor = station.AtTank; x != 0 {
			p.Sensor = station.AtBranch
		}
	},
	"inspection": func(p *station.Plate, x float64) { p.Inspection = station.Instant(x).Time().Format("2006-01-02") },
}

// scriptKey names the station of scripts.
var scriptKey = station.Key{Site: "script", Station: "1"}

func seriesNames() []string {
	all := []string{"state", "shut_down", "told_by_inlet", "heard"}
	for n := range scriptSeries {
		all = append(all, n)
	}
	for f := range station.Figures {
		if n := station.Figures[f].Name; scriptSeries[n] == nil {
			all = append(all, n)
		}
	}
	return all
}

func plateNames() []string {
	var all []string
	for n := range scriptPlate {
		all = append(all, n)
	}
	return all
}

func (s *script) plateOf() station.Plate {
	p := station.Plate{Key: scriptKey, Alarms: s.alarms, Calendar: s.calendar, Service: s.service}
	for name, x := range s.plate {
		scriptPlate[name](&p, x)
	}
	return p
}

// scripted is a station as a script lets it be seen.
type scripted struct {
	script *script
	status station.Status
	heard  Arrivals
	prev   station.State
}

func newScripted(s *script) *scripted {
	t := &scripted{script: s, prev: station.NumStates}
	none := station.Unknown("not in the script")
	t.status = station.Status{Inlet: none, Outlet: none, StrokeRate: none, OutletLastSeen: station.Gauge(math.NaN())}
	return t
}

// step shows the evaluator one step, and the tick of arrival time that goes with it. While
// the series `heard` says no, the station is silent: ticks alone go on.
func (t *scripted) step(v *Evaluator, now int64) {
	s, k, at := &t.status, int(now/t.script.step), scriptStart.Add(now)
	if h := t.script.series["heard"]; h != nil && h.at(k) == 0 {
		v.Tick(at, &t.heard)
		return
	}
	t.heard[station.InletPressure], t.heard[station.OutletPressure] = at, at
	s.At, s.State = at, station.Holding
	if st := t.script.series["state"]; st != nil {
		s.State = station.State(st.at(k))
	}
	if s.State != t.prev {
		s.Since, t.prev = at, s.State
	}
	if s.StateReason = (station.StateReason{}); s.State == station.Blind {
		s.StateReason = station.StateReason{Is: station.NoOutletReading, Sides: station.OutletSide}
	}
	t.shut(k, at)
	for name, x := range t.script.series {
		set := scriptSeries[name]
		if set == nil {
			set = figureSeries(name)
		}
		if set != nil {
			set(s, x.at(k))
		}
	}
	if s.Outlet.Known() {
		s.OutletLastSeen = station.Gauge(s.Outlet.Value)
	}
	v.Step(s)
	v.Tick(at, &t.heard)
}

func (t *scripted) shut(k int, at station.Instant) {
	x := t.script.series["shut_down"]
	switch {
	case x == nil:
	case x.at(k) == 0:
		t.status.ShutdownAt, t.status.ShutdownBy = 0, station.NoShutdown
	case t.status.ShutdownAt == 0:
		t.status.ShutdownAt, t.status.ShutdownBy = at, ByValve
		if y := t.script.series["told_by_inlet"]; y != nil && y.at(k) != 0 {
			t.status.ShutdownBy = ByInlet
		}
	}
}

func shows(x float64) station.Estimate {
	if math.IsNaN(x) {
		return station.Unknown("unknown in the script")
	}
	return station.Estimate{Value: x, Method: station.MethodTraces, Confidence: 1}
}

func reason(s *station.Status, x float64, why station.StateReason) {
	if x == 1 && s.State == station.Blind {
		s.StateReason = why
	}
}
