package notify

import (
	"encoding/json"
	"fmt"
	"net/url"

	"strokewise/rules"
)

// reminder goes with every event.
const reminder = "Not a safety function: never interlock on these outputs."

// contentType is that of a CloudEvents 1.0 event in structured mode.
const contentType = "application/cloudevents+json; charset=utf-8"

// event is a CloudEvents 1.0 event. Source and id together are the key by which a
// receiver tells a repetition.
type event struct {
	SpecVersion string    `json:"specversion"`
	ID          string    `json:"id"`
	Source      string    `json:"source"`
	Type        string    `json:"type"`
	Subject     string    `json:"subject"`
	Time        string    `json:"time"`
	ContentType string    `json:"datacontenttype"`
	Data        eventData `json:"data"`
}

type eventData struct {
	Site     string           `json:"site"`
	Station  string           `json:"station"`
	Branch   string           `json:"branch,omitempty"`
	Alarm    string           `json:"alarm"`
	Priority string           `json:"priority"`
	From     string           `json:"from"`
	To       string           `json:"to"`
	Raised   string           `json:"raised"`
	Message  string           `json:"message,omitempty"`
	Caution  string           `json:"caution,omitempty"`
	Evidence []rules.Evidence `json:"evidence"`
	By       string           `json:"by,omitempty"`
	Cause    string           `json:"cause,omitempty"`
	Why      string           `json:"why,omitempty"`
	Known    *eventKnown      `json:"known,omitempty"` // nil: the alarm is neither shipped nor configured
	Reminder string           `json:"reminder"`
}

// eventKnown is what is known of an alarm beforehand.
type eventKnown struct {
	Consequence string   `json:"consequence"`
	Causes      []string `json:"causes"`
	CheckFirst  string   `json:"check_first"`
	RespondIn   string   `json:"respond_in"`
	Runbook     string   `json:"runbook"`
}

// knownOf returns what is known beforehand of a transition's alarm.
func knownOf(t *rules.Transition, known Known) *eventKnown {
	d, ok := known.of(t)
	if !ok {
		return nil
	}
	return &eventKnown{d.Consequence, d.Causes, d.CheckFirst, d.RespondIn, d.Runbook}
}

// encode gives a transition as an event.
func encode(t *rules.Transition, known Known) ([]byte, error) {
	return encodeAs(t, eventType(t), known)
}

// encodeAs gives a transition as an event of a type.
func encodeAs(t *rules.Transition, kind string, known Known) ([]byte, error) {
	e := event{
		SpecVersion: "1.0", ID: t.ID(), Type: kind, Subject: t.Alarm, Time: t.At.String(), ContentType: "application/json",
		Source: "/strokewise/" + url.PathEscape(t.Key.Site) + "/" + url.PathEscape(t.Key.Station),
		Data: eventData{
			Site: t.Key.Site, Station: t.Key.Station, Branch: t.Branch, Alarm: t.Alarm, Priority: t.Priority.String(),
			From: t.From.String(), To: t.To.String(), Raised: t.Raised.String(),
			Message: t.Said(), Caution: t.Caution, Evidence: t.Evidence, By: t.By, Cause: t.Cause.String(), Why: t.Reason(), Known: knownOf(t, known), Reminder: reminder,
		},
	}
	if e.Data.Evidence == nil {
		e.Data.Evidence = []rules.Evidence{}
	}
	b, err := json.Marshal(&e)
	if err != nil {
		return nil, fmt.Errorf("cannot encode %s: %w", t.ID(), err)
	}
	return b, nil
}

// happening is what a transition means to those who are told of it.
type happening uint8

const (
	changed happening = iota // noted, or kept back: neither says that it is over
	reminded
	raised
	acknowledged
	cleared
)

// String returns the happening's name in events and mails.
func (h happening) String() string {
	return [...]string{"changed", "reminder", "raised", "acknowledged", "cleared"}[h]
}

// happeningOf returns what a transition means.
func happeningOf(t *rules.Transition) happening {
	switch {
	case t.Reminder():
		return reminded
	case t.From == t.To, t.To >= rules.Shelved:
		return changed
	case t.To == rules.Unacknowledged:
		return raised
	case t.To == rules.Acknowledged, t.From == rules.ReturnedUnacknowledged:
		return acknowledged
	case t.From.Active():
		return cleared
	}
	return changed
}

// eventType returns the type of the event of a transition.
func eventType(t *rules.Transition) string { return "strokewise.alarm." + happeningOf(t).String() }
