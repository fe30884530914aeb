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
	False  []rules.Transition // annunciated, and nothing of the plan makes them true
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
		if !p.true(t, met) && t.Priority > rules.Finding {
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
	fmt.Fprintln(&b, "\nfalse:")
	for i := range r.False {
		t := &r.False[i]
		fmt.Fprintf(&b, "  %s  %-11s %s (%s): %s\n", clock(t.At), t.Key.Station, t.Alarm, t.Priority, t.Message)
	}
	fmt.Fprintln(&b, "missed:")
	for _, m := range append(r.Missed, r.Wrong...) {
		fmt.Fprintf(&b, "  %s\n", m)
	}
	return b.String()
}
