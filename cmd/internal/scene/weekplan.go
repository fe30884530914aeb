package scene

import (
	"cmp"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// window is a stretch of the week in which an alarm of a station is true. Times are s after its start.
type window struct {
	station, alarm string // station "": any
	from, until    int64
	due            bool // it must be raised
	why            string
}

// action is something that is done to the running plant.
type action struct {
	at int64
	do func(*Plant)
}

// plan is the week: what happens, and what is true.
type plan struct {
	workers []worker
	truth   []window
	actions []action
	length  int64 // s
}

func (p *plan) due(i int, alarm string, from, until int64, why string) {
	p.truth = append(p.truth, window{p.workers[i].id, alarm, from, until, true, why})
}

func (p *plan) may(i int, alarm string, from, until int64, why string) {
	p.truth = append(p.truth, window{p.workers[i].id, alarm, from, until, false, why})
}

// set changes a virtual station at a time.
func (p *plan) set(at int64, change func(*rig.Station), i int) {
	p.actions = append(p.actions, action{at, func(q *Plant) { change(q.rigs[i]) }})
}

// say lets somebody say something about a station.
func (p *plan) say(i int, at int64, c station.Command) {
	p.actions = append(p.actions, action{at, func(q *Plant) {
		if c.Until != 0 {
			c.Until = q.start.Add(c.Until.Sub(0)) // s of the week
		}
		must(q.app.Put(q.ctx, station.Record{Key: q.rigs[i].Plate.Key, Arrival: q.now, Command: &c}))
	}})
}

// newWeek plans a week of n stations, or the first days of it. The first station is the first-th case
// of the tune set.
func newWeek(first, n, days int) *plan {
	p := &plan{workers: crowd(first, n), length: int64(days) * wholeDay}
	for i := range p.workers {
		p.workers[i].nights(i, days, p)
	}
	for _, e := range events {
		if e.at < p.length {
			e.make(p, e.at)
		}
	}
	p.overtime(days)
	slices.SortStableFunc(p.actions, func(a, b action) int { return cmp.Compare(a.at, b.at) })
	return p
}

// overtime notes the finding that many stations are at work after the calendar's end.
func (p *plan) overtime(days int) {
	for d := range min(days, workdays) {
		for i := range p.workers {
			if p.workers[i].overtime(d) {
				from := int64(d)*wholeDay + shiftTo
				p.truth = append(p.truth, window{"", "over-time", from, from + 2*hour, true, "overtime"})
				break
			}
		}
	}
}

// at returns s after the week's start.
func at(day int, hours float64) int64 { return int64(day)*wholeDay + int64(hours*hour) }

// kindOf returns the first station of a kind, -1 where there is none.
func (p *plan) kindOf(kind string) int {
	return slices.IndexFunc(p.workers, func(w worker) bool { return w.kind == kind })
}
