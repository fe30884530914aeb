package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// statements are those of a commit, prepared once.
type statements struct {
	station, position, minute, gap, interval, hour, figure, totals, transition, outbox, export *sql.Stmt

	hourCost, totalCost *sql.Stmt
}

func (s *statements) prepare(ctx context.Context, db *sql.DB) error {
	for _, p := range [...]struct {
		to   **sql.Stmt
		text string
	}{
		{&s.station, `INSERT INTO stations (site, station) VALUES (?, ?)`},
		{&s.position, `INSERT INTO positions (partition, position) VALUES (?, ?)
			ON CONFLICT DO UPDATE SET position = excluded.position WHERE excluded.position > position`},
		{&s.minute, `INSERT INTO minutes (station, revision, ` + minuteColumns + `, ` + chargeColumns + `) VALUES (` + marks(37) + `) ON CONFLICT DO NOTHING`},
		{&s.gap, `INSERT INTO gaps (station, start, segment, revision, "end") VALUES (` + marks(5) + `) ON CONFLICT DO NOTHING`},
		{&s.interval, `INSERT INTO intervals (station, start, segment, revision, "end", state) VALUES (` + marks(6) + `) ON CONFLICT DO NOTHING`},
		{&s.hour, fmt.Sprintf(hourUpsert, marks(34))},
		{&s.figure, figureInsert},
		{&s.totals, `INSERT INTO totals (station, strokes, ` + stateColumns + `, inlet, exhaust, delivered) VALUES (` + marks(13) + `)
			ON CONFLICT DO UPDATE SET strokes = strokes + excluded.strokes, blind = blind + excluded.blind,
			"off" = "off" + excluded."off", charging = charging + excluded.charging, stroking = stroking + excluded.stroking,
			holding = holding + excluded.holding, starved = starved + excluded.starved, venting = venting + excluded.venting,
			residual = residual + excluded.residual, inlet = inlet + excluded.inlet, exhaust = exhaust + excluded.exhaust,
			delivered = delivered + excluded.delivered`},
		{&s.hourCost, `INSERT INTO hour_costs (station, start, segment, ` + costColumns + `) VALUES (` + marks(10) + `)` + costAdd},
		{&s.totalCost, `INSERT INTO total_costs (station, ` + costColumns + `) VALUES (` + marks(8) + `)` + costAdd},
		{&s.transition, `INSERT INTO transitions (id, station, ` + transitionColumns + `) VALUES (` + marks(19) + `) ON CONFLICT (id) DO NOTHING`},
		{&s.outbox, `INSERT INTO outbox (receiver, transition, station, alarm, due) VALUES (?, ?, ?, ?, ?)`},
		{&s.export, `INSERT INTO export_queue (minute_of, minute_start, minute_segment, transition, figure) VALUES (?, ?, ?, ?, ?)`},
	} {
		var err error
		if *p.to, err = db.PrepareContext(ctx, p.text); err != nil {
			return fmt.Errorf("cannot prepare %q: %w", p.text, err)
		}
	}
	return nil
}

func (s *statements) close() error {
	var errs []error
	for _, st := range [...]*sql.Stmt{s.station, s.position, s.minute, s.gap, s.interval, s.hour, s.figure, s.totals, s.transition, s.outbox, s.export, s.hourCost, s.totalCost} {
		if st != nil {
			errs = append(errs, st.Close())
		}
	}
	return errors.Join(errs...)
}

// Commit stores the commits in one transaction: all of them or, with an error, none.
// It fails with ErrStale if one of them is at or below the stored position of its
// partition. A commit that has begun is not cut short by ctx. Minutes, intervals and
// transitions that are stored already stay as they are.
func (s *Store) Commit(ctx context.Context, commits []Commit) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	repeated, err := s.transact(ctx, func(tx *transaction) error {
		for i := range commits {
			if err := tx.commit(&commits[i]); err != nil {
				return fmt.Errorf("partition %d at position %d: %w", commits[i].Partition, commits[i].Position, err)
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("cannot commit to history database %q: %w", s.path, err)
	}
	s.repeated.Add(repeated)
	return nil
}

// Import stores minutes and intervals of a past that was worked out beside the log: no
// position moves and no total grows. What is stored already stays as it is.
func (s *Store) Import(ctx context.Context, past StationMinutes) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		tx.past = true
		return tx.minutes(&past)
	})
	if err != nil {
		return fmt.Errorf("cannot import station %s into history database %q: %w", past.Key, s.path, err)
	}
	return nil
}

