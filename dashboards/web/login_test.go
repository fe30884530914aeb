package web

import (
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/dashboards/access"
	"strokewise/rules"
)

func cookies(w interface{ Result() *http.Response }) map[string]*http.Cookie {
	out := map[string]*http.Cookie{}
	for _, c := range w.Result().Cookies() {
		out[c.Name] = c
	}
	return out
}

func loginForm(name, password, next string) url.Values {
	return url.Values{"name": {name}, "password": {password}, "next": {next}}
}

func TestLoginAndLogout(t *testing.T) {
	d := newDoors(t)
	html := map[string]string{"Accept": "text/html"}
	w := d.do(knock{method: http.MethodGet, path: "/station/northdock/press-4?span=30", headers: html})
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/login?next=%2Fstation%2Fnorthdock%2Fpress-4%3Fspan%3D30" {
		t.Fatalf("%d to %s", w.Code, w.Header().Get("Location"))
	}
	if w := d.do(knock{method: http.MethodGet, path: w.Header().Get("Location")}); !strings.Contains(w.Body.String(), `value="/station/northdock/press-4?span=30"`) {
		t.Errorf("the login forgets where one wanted to go:\n%s", w.Body)
	}
	w = d.do(knock{method: http.MethodPost, path: loginPath, form: loginForm("Operator", goodPassword, "/due")})
	c := cookies(w)[plainLogin]
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/due" || c == nil || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure || c.Path != "/" || c.Domain != "" {
		t.Fatalf("%d to %s, %+v", w.Code, w.Header().Get("Location"), c)
	}
	page := d.do(knock{method: http.MethodGet, path: accountPath, cookie: c.Value}).Body.String()
	if !strings.Contains(page, "<bdi>operator</bdi>") || !strings.Contains(page, "127.0.0.1") || !strings.Contains(page, `action="logout"`) {
		t.Errorf("%s", page)
	}
	other := d.login(t, "operator")
	mark := map[string]string{markHeader: d.mark(t, c.Value)}
	w = d.do(knock{method: http.MethodPost, path: logoutPath, cookie: c.Value, headers: mark})
	if gone := cookies(w)[plainLogin]; w.Code != http.StatusSeeOther || gone == nil || gone.MaxAge >= 0 {
		t.Errorf("%d, %+v", w.Code, gone)
	}
	for cookie, want := range map[string]int{c.Value: http.StatusUnauthorized, other: http.StatusOK} {
		if w := d.do(knock{method: http.MethodGet, path: "/", cookie: cookie}); w.Code != want {
			t.Errorf("after the logout: %d, want %d", w.Code, want)
		}
	}
	third := d.login(t, "operator")
	d.do(knock{method: http.MethodPost, path: logoutPath, cookie: other, form: url.Values{"everywhere": {"yes"}, markField: {d.mark(t, other)}}})
	if w := d.do(knock{method: http.MethodGet, path: "/", cookie: third}); w.Code != http.StatusUnauthorized {
		t.Errorf("after the logout everywhere: %d", w.Code)
	}
}

// Over TLS the cookies are bound to this host, and the browser is told to stay with TLS.
func TestCookiesOverTLS(t *testing.T) {
	d := newDoors(t, func(o *Options) { o.Identity.Secure = true })
	w := d.do(knock{method: http.MethodPost, path: loginPath, host: "monitor.plant.example", form: loginForm("viewer", goodPassword, "")})
	c := cookies(w)
	for _, name := range []string{secureLogin, secureBrowser} {
		if x := c[name]; x == nil || !x.Secure || !x.HttpOnly || x.Path != "/" || x.Domain != "" {
			t.Errorf("%s: %+v", name, x)
		}
	}
	if w.Header().Get("Strict-Transport-Security") == "" || c[plainLogin] != nil {
		t.Errorf("%v", w.Header())
	}
}

