package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"
)

// compiled returns the schema as a general validator understands it.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// instance returns a YAML node as JSON has it, as an editor hands it to a validator: days stay texts.
func instance(n *yaml.Node) any {
	switch n = follow(n); n.Kind {
	case yaml.DocumentNode:
		return instance(n.Content[0])
	case yaml.MappingNode:
		out := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			out[follow(n.Content[i]).Value] = instance(n.Content[i+1])
		}
		return out
	case yaml.SequenceNode:
		out := []any{}
		for _, x := range n.Content {
			out = append(out, instance(x))
		}
		return out
	}
	switch n.Tag {
	case "!!null":
		return nil
	case "!!bool":
		return n.Value == "true"
	case "!!int", "!!float":
		if _, err := strconv.ParseFloat(n.Value, 64); err == nil {
			return json.Number(n.Value)
		}
	}
	return n.Value
}

func parsedYAML(t *testing.T, text []byte) *yaml.Node {
	t.Helper()
	var n yaml.Node
	if err := yaml.Unmarshal(text, &n); err != nil {
		t.Fatal(err)
	}
	return &n
}

// examplesOf are the configurations that the tree holds, and that the checks take.
func examplesOf(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for _, p := range []string{"testdata/full.yaml", "testdata/design.yaml", "../../../deploy/strokewise.example.yaml"} {
		text, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		out[p] = text
	}
	more, err := filepath.Glob("../../../deploy/*/strokewise*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range more {
		if text, err := os.ReadFile(p); err == nil && bytes.Contains(text, []byte("\nstations:")) {
			out[p] = text
		}
	}
	return out
}

