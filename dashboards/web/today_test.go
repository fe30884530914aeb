package web

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// Of a silence since midnight the tally says how long it was: what is summed is no sum of the day. Blind minutes that are
// stored are none of it.
func TestTheTallySaysWhatWasNotHeard(t *testing.T) {
	full := station.Minute{Covered: 60e9, Strokes: 30, StrokeMethod: station.MethodCounter, Inlet: 1e6}
	full.StateNs[station.Stroking] = 60e9
	half := full
	half.StateNs[station.Stroking], half.StateNs[station.Blind] = 30e9, 30e9
	minutes := []station.Minute{full, half}
	n := silent(minutes, 30e9+90*station.Minute60)
	if n != 90 {
		t.Fatalf("%d minutes without a sample, want the 90 of the blind time that are in no minute", n)
	}
	const words = "without 90 minutes in which no sample came"
	rows := sums(minutes, n)
	for _, name := range []string{"Strokes", "Inlet air"} {
		found := false
		for _, r := range rows {
			found = found || r.Name == name && strings.Contains(r.How, words)
		}
		if !found {
			t.Errorf("%s does not say %q: %+v", name, words, rows)
		}
	}
	for _, r := range sums(minutes, silent(minutes, 30e9)) {
		if strings.Contains(r.How, "no sample") {
			t.Errorf("without a silence: %+v", r)
		}
	}
}
