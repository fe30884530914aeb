package web

import (
	"net/http"
	"net/url"
	"strconv"
	"time"

	"strokewise/dashboards/access"
)

const loginsPath = "/logins"

// loginsView is the page of everybody's logins.
type loginsView struct {
	Root, Version, Problem string
	Users                  []userLogins
	Mark                   string
	proofView
}

// userLogins are those of a user.
type userLogins struct {
	Name     string
	Provider bool // the user is the identity provider's
	Sessions []sessionView
}

// proofView is what a form asks for where the reader's own login is not new enough.
type proofView struct {
	Prover string // whose password is asked for; "": nobody's
	Again  string // address of the login at the provider, where that is what is missing
}

// logins shows everybody's logins, and ends those of a user.
func (s *site) logins(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		s.showLogins(w, r, http.StatusOK, "")
		return
	}
	e, name := noted(r), r.PostFormValue("user")
	e.What, e.Target = "end logins", clipped(name)
	if f := s.again(w, r, readerOf(r)); f != nil {
		f.answer(w)
		s.showLogins(w, r, f.status, f.text)
		return
	}
	n, err := s.Identity.Sessions.EndAll(name)
	e.Detail = strconv.Itoa(n)
	switch {
	case err != nil: // they have ended in memory all the same
		s.showLogins(w, r, http.StatusServiceUnavailable, "Ended, but a restart may not know it: "+err.Error())
	case n == 0:
		s.showLogins(w, r, http.StatusNotFound, "Nobody of that name is logged in.")
	default:
		http.Redirect(w, r, loginsPath, http.StatusSeeOther)
	}
}

func (s *site) showLogins(w http.ResponseWriter, r *http.Request, status int, problem string) {
	who := readerOf(r)
	v := loginsView{Version: s.Version, Problem: problem, Mark: s.mark(who), proofView: proofOf(who, loginsPath)}
	for _, x := range s.Identity.Sessions.All(s.Now()) {
		if n := len(v.Users); n == 0 || v.Users[n-1].Name != x.User {
			v.Users = append(v.Users, userLogins{Name: x.User, Provider: x.Grant != nil})
		}
		u := &v.Users[len(v.Users)-1]
		u.Sessions = append(u.Sessions, sessionOf(&x))
	}
	s.renderAs(w, status, "logins.html", v)
}

func sessionOf(x *access.Session) sessionView {
	return sessionView{x.From, x.Began.UTC().Format(time.DateTime), x.Seen.UTC().Format(time.DateTime)}
}

// proofOf returns what a form that leads on to next asks a reader for.
func proofOf(who *reader, next string) proofView {
	switch {
	case who.proved || who.way != byCookie:
		return proofView{}
	case who.signed:
		return proofView{Again: signonPath[1:] + "?again=yes&next=" + url.QueryEscape(next)}
	}
	return proofView{Prover: who.Name}
}

// again checks that whoever uses a browser's login shows anew who it is, unless it was just done.
func (s *site) again(w http.ResponseWriter, r *http.Request, who *reader) *failure {
	switch password := r.PostFormValue("password"); {
	case who.proved || who.way != byCookie:
		return nil
	case who.signed:
		return &failure{status: http.StatusForbidden, text: "Log in again at your organisation first."}
	case password == "":
		return &failure{status: http.StatusForbidden, text: "Your password is asked for as well."}
	default:
		return s.prove(w, r, who, password)
	}
}
