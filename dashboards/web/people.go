package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// Diary is what people did and said.
type Diary interface {
	ActsBack(ctx context.Context, skip, most int) ([]history.Act, error)
	NotesBack(ctx context.Context, skip, most int) ([]history.Note, error)
	LastNotes(ctx context.Context, k station.Key, most int) ([]history.Note, error)
	LatestActs(ctx context.Context, what string) (map[string]history.Act, error)
	ActsAt(ctx context.Context, at station.Instant) ([]history.Act, error)
}

// Command carries out a person's command about a station. A *rules.Refusal says what is wrong
// with a command that was not taken; after any other error it may be given again.
type Command func(ctx context.Context, k station.Key, c station.Command) (Answer, error)

// Answer is what became of a command that the log has. Outcome has no result where that is not
// decided yet.
type Answer struct {
	At      station.Instant // in the audit
	Outcome rules.Outcome
}

const (
	mostBody  = 8 << 10 // bytes of a command
	mostNotes = 20      // on a station's page
)

// commandJSON is a command as the interface takes it.
type commandJSON struct {
	Kind    string  `json:"kind"`
	Alarm   string  `json:"alarm"`
	Who     string  `json:"who"`
	Why     string  `json:"why"`
	Cause   string  `json:"cause"` // of "close", one of rules.Causes
	What    string  `json:"what"`  // of "done", one of station.ServiceKinds
	Date    string  `json:"date"`  // of "done", as in 2026-01-10
	Minutes float64 `json:"minutes"`
}

// command shows the forms of a station on a page that stays as it is, and takes what they
// send.
func (s *site) command(w http.ResponseWriter, r *http.Request) {
	k := keyIn(r)
	one, ok := s.found(k)
	if !ok {
		if wantsJSON(r) {
			why := fmt.Sprintf("there is no station %.80q at site %.80q: the page of stations lists those that there are", k.Station, k.Site)
			reply(w, http.StatusNotFound, answerJSON{Station: k.String(), Outcome: notTaken, Reason: why, Error: why})
			return
		}
		s.noStation(w, k)
		return
	}
	if r.Method != http.MethodPost {
		s.renderAs(w, http.StatusOK, "command.html", s.commandPage(r, &one, commandJSON{}, ""))
		return
	}
	in, err := readCommand(w, r)
	var a Answer
	e := noted(r)
	e.What, e.Target, e.Detail = clipped(in.Kind), clipped(history.Target(k, in.Alarm)), clipped(in.Why)
	if err == nil && !s.signed(w, r, k, &in) {
		return
	}
	e.Who, e.Detail = clipped(in.Who), clipped(in.Why)
	if err == nil {
		a, err = s.give(r.Context(), k, &in)
	}
	status := statusOf(a.Outcome.Result, err)
	if status == http.StatusOK || status == http.StatusConflict {
		e.Outcome = clipped(outcomeText(a.Outcome))
	}
	switch {
	case wantsJSON(r):
		reply(w, status, answerOf(k, &in, &a, err))
	case err != nil:
		s.renderAs(w, status, "command.html", s.commandPage(r, &one, in, "Not taken: "+err.Error()))
	case status == http.StatusConflict:
		s.renderAs(w, status, "command.html", s.commandPage(r, &one, in, outcomeText(a.Outcome)))
	default:
		http.Redirect(w, r, "/station/"+path(k)+"?given="+strconv.FormatInt(int64(a.At), 10), http.StatusSeeOther)
	}
}

// give hands a command on.
func (s *site) give(ctx context.Context, k station.Key, in *commandJSON) (Answer, error) {
	c := station.Command{Kind: in.Kind, Alarm: in.Alarm, By: in.Who, Note: in.Why}
	if o, ok := rules.FindOrder(in.Kind); in.Minutes != 0 || ok && o.Until {
		if !finite(in.Minutes) || in.Minutes <= 0 || in.Minutes > 1e6 {
			return Answer{}, &rules.Refusal{Text: "minutes must be a number above 0, such as 60"}
		}
		c.Until = station.InstantOf(s.Now()).Add(int64(in.Minutes * float64(station.Minute60)))
	}
	switch c.Kind {
	case "close":
		var ok bool
		if c.Cause, ok = station.ParseCause(in.Cause); !ok && in.Cause != "" {
			return Answer{}, &rules.Refusal{Text: fmt.Sprintf("cause is %.40q: expected one of %s", in.Cause, strings.Join(rules.Causes(), ", "))}
		}
	case "done":
		c.Service, _ = station.ParseService(in.What)
		c.Date, c.Document, c.Note = in.Date, c.Note, ""
	case "inspected":
		c.Document, c.Note = c.Note, ""
	}
	return s.Command(ctx, k, c)
}

