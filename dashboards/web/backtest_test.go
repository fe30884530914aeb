package web

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/rules"
)

// tests is a back-test that runs nothing.
type tests struct {
	state     BacktestState
	of        BacktestOf
	refusal   error
	cancelled bool
}

func (b *tests) Start(of BacktestOf) error { b.of = of; return b.refusal }
func (b *tests) Cancel()                   { b.cancelled = true }
func (b *tests) State() BacktestState      { return b.state }

// backtested gives a fixture with a back-test that has ended.
func backtested() (Options, *tests) {
	k := press().Plate.Key
	b := &tests{state: BacktestState{
		Of: BacktestOf{Changes: "- { name: outlet-leak, delay: 5m }", Station: "press-4"}, Began: at(-2 * time.Minute), Ended: at(-time.Minute), Done: 1,
		Verdict: "1 as before, 1 of them at other times; 1 new, 1 no longer; nothing was changed",
		Spans:   []BacktestSpan{{k, at(-12 * time.Hour), at(0)}, {standing().Plate.Key, at(0), at(0)}},
		Rows: []BacktestRow{
			{Key: k, Alarm: rules.OutletLeak, Kind: "as before", WasRaised: at(-time.Hour), Raised: at(-56 * time.Minute)},
			{Key: k, Alarm: "duty-high", Kind: "new", Raised: at(-30 * time.Minute), Ended: at(-20 * time.Minute)},
			{Key: k, Alarm: "starved", Kind: "no longer", WasRaised: at(-10 * time.Minute), WasEnded: at(-5 * time.Minute)}},
		More: 3,
		Sums: []BacktestSum{{"duty-high", 0, 1, 0, 2}, {"starved", 1, 0, 2, 0}},
	}}
	o := everything()
	o.Backtest = b
	return o, b
}

// submit sends a form of a kind.
func submit(h http.Handler, path, kind string, body *bytes.Buffer, origin string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, body)
	r.Host = "localhost:8420"
	r.Header.Set("Content-Type", kind)
	if origin != "" {
		r.Header.Set("Origin", origin)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestBacktestPage(t *testing.T) {
	o, b := backtested()
	h := New(o)
	body := get(h, "/backtest").Body.String()
	for _, want := range []string{"11:00:00 UTC, would be 2026-03-02 11:04:00 UTC", "still open", "&#43;2.00", "-2.00", "3 more are left out", "0.50 days", "nothing: the log holds", "outlet-leak, delay: 5m"} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q in\n%s", want, body)
		}
	}
	b.state.Ended, b.state.Done = 0, 0.4
	body = get(h, "/backtest").Body.String()
	if !strings.Contains(body, `http-equiv="refresh"`) || !strings.Contains(body, "40 %") || strings.Contains(body, "<textarea") {
		t.Errorf("while it runs:\n%s", body)
	}
	o.Backtest = nil
	if w := get(New(o), "/backtest"); w.Code != http.StatusNotFound {
		t.Errorf("without back-tests: %d", w.Code)
	}
}

// The form's text or file is taken, faults are shown with what was sent, and pages of other
// origins start nothing.
func TestBacktestForm(t *testing.T) {
	o, b := backtested()
	h := New(o)
	form := func(v url.Values) *bytes.Buffer { return bytes.NewBufferString(v.Encode()) }
	const plain = "application/x-www-form-urlencoded"
	w := submit(h, "/backtest", plain, form(url.Values{"do": {"start"}, "changes": {"- name: x\r\n"}, "station": {" press-4 "}, "from": {"2026-03-02T06:00Z"}, "to": {"2026-03-02 14:00"}}), "")
	if w.Code != http.StatusSeeOther || b.of.Changes != "- name: x\n" || b.of.Station != "press-4" || b.of.From != at(-6*time.Hour) || b.of.To != at(2*time.Hour) {
		t.Errorf("%d, %+v\n%s", w.Code, b.of, w.Body)
	}
	var upload bytes.Buffer
	m := multipart.NewWriter(&upload)
	f, _ := m.CreateFormFile("file", "changes.yaml")
	f.Write([]byte("- name: from-file\n"))
	m.WriteField("changes", "- name: pasted\n")
	m.Close()
	if w := submit(h, "/backtest", m.FormDataContentType(), &upload, ""); w.Code != http.StatusSeeOther || b.of.Changes != "- name: from-file\n" {
		t.Errorf("%d, %+v", w.Code, b.of)
	}
	if submit(h, "/backtest", plain, form(url.Values{"do": {"cancel"}}), ""); !b.cancelled {
		t.Error("is not cancelled")
	}
	b.refusal = errText("changes:2:3: there is no key dely")
	w = submit(h, "/backtest", plain, form(url.Values{"changes": {"- name: mine <b>\n  dely: 1m\n"}, "from": {"2026-03-02"}}), "")
	if w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "changes:2:3: there is no key dely") || !strings.Contains(w.Body.String(), "mine &lt;b&gt;") || !strings.Contains(w.Body.String(), `value="2026-03-02"`) {
		t.Errorf("%d\n%s", w.Code, w.Body)
	}
	b.of = BacktestOf{}
	for name, v := range map[string]url.Values{"a bad time": {"from": {"yesterday"}}, "a span that is none": {"from": {"2026-03-02"}, "to": {"2026-03-01"}}, "too long": {"changes": {strings.Repeat("x", mostChanges+1)}}} {
		if w := submit(h, "/backtest", plain, form(v), ""); w.Code != http.StatusBadRequest {
			t.Errorf("%s: %d", name, w.Code)
		}
	}
	if w := submit(h, "/backtest", plain, form(url.Values{"do": {"start"}}), "http://evil.example"); w.Code != http.StatusForbidden || b.of != (BacktestOf{}) {
		t.Errorf("another origin: %d %+v", w.Code, b.of)
	}
}
