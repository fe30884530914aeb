package app

import (
	"context"
	"errors"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/rules"
)

// answerAgain is how long an answer may take through the log before it is given again.
const answerAgain = 10 * time.Second

// overtime lets the sites decide whether their stations are at work after the shift, and the headers
// whether stations that seem to be shut in follow them. What they answer goes into the log: stations hold
// an alarm back by a record of the log alone, so that replays do the same. If this does not run, they raise it.
func (a *App) overtime(ctx context.Context) error {
	sites, levels := make(map[string][]rules.OverStation), make(map[station.Key][]rules.LevelStation)
	for _, p := range a.parts {
		p.over(sites)
		p.levels(levels)
	}
	var parts [station.Partitions][]station.Record
	now, at := time.Now(), a.now()
	put := func(kind string, answers map[station.Key]station.Instant) {
		for k, until := range answers {
			parts[k.Partition()] = append(parts[k.Partition()], station.Record{Key: k, Arrival: at, Command: &station.Command{Kind: kind, Until: until}})
		}
	}
	put(rules.OverTime, a.headers.overtime(sites, now))
	put(rules.HeaderHolds, a.headers.hold(levels, now))
	for n, records := range parts {
		if len(records) == 0 {
			continue
		}
		if _, err := a.ring.Append(ctx, n, records); err != nil && !errors.Is(err, samplelog.ErrFull) {
			return err
		}
	}
	return nil
}

// over adds how the configured stations stand to the end of their shift.
func (p *partition) over(sites map[string][]rules.OverStation) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.ordered {
		if _, ok := p.catalog.stations[u.key]; !ok {
			continue
		}
		var s rules.OverState
		if p.safe(u, "the end of its shift", nil, func() { s = u.OverState() }) && s.End != 0 {
			sites[u.key.Site] = append(sites[u.key.Site], rules.OverStation{Station: u.key.Station, OverState: s})
		}
	}
}

// answer is one that was given.
type answer struct {
	until station.Instant
	at    time.Time
}

// given are answers to stations.
type given map[station.Key]answer

// news reports whether an answer is another one than was given lately, and keeps it.
func (g given) news(to station.Key, until station.Instant, now time.Time) bool {
	if last := g[to]; last.until == until && now.Sub(last.at) <= answerAgain {
		return false
	}
	g[to] = answer{until, now}
	return true
}

// overtime decides the findings of sites, and returns what to answer their stations.
func (h *headers) overtime(sites map[string][]rules.OverStation, now time.Time) map[station.Key]station.Instant {
	h.mu.Lock()
	defer h.mu.Unlock()
	for k := range h.open { // a finding may stand though no shift is over any more
		if _, ok := sites[k.Site]; !ok && k.WholeSite() {
			sites[k.Site] = nil
		}
	}
	out := make(map[station.Key]station.Instant)
	for site, list := range sites {
		k := station.SiteKey(site)
		if h.open[k] == nil && !slices.ContainsFunc(list, func(s rules.OverStation) bool { return s.Since != 0 }) {
			continue
		}
		u := h.unit(k)
		was := len(u.Under())
		for _, x := range u.Overtime(list) {
			to := station.Key{Site: site, Station: x.Station}
			if h.granted.news(to, x.Until, now) {
				out[to] = x.Until
			}
		}
		u.changed = u.changed || len(h.out.Transitions) > 0
		if len(u.Under()) != was {
			h.show(u)
		}
	}
	if len(h.out.Transitions) > 0 {
		h.nudge()
	}
	return out
}
