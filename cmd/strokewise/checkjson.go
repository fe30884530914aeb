package main

import (
	"encoding/json"
	"errors"
	"io"

	"strokewise/cmd/internal/config"
)

// checked is what check --json prints, for editors and pipelines.
type checked struct {
	File     string         `json:"file"`
	Valid    bool           `json:"valid"`
	Faults   []checkedFault `json:"faults"`
	Warnings []checkedFault `json:"warnings"` // odd, but taken
	Sites    int            `json:"sites"`
	Stations int            `json:"stations"`
}

// checkedFault is a fault of a configuration file.
type checkedFault struct {
	Line     int    `json:"line,omitempty"` // left out where it is not known
	Key      string `json:"key,omitempty"`  // dotted path; left out: the file as a whole
	Problem  string `json:"problem"`
	Expected string `json:"expected,omitempty"`
	Example  string `json:"example,omitempty"`
}

// checkJSON writes the outcome of reading a configuration, err being that of load.
func checkJSON(to io.Writer, path string, cfg *config.Config, err error) error {
	c := checked{File: path, Valid: err == nil, Faults: faultsIn(err), Warnings: []checkedFault{}}
	if err == nil {
		c.Sites, c.Stations = len(cfg.Sites), len(cfg.Stations)
		for _, w := range cfg.Warnings {
			c.Warnings = append(c.Warnings, faultOf(w))
		}
	}
	e := json.NewEncoder(to)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(c)
}

// faultsIn returns the faults that an error joins; one that is no fault of the file is a problem alone.
func faultsIn(err error) []checkedFault {
	out := []checkedFault{}
	var joined interface{ Unwrap() []error }
	var fault *config.Error
	switch {
	case err == nil:
	case errors.As(err, &joined):
		for _, e := range joined.Unwrap() {
			out = append(out, faultsIn(e)...)
		}
	case errors.As(err, &fault):
		out = append(out, faultOf(fault))
	default:
		out = append(out, checkedFault{Problem: err.Error()})
	}
	return out
}

func faultOf(e *config.Error) checkedFault {
	return checkedFault{Line: e.Line, Key: e.Key, Problem: e.Problem, Expected: e.Expected, Example: e.Example}
}
