package web

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// fakeRig notes the orders that it gets.
type fakeRig struct {
	orders []string
	err    error
}

func (f *fakeRig) Stations() []RigStation {
	return []RigStation{
		{Key: station.Key{Site: "northdock", Station: "press-4"}, About: "a healthy one"},
		{Key: station.Key{Site: "northdock", Station: "clamp-3"}, About: "a leak that grows",
			Faults: []RigFault{{Kind: "outlet-leak", About: "a leak at the outlet", From: at(-time.Minute), Grow: 60 * station.Second}, {Kind: "uneven", About: "one side's strokes are throttled"}}},
	}
}

func (f *fakeRig) Kinds() []RigKind {
	return []RigKind{{"outlet-leak", "a leak at the outlet", "dm³/(s·bar)", "0.2"}, {"shutdown", "the supply is closed", "", "1"}, {"uneven", "one side's strokes are throttled", "1", "0.4"}}
}

func (f *fakeRig) Order(name, kind string, level float64, grow time.Duration, mend bool) error {
	f.orders = append(f.orders, strings.TrimSpace(strings.Join([]string{name, kind, number(level, 2), grow.String(), map[bool]string{true: "mend"}[mend]}, " ")))
	return f.err
}

func rigPage(f *fakeRig) http.Handler {
	o := everything()
	o.Rig = f
	return New(o)
}

func post(h http.Handler, path, origin string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
	r.Host = "localhost:8420"
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if origin != "" {
		r.Header.Set("Origin", origin)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestFaultsAreCausedOnThePage(t *testing.T) {
	f := &fakeRig{}
	h := rigPage(f)
	if w := get(h, "/"); !strings.Contains(w.Body.String(), `href="rig"`) {
		t.Error("no link to the page")
	}
	w := get(h, "/rig")
	if csp := w.Header().Get("Content-Security-Policy"); !strings.Contains(csp, "form-action 'self'") {
		t.Errorf("forms cannot be sent: %s", csp)
	}
	for _, want := range []string{"do not exist", "press-4", "No fault.", "outlet-leak", "grown after 1 min 0 s", "from the start", "usually 0.2 dm³/(s·bar)"} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the page does not say %q:\n%s", want, w.Body)
		}
	}
	for _, form := range []url.Values{
		{"station": {"northdock/press-4"}, "kind": {"outlet-leak"}, "level": {" 0.25 "}, "grow": {"30"}},
		{"station": {"northdock/clamp-3"}, "kind": {"uneven"}, "mend": {"yes"}},
	} {
		if w := post(h, "/rig", "http://localhost:8420", form); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/rig" {
			t.Errorf("status %d, to %q", w.Code, w.Header().Get("Location"))
		}
	}
	if got := strings.Join(f.orders, ", "); got != "northdock/press-4 outlet-leak 0.25 30s, northdock/clamp-3 uneven 0.00 0s mend" {
		t.Error(got)
	}
}

func TestOrdersThatAreNotCarriedOut(t *testing.T) {
	f := &fakeRig{}
	h := rigPage(f)
	for _, c := range []struct {
		origin string
		form   url.Values
		status int
		says   string
	}{
		{"http://evil.example", url.Values{"station": {"x"}}, http.StatusForbidden, "another origin"},
		{"", url.Values{"level": {"much"}}, http.StatusBadRequest, "level must be a number"},
		{"", url.Values{"grow": {"NaN"}}, http.StatusBadRequest, "time to grow must be a number"},
		{"", url.Values{"grow": {"-1"}}, http.StatusBadRequest, "between 0 and"},
		{"", url.Values{"station": {strings.Repeat("x", 5000)}}, http.StatusRequestEntityTooLarge, "longer than 4096 bytes"},
	} {
		w := post(h, "/rig", c.origin, c.form)
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%v: status %d, %s", c.form, w.Code, w.Body)
		}
	}
	if len(f.orders) != 0 {
		t.Errorf("orders %v", f.orders)
	}
	f.err = errors.New("cannot find <b>that</b>")
	if w := post(h, "/rig", "", url.Values{}); w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "cannot find &lt;b&gt;") {
		t.Errorf("status %d, %s", w.Code, w.Body)
	}
	// without a virtual plant there is no such page, and everywhere else nothing is taken
	if w := post(New(everything()), "/rig", "", url.Values{}); w.Code != http.StatusMethodNotAllowed {
		t.Errorf("without a virtual plant: status %d", w.Code)
	}
	if w := post(h, "/stations", "", url.Values{}); w.Code != http.StatusMethodNotAllowed {
		t.Errorf("elsewhere: status %d", w.Code)
	}
}
