package config

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// decoder walks a file's nodes and collects what is wrong with them.
type decoder struct {
	file     string
	dir      string // that relative paths are meant from
	opt      Options
	faults   faults
	warnings []*Error
	nodes    int // visited
	cfg      *Config

	sitesGiven  bool                        // the file has the key sites
	anonymous   bool                        // a site has no valid identifier
	ambient     map[string]station.Absolute // by site, zero: not given
	reading     map[string]station.Reading  // by site
	temperature map[string]float64          // of the air, K, by site, zero: not given
	lines       map[station.Key]int         // of the stations
	tanks       map[tankKey]*station.Plate  // of the first station of each shared tank

	rec *recording // nil: a file is read
}

func (d *decoder) fail(n *yaml.Node, key, problem, expected, example string) {
	d.faults.add(d.fault(n, key, problem, expected, example))
}

func (d *decoder) warn(n *yaml.Node, key, problem, expected, example string) {
	d.warnings = append(d.warnings, d.fault(n, key, problem, expected, example))
}

func (d *decoder) fault(n *yaml.Node, key, problem, expected, example string) *Error {
	e := &Error{File: d.file, Key: key, Problem: problem, Expected: expected, Example: example}
	if n != nil {
		e.Line = n.Line
	}
	return e
}

// visit counts nodes, so that aliases of aliases cannot keep us busy for long.
func (d *decoder) visit() bool {
	d.nodes++
	return d.nodes <= maxNodes
}

// mapping is a mapping under decoding. A key is known once it was asked for; done
// reports all others. A mapping that is absent has no entries and can be asked as well.
type mapping struct {
	d       *decoder
	node    *yaml.Node // nil if absent or no mapping
	pos     *yaml.Node // where it is, for messages
	path    string
	keys    []*yaml.Node
	entries map[string]entry
	known   []string
}

type entry struct{ key, value *yaml.Node }

// mapping opens a node, nil if it is absent. Null counts as absent: all its keys may be
// commented out.
func (d *decoder) mapping(n *yaml.Node, path, example string) *mapping {
	n = follow(n)
	m := &mapping{d: d, path: path, pos: n, entries: map[string]entry{}}
	if d.rec != nil {
		d.rec.at(path).object = true
		m.node = synthetic
		return m
	}
	if n == nil || isNull(n) {
		return m
	}
	if n.Kind != yaml.MappingNode {
		d.fail(n, path, "is "+kind(n), "a mapping of keys to values", example)
		return m
	}
	if !d.visit() {
		return m
	}
	m.node = n
	for i := 0; i+1 < len(n.Content); i += 2 {
		m.enter(n.Content[i], n.Content[i+1])
	}
	return m
}

func (m *mapping) enter(key, value *yaml.Node) {
	k := follow(key)
	switch first, twice := m.entries[k.Value]; {
	case key.Tag == "!!merge":
		m.d.fail(key, m.path, "merge keys (<<) are not supported", "an alias for a whole mapping, as in \"booster: *small\"", "")
	case k.Kind != yaml.ScalarNode || isNull(k):
		m.d.fail(key, m.path, "has a key that is no plain name", "", "")
	case twice:
		m.d.fail(key, m.sub(k.Value), fmt.Sprintf("is given twice (first on line %d)", first.key.Line), "one of the two", "")
	default:
		m.keys = append(m.keys, k)
		m.entries[k.Value] = entry{key: key, value: value}
	}
}

// sub gives the path of a key.
func (m *mapping) sub(key string) string { return sub(m.path, key) }

func sub(path, key string) string {
	if !plainKey(key) {
		key = quote(key)
	}
	if path == "" {
		return key
	}
	return path + "." + key
}

func plainKey(key string) bool {
	return key != "" && len(key) <= 64 && strings.IndexFunc(key, func(r rune) bool {
		return r <= ' ' || r > '~' || strings.ContainsRune(`.:;"[]`, r)
	}) < 0
}

// get gives the value of a key, nil if there is none, and makes the key known.
func (m *mapping) get(key string) *yaml.Node {
	if !slices.Contains(m.known, key) {
		m.known = append(m.known, key)
	}
	m.asked(key)
	return follow(m.entries[key].value)
}

// has tells whether a key is given.
func (m *mapping) has(key string) bool {
	if m.d.rec != nil {
		return m.d.rec.present
	}
	_, ok := m.entries[key]
	return ok
}

// fail reports a fault of a key, at its line where it is given.
func (m *mapping) fail(key, problem, expected, example string) {
	m.lacking(key, problem)
	m.d.fail(m.at(key), m.sub(key), problem, expected, example)
}

// warn reports something odd about a key.
func (m *mapping) warn(key, problem, expected, example string) {
	m.d.warn(m.at(key), m.sub(key), problem, expected, example)
}

func (m *mapping) at(key string) *yaml.Node {
	if e, ok := m.entries[key]; ok {
		return e.key
	}
	return m.pos
}

// item opens an item of a list, which must be a mapping; nil if it is none.
func (d *decoder) item(n *yaml.Node, path, what, example string) *mapping {
	if isNull(n) {
		d.fail(n, path, "is without a value", what, example)
		return nil
	}
	if m := d.mapping(n, path, example); m.node != nil {
		return m
	}
	return nil
}

// mapping opens the mapping under a key.
func (m *mapping) mapping(key, example string) *mapping {
	return m.d.mapping(m.get(key), m.sub(key), example)
}

// each goes through the list under a key.
func (m *mapping) each(key, example string, do func(n *yaml.Node, path string)) {
	n := m.get(key)
	if m.d.rec != nil {
		m.eachRecorded(key, do)
		return
	}
	if n == nil || isNull(n) {
		return
	}
	if n.Kind != yaml.SequenceNode {
		m.fail(key, "is "+kind(n), "a list", example)
		return
	}
	for i, item := range n.Content {
		if !m.d.visit() {
			return
		}
		do(follow(item), fmt.Sprintf("%s[%d]", m.sub(key), i))
	}
}

// done reports the keys that nobody asked for, with the hint for a key where there is one.
func (m *mapping) done(hints map[string]string) {
	for _, k := range m.keys {
		if slices.Contains(m.known, k.Value) {
			continue
		}
		problem := "unknown key"
		switch near := nearest(k.Value, m.known); {
		case hints[k.Value] != "":
			problem += "; " + hints[k.Value]
		case near != "":
			problem += fmt.Sprintf(" (did you mean %s?)", near)
		}
		m.d.fail(k, m.sub(k.Value), problem, list(m.known), "")
	}
}

// follow gives the node that an alias stands for.
func follow(n *yaml.Node) *yaml.Node {
	for n != nil && n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }

// kind names a node for messages.
func kind(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a mapping"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case isNull(n):
		return "without a value"
	}
	return "a single value"
}
