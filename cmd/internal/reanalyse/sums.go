package reanalyse

import (
	"cmp"
	"fmt"
	"slices"
)

// Kind says how the two sides of a pair differ.
func (p *Pair) Kind() string {
	switch {
	case p.Was == nil:
		return "new"
	case p.Is == nil:
		return "no longer"
	}
	return "as before"
}

// Sum are an alarm's occurrences, also per day of each station's time, added up.
type Sum struct {
	Alarm         string
	Was, Is       int
	WasDay, IsDay float64
}

func (s *Sum) add(p *Pair, days float64) {
	if p.Was != nil {
		s.Was++
		s.WasDay += 1 / days
	}
	if p.Is != nil {
		s.Is++
		s.IsDay += 1 / days
	}
}

// Sums gives the sums by alarm in order of name, those of all alarms last.
func Sums(tested []Tested) []Sum {
	by, all := map[string]*Sum{}, Sum{Alarm: "all"}
	for i := range tested {
		for k := range tested[i].Pairs {
			p, days := &tested[i].Pairs[k], tested[i].Days()
			name := p.Any().Alarm
			if by[name] == nil {
				by[name] = &Sum{Alarm: name}
			}
			by[name].add(p, days)
			all.add(p, days)
		}
	}
	var out []Sum
	for _, s := range by {
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b Sum) int { return cmp.Compare(a.Alarm, b.Alarm) })
	return append(out, all)
}

// Verdict says in a line what came out.
func Verdict(tested []Tested) string {
	n, moved, days := map[string]int{}, 0, 0.0
	for i := range tested {
		days += tested[i].Days()
		for k := range tested[i].Pairs {
			p := &tested[i].Pairs[k]
			n[p.Kind()]++
			if p.Was != nil && p.Is != nil && *p.Was != *p.Is {
				moved++
			}
		}
	}
	switch {
	case days == 0:
		return "nothing was compared"
	case moved+n["new"]+n["no longer"] == 0:
		return fmt.Sprintf("no difference: %d as before; nothing was changed", n["as before"])
	}
	return fmt.Sprintf("%d as before, %d of them at other times; %d new, %d no longer; nothing was changed", n["as before"], moved, n["new"], n["no longer"])
}
