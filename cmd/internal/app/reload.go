package app

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// configured gives the stations in force.
func (a *App) configured() []Station { return *a.stations.Load() }

// Reload puts other stations in force while running: new ones, other plate data, fewer.
// Changed plate data begin a config epoch: a record of the log, so that replays change at
// the same sample; so does a removal. A removed station stays on the pages while an alarm of it is open. It fails, and changes nothing, if a station's site is not known.
func (a *App) Reload(ctx context.Context, stations []Station) error {
	was := make(map[station.Key]Station)
	for _, s := range a.configured() {
		was[s.Plate.Key] = s
	}
	var changed []Station
	var fresh []station.Key
	for _, s := range stations {
		if _, ok := a.opt.Zones[s.Plate.Key.Site]; !ok {
			return fmt.Errorf("cannot take station %s while running: its site is new; restart for that", s.Plate.Key)
		}
		old, ok := was[s.Plate.Key]
		if !ok {
			fresh = append(fresh, s.Plate.Key)
		}
		if !ok || old.Revision != s.Revision {
			changed = append(changed, s)
		}
		delete(was, s.Plate.Key)
	}
	keys := make([]station.Key, len(stations))
	known := make(map[station.Key]Station, len(stations))
	for i, s := range stations {
		keys[i], known[s.Plate.Key] = s.Plate.Key, s
	}
	for _, p := range a.parts {
		p.reload(known, holds(known, a.headers.policy))
	}
	a.stations.Store(&stations)
	a.waitForOlder(ctx, fresh)
	a.intake.SetStations(keys)
	a.knowHeaders()
	if err := a.epochs(ctx, changed); err != nil {
		return fmt.Errorf("cannot put plate data in force: %w", err)
	}
	if err := a.appendEpochs(ctx, removals(maps.Keys(was))); err != nil {
		return fmt.Errorf("cannot take stations out: %w; reload again", err)
	}
	a.log.Info("stations reloaded", "stations", len(stations), "changed", len(changed), "gone", len(was))
	return nil
}

// reload takes what is known of the stations from now on.
func (p *partition) reload(known map[station.Key]Station, holds map[station.Key]int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	c := *p.catalog
	c.stations, c.today, c.holds = known, maps.Clone(c.today), holds
	c.totals, c.costs, c.alarms = maps.Clone(c.totals), maps.Clone(c.costs), maps.Clone(c.alarms)
	for _, u := range p.ordered { // those that come back later go on from here
		c.totals[u.key], c.today[u.key], c.alarms[u.key] = u.totals, u.today, append([]board.Alarm(nil), u.alarms...)
		c.costs[u.key] = slices.Clone(u.costs)
	}
	p.catalog = &c
	for _, u := range p.ordered {
		if _, ok := known[u.key]; !ok {
			p.show(u)
		}
	}
}
