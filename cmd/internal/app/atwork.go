package app

import (
	"context"
	"math"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// declarations are who is at work on each station, and whose word "vented" stands.
type declarations struct {
	atWork map[station.Key][]rules.AtWork
	vented map[station.Key][]rules.Spoken
}

// declared returns what people declared by the audit, in the order in which the words were
// decided: our clock may have been set back between them.
func (a *App) declared(ctx context.Context) (d declarations, err error) {
	d = declarations{make(map[station.Key][]rules.AtWork), make(map[station.Key][]rules.Spoken)}
	acts, err := a.store.Declarations(ctx)
	if err != nil {
		return d, err
	}
	newest := map[station.Key]station.Instant{}
	for i := range acts {
		if k, c, ok := workOf(&acts[i]); ok {
			newest[k] = max(newest[k], acts[i].At)
			d.take(k, c, newest[k])
		}
	}
	for k, words := range d.vented {
		if d.vented[k], err = a.unreturned(ctx, k, words); err != nil {
			return d, err
		}
	}
	return d, nil
}

// take follows a word that had effect.
func (d *declarations) take(k station.Key, c *station.Command, at station.Instant) {
	alone := len(d.atWork[k]) == 0
	if c.Kind != "vented" {
		d.atWork[k] = rules.Worked(d.atWork[k], c, at)
	}
	if c.Kind == "vented" || c.Kind == "work-ended" && len(d.atWork[k]) == 0 {
		d.vented[k] = rules.Vented(d.vented[k], c, at, alone)
	}
}

// unreturned leaves out the words that ended when somebody acknowledged pressure-returned.
func (a *App) unreturned(ctx context.Context, k station.Key, words []rules.Spoken) ([]rules.Spoken, error) {
	if len(words) == 0 {
		return nil, nil
	}
	list, err := a.store.Transitions(ctx, k, words[0].At, math.MaxInt64)
	for i := range list {
		if t := &list[i]; t.Alarm == rules.PressureReturned && t.From == rules.Unacknowledged && t.To == rules.Acknowledged {
			words = slices.DeleteFunc(words, func(s rules.Spoken) bool { return s.At <= t.At })
		}
	}
	return words, err
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
// stand as the history has them, each declaration counts, whatever our clock was set to since, and so
// do words "vented".
func (p *partition) recallWork(u *unit, at station.Instant) {
	list := p.catalog.atWork[u.key]
	for i := range list {
		if p.adopted {
			at = max(at, list[i].From)
		}
	}
	u.RecallWork(list, at)
	if p.adopted {
		u.RecallVented(p.catalog.vented[u.key])
	}
}
