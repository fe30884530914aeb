package app

import (
	"context"
	"iter"
	"maps"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// removals makes the epochs of stations that are no longer configured.
func removals(gone iter.Seq[station.Key]) []*station.Epoch {
	var out []*station.Epoch
	for k := range gone {
		out = append(out, station.Removal(k))
	}
	return out
}

// retire appends the removal of stations that the configuration of this start does not have
// any more. It comes when the partitions have caught up: then their units are known.
func (a *App) retire(ctx context.Context) error {
	gone := make(map[station.Key]bool)
	for _, p := range a.parts {
		p.unconfigured(gone)
	}
	if len(gone) == 0 {
		return nil
	}
	a.log.Info("stations are no longer configured; what is open of them stays until somebody closes it", "stations", len(gone))
	return a.appendEpochs(ctx, removals(maps.Keys(gone)))
}

// unconfigured adds the stations that are not configured and that no record has taken out.
func (p *partition) unconfigured(out map[station.Key]bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	keys := append(slices.Collect(maps.Keys(p.units)), p.open()...)
	for _, k := range keys {
		if _, ok := p.catalog.stations[k]; ok {
			continue
		}
		if u := p.units[k]; u == nil || !u.Retired() {
			out[k] = true
		}
	}
}

// holdsGone reports whether an alarm is open of a station that is no longer configured.
func (p *partition) holdsGone() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.ContainsFunc(p.ordered, func(u *unit) bool { return u.Retired() && len(u.alarms) > 0 })
}

// stated returns the lines of the audit on what a change of the configuration did to alarms.
func stated(list []rules.Transition) []history.Act {
	var out []history.Act
	for i := range list {
		t := &list[i]
		if !t.ByConfiguration() {
			continue
		}
		what := "alarm ended"
		if t.To != rules.Normal {
			what = "alarm " + t.To.String()
		}
		out = append(out, history.Act{At: t.At, Who: "configuration", What: what, Target: history.Target(t.Key, t.Alarm), Detail: t.Reason()})
	}
	return out
}
