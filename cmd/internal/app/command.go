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
	"strokewise/rules"
)

// errStarting refuses commands while the alarms are not what the log says.
var errStarting = errors.New("the history is still being restored: try again in a moment")

// errPace refuses commands of a program that runs wild.
var errPace = errors.New("too many commands: 2000 at once and 10 a second are taken; wait a moment")

// Command takes a person's word: it checks it, appends it to the station's partition and
// returns once the log has it. A *rules.Refusal says what is wrong with it; with any other
// error it may be given again.
func (a *App) Command(ctx context.Context, k station.Key, c station.Command) error {
	c.By, c.Note = strings.TrimSpace(c.By), strings.TrimSpace(c.Note)
	now := station.InstantOf(time.Now())
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
	if err := rules.Refuse(&c, now, &one.Plate, open...); err != nil {
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
	if header && (c.Kind == "vented" || c.Kind == "inspected" || c.Kind == "done") {
		return &rules.Refusal{Text: fmt.Sprintf("%s concerns a station, and %s is a header: name the station", c.Kind, k)}
	}
	if c.Kind == "acknowledge" && !slices.ContainsFunc(standing, func(o board.Alarm) bool { return o.Transition.Alarm == c.Alarm }) {
		return &rules.Refusal{Text: fmt.Sprintf("the alarm %s is not open at %s: look at the station's page again", c.Alarm, k)}
	}
	if !a.pace.take(time.Now()) {
		return errPace
	}
	_, err := a.samples.Append(ctx, k.Partition(), []station.Record{{Key: k, Arrival: now, Command: &c}})
	switch {
	case errors.Is(err, samplelog.ErrFull):
		return fmt.Errorf("cannot write the command down: %w; raise log.max_bytes or make room on the disk, then give it again", err)
	case err != nil:
		return fmt.Errorf("cannot write the command down: %w; give it again in a moment", err)
	}
	return nil
}

// standing gives the alarms of a station or header that are not normal, false if there is
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

// command works off a person's word. All of them are in the audit, with what came of them.
func (p *partition) command(r *station.Record) {
	c := r.Command
	act := history.Act{At: r.Arrival, Who: c.By, What: c.Kind, Target: history.Target(r.Key, c.Alarm), Detail: c.Note}
	if c.Until != 0 {
		act.Detail = "until " + c.Until.Floor(station.Second).String() + ": " + act.Detail
	}
	if _, ok := r.Key.Header(); ok {
		p.people.words = append(p.people.words, history.HeaderWord{Key: r.Key, At: r.Arrival, Command: *c})
	} else if u := p.unit(r.Key, r.Arrival); u == nil {
		act.Detail = strings.TrimSpace(act.Detail + noEffect + "the station is not configured)")
	} else if err := u.Command(c, r.Arrival); err != nil {
		act.Detail = strings.TrimSpace(act.Detail + noEffect + err.Error() + ")")
	} else {
		u.duesAt = 0
	}
	p.people.acts = append(p.people.acts, act)
	if text := noteOf(c); text != "" {
		p.people.notes = append(p.people.notes, history.Note{Key: r.Key, At: r.Arrival, Who: c.By, Text: text})
	}
}

// noteOf gives what of a command belongs among the station's notes.
func noteOf(c *station.Command) string {
	switch c.Kind {
	case "note":
		return c.Note
	case "done":
		if what, date, document, ok := rules.DoneOf(c.Note); ok {
			words, _ := station.ServiceWords(what)
			return "Done on " + date + ": " + words + ", document " + document
		}
	case "inspected":
		return "Inspection done, document " + c.Note
	case "vented":
		return "Vented, a person's word: " + c.Note
	case "close":
		return "Alarm " + c.Alarm + ": " + c.Note
	}
	return ""
}
