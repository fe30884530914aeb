package engine

import (
	"strokewise/analyzer/station"
)

// explainDuty returns how duty is obtained: its definition, the times of the present minute,
// and what of them is seen and what is computed.
func (e *Engine) explainDuty() station.Explanation {
	sec := func(s ...station.State) float64 {
		sum := int64(0)
		for _, x := range s {
			sum += e.Min.M.StateNs[x]
		}
		return float64(sum) * 1e-9
	}
	x := station.Explanation{Name: "duty", Key: "duty", Title: "Duty", What: "share of the fed time in which the piston strokes",
		Formula: "(charging + stroking)/(charging + stroking + holding + starved), times",
		Source:  "definition",
		Inputs: []station.Input{
			computed("charging and stroking in the present minute", sec(station.Charging, station.Stroking), "s"),
			computed("holding in the present minute", sec(station.Holding), "s"),
			computed("starved in the present minute", sec(station.Starved), "s"),
			words("the piston strokes while", "the inlet draws, strokes end or the outlet rises", station.Measured),
			words("the piston stands while", "the inlet rests: straight, at the header's pressure, without a stroke's end; a creep slower than the slowest stroke counts as standing", station.Computed),
			assumed("slowest stroke that counts as stroking", float64(station.SlowestStroke)*1e-9, "s", "own definition"),
			assumed("fed above", station.FedAbove.KPa(), "kPa gauge", "own definition"),
			words("counter", e.counterSays(), station.Measured),
			words("traces", orElse(e.tracesTell(), "show strokes"), station.Measured),
		}}
	if e.followed() {
		x.Inputs = append(x.Inputs, computed("header, as the inlet shows it at rest", e.Feed.Level*1e-3, "kPa gauge"))
	} else {
		x.Inputs = append(x.Inputs, computed("after a stroke the piston is taken to travel on for", float64(e.hold())*1e-9, "s"))
	}
	if e.Act.LastWork != 0 {
		x.Inputs = append(x.Inputs, at("last seen to stroke", e.Act.LastWork), words("now", e.strokesBy(), station.Computed))
	}
	if duty, ok := station.Duty(e.Min.M.StateNs); ok {
		x.Inputs = append(x.Inputs, computed("duty of the present minute", 100*duty, "%"))
	}
	return x
}

// strokesBy returns in words whether the piston strokes at the end of the last slot, and
// whether that was seen in it.
func (e *Engine) strokesBy() string {
	now := e.State.Current
	if now == station.NumStates { // the trace has ended
		now = e.status.State
	}
	switch {
	case !now.Working():
		return "does not stroke"
	case e.status.At.Sub(e.Act.LastWork) <= slotLen:
		return "strokes, as seen"
	}
	return "strokes, as computed: not seen since"
}
