package notify

import (
	"context"
	"time"

	"strokewise/rules"
)

// digest writes what waits for the digest of the item's site, and notes all but the item
// as delivered; what cannot be noted is in the next digest again.
func (m *Mail) digest(ctx context.Context, i *Item) error {
	all, err := m.Waiting.OutboxWaiting(ctx, m.Name, 4*digestMost)
	if err != nil {
		return err
	}
	items, waits := []Item{*i}, false
	for _, x := range all {
		waits = waits || x.ID == i.ID
		if x.ID != i.ID && x.Transition.Priority < rules.Medium && x.Transition.Key.Site == i.Transition.Key.Site && len(items) < digestMost {
			items = append(items, x)
		}
	}
	if !waits { // it was in the digest of one before it
		return errTogether
	}
	subject, body := digestText(items, m.zone(i.Transition.Key.Site), m.Pages)
	if err := m.send(ctx, subject, body, "digest/"+i.Transition.ID()); err != nil {
		return err
	}
	note := context.WithoutCancel(ctx)
	for _, x := range items[1:] {
		if err := m.Waiting.OutboxDone(note, x.ID); err != nil {
			return nil // the mail is out; the others come again tomorrow
		}
	}
	return nil
}

// digestTimes gives the newest moment at or before now, and the first after it, at which
// the clock of a zone shows a time of day. On a day that skips that time it is the moment
// that follows the gap by as much.
func digestTimes(now time.Time, at time.Duration, zone *time.Location) (last, next time.Time) {
	y, m, d := now.In(zone).Date()
	on := func(day int) time.Time {
		return time.Date(y, m, day, 0, int(at/time.Minute), 0, 0, zone)
	}
	for day := d - 1; day <= d+2; day++ {
		if x := on(day); x.After(now) {
			return on(day - 1), x
		}
	}
	return on(d), on(d + 1)
}
