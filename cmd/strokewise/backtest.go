package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/reanalyse"
)

type backtestCmd struct {
	Config  string    `required:"" placeholder:"FILE" help:"Configuration file."`
	Station string    `placeholder:"ID" help:"Only this station, or SITE/ID."`
	From    time.Time `placeholder:"TIME" help:"Raised from this time, RFC 3339; default: half an hour behind the log's beginning."`
	To      time.Time `placeholder:"TIME" help:"Raised before this time; default: the log's end."`
	Changes string    `placeholder:"FILE" help:"List as under alarms in the configuration, applied after it."`
}

// Run compares and changes nothing; the program must not be running.
func (c *backtestCmd) Run(e *env) error {
	cfg, chosen, err := c.read()
	if err != nil {
		return err
	}
	log, store, err := openPast(e, cfg, "or take a copy of its data folder: the log has one user at a time")
	if err != nil {
		return err
	}
	defer log.Close()
	defer store.Close()
	shown := newShownLog(e, log, "back-test", chosen)
	tested, err := reanalyse.Backtest(e.ctx, shown, store, chosen, instant(c.From), instant(c.To))
	shown.bar.End()
	if err != nil {
		return err
	}
	return tell(e.out, tested)
}

// read gives the configuration, with the changes, and the stations in question.
func (c *backtestCmd) read() (*config.Config, []reanalyse.Station, error) {
	if err := ordered(c.From, c.To); err != nil {
		return nil, nil, err
	}
	cfg, err := load(c.Config, false)
	if err != nil {
		return nil, nil, err
	}
	if c.Changes != "" {
		if err := cfg.Rehearse(c.Changes); err != nil {
			return nil, nil, err
		}
	}
	if _, err := os.Stat(filepath.Join(cfg.Data, "history.db")); err != nil {
		return nil, nil, fmt.Errorf("there is no history to compare with: %w; give the configuration of a program that has run", err)
	}
	chosen, err := choose(cfg, c.Station)
	return cfg, chosen, err
}

// ordered refuses a span that is none.
func ordered(from, to time.Time) error {
	if !to.IsZero() && !from.Before(to) {
		return fmt.Errorf("--to %s is not after --from %s", to.Format(time.RFC3339), from.Format(time.RFC3339))
	}
	return nil
}

// tell prints spans, occurrences, and the sums by alarm.
func tell(w io.Writer, tested []reanalyse.Tested) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i := range tested {
		if r := &tested[i]; r.Days() > 0 {
			fmt.Fprintf(t, "%s\t%s to %s\t%.2f days\n", r.Key, second(r.From), second(r.To), r.Days())
		} else {
			fmt.Fprintf(t, "%s\tnothing to compare: from %s on the log holds nothing, or no more than half an hour of warm-up\n", r.Key, second(r.From))
		}
	}
	rows := tellOccurrences(t, tested)
	if rows > 0 {
		tellSums(t, tested)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(w, reanalyse.Verdict(tested))
	return err
}

// second gives a time to the second.
func second(t station.Instant) string { return t.Floor(station.Second).String() }

// tellOccurrences prints a line an occurrence and gives their number.
func tellOccurrences(t *tabwriter.Writer, tested []reanalyse.Tested) (rows int) {
	for i := range tested {
		for k := range tested[i].Pairs {
			if rows++; rows == 1 {
				fmt.Fprintln(t, "\nstation\talarm\t\traised\tended")
			}
			p := &tested[i].Pairs[k]
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", tested[i].Key, p.Any().Alarm, p.Kind(),
				times(p, func(o *reanalyse.Occurrence) string { return second(o.Raised) }), times(p, ended))
		}
	}
	return rows
}

func ended(o *reanalyse.Occurrence) string {
	if o.Ended == 0 {
		return "still open"
	}
	return second(o.Ended)
}

// times gives a time of an occurrence, and what it would be where that differs.
func times(p *reanalyse.Pair, of func(*reanalyse.Occurrence) string) string {
	if p.Was != nil && p.Is != nil && of(p.Was) != of(p.Is) {
		return of(p.Was) + " -> " + of(p.Is)
	}
	return of(p.Any())
}

func tellSums(t *tabwriter.Writer, tested []reanalyse.Tested) {
	fmt.Fprintln(t, "\nalarm\twas\twould be\twas, a day\twould be, a day\tchange, a day")
	for _, s := range reanalyse.Sums(tested) {
		fmt.Fprintf(t, "%s\t%d\t%d\t%.2f\t%.2f\t%+.2f\n", s.Alarm, s.Was, s.Is, s.WasDay, s.IsDay, s.IsDay-s.WasDay)
	}
}
