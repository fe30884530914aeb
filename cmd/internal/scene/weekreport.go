package scene

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
	"strokewise/rules/performance"
)

// Report is what a week brought.
type Report struct {
	Stations, Days int
	Took           time.Duration
	performance.Report
	Raised []rules.Transition // annunciated
	False  []rules.Transition // of these those that nothing of the plan makes true
	Missed []string           // due, and not raised
	Due    int
	Wrong  []string // what kept the program from playing it
	named  map[string][rules.High + 1]int
}

// report compares what was raised with the plan.
func (p *plan) report(o *Outcome, took time.Duration) *Report {
	r := &Report{Stations: len(p.workers), Days: int(p.length / wholeDay), Took: took, Wrong: o.Wrong, named: map[string][rules.High + 1]int{},
		Report: performance.Measure(o.Transitions, nil, Start, second(p.length))}
	met := make([]bool, len(p.truth))
	for i := range o.Transitions {
		t := &o.Transitions[i]
		if !raised(t) {
			continue
		}
		n := r.named[t.Alarm]
		n[t.Priority]++
		r.named[t.Alarm] = n
		known := p.true(t, met)
		if t.Priority == rules.Finding {
			continue
		}
		r.Raised = append(r.Raised, *t)
		if !known {
			r.False = append(r.False, *t)
		}
	}
	for i, w := range p.truth {
		if w.due {
			r.Due++
			if !met[i] {
				r.Missed = append(r.Missed, fmt.Sprintf("%s at %q from %s on (%s)", w.alarm, w.station, clock(second(w.from)), w.why))
			}
		}
	}
	return r
}

// group is false alarms of one name at one station.
type group struct {
	first *rules.Transition
	n     int
}

// groups gathers the false alarms by name and station, the most frequent first.
func (r *Report) groups() []group {
	at := map[[2]string]int{}
	var out []group
	for i := range r.False {
		t := &r.False[i]
		k := [2]string{t.Alarm, t.Key.Station}
		if _, ok := at[k]; !ok {
			at[k] = len(out)
			out = append(out, group{first: t})
		}
		out[at[k]].n++
	}
	slices.SortStableFunc(out, func(a, b group) int { return b.n - a.n })
	return out
}

// true reports whether the plan makes a raised alarm true, and notes what it was due for.
func (p *plan) true(t *rules.Transition, met []bool) bool {
	found := false
	for i := range p.truth {
		w := &p.truth[i]
		if w.alarm == t.Alarm && (w.station == "" || w.station == t.Key.Station) && t.At >= second(w.from) && t.At <= second(w.until) {
			met[i], found = true, true
		}
	}
	return found
}

// clock returns day and time of the week.
func clock(t station.Instant) string {
	s := t.Sub(Start) / station.Second
	return fmt.Sprintf("day %d %02d:%02d", s/wholeDay+1, s%wholeDay/hour, s%hour/60)
}

// Text returns the report for people.
func (r *Report) Text() string {
	var b strings.Builder
	days := float64(r.Days)
	fmt.Fprintf(&b, "%d stations, %d days, played in %s\n\n", r.Stations, r.Days, r.Took.Round(time.Second))
	if len(r.Wrong) > 0 {
		return b.String() + "not played to its end, so that nothing can be said of it:\n  " + strings.Join(r.Wrong, "\n  ") + "\n"
	}
	fmt.Fprintf(&b, "annunciated alarms: %d, %.1f a day; in the fullest ten minutes %d; findings: %d\n", r.Alarms, float64(r.Alarms)/days, r.Most, r.Findings)
	for _, x := range []struct {
		p     rules.Priority
		asked int
	}{{rules.High, 5}, {rules.Medium, 15}, {rules.Low, 80}} {
		share := 0.0
		if r.Alarms > 0 {
			share = 100 * float64(r.ByPriority[x.p]) / float64(r.Alarms)
		}
		fmt.Fprintf(&b, "  %-7s %4d  %5.1f %%  (asked: near %d %%)\n", x.p, r.ByPriority[x.p], share, x.asked)
	}
	fmt.Fprintf(&b, "false ones: %d; due: %d, missed: %d; chattering: %d\n\n", len(r.False), r.Due, len(r.Missed), len(r.Chattering))
	fmt.Fprintf(&b, "| alarm | high | medium | low | finding |\n|---|---|---|---|---|\n")
	for _, name := range slices.SortedFunc(maps.Keys(r.named), func(a, b string) int { return cmp.Compare(a, b) }) {
		n := r.named[name]
		fmt.Fprintf(&b, "| %s | %d | %d | %d | %d |\n", name, n[rules.High], n[rules.Medium], n[rules.Low], n[rules.Finding])
	}
	fmt.Fprintln(&b, "\nfalse, by alarm and station, with the first one:")
	for _, g := range r.groups() {
		fmt.Fprintf(&b, "  %4d %s (%s) of %s, %s: %s\n", g.n, g.first.Alarm, g.first.Priority, g.first.Key.Station, clock(g.first.At), g.first.Message)
	}
	fmt.Fprintln(&b, "missed:")
	for _, m := range r.Missed {
		fmt.Fprintf(&b, "  %s\n", m)
	}
	return b.String()
}

// Each lists what was annunciated, in order of time.
func (r *Report) Each() string {
	var b strings.Builder
	fmt.Fprintln(&b, "each:")
	wrong := 0
	for i := range r.Raised {
		t, mark := &r.Raised[i], "true"
		if wrong < len(r.False) && r.False[wrong].Key == t.Key && r.False[wrong].Alarm == t.Alarm && r.False[wrong].At == t.At {
			mark, wrong = "false", wrong+1
		}
		fmt.Fprintf(&b, "  %s %-5s %s (%s) of %s: %s\n", clock(t.At), mark, t.Alarm, t.Priority, t.Key.Station, t.Message)
	}
	return b.String()
}
