package web

import (
	"cmp"
	"slices"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// priorityView is a priority by word, shape and class: colour is never the only cue.
type priorityView struct{ Word, Shape, Class string }

var priorities = map[rules.Priority]priorityView{
	rules.High:    {"HIGH", "▲", "high"},
	rules.Medium:  {"MEDIUM", "◆", "medium"},
	rules.Low:     {"LOW", "■", "low"},
	rules.Finding: {"FINDING", "○", "finding"},
}

// countView is how many alarms of one priority are open.
type countView struct {
	Priority priorityView
	Count    string
}

// alarmView is one alarm that is not normal.
type alarmView struct {
	Name                string
	Priority            priorityView
	State, Raised       string
	Why                 string // a person's, or why it is told again
	Message, Caution    string
	Now, Read           string // what the alarm says as of now, and the pressure that it is about
	NowAt               string
	CheckFirst, Respond string
	Form                *formView // nil: no commands are taken here
	Under               string    // the alarm of its header that explains it
	Fold                *foldView // nil: not on this page
	Guards              bool      // people, by stored pressure: not shelved beside being acknowledged
	Shelve              string    // address of the form that shelves it, where it has one of its own

	state        rules.AlarmState
	shelveAtMost int64 // ns
}

// alarms puts alarms in words: highest priority first, then present before past, then
// the oldest.
func alarms(list []board.Alarm) []alarmView {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b board.Alarm) int {
		return cmp.Or(cmp.Compare(b.Transition.Priority, a.Transition.Priority), present(a)-present(b),
			cmp.Compare(a.Transition.Raised, b.Transition.Raised), cmp.Compare(a.Transition.Alarm, b.Transition.Alarm))
	})
	views := make([]alarmView, 0, len(list))
	for i := range list {
		views = append(views, alarm(&list[i]))
	}
	return views
}

func present(a board.Alarm) int {
	if a.State.Active() {
		return 0
	}
	return 1
}

func alarm(a *board.Alarm) alarmView {
	t := &a.Transition
	v := alarmView{Name: t.Alarm, Priority: priorities[t.Priority%4], State: stateOf(a), Why: whyOf(t), state: a.State,
		Raised: clock(t.Raised), Message: t.Message, Caution: t.Caution}
	if t.Raised == 0 {
		v.Raised = "" // suppressed before it was raised
	}
	v.progress(a.Progress)
	if d, ok := rules.DefinitionOf(t.Key, t.Alarm); ok {
		v.CheckFirst, v.Respond = d.CheckFirst, d.RespondIn
	}
	return v
}

// stateOf returns an alarm's state in words, with who brought it there and until when.
func stateOf(a *board.Alarm) string {
	t, text := &a.Transition, a.State.String()
	if t.By != "" && t.From != t.To && (t.To == rules.Acknowledged || t.To >= rules.Shelved) {
		text += " by " + t.By
	}
	if t.To == rules.Shelved && t.ShelvedUntil != 0 {
		text += " until " + clock(t.ShelvedUntil.Floor(station.Second))
	}
	return text
}

// whyOf returns the reason of an alarm's newest change, and whose it is, "" where there is none.
func whyOf(t *rules.Transition) string {
	why := t.Reason()
	if why == "" || t.By == "" {
		return why
	}
	return t.By + ": " + why
}

// progress adds what is read now. The message that says the same now replaces the older one.
func (v *alarmView) progress(r *rules.Progress) {
	if r == nil || r.At == 0 {
		return
	}
	v.Read, v.NowAt = r.String(), clock(r.At.Floor(station.Second))
	if r.Message != v.Message {
		v.Now = r.Message
	}
}

// openAlarms counts the alarms by priority, highest first; priorities without one are
// left out.
func openAlarms(all []board.Station) []countView {
	var n [4]int
	for i := range all {
		for j := range all[i].Alarms {
			if all[i].Alarms[j].State == rules.SuppressedByDesign {
				continue
			}
			n[all[i].Alarms[j].Transition.Priority%4]++
		}
	}
	var views []countView
	for p := rules.High + 1; p > 0; p-- {
		if n[p-1] > 0 {
			views = append(views, countView{priorities[p-1], strconv.Itoa(n[p-1])})
		}
	}
	return views
}

// openView is an open alarm with the station to go to.
type openView struct {
	Priority                   priorityView
	Station, Key, Alarm, State string
}

// mostListed bounds the list of open alarms above the stations.
const mostListed = 8

// count counts the open alarms of all, and lists those that ask for an answer: highest
// priority first, then the oldest.
func (v *overviewView) count(all []board.Station) {
	v.Open, v.Listed, v.More = openAlarms(all), nil, 0
	type one struct {
		k station.Key
		a *board.Alarm
	}
	var list []one
	for i := range all {
		for j := range all[i].Alarms {
			a := &all[i].Alarms[j]
			if a.Transition.Priority != rules.Finding && a.State != rules.SuppressedByDesign {
				list = append(list, one{all[i].Plate.Key, a})
			}
		}
	}
	slices.SortStableFunc(list, func(x, y one) int {
		return cmp.Or(cmp.Compare(y.a.Transition.Priority, x.a.Transition.Priority), cmp.Compare(x.a.Transition.Raised, y.a.Transition.Raised))
	})
	for _, x := range list[:min(len(list), mostListed)] {
		v.Listed = append(v.Listed, openView{priorities[x.a.Transition.Priority%4], x.k.Site + "/" + nameOf(x.k), path(x.k), x.a.Transition.Alarm, x.a.State.String()})
	}
	v.More = len(list) - len(v.Listed)
}