// transact runs f in one writing transaction, which ctx does not cut short, and gives how
// many minutes were stored already.
func (s *Store) transact(ctx context.Context, f func(*transaction) error) (repeated int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	defer func() { s.met(err) }()
	tx, err := s.begin(context.WithoutCancel(ctx))
	if err != nil {
		return 0, err
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return 0, full(err)
	}
	if err := tx.Commit(); err != nil {
		return 0, full(err)
	}
	for k, id := range tx.ids {
		s.ids[k] = id
	}
	return tx.repeated, nil
}

// transaction is one writing transaction. What it learns becomes the store's when it
// has been committed.
type transaction struct {
	*sql.Tx
	ctx      context.Context
	store    *Store
	stmt     statements
	ids      map[station.Key]int64 // new stations
	repeated int64
	args     []any
	past     bool // imported: no totals, no total costs
}

func (s *Store) begin(ctx context.Context) (*transaction, error) {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	st := &s.stmt
	return &transaction{Tx: tx, ctx: ctx, store: s, ids: make(map[station.Key]int64), stmt: statements{
		station: tx.StmtContext(ctx, st.station), position: tx.StmtContext(ctx, st.position),
		minute: tx.StmtContext(ctx, st.minute), gap: tx.StmtContext(ctx, st.gap), interval: tx.StmtContext(ctx, st.interval),
		hour: tx.StmtContext(ctx, st.hour), figure: tx.StmtContext(ctx, st.figure), totals: tx.StmtContext(ctx, st.totals), transition: tx.StmtContext(ctx, st.transition),
		outbox: tx.StmtContext(ctx, st.outbox), export: tx.StmtContext(ctx, st.export),
		hourCost: tx.StmtContext(ctx, st.hourCost), totalCost: tx.StmtContext(ctx, st.totalCost),
	}}, nil
}

func (tx *transaction) commit(c *Commit) error {
	if c.Partition < 0 || c.Partition >= station.Partitions {
		return fmt.Errorf("there is no such partition, they run from 0 to %d", station.Partitions-1)
	}
	if err := tx.advance(c); err != nil {
		return err
	}
	for i := range c.Stations {
		if err := tx.minutes(&c.Stations[i]); err != nil {
			return fmt.Errorf("station %s: %w", c.Stations[i].Key, err)
		}
	}
	for i := range c.Transitions {
		if err := tx.transition(&c.Transitions[i], c.Holding.of(i), c.Holding.Until, c.Told); err != nil {
			return fmt.Errorf("transition %s: %w", c.Transitions[i].ID(), err)
		}
	}
	if err := tx.headerInputs(&c.Holding); err != nil {
		return err
	}
	for i := range c.Learned {
		if err := tx.learned(&c.Learned[i], c.Position); err != nil {
			return fmt.Errorf("station %s: %w", c.Learned[i].Key, err)
		}
	}
	if err := tx.lateNews(&c.Late); err != nil {
		return err
	}
	return tx.people(c)
}

// advance stores the partition's position and refuses one that is not ahead. A part of an entry moves nothing.
func (tx *transaction) advance(c *Commit) error {
	if c.Part {
		return tx.ahead(c)
	}
	n, err := changed(tx.stmt.position.ExecContext(tx.ctx, c.Partition, int64(c.Position)))
	if err == nil && n == 0 {
		return ErrStale
	}
	return err
}

func (tx *transaction) ahead(c *Commit) error {
	var stored int64
	err := tx.QueryRowContext(tx.ctx, `SELECT position FROM positions WHERE partition = ?`, c.Partition).Scan(&stored)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	if err == nil && stored >= int64(c.Position) {
		return ErrStale
	}
	return err
}

