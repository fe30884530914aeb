// Package cost tells what compressed air costs: energy, money and carbon dioxide.
package cost

import "strokewise/analyzer/station"

// Rates are what a site pays for its air. A zero rate is not known.
type Rates struct {
	SpecificEnergy float64       // J per m³ ANR that the compressors take, whatever the reference of volumes
	Price          station.Price // of energy
	CO2            float64       // kg per J of energy
}

// Sum is what a station, or several, used over a time.
type Sum struct {
	Inlet, InletLow, InletHigh station.Microlitres // air drawn, with its 90 % band (bands of hours added: their errors go together)
	Exhaust                    station.Microlitres // of it, the drive's
	Delivered                  station.Microlitres
	Leak                       station.Microlitres // lost at the outlet while the leak was known
	LeakNs                     int64               // for how long it was known, ns
	Airless                    int64               // minutes whose air is unknown
	Minutes                    int64
}

// Add adds another sum.
func (s *Sum) Add(o *Sum) {
	s.Minutes += o.Minutes
	s.Airless += o.Airless
	s.Inlet, s.InletLow, s.InletHigh = s.Inlet+o.Inlet, s.InletLow+o.InletLow, s.InletHigh+o.InletHigh
	s.Exhaust += o.Exhaust
	s.Delivered += o.Delivered
	s.Leak, s.LeakNs = s.Leak+o.Leak, s.LeakNs+o.LeakNs
}

// LeakAtInlet gives what the leak drew at the inlet: a litre lost behind a booster took its
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

// AirPrice returns the price of a cubic metre of air; the zero value if a rate is not known.
func (r *Rates) AirPrice() station.AirPrice { return station.PriceOfAir(r.SpecificEnergy, r.Price) }

// Energy gives the energy of a volume, J, and false if the rate is not known.
func (r *Rates) Energy(v station.Microlitres) (float64, bool) {
	return v.CubicMetres() * r.SpecificEnergy, r.SpecificEnergy > 0
}

// Money gives what a volume costs in r.Price.Currency, and false if a rate is not known.
func (r *Rates) Money(v station.Microlitres) (float64, bool) {
	e, ok := r.Energy(v)
	return e * r.Price.PerJoule, ok && r.Price.PerJoule > 0
}

// Carbon gives the carbon dioxide of a volume, kg, and false if a rate is not known.
func (r *Rates) Carbon(v station.Microlitres) (float64, bool) {
	e, ok := r.Energy(v)
	return e * r.CO2, ok && r.CO2 > 0
}
