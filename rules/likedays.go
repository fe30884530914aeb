package rules

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	hourNs   = 60 * station.Minute60
	leastFed = hourNs * 3 / 4 // of an hour that counts. Own choice
	backFor  = 2              // hours in a row that must be nearer to the usual before a step has ended. Own choice
)

// likeDays compares each hour's strokes with those of the same hour of like days: hours in which a shift runs with such
// ones, all others likewise. A standing step is never learned. Fields are exported for snapshots only.
type likeDays struct {
	Of      string // the plate that the days belong to, see likePlate
	Counted bool   // by the counter; strokes of traces alone are not compared with these
	Hours   [2][24]likeHour
	Open    openHour
	Newest  judgedHour
	Step    float64         // by which the strokes of an hour rose, 0: no step stands
	Since   station.Instant // start of the first hour above its limit
	Back    int             // hours in a row since then that were nearer to the usual
	Settled bool            // whether a step stands is known: an hour was judged, or all were forgotten
}

// openHour is the hour of the site's clock that runs.
type openHour struct {
	From, Until station.Instant // 0, 0: none runs
	Works, Hour int             // which of likeDays.Hours it is
	Last        station.Instant // newest step
	Seen        int64           // strokes at it
	Fed         int64           // ns in which the station was fed and its strokes were known
	Strokes     int64           // in that time
	Counted     bool
	Odd         bool // it is like no other hour: the header was low, or strokes were told in two ways
}

// judgedHour is the newest hour that could be compared.
type judgedHour struct {
	From               station.Instant // 0: none yet
	Days               int             // that it was compared with
	Rate, Usual, Limit float64         // strokes in an hour
}

// clear forgets the days, and a step with them.
func (d *likeDays) clear() { *d = likeDays{Of: d.Of, Settled: true} }

// holds reports whether an instant lies in the open hour. The instant that ends it belongs to it.
func (o *openHour) holds(t station.Instant) bool { return o.From < t && t <= o.Until }

// take adds a step. Time counts while the station is fed, its strokes are known, and steps come.
func (o *openHour) take(s *station.Status, odd bool) {
	if o.Until == 0 {
		return
	}
	gone, strokes := s.At.Sub(o.Last), s.Strokes-o.Seen
	first := o.Last == 0
	o.Last, o.Seen = s.At, s.Strokes
	if first || gone <= 0 || gone > mostStep || !s.State.Fed() || !s.StrokeRate.Known() {
		return
	}
	counted := s.StrokeRate.Method != station.MethodTraces
	o.Odd = o.Odd || odd || o.Fed > 0 && counted != o.Counted
	o.Counted, o.Fed, o.Strokes = counted, o.Fed+gone, o.Strokes+max(0, strokes)
}

// counts reports whether the hour can be compared.
func (o *openHour) counts() bool { return !o.Odd && o.Fed >= leastFed }

// judge compares the open hour, which is over, and learns it where it is usual. least is by how many strokes an hour it must
// lie above the mean at least.
func (d *likeDays) judge(least float64) {
	o := &d.Open
	if !o.counts() || d.Counted && !o.Counted {
		return
	}
	if was := *o; was.Counted && !d.Counted { // what was counted is exact, and what traces showed may be off by a constant share
		d.clear()
		d.Counted, d.Open = true, was
	}
	h := &d.Hours[o.Works][o.Hour]
	rate := math.Round(float64(o.Strokes) * float64(hourNs) / float64(o.Fed))
	usual, limit, ok := h.limit()
	limit = math.Max(limit, usual+least)
	if ok {
		d.Newest, d.Settled = judgedHour{o.From, h.N, rate, usual, limit}, true
	}
	switch {
	case d.Step == 0 && ok && rate > limit:
		d.Step, d.Since, d.Back = rate-usual, o.From, 0
	case d.Step == 0:
		h.learn(int32(rate))
	case !ok: // nobody knows whether the step is in it
	case rate-usual < d.Step/2: // with equal spreads the usual is likelier than the step
		h.learn(int32(rate))
		if d.Back++; d.Back >= backFor {
			d.Step = 0
		}
	default:
		d.Back = 0
	}
}

// next opens the hour of the site's clock that a step belongs to.
func (d *likeDays) next(s *station.Status, r *roster, calendar string) {
	last, seen := d.Open.Last, d.Open.Seen
	from, local := r.hour(calendar, s.At.Add(-1))
	d.Open = openHour{From: from, Until: from.Add(hourNs), Last: last, Seen: seen, Hour: int(int64(local) / hourNs % 24)}
	if r.worksIn(local, from) {
		d.Open.Works = 1
	}
}

// rebase follows a step of the station's clock: the hour that runs is lost.
func (d *likeDays) rebase() { d.Open = openHour{} }
