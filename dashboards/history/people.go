package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// people stores what people did and said, with the commit of the log entries that hold it:
// a replay does not store it twice.
func (tx *transaction) people(c *Commit) error {
	for i := range c.Acts {
		if err := tx.act(&c.Acts[i]); err != nil {
			return fmt.Errorf("what %q did: %w", c.Acts[i].Who, err)
		}
	}
	for i := range c.Notes {
		if err := tx.note(&c.Notes[i]); err != nil {
			return fmt.Errorf("note on station %s: %w", c.Notes[i].Key, err)
		}
	}
	return nil
}

func (tx *transaction) note(n *Note) error {
	id, err := tx.id(n.Key)
	if err == nil {
		_, err = tx.ExecContext(tx.ctx, `INSERT INTO notes (station, at, who, text, outcome, reason, service, date) VALUES (`+marks(8)+`)`,
			id, int64(n.At), n.Who, n.Text, n.Outcome.Result.String(), n.Outcome.Reason, n.Service.String(), n.Date)
	}
	return err
}

// LastActs gives the newest lines of the audit, at most so many, the newest first.
func (s *Store) LastActs(ctx context.Context, most int) ([]Act, error) {
	return s.acts(ctx, `ORDER BY id DESC LIMIT ?`, most)
}

// ActsBack returns at most so many lines of the audit behind the newest ones that are skipped, the newest first.
func (s *Store) ActsBack(ctx context.Context, skip, most int) ([]Act, error) {
	return s.acts(ctx, `ORDER BY id DESC LIMIT ? OFFSET ?`, most, skip)
}

// NotesBack returns at most so many notes of all stations behind the newest ones that are skipped, the newest first.
func (s *Store) NotesBack(ctx context.Context, skip, most int) ([]Note, error) {
	return s.notes(ctx, `ORDER BY n.at DESC, n.id DESC LIMIT ? OFFSET ?`, most, skip)
}

// LastNotes gives the newest notes of a station, or with the zero key of all, at most so
// many, the newest first.
func (s *Store) LastNotes(ctx context.Context, k station.Key, most int) ([]Note, error) {
	const newest = `ORDER BY n.at DESC, n.id DESC LIMIT ?`
	if k != (station.Key{}) {
		return s.notes(ctx, `WHERE s.site = ? AND s.station = ? `+newest, k.Site, k.Station, most)
	}
	return s.notes(ctx, newest, most)
}

func (s *Store) notes(ctx context.Context, rest string, args ...any) ([]Note, error) {
	var out []Note
	err := s.each(ctx, "notes", func(rows *sql.Rows) error {
		var n Note
		err := n.scan(rows, &n.Key.Site, &n.Key.Station)
		out = append(out, n)
		return err
	}, `SELECT `+noteColumns+`, s.site, s.station FROM notes n JOIN stations s ON s.id = n.station `+rest, args...)
	return out, err
}

// LatestActs returns, for one kind of act and each target, the newest line of the audit that had effect, or the newest
// one where none had: a word that was refused does not undo the one before it.
func (s *Store) LatestActs(ctx context.Context, what string) (map[string]Act, error) {
	out := map[string]Act{}
	err := s.each(ctx, "the audit", func(rows *sql.Rows) error {
		var a Act
		err := a.scan(rows)
		out[a.Target] = a
		return err
	}, `SELECT `+actColumns+` FROM audit WHERE id IN (SELECT coalesce(max(CASE WHEN outcome NOT IN (?, ?) THEN id END), max(id))
		FROM audit WHERE what = ? GROUP BY target)`, rules.Refused.String(), rules.NoEffect.String(), what)
	return out, err
}

// ActsOf returns the lines of the audit of one kind of act, in the order in which they were written.
func (s *Store) ActsOf(ctx context.Context, what string) ([]Act, error) {
	return s.acts(ctx, `WHERE what = ? ORDER BY id`, what)
}

// Declarations returns the lines of the audit on declared work, and of each person the newest word
// "vented" of each station that had effect, in the order in which they were written.
func (s *Store) Declarations(ctx context.Context) ([]Act, error) {
	return s.acts(ctx, `WHERE what IN ('at-work', 'work-ended') OR id IN (SELECT max(id) FROM audit
		WHERE what = 'vented' AND outcome NOT IN (?, ?) GROUP BY target, who) ORDER BY id`, rules.Refused.String(), rules.NoEffect.String())
}

// Strokes returns the strokes of a station in the hours that begin in [from, to), and the
// minutes in them whose strokes are not known, gaps included.
func (s *Store) Strokes(ctx context.Context, k station.Key, from, to station.Instant) (strokes, lost int64, err error) {
	err = s.each(ctx, "hours", func(rows *sql.Rows) error {
		return rows.Scan(&strokes, &lost)
	}, `SELECT coalesce(sum(strokes), 0), coalesce(sum(uncounted), 0) FROM hours WHERE `+ofStation+` AND start >= ? AND start < ?`, k.Site, k.Station, int64(from), int64(to))
	if err != nil {
		return 0, 0, err
	}
	gaps, err := s.Gaps(ctx, k, from, to)
	for _, g := range gaps {
		lost += g.Within(from, to).Minutes()
	}
	return strokes, lost, err
}

// Target names a station, or an alarm of it, in the audit.
func Target(k station.Key, alarm string) string {
	if alarm == "" {
		return k.String()
	}
	return k.String() + " " + alarm
}

// StrokesSince returns the strokes of a station in the minutes that begin at from or later, and when
// the newest minute ends: 0 where there is none.
func (s *Store) StrokesSince(ctx context.Context, k station.Key, from station.Instant) (strokes int64, until station.Instant, err error) {
	err = s.each(ctx, "minutes", func(rows *sql.Rows) error {
		return rows.Scan(&strokes, &until)
	}, `SELECT coalesce(sum(strokes), 0), coalesce(max(start) + 60000000000, 0) FROM minutes WHERE `+ofStation+` AND start >= ?`, k.Site, k.Station, int64(from))
	return strokes, until, err
}
