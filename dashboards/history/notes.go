package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Note is what a person says of a station at a time.
type Note struct {
	Key  station.Key
	At   station.Instant
	Who  string
	Text string
	// Service and Date are of the service that the note is about, if it is about one.
	Service station.ServiceKind
	Date    string
	// Outcome is that of the command which the note is about.
	Outcome rules.Outcome
}

// Act is a line of the audit: what a person or the program did. Nothing deletes it.
type Act struct {
	At     station.Instant
	Who    string
	What   string // "restore", "acknowledge"
	Target string
	Detail string // in the person's or the program's own words
	// What a person's command says beside its words.
	Until    station.Instant
	Cause    station.Cause
	Service  station.ServiceKind
	Date     string
	Document string
	// Outcome is that of a person's command; without a result where none is known (yet).
	Outcome rules.Outcome
}

// AddNote stores a note, also of a station that has nothing stored yet.
func (s *Store) AddNote(ctx context.Context, n Note) error {
	if _, err := s.transact(ctx, func(tx *transaction) error { return tx.note(&n) }); err != nil {
		return fmt.Errorf("cannot store a note on station %s in history database %q: %w", n.Key, s.path, err)
	}
	return nil
}

// Notes gives the notes of a station in [from, to), in order of time.
func (s *Store) Notes(ctx context.Context, k station.Key, from, to station.Instant) ([]Note, error) {
	var out []Note
	err := s.each(ctx, "notes", func(rows *sql.Rows) error {
		n := Note{Key: k}
		err := n.scan(rows)
		out = append(out, n)
		return err
	}, `SELECT `+noteColumns+` FROM notes n WHERE `+ofStation+` AND at >= ? AND at < ? ORDER BY at, id`, k.Site, k.Station, int64(from), int64(to))
	return out, err
}

// AddAct stores a line of the audit.
func (s *Store) AddAct(ctx context.Context, a Act) error {
	if _, err := s.transact(ctx, func(tx *transaction) error { return tx.act(&a) }); err != nil {
		return fmt.Errorf("cannot store what %s did in history database %q: %w", a.Who, s.path, err)
	}
	return nil
}

func (tx *transaction) act(a *Act) error {
	_, err := tx.ExecContext(tx.ctx, `INSERT INTO audit (at, who, what, target, detail, outcome, reason, until, cause, service, date, document) VALUES (`+marks(12)+`)`,
		int64(a.At), a.Who, a.What, a.Target, a.Detail, a.Outcome.Result.String(), a.Outcome.Reason,
		int64(a.Until), a.Cause.String(), a.Service.String(), a.Date, a.Document)
	return err
}

// Acts gives the audit in [from, to), in order of time.
func (s *Store) Acts(ctx context.Context, from, to station.Instant) ([]Act, error) {
	return s.acts(ctx, `WHERE at >= ? AND at < ? ORDER BY at, id`, int64(from), int64(to))
}

// acts gives the lines of the audit that the rest of a query, behind FROM, asks for.
func (s *Store) acts(ctx context.Context, rest string, args ...any) ([]Act, error) {
	var out []Act
	err := s.each(ctx, "the audit", func(rows *sql.Rows) error {
		var a Act
		err := a.scan(rows)
		out = append(out, a)
		return err
	}, `SELECT `+actColumns+` FROM audit `+rest, args...)
	return out, err
}
