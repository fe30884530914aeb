package rules

import (
	"bytes"
	"testing"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const ownAlarms = `
- { name: outlet-leak, priority: high, delay: 5s, frozen_in: [blind] }
- name: outlet-falling
  priority: medium
  condition: fed and outlet_pressure < 0.9 * set_pressure
  delay: 20s
  explained_by: [outlet-leak]
  message: "{outlet_pressure kPa} kPa"
  consequence: c
  causes: [c]
  check_first: c
  respond_in: c
  caution: c
  runbook: c
`

func policyText(t *testing.T, text string) string {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	p, err := ReadPolicy("a.yaml", doc.Content[0])
	if err != nil {
		t.Fatal(err)
	}
	return p.For(station.Key{Site: "a", Station: "b"}, "")
}

// What a site changes holds from the plate's change on, survives a snapshot, and ends with it.
func TestPolicy(t *testing.T) {
	plate := station.Plate{Alarms: policyText(t, ownAlarms)}
	g := newStage(plate)
	low := func(_ int, s *station.Status) {
		s.State, s.Outlet, s.Estimates[station.SetPressure] = station.Stroking, known(700e3), known(800e3)
	}
	g.play(10, leak(30))
	if n := len(g.got); n != 1 || g.got[0].Alarm != OutletLeak || g.got[0].Priority != High || g.got[0].Raised != t0.Add(5*station.Second) {
		t.Fatalf("%+v", g.got)
	}
	g.play(5, leak(0))
	g.play(21, low)
	if g.count("outlet-falling", Unacknowledged) != 1 {
		t.Fatalf("%+v", g.got)
	}
	var buf bytes.Buffer
	if err := g.v.Save(&buf); err != nil {
		t.Fatal(err)
	}
	same := plate
	v, err := Restore(bytes.NewReader(buf.Bytes()), &same, func(t *Transition) { g.got = append(g.got, *t) })
	if err != nil {
		t.Fatal(err)
	}
	g.v = v
	g.play(5, low)
	if n := g.count("outlet-falling", Unacknowledged); n != 1 {
		t.Errorf("raised %d times with the snapshot", n)
	}
	if err := v.Command(&station.Command{Kind: "note", Alarm: "outlet-falling", By: "Ada", Note: "x"}, g.now); err != nil {
		t.Error(err)
	}
	same.Alarms = ""
	g.play(1, low)
	if last := g.got[len(g.got)-1]; last.Alarm != "outlet-falling" || last.To != Normal || len(v.set) != len(catalogue) {
		t.Errorf("an alarm that was taken out of the configuration stands: %+v", last)
	}
	if catalogue[index(OutletLeak)].Priority != Low || len(catalogue[index(OutletLeak)].FrozenIn) != 3 {
		t.Error("a site's change has changed the catalogue")
	}
}

// A text that this program does not understand changes nothing.
func TestPolicyOfAnotherProgram(t *testing.T) {
	for _, text := range []string{"- { name: outlet-leak, dely: 5s }", "[", "x", "- {}"} {
		v := NewEvaluator(&station.Plate{Alarms: text}, func(*Transition) {})
		if len(v.set) != len(catalogue) || v.set[index(OutletLeak)].DelayNs != catalogue[index(OutletLeak)].DelayNs {
			t.Errorf("%q is taken", text)
		}
	}
}
