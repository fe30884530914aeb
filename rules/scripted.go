package rules

import (
	"maps"
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// scriptQuantities are the quantities that a script can let a station show, in the units of its
// configuration (kPa gauge, L/min ANR), each with what it sets. The state is set before them.
var scriptQuantities = map[string]func(*station.Status, float64){
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
	"inlet_reads":  func(s *station.Status, x float64) { s.InletReads = station.Gauge(1e3 * x) },
	"outlet_reads": func(s *station.Status, x float64) { s.OutletReads = station.Gauge(1e3 * x) },
	"strokes":      func(s *station.Status, x float64) { s.Strokes = int64(x) },
	"valve_open": func(s *station.Status, x float64) {
		switch s.Valve = station.ValveUnknown; x {
		case 0:
			s.Valve = station.ValveClosed
		case 1:
			s.Valve = station.ValveOpen
		}
	},
	"frozen": func(s *station.Status, x float64) {
		reason(s, x, station.StateReason{Is: station.SensorFrozen, Sides: station.OutletSide})
	},
	"contradicted": func(s *station.Status, x float64) {
		if s.Contradiction = (station.Contradiction{}); x != 0 {
			s.Contradiction.N = 2
			s.Contradiction.Blames[0] = station.Blame{Is: station.TankTaken, Given: 20e-3, Seen: 40e-3, Ratio: 0.5}
			s.Contradiction.Blames[1] = station.Blame{Is: station.AbsoluteTaken, Sides: station.InletSide, Given: 700e3, Seen: 600e3}
		}
	},
	"implausible": func(s *station.Status, x float64) {
		reason(s, x, station.StateReason{Is: station.OutletBelowInlet, Sides: station.BothSides})
	},
}

// setterOf returns what sets a quantity: one of `scriptQuantities`, or a figure in SI units; nil for others.
func setterOf(name string) func(*station.Status, float64) {
	if set := scriptQuantities[name]; set != nil {
		return set
	}
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
	"drive_regulator":   func(p *station.Plate, x float64) { p.DriveSet = station.Gauge(1e3 * x) },
	"ungoverned":        func(p *station.Plate, x float64) { p.Ungoverned = x != 0 },
	"base_demand":       func(p *station.Plate, x float64) { p.BaseDemand = x * 1e-3 / 60 },
	"air_price":         func(p *station.Plate, x float64) { p.AirPrice = station.AirPrice{PerCubicMetre: x, Currency: "EUR"} },
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

// scriptQuantityNames returns the names of all quantities that can stand in a stretch.
func scriptQuantityNames() []string {
	all := []string{"state", "shut_down", "shut_by_inlet", "heard", "watched"}
	for n := range scriptQuantities {
		all = append(all, n)
	}
	for f := range station.Figures {
		if n := station.Figures[f].Name; scriptQuantities[n] == nil {
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
	values map[string]float64 // at this step, of the quantities given so far
	status station.Status
	heard  Arrivals
	prev   station.State
}

func newScripted(s *script) *scripted {
	t := &scripted{script: s, values: map[string]float64{}, prev: station.NumStates}
	none := station.Unknown("not in the script")
	never := station.Gauge(math.NaN())
	t.status = station.Status{Inlet: none, Outlet: none, StrokeRate: none, OutletLastSeen: never, InletReads: never, OutletReads: never, InletPeak: never, OutletPeak: never}
	return t
}

// advance moves the values to a step. Steps come in order, none is left out.
func (t *scripted) advance(step int) {
	s, within := t.script.course.at(step)
	if s == nil {
		return
	}
	for name, x := range s.values {
		t.values[name] = x.at(within, s.steps)
	}
}

// step shows the evaluator one step, and the tick of arrival time that goes with it. While
// `heard` is no, the station is silent: ticks alone go on. While `watched` is no, nothing is
// judged.
func (t *scripted) step(v *Evaluator, now int64) {
	s, at := &t.status, scriptStart.Add(now)
	t.advance(int(now / t.script.step))
	if watched, given := t.values["watched"]; given && watched == 0 {
		v.standIn = true
		v.Unwatch(at, "a fault of the script")
		v.Tick(at, &t.heard)
		return
	}
	if v.standIn {
		v.standIn = false
		v.WatchAgain(at)
	}
	if heard, given := t.values["heard"]; given && heard == 0 {
		v.Tick(at, &t.heard)
		return
	}
	t.heard[station.InletPressure], t.heard[station.OutletPressure] = at, at
	s.At, s.State = at, station.Holding
	if state, given := t.values["state"]; given {
		s.State = station.State(state)
	}
	if s.State != t.prev {
		s.Since, t.prev = at, s.State
	}
	if s.StateReason = (station.StateReason{}); s.State == station.Blind {
		s.StateReason = station.StateReason{Is: station.NoOutletReading, Sides: station.OutletSide}
	}
	t.shut(at)
	for _, name := range slices.Sorted(maps.Keys(t.values)) {
		if set := setterOf(name); set != nil {
			set(s, t.values[name])
		}
	}
	if s.Outlet.Known() {
		s.OutletLastSeen = station.Gauge(s.Outlet.Value)
	}
	v.Step(s)
	v.Tick(at, &t.heard)
}

func (t *scripted) shut(at station.Instant) {
	closed, given := t.values["shut_down"]
	switch {
	case !given:
	case closed == 0:
		t.status.ShutdownAt, t.status.ShutdownBy = 0, station.NoShutdown
	case t.status.ShutdownAt == 0:
		t.status.ShutdownAt, t.status.ShutdownBy = at, ByValve
		if inlet, given := t.values["shut_by_inlet"]; given && inlet != 0 {
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
