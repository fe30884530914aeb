package history

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
)

// Point is a state of a station's engine to work late samples off from. It holds nothing of what follows in the log from a
// record of an entry on.
type Point struct {
	Key      station.Key
	Position uint64
	Record   int             // within the entry
	Floor    station.Instant // samples from here on are not in it
	Segment  uint32
	Version  string
	State    []byte // nil where points are only listed
}

// Hole is a silence of a pressure after which the station was analysed without it.
type Hole struct {
	Key      station.Key
	Channel  station.Channel
	From, To station.Instant // To 0: it lasts
}

// Late is a record of the log with samples that came too late and lie in a hole.
type Late struct {
	Key         station.Key
	Position    uint64
	Record      int
	First, Last station.Instant
	Since       station.Instant // start of the hole
	Arrival     station.Instant
	Samples     int // that came late
}

// LateNews is what a partition has noticed of samples that come late.
type LateNews struct {
	Points []Point
	Holes  []Hole
	Late   []Late
}

// lateNews stores what a partition noticed. Points and late records that are stored already stay.
func (tx *transaction) lateNews(n *LateNews) error {
	for i := range n.Points {
		x := &n.Points[i]
		sum := sha256.Sum256(x.State)
		if err := tx.ofStation(x.Key, `INSERT INTO points (station, position, record, floor, segment, version, checksum, state) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO NOTHING`, int64(x.Position), x.Record, int64(x.Floor), int64(x.Segment), x.Version, sum[:], x.State); err != nil {
			return err
		}
	}
	for i := range n.Holes {
		x := &n.Holes[i]
		if err := tx.ofStation(x.Key, `INSERT INTO holes (station, channel, start, "end") VALUES (?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET "end" = excluded."end"`, x.Channel.String(), int64(x.From), int64(x.To)); err != nil {
			return err
		}
	}
	for i := range n.Late {
		x := &n.Late[i]
		if err := tx.ofStation(x.Key, `INSERT INTO late (station, position, record, first, last, since, arrival, samples, done) VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0)
			ON CONFLICT DO NOTHING`, int64(x.Position), x.Record, int64(x.First), int64(x.Last), int64(x.Since), int64(x.Arrival), x.Samples); err != nil {
			return err
		}
	}
	return nil
}

// ofStation runs a statement whose first argument is a station's number.
func (tx *transaction) ofStation(k station.Key, query string, args ...any) error {
	id, err := tx.id(k)
	if err == nil {
		_, err = tx.ExecContext(tx.ctx, query, append([]any{id}, args...)...)
	}
	if err != nil {
		return fmt.Errorf("late samples of %s: %w", k, err)
	}
	return nil
}

// Points returns the points of all stations, without their states, each station's in order of the log.
func (s *Store) Points(ctx context.Context) ([]Point, error) {
	var out []Point
	err := s.each(ctx, "points", func(rows *sql.Rows) error {
		var x Point
		err := rows.Scan(&x.Key.Site, &x.Key.Station, &x.Position, &x.Record, &x.Floor, &x.Segment, &x.Version)
		out = append(out, x)
		return err
	}, `SELECT s.site, s.station, position, record, floor, segment, version FROM points p JOIN stations s ON s.id = p.station ORDER BY p.station, position, record`)
	return out, err
}

// Point reads the state of a point.
func (s *Store) Point(ctx context.Context, x *Point) error {
	var sum []byte
	err := s.read.QueryRowContext(ctx, `SELECT state, checksum FROM points WHERE `+ofStation+` AND position = ? AND record = ?`,
		x.Key.Site, x.Key.Station, int64(x.Position), x.Record).Scan(&x.State, &sum)
	if is := sha256.Sum256(x.State); err == nil && string(is[:]) != string(sum) {
		err = fmt.Errorf("it is damaged")
	}
	if err != nil {
		return fmt.Errorf("cannot read the point of %s at position %d from history database %q: %w", x.Key, x.Position, s.path, err)
	}
	return nil
}

