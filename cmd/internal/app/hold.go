package app

import (
	"slices"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// holds gives the hold-off of each header that enough stations hang on to share an alarm.
func holds(stations map[station.Key]Station, policy func(site string) rules.HeaderPolicy) map[station.Key]int64 {
	n := make(map[station.Key]int)
	for _, s := range stations {
		n[s.Plate.HeaderKey()]++
	}
	out := make(map[station.Key]int64)
	for k, stations := range n {
		if p := policy(k.Site); stations >= p.Least {
			out[k] = p.HoldNs
		}
	}
	return out
}

// hold adds what a unit has for the alarms of its header: how it is fed, and which of its
// alarms, from the first of the commit on, wait for them. A station that shares its header
// with too few waits for nobody.
func (p *partition) hold(h *history.Holding, u *unit, first int) {
	k := u.Plate().HeaderKey()
	ns, shared := p.catalog.holds[k]
	if !shared {
		return
	}
	for i := range u.Out.Feeds {
		if u.Out.Feeds[i].Header == k {
			h.Feeds = append(h.Feeds, u.Out.Feeds[i])
		}
	}
	for i := range u.Out.Transitions {
		if !rules.Explainable(u.Out.Transitions[i].Alarm) {
			continue
		}
		h.Headers = append(h.Headers, make([]station.Key, first+i+1-len(h.Headers))...)
		h.Headers[first+i] = k
		h.Until = max(h.Until, p.now().Add(ns+holdSpare))
	}
}

// feeds gives how the stations of the shared headers are fed.
func (p *partition) feeds(out map[station.Key]map[string]rules.FeedState) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.ordered {
		k := u.Plate().HeaderKey()
		if _, ok := p.catalog.stations[u.key]; !ok || p.catalog.holds[k] == 0 {
			continue
		}
		if out[k] == nil {
			out[k] = make(map[string]rules.FeedState)
		}
		var f rules.FeedState
		if p.safe(u, "its feed", nil, func() { f = u.FeedState() }) {
			out[k][u.key.Station] = f
		}
	}
}

// knowHeaders tells the alarms of headers which stations there are.
func (a *App) knowHeaders() {
	out := make(map[station.Key]map[string]rules.FeedState)
	for _, p := range a.parts {
		p.feeds(out)
	}
	a.headers.know(out)
}

// header returns a header that configured stations hang on, or whose alarm is open.
func (a *App) header(k station.Key) (board.Header, bool) {
	if _, ok := k.Header(); !ok {
		return board.Header{}, false
	}
	known := slices.ContainsFunc(a.configured(), func(s Station) bool { return s.Plate.HeaderKey() == k || station.SiteKey(s.Plate.Key.Site) == k })
	h, _ := a.board.Header(k)
	return h, known || len(h.Alarms) > 0 // one that is gone stays while its alarm is open
}

// kept tells whether people are not told of a station's alarm: its header's explains it, or
// may do so in a moment.
func (a *App) kept(s *board.Station, t *rules.Transition, now station.Instant) bool {
	if !rules.Explainable(t.Alarm) {
		return false
	}
	k := s.Plate.HeaderKey()
	if h, ok := a.board.Header(k); ok && h.Kept[board.Kept{Station: t.Key.Station, Alarm: t.Alarm, Raised: t.Raised}] {
		return true
	}
	ns := a.parts[s.Plate.Key.Partition()].holdOf(k)
	return ns > 0 && t.To == rules.Unacknowledged && now.Sub(t.Raised) < ns+10*station.Second
}

func (p *partition) holdOf(header station.Key) int64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.catalog.holds[header]
}
