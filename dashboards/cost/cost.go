// Package cost values air: energy, money and carbon dioxide, in whole numbers, by tariffs with a date.
package cost

import "strokewise/analyzer/station"

// Sum is what a station, or several, used over a time.
type Sum struct {
	Inlet, InletLow, InletHigh station.Microlitres // air drawn, with its 90 % band (bands of hours added: their errors go together)
	Exhaust                    station.Microlitres // of it, the drive's
	Delivered                  station.Microlitres
	Leak                       station.Microlitres // lost at the outlet while the leak was known
	LeakNs                     int64               // for how long it was known, ns
	Airless                    int64               // minutes whose air is unknown
	Minutes                    int64
	Revised                    int64   // of them, those that samples which came late have rebuilt
	Account                    Account // what was stored of energy, money and carbon dioxide
}

// Add adds another sum.
func (s *Sum) Add(o *Sum) {
	s.Minutes += o.Minutes
	s.Airless += o.Airless
	s.Revised += o.Revised
	s.Inlet, s.InletLow, s.InletHigh = s.Inlet+o.Inlet, s.InletLow+o.InletLow, s.InletHigh+o.InletHigh
	s.Exhaust += o.Exhaust
	s.Delivered += o.Delivered
	s.Leak, s.LeakNs = s.Leak+o.Leak, s.LeakNs+o.LeakNs
	for _, l := range o.Account {
		s.Account.Add(l)
	}
}

// LeakAtInlet returns what the leak drew at the inlet: a litre lost behind a booster took its
// drive air as well,
//
//	leak * inlet / delivered
//
// at most all of it. Zero where nothing was delivered.
func (s *Sum) LeakAtInlet() station.Microlitres {
	if s.Delivered <= 0 {
		return 0
	}
	return min(s.Inlet, station.Microlitres(station.AtInlet(float64(s.Leak), float64(s.Inlet)/float64(s.Delivered))))
}
