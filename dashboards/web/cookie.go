package web

import (
	"crypto/rand"
	"net/http"
	"strings"
	"time"

	"strokewise/dashboards/access"
)

// Cookies. Over TLS their names bind them to this very host: no other page, not even of a
// neighbouring name, can set them. Lax lets a link in a mail find the login; what changes anything
// is sent by POST, with the mark of a page of ours.
const (
	secureLogin, plainLogin     = "__Host-strokewise", "strokewise-login"
	secureBrowser, plainBrowser = "__Host-strokewise-browser", "strokewise-browser"
)

func cookieName(secure bool) string {
	if secure {
		return secureLogin
	}
	return plainLogin
}

func browserName(secure bool) string {
	if secure {
		return secureBrowser
	}
	return plainBrowser
}

// setCookie sets a cookie for a time; 0: until the browser ends, below: it is removed.
func setCookie(w http.ResponseWriter, name, value string, secure bool, last time.Duration) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: value, Path: "/", HttpOnly: true, Secure: secure, SameSite: http.SameSiteLaxMode, MaxAge: int(last / time.Second)})
}

// setLogin hands a session's cookie out.
func setLogin(w http.ResponseWriter, who *reader, cookie string) {
	setCookie(w, cookieName(who.secure), cookie, who.secure, 0)
}

// browserLasts is for how long a browser is known to have logged in to an account.
const browserLasts = 365 * 24 * time.Hour

// browser returns what names a browser that has logged in to the account before, else "".
func (s *site) browser(r *http.Request, who *reader, account string) string {
	c, err := r.Cookie(browserName(who.secure))
	if err != nil {
		return ""
	}
	name, mark, _ := strings.Cut(c.Value, ".")
	if !s.Identity.Sessions.Marked(browserOf(account, name), mark) {
		return ""
	}
	return name
}

func browserOf(account, name string) string {
	return "browser " + strings.ToLower(account) + " " + name
}

// know notes in the browser that it has logged in to the account.
func (s *site) know(w http.ResponseWriter, who *reader, account string) {
	name := rand.Text()
	setCookie(w, browserName(who.secure), name+"."+s.Identity.Sessions.Mark(browserOf(account, name)), who.secure, browserLasts)
}

// begin starts a session and hands its cookie out.
func (s *site) begin(w http.ResponseWriter, r *http.Request, who *reader, x access.Session) error {
	was := ""
	if c, err := r.Cookie(cookieName(who.secure)); err == nil {
		was = c.Value
	}
	x.From = who.from
	cookie, err := s.Identity.Sessions.Begin(x, was, s.Now())
	if err == nil {
		setLogin(w, who, cookie)
	}
	return err
}
