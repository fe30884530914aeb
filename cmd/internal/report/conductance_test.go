package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// Every conductance of a supply is stated alike: C for the b beside it, and C/sqrt(1-b), which
// the sag shows. 6e-8 m³/(s·Pa) is 6 dm³/(s·bar), by definition of the units.
func TestConductancesOfASupplyMeanOneThing(t *testing.T) {
	var es station.Estimates
	for _, f := range []station.Figure{station.SupplyConductance, station.PipeConductance, station.ConductanceNeeded, station.LeakConductance} {
		es[f] = station.Estimate{Value: 6e-8, Low: 5e-8, High: 7e-8, Method: station.MethodTraces}
	}
	es[station.SupplyTrend] = station.Estimate{Value: 6e-8 / 86400, Method: station.MethodTrend}
	r := Report{Estimates: estimates(&es, 1)}
	for _, key := range []string{"supply_conductance_l_s_bar", "pipe_conductance_l_s_bar", "conductance_needed_l_s_bar", "supply_trend_l_s_bar_day"} {
		e := r.Estimates[key]
		if e.B == nil || e.OverRoot == nil || math.Abs(*e.OverRoot-6) > 1e-9 || math.Abs(*e.Value-6*math.Sqrt(1-*e.B)) > 1e-9 {
			t.Errorf("%s is %v for b %v and %v by C/sqrt(1-b), want the latter 6", key, e.Value, e.B, e.OverRoot)
		}
	}
	if e := r.Estimates["leak_conductance_l_s_bar"]; e.B != nil || math.Abs(*e.Value-6) > 1e-9 {
		t.Errorf("the leak's C is %v with b %v, want 6 without: it is choked", *e.Value, e.B)
	}
	var table bytes.Buffer
	if err := r.Table(&table); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(table.String(), "\n") {
		if strings.HasPrefix(line, "pipe_conductance") && !strings.Contains(line, "C/sqrt(1-b) 6, that is C 5.02 for b = 0.3") {
			t.Errorf("the table has %q", line)
		}
	}
}

// Whatever has the unit of a conductance says for people which one it is.
func TestConductancesAreNamed(t *testing.T) {
	for f := range station.Figures {
		k := &station.Figures[f]
		switch conductance := strings.Contains(k.Unit, "·Pa)"); {
		case conductance != (k.Law != station.NoLaw):
			t.Errorf("%s in %s has the law %d", k.Name, k.Unit, k.Law)
		case k.Law == station.OverRoot && (!strings.Contains(k.Title, "C/√(1−b)") || !strings.Contains(k.What, "C/sqrt(1-b)")),
			k.Law == station.SonicC && (!strings.HasSuffix(k.Title, " C") || !strings.Contains(k.What, "conductance C ")):
			t.Errorf("%s does not say what it is: %q, %q", k.Name, k.Title, k.What)
		}
	}
}
