package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// climate is a working doubling station at an ambient temperature, K, with a narrow supply and a
// hole of the outlet, so that its conductances show.
func climate(kelvin float64) rig.Spec {
	s := leaky(30, 0.5, 500, 900, 5)
	s.Params.Ambient = kelvin
	s.Params.Supply.Line.C *= 0.6
	return s
}

// acclimatised runs a station for 25 minutes, of which 15 it works, with its air temperature in the plate
// where plate is above 0, and read at the tank where read is.
func acclimatised(s rig.Spec, plate, read float64) *bench {
	s.Plate.AirTemperature = plate
	b := newBench(s)
	for range 25 {
		if read > 0 {
			b.u.Samples([]station.Block{{Channel: station.TankTemperature, Times: []station.Instant{b.at}, Values: []float64{read}}}, b.at)
		}
		b.run(60)
	}
	b.u.Flush()
	return b
}

// From -10 to 40 °C delivered air and conductances are as good as at 20 °C where the temperature is
// known, by plate or by the channel tank_temperature. The truth is the model's, whose header and
// surroundings are at that temperature.
func TestAirAtOtherTemperatures(t *testing.T) {
	t.Parallel()
	usual := acclimatised(climate(293.15), 293.15, 0).estimate(station.SupplyConductance)
	for _, kelvin := range []float64{263.15, 293.15, 313.15} {
		for _, c := range []struct {
			name        string
			plate, read float64
		}{{"plate", kelvin, 0}, {"tank_temperature", 0, kelvin}, {"unknown", 0, 0}} {
			b := acclimatised(climate(kelvin), c.plate, c.read)
			truth, got := b.stretch()
			leak, line := b.estimate(station.LeakConductance), b.estimate(station.SupplyConductance)
			off := got.delivered/truth.Delivered - 1
			wantLine := b.v.Params.Supply.Line.C / math.Sqrt(1-b.v.Params.Supply.Line.B)
			t.Logf("%.0f K by %s: delivered %+.1f %% (%+.1f..%+.1f), inlet %+.1f %% (%+.1f..%+.1f), leak %+.1f %% by %s (%+.1f..%+.1f), supply %+.1f %%", kelvin, c.name,
				100*off, 100*(got.delLow/truth.Delivered-1), 100*(got.delHigh/truth.Delivered-1),
				100*(got.inlet/truth.Inlet-1), 100*(got.low/truth.Inlet-1), 100*(got.high/truth.Inlet-1),
				100*(leak.Value/holeC(0.5)-1), leak.Method, 100*(leak.Low/holeC(0.5)-1), 100*(leak.High/holeC(0.5)-1), 100*(line.Value/wantLine-1))
			if got.delLow > truth.Delivered || got.delHigh < truth.Delivered || got.low > truth.Inlet || got.high < truth.Inlet {
				t.Errorf("%.0f K by %s: the bands of delivered or inlet air do not hold the truth", kelvin, c.name)
			}
			if c.name == "unknown" {
				continue
			}
			if math.Abs(off) > 0.04 {
				t.Errorf("%.0f K by %s: delivered air off by %+.1f %%", kelvin, c.name, 100*off)
			}
			if !leak.Known() || math.Abs(leak.Value/holeC(0.5)-1) > 0.06 {
				t.Errorf("%.0f K by %s: leak %g (%s), truth %g", kelvin, c.name, leak.Value, leak.Reason, holeC(0.5))
			}
			if !line.Known() || math.Abs(line.Value/usual.Value-1) > 0.04 {
				t.Errorf("%.0f K by %s: supply %g (%s), at 20 °C %g", kelvin, c.name, line.Value, line.Reason, usual.Value)
			}
		}
	}
}
