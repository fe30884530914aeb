package api

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
)

var update = flag.Bool("update", false, "write openapi.json anew")

type object = map[string]any

// schemaOf returns the JSON Schema of a type's JSON.
func schemaOf(t reflect.Type, parts object) object {
	switch t.Kind() {
	case reflect.Pointer:
		s := schemaOf(t.Elem(), parts)
		s["type"] = []any{s["type"], "null"}
		return s
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Int, reflect.Int64, reflect.Uint32:
		return object{"type": "integer"}
	case reflect.Float64:
		return object{"type": "number"}
	case reflect.String:
		return object{"type": "string"}
	case reflect.Slice:
		return object{"type": "array", "items": schemaOf(t.Elem(), parts)}
	case reflect.Struct:
		if strings.Contains(t.Name(), "[") { // a page
			return structOf(t, parts)
		}
		if _, ok := parts[t.Name()]; !ok {
			parts[t.Name()] = nil // being made
			parts[t.Name()] = structOf(t, parts)
		}
		return object{"$ref": "#/components/schemas/" + t.Name()}
	}
	panic("no schema for " + t.String())
}

func structOf(t reflect.Type, parts object) object {
	members, required := object{}, []string{}
	for _, f := range reflect.VisibleFields(t) {
		if f.Anonymous {
			continue
		}
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		members[name] = schemaOf(f.Type, parts)
		if options != "omitempty" {
			required = append(required, name)
		}
	}
	s := object{"type": "object", "properties": members, "additionalProperties": false}
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

var inPath = regexp.MustCompile(`\{(\w+)\}`)

// document makes the OpenAPI document of the table of endpoints.
func document() []byte {
	parts, paths := object{}, object{}
	problem := object{"description": "No answer, and why (RFC 9457)", "content": object{"application/problem+json": object{"schema": schemaOf(reflect.TypeFor[Problem](), parts)}}}
	for _, e := range Endpoints(Sources{}) {
		parameters := []any{}
		for _, m := range inPath.FindAllStringSubmatch(e.Path, -1) {
			parameters = append(parameters, object{"name": m[1], "in": "path", "required": true, "schema": object{"type": "string"}})
		}
		for _, q := range e.Query {
			s := object{"type": q.Kind}
			if q.Kind == "date-time" {
				s = object{"type": "string", "format": q.Kind}
			}
			parameters = append(parameters, object{"name": q.Name, "in": "query", "description": q.About, "schema": s})
		}
		content := object{"application/json": object{"schema": object{"type": "object"}}}
		if e.Answer != nil {
			content = object{"application/json": object{"schema": schemaOf(reflect.TypeOf(e.Answer), parts)}}
		}
		if e.CSV {
			content["text/csv"] = object{"schema": object{"type": "string"}}
		}
		get := object{"operationId": operation(e.Path), "summary": e.Summary, "responses": object{
			"200": object{"description": e.Summary, "headers": object{"ETag": object{"schema": object{"type": "string"}}}, "content": content},
			"304": object{"description": "What If-None-Match names is still the answer"},
			"400": problem, "404": problem, "503": problem,
		}}
		if len(parameters) > 0 {
			get["parameters"] = parameters
		}
		paths[Root+e.Path] = object{"get": get}
	}
	doc := object{
		"openapi": "3.1.0",
		"info": object{"title": "strokewise", "version": "1", "license": object{"name": "Apache-2.0", "identifier": "Apache-2.0"},
			"description": "Boost stations as the pages show them. Reads only. Not a safety function: never interlock on these answers. Pressures are gauge, times RFC 3339 in UTC. " +
				"Within version 1 members and paths may be added; none is removed or changes its meaning."},
		"servers":    []any{object{"url": "/"}},
		"security":   []any{object{}, object{"token": []any{}}},
		"paths":      paths,
		"components": object{"schemas": parts, "securitySchemes": object{"token": object{"type": "http", "scheme": "bearer", "description": "strokewise token add NAME --only look; needed where people log in"}}},
	}
	text, err := json.MarshalIndent(doc, "", " ")
	if err != nil {
		panic(err)
	}
	return append(text, '\n')
}

// operation names an operation after its path.
func operation(path string) string {
	return strings.Trim(regexp.MustCompile(`[^a-z]+`).ReplaceAllString(path, "-"), "-")
}

// The description that is served is that of the table.
func TestDescriptionIsOfTheTable(t *testing.T) {
	want := document()
	if *update {
		if err := os.WriteFile("openapi.json", want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(description, want) {
		t.Error("openapi.json is not that of the table: go test ./dashboards/api -update")
	}
}

// checker returns a validator of the description, which is valid OpenAPI 3.1 itself (libopenapi, a library for it).
func checker(t *testing.T) validator.Validator {
	t.Helper()
	doc, err := libopenapi.NewDocument(description)
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	if ok, faults := v.ValidateDocument(); !ok {
		for _, f := range faults {
			t.Errorf("%s: %s", f.Message, f.Reason)
			for _, x := range f.SchemaValidationErrors {
				t.Errorf("  %s at %s", x.Reason, x.FieldPath)
			}
		}
		t.FailNow()
	}
	return v
}
