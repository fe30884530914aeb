package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/dashboards/web"
	"strokewise/rules"
)

// errStarting refuses commands while the alarms are not what the log says.
var errStarting = errors.New("the history is still being restored: try again in a moment")

// errPace refuses commands of a program that runs wild.
var errPace = errors.New("too many commands: 2000 at once and 10 a second are taken; wait a moment")

// Command checks a person's command, appends it to the log of the station's partition, and
// waits for the commit that holds what became of it. The answer has no result where that is not
// decided in time: the audit has it later. A *rules.Refusal says what is wrong with a
// command that was not taken; after any other error it may be given again.
func (a *App) Command(ctx context.Context, k station.Key, c station.Command) (web.Answer, error) {
	now := a.now()
	c.By, c.Note, c.Document = strings.TrimSpace(c.By), strings.TrimSpace(c.Note), strings.TrimSpace(c.Document)
	if err := a.refuse(k, &c, now); err != nil {
		return web.Answer{}, err
	}
	if !a.pace.take(time.Now()) {
		return web.Answer{}, errPace
	}
	outcome, forget := a.answers.expect(wordID{now, c.By, c.Kind, history.Target(k, c.Alarm)})
	defer forget()
	_, err := a.ring.Append(ctx, k.Partition(), []station.Record{{Key: k, Arrival: now, Command: &c}})
	switch {
	case errors.Is(err, samplelog.ErrFull):
		return web.Answer{}, fmt.Errorf("cannot write the command down: %w; make room, then give it again", err)
	case err != nil:
		return web.Answer{}, fmt.Errorf("cannot write the command down: %w; give it again in a moment", err)
	}
	within := a.opt.Every.Answer
	if _, header := k.Header(); header {
		within += headerWaits
	}
	return web.Answer{At: now, Outcome: await(ctx, outcome, within)}, nil
}

// refuse reports why a command may not go into the log, nil where it may.
func (a *App) refuse(k station.Key, c *station.Command, now station.Instant) error {
	standing, ok := a.standing(k)
	var open []string
	for i := range standing {
		open = append(open, standing[i].Transition.Alarm)
	}
	_, header := k.Header()
	if header {
		open = append(open, rules.AlarmOf(k))
	}
	one, _ := a.board.Get(k)
	if err := rules.Refuse(c, now, &one.Plate, open...); err != nil {
		return err
	}
	if o, _ := rules.FindOrder(c.Kind); header && o.Alarm && c.Alarm != rules.AlarmOf(k) {
		return &rules.Refusal{Text: fmt.Sprintf("%s is no station: its alarm is %s", k, rules.AlarmOf(k))}
	}
	if !a.board.Ready() {
		return errStarting
	}
	if !ok {
		return &rules.Refusal{Text: fmt.Sprintf("there is no station %.80q at site %.80q: the configuration names those that there are", k.Station, k.Site)}
	}
	if header && (c.Kind == "vented" || c.Kind == "at-work" || c.Kind == "work-ended" || c.Kind == "inspected" || c.Kind == "done") {
		return &rules.Refusal{Text: fmt.Sprintf("%s concerns a station, and %s is a header: name the station", c.Kind, k)}
	}
	if c.Kind == "acknowledge" && !slices.ContainsFunc(standing, func(o board.Alarm) bool { return o.Transition.Alarm == c.Alarm }) {
		return &rules.Refusal{Text: fmt.Sprintf("the alarm %s is not open at %s: look at the station's page again", c.Alarm, k)}
	}
	return nil
}

// standing returns the alarms of a station or header that are not normal, false if there is
// no such.
func (a *App) standing(k station.Key) ([]board.Alarm, bool) {
	if _, ok := k.Header(); ok {
		h, known := a.header(k)
		return h.Alarms, known
	}
	s, ok := a.board.Get(k)
	return s.Alarms, ok
}

// people is what people did and said since the last commit.
type people struct {
	acts  []history.Act
	notes []history.Note
	words []history.HeaderWord
}

// command works off a person's command. All of them are in the audit, with their outcome.
func (p *partition) command(r *station.Record) {
	c := r.Command
	act := history.ActOf(r.Key, r.Arrival, c)
	act.Outcome = p.decide(r)
	p.people.acts = append(p.people.acts, act)
	if text := noteOf(c); text != "" {
		p.people.notes = append(p.people.notes, history.Note{Key: r.Key, At: r.Arrival, Who: c.By, Text: text, Service: c.Service, Date: c.Date, Outcome: act.Outcome})
	}
}

// decide carries a command out and returns what became of it. The writer of headers decides
// those about a header, later.
func (p *partition) decide(r *station.Record) rules.Outcome {
	if _, ok := r.Key.Header(); ok {
		p.people.words = append(p.people.words, history.HeaderWord{Key: r.Key, At: r.Arrival, Command: *r.Command})
		return rules.Outcome{}
	}
	u := p.unit(r.Key, r.Arrival)
	if u == nil {
		return rules.Outcome{Result: rules.Refused, Reason: "the station is not configured"}
	}
	u.duesAt = 0
	for range 2 { // what a unit fails on its stand-in takes
		var err error
		if p.safe(u, "a command", r, func() { err = u.Command(r.Command, r.Arrival) }) {
			return rules.OutcomeOf(err)
		}
	}
	return rules.Outcome{Result: rules.Refused, Reason: u.held.unwatched()}
}

// noteOf returns what of a command belongs among the station's notes.
func noteOf(c *station.Command) string {
	switch c.Kind {
	case "note":
		return c.Note
	case "done":
		return "Done on " + c.Date + ": " + c.Service.Words() + ", document " + c.Document
	case "inspected":
		return "Inspection done, document " + c.Document
	case "at-work":
		return "At work until " + c.Until.Floor(station.Second).String() + ": " + c.Note
	case "work-ended":
		if c.Note == "" {
			return "Work ended"
		}
		return "Work ended: " + c.Note
	case "vented":
		return "Vented, a person's word: " + c.Note
	case "close":
		return "Alarm " + c.Alarm + ": " + c.Cause.With(c.Note)
	}
	return ""
}
