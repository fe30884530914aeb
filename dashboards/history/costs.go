package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// chargeColumns are the columns of a minute's charge in the order of chargeValues and charge.
const chargeColumns = `energy, money, currency, carbon`

// chargeValues appends the values of chargeColumns to dst; NULL is what is not known.
func chargeValues(dst []any, c *cost.Charge) []any {
	var energy, money, currency, carbon any
	if c.Known {
		energy = c.Energy
	}
	if c.Known && c.Currency != "" {
		money, currency = c.Money, c.Currency
	}
	if c.Known && c.CarbonKnown {
		carbon = c.Carbon
	}
	return append(dst, energy, money, currency, carbon)
}

// scanCharged reads a minute by readColumns, its charge by chargeColumns, and what more the row has.
func scanCharged(rows *sql.Rows, m *station.Minute, more ...any) (cost.Charge, error) {
	var c chargeRow
	err := scanMinute(rows, m, append(c.fields(), more...)...)
	return c.charge(m.Inlet), err
}

// chargeRow reads the columns of chargeColumns.
type chargeRow struct {
	energy, money, carbon sql.NullInt64
	currency              sql.NullString
}

func (r *chargeRow) fields() []any { return []any{&r.energy, &r.money, &r.currency, &r.carbon} }

// charge returns what the row says of a minute that drew inlet.
func (r *chargeRow) charge(inlet station.Microlitres) cost.Charge {
	if !r.energy.Valid {
		return cost.Charge{}
	}
	return cost.Charge{Known: true, Inlet: inlet, Energy: r.energy.Int64, Money: r.money.Int64, Currency: r.currency.String,
		Carbon: r.carbon.Int64, CarbonKnown: r.carbon.Valid}
}

// costColumns are the columns of a sum of charges, in the order of lineValues and lineFields.
const costColumns = `currency, minutes, inlet, energy, money, carbon_minutes, carbon`

// costAdd adds a row of costColumns to what is there, up to cost.MostSum: a sum that overflowed would refuse commits for
// ever.
var costAdd = fmt.Sprintf(` ON CONFLICT DO UPDATE SET minutes = minutes + excluded.minutes, inlet = inlet + excluded.inlet,
	energy = min(energy + excluded.energy, %[1]d), money = min(money + excluded.money, %[1]d),
	carbon_minutes = carbon_minutes + excluded.carbon_minutes, carbon = min(carbon + excluded.carbon, %[1]d)`, int64(cost.MostSum))

func lineValues(dst []any, l *cost.Line) []any {
	return append(dst, l.Currency, l.Minutes, int64(l.Inlet), l.Energy, l.Money, l.CarbonMinutes, l.Carbon)
}

func lineFields(dst []any, l *cost.Line) []any {
	return append(dst, &l.Currency, &l.Minutes, &l.Inlet, &l.Energy, &l.Money, &l.CarbonMinutes, &l.Carbon)
}

// costs are the sums of charges that a transaction has not written yet.
type costs struct {
	start   station.Instant
	segment uint32
	hour    cost.Account
	total   cost.Account
}

// charged adds the charge of a stored minute to its hour; minutes come in order of time, so that a commit writes an hour
// of a station once.
func (tx *transaction) charged(id int64, c *costs, m *station.Minute, l cost.Line) error {
	start := m.Start.Floor(hourLen)
	if c.start != start || c.segment != m.Segment {
		if err := tx.closeCosts(id, c); err != nil {
			return err
		}
		c.start, c.segment = start, m.Segment
	}
	c.hour.Add(l)
	c.total.Add(l)
	return nil
}

// closeCosts stores what has been added up of an hour.
func (tx *transaction) closeCosts(id int64, c *costs) error {
	for i := range c.hour {
		tx.args = lineValues(append(tx.args[:0], id, int64(c.start), int64(c.segment)), &c.hour[i])
		if _, err := tx.stmt.hourCost.ExecContext(tx.ctx, tx.args...); err != nil {
			return fmt.Errorf("costs of hour %s: %w", c.start, err)
		}
	}
	c.hour = c.hour[:0]
	return nil
}

// addCosts adds to the costs of a station since the history began to keep them.
func (tx *transaction) addCosts(id int64, a cost.Account) error {
	for i := range a {
		tx.args = lineValues(append(tx.args[:0], id), &a[i])
		if _, err := tx.stmt.totalCost.ExecContext(tx.ctx, tx.args...); err != nil {
			return fmt.Errorf("total costs: %w", err)
		}
	}
	return nil
}

// recharge subtracts the stored charge of a minute that is replaced from its hour and the totals, and adds another.
func (tx *transaction) recharge(id int64, c *Changed) error {
	var r chargeRow
	err := tx.QueryRowContext(tx.ctx, `SELECT `+chargeColumns+` FROM minutes WHERE station = ? AND start = ? AND segment = ?`,
		id, int64(c.Was.Start), int64(c.Was.Segment)).Scan(r.fields()...)
	if err != nil {
		return err
	}
	was := r.charge(c.Was.Inlet)
	var sums costs
	for _, l := range [...]cost.Line{was.Line().Less(), c.Charge.Line()} {
		if err := tx.charged(id, &sums, &c.Is, l); err != nil {
			return err
		}
	}
	if err := tx.closeCosts(id, &sums); err != nil {
		return err
	}
	return tx.addCosts(id, sums.total)
}

// TotalCosts returns the committed costs of all stations: the sums over the stored minutes that were counted in totals.
func (s *Store) TotalCosts(ctx context.Context) (map[station.Key]cost.Account, error) {
	out := make(map[station.Key]cost.Account)
	err := s.each(ctx, "total costs", func(rows *sql.Rows) error {
		var k station.Key
		var l cost.Line
		if err := rows.Scan(lineFields([]any{&k.Site, &k.Station}, &l)...); err != nil {
			return err
		}
		a := out[k]
		a.Add(l)
		out[k] = a
		return nil
	}, `SELECT s.site, s.station, `+costColumns+` FROM total_costs t JOIN stations s ON s.id = t.station WHERE minutes > 0`)
	return out, err
}

// Costs returns what was stored of a station's costs in the hours that start in [from, to).
func (s *Store) Costs(ctx context.Context, k station.Key, from, to station.Instant) (cost.Account, error) {
	var out cost.Account
	err := s.each(ctx, "costs", func(rows *sql.Rows) error {
		var l cost.Line
		if err := rows.Scan(lineFields(nil, &l)...); err != nil {
			return err
		}
		out.Add(l)
		return nil
	}, `SELECT `+costColumns+` FROM hour_costs WHERE `+ofStation+` AND start >= ? AND start < ? AND minutes > 0`,
		k.Site, k.Station, int64(from), int64(to))
	return out, err
}