// readCommand reads a command from a form or JSON.
func readCommand(w http.ResponseWriter, r *http.Request) (commandJSON, error) {
	var in commandJSON
	r.Body = http.MaxBytesReader(w, r.Body, mostBody)
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if kind == "application/json" {
		return in, readJSON(r.Body, &in)
	}
	if kind != "application/x-www-form-urlencoded" {
		return in, &rules.Refusal{Text: "send a form (application/x-www-form-urlencoded) or JSON (application/json) with kind, alarm, who, why, cause, minutes, what, date"}
	}
	if err := r.ParseForm(); err != nil {
		return in, tooLong(err)
	}
	in = commandJSON{Kind: r.PostFormValue("kind"), Alarm: r.PostFormValue("alarm"), Who: r.PostFormValue("who"), Why: r.PostFormValue("why"), Cause: r.PostFormValue("cause"), What: r.PostFormValue("what"), Date: r.PostFormValue("date")}
	if kind, minutes, ok := strings.Cut(in.Kind, " "); ok { // a button that says both
		in.Kind = kind
		r.PostForm.Set("minutes", minutes)
	}
	text := strings.TrimSpace(r.PostFormValue("minutes"))
	if text == "" {
		return in, nil
	}
	minutes, err := strconv.ParseFloat(text, 64)
	if err != nil || !finite(minutes) {
		return in, &rules.Refusal{Text: fmt.Sprintf("minutes is %.40q: it must be a number such as 60", text)}
	}
	in.Minutes = minutes
	return in, nil
}

func readJSON(body io.Reader, in any) error {
	d := json.NewDecoder(body)
	d.DisallowUnknownFields()
	if err := d.Decode(in); err != nil {
		return tooLong(err)
	}
	if _, err := d.Token(); err != io.EOF {
		return &rules.Refusal{Text: "send one JSON object and nothing behind it"}
	}
	return nil
}

func tooLong(err error) error {
	var long *http.MaxBytesError
	if errors.As(err, &long) {
		return &rules.Refusal{Text: fmt.Sprintf("the command is longer than %d bytes: shorten why", mostBody)}
	}
	return &rules.Refusal{Text: "cannot read the command: " + err.Error() + "; expected kind, alarm, who, why, cause, minutes, what, date"}
}

func wantsJSON(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "application/json")
}

// commandView is the page of a station's forms.
type commandView struct {
	Root, Version, Key, Name, Site string
	Kind                           string // station or header
	Problem                        string
	Who, Why                       string // as they were sent
	Alarms                         []alarmView
	Note, Done, Work               *formView
	Shelves                        []formView // of alarms that guard people
}

func (s *site) commandPage(r *http.Request, one *board.Station, in commandJSON, problem string) commandView {
	k := one.Plate.Key
	v := commandView{Root: "../../../", Version: s.Version, Key: path(k), Name: nameOf(k), Site: k.Site, Problem: problem, Alarms: alarms(one.Alarms)}
	v.Kind = map[bool]string{true: "header", false: "station"}[isHeader(k)]
	by := readerOf(r)
	s.addForms(v.Alarms, k, v.Root, by, in.Who)
	v.Shelves = s.fitAll(shelveForms(v.Alarms, k, v.Root, in.Who), by, k)
	for i := range v.Shelves {
		if in.Kind == "shelve" && v.Shelves[i].Alarm == in.Alarm {
			v.Shelves[i].Why = in.Why
		}
	}
	for i := range v.Alarms {
		if v.Alarms[i].Name == in.Alarm && v.Alarms[i].Form != nil {
			v.Alarms[i].Form.Why = in.Why
		}
	}
	v.Note = s.noteForm(k, v.Root)
	v.Note.Who = in.Who
	if !isHeader(k) {
		v.Work = workForm(k, v.Root)
		v.Work.Who = in.Who
		v.Done = s.doneForm(k, v.Root)
		v.Done.Who, v.Done.Date = in.Who, orElse(in.Date, s.date(k.Site))
	}
	switch {
	case in.Kind == "done" && v.Done != nil:
		v.Done.Why = in.Why
	case (in.Kind == "at-work" || in.Kind == "work-ended") && v.Work != nil:
		v.Work.Why = in.Why
	case in.Alarm == "":
		v.Note.Why = in.Why
	}
	v.Note, v.Work, v.Done = s.fit(v.Note, by, k), s.fit(v.Work, by, k), s.fit(v.Done, by, k)
	return v
}

// fitAll returns those of the forms that are for the reader.
func (s *site) fitAll(list []formView, by *reader, k station.Key) []formView {
	var out []formView
	for i := range list {
		if f := s.fit(&list[i], by, k); f != nil {
			out = append(out, *f)
		}
	}
	return out
}
