package app

import (
	"context"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// record is a person's word that something was done, and when it was given.
type record struct {
	rules.Due
	at station.Instant
}

// recorded gives what the audit holds of done services, the newest date of each kind.
func (a *App) recorded(ctx context.Context) (map[station.Key][]record, error) {
	out := map[station.Key][]record{}
	for _, kind := range []string{"done", "inspected"} {
		acts, err := a.store.ActsOf(ctx, kind)
		if err != nil {
			return nil, err
		}
		for i := range acts {
			if k, r, ok := recordOf(&acts[i]); ok {
				out[k] = append(out[k], r)
			}
		}
	}
	return out, nil
}

// recordOf reads a line of the audit. One whose outcome is not known counts: older programs stored
// none with records that were done.
func recordOf(a *history.Act) (k station.Key, r record, ok bool) {
	if a.Outcome.Result == rules.Refused || a.Outcome.Result == rules.NoEffect {
		return k, r, false
	}
	k.Site, k.Station, ok = strings.Cut(a.Target, "/")
	r = record{rules.Recorded(a.Command(), a.At), a.At}
	return k, r, ok && r.What != station.NoService
}

// recall gives a unit that begins without a snapshot what the history knows of its services:
// the log holds days, intervals run for years. What the log still holds of them comes again.
func (p *partition) recall(u *unit, at station.Instant) {
	p.safe(u, "its services", nil, func() { p.recallAll(u, at) })
	if l := p.learned[u.key]; l != nil && l.due && l.position < p.working {
		p.recallOne(u, l) // the log begins behind it
	}
}

func (p *partition) recallAll(u *unit, at station.Instant) {
	for _, r := range p.catalog.records[u.key] {
		_ = u.Recall(r.Due, at) // an older date changes nothing, as when it was given
	}
	p.recallWork(u, at)
	list, _ := u.Plate().Services() // a text of another program names nothing
	for _, s := range list {
		if s.Cycles == 0 {
			continue
		}
		from := station.Instant(0)
		if t, err := time.Parse(time.DateOnly, s.Last); err == nil {
			from = station.InstantOf(t)
		}
		for _, r := range p.catalog.records[u.key] {
			if r.What == s.What && r.Last >= s.Last {
				from = r.at
			}
		}
		strokes, lost, err := p.store.Strokes(context.Background(), u.key, from, at)
		if err != nil {
			p.log.Warn("cannot read how much was run since a service; it is counted from now on", "station", u.key, "what", s.What, "error", err)
			continue
		}
		u.RunBefore(s.What, strokes, lost, at)
	}
}

// dues gives what comes due at a unit, worked out once a minute of our clock as it ticks.
func (u *unit) dues(now station.Instant) []rules.Due {
	if minute := int64(now)/station.Minute60 + 1; u.duesAt != minute {
		u.duesAt, u.due = minute, u.Dues(max(now, u.Status.At))
	}
	return u.due
}
