package config

import (
	"encoding/json"
	"strings"
)

// Schema returns the JSON Schema (draft 2020-12) of the configuration, made of what the checks ask for. It
// knows keys, types, words and units; what depends on several keys, on other files or on the machine only the
// checks know.
func Schema() []byte {
	w := schemaWriter{record()}
	doc := w.at("")
	doc["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	doc["title"] = "Configuration of strokewise"
	out, err := json.MarshalIndent(doc, "", "  ")
	if err != nil {
		panic("BUG: the schema cannot be written: " + err.Error())
	}
	return append(out, '\n')
}

type schemaWriter struct{ shapes map[string]*shape }

// at returns the schema of what may stand at a path.
func (w schemaWriter) at(path string) map[string]any {
	s := w.shapes[path]
	var forms []map[string]any
	if s.object {
		forms = append(forms, w.object(path, s))
	}
	if s.list {
		forms = append(forms, map[string]any{"type": []string{"array", "null"}, "items": w.at(s.item)})
	}
	if s.scalar {
		forms = append(forms, single(s))
	}
	out := map[string]any{}
	switch len(forms) {
	case 0:
	case 1:
		out = forms[0]
	default:
		out["anyOf"] = forms
	}
	if s.expected != "" {
		out["description"] = s.expected
	}
	if s.example != "" && s.scalar {
		out["examples"] = []string{strings.Trim(s.example, `"`)}
	}
	return out
}

// object returns the schema of a mapping. One that holds nothing but comments counts as left out, unless it
// lacks what it needs.
func (w schemaWriter) object(path string, s *shape) map[string]any {
	out := map[string]any{"type": []string{"object", "null"}, "additionalProperties": false}
	if len(s.required) > 0 {
		out["required"] = s.required
	}
	if path == "" || strings.HasSuffix(path, "]") {
		out["type"] = "object"
	}
	if s.open {
		out["additionalProperties"] = map[string]any{"type": []string{"string", "number", "boolean"}}
		return out
	}
	properties := map[string]any{}
	for _, k := range s.keys {
		properties[k] = w.at(sub(path, k))
	}
	out["properties"] = properties
	return out
}

// single returns the schema of a single value. Whatever YAML takes it for, the checks read its text.
func single(s *shape) map[string]any {
	if len(s.enum) > 0 {
		return map[string]any{"enum": s.enum}
	}
	out := map[string]any{"type": []string{"string", "number", "boolean"}}
	if s.types != nil {
		out["type"] = s.types
	}
	if s.pattern != "" {
		out["pattern"] = s.pattern
	}
	return out
}
