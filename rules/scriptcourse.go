package rules

import (
	"math"
	"strconv"
	"time"

	"go.yaml.in/yaml/v3"
)

// mostSteps bounds the steps of a course: 115 days of seconds. Common practice, no source.
const mostSteps = 1e7

// course is what a station shows, step by step: one stretch after another.
type course struct {
	stretches []stretch
	steps     int
}

// stretch is a part of a course: quantities over a number of steps, or a course that is
// repeated until those steps are over.
type stretch struct {
	steps    int
	values   map[string]ramp
	repeated *course
}

// ramp is a value that changes evenly from one step to the next. Where both ends are equal it
// is constant; NaN is unknown.
type ramp struct{ from, to float64 }

// at returns the stretch that holds a step, and the step within it; nil after the end.
func (c *course) at(step int) (*stretch, int) {
	for i := range c.stretches {
		s := &c.stretches[i]
		switch {
		case step >= s.steps:
			step -= s.steps
		case s.repeated != nil:
			return s.repeated.at(step % s.repeated.steps)
		default:
			return s, step
		}
	}
	return nil, 0
}

// at returns the value at a step of a stretch: `from` at the first one, `to` at the last one.
func (x ramp) at(step, steps int) float64 {
	if x.from == x.to {
		return x.from
	}
	return x.from + (x.to-x.from)*float64(step)/float64(steps-1)
}

// course reads a list of stretches. The last one of an open course may last without end.
func (r *reader) course(n *yaml.Node, step int64, open bool) course {
	var c course
	if n.Kind != yaml.SequenceNode || len(n.Content) == 0 {
		r.fault(n.Line, n.Column, "a course is a list of stretches, as in [{for: 60s, leak_flow: 5}, {leak_flow: 30}]")
		return c
	}
	for i, item := range n.Content {
		s := r.stretch(item, step, open && i == len(n.Content)-1)
		c.stretches = append(c.stretches, s)
		if s.steps == math.MaxInt {
			break
		}
		if c.steps += s.steps; c.steps > mostSteps {
			r.fault(item.Line, item.Column, "the course exceeds %d steps here: shorten it or set a longer `step`", int(mostSteps))
			return course{steps: 1}
		}
	}
	return c
}

// stretch reads quantities with a duration, or a course with how often it is repeated.
func (r *reader) stretch(n *yaml.Node, step int64, last bool) stretch {
	var lasts, repeat, inner *yaml.Node
	s := stretch{steps: 1, values: map[string]ramp{}}
	var values []func() // that read them once the duration is known
	f := fields{
		"for":    func(n *yaml.Node) { lasts = n },
		"repeat": func(n *yaml.Node) { repeat = n },
		"course": func(n *yaml.Node) { inner = n },
	}
	for _, name := range scriptQuantityNames() {
		f[name] = func(n *yaml.Node) {
			values = append(values, func() { s.values[name] = r.ramp(name, n, s.steps) })
		}
	}
	before := len(r.faults)
	r.object(n, f)
	switch {
	case len(r.faults) > before:
		return s
	case repeat != nil || inner != nil:
		return r.repetition(n, repeat, inner, step, lasts != nil || len(values) > 0)
	case lasts != nil:
		s.steps = r.steps(lasts, step)
	case last:
		s.steps = math.MaxInt
	default:
		r.fault(n.Line, n.Column, "this stretch lacks `for`: only the last one of a script lasts until its end")
	}
	for _, read := range values {
		read()
	}
	return s
}

// repetition reads a course that is repeated. A faulty one lasts a step, so that reading goes on.
func (r *reader) repetition(n, repeat, inner *yaml.Node, step int64, more bool) stretch {
	faulty := stretch{steps: 1}
	if repeat == nil || inner == nil || more {
		r.fault(n.Line, n.Column, "write a repetition as {repeat: 3, course: [...]}, without other keys")
		return faulty
	}
	before := len(r.faults)
	c := r.course(inner, step, false)
	times, err := strconv.Atoi(repeat.Value)
	switch {
	case err != nil || times < 1:
		r.fault(repeat.Line, repeat.Column, "%q is no number of repetitions: write 1 or more", repeat.Value)
	case len(r.faults) > before:
	case times > mostSteps/c.steps:
		r.fault(repeat.Line, repeat.Column, "the course exceeds %d steps here: repeat it less often or set a longer `step`", int(mostSteps))
	default:
		return stretch{steps: times * c.steps, repeated: &c}
	}
	return faulty
}

// steps reads how long a stretch lasts, in steps.
func (r *reader) steps(n *yaml.Node, step int64) int {
	d := int64(-1)
	r.duration(&d)(n)
	switch {
	case d < 0:
	case d == 0 || d%step != 0:
		r.fault(n.Line, n.Column, "%s is no multiple of the step of %v", n.Value, time.Duration(step))
	default:
		return int(min(d/step, mostSteps+1))
	}
	return 1
}

// ramp reads the value of a quantity over a stretch: constant, or {from: a, to: b}.
func (r *reader) ramp(name string, n *yaml.Node, steps int) ramp {
	if n.Kind != yaml.MappingNode {
		x := r.scriptValue(name, n)
		return ramp{x, x}
	}
	var x ramp
	before := len(r.faults)
	have := r.object(n, fields{
		"from": func(n *yaml.Node) { x.from = r.number(n, "number") },
		"to":   func(n *yaml.Node) { x.to = r.number(n, "number") },
	})
	switch {
	case len(r.faults) > before:
	case name == "state":
		r.fault(n.Line, n.Column, "a state has no ramp: name one state")
	case have["from"] == nil || have["to"] == nil:
		r.fault(n.Line, n.Column, "a ramp has two ends: write it like {from: 900, to: 0}")
	case steps < 2 || steps == math.MaxInt:
		r.fault(n.Line, n.Column, "a ramp needs a stretch with `for` of two steps at least")
	}
	return x
}

// scriptValue reads a state, a number, yes, no or unknown; the last is NaN.
func (r *reader) scriptValue(name string, n *yaml.Node) float64 {
	if name == "state" {
		return float64(r.among(n, stateNames()))
	}
	switch n.Value {
	case "unknown":
		return math.NaN()
	case "yes":
		return 1
	case "no":
		return 0
	}
	return r.number(n, "number, yes, no or unknown")
}

// number reads a finite number. Its fault names what could stand there.
func (r *reader) number(n *yaml.Node, wanted string) float64 {
	x, err := strconv.ParseFloat(n.Value, 64)
	if err != nil || math.IsNaN(x-x) {
		r.fault(n.Line, n.Column, "%q is no %s", n.Value, wanted)
	}
	return x
}
