package rules

import (
	"fmt"

	"strokewise/analyzer/station"
)

// compare answers a value against a limit: above it yes, below clearFactor of it no.
func compare(value, limit float64) answer {
	switch {
	case value > limit:
		return yes
	case value < clearFactor*limit:
		return no
	default:
		return between
	}
}

// supplyUndersized: the inlet sags while the booster strokes. Frozen while charging, as
// a first fill draws more than work does.
func (v *Evaluator) supplyUndersized(s *station.Status) verdict {
	sag := &s.Estimates.SupplySag
	if !sag.Known() || s.State == station.Charging || !s.State.Fed() {
		return verdict{}
	}
	limit := v.plate.SagLimit
	if limit <= 0 {
		limit = SagLimit
	}
	c := verdict{answer: compare(sag.Value, limit)}
	if c.answer == between {
		return c
	}
	c.message = fmt.Sprintf("The inlet sags by %.0f %% of its resting pressure while the booster strokes (limit %.0f %%).", sag.Value*100, limit*100)
	c.evidence = []Evidence{
		{Name: "supply_sag", Value: sag.Value, Unit: "1"},
		{Name: "limit", Value: limit, Unit: "1"},
		{Name: "inlet_pressure", Value: s.Inlet.Value, Unit: "Pa gauge"},
		{Name: "outlet_pressure", Value: s.Outlet.Value, Unit: "Pa gauge"},
		{Name: "confidence", Value: sag.Confidence, Unit: "1"},
	}
	if g := &s.Estimates.SupplyConductance; g.Known() {
		c.evidence = append(c.evidence, Evidence{Name: "supply_conductance_over_sqrt_1_minus_b", Value: g.Value, Unit: "m³/(s·Pa)"})
	}
	return c
}

// outletLeak: a steady loss at the outlet. Frozen while charging and venting.
func (v *Evaluator) outletLeak(s *station.Status) verdict {
	leak := &s.Estimates.LeakFlow
	if !leak.Known() || s.State == station.Charging || s.State == station.Venting || s.State == station.Blind {
		return verdict{}
	}
	limit := v.plate.LeakLimit
	if limit <= 0 {
		limit = LeakLimit
	}
	c := verdict{answer: compare(leak.Value, limit)}
	if c.answer == between {
		return c
	}
	c.message = fmt.Sprintf("The outlet loses %.1f L/min ANR (limit %.1f), told by %s: a leak, or a consumer left open.",
		leak.Value*60e3, limit*60e3, leak.Method)
	c.evidence = []Evidence{
		{Name: "leak_flow", Value: leak.Value, Unit: "m³/s ANR"},
		{Name: "limit", Value: limit, Unit: "m³/s ANR"},
		{Name: "method", Text: leak.Method.String()},
		{Name: "confidence", Value: leak.Confidence, Unit: "1"},
		{Name: "outlet_pressure", Value: s.Outlet.Value, Unit: "Pa gauge"},
	}
	return c
}

// signalLost: a periodic pressure channel is silent.
func (v *Evaluator) signalLost(now station.Instant, a *Arrivals) verdict {
	if v.plate.Cadence == station.OnChange {
		return verdict{}
	}
	limit := v.silence()
	c := verdict{answer: no, message: "All pressure channels are heard again."}
	for _, ch := range [...]station.Channel{station.InletPressure, station.OutletPressure} {
		since, text := a[ch], "last heard "
		if now.Sub(max(since, v.Watched)) <= limit {
			continue
		}
		if since == 0 {
			since, text = v.Watched, "never heard, watched since "
		}
		if c.answer == no {
			c = verdict{answer: yes, message: "No data from the station's pressure sensors."}
		}
		c.evidence = append(c.evidence, Evidence{Name: ch.String(), Text: text + since.Floor(station.Second).String()})
	}
	return c
}

func (v *Evaluator) silence() int64 {
	if v.plate.Silence > 0 {
		return int64(v.plate.Silence)
	}
	return SilenceNs
}
