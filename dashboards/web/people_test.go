package web

import (
	"context"
	"encoding/json"
	"errors"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// diary is a history of people's acts that a test made up.
type diary struct {
	acts  []history.Act
	notes []history.Note
	err   error
}

func (d *diary) ActsBack(_ context.Context, skip, most int) ([]history.Act, error) {
	return back(d.acts, skip, most), d.err
}

func (d *diary) NotesBack(_ context.Context, skip, most int) ([]history.Note, error) {
	return back(d.notes, skip, most), d.err
}

// back returns what a page of a list holds.
func back[T any](list []T, skip, most int) []T {
	list = list[min(skip, len(list)):]
	return list[:min(most, len(list))]
}

func (d *diary) LastNotes(_ context.Context, k station.Key, _ int) ([]history.Note, error) {
	var out []history.Note
	for _, n := range d.notes {
		if k == n.Key || k == (station.Key{}) {
			out = append(out, n)
		}
	}
	return out, d.err
}

func (d *diary) LatestActs(_ context.Context, what string) (map[string]history.Act, error) {
	out := map[string]history.Act{}
	for _, a := range d.acts {
		if a.What == what {
			out[a.Target] = a
		}
	}
	return out, d.err
}

func (d *diary) ActsAt(_ context.Context, at station.Instant) ([]history.Act, error) {
	var out []history.Act
	for _, a := range d.acts {
		if a.At == at {
			out = append(out, a)
		}
	}
	return out, d.err
}

// taken notes the commands that it gets, and answers with an outcome.
type taken struct {
	keys    []station.Key
	got     []station.Command
	err     error
	outcome rules.Outcome
}

func (c *taken) take(_ context.Context, k station.Key, o station.Command) (Answer, error) {
	if err := rules.Refuse(&o, station.InstantOf(noon), &station.Plate{}); err != nil {
		return Answer{}, err
	}
	if c.err != nil {
		return Answer{}, c.err
	}
	c.keys, c.got = append(c.keys, k), append(c.got, o)
	return Answer{At: at(0), Outcome: c.outcome}, nil
}

const nasty = `"><script>alert(1)</script>`

// peopled serves the fixture with commands and a diary full of what must be escaped.
func peopled(c *taken) http.Handler {
	o := everything()
	o.Command = c.take
	k := press().Plate.Key
	o.Diary = &diary{
		acts: []history.Act{{At: at(-time.Hour), Who: nasty, What: "inspected", Target: k.String(), Document: nasty},
			{At: at(-time.Hour), Who: "Ana", What: "vented", Target: shutDown().Plate.Key.String(), Detail: "gauge 3"}},
		notes: []history.Note{{Key: k, At: at(-time.Hour), Who: nasty, Text: "first\n" + nasty}},
	}
	return New(o)
}

const commandPath = "/station/northdock/press-4/command"

// send posts a body as a program would.
func send(h http.Handler, path, kind, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(body))
	r.Host = "localhost:8420"
	r.Header.Set("Content-Type", kind)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestCommandsFromFormsAndPrograms(t *testing.T) {
	c := &taken{outcome: rules.Outcome{Result: rules.Done}}
	h := peopled(c)
	w := post(h, commandPath, "http://localhost:8420", url.Values{"kind": {"shelve 480"}, "alarm": {rules.OutletLeak}, "who": {"Ana"}, "why": {"parts ordered"}})
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/station/northdock/press-4?given=1772452800000000000" {
		t.Errorf("status %d, to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
	}
	w = send(h, commandPath, "application/json; charset=utf-8", `{"kind":"shelve","alarm":"outlet-leak","who":"Ana","why":"x","minutes":0.5}`, "Accept", "application/json")
	var a answerJSON
	if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || w.Code != http.StatusOK || !a.Taken || a.Outcome != "done" || a.Station != "northdock/press-4" || a.Alarm != rules.OutletLeak {
		t.Errorf("status %d, %s", w.Code, w.Body)
	}
	if len(c.got) != 2 || c.keys[0] != press().Plate.Key || c.got[0] != (station.Command{Kind: "shelve", Alarm: rules.OutletLeak, By: "Ana", Note: "parts ordered", Until: at(8 * time.Hour)}) || c.got[1].Until != at(30*time.Second) {
		t.Errorf("%+v", c.got)
	}
	for path, want := range map[string]string{
		"/station/northdock/press-4":                    `action="../../station/northdock/press-4/command" data-form="outlet-leak"`,
		"/station/northdock/press-4/command":            `action="../../../station/northdock/press-4/command" data-form="outlet-leak"`,
		"/station/northdock/press-4?span=30":            "Shelve for 8 h: outlet-leak",
		"/station/northdock/press-5?given=" + "%3Cb%3E": "No note has been written yet.",
	} {
		w := get(h, path)
		if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) || !strings.Contains(w.Header().Get("Content-Security-Policy"), "form-action 'self'") {
			t.Errorf("%s: status %d, no %q:\n%s", path, w.Code, want, w.Body)
		}
	}
	if b := get(h, "/station/northdock/weld-1").Body.String(); !strings.Contains(b, `<noscript><p><a href="../../station/northdock/weld-1/command">`) {
		t.Error("without script the page reloads, and there is no way to a page that does not")
	}
	if b := get(h, "/station/northdock/weld-1").Body.String(); strings.Contains(b, "Acknowledge: pressure-left") {
		t.Error("what is acknowledged can be acknowledged")
	}
}

