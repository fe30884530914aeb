package web

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/dashboards/trail"
	"strokewise/rules"
)

// trailed returns pages that write a trail, and what reads it: a line "who/by/what/target/outcome" each.
func trailed(t *testing.T) (*doors, func() []string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	tr, err := trail.Open(path, noon)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { tr.Close() })
	return newDoors(t, func(o *Options) { o.Trail = tr }), func() (out []string) {
		t.Helper()
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := trail.Walk(f, tr.Head(), func(e *trail.Entry) error {
			out = append(out, strings.Join([]string{e.Who, e.By, e.From, e.What, e.Target, e.Outcome}, "/"))
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return out
	}
}

// Who, how known, from where, what, to what and the outcome of everything that is sent.
func TestEverythingSentIsWrittenDown(t *testing.T) {
	d, lines := trailed(t)
	c := d.login(t, "operator")
	d.give(t, c, command("acknowledge", rules.OutletLeak))
	d.give(t, c, command("shelve", rules.OutletLeak, "minutes", "60"))
	d.do(knock{method: http.MethodPost, path: loginPath, form: loginForm("operator", "wrong password!", "/"), from: "10.0.0.9:1"})
	d.do(knock{method: http.MethodPost, path: loginPath, form: loginForm("my password, in the wrong field", "x", "/")})
	d.do(knock{method: http.MethodPost, path: commandPath, body: `{"kind":"note","who":"x","why":"y"}`,
		headers: map[string]string{"Authorization": "Bearer " + d.tokens["t-engineer"], "Content-Type": "application/json", "Accept": "application/json"}})
	d.do(knock{method: http.MethodPost, path: refusedPath, body: `{"do":"discard","reason":"malformed"}`, headers: map[string]string{"Authorization": "Bearer " + d.tokens["t-south"]}})
	d.do(knock{method: http.MethodPost, path: commandPath, form: command("vented", "")})
	d.do(knock{method: http.MethodPost, path: logoutPath, cookie: c, form: url.Values{markField: {d.mark(t, c)}}})
	d.do(knock{method: http.MethodGet, path: "/"})
	want := []string{
		"operator/login/127.0.0.1/login//done",
		"operator/login/127.0.0.1/acknowledge/northdock/press-4 outlet-leak/Done",
		"operator/login/127.0.0.1/shelve/northdock/press-4 outlet-leak/denied",
		"operator//10.0.0.9/login//denied",
		"//127.0.0.1/login//denied",
		"t-engineer/token/127.0.0.1/note/northdock/press-4/Done",
		"t-south/token/127.0.0.1/" + refusedPath + "//denied",
		"//127.0.0.1/" + commandPath + "//denied",
		"operator/login/127.0.0.1/logout//done",
	}
	if got := lines(); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Nor does it matter how what they send is turned away, and in which order requests come.
func TestStrangersHaveFewLinesWhateverTheySend(t *testing.T) {
	d, lines := trailed(t)
	for i := range 5 * strangerBurst {
		d.now = noon.Add(time.Duration(i%2) * 10 * time.Second) // requests overtake each other
		if w := d.do(knock{method: http.MethodPost, path: loginPath, body: "name=%zz"}); w.Code != http.StatusBadRequest {
			t.Fatal(w.Code)
		}
	}
	if n := len(lines()); n > strangerBurst+10 {
		t.Errorf("%d lines", n)
	}
}

// Strangers cannot fill the disk: beyond a burst and a pace their lines are counted only.
func TestStrangersHaveFewLines(t *testing.T) {
	d, lines := trailed(t)
	for range strangerBurst + 50 {
		d.do(knock{method: http.MethodPost, path: commandPath, form: command("note", "")})
	}
	if n := len(lines()); n != strangerBurst {
		t.Errorf("%d lines", n)
	}
	d.login(t, "viewer")
	if got := lines(); len(got) != strangerBurst+1 {
		t.Errorf("whoever is known is not written down: %d lines", len(got))
	}
	if fmt.Sprint(clipped(strings.Repeat("ä", 5000))) != strings.Repeat("ä", 1200) {
		t.Error("a long text is not clipped")
	}
}