// minutes stores minutes, each with what it cost, gaps and intervals of a station, and adds the new
// ones to its hours and totals.
func (tx *transaction) minutes(s *StationMinutes) error {
	id, err := tx.id(s.Key)
	if err != nil {
		return err
	}
	var sum board.Totals
	var hour Hour
	s.Again = Again{}
	var costs costs
	for i := range s.Minutes {
		m, charge := &s.Minutes[i], s.charge(i)
		tx.args = chargeValues(minuteValues(append(tx.args[:0], id, int64(s.Revision)), m), &charge)
		n, err := changed(tx.stmt.minute.ExecContext(tx.ctx, tx.args...))
		if err != nil {
			return fmt.Errorf("minute %s: %w", m.Start, err)
		}
		if n == 0 {
			tx.repeated++
			s.Again.Minutes = append(s.Again.Minutes, i)
			continue
		}
		if err := tx.queue(id, int64(m.Start), int64(m.Segment), nil, nil); err != nil {
			return err
		}
		sum.Add(m)
		if err := tx.hour(id, s.Revision, &hour, m); err != nil {
			return err
		}
		if err := tx.charged(id, &costs, m, charge.Line()); err != nil {
			return err
		}
	}
	if err := errors.Join(tx.closeHour(id, s.Revision, &hour), tx.closeCosts(id, &costs)); err != nil {
		return err
	}
	if err := tx.gaps(id, s, &sum); err != nil {
		return err
	}
	for _, v := range s.Intervals {
		if !tx.past && !tx.store.clip(id, &v) {
			continue
		}
		if _, err := tx.stmt.interval.ExecContext(tx.ctx, id, int64(v.From), int64(v.Segment), int64(s.Revision), int64(v.To), v.State.String()); err != nil {
			return fmt.Errorf("interval %s: %w", v.From, err)
		}
	}
	if err := tx.figures(id, s.Figures); err != nil || tx.past {
		return err
	}
	if err := tx.addCosts(id, costs.total); err != nil {
		return err
	}
	return tx.add(id, &sum)
}

// add adds sum to the totals of a station.
func (tx *transaction) add(id int64, sum *board.Totals) error {
	if *sum == (board.Totals{}) {
		return nil
	}
	args := append(tx.args[:0], id, sum.Strokes)
	for _, ns := range sum.StateNs {
		args = append(args, ns)
	}
	args = append(args, int64(sum.Inlet), int64(sum.Exhaust), int64(sum.Delivered))
	tx.args = args
	if _, err := tx.stmt.totals.ExecContext(tx.ctx, args...); err != nil {
		return fmt.Errorf("totals: %w", err)
	}
	return nil
}

// transition stores a transition and queues it for each receiver, once. One that waits for
// the alarms of a header is due at until, unless they judge it before.
func (tx *transaction) transition(t *rules.Transition, header station.Key, until station.Instant, told *Told) error {
	id, err := tx.id(t.Key)
	if err != nil {
		return err
	}
	res, err := tx.stmt.transition.ExecContext(tx.ctx, transitionValues([]any{t.ID(), id}, t)...)
	n, err := changed(res, err)
	if err != nil || n == 0 {
		return err
	}
	seq, err := res.LastInsertId()
	if err != nil {
		return err
	}
	held := header != (station.Key{}) && !t.Quiet()
	if !held {
		until = 0
	} else if err := tx.headerInput(header, t.Key, t.At, seq, nil); err != nil {
		return err
	}
	for _, r := range tx.store.receivers {
		if t.Quiet() {
			break
		}
		if told.Heard(r, t) {
			continue
		}
		if _, err := tx.stmt.outbox.ExecContext(tx.ctx, r, seq, id, t.Alarm, int64(until)); err != nil {
			return fmt.Errorf("outbox: %w", err)
		}
	}
	return tx.queue(nil, nil, nil, seq, nil)
}

// id gives the number of a station, a new one where it has none.
func (tx *transaction) id(k station.Key) (int64, error) {
	if id, ok := tx.store.ids[k]; ok {
		return id, nil
	}
	if id, ok := tx.ids[k]; ok {
		return id, nil
	}
	res, err := tx.stmt.station.ExecContext(tx.ctx, k.Site, k.Station)
	if err != nil {
		return 0, err
	}
	id, err := res.LastInsertId()
	if err == nil {
		tx.ids[k] = id
	}
	return id, err
}

func changed(res sql.Result, err error) (int64, error) {
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}