func TestCommandsThatAreTurnedAway(t *testing.T) {
	c := &taken{}
	h := peopled(c)
	const form, js = "application/x-www-form-urlencoded", "application/json"
	good := "kind=acknowledge&alarm=outlet-leak&who=Ana"
	for _, x := range []struct {
		path, kind, body string
		headers          []string
		status           int
		says             string
	}{
		{commandPath, form, good, []string{"Origin", "http://evil.example"}, 403, "send it from there"},
		{commandPath, form, good, []string{"Origin", "null"}, 403, "another origin"},
		{commandPath, form, good, []string{"Sec-Fetch-Site", "cross-site"}, 403, "another origin"},
		{commandPath, js, `{"kind":"note"}`, []string{"Sec-Fetch-Site", "same-site"}, 403, "another origin"},
		{"/station/northdock/press-44/command", form, good, nil, 404, "lists those that there are"},
		{"/station/northdock/press-44/command", form, good, []string{"Accept", js}, 404, `"error":"there is no station`},
		{commandPath, form, "kind=explode&who=Ana", nil, 400, "expected one of acknowledge"},
		{commandPath, form, "kind=acknowledge&alarm=outlet-leak", nil, 400, "give your name"},
		{commandPath, form, "kind=shelve+x&alarm=outlet-leak&who=Ana&why=y", nil, 400, "must be a number"},
		{commandPath, form, "kind=shelve&alarm=outlet-leak&who=Ana&why=y&minutes=NaN", nil, 400, "must be a number"},
		{commandPath, form, "kind=shelve&alarm=outlet-leak&who=Ana&why=y", nil, 400, "minutes must be a number above 0"},
		{commandPath, form, "kind=shelve&alarm=outlet-leak&who=Ana&why=y&minutes=-5", nil, 400, "above 0"},
		{commandPath, form, "kind=shelve&alarm=outlet-leak&who=Ana&why=y&minutes=43201", nil, 400, "7 d (10080 minutes)"},
		{commandPath, form, "kind=note&who=Ana&why=" + strings.Repeat("x", mostBody), nil, 413, "longer than 8192 bytes"},
		{commandPath, js, `{"kind":"note","who":"Ana","why":"` + strings.Repeat("x", mostBody) + `"}`, nil, 413, "longer than 8192 bytes"},
		{commandPath, js, `{"kind":"note","who":"Ana","why":"x"} more`, nil, 400, "nothing behind it"},
		{commandPath, js, `{"kind":"note","who":"Ana","why":"x","until":3}`, nil, 400, "unknown field"},
		{commandPath, js, `kind=note`, nil, 400, "cannot read the command"},
		{commandPath, "text/plain", good, nil, 400, "send a form"},
		{"/station/northdock/press-4", form, good, nil, 405, "only GET and HEAD"},
		{"/station/northdock/press-4/trace", form, good, nil, 405, "only GET and HEAD"},
		{"/station/a/b/c/command", form, good, nil, 405, "only GET and HEAD"},
		{"/audit", form, good, nil, 405, "only GET and HEAD"},
	} {
		w := send(h, x.path, x.kind, x.body, x.headers...)
		if w.Code != x.status || !strings.Contains(w.Body.String(), x.says) {
			t.Errorf("%s %.60s %v: status %d, want %d with %q: %s", x.path, x.body, x.headers, w.Code, x.status, x.says, w.Body)
		}
	}
	r := httptest.NewRequest(http.MethodPost, commandPath, strings.NewReader(good))
	r.Host = "evil.example"
	w := httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != http.StatusMisdirectedRequest {
		t.Errorf("another host: status %d", w.Code)
	}
	if len(c.got) != 0 {
		t.Errorf("taken: %+v", c.got)
	}
	c.err = errors.New("the log is full")
	if w := send(h, commandPath, form, good); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "the log is full") {
		t.Errorf("full log: status %d: %s", w.Code, w.Body)
	}
	if w := send(New(everything()), commandPath, form, good); w.Code != http.StatusMethodNotAllowed {
		t.Errorf("where no commands are taken: status %d", w.Code)
	}
}

