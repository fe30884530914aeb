package rules

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// reader reads one catalogue file and gathers its faults.
type reader struct {
	file   string
	known  []Definition // that entries may override
	faults []error
}

// fault notes that something is wrong at a node, n letters into it.
func (r *reader) fault(line, column int, format string, args ...any) {
	r.faults = append(r.faults, &Fault{r.file, line, column, fmt.Sprintf(format, args...)})
}

// Fault is something wrong in a file of alarms or scripts.
type Fault struct {
	File         string
	Line, Column int
	What         string
}

// Error gives "file:line:column: what is wrong".
func (f *Fault) Error() string { return fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.What) }

// parse reads a list of alarms under the key `alarms`. All faults are told at once.
func parse(file string, text []byte) ([]Definition, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	r := &reader{file: file}
	var defs []Definition
	if len(doc.Content) == 0 {
		return nil, fmt.Errorf("%s:1:1: no alarms: begin with `alarms:`", file)
	}
	r.object(doc.Content[0], fields{"alarms": func(n *yaml.Node) {
		if n.Kind != yaml.SequenceNode {
			r.fault(n.Line, n.Column, "alarms is a list: write one alarm under each `-`")
			return
		}
		for _, item := range n.Content {
			defs = append(defs, r.definition(item))
		}
	}})
	return defs, errors.Join(r.faults...)
}

// fields are the keys of an object and who reads them.
type fields map[string]func(*yaml.Node)

// object hands each value of a mapping to its reader and refuses other keys.
func (r *reader) object(n *yaml.Node, known fields) (have map[string]*yaml.Node) {
	have = map[string]*yaml.Node{}
	if n.Kind != yaml.MappingNode {
		r.fault(n.Line, n.Column, "keys with values are wanted here")
		return have
	}
	var all []string
	for k := range known {
		all = append(all, k)
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		read, ok := known[k.Value]
		switch {
		case !ok:
			hint := ""
			if near := nearest(k.Value, all); near != "" {
				hint = fmt.Sprintf("; did you mean %q?", near)
			}
			r.fault(k.Line, k.Column, "unknown key %q%s", k.Value, hint)
		case have[k.Value] != nil:
			r.fault(k.Line, k.Column, "%s is given twice", k.Value)
		default:
			have[k.Value] = v
			read(v)
		}
	}
	return have
}

// usualShelving is how long an alarm may be shelved that says nothing else, ns.
const usualShelving = 7 * 24 * 60 * station.Minute60

// definition reads an alarm, or what an entry changes of one that is known.
func (r *reader) definition(n *yaml.Node) Definition {
	d := Definition{ShelveAtMost: usualShelving}
	if i := slices.IndexFunc(r.known, func(k Definition) bool { return k.Name == nameOf(n) }); i >= 0 {
		d = r.known[i]
		r.change(n, &d)
		return d
	}
	have := r.object(n, r.keys(&d))
	switch {
	case have["priority"] != nil:
	case have["severity"] != nil && have["respond_within"] != nil:
		d.Priority = PriorityOf(d.Severity, d.RespondNs)
	default:
		r.fault(n.Line, n.Column, "%s lacks priority: give it, or severity and respond_within, from which it follows", d.Name)
	}
	for _, k := range []string{"name", "consequence", "causes", "check_first", "respond_in", "caution", "runbook"} {
		if have[k] == nil {
			r.fault(n.Line, n.Column, "%s lacks %s", d.Name, k)
		}
	}
	r.judge(n, &d)
	return d
}

// keys are the keys of an alarm and where they go.
func (r *reader) keys(d *Definition) fields {
	return fields{
		"name":                r.text(&d.Name),
		"priority":            r.priority(&d.Priority),
		"severity":            func(n *yaml.Node) { d.Severity = Severity(r.among(n, severityNames)) },
		"respond_within":      r.duration(&d.RespondNs),
		"priority_charged":    r.priority(&d.PriorityCharged),
		"condition":           r.condition(&d.Condition, &d.raise),
		"clear":               r.condition(&d.Clear, &d.clear),
		"code":                r.text(&d.Code),
		"delay":               r.duration(&d.DelayNs),
		"fail_safe":           func(n *yaml.Node) { d.FailSafe = r.among(n, []string{"false", "true"}) == 1 },
		"shelve_at_most":      r.duration(&d.ShelveAtMost),
		"frozen_in":           r.states(&d.FrozenIn, &d.frozen),
		"suppressed_in":       r.states(&d.SuppressedIn, &d.suppressed),
		"suppress_for":        r.duration(&d.SuppressNs),
		"remind":              r.duration(&d.RemindNs),
		"remind_acknowledged": r.duration(&d.RemindAckNs),
		"explained_by":        r.list(&d.ExplainedBy),
		"message":             func(n *yaml.Node) { d.message = r.message(n) },
		"over":                func(n *yaml.Node) { d.over = r.message(n) },
		"evidence":            func(n *yaml.Node) { d.evidence = r.facts(n) },
		"consequence":         r.text(&d.Consequence),
		"causes":              r.list(&d.Causes),
		"check_first":         r.text(&d.CheckFirst),
		"respond_in":          r.text(&d.RespondIn),
		"caution":             r.text(&d.Caution),
		"runbook":             r.text(&d.Runbook),
	}
}

