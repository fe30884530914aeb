// Package report turns what a replay concluded into the JSON object and the table that
// people and other programs read.
package report

import (
	"math"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// Report is the JSON object of a replay. Litres are at Reference, pressures gauge.
type Report struct {
	Schema    int                 `json:"schema"`
	Site      string              `json:"site"`
	Station   string              `json:"station"`
	From      string              `json:"from"`
	To        string              `json:"to"`
	Reference string              `json:"reference"`
	Totals    Totals              `json:"totals"`
	Estimates map[string]Estimate `json:"estimates"`
	Blames    []Blame             `json:"plate_contradicts,omitempty"` // what may be wrong in plate data, counter and sensors
	Minutes   []Minute            `json:"minutes"`
	Gaps      []Gap               `json:"gaps"` // whole minutes without a sample, which are not among Minutes
	States    []State             `json:"states"`
	Strokes   []Stroke            `json:"strokes,omitzero"` // only on request
	Alarms    []Alarm             `json:"alarms"`
	LeftOut   LeftOut             `json:"left_out"`
	// How says how each figure was obtained, by its key; only on request.
	How  map[string]*Explained `json:"explain,omitempty"`
	told []*Explained          // the same in order
	// contradiction is Blames in words.
	contradiction string
	// Changes are the alarms of a changed catalogue beside those of the present one; only on
	// request.
	Changes []Change `json:"changes,omitempty"`

	read station.Reading // unit of the table's pressures; the JSON object is in kPa
}

// Estimate is one slow figure; a null Value has a Reason.
type Estimate struct {
	Value *float64 `json:"value"`
	B     *float64 `json:"b,omitempty"` // critical ratio for which C of a supply is stated
	// OverRoot is C/sqrt(1-b) of a supply, which is what its sag shows; Value is C for B.
	OverRoot   *float64    `json:"c_over_sqrt_1_minus_b,omitempty"`
	Band       *[2]float64 `json:"band,omitempty"`
	Method     string      `json:"method,omitempty"`
	Confidence *float64    `json:"confidence,omitempty"`
	From       string      `json:"from,omitempty"` // of the window
	At         string      `json:"at,omitempty"`
	Reason     string      `json:"reason,omitempty"`
}

// Minute is one UTC minute, half-open.
type Minute struct {
	Minute    string   `json:"minute"`
	Covered   float64  `json:"covered_s"`
	Strokes   *int64   `json:"strokes"`
	Method    string   `json:"method"`
	Duty      *float64 `json:"duty"`
	Inlet     *float64 `json:"inlet_air_l"`
	Exhaust   *float64 `json:"exhaust_air_l"`
	Delivered *float64 `json:"delivered_air_l"`
	Holding   float64  `json:"holding_s"`
	Starved   float64  `json:"starved_s"`
	Blind     float64  `json:"blind_s"` // of covered_s: nothing in this row is about it
	InletKPa  *float64 `json:"inlet_pressure_kpa"`
	OutletKPa *float64 `json:"outlet_pressure_kpa"`
	Leak      *float64 `json:"leak_flow_l_min"`
	Reason    string   `json:"reason,omitempty"`
}

// Gap is a run of UTC minutes, half-open, in which there was no sample.
type Gap struct {
	From    string `json:"from"`
	To      string `json:"to"`
	Minutes int64  `json:"minutes"`
}

// State is one interval.
type State struct {
	State string `json:"state"`
	From  string `json:"from"`
	To    string `json:"to"`
}

// Stroke is one stroke; At is its end.
type Stroke struct {
	At   string `json:"at"`
	Side string `json:"side,omitempty"`
}

// Alarm is one occurrence of an alarm.
type Alarm struct {
	Alarm    string         `json:"alarm"`
	Priority string         `json:"priority"`
	Raised   string         `json:"raised"`
	Cleared  *string        `json:"cleared"`
	Message  string         `json:"message"`
	Caution  string         `json:"caution,omitempty"`
	Evidence map[string]any `json:"evidence"`
}

// Build makes the report of what a unit concluded in [from, to), see Within, at the named
// reference; estimates are those of the end. Lists are lists, also where they are empty.
func Build(u *pipeline.Unit, ref station.Reference, from, to station.Instant) *Report {
	within := Within(&u.Out, from, to)
	plate, o, est := u.Plate(), &within, &u.Status.Estimates
	r := &Report{Schema: 1, Site: plate.Key.Site, Station: plate.Key.Station, Reference: ref.String(), read: plate.Reading,
		States: []State{}, LeftOut: leftOut(u.Tally())}
	litre := ref.PerANR()
	r.Totals = totals(o.Minutes, o.Gaps, litre)
	r.Minutes, r.Gaps = minutes(o.Minutes, litre), gaps(o.Gaps)
	r.Estimates = estimates(est, litre)
	r.Blames = blames(&u.Status.Contradiction)
	r.contradiction = u.Status.Contradiction.In(plate.Reading)
	for _, i := range o.Intervals {
		r.States = append(r.States, State{i.State.String(), i.From.String(), i.To.String()})
	}
	if n := len(o.Intervals); n > 0 {
		r.From, r.To = o.Intervals[0].From.String(), o.Intervals[n-1].To.String()
	}
	if u.KeepStrokes {
		r.Strokes = []Stroke{}
	}
	for _, s := range o.Strokes {
		r.Strokes = append(r.Strokes, Stroke{s.At.String(), s.Side.String()})
	}
	r.Alarms = alarms(o.Transitions, from, to)
	return r
}

func scaled(v station.Microlitres, litre float64) *float64 {
	x := v.Litres() * litre
	return &x
}

func known(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

func minutes(ms []station.Minute, litre float64) []Minute {
	out := make([]Minute, 0, len(ms))
	for i := range ms {
		m := &ms[i]
		r := Minute{
			Minute: m.Start.String(), Covered: float64(m.Covered) / 1e9, Method: m.StrokeMethod.String(),
			Holding: float64(m.StateNs[station.Holding]) / 1e9, Starved: float64(m.StateNs[station.Starved]) / 1e9, Blind: float64(m.StateNs[station.Blind]) / 1e9,
			InletKPa: known(m.InletMean.KPa()), OutletKPa: known(m.OutletMean.KPa()), Reason: m.AirReason,
		}
		if d, ok := station.Duty(m.StateNs); ok {
			r.Duty = &d
		}
		if m.StrokeMethod != station.MethodNone {
			n := m.Strokes
			r.Strokes = &n
		}
		if m.AirReason == "" {
			r.Inlet, r.Exhaust, r.Delivered = scaled(m.Inlet, litre), scaled(m.Exhaust, litre), scaled(m.Delivered, litre)
		}
		if m.Leak.Known() {
			x := m.Leak.Value * 60e3 * litre
			r.Leak = &x
		}
		out = append(out, r)
	}
	return out
}

func gaps(list []station.Gap) []Gap {
	out := make([]Gap, len(list))
	for i, g := range list {
		out[i] = Gap{g.From.String(), g.To.String(), g.Minutes()}
	}
	return out
}

// assumedB is the critical pressure ratio for which the C of a supply is stated.
var assumedB = 0.3

func estimates(es *station.Estimates, litre float64) map[string]Estimate {
	out := make(map[string]Estimate, len(es))
	for f := range station.Figures {
		k := &station.Figures[f]
		if es[f].Absent && station.Figure(f) != station.VolumetricEfficiency {
			continue
		}
		factor := keyFactor(k)
		if k.Air {
			factor *= litre
		}
		e := estimate(&es[f], factor)
		if k.Law == station.OverRoot {
			e = forB(&es[f], factor)
		}
		out[k.Key] = e
	}
	return out
}

// forB states C/sqrt(1-b) as the C of a line with b = assumedB, and itself beside it.
func forB(e *station.Estimate, factor float64) Estimate {
	out := estimate(e, factor*math.Sqrt(1-assumedB))
	out.B = &assumedB
	if e.Known() {
		v := e.Value * factor
		out.OverRoot = &v
	}
	return out
}

// keyFactor returns the factor from a figure's SI unit to the unit that its key names.
// Ratios and energies are in SI there, not in the per cent and kJ that people read.
func keyFactor(k *station.FigureKind) float64 {
	if strings.HasSuffix(k.Key, "_ratio") || strings.HasSuffix(k.Key, "_j") {
		return 1
	}
	return k.Factor
}

func estimate(e *station.Estimate, factor float64) Estimate {
	if !e.Known() {
		return Estimate{Reason: e.Reason}
	}
	v, c := e.Value*factor, e.Confidence
	out := Estimate{Value: &v, Method: e.Method.String(), Confidence: &c}
	if e.From != 0 {
		out.From = e.From.String()
	}
	if e.At != 0 {
		out.At = e.At.String()
	}
	if e.Low != 0 || e.High != 0 {
		out.Band = &[2]float64{e.Low * factor, e.High * factor}
	}
	return out
}

// alarms pairs raising and clearing transitions of what was raised in [from, to).
func alarms(ts []rules.Transition, from, to station.Instant) []Alarm {
	out := []Alarm{}
	open := map[string]int{}
	for i := range ts {
		t := &ts[i]
		if t.To == rules.Unacknowledged && t.From != t.To {
			if t.At < from || to != 0 && t.At >= to {
				delete(open, t.Alarm)
				continue
			}
			open[t.Alarm] = len(out)
			out = append(out, Alarm{Alarm: t.Alarm, Priority: t.Priority.String(), Raised: t.At.String(),
				Message: t.Message, Caution: t.Caution, Evidence: evidence(t.Evidence)})
			continue
		}
		if k, ok := open[t.Alarm]; ok && t.From.Active() && !t.To.Active() {
			at := t.At.String()
			out[k].Cleared = &at
			delete(open, t.Alarm)
		}
	}
	return out
}

func evidence(es []rules.Evidence) map[string]any {
	m := map[string]any{}
	for _, e := range es {
		if e.Text != "" {
			m[e.Name] = e.Text
			continue
		}
		m[e.Name] = map[string]any{"value": e.Value, "unit": e.Unit}
	}
	return m
}
