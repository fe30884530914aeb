package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"strokewise/dashboards/access"
)

const (
	loginPath   = "/login"
	logoutPath  = "/logout"
	accountPath = "/account"

	mostLogin   = 4 << 10          // bytes of a login
	mostHashing = 2                // at once: 64 MiB each
	hashWithin  = 10 * time.Second // for a place
)

// noHash takes as long as a user's: how long a login takes does not say who is there.
var noHash = sync.OnceValue(func() access.Hash { return access.NewHash("nobody's password", access.Usual) })

// loginView is the page of the login.
type loginView struct {
	Root, Version, Problem string
	Name, Next             string
	Here                   bool   // by a password of ours
	Elsewhere              string // address of the login at the provider; "": none
}

// login shows the login, and takes it.
func (s *site) login(w http.ResponseWriter, r *http.Request) {
	v := s.loginPage(local(r.URL.Query().Get("next")), "")
	if r.Method != http.MethodPost {
		s.render(w, "login.html", v)
		return
	}
	if err := r.ParseForm(); err != nil {
		plain(w, http.StatusBadRequest, "cannot read the form: "+err.Error())
		return
	}
	v = s.loginPage(local(r.PostFormValue("next")), "")
	v.Name = strings.TrimSpace(r.PostFormValue("name"))
	e := noted(r)
	e.What, e.Who, e.By, e.Detail = "login", "", "", "unknown name" // which may be a password in the wrong field
	if u, ok := s.user(v.Name); ok {
		e.Who, e.Detail = u.Name, ""
	}
	u, p := s.try(r, v.Name, r.PostFormValue("password"))
	if p != nil {
		v.Problem = p.text
		p.answer(w)
		s.renderAs(w, p.status, "login.html", v)
		return
	}
	if p := s.loginPace(u.Name); p != nil {
		v.Problem = p.text
		p.answer(w)
		s.renderAs(w, p.status, "login.html", v)
		return
	}
	who := readerOf(r)
	if err := s.begin(w, r, who, access.Session{User: u.Name, Stamp: u.Stamp()}); err != nil {
		plain(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	e.Who, e.By = u.Name, wayNames[byCookie]
	s.know(w, who, u.Name)
	http.Redirect(w, r, v.Next, http.StatusSeeOther)
}

// failure is why a login or a confirmation is not taken.
type failure struct {
	status int
	text   string
	wait   time.Duration
}

func (f *failure) answer(w http.ResponseWriter) {
	if f.wait > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(f.wait.Seconds()))))
	}
}

// try checks a name and a password, as fast as they may be tried from there.
func (s *site) try(r *http.Request, name, password string) (access.User, *failure) {
	d := s.Identity
	who := readerOf(r)
	known := s.browser(r, who, name)
	if wait := d.Throttle.Try(name, who.from, known, s.Now()); wait > 0 {
		return access.User{}, slow(wait)
	}
	u, found := s.user(name)
	hash := u.Password
	if !found || hash == "" {
		hash, found = noHash(), false
	}
	ok, f := d.is(r.Context(), hash, password)
	if f != nil {
		return access.User{}, f
	}
	if !ok || !found {
		return access.User{}, &failure{status: http.StatusForbidden, text: "Name and password do not belong together."}
	}
	d.Throttle.Succeeded(name, who.from, known)
	return u, nil
}

// loginPace returns why somebody who may log in has to wait: each login is a line of the audit, and counts as an order.
func (s *site) loginPace(name string) *failure {
	if wait := s.Identity.Orders.Order("name "+name, s.Now()); wait > 0 {
		return slow(wait)
	}
	return nil
}

// user returns the user of that name in the users file.
func (s *site) user(name string) (access.User, bool) {
	if s.Identity.Users == nil {
		return access.User{}, false
	}
	return s.Identity.Users.User(name)
}

func slow(wait time.Duration) *failure {
	return &failure{http.StatusTooManyRequests, fmt.Sprintf("Too many tries. Wait %v, then try again.", wait.Round(time.Second)), wait}
}

// is checks a secret, few at a time.
func (d *Identity) is(ctx context.Context, h access.Hash, secret string) (bool, *failure) {
	ctx, cancel := context.WithTimeout(ctx, hashWithin)
	defer cancel()
	select {
	case d.hashing <- struct{}{}:
		defer func() { <-d.hashing }()
		return h.Is(secret), nil
	case <-ctx.Done():
		return false, &failure{http.StatusServiceUnavailable, "Many log in at once. Try again in a moment.", time.Second}
	}
}

// local returns an address of ours to go on to, the first page where it is none.
func local(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") ||
		strings.ContainsAny(next, "\\\r\n\t") || strings.HasPrefix(u.Path, "//") || u.Path == loginPath || u.Path == logoutPath {
		return "/"
	}
	return next
}

// accountView is the page of one's own login.
type accountView struct {
	Root, Version string
	Name, Role    string
	Scope         string
	Sessions      []sessionView
	Mark          string // "": the login is elsewhere
	Problem       string
	All           bool // everybody's logins may be seen
	proofView
}

type sessionView struct{ From, Began, Seen string }

// account shows who is logged in, and from where.
func (s *site) account(w http.ResponseWriter, r *http.Request) {
	s.showAccount(w, r, http.StatusOK, "")
}

func (s *site) showAccount(w http.ResponseWriter, r *http.Request, status int, problem string) {
	who := readerOf(r)
	v := accountView{Version: s.Version, Name: who.Name, Role: who.Role.String(), Problem: problem, All: mayDo(who, access.Logins), proofView: proofOf(who, accountPath)}
	for i, x := range who.Scopes {
		if i > 0 {
			v.Scope += ", "
		}
		v.Scope += x.String()
	}
	if who.way == byCookie {
		v.Mark = s.mark(who)
		for _, x := range s.Identity.Sessions.Of(who.Name, s.Now()) {
			v.Sessions = append(v.Sessions, sessionOf(&x))
		}
	}
	s.renderAs(w, status, "account.html", v)
}

// logout ends the session, or all of the user's: that asks for the password again.
func (s *site) logout(w http.ResponseWriter, r *http.Request) {
	who := readerOf(r)
	noted(r).What = "logout"
	var err error
	switch {
	case who.way != byCookie:
		plain(w, http.StatusConflict, "there is no login here that could end: it is the proxy's, or a token")
		return
	case r.PostFormValue("everywhere") != "":
		noted(r).What = "logout everywhere"
		if f := s.again(w, r, who); f != nil {
			f.answer(w)
			s.showAccount(w, r, f.status, f.text)
			return
		}
		_, err = s.Identity.Sessions.EndAll(who.Name)
	default:
		err = s.Identity.Sessions.End(who.cookie)
	}
	if err != nil { // it has ended in memory all the same
		plain(w, http.StatusServiceUnavailable, "logged out, but a restart may not know it: "+err.Error())
		return
	}
	setCookie(w, cookieName(who.secure), "", who.secure, -time.Second)
	w.Header().Set("Clear-Site-Data", `"cache", "storage"`) // which browsers heed over TLS
	http.Redirect(w, r, loginPath, http.StatusSeeOther)
}
