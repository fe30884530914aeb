package cost

import (
	"math"
	"math/bits"

	"strokewise/analyzer/station"
)

// Rates are what a site pays for its air, in whole numbers, so that sums of what they make of volumes are exact. A zero
// is not known; a price of zero with a currency is.
type Rates struct {
	Energy   int64  // mJ per m³ ANR that the compressors take, whatever the reference of volumes
	Price    int64  // of energy, 1e-9 of Currency per kWh
	Currency string // three capital letters; "": the price is not known
	Carbon   int64  // µg of carbon dioxide per kWh
}

// The kilowatt-hour is 3.6 MJ by definition.
const mJPerKWh = 3_600_000_000

// Bounds of what can be a rate. They keep the products below within 64 bits.
const (
	MostPrice = 1e6 // of a kWh, in units of the currency
	mostRate  = 1e17
)

// mostAmount is the most that a minute can take or cost: 2,800 kWh, ten million units of the currency, 10 t of carbon
// dioxide. A minute that ends a silence has all that the counter went on by, so this is what a large station takes in
// weeks. What is beyond is not known.
const mostAmount = 10_000_000_000_000

// RatesOf returns the rates of a specific energy, J per m³ ANR, a price and an emission, kg/J, each rounded to the units
// of Rates: a price in decimals of at most nine places is kept exactly.
func RatesOf(energy float64, price station.Price, carbon float64) Rates {
	r := Rates{Energy: whole(energy * 1e3), Price: whole(price.PerKWh() * 1e9), Currency: price.Currency, Carbon: whole(carbon * 3.6e6 * 1e9)}
	if price.PerKWh() > MostPrice {
		r.Price, r.Currency = 0, ""
	}
	return r
}

// whole returns the nearest whole number, 0 for what cannot be a rate.
func whole(x float64) int64 {
	if x > 0 && x < mostRate {
		return int64(math.Round(x))
	}
	return 0
}

// charge returns what a volume takes and costs:
//
//	energy = volume * Energy / 1e9          mJ, of µL and mJ/m³
//	money  = energy * Price / 3.6e12        1e-6 of Currency
//	carbon = energy * Carbon / 3.6e9        µg
//
// Each is rounded once, half away from zero, so a minute is wrong by half a millijoule and half a millionth of the
// currency at most. Nothing is known without Energy.
func (r *Rates) charge(v station.Microlitres) Charge {
	c := Charge{Inlet: v}
	if r.Energy <= 0 {
		return Charge{}
	}
	var ok bool
	if c.Energy, ok = scale(int64(v), r.Energy, 1e9); !ok {
		return Charge{}
	}
	c.Known = true
	if r.Currency != "" {
		if c.Money, ok = scale(c.Energy, r.Price, mJPerKWh*1000); ok {
			c.Currency = r.Currency
		}
	}
	if r.Carbon > 0 {
		c.Carbon, c.CarbonKnown = scale(c.Energy, r.Carbon, mJPerKWh)
	}
	return c
}

// scale returns a*b/d, rounded half up, and false where it is more than mostAmount or a factor is negative.
func scale(a, b, d int64) (int64, bool) {
	if a < 0 || b < 0 {
		return 0, false
	}
	high, low := bits.Mul64(uint64(a), uint64(b))
	low, carry := bits.Add64(low, uint64(d/2), 0)
	high += carry
	if high >= uint64(d) {
		return 0, false
	}
	q, _ := bits.Div64(high, low, uint64(d))
	return int64(q), q <= mostAmount
}

// PerCubicMetre returns what a cubic metre ANR costs, in units of Currency, for what is estimated and not stored.
func (r *Rates) PerCubicMetre() float64 {
	return float64(r.Energy) / mJPerKWh * float64(r.Price) / 1e9
}
