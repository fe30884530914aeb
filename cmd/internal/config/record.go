package config

import (
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// recording notes what the decoder asks of a file, and in which form: so the schema is made of the very code
// that checks. Every key that is asked for is entered, and every list holds one item.
type recording struct {
	shapes  map[string]*shape // by path
	present bool              // keys count as given; else as left out
}

// shape is what may stand at a place.
type shape struct {
	object, list, scalar bool
	open                 bool // an object of any keys
	keys                 []string
	required             []string
	item                 string // path
	enum                 []any
	pattern              string
	types                []string // of a scalar; none: any
	expected, example    string
}

// record runs the decoder over a file that does not exist, twice: with every key given, and with none.
func record() map[string]*shape {
	r := &recording{shapes: make(map[string]*shape)}
	for _, r.present = range []bool{true, false} {
		d := &decoder{file: "schema", cfg: Default(), rec: r,
			ambient: map[string]station.Absolute{}, reading: map[string]station.Reading{}, temperature: map[string]float64{}, lines: map[station.Key]int{}, tanks: map[tankKey]*station.Plate{}}
		d.top(d.mapping(synthetic, "", ""))
	}
	return r.shapes
}

// synthetic stands for any node of the file.
var synthetic = &yaml.Node{Kind: yaml.MappingNode, Tag: "!!map"}

// at returns the shape at a path.
func (r *recording) at(path string) *shape {
	s := r.shapes[path]
	if s == nil {
		s = &shape{}
		r.shapes[path] = s
	}
	return s
}

// asked notes a key of a mapping.
func (m *mapping) asked(key string) {
	if m.d.rec == nil {
		return
	}
	s := m.d.rec.at(m.path)
	if !slices.Contains(s.keys, key) {
		s.keys = append(s.keys, key)
	}
	m.d.rec.at(m.sub(key))
}

// single notes that a key holds a single value.
func (m *mapping) single(key, expected, example string) *shape {
	if m.d.rec == nil {
		return &shape{}
	}
	s := m.d.rec.at(m.sub(key))
	s.scalar = true
	if s.expected == "" {
		s.expected, s.example = expected, strings.TrimPrefix(example, key+": ")
	}
	return s
}

// alsoList notes that a key may hold a list of single values too.
func (m *mapping) alsoList(key string) {
	if m.d.rec != nil {
		s := m.d.rec.at(m.sub(key))
		s.list, s.item = true, m.sub(key)+"[0]"
		m.d.rec.at(s.item).scalar = true
	}
}

// eachRecorded notes a list, and what its items are.
func (m *mapping) eachRecorded(key string, do func(n *yaml.Node, path string)) {
	m.alsoList(key)
	s := m.d.rec.at(m.sub(key) + "[0]")
	s.scalar = false
	do(synthetic, m.sub(key)+"[0]")
	s.scalar = !s.object
}

// anyKeys notes that a mapping's keys are names that people choose, with single values.
func (m *mapping) anyKeys() {
	if m.d.rec != nil {
		m.d.rec.at(m.path).open = true
	}
}

// lacking notes a key that cannot be left out.
func (m *mapping) lacking(key, problem string) {
	if r := m.d.rec; r != nil && !r.present && problem == "is missing" {
		if s := r.at(m.path); !slices.Contains(s.required, key) {
			s.required = append(s.required, key)
		}
	}
}

// optional notes keys that can be left out where another stands in their place.
func (m *mapping) optional(keys ...string) {
	if m.d.rec != nil {
		s := m.d.rec.at(m.path)
		s.required = slices.DeleteFunc(s.required, func(k string) bool { return slices.Contains(keys, k) })
	}
}

// only notes the values that a key may have.
func (s *shape) only(values ...any) {
	for _, v := range values {
		if !slices.Contains(s.enum, v) {
			s.enum = append(s.enum, v)
		}
	}
}

// words notes the words of a choice.
func (s *shape) words(list []string) {
	for _, w := range list {
		s.only(w)
	}
}

// quantity notes the units of a quantity: those that its parser takes.
func (s *shape) quantity(takes func(string) bool) {
	if s.pattern != "" {
		return
	}
	var units []string
	for _, u := range append(station.UnitNames(), yearUnit) {
		if takes("1 "+u) || takes("1 "+u+" abs") {
			units = append(units, regexp.QuoteMeta(u))
		}
		if takes("1 EUR/" + u) {
			units = append(units, "[A-Z]{3} ?/ ?"+regexp.QuoteMeta(u))
		}
	}
	if len(units) == 0 {
		return
	}
	end := ""
	if takes("100 kPa abs") {
		end = "( +abs)?"
	}
	s.pattern = `^\s*[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?\s*(` + strings.Join(units, "|") + ")" + end + `\s*$`
	s.types = []string{"string"}
}
