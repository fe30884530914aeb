package config

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/rules"
)

// Rehearse puts the entries of a file, a list as under alarms, behind those of the
// configuration, in the plates of c alone: their revisions stay those that have been in
// use. Faults are told with file, line and column.
func (c *Config) Rehearse(file string) error {
	data, err := ReadText(file)
	if err != nil {
		return fmt.Errorf("cannot read changes of alarms: %w", err)
	}
	stations, err := c.Rehearsed(file, data)
	if err == nil {
		c.Stations = stations
	}
	return err
}

// Rehearsed gives the stations as Rehearse leaves them, and changes nothing; name is what
// faults call the text.
func (c *Config) Rehearsed(name string, text []byte) ([]Station, error) {
	n, err := entries(name, text)
	if err != nil {
		return nil, err
	}
	p := c.policy
	if p == nil {
		p = rules.NoPolicy()
	}
	if p, err = p.Extend(name, n); err != nil {
		return nil, err
	}
	if names := c.unreached(p); len(names) > 0 {
		return nil, fmt.Errorf("%s: no station has %s; %s names those that there are", name, strings.Join(names, ", "), c.File)
	}
	stations := slices.Clone(c.Stations)
	for i := range stations {
		s := &stations[i]
		s.Plate.Alarms = p.For(s.Plate.Key, s.Plate.Branch)
		if err := rules.Understood(s.Plate.Alarms); err != nil {
			return nil, fmt.Errorf("%s: the entries that reach %s do not fit together: %w; limit them as the alarm that they change is limited", name, s.Plate.Key, err)
		}
	}
	return stations, nil
}

// entries reads a text that is a list of alarms, or has one under the key alarms.
func entries(file string, data []byte) (*yaml.Node, error) {
	if len(data) > MaxFile {
		return nil, fmt.Errorf("%s is larger than %d bytes: a list of alarms is wanted", file, MaxFile)
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(doc.Content) == 0 {
		return nil, &rules.Fault{File: file, Line: 1, Column: 1, What: "no alarms: begin with `- name:` and the name of one"}
	}
	n := doc.Content[0]
	if n.Kind == yaml.MappingNode && len(n.Content) == 2 && n.Content[0].Value == "alarms" {
		n = n.Content[1]
	}
	return n, nil
}
