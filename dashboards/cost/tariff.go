package cost

import (
	"cmp"
	"math"
	"slices"
	"time"

	"strokewise/analyzer/station"
)

// Tariffs are a site's rates with the time from which each is in force, in that order. A nil one knows nothing.
type Tariffs struct {
	Zone *time.Location // of Hours; nil: UTC
	List []Tariff
}

// Always is the begin of a tariff that was in force from the first.
const Always = station.Instant(math.MinInt64)

// Tariff is in force from From on, up to the next one of its list.
type Tariff struct {
	From station.Instant
	Rates
	Hours []Hours // with another price; they do not overlap
}

// Hours are a span of the day on some days of the week, by the site's clock, with a price of its own in the
// tariff's currency. One whose end is not after its start runs into the next day.
type Hours struct {
	Days     [7]bool // by time.Weekday, on which it starts
	From, To int     // minutes since midnight, up to 1,440
	Price    int64   // 1e-9 of the currency per kWh
}

// Contain reports whether the span covers a minute of the day on a day of the week.
func (h *Hours) Contain(day time.Weekday, minute int) bool {
	if h.From < h.To {
		return h.Days[day] && h.From <= minute && minute < h.To
	}
	return h.Days[day] && minute >= h.From || h.Days[(day+6)%7] && minute < h.To
}

// Of returns what the air of a minute took and cost: its volume at the rates that are in force when it starts. It is
// not known where the air is not.
func (t *Tariffs) Of(m *station.Minute) Charge {
	if m.AirReason != "" {
		return Charge{}
	}
	r := t.At(m.Start)
	return r.charge(m.Inlet)
}

// At returns the rates in force at a time.
func (t *Tariffs) At(at station.Instant) Rates {
	if t == nil {
		return Rates{}
	}
	n, found := slices.BinarySearchFunc(t.List, at, func(x Tariff, at station.Instant) int { return cmp.Compare(x.From, at) })
	if !found {
		n--
	}
	if n < 0 {
		return Rates{}
	}
	x := &t.List[n]
	r := x.Rates
	if len(x.Hours) == 0 {
		return r
	}
	clock := at.Time().In(t.Location())
	for i := range x.Hours {
		if x.Hours[i].Contain(clock.Weekday(), clock.Hour()*60+clock.Minute()) {
			r.Price = x.Hours[i].Price
		}
	}
	return r
}

// Location returns the site's zone.
func (t *Tariffs) Location() *time.Location {
	if t.Zone == nil {
		return time.UTC
	}
	return t.Zone
}

// Knows returns rates of which those are above zero that any of the tariffs has.
func (t *Tariffs) Knows() Rates {
	var out Rates
	if t == nil {
		return out
	}
	for i := range t.List {
		out.Energy, out.Carbon = max(out.Energy, t.List[i].Energy), max(out.Carbon, t.List[i].Carbon)
	}
	return out
}

// MeanPrice returns the mean price over a week of uninterrupted use, in units of the currency per kWh.
func (x *Tariff) MeanPrice() float64 {
	const week = 7 * 1440
	sum := 0.0
	for m := range week {
		price := x.Price
		for i := range x.Hours {
			if x.Hours[i].Contain(time.Weekday(m/1440), m%1440) {
				price = x.Hours[i].Price
			}
		}
		sum += float64(price)
	}
	return sum / week / 1e9
}

// DayBegins returns the first minute of a day in a zone. Where the clock skips midnight that is the first minute after
// it, where midnight comes twice the first of them.
func DayBegins(zone *time.Location, year int, month time.Month, day int) station.Instant {
	near := time.Date(year, month, day, 0, 0, 0, 0, zone) // where there is no midnight or two, some hour beside it
	y, m, d := time.Date(year, month, day, 12, 0, 0, 0, zone).Date()
	for at := near.Add(-3 * time.Hour); at.Sub(near) < 3*time.Hour; at = at.Add(time.Minute) {
		if ly, lm, ld := at.Date(); ly == y && lm == m && ld == d {
			return station.InstantOf(at)
		}
	}
	return station.InstantOf(near)
}
