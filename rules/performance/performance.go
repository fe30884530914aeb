// Package performance measures how alarms treat the people who get them, after the figures
// that IEC 62682 and EEMUA 191 use: how many in ten minutes, floods, chattering and stale
// ones, the shares of the priorities, how long until somebody acknowledges, and of those
// that people closed with a cause, how many had one.
package performance

import (
	"cmp"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Limits, as summaries of IEC 62682 and EEMUA 191 quote them.
const (
	Window       = 10 * station.Minute60 // ns
	FloodAbove   = 10                    // alarms in a window
	Acceptable   = 1.0                   // alarms a window, on average, for one person
	ChatterWith  = 3                     // raises of one alarm of one station ...
	ChatterIn    = station.Minute60      // ... within this, ns
	StaleAfter   = 24 * 60 * station.Minute60
	mostListed   = 10
	priorityKind = 4
)

// Count is how often an alarm of a station was raised, or how long it has stood.
type Count struct {
	Key   station.Key
	Alarm string
	N     int
	Since station.Instant // stale ones: raised at
}

// Judged is what people found behind an alarm.
type Judged struct {
	Alarm         string
	Closed, Empty int // closed with a cause; of these with nothing found
}

// Precision is the share of closed alarms behind which something was found.
func (j *Judged) Precision() float64 { return 1 - float64(j.Empty)/float64(j.Closed) }

// Report is what a stretch of time brought. Findings are counted apart: they are for the
// working day and wake nobody.
type Report struct {
	From, To   station.Instant
	Alarms     int // raised, findings left out
	Findings   int
	Windows    int // of ten minutes in the stretch, the last one may be shorter
	Most       int // alarms in the fullest of them
	MostAt     station.Instant
	Floods     int // windows with more than ten
	ByPriority [priorityKind]int
	Top        []Count  // that were raised most, at most ten
	Chattering []Count  // raised three times within a minute or more often; N is how often in all
	Stale      []Count  // that stood for more than a day, or stand
	AckNs      []int64  // from the raise to a person's acknowledgement, ascending
	Unanswered int      // alarms raised in the stretch that nobody acknowledged in it
	Judged     []Judged // by alarm, findings too
}

// PerWindow is the average of alarms in ten minutes.
func (r *Report) PerWindow() float64 {
	if r.To <= r.From {
		return 0
	}
	return float64(r.Alarms) * float64(Window) / float64(r.To.Sub(r.From))
}

// PerDay is the average of alarms a day.
func (r *Report) PerDay() float64 { return r.PerWindow() * 144 }

// MedianAckNs is the median time until an acknowledgement, false if there was none.
func (r *Report) MedianAckNs() (int64, bool) {
	n := len(r.AckNs)
	if n == 0 {
		return 0, false
	}
	return (r.AckNs[(n-1)/2] + r.AckNs[n/2]) / 2, true
}

// one is an alarm of a station.
type one struct {
	key   station.Key
	alarm string
}

// Measure works out the report of [from, to) from its transitions in order of time, and from
// the alarms that are open at its end.
func Measure(transitions, open []rules.Transition, from, to station.Instant) Report {
	m := meter{Report: Report{From: from, To: to, Windows: int((to.Sub(from) + Window - 1) / Window)},
		windows: map[int64]int{}, raised: map[one][]station.Instant{}, answered: map[one]station.Instant{}, stale: map[one]station.Instant{}, judged: map[string]*Judged{}}
	for i := range transitions {
		if t := &transitions[i]; t.At >= from && t.At < to {
			m.take(t)
		}
	}
	for i := range open {
		if t := &open[i]; t.To.Active() && t.Explained == "" {
			m.stood(t, to)
		}
	}
	m.finish()
	return m.Report
}

type meter struct {
	Report
	windows  map[int64]int // by number
	raised   map[one][]station.Instant
	answered map[one]station.Instant // the raise that was answered last
	waiting  int
	stale    map[one]station.Instant
	judged   map[string]*Judged
}

func (m *meter) take(t *rules.Transition) {
	m.judge(t)
	if t.Explained != "" {
		return // people were told of another one instead
	}
	if t.From.Active() && t.From != t.To {
		m.stood(t, t.At)
	}
	k := one{t.Key, t.Alarm}
	switch {
	case t.To == rules.Unacknowledged && t.From != rules.Unacknowledged:
		m.raise(t, k)
	case t.By != "" && (t.To == rules.Acknowledged && t.From == rules.Unacknowledged || t.From == rules.ReturnedUnacknowledged && t.To == rules.Normal):
		m.answer(t, k)
	}
}

func (m *meter) raise(t *rules.Transition, k one) {
	if t.Priority == rules.Finding {
		m.Findings++
		return
	}
	m.Alarms++
	m.ByPriority[t.Priority%priorityKind]++
	m.windows[t.At.Sub(m.From)/Window]++
	m.raised[k] = append(m.raised[k], t.At)
}

// answer notes an acknowledgement; a second one of the same occurrence does not count.
func (m *meter) answer(t *rules.Transition, k one) {
	if t.Priority == rules.Finding || m.answered[k] == t.Raised {
		return
	}
	m.answered[k] = t.Raised
	m.AckNs = append(m.AckNs, t.At.Sub(t.Raised))
	if t.Raised >= m.From {
		m.waiting--
	}
}

// stood notes an alarm whose condition has been present for too long at a time.
func (m *meter) stood(t *rules.Transition, at station.Instant) {
	if t.Priority != rules.Finding && at.Sub(t.Raised) > StaleAfter {
		m.stale[one{t.Key, t.Alarm}] = t.Raised
	}
}

func (m *meter) judge(t *rules.Transition) {
	if t.Cause == station.NoCause || t.By == "" {
		return
	}
	j := m.judged[t.Alarm]
	if j == nil {
		j = &Judged{Alarm: t.Alarm}
		m.judged[t.Alarm] = j
	}
	j.Closed++
	if t.Cause == station.NothingFound {
		j.Empty++
	}
}

func (m *meter) finish() {
	for n, k := range m.windows {
		if at := m.From.Add(n * Window); k > m.Most || k == m.Most && at < m.MostAt {
			m.Most, m.MostAt = k, at
		}
		if k > FloodAbove {
			m.Floods++
		}
	}
	for k, at := range m.raised {
		c := Count{Key: k.key, Alarm: k.alarm, N: len(at)}
		m.Top = append(m.Top, c)
		if chatters(at) {
			m.Chattering = append(m.Chattering, c)
		}
	}
	for k, since := range m.stale {
		m.Stale = append(m.Stale, Count{Key: k.key, Alarm: k.alarm, Since: since})
	}
	for _, j := range m.judged {
		m.Judged = append(m.Judged, *j)
	}
	m.Unanswered = m.Alarms + m.waiting
	slices.Sort(m.AckNs)
	slices.SortFunc(m.Top, byCount)
	slices.SortFunc(m.Chattering, byCount)
	slices.SortFunc(m.Stale, func(a, b Count) int { return cmp.Or(cmp.Compare(a.Since, b.Since), byCount(a, b)) })
	slices.SortFunc(m.Judged, func(a, b Judged) int { return cmp.Or(-cmp.Compare(a.Closed, b.Closed), cmp.Compare(a.Alarm, b.Alarm)) })
	m.Top = m.Top[:min(len(m.Top), mostListed)]
}

// chatters tells whether an alarm was raised three times within a minute.
func chatters(at []station.Instant) bool {
	for i := ChatterWith - 1; i < len(at); i++ {
		if at[i].Sub(at[i-ChatterWith+1]) <= ChatterIn {
			return true
		}
	}
	return false
}

func byCount(a, b Count) int {
	return cmp.Or(-cmp.Compare(a.N, b.N), cmp.Compare(a.Key.String(), b.Key.String()), cmp.Compare(a.Alarm, b.Alarm))
}
