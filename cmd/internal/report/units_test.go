package report

import (
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// The energy that a standing station reports is in the unit of its key. 100 L at 10 bar
// gauge and 1.01325 bar ambient hold 136.1 kJ by isentropic expansion (published to 0.1 %;
// 250.0 kJ by Brode's convention, which the explanation names).
func TestStoredEnergyIsInJoules(t *testing.T) {
	plate := station.Plate{Key: station.Key{Site: "s", Station: "x"}, Set: 1000e3, TankVolume: 0.1, Ambient: 101325}
	u := pipeline.New(plate, "test")
	var blocks []station.Block
	for _, c := range []station.Channel{station.InletPressure, station.OutletPressure} {
		b := station.Block{Channel: c}
		for i := range int64(600) {
			b.Times = append(b.Times, station.Instant(1767225600e9+i*50*station.Millisecond))
			b.Values = append(b.Values, map[station.Channel]float64{station.InletPressure: 600e3, station.OutletPressure: 1000e3}[c])
		}
		blocks = append(blocks, b)
	}
	u.Samples(blocks, blocks[0].Times[599])
	u.Flush()

	r := Build(u, station.ANR, 0, 0)
	e := r.Estimates["stored_energy_j"]
	if e.Value == nil || math.Abs(*e.Value/136.1e3-1) > 1e-3 {
		t.Fatalf("stored_energy_j is %v (%s), published 136.1 kJ", e.Value, e.Reason)
	}
	r.Explain(u, station.ANR)
	how := r.How["stored_energy_j"]
	if how.Unit != "kJ" || how.Value == nil || math.Abs(*how.Value/136.1-1) > 1e-3 {
		t.Errorf("the explanation has %v %s, published 136.1 kJ", how.Value, how.Unit)
	}
	for _, in := range how.Inputs {
		if strings.Contains(in.Name, "Brode") && math.Abs(*in.Value/250.0-1) > 1e-3 {
			t.Errorf("by Brode's convention %g %s, published 250.0 kJ", *in.Value, in.Unit)
		}
	}
}

// The unit that a key ends in is the unit of its value: 1 in SI becomes this much.
func TestKeysNameTheirUnit(t *testing.T) {
	units := []struct {
		suffix string
		factor float64
	}{
		{"_l_min_day", 60e3 * 86400}, {"_l_s_bar_day", 1e8 * 86400}, {"_l_s_bar", 1e8}, {"_l_min", 60e3}, {"_unix_s", 1},
		{"_kpa", 1e-3}, {"_mm", 1e3}, {"_ratio", 1}, {"_l", 1e3}, {"_j", 1}, {"_min", 60}, {"starts_hour", 1},
		{"_10min", 1}, {"cycles_since_overhaul", 1},
	}
	for f := range station.Figures {
		k := &station.Figures[f]
		found := false
		for _, u := range units {
			if found = strings.HasSuffix(k.Key, u.suffix); found {
				if got := keyFactor(k); math.Abs(got/u.factor-1) > 1e-12 {
					t.Errorf("%s: a value of 1 %s becomes %g, not %g", k.Key, k.Unit, got, u.factor)
				}
				break
			}
		}
		if !found {
			t.Errorf("%s names no unit that is known here", k.Key)
		}
	}
}
