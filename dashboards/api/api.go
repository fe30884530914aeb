// Package api serves to programs what the pages show to people: version 1 of the HTTP interface. OpenAPI describes it in openapi.json,
// which a test makes of the tables in this package.
package api

import (
	"context"
	"net/http"
	"time"

	"github.com/klauspost/compress/gzhttp"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// Root is where the interface begins.
const Root = "/api/v1"

// History is what is stored.
type History interface {
	Minutes(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Minute, error)
	Intervals(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Interval, error)
	// Transitions returns those of all stations where the key is zero.
	Transitions(ctx context.Context, k station.Key, from, to station.Instant) ([]rules.Transition, error)
	// Used sums up what a station used in the hours that begin in [from, to).
	Used(ctx context.Context, k station.Key, from, to station.Instant) (cost.Sum, error)
}

// Sources are what is served.
type Sources struct {
	Board      *board.Board
	History    History // nil: nothing is stored
	References map[string]station.Reference
	Now        func() time.Time
	// Lane waits until the history may be read, and returns how to leave; nil: at once.
	Lane func(context.Context) (leave func(), err error)
}

// Endpoint is a path that is served by GET.
type Endpoint struct {
	Path    string // from Root on, as http.ServeMux matches it
	Summary string
	Query   []Parameter
	Answer  any  // its zero value has the form of the answer
	CSV     bool // rows may be had as CSV: Accept: text/csv
	Handler http.Handler
}

// Parameter is a parameter of a query.
type Parameter struct {
	Name, About string
	Kind        string // string, integer or date-time
}

// Endpoints returns all that is served.
func Endpoints(s Sources) []Endpoint {
	if s.Now == nil {
		s.Now = time.Now
	}
	h := &handlers{s}
	list := []Endpoint{
		{"/openapi.json", "This description", nil, nil, false, http.HandlerFunc(describe)},
		{"/stations", "Stations as they are now", []Parameter{siteParameter, branchParameter, limitParameter, afterParameter}, page[Station]{}, true, answering(h.stations)},
		{"/stations/{site}/{station}", "One station as it is now, with its figures", nil, StationNow{}, false, answering(h.station)},
		{"/stations/{site}/{station}/minutes", "Closed minutes of a station", []Parameter{fromParameter, toParameter, limitParameter}, page[Minute]{}, true, answering(h.minutes)},
		{"/stations/{site}/{station}/states", "States of a station", []Parameter{fromParameter, toParameter, limitParameter}, page[Interval]{}, true, answering(h.states)},
		{"/alarms", "Alarms that are not normal", []Parameter{siteParameter, limitParameter, afterParameter}, page[Alarm]{}, true, answering(h.alarms)},
		{"/alarm-log", "What became of alarms: every transition, the oldest first", []Parameter{siteParameter, stationParameter, fromParameter, toParameter, limitParameter}, page[Transition]{}, true, answering(h.log)},
		{"/air", "Air, energy and money of each station, over whole hours", []Parameter{siteParameter, branchParameter, fromParameter, toParameter}, page[Used]{}, true, answering(h.air)},
		{"/due", "Inspections and services, by what is due", []Parameter{siteParameter, limitParameter, afterParameter}, page[Due]{}, true, answering(h.due)},
	}
	zip, err := gzhttp.NewWrapper(gzhttp.SuffixETag("-gzip"))
	if err != nil {
		panic(err) // options that are fixed above
	}
	for i := range list {
		list[i].Handler = zip(list[i].Handler)
	}
	return list
}

// handlers answer requests.
type handlers struct{ Sources }

// now returns the present instant.
func (h *handlers) now() station.Instant { return station.InstantOf(h.Now()) }

// litres returns how many litres at a site's reference one litre at ANR is.
func (h *handlers) litres(site string) float64 { return h.References[site].PerANR() }

// readTime bounds what one request reads of the history.
const readTime = 10 * time.Second

// read has what is stored read, once there is a place among the readers. Where nothing is stored it does nothing.
func (h *handlers) read(ctx context.Context, do func(context.Context, History) error) error {
	if h.History == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, readTime)
	defer cancel()
	if h.Lane != nil {
		leave, err := h.Lane(ctx)
		if err != nil {
			return err
		}
		defer leave()
	}
	return do(ctx, h.History)
}
