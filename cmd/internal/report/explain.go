package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// Explained says how a figure was obtained: in the unit that people read, air at the
// report's reference.
type Explained struct {
	Title      string      `json:"title"`
	What       string      `json:"what"`
	Value      *float64    `json:"value"`
	Unit       string      `json:"unit,omitempty"`
	Band       *[2]float64 `json:"band,omitempty"`
	Said       string      `json:"said,omitempty"` // of what is no number
	Method     string      `json:"method,omitempty"`
	Confidence *float64    `json:"confidence,omitempty"`
	From       string      `json:"from,omitempty"`
	At         string      `json:"at,omitempty"`
	Reason     string      `json:"reason,omitempty"` // why it is unknown
	Needs      string      `json:"needs,omitempty"`  // what would make it known
	Formula    string      `json:"formula"`
	Source     string      `json:"source"`
	Inputs     []Input     `json:"inputs"`
	key        string
	places     int
	shown      string  // unit in the table
	scale      float64 // from Unit to it
}

// Input is something that a figure was obtained from.
type Input struct {
	Name   string   `json:"name"`
	Value  *float64 `json:"value,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Text   string   `json:"text,omitempty"`
	Origin string   `json:"origin"`
	Source string   `json:"source,omitempty"`
	line   string
}

// Explain adds to the report how its figures were obtained.
func (r *Report) Explain(u *pipeline.Unit, ref station.Reference) {
	r.How = make(map[string]*Explained)
	for _, x := range u.Explain() {
		e := explained(&x, ref, r.read)
		r.sum(&x, e, ref)
		r.How[x.Key] = e
		r.told = append(r.told, e)
	}
}

// explained returns an explanation with air at the reference; read is the unit of the table's pressures.
func explained(x *station.Explanation, ref station.Reference, read station.Reading) *Explained {
	e := &Explained{Title: x.Title, What: x.What, Said: x.Said, Formula: x.Formula, Source: x.Source, Inputs: []Input{}, key: x.Key, places: x.Places, scale: 1}
	for _, i := range x.Inputs {
		shown := read.Input(i)
		in := Input{Name: i.Name, Unit: i.Unit, Text: i.Text, Origin: i.Origin.String(), Source: i.Source, line: shown.Line()}
		if i.Text == "" {
			v := i.Value
			in.Value = &v
		}
		e.Inputs = append(e.Inputs, in)
	}
	if x.Factor == 0 {
		return e // a sum
	}
	factor := x.Factor
	e.Unit = x.Unit
	if x.Air {
		factor *= ref.PerANR()
		e.Unit += " " + named(ref)
	}
	o := estimate(&x.Estimate, factor)
	e.shown = e.Unit
	if f, ok := station.FigureOf(x.Name); ok && station.Figures[f].Unit == "Pa" {
		var si float64
		e.shown, si, e.places = read.Figure(&station.Figures[f])
		e.scale = si / factor
	}
	e.Value, e.Band, e.Method, e.Confidence, e.From, e.At, e.Reason, e.Needs = o.Value, o.Band, o.Method, o.Confidence, o.From, o.At, o.Reason, x.Needs
	return e
}

// sum puts in what the report's totals say.
func (r *Report) sum(x *station.Explanation, e *Explained, ref station.Reference) {
	t := &r.Totals
	airs := map[string]*float64{"delivered_air": t.Delivered, "exhaust_air": t.Exhaust, "inlet_air": t.Inlet}
	switch air := strings.HasSuffix(x.Name, "_air"); {
	case air:
		e.summed(t.AirOf)
	case x.Name == "strokes":
		e.summed(t.StrokesOf)
	}
	switch {
	case x.Name == "strokes" && t.Strokes != nil:
		n := float64(*t.Strokes)
		e.Value = &n
	case x.Name == "strokes":
		e.Reason = t.Reason["strokes"]
	case x.Name == "duty" && t.Duty != nil:
		d := 100 * *t.Duty
		e.Value, e.Unit, e.shown, e.places = &d, "%", "%", 1
	case x.Name == "duty":
		e.Reason = t.Reason["duty"]
	case strings.HasSuffix(x.Name, "_air") && airs[x.Name] != nil:
		e.Value, e.Unit, e.shown, e.places = airs[x.Name], "L "+named(ref), "L "+named(ref), 1
		e.Band = map[string]*[2]float64{"delivered_air": t.DeliveredBand, "inlet_air": t.InletBand}[x.Name]
	case strings.HasSuffix(x.Name, "_air"):
		e.Reason, e.Needs = t.Reason["air"], x.Needs
	}
}

// summed adds to the inputs of a sum over which minutes it was taken, where that is not all.
func (e *Explained) summed(of [2]int) {
	if of[0] == 0 || of[0] == of[1] {
		return
	}
	in := station.Input{Name: "summed over the minutes in which it is known", Text: partly(of), Origin: station.Computed}
	e.Inputs = append(e.Inputs, Input{Name: in.Name, Text: in.Text, Origin: in.Origin.String(), line: in.Line()})
}

// explainRows writes how each figure was obtained.
func (r *Report) explainRows(w io.Writer) {
	if r.told == nil {
		return
	}
	fmt.Fprintf(w, "\nHow each figure was obtained (as of the trace's end)\n")
	for _, e := range r.told {
		fmt.Fprintf(w, "\n%s: %s\n  %s\n", e.Title, e.value(), e.What)
		line(w, "method", e.Method)
		if e.Confidence != nil {
			line(w, "confidence", strconv.FormatFloat(*e.Confidence, 'f', 2, 64))
		}
		line(w, "window from", e.From)
		line(w, "as of", e.At)
		line(w, "would be known by", e.Needs)
		line(w, "formula", e.Formula)
		line(w, "source", e.Source)
		for i := range e.Inputs {
			fmt.Fprintf(w, "  input: %s\n", e.Inputs[i].line)
		}
	}
}

func line(w io.Writer, name, text string) {
	if text != "" {
		fmt.Fprintf(w, "  %s: %s\n", name, text)
	}
}

// value gives the value with unit and band, or why it is unknown.
func (e *Explained) value() string {
	switch {
	case e.Said != "":
		return e.Said
	case e.Value == nil:
		return "unknown: " + e.Reason
	}
	text := strings.TrimSpace(fmt.Sprintf("%.*f %s", e.places, *e.Value*e.scale, e.shown))
	if e.Band != nil {
		text += fmt.Sprintf(" (90 %%: %.*f to %.*f)", e.places, e.Band[0]*e.scale, e.places, e.Band[1]*e.scale)
	}
	return text
}

// named gives the reference as people write it.
func named(ref station.Reference) string {
	if ref == station.ANR {
		return "ANR"
	}
	return ref.String()
}
