package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// alarmed is a history of alarms that a test made up.
type alarmed struct {
	list, open []rules.Transition
	asked      []station.Instant
	err        error
}

func (a *alarmed) Transitions(_ context.Context, _ station.Key, from, to station.Instant) ([]rules.Transition, error) {
	a.asked = append(a.asked, from, to)
	return a.list, a.err
}

func (a *alarmed) OpenAlarms(context.Context) ([]rules.Transition, error) { return a.open, a.err }

func change(alarm string, p rules.Priority, from, to rules.AlarmState, raised, now time.Duration, why string) rules.Transition {
	return rules.Transition{Key: press().Plate.Key, Alarm: alarm, Priority: p, From: from, To: to, Raised: at(raised), At: at(now), By: "Ana", Why: why}
}

func TestAlarmFigures(t *testing.T) {
	o := everything()
	a := &alarmed{
		list: []rules.Transition{
			change(rules.OutletLeak, rules.Medium, rules.Normal, rules.Unacknowledged, -3*time.Hour, -3*time.Hour, ""),
			change(rules.OutletLeak, rules.Medium, rules.Unacknowledged, rules.Acknowledged, -3*time.Hour, -170*time.Minute, ""),
			change(rules.OutletLeak, rules.Medium, rules.Acknowledged, rules.Normal, -3*time.Hour, -160*time.Minute, "looked twice"),
		},
		open: []rules.Transition{change(rules.SignalLost, rules.Low, rules.Normal, rules.Unacknowledged, -30*time.Hour, -30*time.Hour, "")},
	}
	a.list[2].Cause = station.NothingFound
	o.Alarms = a
	w := get(New(o), "/alarm-figures?days=30")
	body := w.Body.String()
	for _, want := range []string{
		"in the last 30 days", `<th scope="row">Alarms</th><td>1</td>`, "0, 100, 0 %", "<td>10 min", "from 2026-03-02 09:00:00",
		`<a href="station/northdock/press-4"><bdi>northdock/press-4</bdi></a>: outlet-leak, 1 time<`, "signal-lost since 2026-03-01 06:00:00",
		`<th scope="row">outlet-leak</th><td>1</td><td>1</td><td>0 %</td>`, `aria-current="page">30 d`,
	} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q", want)
		}
	}
	if w.Code != http.StatusOK || len(a.asked) != 2 || a.asked[0] != at(-30*24*time.Hour) || a.asked[1] != at(0) {
		t.Errorf("status %d, asked for %v", w.Code, a.asked)
	}
	if t.Failed() {
		t.Log(body)
	}
}

func TestAlarmFiguresThatCannotBeHad(t *testing.T) {
	o := everything()
	o.Alarms = &alarmed{err: errors.New("database is <locked>")}
	for path, want := range map[string]struct {
		status int
		says   string
	}{
		"/alarm-figures":          {503, "database is &lt;locked&gt;"},
		"/alarm-figures?days=0":   {400, "from 1 to 366"},
		"/alarm-figures?days=367": {400, "from 1 to 366"},
		"/alarm-figures?days=1.5": {400, "whole number"},
	} {
		if w := get(New(o), path); w.Code != want.status || !strings.Contains(w.Body.String(), want.says) {
			t.Errorf("%s: status %d: %s", path, w.Code, w.Body)
		}
	}
	if w := get(New(everything()), "/alarm-figures"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "No alarm was raised.") {
		t.Errorf("without a history: %d", w.Code)
	}
}

// A closing names its cause in a field of its own, in a form and in JSON; words are never taken for one.
func TestClosingNamesItsCause(t *testing.T) {
	c := &taken{}
	h := peopled(c)
	v := url.Values{"kind": {"close"}, "alarm": {rules.OutletLeak}, "who": {"Ana"}, "why": {"hose changed"}, "cause": {"wear"}}
	if w := post(h, commandPath, "http://localhost:8420", v); w.Code != http.StatusSeeOther {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	send(h, commandPath, "application/json", `{"kind":"close","alarm":"outlet-leak","who":"Ana","why":"fitting tightened","cause":"leak"}`, "Accept", "application/json")
	send(h, commandPath, "application/json", `{"kind":"close","alarm":"outlet-leak","who":"Ana","why":"sensor: wire mended","cause":"wear"}`, "Accept", "application/json")
	v.Set("kind", "acknowledge") // the form sends its list with every button
	post(h, commandPath, "http://localhost:8420", v)
	for i, want := range []station.Command{{Cause: station.CauseWear, Note: "hose changed"}, {Cause: station.CauseLeak, Note: "fitting tightened"}, {Cause: station.CauseWear, Note: "sensor: wire mended"}, {Note: "hose changed"}} {
		if i >= len(c.got) || c.got[i].Note != want.Note || c.got[i].Cause != want.Cause {
			t.Fatalf("%+v, want %+v", c.got, want)
		}
	}
	for body, want := range map[string]string{
		"kind=close&alarm=outlet-leak&who=Ana&why=hose+changed":            "give leak, wear, blockage",
		"kind=close&alarm=outlet-leak&who=Ana&why=leak:+hose+changed":      "cause is missing",
		"kind=close&alarm=outlet-leak&who=Ana&why=hose+changed&cause=luck": "expected one of leak, wear",
		"kind=close&alarm=outlet-leak&cause=leak&who=Ana":                  "give what was done about the cause",
	} {
		if w := send(h, commandPath, "application/x-www-form-urlencoded", body); w.Code != 400 || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: status %d: %s", body, w.Code, w.Body)
		}
	}
}
