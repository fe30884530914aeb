package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Told is what the receivers of a history have been told of: every transition of the log up to
// Positions, and of headers up to Headers, less what Pending names. A process that works off the
// same log with another history does not tell it again.
type Told struct {
	Positions [station.Partitions]uint64 `json:"positions"`
	Headers   []Upto                     `json:"headers,omitempty"` // sorted by key
	Pending   []Pending                  `json:"pending,omitempty"` // sorted
}

// Upto is the event time of the newest transition of a header, which has no position.
type Upto struct {
	Site    string          `json:"site"`
	Station string          `json:"station"`
	At      station.Instant `json:"at"`
}

// Pending is an alarm of which a receiver waits for everything since a time. An alarm's
// transitions are told in order, so that those before have been told.
type Pending struct {
	Receiver string          `json:"receiver"`
	Site     string          `json:"site"`
	Station  string          `json:"station"`
	Alarm    string          `json:"alarm"`
	Since    station.Instant `json:"since"`
}

func (p *Pending) compare(o *Pending) int {
	return cmp.Or(cmp.Compare(p.Receiver, o.Receiver), cmp.Compare(p.Site, o.Site), cmp.Compare(p.Station, o.Station), cmp.Compare(p.Alarm, o.Alarm))
}

func (u *Upto) compare(o *Upto) int {
	return cmp.Or(cmp.Compare(u.Site, o.Site), cmp.Compare(u.Station, o.Station))
}

// waits reports whether a receiver still waits for a transition.
func (t *Told) waits(receiver string, x *rules.Transition) bool {
	p := Pending{Receiver: receiver, Site: x.Key.Site, Station: x.Key.Station, Alarm: x.Alarm}
	n, ok := slices.BinarySearchFunc(t.Pending, &p, func(a Pending, b *Pending) int { return a.compare(b) })
	return ok && x.At >= t.Pending[n].Since
}

// covers reports whether a header's transition is one of those that were concluded.
func (t *Told) covers(x *rules.Transition) bool {
	u := Upto{Site: x.Key.Site, Station: x.Key.Station}
	n, ok := slices.BinarySearchFunc(t.Headers, &u, func(a Upto, b *Upto) int { return a.compare(b) })
	return ok && x.At <= t.Headers[n].At
}

// Heard reports whether a receiver needs not be told of a transition. One of a station is told
// where its entry lies at or below Positions, which the caller knows.
func (t *Told) Heard(receiver string, x *rules.Transition) bool {
	if t == nil {
		return false
	}
	if _, header := x.Key.Header(); header && !t.covers(x) {
		return false
	}
	return !t.waits(receiver, x)
}

// Sort brings what was read into the order in which it is searched.
func (t *Told) Sort() {
	slices.SortFunc(t.Headers, func(a, b Upto) int { return a.compare(&b) })
	slices.SortFunc(t.Pending, func(a, b Pending) int { return a.compare(&b) })
}

// Told reads what the receivers have been told of, all at one moment.
func (s *Store) Told(ctx context.Context) (*Told, error) {
	t := new(Told)
	tx, err := s.read.BeginTx(ctx, nil)
	if err == nil {
		defer tx.Rollback()
		err = t.read(ctx, tx)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read what was told from history database %q: %w", s.path, err)
	}
	t.Sort()
	return t, nil
}

func (t *Told) read(ctx context.Context, tx *sql.Tx) error {
	if err := scanAll(ctx, tx, func(rows *sql.Rows) error {
		var n int
		var p int64
		err := rows.Scan(&n, &p)
		if err == nil && n >= 0 && n < len(t.Positions) {
			t.Positions[n] = uint64(p)
		}
		return err
	}, `SELECT partition, position FROM positions`); err != nil {
		return err
	}
	if err := scanAll(ctx, tx, func(rows *sql.Rows) error {
		var u Upto
		err := rows.Scan(&u.Site, &u.Station, &u.At)
		t.Headers = append(t.Headers, u)
		return err
	}, `SELECT s.site, s.station, max(t.at) FROM header_states h JOIN stations s ON s.id = h.header JOIN transitions t ON t.station = h.header GROUP BY s.id`); err != nil {
		return err
	}
	return scanAll(ctx, tx, func(rows *sql.Rows) error {
		var p Pending
		err := rows.Scan(&p.Receiver, &p.Site, &p.Station, &p.Alarm, &p.Since)
		t.Pending = append(t.Pending, p)
		return err
	}, `SELECT o.receiver, s.site, s.station, o.alarm, min(t.at) FROM outbox o JOIN transitions t ON t.seq = o.transition JOIN stations s ON s.id = o.station
		GROUP BY o.receiver, o.station, o.alarm`)
}

func scanAll(ctx context.Context, tx *sql.Tx, scan func(*sql.Rows) error, query string) error {
	rows, err := tx.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// DropTold removes from the outbox what another process has told meanwhile: items of partitions
// that stand at or below its positions, and of headers, less what it had not told. It returns
// how many these were.
func (s *Store) DropTold(ctx context.Context, t *Told) (int, error) {
	have, err := s.Positions(ctx)
	if err != nil {
		return 0, err
	}
	var drop []int64
	err = s.each(ctx, "outbox", func(rows *sql.Rows) error {
		var id int64
		var receiver string
		var x rules.Transition
		if err := rows.Scan(&id, &receiver, &x.Key.Site, &x.Key.Station, &x.Alarm, &x.At); err != nil {
			return err
		}
		_, header := x.Key.Header()
		n := x.Key.Partition()
		if (header || have[n] <= t.Positions[n]) && t.Heard(receiver, &x) {
			drop = append(drop, id)
		}
		return nil
	}, `SELECT o.id, o.receiver, s.site, s.station, o.alarm, t.at FROM outbox o JOIN transitions t ON t.seq = o.transition JOIN stations s ON s.id = o.station`)
	if err != nil || len(drop) == 0 {
		return 0, err
	}
	return len(drop), s.OutboxDoneAll(ctx, drop)
}
