package rules

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// piece is a part of a message: words, or a figure in a unit for people.
type piece struct {
	words    string
	quantity int // -1: words, or a text
	text     string
	unit     string
}

// fact is a figure of the evidence, under its own name or another.
type fact struct {
	name     string
	quantity int // -1: a text
	text     string
}

// shownIn are the units of messages: what an SI value is divided by, and decimals.
var shownIn = map[string]struct {
	unit     string // dimension
	by       float64
	decimals int
}{
	"kPa": {"Pa", 1e3, 0}, "%": {"1", 0.01, 0}, "L/min": {"m³/s", 1e-3 / 60, 1}, "min": {"s", 60, 0},
	"s": {"s", 1, 0}, "mm": {"m", 1e-3, 1}, "L": {"m³", 1e-3, 1}, "number": {"1", 1, 0}, "decimal": {"1", 1, 2},
}

// Units of messages that stand for the unit in which people of the site read pressures.
const (
	inReading    = "gauge"      // with its unit, and the word gauge
	inDifference = "difference" // with its unit
)

// message reads text with figures in braces, as in {outlet_pressure gauge} or {leak_flow L/min}.
// "gauge" and "difference" show a pressure in the site's unit, and write that unit.
func (r *reader) message(n *yaml.Node) []piece {
	var out []piece
	rest := n.Value
	for rest != "" {
		words, after, open := strings.Cut(rest, "{")
		if words != "" {
			out = append(out, piece{words: words, quantity: -1})
		}
		if !open {
			break
		}
		inside, next, closed := strings.Cut(after, "}")
		if !closed {
			r.fault(n.Line, n.Column, "a brace is not closed in the message")
			break
		}
		out = append(out, r.figure(n, inside))
		rest = next
	}
	return out
}

func (r *reader) figure(n *yaml.Node, inside string) piece {
	name, unit, _ := strings.Cut(inside, " ")
	if slices.Contains(texts, name) && unit == "" {
		return piece{quantity: -1, text: name}
	}
	q, ok := quantityOf(name)
	if !ok {
		r.fault(n.Line, n.Column, "%q is no quantity; nearest is %q", name, nearest(name, append(names(), texts...)))
		return piece{quantity: -1}
	}
	in, ok := shownIn[unit]
	if unit == inReading || unit == inDifference {
		in.unit, ok = "Pa", true
	}
	if !ok || in.unit != quantities[q].Unit {
		r.fault(n.Line, n.Column, "%s cannot be shown in %q: it is in %s", name, unit, shown(quantities[q].Unit))
	}
	return piece{quantity: q, unit: unit}
}

// facts reads the list of evidence: names, or `other name = name`.
func (r *reader) facts(n *yaml.Node) []fact {
	var out []fact
	for _, item := range n.Content {
		as, name, renamed := strings.Cut(item.Value, " = ")
		if !renamed {
			name = as
		}
		f := fact{name: as, quantity: -1, text: name}
		if q, ok := quantityOf(name); ok {
			f.quantity = q
		} else if !slices.Contains(texts, name) {
			r.fault(item.Line, item.Column, "%q is no quantity; nearest is %q", name, nearest(name, append(names(), texts...)))
		}
		out = append(out, f)
	}
	return out
}

// hasEnded is the message of an alarm that has ended and has none of its own for that.
const hasEnded = "The condition of this alarm has ended."

// say puts an alarm of the catalogue in words, with the figures of the newest step: as it stands,
// or, once it is over, as it has ended.
func (v *Evaluator) say(d *Definition, over bool) (string, []Evidence) {
	switch {
	case !over:
		return v.words(d.message), v.facts(d)
	case d.over == nil:
		return hasEnded, v.facts(d)
	}
	return v.words(d.over), v.facts(d)
}

// words returns the pieces of a message as text.
func (v *Evaluator) words(pieces []piece) string {
	var b strings.Builder
	for _, p := range pieces {
		switch {
		case p.text != "":
			b.WriteString(v.fact(p.text))
		case p.quantity < 0:
			b.WriteString(p.words)
		case !finite(v.now[p.quantity]):
			b.WriteString("unknown")
		default:
			b.WriteString(v.figure(p.unit, v.now[p.quantity]))
		}
	}
	return b.String()
}

// facts returns the evidence of an alarm of the catalogue.
func (v *Evaluator) facts(d *Definition) (evidence []Evidence) {
	for _, f := range d.evidence {
		switch {
		case f.quantity == qLeakCost, f.quantity == qInletLeakCost, f.quantity == qExtraCost:
			evidence = v.addCost(evidence, f)
		case f.quantity < 0:
			if text := v.fact(f.text); text != "" {
				evidence = append(evidence, Evidence{Name: f.name, Text: text})
			}
		case finite(v.now[f.quantity]):
			x := v.now[f.quantity]
			evidence = append(evidence, Evidence{Name: f.name, Value: x, Unit: quantities[f.quantity].Show, Shown: asRead(f.quantity, x, v.plate.Reading)})
		}
	}
	return evidence
}

// figure returns a value in a unit of messages.
func (v *Evaluator) figure(unit string, x float64) string {
	switch unit {
	case inReading:
		return v.plate.Reading.Gauge(x)
	case inDifference:
		return v.plate.Reading.Difference(x)
	}
	in := shownIn[unit]
	return strconv.FormatFloat(x/in.by, 'f', in.decimals, 64)
}

// finite reports whether a quantity can be shown: known, and no limit that is not given.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// fact returns one of texts.
func (v *Evaluator) fact(name string) string {
	s := v.last()
	switch name {
	case "state":
		return s.State.String()
	case "state_reason":
		return s.StateReason.In(v.plate.Reading)
	case "leak_method":
		return s.Estimates[station.LeakFlow].Method.String()
	case "leak_onset":
		if o := &s.Estimates[station.LeakOnset]; o.Known() {
			return station.Instant(o.Value * 1e9).Floor(station.Second).String()
		}
		return "not seen"
	case "leak_place":
		if s.LeakPlace == station.PlaceUnknown {
			return "not known"
		}
		return s.LeakPlace.String()
	case "shutdown_by":
		return v.shut.by.String()
	case "vented_by":
		return v.Past.Vents.VentedBy
	case "pressure_limit_of":
		_, of := pressureLimit(v.plate)
		return of
	case "relief_seen":
		return v.reliefSeen()
	case "leak_cost":
		return v.leakCost()
	case "beyond_base":
		return v.beyondBase()
	case "inlet_leak_cost":
		return v.inletLeakCost()
	case "count_compared":
		return v.countCompared()
	case "delivery_changed":
		return v.deliveryChanged()
	case "set_moved":
		return v.setMoved()
	case "contradiction":
		return s.Contradiction.In(v.plate.Reading)
	case "inspection_left":
		return v.inspectionLeft()
	case "step_since":
		return v.stepSince()
	case "step_draw":
		return v.stepDraw()
	case "step_cost":
		return v.stepCost()
	}
	return station.Blind.String()
}
