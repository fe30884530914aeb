package web

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"strokewise/dashboards/access"
	"strokewise/dashboards/signon"
)

// Paths of the login at an OpenID Connect provider. Callback is what the provider must know.
const (
	signonPath = "/oidc/login"
	Callback   = "/oidc/callback"

	secureFlow, plainFlow = "__Host-strokewise-flow", "strokewise-flow"
)

func flowName(secure bool) string {
	if secure {
		return secureFlow
	}
	return plainFlow
}

// signon leads to the provider.
func (s *site) signon(w http.ResponseWriter, r *http.Request) {
	who, q := readerOf(r), r.URL.Query()
	to, flow, err := s.Identity.SignOn.Begin(r.Context(), local(q.Get("next")), q.Get("again") != "", s.Now())
	if err != nil {
		e := noted(r)
		e.Who, e.By, e.What, e.Detail = "", "", "login at the organisation", clipped(err.Error())
		s.notSignedOn(w, http.StatusBadGateway, err)
		return
	}
	data, err := json.Marshal(flow)
	if err != nil {
		s.notSignedOn(w, http.StatusInternalServerError, err)
		return
	}
	text := base64.RawURLEncoding.EncodeToString(data)
	setCookie(w, flowName(who.secure), text+"."+s.Identity.Sessions.Mark("flow "+text), who.secure, 0)
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// flow returns the login that the browser has under way.
func (s *site) flow(r *http.Request, who *reader) (f signon.Flow) {
	c, err := r.Cookie(flowName(who.secure))
	if err != nil {
		return f
	}
	text, mark, _ := strings.Cut(c.Value, ".")
	if !s.Identity.Sessions.Marked("flow "+text, mark) {
		return f
	}
	data, err := base64.RawURLEncoding.DecodeString(text)
	if err != nil || json.Unmarshal(data, &f) != nil {
		return signon.Flow{}
	}
	return f
}

// callback takes the provider's answer.
func (s *site) callback(w http.ResponseWriter, r *http.Request) {
	who, q := readerOf(r), r.URL.Query()
	f, e := s.flow(r, who), noted(r)
	e.Who, e.By, e.What = "", "", "login at the organisation" // whoever has another login here asks as a stranger
	setCookie(w, flowName(who.secure), "", who.secure, -1e9)  // once
	g, proved, err := s.Identity.SignOn.Finish(r.Context(), f, q.Get("state"), q.Get("code"), s.Now())
	if err == nil && s.Identity.Users != nil {
		if _, taken := s.Identity.Users.User(g.Name); taken {
			err = &access.Refusal{Text: "the users file has a user of that name: log in with its password, or let an administrator remove it"}
		}
	}
	e.Who = g.Name
	if err != nil {
		e.Detail = clipped(err.Error())
		s.notSignedOn(w, http.StatusForbidden, err)
		return
	}
	if f := s.loginPace(g.Name); f != nil {
		f.answer(w)
		s.notSignedOn(w, f.status, errors.New(f.text))
		return
	}
	if err := s.begin(w, r, who, access.Session{User: g.Name, Grant: &g, Proved: proved}); err != nil {
		plain(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	e.By = wayNames[byCookie]
	http.Redirect(w, r, local(f.Next), http.StatusSeeOther)
}

// notSignedOn shows the login with why the one at the provider failed. Addresses and the provider's answers are for the audit.
func (s *site) notSignedOn(w http.ResponseWriter, status int, err error) {
	var f *signon.Fault
	if errors.As(err, &f) {
		err = errors.New(f.Said + "; an administrator finds in the audit why")
	}
	v := s.loginPage("/", "Not logged in: "+err.Error())
	v.Root = "../" // its path is a folder below
	s.renderAs(w, status, "login.html", v)
}

// loginPage returns the page of the login.
func (s *site) loginPage(next, problem string) loginView {
	v := loginView{Version: s.Version, Next: next, Problem: problem, Here: s.Identity.Users != nil}
	if s.Identity.SignOn != nil {
		v.Elsewhere = signonPath[1:] + "?next=" + url.QueryEscape(next)
	}
	return v
}
