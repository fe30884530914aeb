package app

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

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
	k.Site, k.Station, ok = strings.Cut(a.Target, "/")
	return k, a.Command(), ok
}

// recallWork sets who is declared at work to what the history had at the start. Once the units
// stand as the history has them, each declaration counts, whatever our clock was set to since.
func (p *partition) recallWork(u *unit, at station.Instant) {
	list := p.catalog.atWork[u.key]
	for i := range list {
		if p.adopted {
			at = max(at, list[i].From)
		}
	}
	u.RecallWork(list, at)
}
