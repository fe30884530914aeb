package board

import "strokewise/analyzer/station"

// Since are sums over the minutes that were committed since the program's start. Air is at ANR.
type Since struct {
	// Leak is what left through the leak in the minutes in which it is known, LeakNs their covered time.
	Leak   station.Microlitres
	LeakNs int64
	// The ends of the 90 % bands, added up: errors of minutes are taken to go together.
	InletLow, InletHigh         station.Microlitres
	ExhaustLow, ExhaustHigh     station.Microlitres
	DeliveredLow, DeliveredHigh station.Microlitres
	Bands                       bool // a minute had air
}

// Add adds a minute.
func (s *Since) Add(m *station.Minute) {
	if m.Leak.Known() && m.Leak.Method != station.MethodBound && m.Covered > 0 {
		s.Leak += station.Microlitres(m.Leak.Value * float64(m.Covered)) // m³/s times ns is µL
		s.LeakNs += m.Covered
	}
	if m.AirReason != "" {
		return
	}
	s.Bands = true
	s.InletLow += m.InletLow
	s.InletHigh += m.InletHigh
	low, high := m.ExhaustBand()
	s.ExhaustLow += low
	s.ExhaustHigh += high
	s.DeliveredLow += m.DeliveredLow
	s.DeliveredHigh += m.DeliveredHigh
}
