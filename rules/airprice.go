package rules

import "strokewise/analyzer/station"

// airPrices are the plate's prices of air, read once. They follow from the plate, so they are no part of snapshots.
type airPrices struct {
	text  string // of the plate
	steps []station.AirPriceStep
}

// at returns the price in force at t: a tariff takes effect at its time, whatever was begun since. A text of another
// program changes nothing.
func (a *airPrices) at(p *station.Plate, t station.Instant) station.AirPrice {
	if p.AirPrices != a.text {
		a.text = p.AirPrices
		a.steps, _ = station.ReadAirPrices(a.text)
	}
	return station.AirPriceAt(p.AirPrice, a.steps, t)
}

// airPrice returns the price of air in force at the newest step.
func (v *Evaluator) airPrice() station.AirPrice { return v.prices.at(v.plate, v.last().At) }
