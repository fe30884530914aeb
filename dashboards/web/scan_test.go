package web

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/access"
	"strokewise/dashboards/api"
	"strokewise/dashboards/signon"
	"strokewise/dashboards/trail"
	"strokewise/rules"
)

// cheap is the least that Argon2id takes.
var cheap = access.Cost{Memory: 8, Passes: 1, Threads: 1}

// doors are pages that people log in to.
type doors struct {
	handler  http.Handler
	routes   []route
	identity *Identity
	given    *taken
	now      time.Time
	tokens   map[string]string // secrets by name
	file     string            // of the users
	trail    *trail.Trail
}

const goodPassword = "four hoses and a valve"

// refusals takes any order.
type openRefusals struct{ someRefused }

func (openRefusals) Discard(context.Context, string, string) (int64, error) { return 1, nil }

func (openRefusals) TrustClock(context.Context, string) error { return nil }

func (openRefusals) Take(context.Context, string, string, uint64) (Taken, error) {
	return Taken{}, nil
}

// newDoors serves everything to users of each role, named as it; ben is a second operator with a PIN, board a
// panel, and south an engineer of another site.
func newDoors(t *testing.T, change ...func(*Options)) *doors {
	t.Helper()
	dir := t.TempDir()
	d := &doors{given: &taken{outcome: rules.Outcome{Result: rules.Done}}, now: noon, tokens: map[string]string{}}
	hash := access.NewHash(goodPassword, cheap)
	l := access.List{Version: 1, Users: []access.User{{Name: "ben", Role: access.Operator, Password: hash, PIN: access.NewHash("4071", cheap)},
		{Name: "board", Role: access.Viewer, Panel: true, Password: hash}, {Name: "proxied", Role: access.Operator},
		{Name: "south", Role: access.Engineer, Scopes: []access.Scope{{Site: "southdock"}}, Password: hash}}}
	for _, r := range access.Roles() {
		l.Users = append(l.Users, access.User{Name: r.String(), Role: r, Password: hash})
	}
	for _, k := range []access.Token{{Name: "t-engineer", Role: access.Engineer}, {Name: "t-south", Role: access.Engineer, Scopes: []access.Scope{{Site: "southdock"}}},
		{Name: "t-scrape", Role: access.Viewer, Only: []access.Action{access.Scrape}}, {Name: "t-expired", Role: access.Engineer}} {
		k.Expires = noon.Add(time.Hour)
		if k.Name == "t-expired" {
			k.Expires = noon.Add(-time.Second)
		}
		made, secret := access.NewToken(k)
		l.Tokens, d.tokens[k.Name] = append(l.Tokens, made), secret
	}
	path := filepath.Join(dir, "users.yaml")
	d.file = path
	if err := access.Write(path, &l); err != nil {
		t.Fatal(err)
	}
	users, err := access.OpenDirectory(path)
	if err != nil {
		t.Fatal(err)
	}
	sessions, err := access.OpenSessions(filepath.Join(dir, "logins.json"), access.UsualLasting)
	if err != nil {
		t.Fatal(err)
	}
	d.identity = &Identity{Users: users, Sessions: sessions, SignOn: signon.New(signon.Options{Issuer: "http://" + nobodyListens})}
	tested, _ := backtested()
	o := everything()
	o.Command, o.Backtest, o.Rig, o.Refusals = d.given.take, tested.Backtest, &plantOfTests{}, openRefusals{o.Refusals.(someRefused)}
	o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "up 1") })
	o.FirstRun = &listener{}
	o.Reload = func(context.Context) (Reloaded, error) { return Reloaded{Stations: 1}, nil }
	if o.Trail, err = trail.Open(filepath.Join(dir, "audit.jsonl"), noon); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { o.Trail.Close() })
	o.Now, o.Identity, o.Diary = func() time.Time { return d.now }, d.identity, &diary{}
	for _, f := range change {
		f(&o)
	}
	d.trail = o.Trail
	d.handler = New(o)
	d.routes = (&site{Options: o}).routes()
	return d
}

// nobodyListens is an address of this machine at which a connection is refused: port 1 (tcpmux) is
// served nowhere.
const nobodyListens = "127.0.0.1:1"

// plantOfTests is a virtual plant that takes any order.
type plantOfTests struct{}

func (*plantOfTests) Stations() []RigStation {
	return []RigStation{{Key: station.Key{Site: "a", Station: "b"}}}
}

func (*plantOfTests) Kinds() []RigKind { return nil }

func (*plantOfTests) Order(string, string, float64, time.Duration, bool) error { return nil }

// knock is a request under preparation.
type knock struct {
	method, path string
	form         url.Values
	headers      map[string]string
	host, from   string
	cookie       string
	body         string // in the place of form
}

