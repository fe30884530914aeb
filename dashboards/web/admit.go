package web

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"strings"

	"strokewise/dashboards/access"
)

// markField is the field of a form, and markHeader the header of what a script sends, with the
// mark of our own pages.
const (
	markField  = "mark"
	markHeader = "X-Strokewise-Mark"
)

// admit lets a request through to those who may do what it asks for.
func (s *site) admit(next http.Handler, t table) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, err := s.identify(r)
		who.note(noted(r))
		if s.Identity == nil {
			next.ServeHTTP(w, withReader(r, who))
			return
		}
		if s.Identity.past(r) {
			s.deny(w, r, errPast)
			return
		}
		if who.secure && !loopback(hostName(r.Host)) {
			w.Header().Set("Strict-Transport-Security", "max-age=31536000")
		}
		to := t.find(r)
		needed := to.read
		if r.Method == http.MethodPost {
			needed = to.write
		}
		switch {
		case needed == access.Open:
		case err != nil:
			s.unknown(w, r, err)
			return
		case r.Method == http.MethodPost && !s.inPace(w, r, who):
			return
		case who.panel && needed == aCommand: // whoever stands there is asked
		case who.May(needed) != nil:
			s.deny(w, r, who.May(needed))
			return
		}
		if r.Method == http.MethodPost && needed != access.Open && !s.ours(w, r, who) {
			return
		}
		next.ServeHTTP(w, withReader(r, who))
	})
}

// inPace reports whether somebody who is known sends no faster than people do; scripts wait. Where not, it answers.
func (s *site) inPace(w http.ResponseWriter, r *http.Request, who *reader) bool {
	wait := s.Identity.Orders.Order(who.counted(), s.Now())
	if wait > 0 {
		f := failure{http.StatusTooManyRequests, fmt.Sprintf("refused: too many orders at once. Wait %v, then send it again.", wait), wait}
		f.answer(w)
		s.refuse(w, r, f.status, f.text)
	}
	return wait == 0
}

// unknown answers whoever has not said who they are: pages lead to the login.
func (s *site) unknown(w http.ResponseWriter, r *http.Request, why error) {
	var refusal *access.Refusal
	if errors.Is(why, errTwoWays) || errors.As(why, &refusal) {
		s.deny(w, r, why)
		return
	}
	if wantsPage(r) && !errors.Is(why, errToken) {
		http.Redirect(w, r, loginPath+"?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		return
	}
	w.Header().Set("WWW-Authenticate", `Bearer realm="strokewise"`)
	s.refuse(w, r, http.StatusUnauthorized, why.Error()+": the page "+loginPath+" takes a name and a password, and a script sends a token as Authorization: Bearer TOKEN")
}

// deny answers whoever may not do what they ask for.
func (s *site) deny(w http.ResponseWriter, r *http.Request, why error) {
	s.refuse(w, r, http.StatusForbidden, why.Error())
}

func (s *site) refuse(w http.ResponseWriter, r *http.Request, status int, why string) {
	if wantsJSON(r) {
		reply(w, status, map[string]string{"outcome": notTaken, "reason": why, "error": why})
		return
	}
	plain(w, status, why)
}

// wantsPage reports whether a browser asks for a page to show, and no script for a part of one.
func wantsPage(r *http.Request) bool {
	dest := r.Header.Get("Sec-Fetch-Dest")
	return r.Method != http.MethodPost && strings.Contains(r.Header.Get("Accept"), "text/html") && (dest == "" || dest == "document")
}

// ours reports whether what is sent comes from a page of ours, where a browser sends by itself what
// identifies the reader. Where not, it answers.
func (s *site) ours(w http.ResponseWriter, r *http.Request, who *reader) bool {
	if who.way != byCookie && who.way != byProxy {
		return true
	}
	mark := r.Header.Get(markHeader)
	if mark == "" {
		if err := parseForm(r); err != nil {
			var long *http.MaxBytesError
			if errors.As(err, &long) {
				s.refuse(w, r, http.StatusRequestEntityTooLarge, "what was sent is too long: shorten it")
				return false
			}
			s.refuse(w, r, http.StatusBadRequest, "cannot read the form: "+err.Error())
			return false
		}
		mark = r.PostFormValue(markField)
	}
	if s.Identity.Sessions.Marked(who.id, mark) {
		return true
	}
	s.refuse(w, r, http.StatusForbidden, "refused: the form is not from a page of your login. Load the page again, and send it from there.")
	return false
}

// parseForm reads what a form sends; of other bodies it reads nothing.
func parseForm(r *http.Request) error {
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch kind {
	case "multipart/form-data":
		return r.ParseMultipartForm(2 * mostChanges) // the body is bounded: nothing goes to disk
	case "application/x-www-form-urlencoded":
		return r.ParseForm()
	}
	return nil
}
