package model

import "math"

// Demand is what the consumers behind the regulator draw while the regulator holds its
// setting: a table of constant flows, plus a pulse that comes again and again. Flows are
// m³/s ANR. The zero value draws nothing.
type Demand struct {
	Steps  []DemandStep // in the order of From; before the first one nothing is drawn
	Repeat float64      // s after which the table starts again, 0 for never
	Pulse  Pulse
}

// DemandStep is a flow that holds until the next step's From.
type DemandStep struct {
	From float64 // s
	Flow float64 // m³/s ANR
}

// Pulse is a consumer that opens for On seconds every Every seconds.
type Pulse struct {
	Every, On float64 // s; never where Every is not above 0
	Offset    float64 // s, when the first one begins
	Flow      float64 // m³/s ANR
}

// at gives the flow at t s. at remembers in *cursor where in the table it was.
func (d *Demand) at(t float64, cursor *int) float64 {
	flow := d.Pulse.at(t)
	if len(d.Steps) == 0 {
		return flow
	}
	if d.Repeat > 0 {
		t = math.Mod(t, d.Repeat)
	}
	if *cursor >= len(d.Steps) || d.Steps[*cursor].From > t {
		*cursor = 0
	}
	for *cursor+1 < len(d.Steps) && d.Steps[*cursor+1].From <= t {
		*cursor++
	}
	if s := d.Steps[*cursor]; s.From <= t {
		flow += s.Flow
	}
	return flow
}

func (p *Pulse) at(t float64) float64 {
	if p.Every <= 0 || t < p.Offset || math.Mod(t-p.Offset, p.Every) >= p.On {
		return 0
	}
	return p.Flow
}
