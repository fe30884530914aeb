// Package web serves the pages that people read: the stations as they are now, each
// station with its traces, what people did, and the payloads that were refused. It takes
// people's words about alarms; it moves nothing.
package web

import (
	"bytes"
	"embed"
	"html/template"
	"net/http"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/live"
	"strokewise/dashboards/trend"
)

//go:embed templates/*.html
var templates embed.FS

var pages = template.Must(template.ParseFS(templates, "templates/*.html"))

// Options say what is shown, and to whom. Functions that are nil show nothing.
type Options struct {
	Board    *board.Board
	Live     *live.Live                // traces; nil: none are shown
	History  History                   // of what is older than those; may be nil
	Zones    map[string]*time.Location // by site; UTC where there is none
	Pipeline func() board.Pipeline
	Refusals Refusals                 // messages that were not accepted; nil: none are kept
	Ready    func() error             // nil while ready; each line of the error is a reason. Left out: the board alone
	Metrics  http.Handler             // of /metrics
	Hosts    []string                 // allowed in the Host header beside the loopback names
	Hours    Hours                    // for costs
	Tariffs  map[string]*cost.Tariffs // by site
	Rig      Rig                      // of the demonstration
	Command  Command                  // takes what people order; nil: nothing is taken
	Diary    Diary                    // what people did; may be nil
	Alarms   Alarms                   // what became of alarms; may be nil
	Backtest Backtest                 // of changed alarms; nil: none
	Explain  Explain                  // says how a station's figures were obtained; may be nil
	Trends   trend.History            // of figures over weeks; may be nil
	Now      func() time.Time
	Version  string
}

// New gives the handler of all routes. The server's timeouts are its owner's.
func New(o Options) http.Handler {
	if o.Now == nil {
		o.Now = time.Now
	}
	s := &site{Options: o, streams: make(chan struct{}, mostStreams), queries: make(chan struct{}, mostQueries)}
	mux := http.NewServeMux()
	mux.HandleFunc("/{$}", s.stations("page.html"))
	mux.HandleFunc("/stations", s.stations("stations.html"))
	mux.HandleFunc("/station/{site}/{station}", s.station)
	mux.HandleFunc("/station/{site}/{station}/trace", s.trace)
	mux.HandleFunc("/station/{site}/{station}/how", s.how)
	mux.HandleFunc("/station/{site}/{station}/trends", s.trends)
	mux.HandleFunc("/events", s.events)
	mux.HandleFunc(refusedPath, s.refused)
	mux.HandleFunc("/program", s.program)
	mux.HandleFunc("/costs", s.costs)
	mux.HandleFunc("/audit", s.audit)
	mux.HandleFunc("/alarm-figures", s.alarmFigures)
	mux.HandleFunc("/due", s.due)
	mux.HandleFunc("/after-shift", s.afterShift)
	mux.HandleFunc("/healthz", alive)
	mux.HandleFunc("/readyz", s.readyz)
	mux.Handle("/static/", http.StripPrefix("/static/", newFiles()))
	if o.Metrics != nil {
		mux.Handle("/metrics", o.Metrics)
	}
	profiles(mux)
	if o.Command != nil {
		mux.HandleFunc("/station/{site}/{station}/command", s.command)
	}
	if o.Rig != nil {
		mux.HandleFunc(rigPath, s.rig)
	}
	if o.Backtest != nil {
		mux.HandleFunc(backtestPath, s.backtest)
	}
	return guard(mux, o.Hosts, forms{rig: o.Rig != nil, commands: o.Command != nil, backtest: o.Backtest != nil, refused: o.Refusals != nil})
}

// rigPath takes orders for faults, and only in the demonstration.
const rigPath = "/rig"

// forms says which forms there are.
type forms struct{ rig, commands, backtest, refused bool }

// takes tells whether a path takes what a form sends.
func (f forms) takes(path string) bool {
	return f.refused && path == refusedPath || f.rig && path == rigPath || f.backtest && path == backtestPath || f.commands && takesCommands(path)
}

// shows reports whether the page at a path has forms.
func (f forms) shows(path string) bool {
	return path != refusedPath && f.takes(path) || f.commands && ofStation(path)
}

type site struct {
	Options
	cards   cards
	streams chan struct{} // a place each
	queries chan struct{} // a place each
}

// stations shows the stations as a whole page or as the fragment that renews it.
func (s *site) stations(name string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		all := s.Board.All()
		v := overview(all, reasons(s.ready()), station.InstantOf(s.Now()), s.Version)
		v.headers(all, s.Board)
		v.Rig = s.Rig != nil
		v.Filling = filling(s.Board.Past())
		v.draw(s.lately)
		render(w, name, v)
	}
}

// alive answers as long as the process does.
func alive(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") }

func (s *site) readyz(w http.ResponseWriter, _ *http.Request) {
	if err := s.ready(); err != nil {
		plain(w, http.StatusServiceUnavailable, strings.Join(reasons(err), "\n"))
		return
	}
	plain(w, http.StatusOK, "ready")
}

// render writes a page once it is complete, so that a fault never shows half of one.
func render(w http.ResponseWriter, name string, view any) {
	renderAs(w, http.StatusOK, name, view)
}

func renderAs(w http.ResponseWriter, status int, name string, view any) {
	var page bytes.Buffer
	if err := pages.ExecuteTemplate(&page, name, view); err != nil {
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
