package web

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

const whyRefused = "the outlet still reads 878 kPa gauge"

var refusedWord = rules.Outcome{Result: rules.Refused, Reason: whyRefused}

// Each outcome has a status and a word in JSON, and a person's form shows it.
func TestAnswersOfCommands(t *testing.T) {
	for _, x := range []struct {
		outcome      rules.Outcome
		status       int
		word, reason string
		form         int
		shows        string // the page that the form leads to
	}{
		{rules.Outcome{Result: rules.Done}, 200, "done", "", 303, ""},
		{refusedWord, 409, "refused", whyRefused, 409, "Refused: " + whyRefused},
		{rules.Outcome{Result: rules.NoEffect, Reason: "it is normal"}, 409, "no effect", "it is normal", 409, "No effect: it is normal"},
		{rules.Outcome{}, 202, "not decided", whyUndecided, 303, ""},
	} {
		h := peopled(&taken{outcome: x.outcome})
		w := send(h, commandPath, "application/json", `{"kind":"vented","who":"Ana","why":"gauge reads 0"}`, "Accept", "application/json")
		var a answerJSON
		if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || w.Code != x.status || !a.Taken || a.Outcome != x.word || a.Reason != x.reason {
			t.Errorf("%+v: status %d, %s", x.outcome, w.Code, w.Body)
		}
		w = post(h, commandPath, "http://localhost:8420", url.Values{"kind": {"vented"}, "who": {"Ana"}, "why": {"gauge reads 0"}})
		if w.Code != x.form || !strings.Contains(w.Body.String(), x.shows) {
			t.Errorf("%+v: the form's status is %d: %s", x.outcome, w.Code, w.Body)
		}
	}
	w := send(peopled(&taken{}), commandPath, "application/json", `{"kind":"note","who":"Ana"}`, "Accept", "application/json")
	var a answerJSON
	if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || w.Code != 400 || a.Taken || a.Outcome != "not taken" || a.Reason == "" {
		t.Errorf("a command that is not taken: status %d, %s", w.Code, w.Body)
	}
}

// A refused word is never shown as a fact: struck, and with its reason, in the notes, the audit, the
// list after the shift and the page that the form led to. An address alone shows nothing.
func TestARefusedWordIsShownAsRefused(t *testing.T) {
	shut := shutDown()
	shut.Status.ShutdownAt, shut.Status.ShutdownBy = at(-3*time.Hour), station.ByValve
	k := shut.Plate.Key
	o := fixture(press(), shut)
	o.Command = (&taken{}).take
	o.Diary = &diary{
		acts:  []history.Act{{At: at(-time.Hour), Who: "Ana", What: "vented", Target: k.String(), Detail: "gauge reads 0", Outcome: refusedWord}},
		notes: []history.Note{{Key: k, At: at(-time.Hour), Who: "Ana", Text: "Vented, a person's word: gauge reads 0", Outcome: refusedWord}},
	}
	h := New(o)
	given := "?given=" + strconv.FormatInt(int64(at(-time.Hour)), 10)
	for path, want := range map[string][]string{
		"/station/northdock/weld-1":         {"<strong><bdi>Refused: " + whyRefused, "<s><bdi>Vented, a person&#39;s word: gauge reads 0</bdi></s>"},
		"/station/northdock/weld-1" + given: {`role="alert"><bdi>vented by Ana at 2026-03-02 11:00:00 UTC: refused: ` + whyRefused},
		"/audit":                            {"<strong><bdi>Refused: " + whyRefused, "<s><bdi>gauge reads 0</bdi></s>", "<s><bdi>Vented, a person&#39;s word"},
		"/after-shift":                      {"<strong><bdi>Refused: " + whyRefused, "does not hold: <s><bdi>vented, says Ana"},
	} {
		w := get(h, path)
		for _, x := range want {
			if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), x) {
				t.Errorf("%s: status %d, no %q:\n%s", path, w.Code, x, w.Body)
			}
		}
	}
	if b := get(h, "/station/northdock/press-4"+given).Body.String(); strings.Contains(b, "vented by Ana") {
		t.Error("another station's page shows the command")
	}
	for _, c := range []struct {
		text string
		not  bool
	}{{"Done", false}, {"Not known, or not decided yet", false}} {
		a := history.Act{What: "vented"}
		if c.text == "Done" {
			a.Outcome.Result = rules.Done
		}
		if got := outcomeOf(&a); got != c.text || (notDone(a.Outcome) != "") != c.not {
			t.Errorf("%+v is shown as %q", a.Outcome, got)
		}
	}
}
