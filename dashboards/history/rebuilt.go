package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
)

// Rebuilt is what a station's samples lead to once those that came late are in their places.
type Rebuilt struct {
	Key       station.Key
	Revision  uint32 // of the engine
	Segment   uint32
	From, To  station.Instant // whole minutes that were worked off anew
	Minutes   []station.Minute
	Charges   []cost.Charge // of Minutes, one each
	Gaps      []station.Gap
	Intervals []station.Interval // one behind the other; the last may be open and ends where the others are known
	Figures   []station.HourFigure
	UpTo      uint64 // position of the log
	At        time.Time
}

// Correction is by how much sums of a station changed.
type Correction struct {
	Minutes int // that are revised
	Totals  board.Totals
	Costs   cost.Account
	Ceiling Ceiling
}

// Ceiling is what shown counters had reached before a correction.
type Ceiling struct {
	Totals board.Totals
	Costs  cost.Account
}

// Rebuild puts what was rebuilt in the place of what is stored of the same minutes, with all sums that they are in, in one
// transaction. What comes out as it is stored stays untouched; the rest is marked as revised and exported again. Late
// records whose minutes are among these are done.
func (s *Store) Rebuild(ctx context.Context, r *Rebuilt) (Correction, error) {
	var c *correcting
	_, err := s.transact(ctx, func(tx *transaction) error {
		id, err := tx.id(r.Key)
		if err != nil {
			return err
		}
		c = &correcting{transaction: tx, id: id, r: r, hours: make(map[station.Instant]bool)}
		return c.run()
	})
	if err != nil {
		return Correction{}, fmt.Errorf("cannot store rebuilt minutes of %s in history database %q: %w", r.Key, s.path, err)
	}
	return c.Correction, nil
}

// correcting is the transaction of a Rebuild.
type correcting struct {
	*transaction
	Correction
	id    int64
	r     *Rebuilt
	sums  costs
	hours map[station.Instant]bool // that changed
}