func (d *doors) do(a knock) *httptest.ResponseRecorder {
	body := a.body
	if body == "" {
		body = a.form.Encode()
	}
	r := httptest.NewRequest(a.method, a.path, strings.NewReader(body))
	r.Host, r.RemoteAddr = "localhost:8420", "127.0.0.1:4000"
	if a.host != "" {
		r.Host = a.host
	}
	if a.from != "" {
		r.RemoteAddr = a.from
	}
	if a.method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for k, v := range a.headers {
		r.Header.Set(k, v)
	}
	if a.cookie != "" {
		r.AddCookie(&http.Cookie{Name: plainLogin, Value: a.cookie})
	}
	ctx, cancel := context.WithCancel(r.Context())
	if strings.HasPrefix(a.path, "/events") {
		cancel() // a stream would go on
	}
	defer cancel()
	w := httptest.NewRecorder()
	d.handler.ServeHTTP(w, r.WithContext(ctx))
	return w
}

// login logs in and returns the cookie.
func (d *doors) login(t *testing.T, name string) string {
	t.Helper()
	w := d.do(knock{method: http.MethodPost, path: loginPath, form: url.Values{"name": {name}, "password": {goodPassword}}})
	for _, c := range w.Result().Cookies() {
		if c.Name == plainLogin {
			return c.Value
		}
	}
	t.Fatalf("%s cannot log in: %d %s", name, w.Code, w.Body)
	return ""
}

// mark returns what the forms of a login carry.
func (d *doors) mark(t *testing.T, cookie string) string {
	t.Helper()
	x, err := d.identity.Sessions.Find(cookie, d.now)
	if err != nil {
		t.Fatal(err)
	}
	return d.identity.Sessions.Mark("session " + x.Serial)
}

// concrete returns an address of a pattern, and what its form sends.
func concrete(pattern string) (path string, form url.Values) {
	path = strings.NewReplacer("{$}", "", "{site}", "northdock", "{station}", "press-4").Replace(pattern)
	switch path {
	case "/static/":
		path += "style.css"
	case "/events":
		path += "?cards=1"
	case "/station/northdock/press-4/command":
		form = url.Values{"kind": {"acknowledge"}, "alarm": {rules.OutletLeak}}
	case rigPath:
		form = url.Values{"station": {"a/b"}, "kind": {"x"}}
	case backtestPath:
		form = url.Values{"do": {"cancel"}}
	case firstRunPath:
		form = url.Values{"do": {"stop"}}
	case loginsPath:
		form = url.Values{"user": {"nobody"}}
	case loginPath:
		form = url.Values{"name": {"viewer"}, "password": {goodPassword}}
	}
	return path, form
}

// attempt is a way to ask, for every route.
type attempt struct {
	name    string
	prepare func(t *testing.T, d *doors, a *knock)
	post    bool // meant for what is sent only
}

// logged is an attempt of somebody who has logged in, and whose forms carry the mark.
func logged(name string, more func(d *doors, a *knock)) func(*testing.T, *doors, *knock) {
	return func(t *testing.T, d *doors, a *knock) {
		a.cookie = d.login(t, name)
		if a.method == http.MethodPost {
			a.headers[markHeader] = d.mark(t, a.cookie)
		}
		if more != nil {
			more(d, a)
		}
	}
}

func bearer(name string) func(*testing.T, *doors, *knock) {
	return func(_ *testing.T, d *doors, a *knock) { a.headers["Authorization"] = "Bearer " + d.tokens[name] }
}

var attempts = []attempt{
	{name: "no login", prepare: func(*testing.T, *doors, *knock) {}},
	{name: "viewer", prepare: logged("viewer", nil)},
	{name: "operator", prepare: logged("operator", nil)},
	{name: "engineer", prepare: logged("engineer", nil)},
	{name: "administrator", prepare: logged("administrator", nil)},
	{name: "other site", prepare: logged("south", nil)},
	{name: "expired", prepare: logged("administrator", func(d *doors, _ *knock) { d.now = d.now.Add(13 * time.Hour) })},
	{name: "token", prepare: bearer("t-engineer")},
	{name: "token, other site", prepare: bearer("t-south")},
	{name: "token, scrape only", prepare: bearer("t-scrape")},
	{name: "token, expired", prepare: bearer("t-expired")},
	{name: "forged token", prepare: func(_ *testing.T, d *doors, a *knock) {
		a.headers["Authorization"] = "Bearer " + d.tokens["t-engineer"] + "x"
	}},
	{name: "forged header", prepare: func(_ *testing.T, _ *doors, a *knock) { a.headers["X-Remote-User"] = "administrator" }},
	{name: "foreign Host", prepare: logged("administrator", func(_ *doors, a *knock) { a.host = "evil.example" })},
	{name: "foreign Origin", post: true, prepare: logged("administrator", func(_ *doors, a *knock) { a.headers["Origin"] = "http://evil.example" })},
	{name: "cross-site", post: true, prepare: logged("administrator", func(_ *doors, a *knock) { a.headers["Sec-Fetch-Site"] = "cross-site" })},
	{name: "no mark", post: true, prepare: logged("administrator", func(_ *doors, a *knock) { delete(a.headers, markHeader) })},
	{name: "another's mark", post: true, prepare: logged("administrator", func(d *doors, a *knock) { a.headers[markHeader] = d.identity.Sessions.Mark("session of another") })},
	{name: "oversized", post: true, prepare: logged("administrator", func(_ *doors, a *knock) { a.body = "why=" + strings.Repeat("x", 1<<20) })},
}