// Every example is valid by the schema, as a general validator reads it.
func TestSchemaTakesTheExamples(t *testing.T) {
	s := compiled(t)
	for name, text := range examplesOf(t) {
		if err := s.Validate(instance(parsedYAML(t, text))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, text := range []string{"version: 1", "version: \"1\"\nstations:\n", "version: 1\nhttp:\nmqtt:\nstations: []"} {
		if err := s.Validate(instance(parsedYAML(t, []byte(text)))); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// place is a key of a document, with the mapping that holds it.
type place struct {
	path   string
	in     *yaml.Node
	at     int // of the key in in.Content
	opaque bool
}

// places lists the keys of a document. What lies under alarms is checked elsewhere, and the keys of some
// mappings are names that people choose.
func places(n *yaml.Node, path string) (out []place) {
	switch n.Kind {
	case yaml.DocumentNode:
		return places(n.Content[0], path)
	case yaml.SequenceNode:
		for i, x := range n.Content {
			out = append(out, places(x, fmt.Sprintf("%s[%d]", path, i))...)
		}
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			p := strings.TrimPrefix(path+"."+n.Content[i].Value, ".")
			free := strings.HasSuffix(path, ".fixed") || strings.HasSuffix(path, ".roles")
			out = append(out, place{p, n, i, free || p == "alarms"})
			if p != "alarms" {
				out = append(out, places(n.Content[i+1], p)...)
			}
		}
	}
	return out
}

// alterations change the key or the value at a place to what cannot be right.
var alterations = []struct {
	name  string
	fits  func(p place, value *yaml.Node) bool
	alter func(key, value *yaml.Node)
}{
	{"another key", func(p place, _ *yaml.Node) bool { return !p.opaque }, func(k, _ *yaml.Node) { k.Value += "_x" }},
	{"a list of lists", func(p place, _ *yaml.Node) bool { return p.path != "alarms" }, func(_, v *yaml.Node) {
		*v = yaml.Node{Kind: yaml.SequenceNode, Content: []*yaml.Node{{Kind: yaml.SequenceNode, Content: []*yaml.Node{{Kind: yaml.ScalarNode, Value: "x", Tag: "!!str"}}}}}
	}},
	{"a mapping of what nobody knows", func(p place, _ *yaml.Node) bool {
		return p.path != "alarms" && !strings.HasSuffix(p.path, ".fixed") && !strings.HasSuffix(p.path, ".roles")
	}, func(_, v *yaml.Node) {
		*v = yaml.Node{Kind: yaml.MappingNode, Content: []*yaml.Node{{Kind: yaml.ScalarNode, Value: "nobody_knows", Tag: "!!str"}, {Kind: yaml.ScalarNode, Value: "x", Tag: "!!str"}}}
	}},
	{"a text in the place of a mapping", func(_ place, v *yaml.Node) bool { return v.Kind == yaml.MappingNode }, func(_, v *yaml.Node) {
		*v = yaml.Node{Kind: yaml.ScalarNode, Value: "x", Tag: "!!str"}
	}},
	{"a quantity without unit", func(p place, v *yaml.Node) bool {
		return v.Kind == yaml.ScalarNode && slices.Contains([]string{"set_pressure", "drive_bore", "stroke", "volume", "keep", "max_bytes", "lateness", "ambient_pressure", "specific_energy", "price", "sag", "silence"}, p.path[strings.LastIndexByte(p.path, '.')+1:])
	}, func(_, v *yaml.Node) { *v = yaml.Node{Kind: yaml.ScalarNode, Value: "900", Tag: "!!int"} }},
	{"another unit", func(p place, v *yaml.Node) bool {
		return strings.HasSuffix(p.path, ".set_pressure") || strings.HasSuffix(p.path, ".volume")
	},
		func(_, v *yaml.Node) { *v = yaml.Node{Kind: yaml.ScalarNode, Value: "9 bananas", Tag: "!!str"} }},
	{"another word", func(p place, v *yaml.Node) bool {
		return slices.Contains([]string{"payload", "cadence", "outlet_sensor", "counts", "governor", "reference", "pressure_in", "sync", "version", "after_shift", "confirm"}, p.path[strings.LastIndexByte(p.path, '.')+1:]) && v.Kind == yaml.ScalarNode
	}, func(_, v *yaml.Node) { *v = yaml.Node{Kind: yaml.ScalarNode, Value: "sometimes", Tag: "!!str"} }},
}

var index = regexp.MustCompile(`\[\d+\]`)

// Whatever key of the examples is altered, or whatever it holds, schema and checks both refuse it.
func TestSchemaAndChecksRefuseAlike(t *testing.T) {
	s := compiled(t)
	tried, done := map[string]int{}, map[string]bool{}
	for name, text := range examplesOf(t) {
		for i := range places(parsedYAML(t, text), "") {
			for _, a := range alterations {
				doc := parsedYAML(t, text)
				p := places(doc, "")[i]
				key, value := p.in.Content[p.at], p.in.Content[p.at+1]
				if value.Kind == yaml.AliasNode || value.Anchor != "" || !a.fits(p, value) {
					continue
				}
				kind := a.name + " " + index.ReplaceAllString(p.path, "[]")
				if done[kind] { // another item of the same list
					continue
				}
				done[kind] = true
				tried[a.name]++
				a.alter(key, value)
				out, err := yaml.Marshal(doc)
				if err != nil {
					t.Fatal(err)
				}
				if s.Validate(instance(parsedYAML(t, out))) == nil {
					t.Errorf("%s, %s: %s is valid by the schema", name, a.name, p.path)
				}
				if _, err := Parse(out, name, live); err == nil {
					t.Errorf("%s, %s: %s is taken by the checks", name, a.name, p.path)
				}
			}
		}
	}
	for _, a := range alterations {
		if tried[a.name] < 2 {
			t.Errorf("%s was tried %d times", a.name, tried[a.name])
		}
	}
}

// What cannot be left out is refused by both.
func TestSchemaKnowsWhatIsNeeded(t *testing.T) {
	s := compiled(t)
	for _, text := range []string{"stations: []", "version: 1\nstations: [{branch: b}]\nmqtt: {broker: embedded, topics: [{match: x}]}\nsites: [{id: a}]", "version: 1\ninflux: {org: a}", "version: 1\nmqtt: {client_id: a}"} {
		if s.Validate(instance(parsedYAML(t, []byte(text)))) == nil {
			t.Errorf("%q is valid by the schema", text)
		}
		if _, err := Parse([]byte(text), "x.yaml", live); err == nil {
			t.Errorf("%q is taken by the checks", text)
		}
	}
}
