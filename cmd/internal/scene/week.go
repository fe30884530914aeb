package scene

import (
	"fmt"
	"io"
	"time"

	"strokewise/analyzer/station"
)

// weekChunk is how much of the week is played at once, s.
const weekChunk = 30

// Week plays so many days of a mixed plant of n stations, from the Monday that comes: days with two
// shifts, evenings after which stations are vented, left charged or held charged, overtime, restarts, a
// station that is renamed, headers that trip, sensors that fail, people at work. The stations are drawn
// from the tune set, from its first-th case on. Each day is written to progress unless it is nil.
func Week(first, n, days int, progress io.Writer) *Report {
	p := newWeek(first, n, days)
	began := time.Now()
	o := playPlant(func(q *Plant) {
		monday := station.Instant(time.Now().UTC().Truncate(7*24*time.Hour).AddDate(0, 0, 7).UnixNano()) // weeks of zero time begin on a Monday
		q.week(p, monday, func(d int) {
			if progress != nil {
				fmt.Fprintf(progress, "day %d of %d after %s\n", d, days, time.Since(began).Round(time.Second))
			}
		})
	})
	return p.report(o, time.Since(began))
}

// week plays a plan.
func (q *Plant) week(p *plan, monday station.Instant, each func(day int)) {
	for i := range p.workers {
		q.specs = append(q.specs, p.workers[i].spec)
	}
	q.long = true
	q.beginAt(monday, q.specs...)
	q.chunk = weekChunk
	for _, a := range p.actions {
		q.to(min(a.at, p.length), each)
		if a.at < p.length {
			a.do(q)
		}
	}
	q.to(p.length, each)
}

// to plays up to s of the week.
func (q *Plant) to(s int64, each func(day int)) {
	for {
		now := q.now.Sub(q.start) / station.Second
		if now >= s {
			return
		}
		midnight := (now/wholeDay + 1) * wholeDay
		q.Play(min(s, midnight) - now)
		if s >= midnight {
			each(int(midnight / wholeDay))
		}
	}
}

// rename changes the name of a station in the configuration and in what it publishes.
func (q *Plant) rename(i int, id string) {
	q.rigs[i].Plate.Key.Station = id
	q.options.Stations[i].Plate.Key.Station = id
	must(q.app.Reload(q.ctx, append(q.options.Stations[:0:0], q.options.Stations...)))
	must(q.app.Settle(q.ctx))
}
