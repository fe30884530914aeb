package web

import (
	"context"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// formView is a form that gives a command.
type formView struct {
	Action, Alarm string
	Label         string     // of the field for words
	Caution       string     // what to mind before a button is pressed
	Reasoned      bool       // words are needed
	Who, Why      string     // what stands in the fields already
	Causes        []string   // of an alarm that is closed
	Kinds         []kindView // of what was done
	Date          string
	Buttons       []buttonView
	Mark          string   // of our own pages
	Login         string   // who it is that gives the command; "": who is asked for
	Panel         []string // names to choose from, with a PIN
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
const cautionVented = "\"Vented\" ends the alarm on stored pressure on your word alone. Read the local gauges first, also downstream of the regulator. It replaces no lock-out." + rules.CautionBySite

// noteForm gives the form for what concerns the station as a whole.
func (s *site) noteForm(k station.Key, root string) *formView {
	if isHeader(k) {
		return &formView{Action: root + "station/" + path(k) + "/command", Label: "Note", Buttons: []buttonView{{"note", "Save the note"}}}
	}
	return &formView{Action: root + "station/" + path(k) + "/command", Label: "Note, gauge that was read, or reference of the document", Caution: cautionVented, Buttons: []buttonView{
		{"note", "Save the note"}, {"vented", "Vented, local gauge read"}, {"inspected", "Tank inspection done"}}}
}

// addForms adds to each alarm what is known of it and, if commands are taken, a form.
func (s *site) addForms(list []alarmView, k station.Key, root string, by *reader, who string) {
	s.unfold(list, k)
	if s.Command == nil {
		return
	}
	for i := range list {
		a := &list[i]
		action := root + "station/" + path(k) + "/command"
		a.Form = s.fit(&formView{Action: action, Alarm: a.Name, Label: "Why, or what was done", Who: who, Causes: rules.Causes(), Buttons: a.buttons()}, by, k)
		if a.Guards && a.shelvable() && (by.panel || s.mayAt(by, "shelve", k) == nil) {
			a.Shelve = action + "#shelve-" + a.Name
		}
	}
}

// fit returns a form as it is for a reader: with what the reader may do, under the reader's name. It
// returns nil where that is nothing.
func (s *site) fit(f *formView, by *reader, k station.Key) *formView {
	if by.open || f == nil {
		return f
	}
	f.Mark = s.mark(by)
	if by.panel {
		f.Panel = s.Identity.Users.Named()
		if f.Panel == nil {
			return nil
		}
		return f
	}
	f.Login = by.Name
	f.Buttons = slices.DeleteFunc(f.Buttons, func(b buttonView) bool {
		kind, _, _ := strings.Cut(b.Value, " ")
		return s.mayAt(by, kind, k) != nil
	})
	if len(f.Buttons) == 0 {
		return nil
	}
	return f
}

// shelvable reports whether the alarm's state lets it be shelved.
func (a *alarmView) shelvable() bool {
	return a.state == rules.Unacknowledged || a.state == rules.Acknowledged || a.state == rules.ReturnedUnacknowledged
}

// shelving are the times for which an alarm can be shelved on pages.
var shelving = [...]struct {
	minutes int64
	button  buttonView
}{{60, buttonView{"shelve 60", "Shelve for 1 h"}}, {480, buttonView{"shelve 480", "Shelve for 8 h"}}}

// shelves returns the buttons that shelve the alarm for no longer than it allows.
func (a *alarmView) shelves() []buttonView {
	var out []buttonView
	for _, x := range shelving {
		if a.shelveAtMost == 0 || x.minutes*station.Minute60 <= a.shelveAtMost {
			out = append(out, x.button)
		}
	}
	return out
}

// buttons returns what can be done with an alarm in its state. An alarm that guards people is
// shelved in a step of its own.
func (a *alarmView) buttons() []buttonView {
	var out []buttonView
	switch a.state {
	case rules.Unacknowledged, rules.ReturnedUnacknowledged:
		out = append(out, buttonView{"acknowledge", "Acknowledge"})
	case rules.Shelved:
		out = append(out, buttonView{"unshelve", "Unshelve"})
	case rules.OutOfService:
		out = append(out, buttonView{"in-service", "Put back in service"})
	}
	if a.shelvable() && !a.Guards {
		out = append(out, a.shelves()...)
	}
	return append(out, buttonView{"close", "Close with its cause"})
}

// cautionShelving stands with the form that shelves an alarm that guards people.
const cautionShelving = "Shelving hides the alarm and changes nothing at the station: what is charged stays charged. Nobody is reminded while it is shelved. " +
	"It is no lock-out. Only by the site's procedure, by people who are allowed to; local codes govern. Tell everybody who works there."

// shelveForms returns the forms that shelve alarms that guard people.
func shelveForms(list []alarmView, k station.Key, root, who string) []formView {
	var out []formView
	for i := range list {
		if a := &list[i]; a.Guards && a.shelvable() {
			out = append(out, formView{Action: root + "station/" + path(k) + "/command", Alarm: a.Name, Label: "Why, and who was told", Who: who, Caution: cautionShelving, Reasoned: true, Buttons: a.shelves()})
		}
	}
	return out
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
