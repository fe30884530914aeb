package model

import "testing"

// BenchmarkAdvance runs a doubling station that strokes most of the time, sampled at
// 20 Hz, and reports how many times faster than the clock.
func BenchmarkAdvance(b *testing.B) {
	p := Default()
	p.Demand = constant(2.5e-3)
	s := New(Doubling(), p, 950e3)
	n := 0
	for b.Loop() {
		n++
		s.Advance(float64(n) / 20)
	}
	b.ReportMetric(float64(n)/20/b.Elapsed().Seconds(), "times-real-time")
	if s.Strokes() == 0 && n > 100 {
		b.Fatal("it does not stroke")
	}
}

// BenchmarkAdvanceEverything runs a station with every feature at work.
func BenchmarkAdvanceEverything(b *testing.B) {
	s := more()
	n := 0
	for b.Loop() {
		n++
		s.Advance(float64(n) / 20)
	}
	b.ReportMetric(float64(n)/20/b.Elapsed().Seconds(), "times-real-time")
}
