package rules

import (
	"math"
	"strings"

	"strokewise/analyzer/station"
)

// steady is the slope, Pa/s, below which a pressure counts as steady: 0.1 kPa/min, half a
// kilopascal over the five minutes looked at (a usual sensor's resolution; no source).
const steady = 100.0 / 60

// Progress is the pressure that a standing alarm is about: when it was raised, now, and how it
// moves. A value that is not known is NaN.
type Progress struct {
	Quantity string          // its name in conditions
	Raised   float64         // Pa gauge, when the alarm was raised
	Now      float64         // Pa gauge, at At
	At       station.Instant // of the newest step
	Slope    float64         // Pa/s, over the last minutes
	Unit     station.Reading // that people read
	Message  string          // what the alarm says now, "" where it says the same as when it was raised
}

// String returns the progress in words: "983 kPa gauge when raised, 905 now, falling 4.0 kPa/min",
// and "" where neither value is known.
func (r *Progress) String() string {
	if !finite(r.Raised) && !finite(r.Now) {
		return ""
	}
	raised, now := "not known when raised", "not known now"
	if finite(r.Raised) {
		raised = r.Unit.Gauge(r.Raised) + " when raised"
	}
	switch {
	case finite(r.Now) && finite(r.Raised):
		now = r.Unit.Number(r.Now) + " now"
	case finite(r.Now):
		now = r.Unit.Gauge(r.Now) + " now"
	}
	text := raised + ", " + now
	if finite(r.Now) && finite(r.Slope) && !(r.Now < ChargedMin && r.Slope < 0) { // near atmosphere nothing falls on
		text += ", " + r.moves()
	}
	return text
}

// moves puts the slope in words.
func (r *Progress) moves() string {
	verb := "falling"
	switch {
	case math.Abs(r.Slope) < steady:
		return "steady"
	case r.Slope > 0:
		verb = "rising"
	}
	return verb + " " + r.Unit.Slope(math.Abs(r.Slope))
}

// followed are the quantities that alarms are followed by.
var followed = [...]string{"outlet_pressure", "inlet_pressure", "header_static"}

// pressure returns the quantity that an alarm is about: of those in followed, the first that its
// message holds; -1 where it holds none.
func (d *Definition) pressure() int {
	switch d.Name {
	case PressureLeft:
		return qOutlet
	case InletPressureLeft, PressureReturned:
		return qInlet
	}
	for i := range d.message {
		q := d.message[i].quantity
		if q < 0 {
			continue
		}
		for _, name := range followed {
			if quantities[q].Name == name {
				return q
			}
		}
	}
	return -1
}

// value returns a followed quantity at the newest step, NaN where it is not known now.
func (v *Evaluator) value(d *Definition, q int) float64 {
	if v.Silent || !v.HaveStep || d.Name == PressureLeft && v.plate.Sensor == station.AtBranch {
		return math.NaN()
	}
	return v.now[q]
}

// atRaise returns the value to remember of an alarm that is raised now.
func (v *Evaluator) atRaise(i int) float64 {
	if q := v.set[i].pressure(); q >= 0 {
		return v.value(&v.set[i], q)
	}
	return math.NaN()
}

// Now returns the progress of an alarm that is not normal, false where nothing of it changes while it
// stands: it is about no pressure, and its words are those of the catalogue.
func (v *Evaluator) Now(alarm string) (Progress, bool) {
	i := v.index(alarm)
	if i < 0 || v.Alarms[i].State == Normal || v.Alarms[i].Raised == 0 {
		return Progress{}, false
	}
	r, ok := v.progress(i)
	if say := v.wordsOf(i); say != nil && v.Alarms[i].Present && v.HaveStep {
		r.Message, _ = say(v)
		ok = true
	}
	return r, ok
}

func (v *Evaluator) progress(i int) (Progress, bool) {
	d := &v.set[i]
	q := d.pressure()
	if q < 0 {
		return Progress{Raised: math.NaN(), Now: math.NaN(), Slope: math.NaN(), At: v.last().At}, false
	}
	r := Progress{Quantity: quantities[q].Name, Raised: v.Alarms[i].AtRaise, Now: v.value(d, q), At: v.last().At, Slope: math.NaN(), Unit: v.plate.Reading}
	if finite(r.Now) {
		switch q {
		case qOutlet:
			r.Slope = v.OutletTrend.slope()
		case qInlet:
			r.Slope = v.InletTrend.slope()
		}
	}
	return r, true
}

// what returns the name of the quantity in a message.
func (r *Progress) what() string {
	switch r.Quantity {
	case "inlet_pressure":
		return "Inlet"
	case "header_static":
		return "Header at rest"
	}
	return "Outlet"
}

// evidence returns the progress for what is told of an alarm after its raise.
func (r *Progress) evidence() []Evidence {
	var out []Evidence
	for _, e := range [...]Evidence{{Name: r.Quantity + whenRaised, Value: r.Raised, Unit: "Pa gauge"},
		{Name: r.Quantity + whatNow, Value: r.Now, Unit: "Pa gauge"}, {Name: r.Quantity + whatSlope, Value: r.Slope, Unit: "Pa/s"}} {
		if finite(e.Value) {
			out = append(out, e)
		}
	}
	if text := r.String(); text != "" {
		out = append(out, Evidence{Name: progressWords, Text: r.what() + ": " + text + "."})
	}
	return out
}

// progressWords is the name of the evidence that holds the progress in words.
const progressWords = "progress"

// Said returns the message of a transition with the progress of its alarm's pressure, as it is sent
// to people.
func (t *Transition) Said() string {
	for _, e := range t.Evidence {
		if e.Name == progressWords && t.Message != "" {
			return t.Message + " " + e.Text
		}
	}
	return t.Message
}

// What ends the names of the evidence that holds the value at the raise, the present one and how
// it moves.
const (
	whenRaised = "_when_raised"
	whatNow    = "_now"
	whatSlope  = "_slope"
)

// raisedAt returns the value at the raise that a transition's evidence holds, NaN for none.
func raisedAt(t *Transition) float64 {
	for _, e := range t.Evidence {
		name, after := strings.CutSuffix(e.Name, whenRaised)
		for _, q := range followed {
			if name == q && e.Text == "" && (after || t.At == t.Raised) {
				return e.Value
			}
		}
	}
	return math.NaN()
}
