package discover

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// hintWord is a channel that a word in a name stands for.
type hintWord struct {
	channel station.Channel
	word    string
}

// hintWords are the words by which people name what they measure.
var hintWords = map[string]station.Channel{
	"in": station.InletPressure, "inlet": station.InletPressure, "p1": station.InletPressure, "suction": station.InletPressure,
	"out": station.OutletPressure, "outlet": station.OutletPressure, "p2": station.OutletPressure, "boost": station.OutletPressure, "boosted": station.OutletPressure,
	"tank": station.OutletPressure, "discharge": station.OutletPressure,
	"header": station.HeaderPressure, "mains": station.HeaderPressure,
}

// hint returns the pressure that the name of a series speaks of; false where it speaks of none, or of two.
func (s *series) hint() (hintWord, bool) {
	name := s.topic.name + "/" + s.name
	if s.name == "" {
		name = s.topic.name
	}
	last := name[strings.LastIndexByte(name, '/')+1:]
	var found hintWord
	n := 0
	for _, w := range strings.FieldsFunc(strings.ToLower(last), func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9') }) {
		if c, ok := hintWords[w]; ok && (n == 0 || found.channel != c) {
			found = hintWord{c, w}
			n++
		}
	}
	return found, n == 1
}

// assign sets which series of a proposal is which channel: by its name where that says so, else the higher of
// two pressures is the outlet.
func (l *Listener) assign(p *proposal, s *Station, f *Findings) {
	add := func(x *series, c station.Channel, sure float64, why string) {
		if k, ok := p.ties[x.id]; ok {
			why += fmt.Sprintf("; moves with the others: correlation %.2f, %.1f deviations from chance", k.r, k.z)
		} else if p.counter != nil && c.IsPressure() {
			if k := l.workOf(p.counter, x); k.z >= needed(3) {
				why += fmt.Sprintf("; low while the counter counts: correlation %.2f, %.1f deviations from chance", k.r, k.z)
			}
		}
		s.Channels = append(s.Channels, Assigned{x.id, c.String(), min(sure, surest), why})
	}
	free := p.pressure
	for _, c := range [...]station.Channel{station.InletPressure, station.OutletPressure, station.HeaderPressure} {
		i := slices.IndexFunc(free, func(x *series) bool { return x.named && x.channel == c })
		if i >= 0 {
			add(free[i], c, surest, "its name is the channel's")
			free = slices.Delete(slices.Clone(free), i, i+1)
			continue
		}
		if i = slices.IndexFunc(free, func(x *series) bool { h, ok := x.hint(); return ok && h.channel == c }); i >= 0 {
			h, _ := free[i].hint()
			add(free[i], c, 0.85, fmt.Sprintf("the word %q in its name", h.word))
			free = slices.Delete(slices.Clone(free), i, i+1)
		}
	}
	has := func(c station.Channel) bool {
		return slices.ContainsFunc(s.Channels, func(a Assigned) bool { return a.Channel == c.String() })
	}
	free = slices.Clone(free)
	slices.SortStableFunc(free, func(a, b *series) int { return cmp.Compare(b.middle(), a.middle()) })
	if len(free) > 0 && !has(station.OutletPressure) {
		why, sure := "the only pressure: taken for the outlet, since that is what the branch gets", 0.5
		if len(p.pressure) > 1 {
			why, sure = "the highest of them: check valves keep an outlet from staying below its inlet", 0.85
		}
		add(free[0], station.OutletPressure, sure, why)
		free = free[1:]
	}
	if len(free) > 0 && !has(station.InletPressure) {
		x := free[len(free)-1]
		add(x, station.InletPressure, 0.8, "the lowest of them: the booster raises the pressure")
		free = free[:len(free)-1]
	}
	if len(free) > 0 && !has(station.HeaderPressure) {
		add(free[0], station.HeaderPressure, 0.5, "a third pressure between the others: the header before the supply line, or something else")
	}
	if c := p.counter; c != nil {
		add(c, station.Cycles, f.Series[c.id].sureOf(Counter), f.Series[c.id].whyOf(Counter))
	}
	if c := p.state; c != nil {
		add(c, station.SupplyOpen, f.Series[c.id].sureOf(State)/1.5, "a state beside them: the supply valve's, where 1 is open, or something else")
	}
	for _, x := range p.others {
		add(x, x.channel, surest, "its name is the channel's")
	}
}

func (s *Series) sureOf(k Kind) float64 {
	for _, g := range s.Guesses {
		if g.Is == k {
			return g.Sure
		}
	}
	return 0
}

func (s *Series) whyOf(k Kind) string {
	for _, g := range s.Guesses {
		if g.Is == k {
			return g.Why
		}
	}
	return ""
}
