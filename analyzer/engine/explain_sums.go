package engine

import (
	"fmt"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// Sums explains the state and what is added up over time: strokes, duty, air. Their values
// are the caller's, except that of the state.
func (e *Engine) Sums() []station.Explanation {
	return []station.Explanation{e.explainState(), e.explainStrokes(), e.explainDuty(),
		e.explainDelivered(), e.explainExhaust(), e.explainInlet()}
}

// stateRules say by which rule each state is told.
var stateRules = [station.NumStates]string{
	station.Blind:    "a pressure channel is silent, or its readings contradict each other",
	station.Off:      "supply closed, and the outlet near atmosphere",
	station.Charging: "the piston works, and the outlet rises towards set after it was below 60 % of it",
	station.Stroking: "the piston works: strokes end or the inlet draws, and for a hold time after that",
	station.Holding:  "the piston stands, and the outlet is not below set",
	station.Starved:  "the piston stands, and the outlet is below 95 % of set though the inlet is fed",
	station.Venting:  "supply closed, and the outlet falls by more than 2 % or 5 kPa a second",
	station.Residual: "supply closed, and the outlet is charged",
}

func (e *Engine) explainState() station.Explanation {
	s := &e.State
	x := station.Explanation{Name: "state", Key: "state", Title: "State", What: "what the station is doing; the states partition time",
		Formula: "the first that holds of: blind, supply closed (off, venting, residual), working (charging, stroking), starved, holding; taken twice a second",
		Source:  "definition", Inputs: []station.Input{seen("inlet now", &e.Inlet), seen("outlet now", &e.Outlet)}}
	now, why := s.Current, s.Reason
	if now == station.NumStates { // the trace has ended
		now, why = e.status.State, e.status.StateReason
	}
	x.Said = now.String()
	x.Inputs = append(x.Inputs, station.Input{Name: "rule", Text: stateRules[now], Origin: station.Computed})
	if why != "" {
		x.Inputs = append(x.Inputs, station.Input{Name: "told because", Text: why, Origin: station.Computed})
	}
	if s.ShutdownAt != 0 {
		x.Inputs = append(x.Inputs, at("supply closed since", s.ShutdownAt), station.Input{Name: "told by", Text: s.ShutdownBy, Origin: station.Measured})
	}
	if e.Act.LastWork != 0 {
		x.Inputs = append(x.Inputs, at("last seen to work", e.Act.LastWork))
	}
	return with(x, station.Value("hold time", float64(e.hold())*1e-9, "s", station.Computed),
		plate("set pressure", e.set(), 1e-3, "kPa gauge"),
		assumed("near atmosphere below", vented*1e-3, "kPa gauge", "common practice, no source"),
		assumed("starved below", 100*setBand, "% of set", "common practice, no source"),
		assumed("supply closed below", 100*fedShare, fmt.Sprintf("%% of the resting inlet, for %d s", closedAfter/station.Second), "common practice, no source"))
}

func with(x station.Explanation, more ...station.Input) station.Explanation {
	x.Inputs = append(x.Inputs, more...)
	return x
}

func (e *Engine) explainStrokes() station.Explanation {
	x := station.Explanation{Name: "strokes", Key: "strokes", Title: "Strokes", What: "ends of strokes; two are a cycle",
		Formula: "the counter fixes the number, at two strokes a cycle; the traces fix the times: a stroke ends where the inlet's draw and the delivery cease at once",
		Source:  "definition; matched filter over both traces, judged by the integral of sqrt(rest - p1)"}
	counts := "strokes"
	if e.Fuse.PerCycle {
		counts = "cycles"
	}
	n := e.Tally().Counter
	x.Inputs = []station.Input{
		{Name: "counter", Text: map[bool]string{true: "serves, counts " + counts, false: "none, or not believed"}[e.Fuse.CounterServes()], Origin: station.Measured},
		{Name: "traces", Text: orElse(e.tracesTell(), "serve"), Origin: station.Measured},
		station.Value("samples of the inlet a second", finite(e.Ends.In.Rate()), "1/s", station.Measured),
		station.Value("samples of the outlet a second", finite(e.Ends.Out.Rate()), "1/s", station.Measured),
		station.Value("usual time between strokes", float64(e.usualInterval())*1e-9, "s", station.Computed),
		station.Value("counter readings that were odd: reset, rolled over, bounced, back", float64(n.Resets+n.Rolls+n.Bounced+n.Back), "", station.Measured),
	}
	return x
}

func (e *Engine) explainDuty() station.Explanation {
	x := station.Explanation{Name: "duty", Key: "duty", Title: "Duty", What: "share of the fed time in which the piston worked",
		Formula: "(charging + stroking)/(charging + stroking + holding + starved), times; working lasts for the hold time after the last visible draw or stroke",
		Source:  "definition; the hold time is the longer of the coast and 1.5 of the shorter stroke intervals, 10 s at most"}
	x.Inputs = []station.Input{station.Value("hold time", float64(e.hold())*1e-9, "s", station.Computed)}
	if e.Plate.DriveBore <= 0 || e.Plate.StrokeLen <= 0 {
		return with(x, assumed("coast, bore and stroke not given", float64(defaultCoast)*1e-9, "s", "common practice, no source"))
	}
	return with(x, plate("drive bore", e.Plate.DriveBore, 1e3, "mm"), plate("stroke", e.Plate.StrokeLen, 1e3, "mm"),
		station.Value("coast, rho c_v (V/A)/h", float64(e.coast())*1e-9, "s", station.Computed),
		assumed("wall heat transfer h", 40, "W/(m² K)", "from memory, forced convection in small cylinders"))
}

// strokeNow gives a part of the air of a stroke at the pressures of the moment, with its
// band.
func (e *Engine) strokeNow(part func(*air.StrokeAir) air.Range, name string) []station.Input {
	out := []station.Input{seen("inlet now", &e.Inlet), seen("outlet now", &e.Outlet)}
	a, reason := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	if reason != "" || !e.Inlet.Seen || !e.Outlet.Seen {
		return out
	}
	r := part(&a)
	return append(out, station.Value(name+" a stroke now", r.Value, "L ANR", station.Computed),
		station.Input{Name: "its 90 % band", Text: fmt.Sprintf("%.3f to %.3f L ANR", r.Low, r.High), Origin: station.Computed})
}

// airNeeds says what would make air known.
const airNeeds = "bores and stroke or swept volumes in the plate data, inlet and outlet pressure, and strokes that are known"

func (e *Engine) explainDelivered() station.Explanation {
	return station.Explanation{Name: "delivered_air", Key: "delivered_air_l", Title: "Delivered air", What: "air that reached the tank",
		Formula: "sum over strokes of p1 V_b eta/p_0, eta = 1 - c((p2/p1)^(1/kappa) - 1) - loss; while p2 <= p1 also V_t dp2/(kappa p_0) beyond that, air that goes straight through the check valves",
		Source:  "ideal gas law; re-expansion of the dead volume", Needs: airNeeds, Inputs: e.deliveredInputs()}
}

func (e *Engine) explainExhaust() station.Explanation {
	return station.Explanation{Name: "exhaust_air", Key: "exhaust_air_l", Title: "Exhaust air", What: "air of the drive that left through the exhaust",
		Formula: "sum over strokes of (p_d V_d + (p_d - p_atm) V_dead)/p_0, p_d the middle of p_atm + (p2 - p1)/ratio and p1: it is not measured, and the band runs from bound to bound",
		Source:  "force balance of the piston; ideal gas law", Needs: airNeeds, Inputs: e.exhaustInputs()}
}

func (e *Engine) explainInlet() station.Explanation {
	return station.Explanation{Name: "inlet_air", Key: "inlet_air_l", Title: "Inlet air", What: "air drawn from the supply",
		Formula: "delivered air plus exhaust air, see there", Source: "conservation of mass", Needs: airNeeds,
		Inputs: e.strokeNow(func(a *air.StrokeAir) air.Range { return a.Inlet }, "drawn in")}
}

func (e *Engine) deliveredInputs() []station.Input {
	out := []station.Input{plate("swept volume of a boost stroke", e.Plate.SweptBoost, 1e3, "L"), plate("tank volume with piping", e.Plate.TankVolume, 1e3, "L")}
	out = append(out, e.strokeNow(func(a *air.StrokeAir) air.Range { return a.Boost }, "delivered")...)
	if e.Inlet.Seen && e.Outlet.Seen && e.inletAbs() > 0 {
		out = append(out, station.Value("volumetric efficiency eta now", 100*air.VolumetricEfficiency(e.inletAbs(), e.outletAbs()), "%", station.Computed))
	}
	return append(out, air.BoostAssumptions()...)
}

func (e *Engine) exhaustInputs() []station.Input {
	out := []station.Input{plate("swept volume of a drive stroke", e.Plate.SweptDrive, 1e3, "L"), plate("drive over boost piston area", e.Plate.AreaRatio, 1, ""), e.ambient()}
	out = append(out, e.strokeNow(func(a *air.StrokeAir) air.Range { return a.Drive }, "exhausted")...)
	if e.Inlet.Seen && e.Outlet.Seen {
		low, high := air.DriveBounds(&e.Plate, e.inletAbs(), e.outletAbs())
		out = append(out, station.Value("drive pressure p_d at the end of a stroke, at least", float64(low)*1e-3, "kPa abs", station.Computed),
			station.Value("drive pressure p_d at the end of a stroke, at most", float64(high)*1e-3, "kPa abs", station.Computed))
	}
	return append(out, air.DriveAssumptions()...)
}
