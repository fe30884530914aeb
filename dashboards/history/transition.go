package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// transitionColumns are the columns of a transition in the order of transitionValues.
const transitionColumns = `branch, alarm, priority, from_state, to_state, at, raised, message, caution, evidence, by, why, cause, shelved_until, shelved_once, shelf_end, first`

// transitionSelect reads transitions (as t) with their station's key (as s).
const transitionSelect = `s.site, s.station, t.branch, t.alarm, t.priority, t.from_state, t.to_state, t.at, t.raised, t.message, t.caution, t.evidence, t.by, t.why, t.cause, t.shelved_until, t.shelved_once, t.shelf_end, t.first, t.explained`

func transitionValues(dst []any, t *rules.Transition) []any {
	return append(dst, t.Branch, t.Alarm, t.Priority.String(), t.From.String(), t.To.String(),
		int64(t.At), int64(t.Raised), t.Message, t.Caution, evidenceJSON(t.Evidence), t.By, t.Why,
		t.Cause.String(), int64(t.ShelvedUntil), t.ShelvedOnce, t.ShelfEnd.String(), t.First)
}

// evidenceJSON gives the evidence as JSON. A value that JSON cannot hold becomes text:
// it must not keep an alarm from being stored.
func evidenceJSON(list []rules.Evidence) string {
	clean := make([]rules.Evidence, len(list))
	copy(clean, list)
	for i := range clean {
		if e := &clean[i]; math.IsNaN(e.Value) || math.IsInf(e.Value, 0) {
			if e.Text == "" {
				e.Text = "not a number"
			}
			e.Value = 0
		}
	}
	out, err := json.Marshal(clean)
	if err != nil {
		panic("BUG: evidence of finite numbers and text does not encode: " + err.Error())
	}
	return string(out)
}

// scanTransition reads the columns of transitionSelect, then those in more.
func scanTransition(rows *sql.Rows, t *rules.Transition, more ...any) error {
	var priority, from, to, evidence, cause, end string
	dst := []any{&t.Key.Site, &t.Key.Station, &t.Branch, &t.Alarm, &priority, &from, &to, &t.At, &t.Raised, &t.Message, &t.Caution, &evidence, &t.By, &t.Why,
		&cause, &t.ShelvedUntil, &t.ShelvedOnce, &end, &t.First, &t.Explained}
	if err := rows.Scan(append(dst, more...)...); err != nil {
		return err
	}
	t.Cause, _ = station.ParseCause(cause) // of a newer program: none
	t.ShelfEnd = rules.ParseShelfEnd(end)
	t.Priority, t.From, t.To = priorities[priority], alarmStates[from], alarmStates[to]
	if err := json.Unmarshal([]byte(evidence), &t.Evidence); err != nil {
		return fmt.Errorf("evidence of %s: %w", t.ID(), err)
	}
	if len(t.Evidence) == 0 {
		t.Evidence = nil
	}
	return nil
}

// OpenAlarms gives the latest transition of each alarm that is not normal, ordered by
// site, station and alarm.
func (s *Store) OpenAlarms(ctx context.Context) ([]rules.Transition, error) {
	out, err := s.transitions(ctx, `SELECT `+transitionSelect+` FROM transitions t JOIN stations s ON s.id = t.station
		WHERE t.seq IN (SELECT max(seq) FROM transitions GROUP BY station, alarm) AND t.to_state <> ?
		ORDER BY s.site, s.station, t.alarm`, rules.Normal.String())
	for i := 0; i < len(out) && err == nil; i++ {
		if out[i].Message == "" {
			err = s.lastWords(ctx, &out[i])
		}
	}
	return out, err
}

// lastWords gives a transition that says nothing, such as an acknowledgement, the message of
// the last one before it that did, of the same occurrence.
func (s *Store) lastWords(ctx context.Context, t *rules.Transition) error {
	return s.each(ctx, "transitions", func(rows *sql.Rows) error { return rows.Scan(&t.Message) },
		`SELECT t.message FROM transitions t JOIN stations s ON s.id = t.station
		WHERE s.site = ? AND s.station = ? AND t.alarm = ? AND t.raised = ? AND t.message <> '' ORDER BY t.seq DESC LIMIT 1`,
		t.Key.Site, t.Key.Station, t.Alarm, int64(t.Raised))
}

// Transitions gives the transitions in [from, to) of a station, or with the zero key of
// all stations, in order of time.
func (s *Store) Transitions(ctx context.Context, k station.Key, from, to station.Instant) ([]rules.Transition, error) {
	q := `SELECT ` + transitionSelect + ` FROM transitions t JOIN stations s ON s.id = t.station WHERE t.at >= ? AND t.at < ?`
	args := []any{int64(from), int64(to)}
	if k != (station.Key{}) {
		q += ` AND s.site = ? AND s.station = ?`
		args = append(args, k.Site, k.Station)
	}
	return s.transitions(ctx, q+` ORDER BY t.at, t.seq`, args...)
}

func (s *Store) transitions(ctx context.Context, query string, args ...any) ([]rules.Transition, error) {
	var out []rules.Transition
	err := s.each(ctx, "transitions", func(rows *sql.Rows) error {
		var t rules.Transition
		if err := scanTransition(rows, &t); err != nil {
			return err
		}
		out = append(out, t)
		return nil
	}, query, args...)
	return out, err
}
