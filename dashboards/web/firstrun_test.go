package web

import (
	"bytes"
	"errors"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	texts "strokewise/deploy/hostile"
)

// listener is a FirstRun of tests.
type listener struct {
	heard Heard
	begun []ListenAt
	plans []Plan
	stops int
}

func (l *listener) Begin(at ListenAt) error {
	if at.Broker == "" {
		return errors.New("name a broker")
	}
	l.begun = append(l.begun, at)
	return nil
}

func (l *listener) Stop() { l.stops++ }

func (l *listener) State() Heard { return l.heard }

func (l *listener) Write(p Plan) ([]byte, string, error) {
	l.plans = append(l.plans, p)
	if p.Site == "no site" {
		return nil, "", errors.New("the site is no identifier")
	}
	return []byte("version: 1\n"), "", nil
}

// posted sends a form to the page.
func posted(h http.Handler, v url.Values) *httptest.ResponseRecorder {
	return submit(h, firstRunPath, "application/x-www-form-urlencoded", bytes.NewBufferString(v.Encode()), "")
}

// someHeard is what was heard of a station and of a value that belongs to nothing.
func someHeard() Heard {
	series := func(topic, guess, unit string) HeardSeries {
		return HeardSeries{Topic: topic, Payload: "scalar", Rate: 10, Low: 5.9, High: 6.4, Guess: guess, Sure: 0.8, Why: "it lies there", Unit: unit, Trace: []float64{5.9, math.NaN(), 6.1, 6.4}}
	}
	return Heard{ListenAt: ListenAt{Broker: "tcp://127.0.0.1:1883", Filter: "#"}, Seconds: 62, Messages: 1860, Topics: 4, Site: "plant",
		Series:   []HeardSeries{series("gw/0", "pressure bar", "bar"), series("gw/1", "pressure bar", "bar"), series("gw/2", "counter", "kPa"), series("gw/3", "pressure counts", "counts")},
		Stations: []HeardStation{{ID: "gw", Why: "they move together", Channels: []HeardChannel{{0, "inlet_pressure", "the lower", 0.8}, {1, "outlet_pressure", "the higher", 0.85}, {2, "cycles", "it rises", 0.9}}}},
		Channels: []string{"inlet_pressure", "outlet_pressure", "cycles"}, Units: []string{"bar", "kPa", "counts"},
		Steps: []PlateStep{{[]PlateKey{{"booster.set_pressure", "Set pressure", "900 kPa"}}, "the set"}, {[]PlateKey{{"tank.volume", "Volume of the tank", "20 L"}}, "the leak"}}}
}

// The page shows the proposal; what a form changes is what is written, and only the next plate data are asked.
func TestFirstRunEdits(t *testing.T) {
	l := &listener{heard: someHeard()}
	o := fixture()
	o.FirstRun, o.Unconfigured = l, func() bool { return true }
	h := New(o)
	if w := get(h, "/"); w.Code != http.StatusSeeOther || w.Header().Get("Location") != firstRunPath {
		t.Errorf("the first page without a station: %d to %q", w.Code, w.Header().Get("Location"))
	}
	if body := get(h, refusedPath).Body.String(); !strings.Contains(body, `href="first-run"`) {
		t.Error("the page of refused messages does not lead there")
	}
	body := get(h, firstRunPath).Body.String()
	for _, want := range []string{"No station is configured yet", `name="id.0" value="gw"`, "the higher", `name="plate.0.booster.set_pressure"`, "polyline", `name="span.3"`, "What follows buys the set"} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q on the page", want)
		}
	}
	if strings.Contains(body, "plate.0.tank.volume") {
		t.Error("the second step is asked before the first is answered")
	}
	edit := url.Values{"do": {"show"}, "site": {"hall"}, "id.0": {"crusher"}, "at.2": {"-1"}, "at.3": {"0"}, "channel.3": {"cycles"}, "unit.0": {"kPa"}, "plate.0.booster.set_pressure": {"900 kPa"}}
	w := posted(h, edit)
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "plate.0.tank.volume") || !strings.Contains(w.Body.String(), `value="crusher"`) {
		t.Errorf("%d: %s", w.Code, w.Body)
	}
	p := l.plans[len(l.plans)-1]
	want := []PlannedChannel{{0, "inlet_pressure", "kPa", "", ""}, {1, "outlet_pressure", "bar", "", ""}, {3, "cycles", "counts", "", ""}}
	if p.Site != "hall" || len(p.Stations) != 1 || p.Stations[0].ID != "crusher" || !slices.Equal(p.Stations[0].Channels, want) || p.Stations[0].Plate["booster.set_pressure"] != "900 kPa" {
		t.Errorf("%+v", p)
	}
	edit.Set("drop.0", "yes")
	posted(h, edit)
	if p := l.plans[len(l.plans)-1]; len(p.Stations) != 0 {
		t.Errorf("a station that was left out is written: %+v", p)
	}
	edit.Set("do", "file")
	w = posted(h, edit)
	if w.Body.String() != "version: 1\n" || !strings.HasPrefix(w.Header().Get("Content-Disposition"), "attachment") {
		t.Errorf("%v %q", w.Header(), w.Body)
	}
	edit.Set("site", "no site")
	if w = posted(h, edit); w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "no identifier") {
		t.Errorf("%d", w.Code)
	}
}

// The form for the broker begins, a faulty one says why, and a password is not shown again.
func TestFirstRunListens(t *testing.T) {
	l := &listener{}
	o := fixture(press())
	o.FirstRun = l
	h := New(o)
	if w := get(h, "/"); w.Code != http.StatusOK {
		t.Errorf("the first page with a station: %d", w.Code)
	}
	w := posted(h, url.Values{"do": {"listen"}, "password": {"canary-word"}})
	if w.Code != http.StatusBadRequest || strings.Contains(w.Body.String(), "canary-word") || !strings.Contains(w.Body.String(), "name a broker") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	w = posted(h, url.Values{"do": {"listen"}, "broker": {" a "}, "user": {"u"}, "password": {" p "}, "filter": {"x/#"}})
	if want := (ListenAt{"a", "u", " p ", "x/#"}); w.Code != http.StatusSeeOther || len(l.begun) != 1 || l.begun[0] != want {
		t.Errorf("%d %+v", w.Code, l.begun)
	}
	if w = posted(h, url.Values{"do": {"burn"}}); w.Code != http.StatusBadRequest {
		t.Errorf("%d", w.Code)
	}
}

// Topics, names and problems of a hostile broker stay text.
func TestFirstRunIsFedHostileTexts(t *testing.T) {
	for _, text := range texts.Texts {
		l := &listener{heard: someHeard()}
		l.heard.Series[0].Topic, l.heard.Series[1].Name, l.heard.Trouble, l.heard.Stations[0].ID = text, text, text, text
		l.heard.Unread = []HeardTopic{{text, text, 1, 1}}
		o := fixture()
		o.FirstRun = l
		for _, running := range []bool{false, true} {
			l.heard.Running = running
			body := get(New(o), firstRunPath).Body.String()
			for _, tag := range []string{"<script>alert", "<img src", "</pre></article>", "<h1>ours"} {
				if strings.Contains(body, tag) {
					t.Errorf("%q leaves its place: %s", text, tag)
				}
			}
		}
	}
}
