package signon_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/zitadel/oidc/v3/example/server/exampleop"
	"github.com/zitadel/oidc/v3/example/server/storage"
	"github.com/zitadel/oidc/v3/pkg/oidc"
	"github.com/zitadel/oidc/v3/pkg/op"

	"strokewise/dashboards/access"
	"strokewise/dashboards/board"
	"strokewise/dashboards/signon"
	"strokewise/dashboards/web"
)

// grouped is the provider's store, with a group that its userinfo endpoint lists.
type grouped struct {
	*storage.Storage
	group string
}

func (g *grouped) SetUserinfoFromToken(ctx context.Context, info *oidc.UserInfo, token, subject, origin string) error {
	err := g.Storage.SetUserinfoFromToken(ctx, info, token, subject, origin)
	info.AppendClaims("groups", []string{"canteen", g.group})
	return err
}

// organisation is a provider in this process, and pages that people log in to there.
type organisation struct {
	pages *httptest.Server
	store *grouped
	now   time.Time
}

// newOrganisation starts both. The provider is a certified library's own server.
func newOrganisation(t *testing.T) *organisation {
	t.Helper()
	o := &organisation{now: time.Now()}
	var pages, login http.Handler
	o.pages = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { pages.ServeHTTP(w, r) }))
	t.Cleanup(o.pages.Close)
	provider := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { login.ServeHTTP(w, r) }))
	t.Cleanup(provider.Close)
	client := storage.WebClient("strokewise", "client secret", o.pages.URL+web.Callback)
	store := storage.NewStorageWithClients(storage.NewUserStore(provider.URL), map[string]*storage.Client{"strokewise": client})
	o.store = &grouped{store, "mechanics"}
	login = exampleop.SetupServer(provider.URL, o.store, slog.New(slog.DiscardHandler), false, op.WithAllowInsecure())
	sessions, err := access.OpenSessions(filepath.Join(t.TempDir(), "logins.json"), access.UsualLasting)
	if err != nil {
		t.Fatal(err)
	}
	b := board.New()
	b.SetReady(true)
	pages = web.New(web.Options{Board: b, Now: func() time.Time { return o.now }, Identity: &web.Identity{Sessions: sessions, SignOn: signon.New(signon.Options{
		Issuer: provider.URL, ClientID: "strokewise", Secret: "client secret", Redirect: o.pages.URL + web.Callback, Scopes: []string{"profile", "email", "groups"}, NameClaim: "preferred_username", GroupsClaim: "groups",
		Roles: map[string]access.Role{"mechanics": access.Operator, "office": access.Viewer}})}})
	return o
}

func browser(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &http.Client{Jar: jar}
}

func fetch(t *testing.T, c *http.Client, address string, form url.Values) (*http.Response, string) {
	t.Helper()
	var r *http.Request
	var err error
	if form == nil {
		r, err = http.NewRequest(http.MethodGet, address, nil)
	} else {
		r, err = http.NewRequest(http.MethodPost, address, strings.NewReader(form.Encode()))
		if err == nil {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept", "text/html")
	res, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res, string(b)
}

var hiddenID = regexp.MustCompile(`name="id" value="([^"]+)"`)

// logsIn goes from our login to the provider, and types name and password there.
func logsIn(t *testing.T, o *organisation, c *http.Client, next string) (*http.Response, string) {
	t.Helper()
	res, body := fetch(t, c, o.pages.URL+"/oidc/login?next="+url.QueryEscape(next), nil)
	m := hiddenID.FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no login at the provider: %s %s", res.Request.URL, body)
	}
	at := *res.Request.URL
	at.Path, at.RawQuery = "/login/username", ""
	return fetch(t, c, at.String(), url.Values{"id": {m[1]}, "username": {"test-user2"}, "password": {"verysecure"}})
}

// From a page to the provider and back: the name and the role are those that it says.
func TestRoundTrip(t *testing.T) {
	o, c := newOrganisation(t), browser(t)
	res, body := fetch(t, c, o.pages.URL+"/account", nil)
	if res.Request.URL.Path != "/login" || !strings.Contains(body, "Log in at your organisation") || strings.Contains(body, "password") {
		t.Fatalf("%s: %s", res.Request.URL, body)
	}
	res, body = logsIn(t, o, c, "/account")
	if res.StatusCode != http.StatusOK || res.Request.URL.Path != "/account" || !strings.Contains(body, "<bdi>test-user2</bdi>") || !strings.Contains(body, "operator") {
		t.Errorf("%s %d: %s", res.Request.URL, res.StatusCode, body)
	}
	o.now = o.now.Add(13 * time.Hour)
	if res, _ := fetch(t, c, o.pages.URL+"/account", nil); res.Request.URL.Path != "/login" {
		t.Errorf("after the longest time: %s", res.Request.URL)
	}
}

// Whoever is in no group that has a role stays outside.
func TestNoRole(t *testing.T) {
	o, c := newOrganisation(t), browser(t)
	o.store.group = "gardeners"
	res, body := logsIn(t, o, c, "/account")
	if res.StatusCode != http.StatusForbidden || !strings.Contains(body, "none of your groups") {
		t.Errorf("%d: %s", res.StatusCode, body)
	}
	if res, _ := fetch(t, c, o.pages.URL+"/account", nil); res.Request.URL.Path != "/login" {
		t.Errorf("%s", res.Request.URL)
	}
}

// An answer that this browser did not ask for is no login, nor is one that comes a second time or late.
func TestAnswersThatAreNotTaken(t *testing.T) {
	o, c := newOrganisation(t), browser(t)
	var answer string
	c.CheckRedirect = func(r *http.Request, _ []*http.Request) error {
		if r.URL.Path == web.Callback && answer == "" {
			answer = r.URL.String()
			return http.ErrUseLastResponse
		}
		return nil
	}
	logsIn(t, o, c, "/account")
	if answer == "" {
		t.Fatal("the provider does not lead back")
	}
	refused := func(name string, c *http.Client, address string) {
		t.Helper()
		if res, body := fetch(t, c, address, nil); res.StatusCode != http.StatusForbidden || !strings.Contains(body, "Not logged in") {
			t.Errorf("%s: %d %s", name, res.StatusCode, body)
		}
	}
	refused("in another browser", browser(t), answer)
	u, _ := url.Parse(answer)
	q := u.Query()
	q.Set("state", "another")
	u.RawQuery = q.Encode()
	refused("with another state", c, u.String())
	refused("after the flow was used up", c, answer)
	answer = ""
	logsIn(t, o, c, "/account")
	o.now = o.now.Add(11 * time.Minute)
	refused("too late", c, answer)
	refused("without anything", browser(t), o.pages.URL+web.Callback)
}