func (c *correcting) run() error {
	for _, step := range [...]func() error{c.raiseCeiling, c.putMinutes, c.putGaps, c.putIntervals, c.putFigures, c.sumUp, c.done} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// stored is a minute as it stands, with its charge.
type stored struct {
	minute station.Minute
	charge cost.Charge
}

func (c *correcting) was() (map[station.Instant]stored, error) {
	rows, err := c.QueryContext(c.ctx, `SELECT `+readColumns+`, `+chargeColumns+` FROM minutes WHERE station = ? AND start >= ? AND start < ? AND segment = ?`,
		c.id, int64(c.r.From), int64(c.r.To), int64(c.r.Segment))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := make(map[station.Instant]stored)
	for rows.Next() {
		var x stored
		if x.charge, err = scanCharged(rows, &x.minute); err != nil {
			return nil, err
		}
		out[x.minute.Start] = x
	}
	return out, rows.Err()
}

func (c *correcting) putMinutes() error {
	was, err := c.was()
	if err != nil {
		return err
	}
	for i := range c.r.Minutes {
		m := &c.r.Minutes[i]
		old, had := was[m.Start]
		delete(was, m.Start)
		if had && sameMinute(&old.minute, m) {
			continue
		}
		if had {
			if err := c.remove(&old); err != nil {
				return err
			}
		}
		if err := c.insert(m, &c.r.Charges[i]); err != nil {
			return fmt.Errorf("minute %s: %w", m.Start, err)
		}
	}
	for _, old := range was {
		if err := c.remove(&old); err != nil {
			return err
		}
	}
	return c.closeCosts(c.id, &c.sums)
}

func (c *correcting) remove(old *stored) error {
	m := &old.minute
	if _, err := c.ExecContext(c.ctx, `DELETE FROM minutes WHERE station = ? AND start = ? AND segment = ?`, c.id, int64(m.Start), int64(m.Segment)); err != nil {
		return err
	}
	var t board.Totals
	t.Add(m)
	c.Totals.Sub(&t)
	c.hours[m.Start.Floor(hourLen)] = true
	l := old.charge.Line().Less()
	c.Costs.Add(l)
	return c.charged(c.id, &c.sums, m, l)
}

func (c *correcting) insert(m *station.Minute, charge *cost.Charge) error {
	c.args = chargeValues(minuteValues(append(c.args[:0], c.id, int64(c.r.Revision)), m), charge)
	if _, err := c.stmt.minute.ExecContext(c.ctx, c.args...); err != nil {
		return err
	}
	if _, err := c.ExecContext(c.ctx, `UPDATE minutes SET revised = ? WHERE station = ? AND start = ? AND segment = ?`, c.r.At.Unix(), c.id, int64(m.Start), int64(m.Segment)); err != nil {
		return err
	}
	c.Minutes++
	c.Totals.Add(m)
	c.hours[m.Start.Floor(hourLen)] = true
	c.Costs.Add(charge.Line())
	if err := c.charged(c.id, &c.sums, m, charge.Line()); err != nil {
		return err
	}
	return c.queue(c.id, int64(m.Start), int64(m.Segment), nil, nil)
}

// putGaps replaces the gaps within the span; what of one lies outside stays.
func (c *correcting) putGaps() error {
	old, err := c.oldGaps()
	if err != nil {
		return err
	}
	var list []station.Gap
	for _, g := range old {
		if _, err := c.ExecContext(c.ctx, `DELETE FROM gaps WHERE station = ? AND start = ? AND segment = ?`, c.id, int64(g.From), int64(g.Segment)); err != nil {
			return err
		}
		c.Totals.StateNs[station.Blind] -= g.Ns()
		list = append(list, g.Within(0, c.r.From), g.Within(c.r.To, 0))
	}
	for _, g := range append(list, c.r.Gaps...) {
		if g.To <= g.From {
			continue
		}
		if _, err := c.stmt.gap.ExecContext(c.ctx, c.id, int64(g.From), int64(c.r.Segment), int64(c.r.Revision), int64(g.To)); err != nil {
			return fmt.Errorf("gap %s: %w", g.From, err)
		}
		c.Totals.AddGap(g)
	}
	return nil
}

func (c *correcting) oldGaps() (out []station.Gap, err error) {
	rows, err := c.QueryContext(c.ctx, `SELECT start, "end" FROM gaps WHERE station = ? AND segment = ? AND start < ? AND "end" > ?`,
		c.id, int64(c.r.Segment), int64(c.r.To), int64(c.r.From))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		g := station.Gap{Segment: c.r.Segment}
		if err := rows.Scan(&g.From, &g.To); err != nil {
			return nil, err
		}
		out = append(out, g)
	}
	return out, rows.Err()
}

// putIntervals replaces the states within what was rebuilt, up to where the running analysis has its open one.
func (c *correcting) putIntervals() error {
	if len(c.r.Intervals) == 0 {
		return nil
	}
	from, until := c.r.Intervals[0].From, c.r.Intervals[len(c.r.Intervals)-1].To
	var newest sql.NullInt64
	if err := c.QueryRowContext(c.ctx, `SELECT max("end") FROM intervals WHERE station = ? AND segment = ?`, c.id, int64(c.r.Segment)).Scan(&newest); err != nil {
		return err
	}
	if newest.Valid {
		until = min(until, station.Instant(newest.Int64))
	}
	if until <= from {
		return nil
	}
	// one that begins within and ends behind keeps its end
	if _, err := c.ExecContext(c.ctx, `INSERT INTO intervals (station, start, segment, revision, "end", state)
		SELECT station, ?4, segment, revision, "end", state FROM intervals WHERE station = ?1 AND segment = ?2 AND start >= ?3 AND start < ?4 AND "end" > ?4`,
		c.id, int64(c.r.Segment), int64(from), int64(until)); err != nil {
		return err
	}
	if _, err := c.ExecContext(c.ctx, `DELETE FROM intervals WHERE station = ? AND segment = ? AND start >= ? AND start < ?`,
		c.id, int64(c.r.Segment), int64(from), int64(until)); err != nil {
		return err
	}
	for _, v := range c.r.Intervals {
		if v.To = min(v.To, until); v.To <= v.From {
			continue
		}
		if _, err := c.stmt.interval.ExecContext(c.ctx, c.id, int64(v.From), int64(c.r.Segment), int64(c.r.Revision), int64(v.To), v.State.String()); err != nil {
			return fmt.Errorf("interval %s: %w", v.From, err)
		}
	}
	return nil
}