// judge looks at what keys mean together.
func (r *reader) judge(n *yaml.Node, d *Definition) {
	switch {
	case (d.Condition == "") == (d.Code == ""):
		r.fault(n.Line, n.Column, "%s needs a condition", d.Name)
	case d.Condition != "" && d.message == nil:
		r.fault(n.Line, n.Column, "%s lacks message", d.Name)
	case d.FailSafe && len(d.SuppressedIn)+len(d.ExplainedBy) > 0:
		r.fault(n.Line, n.Column, "%s is fail-safe: it cannot be suppressed or explained away", d.Name)
	case len(d.SuppressedIn) > 0 && d.SuppressNs == 0:
		r.fault(n.Line, n.Column, "%s: suppression needs an end: give suppress_for", d.Name)
	}
}

func (r *reader) priority(to *Priority) func(*yaml.Node) {
	return func(n *yaml.Node) { *to = Priority(r.among(n, priorityNames)) }
}

func (r *reader) text(to *string) func(*yaml.Node) {
	return func(n *yaml.Node) {
		if n.Kind != yaml.ScalarNode || strings.TrimSpace(n.Value) == "" {
			r.fault(n.Line, n.Column, "text is wanted here")
			return
		}
		*to = strings.TrimSpace(n.Value)
	}
}

func (r *reader) list(to *[]string) func(*yaml.Node) {
	return func(n *yaml.Node) {
		if n.Kind != yaml.SequenceNode || len(n.Content) == 0 {
			r.fault(n.Line, n.Column, "a list is wanted here")
			return
		}
		*to = nil
		for _, item := range n.Content {
			var s string
			r.text(&s)(item)
			*to = append(*to, s)
		}
	}
}

func (r *reader) duration(to *int64) func(*yaml.Node) {
	return func(n *yaml.Node) {
		d, err := time.ParseDuration(n.Value)
		if err != nil || d < 0 {
			r.fault(n.Line, n.Column, "%q is no time: write it like 30s, 10m or 12h", n.Value)
			return
		}
		*to = int64(d)
	}
}

// among gives the place of a word in a list.
func (r *reader) among(n *yaml.Node, words []string) int {
	i := slices.Index(words, n.Value)
	if i >= 0 {
		return i
	}
	hint := ""
	if near := nearest(n.Value, words); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	r.fault(n.Line, n.Column, "%q is none of %s%s", n.Value, strings.Join(words, ", "), hint)
	return 0
}

// stateNames returns the names of all states, in their order.
func stateNames() []string {
	var names []string
	for s := range station.NumStates {
		names = append(names, s.String())
	}
	return names
}

func (r *reader) states(to *[]station.State, flags *[station.NumStates]bool) func(*yaml.Node) {
	words := stateNames()
	return func(n *yaml.Node) {
		if n.Kind != yaml.SequenceNode {
			r.fault(n.Line, n.Column, "a list of states is wanted here, as in [charging, venting]")
			return
		}
		*to, *flags = nil, [station.NumStates]bool{}
		for _, item := range n.Content {
			s := station.State(r.among(item, words))
			*to = append(*to, s)
			flags[s] = true
		}
	}
}

func (r *reader) condition(source *string, x **expression) func(*yaml.Node) {
	return func(n *yaml.Node) {
		*source = ""
		if r.text(source)(n); *source == "" {
			return
		}
		got, err := compile(strings.TrimRight(n.Value, "\n"))
		var p *place
		if errors.As(err, &p) {
			line, column := within(n, p.line, p.column)
			r.fault(line, column, "%s", p.what)
			return
		}
		*x = got
	}
}

// within gives where in the file the line and column of a scalar's text are. In folded
// and block text the column is that of the text without its indentation.
func within(n *yaml.Node, line, column int) (int, int) {
	switch {
	case n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		return n.Line + line, column
	case n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0:
		column++
	}
	return n.Line + line - 1, n.Column + column - 1
}

// link resolves the alarms that explain others.
func link(defs []Definition) error {
	var faults []error
	var all []string
	for i := range defs {
		if slices.Contains(all, defs[i].Name) {
			faults = append(faults, fmt.Errorf("%s is defined twice", defs[i].Name))
		}
		all = append(all, defs[i].Name)
	}
	for i := range defs {
		d := &defs[i]
		d.explained = nil
		for _, e := range d.ExplainedBy {
			j := slices.Index(all, e)
			if j < 0 || j == i {
				faults = append(faults, fmt.Errorf("%s is explained by %q, which is no other alarm; nearest is %q", d.Name, e, nearest(e, all)))
				continue
			}
			d.explained = append(d.explained, j)
		}
	}
	return errors.Join(faults...)
}
