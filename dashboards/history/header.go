package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Holding says which transitions of a commit wait for the alarms of their header before
// people are told, and what else those alarms are decided by.
type Holding struct {
	Headers []station.Key   // by transition; zero: told at once
	Until   station.Instant // our clock: then people are told, whatever became of the header
	Feeds   []rules.Feed
	Words   []HeaderWord
}

// HeaderWord is a person's command about a header.
type HeaderWord struct {
	Key     station.Key
	At      station.Instant // arrival
	Command station.Command
}

// of gives the header that transition i waits for.
func (h *Holding) of(i int) station.Key {
	if i < len(h.Headers) {
		return h.Headers[i]
	}
	return station.Key{}
}

// headerInputs stores what a commit has for headers besides transitions.
func (tx *transaction) headerInputs(h *Holding) error {
	for i := range h.Feeds {
		f := &h.Feeds[i]
		if err := tx.headerInput(f.Header, f.Key, f.At, nil, f); err != nil {
			return err
		}
	}
	for i := range h.Words {
		w := &h.Words[i]
		if err := tx.headerInput(w.Key, w.Key, w.At, nil, &w.Command); err != nil {
			return err
		}
	}
	return nil
}

func (tx *transaction) headerInput(header, of station.Key, at station.Instant, seq any, what any) error {
	to, err := tx.id(header)
	if err != nil {
		return err
	}
	id, err := tx.id(of)
	if err != nil {
		return err
	}
	var data any
	if what != nil {
		text, err := json.Marshal(what)
		if err != nil {
			return err
		}
		data = string(text)
	}
	if _, err := tx.ExecContext(tx.ctx, `INSERT INTO header_inputs (header, station, at, transition, data) VALUES (?, ?, ?, ?, ?)`, to, id, int64(at), seq, data); err != nil {
		return fmt.Errorf("input of %s: %w", header, err)
	}
	return nil
}

// HeaderInput is an input with the header that it is for.
type HeaderInput struct {
	Header station.Key
	rules.HeaderInput
}

// HeaderInputs gives up to limit inputs behind seq, in the order in which they were stored.
func (s *Store) HeaderInputs(ctx context.Context, seq int64, limit int) ([]HeaderInput, error) {
	var out []HeaderInput
	err := s.each(ctx, "inputs of headers", func(rows *sql.Rows) error {
		var i HeaderInput
		var data, alarm, to sql.NullString
		var transition, raised sql.NullInt64
		if err := rows.Scan(&i.Seq, &i.Header.Site, &i.Header.Station, &i.Station, &i.At, &transition, &data, &alarm, &to, &raised); err != nil {
			return err
		}
		var err error
		switch {
		case transition.Valid:
			i.Alarm = &rules.HeaderTransition{Seq: transition.Int64, Alarm: alarm.String, To: alarmStates[to.String], Raised: station.Instant(raised.Int64)}
		case i.Station == i.Header.Station:
			i.Command = &station.Command{}
			err = json.Unmarshal([]byte(data.String), i.Command)
		default:
			i.Feed = &rules.Feed{}
			err = json.Unmarshal([]byte(data.String), i.Feed)
		}
		out = append(out, i)
		return err
	}, `SELECT i.seq, h.site, h.station, s.station, i.at, i.transition, i.data, t.alarm, t.to_state, t.raised
		FROM header_inputs i JOIN stations h ON h.id = i.header JOIN stations s ON s.id = i.station LEFT JOIN transitions t ON t.seq = i.transition
		WHERE i.seq > ? ORDER BY i.seq LIMIT ?`, seq, limit)
	return out, err
}

// HeaderState is the state of a header's alarms, in the layout that Version names.
type HeaderState struct {
	Key     station.Key
	Version string
	State   []byte
}

// HeaderStates gives the stored states.
func (s *Store) HeaderStates(ctx context.Context) ([]HeaderState, error) {
	var out []HeaderState
	err := s.each(ctx, "states of headers", func(rows *sql.Rows) error {
		var h HeaderState
		err := rows.Scan(&h.Key.Site, &h.Key.Station, &h.Version, &h.State)
		out = append(out, h)
		return err
	}, `SELECT s.site, s.station, h.version, h.state FROM header_states h JOIN stations s ON s.id = h.header ORDER BY s.site, s.station`)
	return out, err
}