// putFigures replaces the figures of the hours that came out otherwise.
func (c *correcting) putFigures() error {
	by := make(map[station.Instant][]station.HourFigure)
	for _, f := range c.r.Figures {
		by[f.Hour] = append(by[f.Hour], f)
	}
	for hour, list := range by {
		was, err := c.oldFigures(hour)
		if err != nil {
			return err
		}
		if sameFigures(was, list) {
			continue
		}
		if err := c.refigure(c.id, &ClosedHour{Start: hour, Segment: c.r.Segment, Figures: list}); err != nil {
			return err
		}
	}
	return nil
}

func (c *correcting) oldFigures(hour station.Instant) (map[string][]any, error) {
	rows, err := c.QueryContext(c.ctx, `SELECT `+figureColumns+` FROM figures f WHERE station = ? AND start = ? AND segment = ?`, c.id, int64(hour), int64(c.r.Segment))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := make(map[string][]any)
	for rows.Next() {
		var f station.HourFigure
		if _, err := scanFigure(rows, &f); err != nil {
			return nil, err
		}
		out[station.Figures[f.Figure].Name] = figureValues(nil, &f)
	}
	return out, rows.Err()
}

// sumUp sums the touched hours up anew and corrects the totals.
func (c *correcting) sumUp() error {
	for start := range c.hours {
		if err := c.rehour(c.id, c.r.Revision, start, c.r.Segment); err != nil {
			return err
		}
	}
	return errors.Join(c.addCosts(c.id, c.sums.total), c.add(c.id, &c.Totals))
}

// done notes the late records whose minutes are closed now.
func (c *correcting) done() error {
	_, err := c.ExecContext(c.ctx, `UPDATE late SET done = 1 WHERE station = ? AND position <= ? AND last < ? AND done = 0`, c.id, int64(c.r.UpTo), int64(c.r.To))
	return err
}

// raiseCeiling keeps what the sums had reached.
func (c *correcting) raiseCeiling() error {
	old, err := c.ceiling()
	if err != nil {
		return err
	}
	now, err := c.reached()
	if err != nil {
		return err
	}
	c.Ceiling = Ceiling{old.Totals.AtLeast(&now.Totals), old.Costs.AtLeast(now.Costs)}
	text, err := json.Marshal(&c.Ceiling)
	if err != nil {
		return err
	}
	_, err = c.ExecContext(c.ctx, `INSERT INTO ceilings (station, counted) VALUES (?, ?) ON CONFLICT DO UPDATE SET counted = excluded.counted`, c.id, string(text))
	return err
}

func (c *correcting) ceiling() (out Ceiling, err error) {
	var text string
	err = c.QueryRowContext(c.ctx, `SELECT counted FROM ceilings WHERE station = ?`, c.id).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return out, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(text), &out)
	}
	return out, err
}

// reached returns the sums as they stand.
func (c *correcting) reached() (out Ceiling, err error) {
	t := &out.Totals
	dst := []any{&t.Strokes, &t.Inlet, &t.Exhaust, &t.Delivered}
	for i := range t.StateNs {
		dst = append(dst, &t.StateNs[i])
	}
	err = c.QueryRowContext(c.ctx, `SELECT strokes, inlet, exhaust, delivered, `+stateColumns+` FROM totals WHERE station = ?`, c.id).Scan(dst...)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return out, err
	}
	rows, err := c.QueryContext(c.ctx, `SELECT `+costColumns+` FROM total_costs WHERE station = ?`, c.id)
	if err != nil {
		return out, err
	}
	defer rows.Close()
	for rows.Next() {
		var l cost.Line
		if err := rows.Scan(lineFields(nil, &l)...); err != nil {
			return out, err
		}
		out.Costs.Add(l)
	}
	return out, rows.Err()
}

// Ceilings returns what shown counters had reached before corrections, by station.
func (s *Store) Ceilings(ctx context.Context) (map[station.Key]Ceiling, error) {
	out := make(map[station.Key]Ceiling)
	err := s.each(ctx, "ceilings", func(rows *sql.Rows) error {
		var k station.Key
		var text string
		var c Ceiling
		if err := rows.Scan(&k.Site, &k.Station, &text); err != nil {
			return err
		}
		err := json.Unmarshal([]byte(text), &c)
		out[k] = c
		return err
	}, `SELECT s.site, s.station, counted FROM ceilings c JOIN stations s ON s.id = c.station`)
	return out, err
}
