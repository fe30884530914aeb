package rig

import (
	"bytes"
	"io"
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig/model"
	"strokewise/collector/trace"
)

const start = station.Instant(1767225600 * station.Second)

func plant(t *testing.T) []Spec {
	t.Helper()
	specs, err := Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	return specs
}

// A recording holds every sample at its rate, its counter what the model counted, and its
// truth the model's strokes, one by one.
func TestARecordingAgreesWithItsTruth(t *testing.T) {
	for _, sp := range plant(t) {
		var buf bytes.Buffer
		tr, err := Record(&buf, sp, start, 300*station.Second)
		if err != nil {
			t.Fatal(err)
		}
		r, err := trace.NewReader(&buf, "t", 0)
		if err != nil {
			t.Fatal(err)
		}
		samples, count := 0, 0.0
		for {
			blocks, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			for _, b := range blocks {
				switch b.Channel {
				case station.InletPressure:
					samples += b.Len()
				case station.Cycles:
					count = b.Values[b.Len()-1]
				}
			}
		}
		if want := int(300 * sp.Sensors.Rate); samples != want {
			t.Errorf("%s: %d samples, want %d", sp.Plate.Key, samples, want)
		}
		if math.Abs(count-math.Floor(float64(tr.Totals.Strokes)/2)) > 1 || len(tr.Strokes) != tr.Totals.Strokes {
			t.Errorf("%s: counter %g, %d strokes listed, the model made %d", sp.Plate.Key, count, len(tr.Strokes), tr.Totals.Strokes)
		}
	}
}

// Equal specs give equal readings, however the time is cut.
func TestReadingsDoNotDependOnTheCut(t *testing.T) {
	sp := plant(t)[0]
	read := func(cut int64) (out []float64) {
		s := New(sp, start, 0)
		for at := start; at < start.Add(20*station.Second); {
			at = at.Add(cut)
			for _, b := range s.Until(min(at, start.Add(20*station.Second))) {
				if b.Channel == station.OutletPressure {
					out = append(out, b.Values...)
				}
			}
		}
		return out
	}
	a, b := read(station.Second), read(70*station.Millisecond)
	if len(a) != len(b) || len(a) != 2000 {
		t.Fatalf("%d and %d readings", len(a), len(b))
	}
	for i := range a {
		if a[i] != b[i] {
			t.Fatalf("reading %d is %g or %g", i, a[i], b[i])
		}
	}
}

func TestFaultsSetInGrowAndEnd(t *testing.T) {
	f, err := NewFault("outlet-leak", 0.4, start, 10*station.Second)
	if err != nil {
		t.Fatal(err)
	}
	f.Until = start.Add(20 * station.Second)
	for after, want := range map[int64]float64{-1: 0, 5: 2e-9, 10: 4e-9, 19: 4e-9, 20: 0} {
		if got := f.At(start.Add(after * station.Second)); math.Abs(got-want) > 1e-15 {
			t.Errorf("after %d s: %g, want %g", after, got, want)
		}
	}
	if _, err := NewFault("rust", 0, 0, 0); err == nil {
		t.Error("an unknown kind was taken")
	}
	for _, level := range []float64{math.NaN(), math.Inf(1), -0.1} {
		if _, err := NewFault("outlet-leak", level, 0, 0); err == nil {
			t.Errorf("level %g was taken", level)
		}
	}
	for k := Kind(0); k < NumKinds; k++ {
		if got, ok := ParseKind(k.String()); !ok || got != k || k.About() == "" {
			t.Errorf("kind %d is named %q", k, k)
		}
	}
}

// A shutdown shows: the inlet is vented, the tank stays charged.
func TestShutdownLeavesTheTankCharged(t *testing.T) {
	sp := plant(t)[0]
	s := New(sp, start, 0)
	s.Until(start.Add(30 * station.Second))
	s.Cause(Fault{Kind: Shutdown})
	var in, out float64
	for _, b := range s.Until(start.Add(90 * station.Second)) {
		switch b.Channel {
		case station.InletPressure:
			in = b.Values[b.Len()-1]
		case station.OutletPressure:
			out = b.Values[b.Len()-1]
		}
	}
	if in > 20e3 || out < 800e3 {
		t.Errorf("inlet %g, outlet %g Pa", in, out)
	}
}

// The model's definition of duty is the analyzer's: the two share no code, so a test holds them
// together.
func TestDutyIsDefinedOnce(t *testing.T) {
	if model.SlowestStroke*1e9 != float64(station.SlowestStroke) || station.Gauge(model.FedAbove) != station.FedAbove {
		t.Errorf("model: %g s, %g Pa; station: %d ns, %g Pa", model.SlowestStroke, model.FedAbove, station.SlowestStroke, float64(station.FedAbove))
	}
}
