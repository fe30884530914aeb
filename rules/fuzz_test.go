package rules

import (
	"errors"
	"os"
	"testing"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// Whatever somebody writes: it is taken or refused with a place inside the text, and what is
// taken can be asked.
func FuzzCondition(f *testing.F) {
	for i := range catalogue {
		f.Add(catalogue[i].Condition)
	}
	f.Add("not (fed or -supply_sag < 5 * percent)")
	f.Fuzz(func(t *testing.T, source string) {
		x, err := compile(source)
		var p *place
		switch {
		case err == nil:
			var v values
			x.ask(&v)
		case !errors.As(err, &p):
			t.Errorf("no place: %v", err)
		case p.line < 1 || p.column < 1:
			t.Errorf("%d:%d of %q", p.line, p.column, source)
		}
	})
}

// Files of scripts, of alarms and a site's entries are read or refused.
func FuzzFiles(f *testing.F) {
	for _, file := range []string{"catalogue/2-outlet.yaml", "scripts/life.yaml", "scripts/health.yaml"} {
		text, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Add(ownAlarms)
	for _, course := range []string{
		"[{for: 9s, state: stroking, leak_flow: {from: 1, to: 2}}, {for: 1s, leak_flow: unknown}, {heard: no}]",
		"[{repeat: 3, course: [{repeat: 2, course: [{for: 1m, state: holding}]}, {for: 1500ms}]}]",
		"[{repeat: 9000000, course: [{for: 1s, course: []}]}, {leak_flow: {from: 1}}, 5]",
	} {
		f.Add("scripts:\n  - {name: a, course: " + course + ", expect: [{at: 1s}]}\n")
	}
	f.Fuzz(func(t *testing.T, text string) {
		parse("a.yaml", []byte(text))
		readScripts("a.yaml", []byte(text))
		var doc yaml.Node
		if yaml.Unmarshal([]byte(text), &doc) != nil || len(doc.Content) == 0 {
			return
		}
		p, err := ReadPolicy("a.yaml", doc.Content[0])
		if err != nil {
			return
		}
		plate := &station.Plate{Alarms: p.For(station.Key{}, "")}
		v := NewEvaluator(plate, func(*Transition) {})
		if len(p.entries) > 0 && plate.Alarms != "" && len(v.set) < len(catalogue) {
			t.Error("what was taken is not understood again")
		}
		v.Step(&station.Status{At: t0})
	})
}
