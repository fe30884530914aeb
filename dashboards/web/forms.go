package web

import (
	"context"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// formView is a form that gives a command.
type formView struct {
	Action, Alarm string
	Label         string     // of the field for words
	Caution       string     // what to mind before a button is pressed
	Who, Why      string     // what stands in the fields already
	Causes        []string   // of an alarm that is closed
	Kinds         []kindView // of what was done
	Date          string
	Buttons       []buttonView
}

// kindView is something that can be done, by its name and in words.
type kindView struct{ Name, What string }

// doneForm gives the form that records something done.
func (s *site) doneForm(k station.Key, root string) *formView {
	f := &formView{Action: root + "station/" + path(k) + "/command", Label: "Reference of the document", Buttons: []buttonView{{"done", "Record the service"}}}
	for _, x := range station.ServiceKinds() {
		f.Kinds = append(f.Kinds, kindView{x.String(), x.Words()})
	}
	return f
}

// buttonView is a button; Value is the kind, with minutes behind it where it takes any.
type buttonView struct{ Value, Text string }

// cautionVented stands with the button that ends an alarm on stored pressure on a person's word.
const cautionVented = "\"Vented\" ends the alarm on stored pressure on your word alone. Read the local gauges first, also downstream of the regulator. It replaces no lock-out."

// noteForm gives the form for what concerns the station as a whole.
func (s *site) noteForm(k station.Key, root string) *formView {
	if isHeader(k) {
		return &formView{Action: root + "station/" + path(k) + "/command", Label: "Note", Buttons: []buttonView{{"note", "Save the note"}}}
	}
	return &formView{Action: root + "station/" + path(k) + "/command", Label: "Note, gauge that was read, or reference of the document", Caution: cautionVented, Buttons: []buttonView{
		{"note", "Save the note"}, {"vented", "Vented, local gauge read"}, {"inspected", "Tank inspection done"}}}
}

// addForms gives each alarm a form, if commands are taken.
func (s *site) addForms(list []alarmView, k station.Key, root, who string) {
	if s.Command == nil {
		return
	}
	for i := range list {
		a := &list[i]
		a.Form = &formView{Action: root + "station/" + path(k) + "/command", Alarm: a.Name, Label: "Why, or what was done", Who: who, Causes: rules.Causes(), Buttons: buttons(a.State)}
	}
}

// buttons gives what can be done with an alarm in a state.
func buttons(state string) []buttonView {
	closing := buttonView{"close", "Close with its cause"}
	switch state {
	case rules.Unacknowledged.String(), rules.ReturnedUnacknowledged.String():
		return []buttonView{{"acknowledge", "Acknowledge"}, {"shelve 60", "Shelve for 1 h"}, {"shelve 480", "Shelve for 8 h"}, closing}
	case rules.Acknowledged.String():
		return []buttonView{{"shelve 60", "Shelve for 1 h"}, {"shelve 480", "Shelve for 8 h"}, closing}
	case rules.Shelved.String():
		return []buttonView{{"unshelve", "Unshelve"}, closing}
	case rules.OutOfService.String():
		return []buttonView{{"in-service", "Put back in service"}, closing}
	}
	return []buttonView{closing}
}

// noteView is a note in words. Where Not is set, what it says was not done.
type noteView struct{ At, Station, Link, Who, Text, Not string }

func notesOf(list []history.Note) []noteView {
	out := make([]noteView, len(list))
	for i, n := range list {
		out[i] = noteView{clock(n.At.Floor(station.Second)), n.Key.String(), path(n.Key), n.Who, n.Text, notDone(n.Outcome)}
	}
	return out
}

// notes gives a station's last notes; why says what keeps them from being read.
func (s *site) notes(ctx context.Context, k station.Key) (list []noteView, why string) {
	if s.Diary == nil {
		return nil, ""
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	notes, err := s.Diary.LastNotes(ctx, k, mostNotes)
	if err != nil {
		return nil, err.Error()
	}
	return notesOf(notes), ""
}
