package main

import (
	"fmt"
	"time"
)

// atWorkCmd declares work on a station.
type atWorkCmd struct {
	Station string `arg:"" help:"Site and station, as in northdock/press-4."`
	Until   string `required:"" placeholder:"TIME" help:"When it will be over, a time by this machine's clock, as in 14:30, or how long it takes, as in 2h; 24 h at most."`
	Why     string `required:"" aliases:"note" placeholder:"TEXT" help:"What you are working on."`
	sender
}

// workEndCmd ends declared work.
type workEndCmd struct {
	Station string `arg:"" help:"Site and station, as in northdock/press-4."`
	Why     string `aliases:"note" placeholder:"TEXT" help:"Where the work of others is ended: their names, and the reason."`
	sender
}

// Run sends the declaration.
func (c *atWorkCmd) Run(e *env) error {
	d, err := untilTime(c.Until, time.Now())
	if err != nil {
		return err
	}
	return c.send(e, c.Station, spoken{Kind: "at-work", Why: c.Why, Minutes: d.Minutes()})
}

// Run sends the end.
func (c *workEndCmd) Run(e *env) error {
	return c.send(e, c.Station, spoken{Kind: "work-ended", Why: c.Why})
}

// untilTime returns how long it is from now until a time of day, the next one by now's clock, or a
// duration that is given.
func untilTime(text string, now time.Time) (time.Duration, error) {
	if d, err := time.ParseDuration(text); err == nil && d > 0 {
		return d, nil
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		return 0, fmt.Errorf("--until is %q: write a time of day as in 14:30, or how long it takes as in 2h", text)
	}
	at := time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location())
	if !at.After(now) {
		at = time.Date(now.Year(), now.Month(), now.Day()+1, t.Hour(), t.Minute(), 0, 0, now.Location())
	}
	return at.Sub(now), nil
}
