package app

import (
	"context"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/dashboards/history"
)

const (
	// pointEvery is how far apart points of a station are at least, ns of event time: a rebuilding then works off so much
	// more. Own choice.
	pointEvery = 5 * station.Minute60
	// calmPointEvery is the same of sensors that publish on change: each rest of theirs looks like a hole, and no holes are noted.
	calmPointEvery = 60 * station.Minute60
	// mostHoles is how many holes, and points, of a station are remembered, the newest. Own choice.
	mostHoles = 64
)

// lateOf is what is known of a station's samples that may still come.
type lateOf struct {
	points  []history.Point // without their states
	holes   []history.Hole
	ceiling history.Ceiling
}

// lateKnown loads it.
func (a *App) lateKnown(ctx context.Context) (map[station.Key]lateOf, error) {
	out := make(map[station.Key]lateOf)
	ceilings, err := a.store.Ceilings(ctx)
	if err != nil {
		return nil, err
	}
	for k, c := range ceilings {
		out[k] = lateOf{ceiling: c}
	}
	points, err := a.store.Points(ctx)
	if err != nil {
		return nil, err
	}
	for _, x := range points {
		if x.Version == pipeline.Version {
			l := out[x.Key]
			l.points = append(l.points, x)
			out[x.Key] = l
		}
	}
	holes, err := a.store.Holes(ctx)
	for _, x := range holes {
		l := out[x.Key]
		l.add(x)
		out[x.Key] = l
	}
	return out, err
}

func (l *lateOf) add(h history.Hole) { l.holes = append(recent(l.holes), h) }

// recent returns the newest of a list, so that one more can be remembered.
func recent[T any](list []T) []T {
	if n := len(list); n >= mostHoles {
		return append([]T(nil), list[n-mostHoles+1:]...)
	}
	return list
}

// holes notes which holes a record opens or closes, and whether it fills any, before it is pushed.
func (p *partition) holes(u *unit, r *station.Record) {
	if p.working <= p.committed || u.held != nil || u.Retired() {
		return // it is stored, or nobody judges
	}
	var last station.Instant
	for i := range r.Blocks {
		if b := &r.Blocks[i]; b.Len() > 0 && b.Channel < station.NumChannels {
			last = max(last, b.At(b.Len()-1))
		}
	}
	if last != 0 && u.Opens(last) && p.point(u) && !onChange(u) {
		p.openHoles(u, last)
	}
	if len(u.late.points) == 0 {
		return
	}
	for i := range r.Blocks {
		p.closeHole(u, &r.Blocks[i])
	}
	p.fill(u, r)
}

// onChange reports whether a station's sensors publish on change.
func onChange(u *unit) bool { return u.Plate().Cadence == station.OnChange }

// openHoles notes the pressures that are no longer awaited from a time on.
func (p *partition) openHoles(u *unit, at station.Instant) {
	behind, _ := u.Behind()
	for _, c := range pipeline.Awaited {
		if newest, ok := u.Newest(c); ok && at.Sub(newest) > pipeline.Silence && !u.late.open(c) {
			h := history.Hole{Key: u.key, Channel: c, From: max(newest, behind)}
			u.late.add(h)
			p.news.Holes = append(p.news.Holes, h)
		}
	}
}

// open reports whether a hole of a channel lasts.
func (l *lateOf) open(c station.Channel) bool {
	for i := range l.holes {
		if l.holes[i].Channel == c && l.holes[i].To == 0 {
			return true
		}
	}
	return false
}

// closeHole ends the hole of a channel that is heard again.
func (p *partition) closeHole(u *unit, b *station.Block) {
	for i := range u.late.holes {
		h := &u.late.holes[i]
		if h.To != 0 || h.Channel != b.Channel || b.Len() == 0 || b.At(b.Len()-1) <= h.From {
			continue
		}
		if behind, _ := u.Behind(); b.At(0) < behind {
			continue // comes late itself
		}
		h.To = b.At(0)
		p.news.Holes = append(p.news.Holes, *h)
	}
}

