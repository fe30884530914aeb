package web

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/access"
	"strokewise/rules"
)

// Confirm is what acts that concern stored pressure ask for.
type Confirm int

// The policies, in the order of Confirms of the configuration.
const (
	LoginAgain   Confirm = iota // a login within the last minutes
	SecondPerson                // that, and somebody else who may do the same
	NoConfirm
)

// confirmView is the page on which an act is confirmed.
type confirmView struct {
	Root, Version, Action, Problem string
	What, Station                  string
	Mark                           string
	Name                           string // whose password is asked for; "": it was given just now
	Again                          string // address of the login at the provider, where that is what is missing
	PIN                            bool   // of whoever stands at a panel
	Second                         bool   // somebody else's password too
	Fields                         []fieldView
}

// fieldView is a field of the act that waits.
type fieldView struct{ Name, Value string }

// signed makes the reader's name that of the command, once the reader has shown what the act asks
// for. Where something is missing it answers, and returns false.
func (s *site) signed(w http.ResponseWriter, r *http.Request, k station.Key, in *commandJSON) bool {
	who := readerOf(r)
	if who.open {
		return true
	}
	if who.panel {
		var f *failure
		if who, f = s.atPanel(r, in.Who); f != nil {
			f.answer(w)
			s.refuse(w, r, f.status, f.text)
			return false
		}
	}
	in.Who, in.Why = who.Name, withoutMark(in.Why)
	if err := s.mayAt(who, in.Kind, k); err != nil {
		s.deny(w, r, err)
		return false
	}
	guards := true // an alarm that nobody knows may guard people
	if d, ok := s.Board.Definition(k, in.Alarm); ok {
		guards = d.FailSafe
	}
	if s.Identity.Confirm == NoConfirm || !access.ConcernsPressure(access.Action(in.Kind), guards) {
		return true
	}
	return s.confirmed(w, r, who, k, in)
}

// atPanel returns who stands at a shared panel, by name and PIN.
func (s *site) atPanel(r *http.Request, name string) (*reader, *failure) {
	d, panel := s.Identity, readerOf(r)
	if wait := d.Throttle.Try(name, panel.from, "panel "+panel.Name, s.Now()); wait > 0 {
		return nil, slow(wait)
	}
	u, ok := d.Users.User(name)
	if ok, f := d.is(r.Context(), orNoHash(u.PIN), r.PostFormValue("pin")); f != nil || !ok || u.PIN == "" {
		if f == nil {
			f = &failure{status: http.StatusForbidden, text: "Name and PIN do not belong together."}
		}
		return nil, f
	}
	if !ok {
		return nil, &failure{status: http.StatusForbidden, text: "Name and PIN do not belong together."}
	}
	d.Throttle.Succeeded(name, panel.from, "panel "+panel.Name)
	who := *panel
	who.Grant, who.proved = u.Grant(), true
	return &who, nil
}

func orNoHash(h access.Hash) access.Hash {
	if h == "" {
		return noHash()
	}
	return h
}

// confirmed reports whether the reader's login is new enough, and a second person agrees where one
// is asked for. Where not, it answers with the page that asks.
func (s *site) confirmed(w http.ResponseWriter, r *http.Request, who *reader, k station.Key, in *commandJSON) bool {
	if who.way == byToken {
		s.deny(w, r, &access.Refusal{Text: fmt.Sprintf("%s concerns stored pressure: somebody must log in for it, a token is not enough", in.Kind)})
		return false
	}
	if why := s.cannotProve(who); why != nil {
		s.deny(w, r, why)
		return false
	}
	status, problem := http.StatusForbidden, ""
	if password := r.PostFormValue("password"); !who.proved && password != "" && !who.signed {
		if f := s.prove(w, r, who, password); f != nil {
			f.answer(w)
			status, problem = f.status, f.text
		}
	}
	second := s.Identity.Confirm == SecondPerson
	if who.proved && second && r.PostFormValue("second") != "" {
		name, f := s.second(r, who, k, in)
		if f == nil {
			in.Why = secondMark(in.Why, name)
			noted(r).By += ", with " + name
			return true
		}
		f.answer(w)
		status, problem = f.status, f.text
	}
	if who.proved && !second {
		return true
	}
	s.askConfirm(w, r, who, k, in, status, problem)
	return false
}

