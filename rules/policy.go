package rules

import (
	"errors"
	"fmt"
	"slices"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// Policy is what a site changes of the catalogue: a list of entries. One with the name of
// an alarm changes the keys that it gives, another one is an alarm of the site's own, with
// every key. `sites`, `branches` and `stations` limit it to these; later entries win.
type Policy struct {
	entries []policyEntry
	known   []Definition // the catalogue with all entries, whatever limits them
}

type policyEntry struct {
	node                      *yaml.Node // without the keys that limit it
	sites, branches, stations []string
}

// ReadPolicy reads the list of entries at a node. The error joins *Fault.
func ReadPolicy(file string, n *yaml.Node) (*Policy, error) {
	return NoPolicy().Extend(file, n)
}

// NoPolicy gives the policy of a site that changes nothing.
func NoPolicy() *Policy { return &Policy{known: catalogue} }

// Extend gives a policy that has the list of entries at a node behind those of p, which
// stays as it is. The error joins *Fault.
func (p *Policy) Extend(file string, n *yaml.Node) (*Policy, error) {
	r := &reader{file: file, known: p.known}
	p = &Policy{entries: slices.Clone(p.entries)}
	if n.Kind != yaml.SequenceNode {
		r.fault(n.Line, n.Column, "a list of alarms is wanted here")
		return nil, errors.Join(r.faults...)
	}
	for _, item := range n.Content {
		e := r.entry(item)
		r.merge(e.node)
		p.entries = append(p.entries, e)
	}
	if len(r.faults) == 0 {
		if err := link(slices.Clone(r.known)); err != nil {
			r.fault(n.Line, n.Column, "%v", err)
		}
	}
	p.known = r.known
	return p, errors.Join(r.faults...)
}

// entry splits what an entry says of its reach from what it says of the alarm.
func (r *reader) entry(n *yaml.Node) policyEntry {
	e := policyEntry{node: &yaml.Node{Kind: n.Kind, Tag: n.Tag, Line: n.Line, Column: n.Column, Value: n.Value}}
	reach := fields{"sites": r.list(&e.sites), "branches": r.list(&e.branches), "stations": r.list(&e.stations)}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if read := reach[n.Content[i].Value]; read != nil {
			read(n.Content[i+1])
			continue
		}
		e.node.Content = append(e.node.Content, n.Content[i], n.Content[i+1])
	}
	return e
}

// merge reads an entry's alarm into the known ones.
func (r *reader) merge(n *yaml.Node) {
	d := r.definition(n)
	i := slices.IndexFunc(r.known, func(k Definition) bool { return k.Name == d.Name })
	if i < 0 {
		r.known = append(slices.Clone(r.known), d)
		return
	}
	r.known = slices.Clone(r.known)
	r.known[i] = d
}

// change reads what an entry changes of a known alarm.
func (r *reader) change(n *yaml.Node, d *Definition) {
	was := *d
	have := r.object(n, r.keys(d))
	at := func(key string) *yaml.Node {
		if have[key] != nil {
			return have[key]
		}
		return n
	}
	switch {
	case have["code"] != nil:
		r.fault(at("code").Line, at("code").Column, "code cannot be written here: give a condition")
	case was.Code != "" && (have["condition"] != nil || have["clear"] != nil):
		r.fault(at("condition").Line, at("condition").Column, "%s is decided by code: its condition cannot be changed", d.Name)
	case was.FailSafe && (have["condition"] != nil || have["clear"] != nil):
		r.fault(at("condition").Line, at("condition").Column, "%s guards people: set its limit in the plate data, not here", d.Name)
	case was.FailSafe && !d.FailSafe:
		r.fault(at("fail_safe").Line, at("fail_safe").Column, "%s guards people and stays fail-safe", d.Name)
	case was.FailSafe && d.ShelveAtMost > was.ShelveAtMost:
		r.fault(at("shelve_at_most").Line, at("shelve_at_most").Column, "%s can be shelved for less, not for longer", d.Name)
	case was.FailSafe && (d.DelayNs > was.DelayNs || have["frozen_in"] != nil):
		r.fault(at("delay").Line, at("delay").Column, "%s guards people: it cannot be delayed or frozen", d.Name)
	case was.FailSafe && (longer(d.RemindNs, was.RemindNs) || longer(d.RemindAckNs, was.RemindAckNs)):
		r.fault(at("remind").Line, at("remind").Column, "%s guards people: its reminders can come sooner, not later", d.Name)
	case was.FailSafe && (d.Priority < was.Priority || d.Severity < was.Severity || d.RespondNs > was.RespondNs):
		n := at(lowered(d, &was))
		r.fault(n.Line, n.Column, "%s guards people: its priority and severity can be raised, not lowered, and its time to respond can be shorter", d.Name)
	case d.PriorityCharged < was.PriorityCharged:
		r.fault(at("priority_charged").Line, at("priority_charged").Column, "%s of a charged station guards people: priority_charged can be raised, not lowered", d.Name)
	default:
		r.judge(n, d)
	}
}

