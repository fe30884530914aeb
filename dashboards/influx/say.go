package influx

import (
	"context"
	"errors"
	"time"
)

const (
	sayAgain        = time.Hour
	sayRefusedAgain = time.Minute
)

// say logs a fault once, and again when it becomes another one or lasts.
func (e *Exporter) say(a *answer, wait time.Duration) {
	if errors.Is(a.err, context.Canceled) || a.kind == e.fault && time.Since(e.told) < sayAgain {
		return
	}
	e.fault, e.told = a.kind, time.Now()
	e.log.Warn("cannot export, trying again; minutes and transitions wait", "server", e.opt.URL, "error", a.err, "next", wait.Round(time.Millisecond), "keep", e.opt.Keep)
}

// works logs the end of a fault.
func (e *Exporter) works() {
	if e.fault != taken {
		e.log.Info("the export goes on", "server", e.opt.URL)
	}
	e.failures, e.fault = 0, taken
	e.did(nil)
}

// sayRefused logs points that were given up, at most once a minute.
func (e *Exporter) sayRefused(p *pass, n int) {
	if time.Since(e.refused) < sayRefusedAgain {
		return
	}
	e.refused = time.Now()
	for i, f := range p.fates {
		if f == bad {
			r := &p.rows[i]
			e.log.Error("the server refuses points; they are given up and stay in the history", "points", n, "of", len(p.rows),
				"first", r.Key.String(), "at", p.points[i].Time(), "error", p.first)
			return
		}
	}
}
