package notify

import (
	"slices"
	"time"

	"strokewise/rules"
)

// When says at which times a route counts, by the time at which an alarm was raised.
type When uint8

// The times of a route.
const (
	Always When = iota
	InShift
	OutsideShift
)

// Scope names stations; an empty list stands for all.
type Scope struct{ Sites, Branches, Stations []string }

func (s *Scope) covers(t *rules.Transition) bool {
	return listed(s.Sites, t.Key.Site) && listed(s.Branches, t.Branch) && listed(s.Stations, t.Key.Station)
}

// reaches is covers for a route. A header has no branch and is no station: its alarm is that
// of all of its site, so that whoever hears of one of them hears of it.
func (s *Scope) reaches(t *rules.Transition) bool {
	if _, ok := t.Key.Header(); ok {
		return listed(s.Sites, t.Key.Site)
	}
	return s.covers(t)
}

func listed(list []string, name string) bool { return len(list) == 0 || slices.Contains(list, name) }

// Route says who is told of what.
type Route struct {
	Scope
	Priorities []rules.Priority // none: all
	When       When
	Receivers  []string
	// After tells only of what stands unacknowledged for so long; zero: at once.
	After time.Duration
}

// Window is a time of maintenance, by the clock of each site.
type Window struct {
	Scope
	From, To time.Time // what the clock shows; the location means nothing
	Reason   string
}

// span gives the window in a zone. A time that the clock skips is an hour off, one that it
// shows twice is one of the two.
func (w *Window) span(zone *time.Location) (from, to time.Time) {
	in := func(t time.Time) time.Time {
		y, m, d := t.Date()
		return time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, zone)
	}
	return in(w.From), in(w.To)
}

// Routes decide who is told of what, and when. They read no clock.
type Routes struct {
	Routes  []Route
	Windows []Window
	Zones   map[string]*time.Location           // by site
	Working func(site string, t time.Time) bool // whether a shift runs; nil: always
}

// Verdict is what becomes of a transition for a receiver: it is sent, or it waits, or
// neither: then it is not told.
type Verdict struct {
	Send bool
	Wait time.Time
	Why  string
}

// Decide judges a transition for a receiver at a time. Present is the newest transition of
// the same alarm if that is not normal, else nil.
func (r *Routes) Decide(receiver string, t *rules.Transition, now time.Time, present *rules.Transition) Verdict {
	after, ok := r.after(receiver, t)
	if !ok {
		return Verdict{Why: "not routed there"}
	}
	raise, stands := t.To == rules.Unacknowledged, present != nil && present.Raised == t.Raised
	if after > 0 {
		switch due := t.Raised.Time().Add(after); {
		case !raise && (t.From != rules.Unacknowledged || t.At.Time().Before(due)):
			return Verdict{Why: "its raise was not told there"}
		case now.Before(due):
			return Verdict{Wait: due, Why: "waits for an acknowledgement"}
		case raise && (!stands || present.To != rules.Unacknowledged):
			return Verdict{Why: "was acknowledged or over in time"}
		}
	}
	return r.maintained(t, now, raise, stands && present.To.Active())
}

// maintained judges what routes would send. What began and ended within a window is not
// told, what still stands at its end is told then, and so is the end of what began before. What
// guards people at work is sent at once: maintenance is when they are there.
func (r *Routes) maintained(t *rules.Transition, now time.Time, raise, stands bool) Verdict {
	if rules.GuardsAtOnce(t.Alarm) {
		return Verdict{Send: true}
	}
	for i := range r.Windows {
		w := &r.Windows[i]
		if !w.covers(t) {
			continue
		}
		from, to := w.span(r.zone(t.Key.Site))
		began, is := within(t.Raised.Time(), from, to), within(t.At.Time(), from, to)
		switch {
		case began && (raise && !stands && !now.Before(to) || !raise && is):
			return Verdict{Why: "within maintenance: " + w.Reason}
		case within(now, from, to):
			return Verdict{Wait: to, Why: "maintenance: " + w.Reason}
		}
	}
	return Verdict{Send: true}
}

// Tells says whether an alarm that stands is told to a receiver that wants to hear of it
// again and again.
func (r *Routes) Tells(receiver string, t *rules.Transition, now time.Time) bool {
	after, ok := r.after(receiver, t)
	if !ok {
		return false
	}
	until := now
	if t.To != rules.Unacknowledged {
		until = t.At.Time() // since then it is not unacknowledged
	}
	return until.Sub(t.Raised.Time()) >= after && !r.Maintained(t, now)
}

// Maintained reports whether a transition's station is under maintenance that holds it back.
func (r *Routes) Maintained(t *rules.Transition, now time.Time) bool {
	if rules.GuardsAtOnce(t.Alarm) {
		return false
	}
	for i := range r.Windows {
		from, to := r.Windows[i].span(r.zone(t.Key.Site))
		if r.Windows[i].covers(t) && within(now, from, to) {
			return true
		}
	}
	return false
}

// after gives for how long an alarm must stand unacknowledged before the receiver is told;
// false if it is never. An alarm that no route tells anybody at once goes to all: better
// told twice than to nobody.
func (r *Routes) after(receiver string, t *rules.Transition) (least time.Duration, ok bool) {
	anybody := false
	for i := range r.Routes {
		x := &r.Routes[i]
		if !x.reaches(t) || len(x.Priorities) > 0 && !slices.Contains(x.Priorities, t.Priority) || !r.runs(x.When, t) {
			continue
		}
		anybody = anybody || x.After == 0
		if slices.Contains(x.Receivers, receiver) && (!ok || x.After < least) {
			least, ok = x.After, true
		}
	}
	if !anybody {
		return 0, true
	}
	return least, ok
}

func (r *Routes) runs(w When, t *rules.Transition) bool {
	if w == Always {
		return true
	}
	working := r.Working == nil || r.Working(t.Key.Site, t.Raised.Time())
	return working == (w == InShift)
}

func (r *Routes) zone(site string) *time.Location {
	if z := r.Zones[site]; z != nil {
		return z
	}
	return time.UTC
}

func within(t, from, to time.Time) bool { return !t.Before(from) && t.Before(to) }
