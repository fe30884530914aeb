package pipeline_test

import (
	"bytes"
	"reflect"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// figuresOf plays three hours of a virtual station and gives the hourly figures; the run is
// cut into blocks of step, and saved and restored at the times given.
func figuresOf(t *testing.T, step int64, restore ...int64) []station.HourFigure {
	t.Helper()
	const start = station.Instant(1767225600e9)
	specs, err := rig.Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, "press-4")
	if err != nil {
		t.Fatal(err)
	}
	spec.Sensors.Rate = 20
	v, u := rig.New(spec, start, 0), pipeline.New(spec.Plate, "1")
	var out []station.HourFigure
	for at := start.Add(step); at <= start.Add(11_000*station.Second); at = at.Add(step) {
		u.Samples(v.Until(at), at)
		out = append(out, u.Take().Figures...)
		if len(restore) > 0 && at.Sub(start) >= restore[0] {
			restore = restore[1:]
			var b bytes.Buffer
			if err := u.Save(&b); err != nil {
				t.Fatal(err)
			}
			if u, err = pipeline.Restore(bytes.NewReader(b.Bytes())); err != nil {
				t.Fatal(err)
			}
		}
	}
	return out
}

// Each hour leaves its figures once, the same whatever the cut, also where the run is
// restored beside the hour's end.
func TestHourlyFigures(t *testing.T) {
	const s = station.Second
	want := figuresOf(t, 10*s)
	known := map[station.Figure]int{}
	for i, f := range want {
		known[f.Figure]++
		if f.Hour%station.Instant(3600*s) != 0 || f.At <= f.Hour || f.At > f.Hour.Add(3600*s) || !f.Known() {
			t.Errorf("%d: %+v", i, f)
		}
	}
	if known[station.SupplySag] != 3 || known[station.Pulsation] != 3 || known[station.SetPressure] != 0 {
		t.Errorf("figures by hours: %v; a sag in each of three hours is expected, and no plate data", known)
	}
	for name, got := range map[string][]station.HourFigure{
		"blocks of 61 s": figuresOf(t, 61*s)[:len(want)],
		"restored":       figuresOf(t, 10*s, 1800*s, 3590*s, 3600*s, 3610*s, 7190*s, 7210*s),
	} {
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %d figures, not the same %d", name, len(got), len(want))
		}
	}
}