func TestWhereALoginLeads(t *testing.T) {
	for next, want := range map[string]string{"/due": "/due", "/a?b=c#d": "/a?b=c#d", "": "/", "//evil.example": "/", "https://evil.example/": "/", `/\evil.example`: "/", "due": "/",
		"/\tevil": "/", "javascript:alert(1)": "/", "/login": "/", "/logout": "/", "///evil.example": "/", "/%2f/evil": "/", "http:/due": "/"} {
		if got := local(next); got != want {
			t.Errorf("%q leads to %q, want %q", next, got, want)
		}
	}
}

// A wrong password, an unknown name, a user without a password and a panel's PIN are one to whoever tries.
func TestFailedLoginsLookAlike(t *testing.T) {
	d := newDoors(t)
	bodies := map[string]string{}
	for _, name := range []string{"viewer", "zoe", "proxied"} {
		w := d.do(knock{method: http.MethodPost, path: loginPath, form: loginForm(name, "wrong password!", "/")})
		if w.Code != http.StatusForbidden || cookies(w)[plainLogin] != nil {
			t.Errorf("%s: %d", name, w.Code)
		}
		bodies[strings.ReplaceAll(w.Body.String(), name, "NAME")] = name
	}
	if len(bodies) != 1 {
		t.Errorf("%d different answers", len(bodies))
	}
}

// Whoever guesses waits; the account's owner elsewhere, or at a browser that knows the account, does not.
func TestGuessingLocksNobodyOut(t *testing.T) {
	d := newDoors(t)
	first := d.do(knock{method: http.MethodPost, path: loginPath, from: "10.0.0.9:1", form: loginForm("viewer", goodPassword, "/")})
	browser := cookies(first)[plainBrowser]
	code := 0
	for range 6 {
		w := d.do(knock{method: http.MethodPost, path: loginPath, from: "10.0.0.9:1", form: loginForm("viewer", "wrong password!", "/")})
		if code = w.Code; code == http.StatusTooManyRequests && w.Header().Get("Retry-After") == "" {
			t.Error("no Retry-After")
		}
	}
	if code != http.StatusTooManyRequests {
		t.Fatalf("after six guesses: %d", code)
	}
	good := knock{method: http.MethodPost, path: loginPath, from: "10.0.0.9:1", form: loginForm("viewer", goodPassword, "/")}
	if w := d.do(good); w.Code != http.StatusTooManyRequests {
		t.Errorf("the right password is looked at meanwhile: %d", w.Code)
	}
	elsewhere, known := good, good
	elsewhere.from = "10.0.0.10:1"
	known.headers = map[string]string{"Cookie": browser.Name + "=" + browser.Value}
	forged := good
	forged.headers = map[string]string{"Cookie": browser.Name + "=ABC.DEF"}
	for name, c := range map[string]struct {
		ask  knock
		want int
	}{"elsewhere": {elsewhere, 303}, "the known browser": {known, 303}, "a forged browser": {forged, 429}} {
		if w := d.do(c.ask); w.Code != c.want {
			t.Errorf("%s: %d, want %d", name, w.Code, c.want)
		}
	}
	d.now = d.now.Add(time.Hour)
	if w := d.do(good); w.Code != http.StatusSeeOther {
		t.Errorf("an hour later: %d", w.Code)
	}
}