// cannotProve returns why the reader cannot show anew who it is, nil where it can.
func (s *site) cannotProve(who *reader) error {
	if who.proved || who.way != byProxy {
		return nil
	}
	if u, _ := s.Identity.Users.User(who.Name); u.Password != "" {
		return nil
	}
	return &access.Refusal{Text: "this concerns stored pressure and asks for a password, and the users file has none of " + who.Name + ": strokewise user password, or http.confirm: none"}
}

// prove checks the reader's own password again.
func (s *site) prove(w http.ResponseWriter, r *http.Request, who *reader, password string) *failure {
	u, f := s.try(r, who.Name, password)
	switch {
	case f != nil:
		return f
	case u.Name != who.Name:
		return &failure{status: http.StatusForbidden, text: "Name and password do not belong together."}
	}
	who.proved = true
	if who.way != byCookie {
		return nil
	}
	cookie, err := s.Identity.Sessions.Prove(who.cookie, s.Now())
	if err != nil {
		return &failure{status: http.StatusServiceUnavailable, text: err.Error()}
	}
	setLogin(w, who, cookie)
	return nil
}

// second checks that somebody else agrees who may do the same.
func (s *site) second(r *http.Request, who *reader, k station.Key, in *commandJSON) (string, *failure) {
	u, f := s.try(r, strings.TrimSpace(r.PostFormValue("second")), r.PostFormValue("second_password"))
	if f != nil {
		return "", f
	}
	g := u.Grant()
	if err := g.MayAt(access.Action(in.Kind), k.Site, s.branchOf(k)); err != nil {
		return "", &failure{status: http.StatusForbidden, text: err.Error()}
	}
	if strings.EqualFold(u.Name, who.Name) || u.Panel {
		return "", &failure{status: http.StatusForbidden, text: "The second person must be somebody else."}
	}
	return u.Name, nil
}

// secondMark adds to a person's words who agreed; they are shortened where both do not fit.
func secondMark(why, name string) string {
	mark := []rune(secondOpens + name + "]")
	words := []rune(withoutMark(why))
	return strings.TrimSpace(string(words[:min(len(words), rules.MostReason-len(mark))])) + string(mark)
}

const secondOpens = " [second person: "

var likeAMark = regexp.MustCompile(`(?i)\[(\s*second\s+person)`)

// withoutMark returns a person's words without anything that reads as the mark of a second person:
// what the mark says is what the program has checked.
func withoutMark(why string) string { return likeAMark.ReplaceAllString(why, "($1") }

func (s *site) askConfirm(w http.ResponseWriter, r *http.Request, who *reader, k station.Key, in *commandJSON, status int, problem string) {
	if wantsJSON(r) {
		s.refuse(w, r, status, in.Kind+" concerns stored pressure: confirm it on the station's page, with your password")
		return
	}
	v := confirmView{Root: "../../../", Version: s.Version, Problem: problem, What: in.Kind, Station: k.String(), Second: s.Identity.Confirm == SecondPerson}
	v.PIN = readerOf(r).panel
	v.Action = v.Root + "station/" + path(k) + "/command"
	switch {
	case !who.proved && who.signed:
		v.Again = signonPath[1:] + "?again=yes&next=" + url.QueryEscape("/station/"+path(k)+"/command")
	case !who.proved:
		v.Name = who.Name
	}
	for _, name := range []string{"kind", "alarm", "who", "why", "cause", "what", "date", "minutes"} {
		if value := r.PostFormValue(name); value != "" {
			v.Fields = append(v.Fields, fieldView{name, value})
		}
	}
	v.Mark = s.mark(readerOf(r))
	s.renderAs(w, status, "confirm.html", v)
}
