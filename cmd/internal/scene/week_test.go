package scene

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// raise is a transition that raises an alarm s after the week's start.
func raise(s int64, id, alarm string, p rules.Priority) rules.Transition {
	return rules.Transition{Key: station.Key{Site: site, Station: id}, Alarm: alarm, Priority: p, To: rules.Unacknowledged, At: second(s), Raised: second(s)}
}

// What is raised while it is true is no false alarm, what is due and not raised is missed, and shares
// count what is annunciated alone.
func TestReportComparesWithTruth(t *testing.T) {
	p := &plan{workers: make([]worker, 2), length: wholeDay}
	p.workers[0].id, p.workers[1].id = "a", "b"
	p.due(0, "pressure-left", 100, 200, "left charged")
	p.due(1, "pressure-left", 100, 200, "left charged")
	p.may(0, "starved", 100, 200, "header trip")
	kept := raise(150, "b", "starved", rules.Medium)
	kept.Explained = "header-low"
	r := p.report(&Outcome{Transitions: []rules.Transition{
		raise(120, "a", "pressure-left", rules.High), raise(130, "a", "starved", rules.Medium), kept,
		raise(210, "b", "pressure-left", rules.High), raise(300, "b", "duty-high", rules.Finding), raise(400, "b", "signal-lost", rules.Low),
	}}, 0)
	if r.Alarms != 4 || r.Findings != 1 || r.ByPriority[rules.High] != 2 || r.ByPriority[rules.Low] != 1 {
		t.Errorf("%d alarms, %d findings, %v", r.Alarms, r.Findings, r.ByPriority)
	}
	if len(r.False) != 2 || r.False[0].Alarm != "pressure-left" || r.False[1].Alarm != "signal-lost" {
		t.Errorf("false: %+v", r.False)
	}
	if len(r.Missed) != 1 || !strings.Contains(r.Missed[0], `"b"`) || r.Due != 2 {
		t.Errorf("missed: %v of %d", r.Missed, r.Due)
	}
	if text := r.Text(); !strings.Contains(text, "high       2   50.0 %") {
		t.Error(text)
	}
}

// A planned week has what it is for: evenings on which stations are left charged, overtime, people at
// work, restarts; and each of its alarms belongs to a station that there is.
func TestWeekIsPlanned(t *testing.T) {
	p := newWeek(0, 24, 7)
	names, alarms := map[string]bool{"": true}, map[string]int{}
	for i := range p.workers {
		names[p.workers[i].id] = true
		names["header:"+p.workers[i].spec.Plate.Header] = true
	}
	for _, w := range p.truth {
		if w.due {
			alarms[w.alarm]++
		}
		if !names[strings.TrimSuffix(w.station, "-new")] {
			t.Errorf("%s of %q, which is no station", w.alarm, w.station)
		}
		if w.until <= w.from {
			t.Errorf("%s of %q is true for no time", w.alarm, w.station)
		}
	}
	for alarm, least := range map[string]int{"pressure-left": 8, "over-time": 2, "outlet-collapse": 2, "header-low": 2, "pressure-at-work": 1,
		"work-time-over": 1, "pressure-returned": 1, "signal-lost": 1, "sensor-frozen": 1, "sensor-implausible": 1, "piston-stuck": 1, "relief-lifting": 1, "outlet-leak": 1} {
		if alarms[alarm] < least {
			t.Errorf("%s is due %d times, expected %d at least", alarm, alarms[alarm], least)
		}
	}
	for i := 1; i < len(p.actions); i++ {
		if p.actions[i].at < p.actions[i-1].at {
			t.Error("actions are not in order")
		}
	}
}

// Two hours of the week, about the start of Monday's first shift: stations are opened and begin to work,
// and nothing annunciated is false.
func TestTwoHoursOfTheWeek(t *testing.T) {
	t.Parallel()
	p := newWeek(0, 3, 1)
	p.length = 7*hour + 1800
	r := p.report(playPlant(func(q *Plant) { q.week(p, Start.Floor(station.Second).Add(-10*hour*station.Second), func(int) {}) }), 0)
	for _, w := range r.Wrong {
		t.Error(w)
	}
	for i := range r.False {
		t.Errorf("false: %s of %s: %s", r.False[i].Alarm, r.False[i].Key, r.False[i].Message)
	}
}
