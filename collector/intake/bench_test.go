package intake

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// BenchmarkAccept is what a sound message of 100 samples costs.
func BenchmarkAccept(b *testing.B) {
	in := newIntake(b)
	in.opt.Heard = func(station.Key, station.Instant, station.Instant) {}
	m := Message{Topic: pressure, Payload: []byte(`{"t0":1767225600,"dt":0.01,"v":[` + strings.Repeat("612.4,", 99) + `612.4]}`), Arrival: now}
	b.ReportAllocs()
	for b.Loop() {
		if _, r := in.Accept(&m); r != nil {
			b.Fatal(r)
		}
	}
}
