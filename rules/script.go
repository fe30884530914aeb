package rules

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// scriptStart is the event time at which scripts begin: 2026-01-01 UTC.
const scriptStart = station.Instant(1767225600 * station.Second)

// script is a course of events and the alarms it should raise. Each stretch of `course` sets
// quantities for a time, which keep their values until a later stretch changes them:
//
//	course:
//	  - {for: 60s, state: stroking, outlet_pressure: 900}
//	  - {for: 30s, outlet_pressure: {from: 900, to: 600}} # an even ramp over the stretch
//	  - {repeat: 60, course: [{for: 3s, state: stroking}, {for: 7s, state: holding}]}
//	  - {outlet_pressure: unknown} # the last one lasts until the script ends
type script struct {
	name              string
	step              int64 // ns
	plate             map[string]float64
	course            course
	alarms            string // the plate's changes of the catalogue
	calendar, service string // of the plate
	expect            []expectation
	says              []saying
}

// expectation is the states of alarms at a time: those not named are normal.
type expectation struct {
	line, column int
	at           int64 // ns after the start
	states       map[string]string
}

// saying is a person's command at a time.
type saying struct {
	line, column int
	at           int64
	command      station.Command
	until        int64  // ns after the start, 0: none
	refused      string // part of the refusal that is expected
}

// Outcome is how one script went.
type Outcome struct {
	Name   string
	Faults []string // with file, line and column
}

// RunScripts reads a file of scripts and plays each.
func RunScripts(file string, text []byte) ([]Outcome, error) {
	scripts, err := readScripts(file, text)
	if err != nil {
		return nil, err
	}
	var out []Outcome
	for i := range scripts {
		out = append(out, Outcome{Name: scripts[i].name, Faults: scripts[i].play(file)})
	}
	return out, nil
}

func readScripts(file string, text []byte) ([]script, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(doc.Content) == 0 {
		return nil, fmt.Errorf("%s:1:1: no scripts: begin with `scripts:`", file)
	}
	r := &reader{file: file}
	var all []script
	r.object(doc.Content[0], fields{"scripts": func(n *yaml.Node) {
		for _, item := range n.Content {
			all = append(all, r.script(item))
		}
	}})
	if len(all) == 0 && len(r.faults) == 0 {
		r.fault(1, 1, "no scripts in this file")
	}
	return all, errors.Join(r.faults...)
}

func (r *reader) script(n *yaml.Node) script {
	s := script{step: station.Second, plate: map[string]float64{}}
	r.known = catalogue
	if list := valueOf(n, "alarms"); list != nil { // first: expectations name its alarms
		s.alarms = r.policy(list)
	}
	r.object(n, fields{
		"alarms":   func(*yaml.Node) {},
		"calendar": func(n *yaml.Node) { s.calendar = r.scriptCalendar(n) },
		"service":  func(n *yaml.Node) { s.service = r.scriptService(n) },
		"name":     r.text(&s.name),
		"step":     r.duration(&s.step),
		"plate": func(n *yaml.Node) {
			r.pairs(n, plateNames(), func(k, v *yaml.Node) { s.plate[k.Value] = r.plateValue(k.Value, v) })
		},
		"course": func(*yaml.Node) {},
		"say": func(n *yaml.Node) {
			for _, item := range n.Content {
				s.says = append(s.says, r.saying(item))
			}
		},
		"expect": func(n *yaml.Node) {
			for _, item := range n.Content {
				s.expect = append(s.expect, r.expectation(item))
			}
		},
	})
	if s.step <= 0 {
		r.fault(n.Line, n.Column, "the step must be longer than nothing")
		s.step = station.Second
	}
	if course := valueOf(n, "course"); course != nil { // last: its durations are multiples of the step
		s.course = r.course(course, s.step, true)
	}
	if len(s.expect) == 0 {
		r.fault(n.Line, n.Column, "the script %q expects nothing", s.name)
	}
	return s
}