// point keeps the unit's state, unless there is one from shortly before. It reports whether there is one.
func (p *partition) point(u *unit) bool {
	floor, segment := u.Behind()
	if floor == 0 {
		return false
	}
	every := pointEvery
	if onChange(u) {
		every = calmPointEvery
	}
	if n := len(u.late.points); n > 0 {
		if x := &u.late.points[n-1]; x.Segment == segment && floor >= x.Floor && floor.Sub(x.Floor) < every {
			return true
		}
	}
	x := history.Point{Key: u.key, Position: p.working, Record: p.nth, Floor: floor, Segment: segment, Version: pipeline.Version}
	var err error
	if !p.safe(u, "its state before a hole", nil, func() { x.State, err = reanalyse.Pack(u.Unit) }) {
		return false
	}
	if err != nil {
		p.log.Warn("cannot keep the state of a station before a hole: what comes late of it is lost", "station", u.key, "error", err)
		return false
	}
	p.news.Points = append(p.news.Points, x)
	p.waiting += len(x.State) / minuteBytes
	x.State = nil
	u.late.points = append(recent(u.late.points), x)
	return true
}

// fill notes a record with samples that lie in a hole and behind newer ones of their channel. Others that are late came
// twice, or in disorder beyond the station's lateness.
func (p *partition) fill(u *unit, r *station.Record) {
	l := history.Late{Key: u.key, Position: p.working, Record: p.nth, Arrival: r.Arrival}
	for i := range r.Blocks {
		b := &r.Blocks[i]
		if b.Len() == 0 || b.Channel >= station.NumChannels {
			continue
		}
		first, last := b.At(0), b.At(b.Len()-1)
		if l.First == 0 || first < l.First {
			l.First = first
		}
		l.Last = max(l.Last, last)
		newest, ok := u.Newest(b.Channel)
		if !ok || first >= newest {
			continue
		}
		since, ok := u.late.in(b.Channel, first, last)
		if onChange(u) {
			since, ok = u.late.behind(u, first)
		}
		if ok {
			l.Samples += b.Len()
			if l.Since == 0 || since < l.Since {
				l.Since = since
			}
		}
	}
	if l.Samples > 0 {
		p.news.Late = append(p.news.Late, l)
	}
}

// behind reports whether a sample of a station whose sensors publish on change can be worked off from a point.
func (l *lateOf) behind(u *unit, first station.Instant) (since station.Instant, ok bool) {
	_, segment := u.Behind()
	for i := range l.points {
		ok = ok || l.points[i].Segment == segment && l.points[i].Floor <= first
	}
	return first, ok
}

// in returns the start of the hole that samples of a channel lie in. Other channels than pressures have no holes of their own.
func (l *lateOf) in(c station.Channel, first, last station.Instant) (since station.Instant, ok bool) {
	for i := range l.holes {
		h := &l.holes[i]
		if c.IsPressure() && c != station.HeaderPressure && h.Channel != c || last <= h.From || h.To != 0 && first >= h.To {
			continue
		}
		if !ok || h.From < since {
			since, ok = h.From, true
		}
	}
	return since, ok
}

// correct adds to a unit's sums what a rebuilding changed.
func (p *partition) correct(ctx context.Context, r *history.Rebuilt) (history.Correction, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.may(); err != nil {
		return history.Correction{}, err
	}
	c, err := p.store.Rebuild(ctx, r)
	if err != nil {
		return c, err
	}
	u := p.units[r.Key]
	if u == nil {
		return c, nil
	}
	u.totals.Plus(&c.Totals)
	for _, l := range c.Costs {
		u.costs.Add(l)
	}
	u.late.ceiling = c.Ceiling
	if u.today, err = p.store.Today(ctx, r.Key, u.day); err != nil {
		err = fmt.Errorf("cannot sum up the day of %s anew, until the next start it shows what it showed: %w", r.Key, err)
	}
	p.show(u)
	return c, err
}
