package web

import (
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/dashboards/access"
	"strokewise/rules"
)

// An administrator sees everybody's logins and ends those of one, also of the provider's users; the audit says so.
func TestAnAdministratorEndsLogins(t *testing.T) {
	d := newDoors(t)
	boss, ben := d.login(t, "administrator"), d.login(t, "ben")
	signed, err := d.identity.Sessions.Begin(access.Session{User: "nora", Grant: &access.Grant{Name: "nora", Role: access.Operator}, From: "192.0.2.9"}, "", noon)
	if err != nil {
		t.Fatal(err)
	}
	page := d.do(knock{method: http.MethodGet, path: loginsPath, cookie: boss}).Body.String()
	for _, want := range []string{"192.0.2.9", "<bdi>nora</bdi>, by the organisation's login", "<bdi>ben</bdi>"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q:\n%s", want, page)
		}
	}
	end := func(name string) int {
		return d.do(knock{method: http.MethodPost, path: loginsPath, cookie: boss, form: url.Values{"user": {name}, markField: {d.mark(t, boss)}}}).Code
	}
	if code := end("nora"); code != http.StatusSeeOther {
		t.Errorf("status %d", code)
	}
	for cookie, want := range map[string]int{signed: http.StatusUnauthorized, ben: http.StatusOK, boss: http.StatusOK} {
		if w := d.do(knock{method: http.MethodGet, path: "/", cookie: cookie}); w.Code != want {
			t.Errorf("status %d, want %d", w.Code, want)
		}
	}
	if code := end("nora"); code != http.StatusNotFound {
		t.Errorf("of somebody who is not logged in: %d", code)
	}
	text, err := os.ReadFile(d.trail.Path())
	if err != nil || !strings.Contains(string(text), `"what":"end logins","target":"nora","detail":"1"`) {
		t.Errorf("%v:\n%s", err, text)
	}
}

// Ending logins beside one's own asks for the password again once the login is five minutes old; the provider's users are
// led to the provider.
func TestEndingLoginsAsksForThePassword(t *testing.T) {
	d := newDoors(t)
	boss, ben := d.login(t, "administrator"), d.login(t, "ben")
	signed, err := d.identity.Sessions.Begin(access.Session{User: "nora", Grant: &access.Grant{Name: "nora", Role: access.Administrator}}, "", noon)
	if err != nil {
		t.Fatal(err)
	}
	d.now = d.now.Add(access.UsualLasting.Fresh + time.Second)
	for path, form := range map[string]url.Values{loginsPath: {"user": {"ben"}}, logoutPath: {"everywhere": {"yes"}}} {
		for _, password := range []string{"", "another password"} {
			form.Set(markField, d.mark(t, boss))
			form.Set("password", password)
			if w := d.do(knock{method: http.MethodPost, path: path, cookie: boss, form: form}); w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), `name="password"`) {
				t.Errorf("%s with %q: %d", path, password, w.Code)
			}
		}
		form.Set(markField, d.mark(t, signed))
		if w := d.do(knock{method: http.MethodPost, path: path, cookie: signed, form: form}); w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "again=yes") {
			t.Errorf("%s, of the provider's: %d", path, w.Code)
		}
	}
	if w := d.do(knock{method: http.MethodGet, path: "/", cookie: ben}); w.Code != http.StatusOK {
		t.Errorf("ben's login has ended: %d", w.Code)
	}
	d.now = d.now.Add(time.Minute) // two wrong passwords were tried
	w := d.do(knock{method: http.MethodPost, path: loginsPath, cookie: boss, form: url.Values{"user": {"ben"}, "password": {goodPassword}, markField: {d.mark(t, boss)}}})
	if after := d.do(knock{method: http.MethodGet, path: "/", cookie: ben}); w.Code != http.StatusSeeOther || after.Code != http.StatusUnauthorized {
		t.Errorf("with the password: %d, then ben has %d", w.Code, after.Code)
	}
}