// lowered returns the key that weakens an alarm.
func lowered(d, was *Definition) string {
	switch {
	case d.Priority < was.Priority:
		return "priority"
	case d.Severity < was.Severity:
		return "severity"
	}
	return "respond_within"
}

// longer tells whether reminders would come later than they did; 0: never.
func longer(is, was int64) bool { return was != 0 && (is == 0 || is > was) }

// For gives what concerns one station, as the text that station.Plate carries; "": nothing.
func (p *Policy) For(k station.Key, branch string) string {
	list := &yaml.Node{Kind: yaml.SequenceNode}
	for _, e := range p.entries {
		if reaches(e.sites, k.Site) && reaches(e.branches, branch) && reaches(e.stations, k.Station) {
			list.Content = append(list.Content, e.node)
		}
	}
	if len(list.Content) == 0 {
		return ""
	}
	text, err := yaml.Marshal(list)
	if err != nil {
		panic("BUG: entries that were read do not encode: " + err.Error())
	}
	return string(text)
}

// Understood tells why a text of For changes nothing at its station: an entry may change
// an own alarm that does not reach it.
func Understood(text string) error {
	_, err := setOf(text)
	return err
}

// Definitions returns the alarms of stations whose plate holds a text of For; the shipped ones for
// a text of another program.
func Definitions(text string) []Definition {
	set, err := setOf(text)
	if err != nil {
		set = catalogue
	}
	return slices.Clone(set)
}

// setOf gives the alarms that a text of For makes of the catalogue, linked.
func setOf(text string) ([]Definition, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
		return nil, err
	}
	if len(doc.Content) == 0 {
		return catalogue, nil
	}
	p, err := ReadPolicy("entries", doc.Content[0])
	if err != nil {
		return nil, err
	}
	set := slices.Clone(p.known)
	return set, link(set)
}

// Unreached gives names that entries are limited to and that no station has.
func (p *Policy) Unreached(site, branch, id func(string) bool) []string {
	var all []string
	for _, e := range p.entries {
		for what, list := range map[string][]string{"site": e.sites, "branch": e.branches, "station": e.stations} {
			known := map[string]func(string) bool{"site": site, "branch": branch, "station": id}[what]
			for _, name := range list {
				if !known(name) {
					all = append(all, fmt.Sprintf("%s %q", what, name))
				}
			}
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func reaches(list []string, name string) bool { return len(list) == 0 || slices.Contains(list, name) }

// nameOf gives the name that an entry states, "" if it states none.
func nameOf(n *yaml.Node) string {
	if v := valueOf(n, "name"); v != nil {
		return v.Value
	}
	return ""
}

// valueOf gives the value of a key, nil if there is none.
func valueOf(n *yaml.Node, key string) *yaml.Node {
	if n.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == key {
				return n.Content[i+1]
			}
		}
	}
	return nil
}

// policy puts the plate's changes in force, when they have changed. A text that is no
// longer understood, of an older program, changes nothing.
func (v *Evaluator) policy() {
	if v.text == v.plate.Alarms {
		return
	}
	v.text, v.set = v.plate.Alarms, catalogue
	if set, err := setOf(v.text); err == nil {
		v.set = set
	}
	v.arrange()
}

// arrange puts the alarms in the order of the set: new ones begin as normal. One that is
// gone ends, and says so, or it would stand for ever on the pages.
func (v *Evaluator) arrange() {
	names, alarms := v.Names, v.Alarms
	v.Names, v.Alarms = namesOf(v.set), make([]alarm, len(v.set))
	for j := range names {
		if i := slices.Index(v.Names, names[j]); i >= 0 {
			v.Alarms[i] = alarms[j]
			continue
		}
		if a := &alarms[j]; a.State != Normal {
			v.gone(names[j], a, Low)
		}
	}
}

// index gives the place of an alarm in the set, -1 if there is none.
func (v *Evaluator) index(name string) int { return slices.Index(v.Names, name) }
