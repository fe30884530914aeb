package app

import (
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// levels adds what the configured stations show of the levels of their headers.
func (p *partition) levels(headers map[station.Key][]rules.LevelStation) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.ordered {
		if _, ok := p.catalog.stations[u.key]; !ok {
			continue
		}
		p.safe(u, "the level of its header", nil, func() {
			if s, ok := u.LevelState(); ok {
				k := u.Plate().HeaderKey()
				headers[k] = append(headers[k], rules.LevelStation{Station: u.key.Station, LevelState: s})
			}
		})
	}
}

// hold returns what headers answer stations whose supply seems to be closed.
func (h *headers) hold(levels map[station.Key][]rules.LevelStation, now time.Time) map[station.Key]station.Instant {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := make(map[station.Key]station.Instant)
	for k, list := range levels {
		u := h.open[k]
		if u == nil {
			continue
		}
		for _, x := range u.Levels(list) {
			if to := (station.Key{Site: k.Site, Station: x.Station}); h.held.news(to, x.Until, now) {
				out[to] = x.Until
			}
		}
	}
	return out
}
