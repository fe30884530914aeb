package reanalyse

import (
	"cmp"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Occurrence is one raise of an alarm.
type Occurrence struct {
	Alarm  string
	Raised station.Instant
	Ended  station.Instant // condition gone, shelved or out of service; 0: still open
}

// Pair is an occurrence as the history has it and as the back-test raised it; one of the
// two may be missing.
type Pair struct{ Was, Is *Occurrence }

// Any gives the occurrence of the history, or that of the back-test where it has none.
func (p *Pair) Any() *Occurrence {
	if p.Was != nil {
		return p.Was
	}
	return p.Is
}

// occurrences gathers transitions, in order of time, into occurrences.
func occurrences(list []rules.Transition) []*Occurrence {
	open := make(map[string]*Occurrence)
	var out []*Occurrence
	for i := range list {
		t := &list[i]
		o := open[t.Alarm]
		switch {
		case t.To.Active() && o == nil:
			o = &Occurrence{Alarm: t.Alarm, Raised: t.Raised}
			open[t.Alarm], out = o, append(out, o)
		case !t.To.Active() && o != nil:
			o.Ended = t.At
			delete(open, t.Alarm)
		}
	}
	return out
}

// near is how far apart two raises of the same occurrence may be where they do not
// overlap, ns.
const near = 60 * station.Second

// alike are the ways in which two occurrences are the same one, the surest first.
var alike = []func(a, b *Occurrence) bool{
	func(a, b *Occurrence) bool { return a.Raised == b.Raised },
	func(a, b *Occurrence) bool { return a.before(b.Ended) && b.before(a.Ended) },
	func(a, b *Occurrence) bool { return max(a.Raised.Sub(b.Raised), b.Raised.Sub(a.Raised)) <= near },
}

// before tells whether the occurrence was raised before an end, 0: none.
func (o *Occurrence) before(end station.Instant) bool { return end == 0 || o.Raised < end }

// pairs matches each occurrence with one of the other side at most, and gives those of
// which the history's raise, or else the back-test's, lies in [from, to).
func pairs(was, is []*Occurrence, from, to station.Instant) []Pair {
	match, taken := make(map[*Occurrence]*Occurrence), make(map[*Occurrence]bool)
	for _, same := range alike {
		for _, w := range was {
			if match[w] != nil {
				continue
			}
			i := slices.IndexFunc(is, func(o *Occurrence) bool { return o.Alarm == w.Alarm && !taken[o] && same(w, o) })
			if i >= 0 {
				match[w], taken[is[i]] = is[i], true
			}
		}
	}
	var all []Pair
	for _, w := range was {
		all = append(all, Pair{w, match[w]})
	}
	for _, o := range is {
		if !taken[o] {
			all = append(all, Pair{nil, o})
		}
	}
	all = slices.DeleteFunc(all, func(p Pair) bool { return p.Any().Raised < from || p.Any().Raised >= to })
	slices.SortStableFunc(all, func(a, b Pair) int {
		return cmp.Or(cmp.Compare(a.Any().Raised, b.Any().Raised), cmp.Compare(a.Any().Alarm, b.Any().Alarm))
	})
	return all
}

// Compare sets the alarms that one run raised in [from, to) against those of another run
// over the same samples.
func Compare(k station.Key, was, is []rules.Transition, from, to station.Instant) Tested {
	t := Tested{Key: k, From: from, To: max(from, to)}
	if t.To > t.From {
		t.Pairs = pairs(occurrences(was), occurrences(is), t.From, t.To)
	}
	return t
}
