package app

import (
	"context"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/rules"
)

const (
	// mostWaiting bounds the conclusions of a partition between two commits, while a backlog is worked off or
	// one entry makes many, in minutes; states that are kept before a hole count by their size.
	mostWaiting = 4096
	minuteBytes = 500 // that a minute takes, some
	// stretch is how many half seconds of a station are worked off before it is looked whether it is time to
	// commit; a silence counts as one.
	stretch = 1024
)

// entry works off one log entry. Where it makes the units conclude much, that is stored in parts before the
// entry is done with; the position moves behind it all.
func (p *partition) entry(ctx context.Context, e samplelog.Entry) error {
	if err := p.parted(ctx, e.Position); err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failed != nil {
		return p.failed
	}
	if p.waiting > mostWaiting { // the commit behind the entry before failed
		if err := p.keep(ctx); err != nil {
			return err
		}
	}
	p.working = e.Position
	if e.Position > p.committed {
		p.adopt(&e)
		if p.unraised && p.adopted {
			p.raiseUnwatched(e.Records[0].Arrival)
		}
	}
	p.midway = e.Position
	for i := range e.Records {
		p.nth = i
		if err := p.record(ctx, &e.Records[i]); err != nil {
			return err
		}
	}
	p.position, p.midway = e.Position, 0
	p.recallLearned(e.Position)
	if p.position <= p.committed { // concluded and stored before the restart
		p.forgetAll(e.Position)
		p.people = people{}
		p.worked(false)
		return nil
	}
	p.dirty = true
	p.came(&e)
	p.worked(true)
	p.urgent = p.urgent || len(p.people.acts) > 0 // somebody waits for the outcome
	if p.waiting > mostWaiting {
		return p.keep(ctx)
	}
	if p.urgent {
		p.hurry()
	}
	return nil
}

// parted returns an error where nothing may be concluded now. It commits what another process may have
// told apart from what follows.
func (p *partition) parted(ctx context.Context, next uint64) error {
	if err := p.may(); err != nil {
		return err
	}
	if at := p.at(); at > 0 && at <= p.toldTo && next > p.toldTo {
		return p.commit(ctx)
	}
	return nil
}

func (p *partition) may() error {
	if p.speak == nil {
		return nil
	}
	return p.speak()
}

func (p *partition) record(ctx context.Context, r *station.Record) error {
	switch {
	case r.Tick:
		p.ticked = r.Arrival
		for _, u := range p.ordered {
			n := u.Out.Len()
			p.safe(u, "a tick", r, func() { u.Tick(r.Arrival) })
			p.waiting += u.Out.Len() - n
		}
	case r.Epoch != nil:
		p.epoch(r)
	case r.Command != nil && rules.Answers(r.Command.Kind):
		if u := p.units[r.Key]; u != nil {
			p.safe(u, "its site's answer", r, func() { _ = u.Command(r.Command, r.Arrival) })
		}
	case r.Command != nil:
		p.command(r)
	default:
		return p.samples(ctx, r)
	}
	if u := p.units[r.Key]; u != nil {
		p.urgent = p.urgent || len(u.Out.Transitions) > 0
	}
	return p.ease(ctx)
}

// samples works off the samples of a station, and stores in between what they make it conclude.
func (p *partition) samples(ctx context.Context, r *station.Record) error {
	u := p.unit(r.Key, r.Arrival)
	if u == nil {
		return nil
	}
	p.live.Samples(u.key, r.Blocks)
	p.holes(u, r)
	more := p.safe(u, "its samples", r, func() { u.Push(r.Blocks, r.Arrival) })
	for more {
		n := u.Out.Len()
		more = p.safe(u, "its samples", r, func() { more = u.Advance(stretch) }) && more
		p.tell(u)
		p.waiting += u.Out.Len() - n
		p.urgent = p.urgent || len(u.Out.Transitions) > 0
		if err := p.ease(ctx); err != nil {
			return err
		}
	}
	return nil
}

// ease stores a part of the present entry's conclusions where many wait. A history that does not take it is asked until
// it does, or ctx ends: more would be held in memory otherwise. What an entry made that was stored before the restart is forgotten.
func (p *partition) ease(ctx context.Context) error {
	for p.waiting > mostWaiting {
		if p.midway <= p.committed {
			p.forgetAll(p.midway)
			return nil
		}
		if err := p.keep(ctx); err == nil {
			return nil
		}
		p.mu.Unlock() // pages and metrics go on meanwhile, and the loop of commits tries as well
		pause(ctx, readAgain)
		p.mu.Lock()
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return nil
}

// forgetAll drops what the units concluded from an entry that was worked off before.
func (p *partition) forgetAll(position uint64) {
	for _, u := range p.ordered {
		p.forget(u, position)
	}
	p.waiting = 0
}

// tell passes to the rings what the unit has just concluded. Strokes are kept nowhere else, so
// nothing gathers while a backlog is worked off.
func (p *partition) tell(u *unit) {
	o := &u.Out
	p.live.Segment(u.key, u.Status.Segment, u.Status.At)
	for _, s := range o.Strokes {
		p.live.Stroke(u.key, s)
	}
	o.Strokes = o.Strokes[:0]
	for _, v := range o.Intervals[min(u.told, len(o.Intervals)):] {
		p.live.Interval(u.key, v)
	}
	u.told = len(o.Intervals)
}

// discard forgets what the unit concluded.
func (u *unit) discard() {
	u.Discard()
	u.told = 0
}
