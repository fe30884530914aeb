// Package web serves the pages that people read: the stations as they are now, each
// station with its traces, what people did, and the payloads that were refused. It takes
// people's words about alarms; it moves nothing.
package web

import (
	"bytes"
	"embed"
	"errors"
	"html/template"
	"net/http"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/access"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/live"
	"strokewise/dashboards/trail"
	"strokewise/dashboards/trend"
)

//go:embed templates/*.html
var templates embed.FS

// pages are the templates where nobody logs in, and loginPages where people do.
var pages, loginPages = parsePages(false), parsePages(true)

func parsePages(logins bool) *template.Template {
	t := template.New("").Funcs(template.FuncMap{"logins": func() bool { return logins }, "edited": edited})
	return template.Must(t.ParseFS(templates, "templates/*.html"))
}

// Options say what is shown, and to whom. Functions that are nil show nothing.
type Options struct {
	Board   *board.Board
	Live    *live.Live                // traces; nil: none are shown
	History History                   // of what is older than those; may be nil
	Zones   map[string]*time.Location // by site; UTC where there is none
	// References are those of volumes of air, by site; ANR where there is none.
	References map[string]station.Reference
	Pipeline   func() board.Pipeline
	Refusals   Refusals                 // messages that were not accepted; nil: none are kept
	Ready      func() error             // nil while ready; each line of the error is a reason. Left out: the board alone
	Metrics    http.Handler             // of /metrics
	Hosts      []string                 // allowed in the Host header beside the loopback names
	Hours      Hours                    // for costs
	Tariffs    map[string]*cost.Tariffs // by site
	Rig        Rig                      // of the demonstration
	Command    Command                  // takes what people order; nil: nothing is taken
	Diary      Diary                    // what people did; may be nil
	Alarms     Alarms                   // what became of alarms; may be nil
	Backtest   Backtest                 // of changed alarms; nil: none
	Reload     Reload                   // reads the configuration again; nil: there is no such path
	FirstRun   FirstRun                 // listens to unknown brokers; nil: there is no such page
	Explain    Explain                  // says how a station's figures were obtained; may be nil
	Trends     trend.History            // of figures over weeks; may be nil
	Now        func() time.Time
	Version    string
	// Unconfigured reports whether no station is configured: the first page leads to FirstRun then. nil: there are some.
	Unconfigured func() bool
	Identity     *Identity    // who may do what; nil: everybody everything
	Trail        *trail.Trail // of what was asked; nil: none
}

// New returns the handler of all routes. The server's timeouts are its owner's.
func New(o Options) http.Handler {
	if o.Now == nil {
		o.Now = time.Now
	}
	s := &site{Options: o, queries: make(chan struct{}, mostQueries)}
	if d := o.Identity; d != nil && d.hashing == nil {
		d.hashing = make(chan struct{}, mostHashing)
	}
	t := newTable(s.routes())
	return guard(s.record(s.admit(t.mux, t)), o.Hosts, t)
}

// rigPath takes orders for faults, and only in the demonstration.
const rigPath = "/rig"

type site struct {
	Options
	cards   cards
	streams places
	queries chan struct{} // a place each
}

// stations shows the stations as a whole page or as the fragment that renews it.
func (s *site) stations(name string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if s.FirstRun != nil && s.unconfigured() && readerOf(r).May(access.Discover) == nil {
			http.Redirect(w, r, firstRunPath, http.StatusSeeOther)
			return
		}
		all := s.Board.All()
		v := overview(all, reasons(s.ready()), station.InstantOf(s.Now()), s.Version)
		v.headers(all, s.Board)
		v.Rig = s.Rig != nil
		v.Filling = filling(s.Board.Past())
		v.draw(s.lately)
		s.render(w, name, v)
	}
}

// alive answers as long as the process does.
func alive(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") }

func (s *site) readyz(w http.ResponseWriter, r *http.Request) {
	err := s.ready()
	if who := readerOf(r); err != nil && !who.open && who.May(access.Look) != nil && who.May(access.Scrape) != nil {
		err = errors.New("not ready: log in to see why") // reasons name addresses
	}
	if err != nil {
		plain(w, http.StatusServiceUnavailable, strings.Join(reasons(err), "\n"))
		return
	}
	plain(w, http.StatusOK, "ready")
}

// pages returns the templates that the readers see.
func (s *site) pages() *template.Template {
	if s.Identity != nil {
		return loginPages
	}
	return pages
}

// render writes a page once it is complete, so that a fault never shows half of one.
func (s *site) render(w http.ResponseWriter, name string, view any) {
	s.renderAs(w, http.StatusOK, name, view)
}

func (s *site) renderAs(w http.ResponseWriter, status int, name string, view any) {
	var page bytes.Buffer
	if err := s.pages().ExecuteTemplate(&page, name, view); err != nil {
		plain(w, http.StatusInternalServerError, "cannot render "+name+": "+err.Error())
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(page.Bytes()) // a reader that went away is no fault of ours
}

// plain answers with lines of text.
func plain(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text + "\n"))
}

// Probes returns the handler of metrics, liveness and readiness alone, for a listener with rules of
// its own.
func Probes(o Options) http.Handler {
	o.Identity = nil
	s := &site{Options: o}
	list := []route{{pattern: "/healthz", read: access.Open, handler: alive}, {pattern: "/readyz", read: access.Open, handler: s.readyz}}
	if o.Metrics != nil {
		list = append(list, route{pattern: "/metrics", read: access.Scrape, handler: o.Metrics.ServeHTTP})
	}
	t := newTable(list)
	return guard(s.admit(t.mux, t), o.Hosts, t)
}

// unconfigured reports whether no station is configured.
func (s *site) unconfigured() bool { return s.Unconfigured != nil && s.Unconfigured() }
