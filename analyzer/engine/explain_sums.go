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
	station.Stroking: "the piston strokes: that is seen, or computed for a while after it was last seen",
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
	if why != (station.StateReason{}) {
		x.Inputs = append(x.Inputs, station.Input{Name: "told because", Text: why.String(), Origin: station.Computed})
	}
	if s.ShutdownAt != 0 {
		x.Inputs = append(x.Inputs, at("supply closed since", s.ShutdownAt), station.Input{Name: "shown by", Text: s.ShutdownBy.String(), Origin: station.Measured})
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
	n := e.Tally().Counter
	x.Inputs = []station.Input{
		words("counter", e.counterSays(), station.Measured),
		{Name: "traces", Text: orElse(e.tracesTell(), "serve"), Origin: station.Measured},
		station.Value("samples of the inlet a second", finite(e.Ends.In.Rate()), "1/s", station.Measured),
		station.Value("samples of the outlet a second", finite(e.Ends.Out.Rate()), "1/s", station.Measured),
		station.Value("usual time between strokes", float64(e.usualInterval())*1e-9, "s", station.Computed),
		station.Value("counter readings that were odd: reset, rolled over, bounced, back", float64(n.Resets+n.Rolls+n.Bounced+n.Back), "", station.Measured),
	}
	return x
}