// What people write never becomes part of a page, and comes back into the fields.
func TestWhatPeopleWriteIsText(t *testing.T) {
	h := peopled(&taken{})
	w := post(h, commandPath, "", url.Values{"kind": {nasty}, "alarm": {"outlet-leak"}, "who": {nasty}, "why": {nasty + "why"}})
	if !strings.Contains(w.Body.String(), `name="why" value="&#34;&gt;&lt;script&gt;alert(1)&lt;/script&gt;why"`) {
		t.Errorf("what was written is lost:\n%s", w.Body)
	}
	pages := map[string]string{"refusal": w.Body.String()}
	for _, path := range []string{"/audit", "/due", "/after-shift", "/station/northdock/press-4"} {
		pages[path] = get(h, path).Body.String()
	}
	for name, body := range pages {
		if strings.Contains(body, "<script>") {
			t.Errorf("%s: script in the page:\n%s", name, body)
		}
	}
	if !strings.Contains(pages["/audit"], "&lt;script&gt;") || !strings.Contains(pages["/station/northdock/press-4"], "first\n&#34;&gt;&lt;script&gt;") {
		t.Error("the notes are not shown")
	}
}

// A diary that cannot be read is said; the pages still come.
func TestADiaryThatCannotBeRead(t *testing.T) {
	o := everything()
	o.Diary = &diary{err: errors.New("the history is locked")}
	for path, status := range map[string]int{"/audit": 503, "/due": 200, "/after-shift": 200, "/station/northdock/press-4": 200} {
		if w := get(New(o), path); w.Code != status || !strings.Contains(w.Body.String(), "the history is locked") {
			t.Errorf("%s: status %d: %s", path, w.Code, w.Body)
		}
	}
}

func TestTheStreamKeepsTheForms(t *testing.T) {
	o := everything()
	o.Command = (&taken{}).take
	st := &stream{site: &site{Options: o}, by: &reader{open: true}}
	parts := st.fresh(&watched{key: press().Plate.Key, parts: map[string]string{}})
	page := get(New(o), "/station/northdock/press-4").Body.String()
	if !strings.Contains(page, parts["condition"]) || !strings.Contains(parts["condition"], "data-form") {
		t.Errorf("the stream sends another part than the page has:\n%s", parts["condition"])
	}
}

func TestDates(t *testing.T) {
	all := []board.Station{press(), standing(), shutDown(), off(), quiet()}
	for i, date := range []string{"2026-03-03", "2025-12-24", "", "2026-03-02", "2027-03-02"} {
		all[i].Plate.Inspection = date
	}
	all[0].Plate.Installed, all[0].Plate.Serial = "2019-03-03", "B-<7>"
	rows, undated := dueList(all, map[string]history.Act{"northdock/weld-1": {Who: "Ana", Document: "sheet 12", At: at(0)}}, func(string) string { return "2026-03-02" }, at(0))
	got := ""
	for _, r := range rows {
		got += r.Date + " " + r.Station + " " + r.When + ";"
	}
	if want := "2025-12-24 northdock/press-5 overdue by 68 days;2026-03-02 northdock/weld-2 today;2026-03-03 northdock/press-4 in 1 day;2027-03-02 southdock/cnc-1 in 365 days;"; got != want {
		t.Errorf("%s", got)
	}
	if len(undated) != 1 || undated[0].Document != "sheet 12" || !rows[0].Overdue || rows[1].Overdue {
		t.Errorf("%+v %+v", rows, undated)
	}
	o := fixture(all...)
	o.Zones = map[string]*time.Location{"northdock": time.FixedZone("", 14*3600)} // tomorrow there
	b := get(New(o), "/due").Body.String()
	for _, want := range []string{"Local law governs", "<strong>overdue by 1 day</strong>", "installed 2019-03-03", "B-&lt;7&gt;", "Without a date"} {
		if !strings.Contains(b, want) {
			t.Errorf("no %q:\n%s", want, b)
		}
	}
}

