package web

import (
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// Who is at work stands on the station's page, on its card and in the list after the shift, and
// each says that it is no lock-out.
func TestWhoIsAtWorkIsShown(t *testing.T) {
	h := peopled(&taken{})
	for _, path := range []string{"/", "/station/northdock/weld-2", "/after-shift"} {
		body := get(h, path).Body.String()
		for _, want := range []string{"<bdi>Ada</bdi> until 2026-03-02 13:00:00 UTC", "<bdi>regulator &lt;diaphragm&gt;</bdi>",
			"<bdi>Bea</bdi> until 2026-03-02 11:59:00 UTC <strong>(over, not ended)</strong>", html.EscapeString(noLockOut)} {
			if !strings.Contains(body, want) {
				t.Errorf("%s: no %q:\n%s", path, want, body)
			}
		}
	}
	if body := get(h, "/station/northdock/press-5").Body.String(); strings.Contains(body, "At work:") {
		t.Error("somebody is at work where nobody is")
	}
}

// Work is declared and ended with buttons and as JSON; the forms carry the caution.
func TestFormsOfWork(t *testing.T) {
	c := &taken{}
	h := peopled(c)
	for _, path := range []string{"/station/northdock/press-4", "/station/northdock/press-4/command"} {
		body := get(h, path).Body.String()
		if !strings.Contains(body, `value="at-work 120"`) || !strings.Contains(body, `value="work-ended"`) || !strings.Contains(body, html.EscapeString(noLockOut)) {
			t.Errorf("%s lacks the form:\n%s", path, body)
		}
	}
	if w := post(h, commandPath, "http://localhost:8420", url.Values{"kind": {"at-work 120"}, "who": {"Ada"}, "why": {"seal"}}); w.Code != http.StatusSeeOther {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	if w := send(h, commandPath, "application/json", `{"kind":"at-work","who":"Bea","why":"gauge","minutes":30}`, "Accept", "application/json"); w.Code != http.StatusAccepted {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	if w := post(h, commandPath, "http://localhost:8420", url.Values{"kind": {"work-ended"}, "who": {"Ada"}}); w.Code != http.StatusSeeOther {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	want := []station.Command{{Kind: "at-work", By: "Ada", Note: "seal", Until: at(2 * time.Hour)}, {Kind: "at-work", By: "Bea", Note: "gauge", Until: at(30 * time.Minute)}, {Kind: "work-ended", By: "Ada"}}
	for i := range want {
		if len(c.got) != len(want) || c.got[i] != want[i] {
			t.Fatalf("%+v", c.got)
		}
	}
	w := post(h, commandPath, "http://localhost:8420", url.Values{"kind": {"at-work 120"}, "who": {"Ada"}})
	if w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "give what you are working on") {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
}