// scan asks every route in every way, and returns the table of the answers.
func scan(t *testing.T) string {
	var out strings.Builder
	w := tabwriter.NewWriter(&out, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "route")
	for _, a := range attempts {
		fmt.Fprint(w, "\t", a.name)
	}
	fmt.Fprintln(w, "\tPUT")
	proxy := func(o *Options) { o.Identity.Proxy.Header = "X-Remote-User" } // no peer is trusted
	for _, rt := range newDoors(t).routes {
		for _, method := range []string{http.MethodGet, http.MethodPost} {
			path, form := concrete(rt.pattern)
			fmt.Fprint(w, method, " ", rt.pattern)
			d := newDoors(t, proxy)
			for _, a := range attempts {
				d.now = noon
				one := knock{method: method, path: path, form: form, headers: map[string]string{}}
				if path == refusedPath {
					one.body = `{"do":"discard","reason":"malformed","who":"x"}`
				}
				if method == http.MethodGet {
					one.form, one.body = nil, ""
				}
				a.prepare(t, d, &one)
				if a.post && method == http.MethodGet {
					fmt.Fprint(w, "\t-")
					continue
				}
				fmt.Fprint(w, "\t", d.do(one).Code)
			}
			fmt.Fprintln(w, "\t", d.do(knock{method: http.MethodPut, path: path}).Code)
		}
	}
	_ = w.Flush()
	return out.String()
}

// Every route is asked in every way; the answers are those of the table that people have read.
func TestEveryRouteInEveryWay(t *testing.T) {
	got := scan(t)
	golden := filepath.Join("testdata", "scan.txt")
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (renew with -update, and read what changed):\n%s", golden, got)
	}
	lawful(t, got)
}

// lawful holds the table to what must be true of it, whatever routes there are.
func lawful(t *testing.T, text string) {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(text), "\n")
	open := []string{"/healthz", "/readyz", "/static/", loginPath, signonPath, Callback}
	for _, line := range lines[1:] {
		f := strings.Fields(line)
		method, pattern := f[0], f[1]
		by := map[string]string{}
		for i, a := range attempts {
			by[a.name] = f[2+i]
		}
		if f[len(f)-1] != "405" {
			t.Errorf("%s %s by PUT: %s", method, pattern, f[len(f)-1])
		}
		if by["foreign Host"] != "421" {
			t.Errorf("%s %s with a foreign Host: %s", method, pattern, by["foreign Host"])
		}
		if by["administrator"] == "405" || slices.Contains(open, pattern) {
			continue
		}
		for _, name := range []string{"no login", "expired", "token, expired", "forged token", "forged header"} {
			if by[name] != "401" && by[name] != "403" {
				t.Errorf("%s %s, %s: %s", method, pattern, name, by[name])
			}
		}
		if method != http.MethodPost {
			continue
		}
		for _, name := range []string{"foreign Origin", "cross-site", "no mark", "another's mark"} {
			if by[name] != "403" {
				t.Errorf("%s %s, %s: %s", method, pattern, name, by[name])
			}
		}
		if by["oversized"] != "413" {
			t.Errorf("%s %s, oversized: %s", method, pattern, by["oversized"])
		}
		if by["viewer"] != "403" && pattern != logoutPath {
			t.Errorf("%s %s: a viewer changes something: %s", method, pattern, by["viewer"])
		}
	}
}

// The scan asks every route that the sources make, whatever it depends on.
func TestTheScanHasEveryRoute(t *testing.T) {
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	made := map[string]bool{} // the expressions of patterns; those of the metrics' listener are among them
	for _, name := range sources {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		for _, m := range routeMade.FindAllSubmatch(text, -1) {
			made[string(m[1])] = true
		}
	}
	programs := len(api.Endpoints(api.Sources{})) // of a table of their own
	if asked := len(newDoors(t).routes); asked != len(made)+programs || asked < 20 {
		t.Errorf("%d routes are asked, and %d are made: %v, and %d for programs", asked, len(made)+programs, slices.Sorted(maps.Keys(made)), programs)
	}
}

var routeMade = regexp.MustCompile(`(?:\blook\(|\{pattern: )("[^"]+"|[a-zA-Z]+(?:Path|back))`)

// Every path that the program serves is in the table of routes: nothing is added beside it.
func TestNothingIsServedBesideTheTable(t *testing.T) {
	d := newDoors(t)
	for _, path := range []string{"/debug/pprof/", "/debug/pprof/profile", "/nothing", "/static", "/station/northdock", "//evil.example/"} {
		if w := d.do(knock{method: http.MethodGet, path: path, headers: map[string]string{"Accept": "text/html"}}); w.Code == http.StatusOK {
			t.Errorf("%s without a login: %d", path, w.Code)
		}
	}
}
