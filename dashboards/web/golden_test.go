package web

import (
	"flag"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// get asks the handler as a browser on this machine would.
func get(h http.Handler, path string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	r.Host = "localhost:8420"
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestGoldenPages(t *testing.T) {
	notReady := fixture()
	notReady.Ready = func() error { return errTwo }
	tested, _ := backtested()
	for _, c := range []struct {
		name, path string
		options    Options
	}{
		{"page.html", "/", everything()},
		{"stations.html", "/stations", everything()},
		{"refused.html", "/refused", everything()},
		{"empty.html", "/", notReady},
		{"refused-none.html", "/refused", fixture()},
		{"program.html", "/program", ailing()},
		{"program-none.html", "/program", fixture()},
		{"station.html", "/station/northdock/press-4?span=3600", everything()},
		{"backtest.html", "/backtest", tested},
		{"how.html", "/station/northdock/press-4/how", explaining()},
		{"due.html", "/due", dated()},
		{"after-shift.html", "/after-shift", evening()},
		{"station-unheard.html", "/station/southdock/cnc-2", everything()},
		{"trends.html", "/station/northdock/press-4/trends", trending()},
	} {
		w := get(New(c.options), c.path)
		if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/html; charset=utf-8" {
			t.Errorf("%s: status %d, type %q", c.name, w.Code, w.Header().Get("Content-Type"))
		}
		golden := filepath.Join("testdata", c.name)
		if *update {
			if err := os.WriteFile(golden, w.Body.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if w.Body.String() != string(want) {
			t.Errorf("%s differs (renew with -update):\n%s", golden, w.Body)
		}
	}
}

// The fragment is what the page holds between its main tags.
func TestFragmentIsThePagesMain(t *testing.T) {
	h := New(everything())
	page, fragment := get(h, "/").Body.String(), get(h, "/stations").Body.String()
	_, rest, _ := strings.Cut(page, `<main id="stations">`+"\n")
	inside, _, ok := strings.Cut(rest, "</main>")
	if !ok || inside != fragment {
		t.Errorf("page:\n%s\nfragment:\n%s", inside, fragment)
	}
}

func TestPageSaysWhatItIs(t *testing.T) {
	for _, path := range []string{"/", "/refused", "/program", "/station/northdock/press-4"} {
		body := get(New(everything()), path).Body.String()
		for _, want := range []string{"Reads only. Not a safety function: never interlock on these outputs.", "Pressures are gauge", "L/min ANR"} {
			if !strings.Contains(body, want) {
				t.Errorf("%s does not say %q", path, want)
			}
		}
	}
}

func TestWorksWithoutScript(t *testing.T) {
	for _, path := range []string{"/", "/station/northdock/press-4"} {
		withoutScript(t, get(New(everything()), path).Body.String())
	}
}

func withoutScript(t *testing.T, body string) {
	t.Helper()
	if !strings.Contains(body, `<noscript><meta http-equiv="refresh" content="5"></noscript>`) || !strings.Contains(body, "press-4") {
		t.Error("no stations or no reload without the script")
	}
	if strings.Contains(body, "style=") || strings.Contains(body, "<style") || strings.Count(body, "<script") != 1 {
		t.Error("inline style or a second script: the policy would stop it")
	}
}

// TestNeverSafe: no page may claim that a line is safe.
func TestNeverSafe(t *testing.T) {
	h := New(everything())
	for _, path := range []string{"/", "/refused", "/program", "/readyz", "/station/northdock/press-4", "/station/southdock/cnc-2", "/station/northdock/nothing"} {
		body := strings.ReplaceAll(get(h, path).Body.String(), "Not a safety function", "")
		if strings.Contains(strings.ToLower(body), "safe") {
			t.Errorf("%s speaks of safe", path)
		}
	}
}

// loaded tells whether a page or a script asks for a file.
func loaded(h http.Handler, name string) bool {
	if strings.Contains(get(h, "/station/northdock/press-4").Body.String(), `static/`+name+`"`) ||
		strings.Contains(get(h, "/").Body.String(), `"static/`+name+`"`) {
		return true
	}
	for other := range kinds {
		if strings.HasSuffix(other, ".js") && strings.Contains(get(h, "/static/"+other).Body.String(), `from "./`+name+`"`) {
			return true
		}
	}
	return false
}

// Everything that the pages load is there.
func TestStaticFiles(t *testing.T) {
	h := New(everything())
	for name, kind := range kinds {
		w := get(h, "/static/"+name)
		if w.Code != http.StatusOK || w.Header().Get("Content-Type") != kind || w.Body.Len() == 0 {
			t.Errorf("%s: status %d, type %q, %d bytes", name, w.Code, w.Header().Get("Content-Type"), w.Body.Len())
		}
		if name != "uplot/LICENSE" && !loaded(h, name) {
			t.Errorf("no page loads %s", name)
		}
		r := httptest.NewRequest(http.MethodGet, "/static/"+name, nil)
		r.Host = "localhost"
		r.Header.Set("If-None-Match", w.Header().Get("ETag"))
		again := httptest.NewRecorder()
		h.ServeHTTP(again, r)
		if again.Code != http.StatusNotModified {
			t.Errorf("%s again: status %d", name, again.Code)
		}
	}
	for _, path := range []string{"/static/", "/static/nothing.js", "/static/../web.go", "/nothing"} {
		if w := get(h, path); w.Code == http.StatusOK {
			t.Errorf("%s: status %d", path, w.Code)
		}
	}
}
