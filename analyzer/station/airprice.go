package station

// YearHours is a year of uninterrupted running, h: what people quote costs a year for.
const YearHours = 8760

// AirPrice is what compressed air costs. The zero value is not known.
type AirPrice struct {
	PerCubicMetre float64 `json:",omitempty"` // m³ ANR, in units of Currency
	Currency      string  `json:",omitempty"` // three capital letters
}

// PriceOfAir returns what air costs that takes energy J per m³ ANR; the zero value where energy or price is
// not known.
func PriceOfAir(energy float64, p Price) AirPrice {
	if energy <= 0 || p.PerJoule <= 0 {
		return AirPrice{}
	}
	return AirPrice{PerCubicMetre: energy * p.PerJoule, Currency: p.Currency}
}

// Known reports whether the price is known.
func (p AirPrice) Known() bool { return p.PerCubicMetre > 0 }

// Year returns what a flow, m³/s ANR, costs over YearHours, in units of Currency; 0 where the price is not known.
func (p AirPrice) Year(flow float64) float64 { return flow * YearHours * 3600 * p.PerCubicMetre }

// AtInlet returns what the inlet draws for air that is lost behind the booster: each litre takes its drive air
// as well,
//
//	lost * inlet / delivered
//
// Volumes or flows, all in one unit. A ratio below one, which no booster has, counts as one.
func AtInlet(lost, inletOverDelivered float64) float64 { return lost * max(1, inletOverDelivered) }
