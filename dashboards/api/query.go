package api

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"strokewise/analyzer/station"
)

// The parameters of queries.
var (
	siteParameter    = Parameter{"site", "Only this site", "string"}
	branchParameter  = Parameter{"branch", "Only this branch", "string"}
	stationParameter = Parameter{"station", "Only this station; needs site", "string"}
	fromParameter    = Parameter{"from", "Begin, RFC 3339, inclusive; a day before to where it is left out", "date-time"}
	toParameter      = Parameter{"to", "End, RFC 3339, exclusive; now where it is left out", "date-time"}
	limitParameter   = Parameter{"limit", "The most rows (of minutes: the most minutes that are looked at) of an answer, 1 to 10000; 1500 where it is left out. The member next leads to the following rows", "integer"}
	afterParameter   = Parameter{"after", "Where the rows of the answer before ended, from its member next", "string"}
)

// The rows of an answer.
const (
	usualRows = 1500 // a day of minutes
	mostRows  = 10000
)

// mostSpan bounds what one request reads: the history keeps hours for years.
const mostSpan = 366 * 24 * 60 * station.Minute60

// query is a request's query. The first fault is kept.
type query struct {
	url.Values
	err *Problem
}

// queryOf reads a request's query; allowed are the names that it may have.
func queryOf(r *http.Request, allowed ...string) *query {
	values, err := url.ParseQuery(r.URL.RawQuery)
	q := &query{Values: values}
	if err != nil {
		q.err = fault("", "cannot read the query: %v", err)
	}
	for name, list := range values {
		switch {
		case !slices.Contains(allowed, name):
			q.fault(name, "there is no parameter %.40q here; expected one of %q", name, allowed)
		case len(list) > 1:
			q.fault(name, "%.40q is given %d times; expected once", name, len(list))
		}
	}
	return q
}

// fault keeps the first fault.
func (q *query) fault(name, format string, args ...any) {
	if q.err == nil {
		q.err = fault(name, format, args...)
	}
}

// problem returns the first fault as an error.
func (q *query) problem() error {
	if q.err == nil {
		return nil
	}
	return q.err
}

// limit returns how many rows are wanted at most.
func (q *query) limit() int {
	text := q.Get("limit")
	if text == "" {
		return usualRows
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > mostRows {
		q.fault("limit", "limit=%.20s: expected a whole number from 1 to %d", text, mostRows)
	}
	return n
}

// instant returns a time of the query, and otherwise the usual one.
func (q *query) instant(name string, usual station.Instant) station.Instant {
	text := q.Get(name)
	if text == "" {
		return usual
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil || t.Year() < 1970 || t.Year() > 2200 {
		q.fault(name, "%s=%.40s: expected a time as 2026-03-01T06:00:00Z (RFC 3339; + is written %%2B)", name, text)
		return usual
	}
	return station.InstantOf(t)
}

// span returns the times between which rows are wanted.
func (q *query) span(now station.Instant) (from, to station.Instant) {
	to = q.instant("to", now)
	from = q.instant("from", to.Add(-24*60*station.Minute60))
	switch {
	case from >= to:
		q.fault("from", "from is not before to")
	case to.Sub(from) > mostSpan:
		q.fault("from", "from is more than 366 days before to; ask for less at once")
	}
	return from, to
}

// next returns the address of the following rows: that of the request with one parameter changed.
func next(r *http.Request, name, value string) string {
	v := r.URL.Query()
	v.Set(name, value)
	return r.URL.Path + "?" + v.Encode()
}