// Whoever is logged in sends no faster than people do, whether it is taken or not, and holds up nobody else; what is
// turned away for it fills no trail.
func TestOrdersHaveAPace(t *testing.T) {
	d := newDoors(t)
	for name, kind := range map[string]string{"operator": "note", "viewer": "note"} {
		cookie, slowed := d.login(t, name), 0
		mark := d.mark(t, cookie)
		form := url.Values{"kind": {kind}, "alarm": {rules.OutletLeak}, "why": {"flood"}, markField: {mark}}
		for range 500 {
			w := d.do(knock{method: http.MethodPost, path: commandPath, cookie: cookie, form: form})
			if w.Code == http.StatusTooManyRequests {
				if after, _ := strconv.Atoi(w.Header().Get("Retry-After")); after != 1 {
					t.Fatalf("Retry-After is %q", w.Header().Get("Retry-After"))
				}
				slowed++
			}
		}
		if slowed != 500-59 { // the login is one of the 60
			t.Errorf("%s: %d of 500 are slowed down, and 60 at once are taken", name, slowed)
		}
	}
	if w := d.do(knock{method: http.MethodPost, path: commandPath, body: `{"kind":"note","why":"script"}`,
		headers: map[string]string{"Authorization": "Bearer " + d.tokens["t-engineer"], "Content-Type": "application/json", "Accept": "application/json"}}); w.Code != http.StatusOK {
		t.Errorf("a token waits for others: %d %s", w.Code, w.Body)
	}
	d.now = d.now.Add(2 * time.Second) // a login, and an order
	cookie := d.login(t, "operator")
	w := d.do(knock{method: http.MethodPost, path: commandPath, cookie: cookie, form: url.Values{"kind": {"note"}, "why": {"later"}, markField: {d.mark(t, cookie)}}})
	if w.Code == http.StatusTooManyRequests {
		t.Error("a second later nothing is taken")
	}
	text, err := os.ReadFile(d.trail.Path())
	if lines := strings.Count(string(text), "\n"); err != nil || lines > 2*60+strangerBurst+10 {
		t.Errorf("%d lines, %v", lines, err)
	}
	var last struct{ Detail string }
	all := strings.Split(strings.TrimSpace(string(text)), "\n")
	if !strings.Contains(string(text), "more were turned away and not written down") || json.Unmarshal([]byte(all[len(all)-1]), &last) != nil {
		t.Errorf("what was left out is not counted: %s", all[len(all)-1])
	}
}

// A login is a line of the audit, so that one's own logins have a pace as well, whatever browser has logged in before.
func TestLoginsHaveAPace(t *testing.T) {
	d := newDoors(t)
	browser := ""
	slowed := 0
	for range 200 {
		headers := map[string]string{}
		if browser != "" {
			headers["Cookie"] = plainBrowser + "=" + browser
		}
		w := d.do(knock{method: http.MethodPost, path: loginPath, headers: headers, form: url.Values{"name": {"viewer"}, "password": {goodPassword}}})
		for _, c := range w.Result().Cookies() {
			if c.Name == plainBrowser {
				browser = c.Value
			}
		}
		if w.Code == http.StatusTooManyRequests {
			slowed++
		}
	}
	if slowed != 200-60 || browser == "" {
		t.Errorf("%d of 200 logins are slowed down", slowed)
	}
	text, err := os.ReadFile(d.trail.Path())
	if lines := strings.Count(string(text), "\n"); err != nil || lines > 60+strangerBurst+1 {
		t.Errorf("%d lines, %v", lines, err)
	}
}

// Answers of the provider that nobody asked for fill no trail, whoever has a login here; why a provider cannot be reached is for
// the audit alone, since it names addresses.
func TestTheProvidersFaults(t *testing.T) {
	d := newDoors(t)
	cookie := d.login(t, "viewer")
	for range 500 {
		d.do(knock{method: http.MethodGet, path: Callback + "?state=x&code=y", cookie: cookie})
	}
	w := d.do(knock{method: http.MethodGet, path: signonPath})
	if w.Code != http.StatusBadGateway || strings.Contains(w.Body.String(), "127.0.0.1") || !strings.Contains(w.Body.String(), "cannot reach the login of the organisation") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	text, err := os.ReadFile(d.trail.Path())
	if lines := strings.Count(string(text), "\n"); err != nil || lines > strangerBurst+10 {
		t.Errorf("%d lines, %v", lines, err)
	}
	d.now = d.now.Add(time.Minute)
	d.do(knock{method: http.MethodGet, path: signonPath})
	if text, err = os.ReadFile(d.trail.Path()); err != nil || !strings.Contains(string(text), nobodyListens) {
		t.Errorf("the audit does not say why: %v", err)
	}
}

// One login takes no more than its share of the streams.
func TestStreamsAreShared(t *testing.T) {
	var p places
	ana, ben, open := &reader{way: byCookie}, &reader{way: byToken, id: "token x"}, &reader{open: true}
	ana.Name = "ana"
	for i := range mostStreams {
		if got := p.take(ana); got != (i < mostStreamsOf) {
			t.Fatalf("stream %d: %v", i, got)
		}
	}
	if !p.take(ben) {
		t.Error("somebody else gets none")
	}
	p.leave(ana)
	if !p.take(ana) || p.take(ana) {
		t.Error("a place that became free")
	}
	for range mostStreams - mostStreamsOf - 1 {
		if !p.take(open) {
			t.Fatal("where nobody logs in all are for everybody")
		}
	}
	if p.take(ben) || p.take(open) {
		t.Error("more are taken than there are")
	}
}
