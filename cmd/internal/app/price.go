package app

import (
	"slices"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// price values the unit's finished minutes, each at the tariff in force when it starts. What is stored keeps its price,
// so a minute is valued for good in the commit that stores it.
func (p *partition) price(u *unit) []cost.Charge {
	u.prices = charges(u.prices[:0], u.Out.Minutes, p.catalog.tariffs[u.key.Site])
	return u.prices
}

// charges appends what minutes cost to dst.
func charges(dst []cost.Charge, minutes []station.Minute, tariffs *cost.Tariffs) []cost.Charge {
	dst = slices.Grow(dst, len(minutes))
	for i := range minutes {
		dst = append(dst, tariffs.Of(&minutes[i]))
	}
	return dst
}
