package model

import "math"

// Demand is what the consumers behind the regulator draw while the regulator holds its
// setting: a table of constant flows, a pulse that comes again and again, and consumers with
// rhythms of their own. Flows are m³/s ANR. The zero value draws nothing.
type Demand struct {
	Steps     []DemandStep // in the order of From; before the first one nothing is drawn
	Repeat    float64      // s after which the table starts again, 0 for never
	Pulse     Pulse
	Consumers []Consumer
	Work      float64 // s for which the consumers work before they pause
	Pause     float64 // s of a pause; 0: they never pause
	Off       bool    // the consumers are shut off
}

// consumers returns what all consumers draw at t s.
func (d *Demand) consumers(t float64) (flow float64) {
	if d.Off || d.Pause > 0 && math.Mod(t, d.Work+d.Pause) >= d.Work {
		return 0
	}
	for i := range d.Consumers {
		flow += d.Consumers[i].at(t)
	}
	return flow
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

// at returns the flow of table and pulse at t s. It remembers in *cursor where in the table it was.
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
