package app

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// withUntil puts the end of what a command begins in front of its note.
func withUntil(until station.Instant, note string) string {
	if until == 0 {
		return note
	}
	return "until " + until.Floor(station.Second).String() + ": " + note
}

// untilOf parses what withUntil wrote.
func untilOf(detail string) (until station.Instant, note string, ok bool) {
	rest, ok := strings.CutPrefix(detail, "until ")
	when, note, split := strings.Cut(rest, ": ")
	t, err := time.Parse(time.RFC3339Nano, when)
	if !ok || !split || err != nil {
		return 0, detail, false
	}
	return station.InstantOf(t), note, true
}

// declared returns who is at work by the audit, of each station.
func (a *App) declared(ctx context.Context) (map[station.Key][]rules.AtWork, error) {
	var all []history.Act
	for _, kind := range []string{"at-work", "work-ended"} {
		acts, err := a.store.ActsOf(ctx, kind)
		if err != nil {
			return nil, err
		}
		all = append(all, acts...)
	}
	slices.SortStableFunc(all, func(x, y history.Act) int { return cmp.Compare(x.At, y.At) })
	out := map[station.Key][]rules.AtWork{}
	for i := range all {
		if k, c, ok := workOf(&all[i]); ok {
			out[k] = rules.Worked(out[k], c, all[i].At)
		}
	}
	return out, nil
}

// workOf returns the command of a line of the audit, false for one that had no effect.
func workOf(a *history.Act) (k station.Key, c *station.Command, ok bool) {
	if a.Outcome.Result == rules.Refused || a.Outcome.Result == rules.NoEffect {
		return k, nil, false
	}
	c = &station.Command{Kind: a.What, By: a.Who, Note: a.Detail}
	if a.What == "at-work" {
		if c.Until, c.Note, ok = untilOf(a.Detail); !ok {
			return k, nil, false
		}
	}
	k.Site, k.Station, ok = strings.Cut(a.Target, "/")
	return k, c, ok
}
