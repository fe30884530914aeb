package history

import (
	"context"
	"database/sql"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// Priced returns the minutes of a station that start in [from, to), with what was stored of their cost, in order of time,
// then segment.
func (r *Reader) Priced(ctx context.Context, k station.Key, from, to station.Instant) ([]ExportRow, error) {
	var out []ExportRow
	err := r.s.each(ctx, "minutes", func(rows *sql.Rows) error {
		x := ExportRow{Key: k, Minute: new(station.Minute)}
		var err error
		if x.Charge, err = scanCharged(rows, x.Minute); err != nil {
			return err
		}
		out = append(out, x)
		return nil
	}, `SELECT `+readColumns+`, `+chargeColumns+` FROM minutes WHERE `+ofStation+` AND start >= ? AND start < ? ORDER BY start, segment`,
		k.Site, k.Station, int64(from), int64(to))
	return out, err
}

// PricedHours returns the hours of a station that start in [from, to), with the sum of what was stored of the cost of their
// minutes, in order of time, then segment. An hour that has more than one currency has no money.
func (r *Reader) PricedHours(ctx context.Context, k station.Key, from, to station.Instant) ([]ExportRow, error) {
	hours, err := r.s.Hours(ctx, k, from, to)
	if err != nil {
		return nil, err
	}
	type key struct {
		start   station.Instant
		segment uint32
	}
	costs := map[key]cost.Account{}
	err = r.s.each(ctx, "costs of hours", func(rows *sql.Rows) error {
		var at key
		var l cost.Line
		if err := rows.Scan(append([]any{&at.start, &at.segment}, lineFields(nil, &l)...)...); err != nil {
			return err
		}
		a := costs[at]
		a.Add(l)
		costs[at] = a
		return nil
	}, `SELECT start, segment, `+costColumns+` FROM hour_costs WHERE `+ofStation+` AND start >= ? AND start < ? AND minutes > 0`, k.Site, k.Station, int64(from), int64(to))
	out := make([]ExportRow, len(hours))
	for i := range hours {
		h := &hours[i]
		out[i] = ExportRow{Key: k, Hour: h}
		out[i].Charge, out[i].Priced = chargeOf(costs[key{h.Start, h.Segment}])
	}
	return out, err
}

// chargeOf returns an account as one charge, and how many minutes are in it. Money in more than one currency is not known.
func chargeOf(a cost.Account) (c cost.Charge, minutes int64) {
	currencies := 0
	for i := range a {
		l := &a[i]
		c.Known = true
		c.Inlet += l.Inlet
		c.Energy += l.Energy
		c.Carbon += l.Carbon
		c.CarbonKnown = c.CarbonKnown || l.CarbonMinutes > 0
		minutes += l.Minutes
		if l.Currency != "" {
			currencies++
			c.Currency, c.Money = l.Currency, l.Money
		}
	}
	if currencies > 1 {
		c.Currency, c.Money = "", 0
	}
	return c, minutes
}
