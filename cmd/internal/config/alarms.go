package config

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/rules"
)

const alarmsExample = "alarms: [{ name: outlet-leak, delay: 5m, sites: [northdock] }]"

// alarms reads changes of the alarms' catalogue and own alarms: a list, or the name of a
// file with one. They go into the plates, and with these into the log, so that a replay
// decides by them. A station without any keeps its revision.
func (d *decoder) alarms(m *mapping) {
	n, file := m.get("alarms"), d.file
	switch {
	case n == nil || isNull(n):
		return
	case n.Kind == yaml.ScalarNode:
		path := n.Value
		if !filepath.IsAbs(path) {
			path = filepath.Join(d.dir, path)
		}
		if n, file = d.alarmsFile(m, path), path; n == nil {
			return
		}
	}
	p, err := rules.ReadPolicy(file, n)
	if err != nil {
		d.alarmFaults(file, err)
		return
	}
	understood := map[string]bool{"": true} // by text: most stations share one
	for i := range d.cfg.Stations {
		s := &d.cfg.Stations[i]
		if s.Plate.Alarms = p.For(s.Plate.Key, s.Plate.Branch); s.Plate.Alarms != "" {
			s.Revision = Revision(&s.Plate)
		}
		if understood[s.Plate.Alarms] {
			continue
		}
		if err := rules.Understood(s.Plate.Alarms); err != nil { // an evaluator would drop them all
			m.fail("alarms", fmt.Sprintf("the entries that reach station %s do not fit together: %v", s.Plate.Key, err),
				"entries limited to the stations of the own alarm that they change", "")
			return
		}
		understood[s.Plate.Alarms] = true
	}
	d.cfg.policy = p
	if names := d.cfg.unreached(p); len(names) > 0 {
		m.warn("alarms", "no station has "+strings.Join(names, ", "), "names of this file", "")
	}
}

// alarmsFile reads a file that holds the list under `alarms`.
func (d *decoder) alarmsFile(m *mapping, path string) *yaml.Node {
	expected := "a list of alarms, or a file with one under alarms"
	data, err := ReadText(path)
	if err != nil {
		m.fail("alarms", "cannot be read: "+err.Error(), expected, alarmsExample)
		return nil
	}
	var doc yaml.Node
	switch err := yaml.Unmarshal(data, &doc); {
	case err != nil:
		m.fail("alarms", fmt.Sprintf("%s is no valid YAML: %v", path, err), expected, "")
		return nil
	case len(doc.Content) == 0 || doc.Content[0].Kind != yaml.MappingNode ||
		len(doc.Content[0].Content) != 2 || doc.Content[0].Content[0].Value != "alarms":
		m.fail("alarms", path+" does not hold the one key alarms", expected, "")
		return nil
	}
	return doc.Content[0].Content[1]
}

// alarmFaults reports what is wrong with entries, each at its place.
func (d *decoder) alarmFaults(file string, err error) {
	list := []error{err}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		list = joined.Unwrap()
	}
	for _, e := range list {
		var f *rules.Fault
		if !errors.As(e, &f) {
			f = &rules.Fault{What: e.Error()}
		}
		d.faults.add(&Error{File: file, Line: f.Line, Key: "alarms", Problem: fmt.Sprintf("column %d: %s", f.Column, f.What)})
	}
}

// unreached gives names of the policy that no station has.
func (c *Config) unreached(p *rules.Policy) []string {
	has := func(of func(*Station) string) func(string) bool {
		return func(name string) bool {
			return slices.ContainsFunc(c.Stations, func(s Station) bool { return of(&s) == name })
		}
	}
	return p.Unreached(has(func(s *Station) string { return s.Plate.Key.Site }),
		has(func(s *Station) string { return s.Plate.Branch }), has(func(s *Station) string { return s.Plate.Key.Station }))
}