// Explained is an open occurrence of a station's alarm that nobody was told of.
type Explained struct {
	Key    station.Key
	Alarm  string
	Raised station.Instant
	Seq    int64 // of its raise
	Active bool
}

// ExplainedAlarms gives them all.
func (s *Store) ExplainedAlarms(ctx context.Context) ([]Explained, error) {
	var out []Explained
	err := s.each(ctx, "explained alarms", func(rows *sql.Rows) error {
		var e Explained
		var to string
		err := rows.Scan(&e.Key.Site, &e.Key.Station, &e.Alarm, &e.Raised, &e.Seq, &to)
		e.Active = alarmStates[to].Active()
		out = append(out, e)
		return err
	}, `SELECT s.site, s.station, t.alarm, t.raised, t.seq, n.to_state
		FROM transitions n JOIN transitions t ON t.station = n.station AND t.alarm = n.alarm AND t.raised = n.raised AND t.to_state = ?
		JOIN stations s ON s.id = n.station
		WHERE n.seq IN (SELECT max(seq) FROM transitions GROUP BY station, alarm) AND n.to_state <> ? AND t.explained <> ''
		ORDER BY t.seq`, rules.Unacknowledged.String(), rules.Normal.String())
	return out, err
}

// HeaderCommit is what the alarms of headers concluded from the inputs up to Taken. Stored
// as a whole or not at all.
type HeaderCommit struct {
	Taken       int64
	States      []HeaderState
	Transitions []rules.Transition // also queued in the outbox
	Judgements  []rules.Judgement
	Decided     []Decided // commands about headers
	Told        *Told     // as in Commit
}

// CommitHeaders stores what the alarms of headers concluded; the inputs are gone then.
func (s *Store) CommitHeaders(ctx context.Context, c *HeaderCommit) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		for i := range c.Transitions {
			if err := tx.transition(&c.Transitions[i], station.Key{}, 0, c.Told); err != nil {
				return err
			}
		}
		if err := tx.judge(c.Judgements); err != nil {
			return err
		}
		for i := range c.Decided {
			if err := tx.decided(&c.Decided[i]); err != nil {
				return err
			}
		}
		for i := range c.States {
			if err := tx.headerState(&c.States[i]); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(tx.ctx, `DELETE FROM header_inputs WHERE seq <= ?`, c.Taken)
		return err
	})
	if err != nil {
		return fmt.Errorf("cannot store the alarms of headers in history database %q: %w", s.path, err)
	}
	return nil
}

func (tx *transaction) headerState(h *HeaderState) error {
	id, err := tx.id(h.Key)
	if err == nil {
		_, err = tx.ExecContext(tx.ctx, `INSERT OR REPLACE INTO header_states (header, version, state) VALUES (?, ?, ?)`, id, h.Version, h.State)
	}
	return err
}

// judge lets transitions that waited go to the receivers, or takes them from their queue.
// One that was explained and is told after all is queued anew.
func (tx *transaction) judge(list []rules.Judgement) error {
	if len(list) == 0 {
		return nil
	}
	var stmt [5]*sql.Stmt
	for i, q := range [...]string{
		`UPDATE outbox SET due = 0 WHERE transition = ? AND attempts = 0`,
		`UPDATE transitions SET explained = '' WHERE seq = ? AND explained <> ''`,
		`INSERT INTO outbox (receiver, transition, station, alarm) SELECT ?, seq, station, alarm FROM transitions WHERE seq = ? ON CONFLICT DO NOTHING`,
		`UPDATE transitions SET explained = ? WHERE seq = ?`,
		`DELETE FROM outbox WHERE transition = ?`,
	} {
		var err error
		if stmt[i], err = tx.PrepareContext(tx.ctx, q); err != nil {
			return err
		}
		defer stmt[i].Close()
	}
	run := func(i int, args ...any) (int64, error) { return changed(stmt[i].ExecContext(tx.ctx, args...)) }
	for _, j := range list {
		if !j.Tell {
			if _, err := run(3, j.Why, j.Seq); err != nil {
				return err
			}
			if _, err := run(4, j.Seq); err != nil {
				return err
			}
			continue
		}
		if _, err := run(0, j.Seq); err != nil {
			return err
		}
		was, err := run(1, j.Seq)
		for _, r := range tx.store.receivers {
			if err == nil && was > 0 {
				_, err = run(2, r, j.Seq)
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}