// policy reads a script's changes of the catalogue, as a configuration's.
func (r *reader) policy(n *yaml.Node) string {
	p, err := ReadPolicy(r.file, n)
	if err != nil {
		r.faults = append(r.faults, err)
		return ""
	}
	for _, e := range p.entries {
		r.merge(e.node)
	}
	return p.For(scriptKey, "")
}

// pairs hands the pairs of a mapping on whose keys are known.
func (r *reader) pairs(n *yaml.Node, known []string, read func(k, v *yaml.Node)) {
	f := fields{}
	for _, name := range known {
		f[name] = func(v *yaml.Node) { read(&yaml.Node{Value: name}, v) }
	}
	r.object(n, f)
}

func (r *reader) plateValue(name string, n *yaml.Node) float64 {
	if name == "inspection" {
		d := dateOf(n.Value)
		if d.at == 0 {
			r.fault(n.Line, n.Column, "%q is no date: write it like 2026-12-31", n.Value)
		}
		return float64(d.at)
	}
	x, err := strconv.ParseFloat(n.Value, 64)
	if err != nil {
		r.fault(n.Line, n.Column, "%q is no number", n.Value)
	}
	return x
}

func (r *reader) expectation(n *yaml.Node) expectation {
	e := expectation{line: n.Line, column: n.Column, states: map[string]string{}}
	r.object(n, fields{"at": r.duration(&e.at), "alarms": func(n *yaml.Node) {
		r.pairs(n, namesOf(r.known), func(k, v *yaml.Node) {
			if i := r.among(v, alarmStateNames[:]); i != int(Normal) {
				e.states[k.Value] = alarmStateNames[i]
			}
		})
	}})
	return e
}

func (r *reader) saying(n *yaml.Node) saying {
	s := saying{line: n.Line, column: n.Column}
	r.object(n, fields{
		"at":      r.duration(&s.at),
		"command": func(n *yaml.Node) { s.command.Kind = Commands()[r.among(n, Commands())] },
		"alarm":   r.text(&s.command.Alarm), "by": r.text(&s.command.By), "note": r.text(&s.command.Note),
		"until": r.duration(&s.until), "refused": r.text(&s.refused),
	})
	return s
}

// play runs the script and gives what went otherwise.
func (s *script) play(file string) []string {
	var faults []string
	plate := s.plateOf()
	v := NewEvaluator(&plate, func(*Transition) {})
	st := newScripted(s)
	said, asked := 0, 0
	for now := int64(0); asked < len(s.expect); now += s.step {
		if now > 400*24*3600*station.Second {
			return append(faults, fmt.Sprintf("%s: expectations must be in order of time, within 400 days", file))
		}
		st.step(v, now)
		for said < len(s.says) && s.says[said].at <= now {
			faults = append(faults, s.says[said].say(file, v, now)...)
			said++
		}
		for asked < len(s.expect) && s.expect[asked].at <= now {
			faults = append(faults, s.expect[asked].compare(file, v)...)
			asked++
		}
	}
	return faults
}

func (s *saying) say(file string, v *Evaluator, now int64) []string {
	c := s.command
	if s.until != 0 {
		c.Until = scriptStart.Add(s.until)
	}
	err := v.Command(&c, scriptStart.Add(now))
	switch {
	case err == nil && s.refused != "":
		return []string{fmt.Sprintf("%s:%d:%d: the command was taken; it should be refused with %q", file, s.line, s.column, s.refused)}
	case err != nil && (s.refused == "" || !strings.Contains(err.Error(), s.refused)):
		return []string{fmt.Sprintf("%s:%d:%d: %v", file, s.line, s.column, err)}
	}
	return nil
}

func (e *expectation) compare(file string, v *Evaluator) []string {
	var faults []string
	for i := range v.Alarms {
		want := Normal.String()
		if w, ok := e.states[v.Names[i]]; ok {
			want = w
		}
		if got := v.Alarms[i].State.String(); got != want {
			faults = append(faults, fmt.Sprintf("%s:%d:%d: after %s %s is %s, expected %s",
				file, e.line, e.column, time.Duration(e.at), v.Names[i], got, want))
		}
	}
	return faults
}
