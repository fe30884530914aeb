package app

import (
	"context"
	"fmt"
	"time"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// commit stores what was concluded up to the newest entry and shows it. While an entry is being worked off it stores the
// part of it that waits.
func (p *partition) commit(ctx context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failed != nil || p.midway == 0 && !p.dirty || p.midway != 0 && p.waiting == 0 {
		return p.failed
	}
	return p.keep(ctx)
}

// keep does what commit says; p.mu is held.
//
// A part of an entry is minutes, gaps, intervals and figures: after a crash the entry is worked off again, and these are
// known by their keys. All else waits for the whole entry, and so does the board: lines of the audit and notes have no key, and
// a unit that begins again at the entry must find the alarms as they stood there (adopt).
func (p *partition) keep(ctx context.Context) error {
	if err := p.may(); err != nil {
		return err
	}
	c := history.Commit{Partition: p.number, Position: p.position}
	for _, u := range p.ordered {
		o := &u.Out
		if len(o.Minutes)+len(o.Gaps)+len(o.Intervals)+len(o.Figures) > 0 {
			c.Stations = append(c.Stations, history.StationMinutes{Key: u.key, Revision: engine.Revision, Minutes: o.Minutes, Charges: p.price(u), Gaps: o.Gaps, Intervals: o.Intervals, Figures: o.Figures})
		}
	}
	if p.midway != 0 {
		c.Part, c.Position = true, p.midway
		return p.write(ctx, &c)
	}
	c.Acts, c.Notes = p.people.acts, p.people.notes
	for _, u := range p.ordered {
		ts := u.Out.Transitions
		c.Transitions = append(c.Transitions, ts...)
		c.Acts = append(c.Acts, stated(ts)...)
		p.hold(&c.Holding, u, len(c.Transitions)-len(ts))
	}
	c.Holding.Words = p.people.words
	if p.position <= p.toldTo {
		c.Told = p.told
	}
	p.keepLearned(&c)
	c.Late = p.news
	if err := p.write(ctx, &c); err != nil {
		return err
	}
	p.learnedStored(&c)
	p.committed, p.dirty, p.urgent, p.people, p.news = p.position, false, false, people{}, history.LateNews{}
	p.pending.committed()
	p.timeCommit()
	p.answers.stored(c.Acts)
	for _, u := range p.ordered {
		p.watchedAgain(u)
		p.show(u)
	}
	if len(c.Transitions) > 0 {
		p.wake()
	}
	if len(c.Holding.Feeds)+len(c.Holding.Words)+len(c.Holding.Headers) > 0 {
		p.nudge()
	}
	return nil
}

// write stores a commit, and adds it to the units' sums.
func (p *partition) write(ctx context.Context, c *history.Commit) error {
	began := time.Now()
	if err := p.store.Commit(ctx, []history.Commit{*c}); err != nil {
		p.uncommitted = err
		if ctx.Err() == nil {
			p.health.Fails("cannot store its conclusions, trying again: %v", err)
		}
		return fmt.Errorf("cannot commit partition %d at position %d: %w", p.number, c.Position, err)
	}
	p.commitAt, p.uncommitted = time.Now(), nil
	p.commitNs = p.commitAt.Sub(began).Nanoseconds()
	p.commitSum += p.commitNs
	p.commits++
	p.waiting = 0
	p.health.Works()
	for i := range c.Stations {
		p.settle(&c.Stations[i])
	}
	for _, u := range p.ordered {
		if !c.Part {
			for i := range u.Out.Transitions {
				u.addTransition(&u.Out.Transitions[i])
			}
			u.discard()
		}
	}
	return nil
}

// settle adds what was stored of a station to its unit's sums, and forgets it.
func (p *partition) settle(s *history.StationMinutes) {
	u, zone := p.units[s.Key], p.catalog.zones[s.Key.Site]
	fresh(len(s.Minutes), s.Again.Minutes, func(i int) {
		u.addMinute(&s.Minutes[i], zone)
		u.costs.Add(s.Charges[i].Line())
	})
	fresh(len(s.Gaps), s.Again.Gaps, func(i int) { u.addGap(s.Gaps[i], zone) })
	ts, feeds := u.Out.Transitions, u.Out.Feeds
	u.discard()
	u.Out.Transitions, u.Out.Feeds = ts, feeds
}

// fresh calls add with each index below n that is not among those of what was stored before.
func fresh(n int, again []int, add func(i int)) {
	for i := range n {
		if len(again) > 0 && again[0] == i {
			again = again[1:]
			continue
		}
		add(i)
	}
}

func (u *unit) addMinute(m *station.Minute, zone *time.Location) {
	u.totals.Add(m)
	u.since.Add(m)
	if day := midnight(m.Start, zone); day != u.day {
		u.day, u.today = day, [station.NumStates]int64{}
	}
	for s, ns := range m.StateNs {
		u.today[s] += ns
	}
}

// addGap adds a gap; the day is that of its end, or a later one that minutes have begun.
func (u *unit) addGap(g station.Gap, zone *time.Location) {
	u.totals.AddGap(g)
	if day := midnight(g.To-1, zone); day > u.day {
		u.day, u.today = day, [station.NumStates]int64{}
	}
	if g = g.Within(u.day, 0); g.To > g.From {
		u.today[station.Blind] += g.Ns()
	}
}
