package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// scanOutcome reads the columns outcome and reason, then those in more.
func scanOutcome(rows *sql.Rows, o *rules.Outcome, more ...any) error {
	var result string
	if err := rows.Scan(append([]any{&result, &o.Reason}, more...)...); err != nil {
		return err
	}
	o.Result, _ = rules.ParseResult(result) // of a newer program: unknown
	return nil
}

// actColumns are the columns of the audit in the order of Act.scan.
const actColumns = `outcome, reason, at, who, what, target, detail, until, cause, service, date, document`

func (a *Act) scan(rows *sql.Rows) error {
	var cause, service string
	err := scanOutcome(rows, &a.Outcome, &a.At, &a.Who, &a.What, &a.Target, &a.Detail, &a.Until, &cause, &service, &a.Date, &a.Document)
	a.Cause, _ = station.ParseCause(cause) // of a newer program: none
	a.Service, _ = station.ParseService(service)
	return err
}

// noteColumns are the columns of notes, as n, in the order of Note.scan.
const noteColumns = `n.outcome, n.reason, n.at, n.who, n.text, n.service, n.date`

// scan reads noteColumns, then those in more.
func (n *Note) scan(rows *sql.Rows, more ...any) error {
	var service string
	err := scanOutcome(rows, &n.Outcome, append([]any{&n.At, &n.Who, &n.Text, &service, &n.Date}, more...)...)
	n.Service, _ = station.ParseService(service)
	return err
}

// ActsAt returns the lines of the audit of one instant.
func (s *Store) ActsAt(ctx context.Context, at station.Instant) ([]Act, error) {
	return s.acts(ctx, `WHERE at = ? ORDER BY id`, int64(at))
}

// Decided is the outcome of a command about a header, known after the command was stored.
type Decided struct {
	Key station.Key
	Act Act // Detail is not looked at
}

// decided stores the outcome with the command's line in the audit and with its note.
func (tx *transaction) decided(d *Decided) error {
	o := &d.Act.Outcome
	if _, err := tx.ExecContext(tx.ctx, `UPDATE audit SET outcome = ?, reason = ? WHERE at = ? AND who = ? AND what = ? AND target = ?`,
		o.Result.String(), o.Reason, int64(d.Act.At), d.Act.Who, d.Act.What, d.Act.Target); err != nil {
		return fmt.Errorf("outcome of %s on %s: %w", d.Act.What, d.Act.Target, err)
	}
	id, err := tx.id(d.Key)
	if err == nil {
		_, err = tx.ExecContext(tx.ctx, `UPDATE notes SET outcome = ?, reason = ? WHERE station = ? AND at = ? AND who = ?`,
			o.Result.String(), o.Reason, id, int64(d.Act.At), d.Act.Who)
	}
	if err != nil {
		return fmt.Errorf("outcome of a note on %s: %w", d.Key, err)
	}
	return nil
}
