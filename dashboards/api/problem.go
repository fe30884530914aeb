package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
)

// Problem is an answer that is none, after RFC 9457. Its type is about:blank: the status says what kind it is.
type Problem struct {
	Title     string `json:"title"`
	Status    int    `json:"status"`
	Detail    string `json:"detail"`
	Parameter string `json:"parameter,omitempty"` // of the query, that is at fault
}

// Error returns the detail.
func (p *Problem) Error() string { return p.Detail }

// fault returns a problem with a parameter of the query.
func fault(parameter, format string, args ...any) *Problem {
	return &Problem{Status: http.StatusBadRequest, Parameter: parameter, Detail: fmt.Sprintf(format, args...)}
}

// missing returns the problem that there is no such thing.
func missing(format string, args ...any) *Problem {
	return &Problem{Status: http.StatusNotFound, Detail: fmt.Sprintf(format, args...)}
}

// fail answers with a problem. What is no Problem is the history's.
func fail(w http.ResponseWriter, err error) {
	var p *Problem
	if !errors.As(err, &p) {
		p = &Problem{Status: http.StatusServiceUnavailable, Detail: "the history does not answer: " + err.Error() + "; try again"}
		w.Header().Set("Retry-After", "5")
	}
	p.Title = http.StatusText(p.Status)
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	_ = json.NewEncoder(w).Encode(p)
}
