package station

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

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

// AirPriceStep is a price of air that is in force from From on.
type AirPriceStep struct {
	From Instant
	AirPrice
}

// AirPriceText returns steps, in order of From, as a plate carries them: "FROM PRICE CURRENCY" with commas between, FROM
// in Unix seconds. A price that is not known is a zero without a currency.
func AirPriceText(steps []AirPriceStep) string {
	parts := make([]string, len(steps))
	for i, s := range steps {
		parts[i] = strings.TrimSpace(fmt.Sprintf("%d %s %s", int64(s.From)/Second, strconv.FormatFloat(s.PerCubicMetre, 'g', -1, 64), s.Currency))
	}
	return strings.Join(parts, ",")
}

// ReadAirPrices parses what AirPriceText returned.
func ReadAirPrices(text string) ([]AirPriceStep, error) {
	if text == "" {
		return nil, nil
	}
	var out []AirPriceStep
	for part := range strings.SplitSeq(text, ",") {
		fields := strings.Fields(part)
		if len(fields) == 2 {
			fields = append(fields, "")
		}
		if len(fields) != 3 {
			return nil, fmt.Errorf("cannot read price of air %.40q: expected a time, a price and a currency", part)
		}
		from, err := strconv.ParseInt(fields[0], 10, 64)
		price, err2 := strconv.ParseFloat(fields[1], 64)
		if err != nil || err2 != nil || from > math.MaxInt64/Second || from < math.MinInt64/Second {
			return nil, fmt.Errorf("cannot read price of air %.40q: expected a time, a price and a currency", part)
		}
		out = append(out, AirPriceStep{Instant(from * Second), AirPrice{price, fields[2]}})
	}
	return out, nil
}

// AirPriceAt returns the price in force at t: that of the newest step begun, before all of them first.
func AirPriceAt(first AirPrice, steps []AirPriceStep, t Instant) AirPrice {
	for i := len(steps) - 1; i >= 0; i-- {
		if steps[i].From <= t {
			return steps[i].AirPrice
		}
	}
	return first
}