func TestAfterTheShift(t *testing.T) {
	shut := func(name string, change func(s *board.Station)) board.Station {
		s := shutDown()
		s.Plate.Key.Station, s.Alarms = name, nil
		s.Status.ShutdownAt, s.Status.ShutdownBy = at(-3*time.Hour), station.ByInlet
		s.Status.Estimates[station.StoredEnergy] = known(30123, station.MethodTraces)
		change(&s)
		return s
	}
	low := func(s *board.Station) {
		s.Status.State, s.Status.Outlet = station.Off, known(1e3, station.MethodTraces)
	}
	for _, c := range []struct {
		s    board.Station
		want lot
	}{
		{press(), inService},
		{shut("charged", func(*board.Station) {}), stillCharged},
		{shut("just-above", func(s *board.Station) { s.Status.Outlet.Value = rules.ChargedMin + 1 }), stillCharged},
		{shut("low", low), readsBelow},
		{shut("doubted", func(s *board.Station) { low(s); s.Alarms = shutDown().Alarms }), notKnown},
		{shut("returned", func(s *board.Station) {
			low(s)
			s.Alarms = shutDown().Alarms
			s.Alarms[0].State = rules.ReturnedUnacknowledged
		}), readsBelow},
		{shut("branch", func(s *board.Station) { low(s); s.Plate.Sensor = station.AtBranch }), notKnown},
		{shut("no-outlet", func(s *board.Station) { s.Status.Outlet = station.Unknown("the outlet sensor is frozen") }), notKnown},
		{shut("silent", func(s *board.Station) { low(s); s.SilentSince = at(-time.Hour) }), notKnown},
		{shut("blind", func(s *board.Station) { s.Status.ShutdownAt, s.Status.State = 0, station.Blind }), notKnown},
		{off(), readsBelow},
		{unheard(), notKnown},
		{quiet(), notKnown},
	} {
		if got, why := after(&c.s, at(0)); got != c.want || (got == notKnown) != (why != "") {
			t.Errorf("%s: %d (%q), want %d", c.s.Plate.Key.Station, got, why, c.want)
		}
	}
	o := fixture(press(), shut("weld-1", func(*board.Station) {}), shut("weld-2", low), unheard())
	o.Diary = &diary{acts: []history.Act{{At: at(-time.Hour), Who: "Ana", What: "vented", Target: "northdock/weld-2", Detail: "gauge 3"},
		{At: at(-4 * time.Hour), Who: "Bea", What: "vented", Target: "northdock/weld-1", Detail: "before this shutdown"}}}
	b := get(New(o), "/after-shift").Body.String()
	for _, want := range []string{"about 30.1 kJ", "isentropic", "880 kPa gauge", "2026-03-02 09:00:00 UTC, by the inlet", "Outlet reading 1 kPa gauge at 2026-03-02 11:59:59 UTC, not verified",
		"vented, says Ana", "no samples yet", html.EscapeString(rules.CautionStored), html.EscapeString(rules.CautionSilent), "never read"} {
		if !strings.Contains(b, want) {
			t.Errorf("no %q:\n%s", want, b)
		}
	}
	if strings.Contains(b, "Bea") || strings.Contains(strings.ReplaceAll(strings.ToLower(b), "not a safety function", ""), "safe") {
		t.Errorf("an old word, or a word that is never said:\n%s", b)
	}
}

// Whatever is sent is taken whole or refused with a reason, and none of it becomes markup.
func FuzzCommand(f *testing.F) {
	const form, js = "application/x-www-form-urlencoded", "application/json"
	for _, s := range [][2]string{{form, "kind=acknowledge&alarm=outlet-leak&who=Ana"}, {form, "kind=shelve+60&alarm=outlet-leak&who=%00&why=%zz"},
		{js, `{"kind":"shelve","alarm":"outlet-leak","who":"Ana","why":"x","minutes":1e300}`}, {js, `[]`}, {"", ""}, {form, "kind=" + url.QueryEscape(nasty)}} {
		f.Add(s[0], s[1])
	}
	c := &taken{}
	h := peopled(c)
	f.Fuzz(func(t *testing.T, kind, body string) {
		c.got = nil
		w := send(h, commandPath, kind, body)
		switch w.Code {
		case http.StatusSeeOther:
			if len(c.got) != 1 || rules.Refuse(&c.got[0], station.InstantOf(noon), &station.Plate{}) != nil {
				t.Errorf("taken: %+v", c.got)
			}
		case http.StatusBadRequest:
			if len(c.got) != 0 || strings.Contains(w.Body.String(), "<script>") || !strings.Contains(w.Body.String(), "Not taken: ") {
				t.Errorf("refused: %+v\n%s", c.got, w.Body)
			}
		default:
			t.Errorf("status %d: %s", w.Code, w.Body)
		}
	})
}
