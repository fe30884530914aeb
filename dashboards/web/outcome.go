package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// Outcomes in JSON beside those of rules.Result.
const (
	notTaken  = "not taken"   // the log does not have it
	undecided = "not decided" // the log has it, and what becomes of it is not known yet
)

// answerJSON is what became of a command.
type answerJSON struct {
	Station string `json:"station"`
	Kind    string `json:"kind,omitempty"`
	Alarm   string `json:"alarm,omitempty"`
	Taken   bool   `json:"taken"`   // the log has it
	Outcome string `json:"outcome"` // done, refused, no effect, not decided, not taken
	Reason  string `json:"reason,omitempty"`
	Error   string `json:"error,omitempty"` // why it was not taken
}

func answerOf(k station.Key, in *commandJSON, a *Answer, err error) answerJSON {
	out := answerJSON{Station: k.String(), Kind: in.Kind, Alarm: in.Alarm, Taken: err == nil, Reason: a.Outcome.Reason, Outcome: a.Outcome.Result.String()}
	switch {
	case err != nil:
		out.Outcome, out.Error, out.Reason = notTaken, err.Error(), err.Error()
	case a.Outcome.Result == rules.NoResult:
		out.Outcome, out.Reason = undecided, whyUndecided
	}
	return out
}

// statusOf returns the status of an answer: 200 done, 202 taken and not decided, 409 refused or
// without effect, 400 not a command that can be taken, 503 to be given again.
func statusOf(r rules.Result, err error) int {
	var refusal *rules.Refusal
	switch {
	case errors.As(err, &refusal):
		return http.StatusBadRequest
	case err != nil:
		return http.StatusServiceUnavailable
	case r == rules.Done:
		return http.StatusOK
	case r == rules.NoResult:
		return http.StatusAccepted
	}
	return http.StatusConflict
}

func reply(w http.ResponseWriter, status int, a any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(a) // a reader that went away is no fault of ours
}

// whyUndecided is where to look for what becomes of a command.
const whyUndecided = "the command was taken and is not decided yet: the audit trail will show what becomes of it"

// notDone returns why a command was not done, "" where it was or where that is not known.
func notDone(o rules.Outcome) string {
	if o.Result == rules.Refused || o.Result == rules.NoEffect {
		return outcomeText(o)
	}
	return ""
}

// outcomeText puts an outcome in words.
func outcomeText(o rules.Outcome) string {
	text := o.Result.String()
	if text != "" {
		text = strings.ToUpper(text[:1]) + text[1:]
	}
	if o.Reason != "" {
		text += ": " + o.Reason
	}
	return text
}

// outcomeOf puts the outcome of a line of the audit in words. What the program did has none.
func outcomeOf(a *history.Act) string {
	if _, ok := rules.FindOrder(a.What); ok && a.Outcome.Result == rules.NoResult {
		return "Not known, or not decided yet"
	}
	return outcomeText(a.Outcome)
}

// givenView is what became of the command that led to a page.
type givenView struct {
	Text string
	Not  bool // it was not done
}

// given returns what the audit holds of the command that the address names by its time. The
// address alone is not believed: anybody can write one.
func (s *site) given(r *http.Request, k station.Key) []givenView {
	at, err := strconv.ParseInt(r.URL.Query().Get("given"), 10, 64)
	if err != nil || s.Diary == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(r.Context(), queryTime)
	defer cancel()
	acts, err := s.Diary.ActsAt(ctx, station.Instant(at))
	if err != nil {
		return []givenView{{"What became of the command cannot be read: " + err.Error(), true}}
	}
	var out []givenView
	for i := range acts {
		a := &acts[i]
		if a.Target != k.String() && !strings.HasPrefix(a.Target, k.String()+" ") {
			continue
		}
		out = append(out, givenView{a.What + " by " + a.Who + " at " + clock(a.At.Floor(station.Second)) + ": " + orElse(lower(outcomeText(a.Outcome)), "not decided yet, load the page again"), notDone(a.Outcome) != ""})
	}
	if len(out) == 0 {
		return []givenView{{"The command was taken. What became of it is not stored yet: load the page again.", false}}
	}
	return out
}

func lower(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToLower(text[:1]) + text[1:]
}
