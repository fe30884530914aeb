package engine

import (
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// The times in the explanation of duty are those of the minute that is reported, and give its
// duty by the formula beside them.
func TestDutyIsExplainedByTheTimesOfTheMinute(t *testing.T) {
	var r recorder
	e := New(testPlate(), &r)
	run(e, invented(100, true), 3)
	e.Flush()
	x := e.explainDuty()
	in := map[string]station.Input{}
	for _, i := range x.Inputs {
		in[i.Name] = i
	}
	m := &r.Minutes[len(r.Minutes)-1]
	want, ok := station.Duty(m.StateNs)
	if !ok || want <= 0 || want >= 1 {
		t.Fatalf("the last minute has a duty of %g", want)
	}
	worked, held, starved := in["charging and stroking in the present minute"].Value, in["holding in the present minute"].Value, in["starved in the present minute"].Value
	if got := worked / (worked + held + starved); math.Abs(got-want) > 1e-9 {
		t.Errorf("%g s of stroking, %g of holding, %g starved give %g, the minute says %g", worked, held, starved, got, want)
	}
	if in["slowest stroke that counts as stroking"].Value != float64(station.SlowestStroke)*1e-9 || in["fed above"].Value != station.FedAbove.KPa() {
		t.Errorf("the limits of the definition are missing: %v", x.Inputs)
	}
	if c := in["counter"].Text; c != "serves, counts cycles" {
		t.Errorf("counter: %q", c)
	}
	for _, i := range x.Inputs {
		if strings.Contains(i.Name, "heat transfer") || strings.Contains(i.Name, "coast") {
			t.Errorf("%q is told, which this engine does not use", i.Name)
		}
	}
}

// A piston that was not seen in the last slot is said to stroke by computation alone.
func TestExplainsWhetherStrokingIsSeen(t *testing.T) {
	e := New(testPlate(), &recorder{})
	e.State.Current, e.status.At, e.Act.LastWork = station.Stroking, t0.Add(10*station.Second), t0.Add(10*station.Second)
	if s := e.strokesBy(); s != "strokes, as seen" {
		t.Error(s)
	}
	e.Act.LastWork = t0.Add(8 * station.Second)
	if s := e.strokesBy(); !strings.HasPrefix(s, "strokes, as computed") {
		t.Error(s)
	}
	e.State.Current = station.Holding
	if s := e.strokesBy(); s != "does not stroke" {
		t.Error(s)
	}
}
