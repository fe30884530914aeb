package engine

import (
	"fmt"

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
	station.Starved:  "the piston stands, and the outlet is below where the governor lets it start, though the inlet is fed",
	station.Venting:  "supply closed, and the outlet falls by more than 2 % or 5 kPa a second",
	station.Residual: "supply closed, and the outlet is charged",
}

func (e *Engine) explainState() station.Explanation {
	s := &e.State
	x := station.Explanation{Name: "state", Key: "state", Title: "State", What: "what the station is doing; the states partition time",
		Formula: "the first that holds of: blind, supply closed (off, venting, residual), working (charging, stroking), starved, holding; taken twice a second, from when it began",
		Source:  "definition", Inputs: []station.Input{seen("inlet now", &e.Inlet), seen("outlet now", &e.Outlet)}}
	now, why := s.Current, s.Reason
	if now == station.NumStates { // the trace has ended
		now, why = e.status.State, e.status.StateReason
	}
	x.Said = now.String()
	x.Inputs = append(x.Inputs, station.Input{Name: "rule", Text: stateRules[now], Origin: station.Computed})
	if set := e.set(); set > 0 {
		x.Inputs = append(x.Inputs, station.Value("starved below, where the piston stands", e.standsAt(set)*1e-3, "kPa", station.Computed))
	}
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
		e.setGiven(),
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