// Holes returns the holes of all stations, each station's in order of time.
func (s *Store) Holes(ctx context.Context) ([]Hole, error) {
	var out []Hole
	err := s.each(ctx, "holes", func(rows *sql.Rows) error {
		var x Hole
		var channel string
		err := rows.Scan(&x.Key.Site, &x.Key.Station, &channel, &x.From, &x.To)
		if c, ok := station.ParseChannel(channel); ok {
			x.Channel = c
			out = append(out, x)
		}
		return err
	}, `SELECT s.site, s.station, channel, start, "end" FROM holes h JOIN stations s ON s.id = h.station ORDER BY h.station, start`)
	return out, err
}

// Waiting is what waits of a station to be rebuilt.
type Waiting struct {
	Key            station.Key
	Records        int64
	Since          station.Instant // start of the oldest hole
	Oldest, Newest station.Instant // arrival
}

// LateWaiting returns what waits to be rebuilt, by station.
func (s *Store) LateWaiting(ctx context.Context) ([]Waiting, error) {
	var out []Waiting
	err := s.each(ctx, "late samples", func(rows *sql.Rows) error {
		var w Waiting
		err := rows.Scan(&w.Key.Site, &w.Key.Station, &w.Records, &w.Since, &w.Oldest, &w.Newest)
		out = append(out, w)
		return err
	}, `SELECT s.site, s.station, count(*), min(since), min(arrival), max(arrival) FROM late l JOIN stations s ON s.id = l.station
		WHERE done = 0 GROUP BY l.station ORDER BY s.site, s.station`)
	return out, err
}

// Late returns a station's late records from a position on up to another, in order of the log: also those that were worked
// off, since a rebuilding begins anew.
func (s *Store) Late(ctx context.Context, k station.Key, from, to uint64) ([]Late, error) {
	var out []Late
	err := s.each(ctx, "late samples", func(rows *sql.Rows) error {
		x := Late{Key: k}
		err := rows.Scan(&x.Position, &x.Record, &x.First, &x.Last, &x.Since, &x.Arrival, &x.Samples)
		out = append(out, x)
		return err
	}, `SELECT position, record, first, last, since, arrival, samples FROM late WHERE `+ofStation+` AND position >= ? AND position <= ? ORDER BY position, record`,
		k.Site, k.Station, int64(from), int64(to))
	return out, err
}

// GiveUpLate notes that what waits of a station cannot be worked off, and returns how many samples that are.
func (s *Store) GiveUpLate(ctx context.Context, k station.Key) (samples int64, err error) {
	_, err = s.transact(ctx, func(tx *transaction) error {
		id, err := tx.id(k)
		if err != nil {
			return err
		}
		if err := tx.QueryRowContext(tx.ctx, `SELECT coalesce(sum(samples), 0) FROM late WHERE station = ? AND done = 0`, id).Scan(&samples); err != nil {
			return err
		}
		_, err = tx.ExecContext(tx.ctx, `UPDATE late SET done = 1 WHERE station = ? AND done = 0`, id)
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("cannot give up late samples of %s in history database %q: %w", k, s.path, err)
	}
	return samples, nil
}

// mostPoints is how many points a station keeps, the newest. Own choice.
const mostPoints = 32

// ForgetLate removes what no late sample can need any more: points and late records that lie before what the log holds, all
// but the newest points of each station, and holes that ended before a time.
func (s *Store) ForgetLate(ctx context.Context, before station.Instant, first uint64) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		for _, q := range [...]struct {
			text string
			args []any
		}{
			{`DELETE FROM points WHERE position < ?`, []any{int64(first)}},
			{`DELETE FROM points WHERE (station, position, record) IN (SELECT station, position, record FROM
				(SELECT station, position, record, row_number() OVER (PARTITION BY station ORDER BY position DESC, record DESC) AS n FROM points) WHERE n > ?)`, []any{mostPoints}},
			{`DELETE FROM holes WHERE "end" > 0 AND "end" < ?`, []any{int64(before)}},
			{`DELETE FROM late WHERE done = 1 AND position < ?`, []any{int64(first)}}, // a rebuilding from any point needs the others
		} {
			if _, err := tx.ExecContext(tx.ctx, q.text, q.args...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("cannot forget points of late samples in history database %q: %w", s.path, err)
	}
	return nil
}
