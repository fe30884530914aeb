package discover

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// Most that are looked at for kinship: counters times pressures are the pairs.
const (
	mostCounters  = 50
	mostPressures = 200
)

// plausible is how likely a series must be of a kind to be looked at as such.
const plausible = 0.2

// proposal is a station under consideration.
type proposal struct {
	name     string
	why      string
	counter  *series
	pressure []*series
	state    *series
	others   []*series       // that their names say
	ties     map[int]kinship // of pressures with the counter, by series
}

// propose returns the stations that there may be: by what stands together in topics and payloads where that
// is one station, else by what moves together.
func (l *Listener) propose(f *Findings) []Station {
	could := func(s *series, k Kind) bool {
		return slices.ContainsFunc(f.Series[s.id].Guesses, func(g Guess) bool { return g.Is == k && g.Sure >= plausible })
	}
	var pool []*series
	var out []proposal
	for _, g := range l.groups() {
		p := proposal{name: g.name, why: g.why}
		counters := 0
		for _, s := range g.list {
			switch {
			case could(s, Counter) && !(f.Series[s.id].Best().Is == Pressure):
				counters++
				if p.counter == nil || f.Series[s.id].Best().Is == Counter && f.Series[p.counter.id].Best().Is != Counter {
					p.counter = s
				}
			case could(s, Pressure):
				p.pressure = append(p.pressure, s)
			case f.Series[s.id].Best().Is == State && p.state == nil:
				p.state = s
			case s.named && (s.channel == station.TankTemperature || s.channel == station.InletFlow):
				p.others = append(p.others, s)
			}
		}
		if len(p.pressure) >= 1 && len(p.pressure) <= 3 && counters <= 1 && len(p.pressure)+counters >= 2 {
			out = append(out, p)
			continue
		}
		for _, s := range g.list {
			if could(s, Counter) || could(s, Pressure) {
				pool = append(pool, s)
			}
		}
	}
	out = append(out, l.match(pool, f)...)
	return l.name(out, f)
}

// group is what stands together in topics and payloads.
type group struct {
	name, why string
	list      []*series
}

// groups gathers the series: those of one topic where it has several, else those of topics that differ in the
// last level alone.
func (l *Listener) groups() []*group {
	var out []*group
	by := make(map[string]*group)
	for _, s := range l.series {
		t := s.topic
		key, why := t.name, "they come in the same messages"
		if len(t.series) == 1 {
			i := strings.LastIndexByte(t.name, '/')
			key, why = t.name[:max(i, 0)]+"/", "their topics differ in the last level alone"
		}
		g := by[key]
		if g == nil {
			g = &group{name: strings.Trim(key, "/"), why: why}
			by[key], out = g, append(out, g)
		}
		g.list = append(g.list, s)
	}
	return out
}

// tie is a counter and a pressure that move together.
type tie struct {
	counter, pressure *series
	kinship
}

// match makes stations of series that nothing but their movement joins: the strongest ties first, two
// pressures for a counter.
func (l *Listener) match(pool []*series, f *Findings) []proposal {
	var counters, pressures []*series
	for _, s := range pool {
		switch {
		case f.Series[s.id].Best().Is == Counter && len(counters) < mostCounters:
			counters = append(counters, s)
		case f.Series[s.id].Best().Is == Pressure && len(pressures) < mostPressures:
			pressures = append(pressures, s)
		}
	}
	least := needed(len(counters) * len(pressures))
	var ties []tie
	for _, c := range counters {
		for _, p := range pressures {
			if k := l.workOf(c, p); k.z >= least {
				ties = append(ties, tie{c, p, k})
			}
		}
	}
	slices.SortStableFunc(ties, func(a, b tie) int { return cmp.Compare(b.z, a.z) })
	taken := make(map[*series]bool)
	by := make(map[*series]*proposal)
	var order []*proposal
	for _, x := range ties {
		p := by[x.counter]
		if taken[x.pressure] || p != nil && len(p.pressure) == 2 {
			continue
		}
		if p == nil {
			p = &proposal{counter: x.counter, why: "they move together: the pressures are low while the counter counts", ties: make(map[int]kinship)}
			by[x.counter], order = p, append(order, p)
		}
		p.pressure, p.ties[x.pressure.id], taken[x.pressure] = append(p.pressure, x.pressure), x.kinship, true
	}
	out := make([]proposal, 0, len(order))
	for _, p := range order {
		l.other(p, pressures, taken)
		out = append(out, *p)
	}
	return append(out, l.pairs(pressures, taken)...)
}

// other finds the other side of a station of which the counter is tied to one pressure only: the free pressure
// that goes best with that one.
func (l *Listener) other(p *proposal, pressures []*series, taken map[*series]bool) {
	if len(p.pressure) != 1 {
		return
	}
	var best *series
	most := kinship{z: needed(len(pressures))}
	for _, s := range pressures {
		if k := l.sidesOf(p.pressure[0], s); !taken[s] && k.z >= most.z {
			best, most = s, k
		}
	}
	if best != nil {
		p.pressure, p.ties[best.id], taken[best] = append(p.pressure, best), most, true
	}
}

// higher is by how much the mean of an outlet is above its inlet's at least, for two pressures without a
// counter to be taken for a station: less is a line, not a booster. Own choice, no source.
const higher = 1.1

// pairs makes stations of pressures without a counter, two that are low at the same times.
func (l *Listener) pairs(pressures []*series, taken map[*series]bool) []proposal {
	free := slices.DeleteFunc(slices.Clone(pressures), func(s *series) bool { return taken[s] })
	least := needed(len(free) * len(free))
	var ties []tie
	for _, in := range free {
		for _, out := range free {
			if out.middle() < higher*in.middle() || out.middle() > 10*in.middle() {
				continue
			}
			if k := l.sidesOf(in, out); k.z >= least {
				ties = append(ties, tie{in, out, k})
			}
		}
	}
	slices.SortStableFunc(ties, func(a, b tie) int { return cmp.Compare(b.z, a.z) })
	var out []proposal
	for _, x := range ties {
		if !taken[x.counter] && !taken[x.pressure] {
			taken[x.counter], taken[x.pressure] = true, true
			out = append(out, proposal{why: "they move together: both are low at the same times", pressure: []*series{x.counter, x.pressure},
				ties: map[int]kinship{x.counter.id: x.kinship, x.pressure.id: x.kinship}})
		}
	}
	return out
}

// name turns proposals into stations with identifiers, and says which series is which channel.
func (l *Listener) name(list []proposal, f *Findings) []Station {
	var out []Station
	used := make(map[string]bool)
	for i := range list {
		p := &list[i]
		s := Station{ID: unique(identifier(p.name), used), Why: p.why}
		l.assign(p, &s, f)
		if len(s.Channels) > 0 {
			out = append(out, s)
		}
	}
	return out
}

// identifier makes an identifier of the last part of a topic, "station" where there is none.
func identifier(topic string) string {
	last := topic[strings.LastIndexByte(topic, '/')+1:]
	var b strings.Builder
	for _, r := range last {
		switch {
		case r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 48 {
			break
		}
	}
	if id := strings.Trim(b.String(), "-"); id != "" {
		return id
	}
	return "station"
}

// unique returns a name that is not used yet.
func unique(name string, used map[string]bool) string {
	id := name
	if name == "station" {
		id = "station-1"
	}
	for n := 2; used[id]; n++ {
		id = fmt.Sprintf("%s-%d", name, n)
	}
	used[id] = true
	return id
}