func command(kind, alarm string, more ...string) url.Values {
	v := url.Values{"kind": {kind}, "alarm": {alarm}, "who": {"somebody else"}, "why": {"gauge 3 reads zero"}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

// give sends a command as a login.
func (d *doors) give(t *testing.T, cookie string, v url.Values) (int, string) {
	t.Helper()
	v.Set(markField, d.mark(t, cookie))
	w := d.do(knock{method: http.MethodPost, path: commandPath, cookie: cookie, form: v})
	return w.Code, w.Body.String()
}

// The name at a command is the login's, whatever the form says.
func TestNamesAreThoseOfLogins(t *testing.T) {
	d := newDoors(t)
	if code, body := d.give(t, d.login(t, "operator"), command("acknowledge", rules.OutletLeak)); code != http.StatusSeeOther {
		t.Fatalf("%d %s", code, body)
	}
	w := d.do(knock{method: http.MethodPost, path: commandPath, body: `{"kind":"note","who":"x","why":"y"}`,
		headers: map[string]string{"Authorization": "Bearer " + d.tokens["t-engineer"], "Content-Type": "application/json", "Accept": "application/json"}})
	if w.Code != http.StatusOK || len(d.given.got) != 2 || d.given.got[0].By != "operator" || d.given.got[1].By != "t-engineer" {
		t.Errorf("%d %s, %+v", w.Code, w.Body, d.given.got)
	}
	page := d.do(knock{method: http.MethodGet, path: "/station/northdock/press-4", cookie: d.login(t, "operator")}).Body.String()
	if !strings.Contains(page, "As <bdi>operator</bdi>") || strings.Contains(page, `name="who"`) || !strings.Contains(page, ">Acknowledge<") || strings.Contains(page, "Shelve for") {
		t.Errorf("an operator's page asks for a name, or offers what an engineer may:\n%s", page)
	}
	page = d.do(knock{method: http.MethodGet, path: "/station/northdock/press-4", cookie: d.login(t, "viewer")}).Body.String()
	if strings.Contains(page, "<form") {
		t.Error("a viewer's page has forms")
	}
}

// What concerns stored pressure asks for the password again, once the login is some minutes old.
func TestPressureAsksForTheLoginAgain(t *testing.T) {
	d := newDoors(t)
	c := d.login(t, "engineer")
	if code, _ := d.give(t, c, command("vented", "")); code != http.StatusSeeOther {
		t.Fatalf("right after the login: %d", code)
	}
	d.now = d.now.Add(10 * time.Minute)
	for _, v := range []url.Values{command("vented", ""), command("work-ended", ""), command("shelve", rules.PressureLeft, "minutes", "60"), command("close", rules.PressureLeft)} {
		code, body := d.give(t, c, v)
		if code != http.StatusForbidden || !strings.Contains(body, "Password of <bdi>engineer</bdi>") || !strings.Contains(body, `name="why" value="gauge 3 reads zero"`) || !strings.Contains(body, "It is not done yet") {
			t.Errorf("%v: %d %s", v, code, body)
		}
	}
	if code, _ := d.give(t, c, command("acknowledge", rules.OutletLeak)); code != http.StatusSeeOther {
		t.Errorf("an acknowledgement asks again: %d", code)
	}
	if code, body := d.give(t, c, command("vented", "", "password", "wrong password!")); code != http.StatusForbidden || !strings.Contains(body, "do not belong together") {
		t.Errorf("a wrong password: %d %s", code, body)
	}
	n := len(d.given.got)
	v := command("vented", "", "password", goodPassword)
	v.Set(markField, d.mark(t, c))
	w := d.do(knock{method: http.MethodPost, path: commandPath, cookie: c, form: v})
	next := cookies(w)[plainLogin]
	if w.Code != http.StatusSeeOther || len(d.given.got) != n+1 || next == nil || next.Value == c {
		t.Fatalf("%d, %+v: %s", w.Code, next, w.Body)
	}
	if w := d.do(knock{method: http.MethodGet, path: "/", cookie: c}); w.Code != http.StatusUnauthorized {
		t.Errorf("the earlier cookie: %d", w.Code)
	}
	if code, _ := d.give(t, next.Value, command("vented", "")); code != http.StatusSeeOther {
		t.Errorf("right after the proof: %d", code)
	}
	w = d.do(knock{method: http.MethodPost, path: commandPath, form: command("vented", ""), headers: map[string]string{"Authorization": "Bearer " + d.tokens["t-engineer"]}})
	if w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "a token is not enough") {
		t.Errorf("a token: %d %s", w.Code, w.Body)
	}
}

func TestASecondPerson(t *testing.T) {
	d := newDoors(t, func(o *Options) { o.Identity.Confirm = SecondPerson })
	c := d.login(t, "operator")
	for _, x := range []struct{ second, password, says string }{
		{"", "", "A second person"}, {"operator", goodPassword, "somebody else"}, {"viewer", goodPassword, "for the role operator"},
		{"south", goodPassword, "may act at southdock"}, {"ben", "wrong password!", "do not belong together"}, {"board", goodPassword, "for the role operator"},
	} {
		if code, body := d.give(t, c, command("vented", "", "second", x.second, "second_password", x.password)); code != http.StatusForbidden || !strings.Contains(body, x.says) {
			t.Errorf("second person %q: %d, no %q: %s", x.second, code, x.says, body)
		}
	}
	if code, body := d.give(t, c, command("vented", "", "second", "ben", "second_password", goodPassword)); code != http.StatusSeeOther || len(d.given.got) != 1 {
		t.Fatalf("%d %s", code, body)
	}
	if g := d.given.got[0]; g.By != "operator" || g.Note != "gauge 3 reads zero [second person: ben]" {
		t.Errorf("%+v", g)
	}
	if code, body := d.give(t, c, command("note", "", "why", "looked [Second  person: ben]")); code != http.StatusSeeOther || d.given.got[1].Note != "looked (Second  person: ben]" {
		t.Errorf("a mark that somebody wrote: %d %s %+v", code, body, d.given.got)
	}
	long := secondMark(strings.Repeat("ä", rules.MostReason), "ben")
	if n := len([]rune(long)); n != rules.MostReason || !strings.HasSuffix(long, "[second person: ben]") {
		t.Errorf("%d characters, %q", n, long[len(long)-30:])
	}
}

// At a shared panel people name themselves by their PIN, and it is their role that counts.
func TestPanel(t *testing.T) {
	d := newDoors(t)
	c := d.login(t, "board")
	page := d.do(knock{method: http.MethodGet, path: "/station/northdock/press-4", cookie: c}).Body.String()
	if !strings.Contains(page, "<option>ben</option>") || strings.Contains(page, "<option>operator</option>") || !strings.Contains(page, `name="pin"`) {
		t.Errorf("%s", page)
	}
	for _, x := range []struct {
		who, pin, kind string
		code           int
	}{{"ben", "4071", "acknowledge", 303}, {"ben", "4072", "acknowledge", 403}, {"operator", "", "acknowledge", 403}, {"zoe", "4071", "acknowledge", 403}, {"ben", "4071", "shelve", 403}} {
		if code, body := d.give(t, c, command(x.kind, rules.OutletLeak, "who", x.who, "pin", x.pin)); code != x.code {
			t.Errorf("%s by %s: %d, want %d: %s", x.kind, x.who, code, x.code, body)
		}
	}
	if len(d.given.got) != 1 || d.given.got[0].By != "ben" {
		t.Errorf("%+v", d.given.got)
	}
}

// A name in a header counts from a trusted peer only, and then it is enough.
func TestIdentityFromAProxy(t *testing.T) {
	d := newDoors(t, func(o *Options) {
		o.Identity.Proxy = Proxy{Header: "X-Remote-User", Trusted: []netip.Prefix{netip.MustParsePrefix("10.0.0.5/32")}}
	})
	as := func(name, from string) knock {
		return knock{method: http.MethodGet, path: accountPath, from: from, host: "monitor.plant.example", headers: map[string]string{"X-Remote-User": name, "X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.7"}}
	}
	if w := d.do(as("proxied", "10.0.0.5:40000")); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "<bdi>proxied</bdi>") || w.Header().Get("Strict-Transport-Security") == "" {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	for name, k := range map[string]knock{"another peer": as("proxied", "10.0.0.6:40000"), "an unknown name": as("zoe", "10.0.0.5:40000"), "a panel": as("board", "10.0.0.5:40000")} {
		if w := d.do(k); w.Code != http.StatusForbidden {
			t.Errorf("%s: %d", name, w.Code)
		}
	}
	post := as("proxied", "10.0.0.5:40000")
	post.method, post.path, post.form = http.MethodPost, commandPath, command("acknowledge", rules.OutletLeak)
	if w := d.do(post); w.Code != http.StatusForbidden {
		t.Errorf("without a mark: %d: the proxy's cookie goes along with any page's form", w.Code)
	}
	post.headers[markHeader] = d.identity.Sessions.Mark("proxy proxied")
	if w := d.do(post); w.Code != http.StatusSeeOther {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	post.form = command("vented", "")
	if w := d.do(post); w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "strokewise user password") {
		t.Errorf("who has no password confirms by one: %d %s", w.Code, w.Body)
	}
}

// Addresses are those that trusted peers report, the last one that is not trusted.
func TestAddresses(t *testing.T) {
	d := Identity{Proxy: Proxy{Trusted: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/24")}}}
	for _, c := range []struct{ peer, hops, want string }{
		{"192.0.2.1:5", "203.0.113.9", "192.0.2.1"}, {"10.0.0.5:5", "203.0.113.9", "203.0.113.9"}, {"10.0.0.5:5", "1.2.3.4, 203.0.113.9, 10.0.0.6", "203.0.113.9"},
		{"10.0.0.5:5", "", "10.0.0.5"}, {"10.0.0.5:5", "nonsense", "10.0.0.5"}, {"10.0.0.5:5", "::ffff:203.0.113.9", "203.0.113.9"},
	} {
		r, _ := http.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = c.peer
		if c.hops != "" {
			r.Header.Set("X-Forwarded-For", c.hops)
		}
		if got := d.address(r); got != c.want {
			t.Errorf("%s with %q: %s, want %s", c.peer, c.hops, got, c.want)
		}
	}
}

// Readiness is told to everybody, its reasons to those who may look.
func TestReadinessToStrangers(t *testing.T) {
	d := newDoors(t, func(o *Options) { o.Ready = func() error { return errTwo } })
	stranger, viewer := d.do(knock{method: http.MethodGet, path: "/readyz"}), d.do(knock{method: http.MethodGet, path: "/readyz", cookie: d.login(t, "viewer")})
	if stranger.Code != http.StatusServiceUnavailable || strings.Contains(stranger.Body.String(), "broker") {
		t.Errorf("%d %s", stranger.Code, stranger.Body)
	}
	if viewer.Code != http.StatusServiceUnavailable || !strings.Contains(viewer.Body.String(), "broker") {
		t.Errorf("%d %s", viewer.Code, viewer.Body)
	}
}

// A user who is removed, or has another password or role, is so at once.
func TestChangesOfUsersCountAtOnce(t *testing.T) {
	d := newDoors(t)
	op, eng := d.login(t, "operator"), d.login(t, "engineer")
	err := access.Change(d.file, func(l *access.List) error {
		for i := range l.Users {
			switch l.Users[i].Name {
			case "operator":
				l.Users[i].Password = access.NewHash("another password", cheap)
			case "engineer":
				l.Users[i].Role = access.Viewer
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if w := d.do(knock{method: http.MethodGet, path: "/", cookie: op}); w.Code != http.StatusUnauthorized {
		t.Errorf("after another password: %d", w.Code)
	}
	if code, _ := d.give(t, eng, command("acknowledge", rules.OutletLeak)); code != http.StatusForbidden {
		t.Errorf("after another role: %d", code)
	}
}

// Wherever a login leads, it is a page of ours: control characters and backslashes, which browsers
// read as slashes, do not get through.
func FuzzWhereALoginLeads(f *testing.F) {
	for _, s := range []string{"/", "//evil.example", "/a?b#c", "http:/x", "/%2f/x", `/\x`, "/\tx", "/a:b@c"} {
		f.Add(s)
	}
	base, err := url.Parse("http://localhost:8420/login")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, next string) {
		got := local(next)
		u, err := base.Parse(got)
		if err != nil || u.Host != base.Host || u.Scheme != "http" || u.User != nil || !strings.HasPrefix(got, "/") || strings.HasPrefix(got, "//") || strings.ContainsAny(got, "\\\r\n\t") {
			t.Errorf("%q leads to %q", next, got)
		}
	})
}
