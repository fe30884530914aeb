package history

import (
	"strokewise/analyzer/station"
)

// ActOf returns the line of the audit of a person's command at an arrival time.
func ActOf(k station.Key, at station.Instant, c *station.Command) Act {
	return Act{At: at, Who: c.By, What: c.Kind, Target: Target(k, c.Alarm), Detail: c.Note,
		Until: c.Until, Cause: c.Cause, Service: c.Service, Date: c.Date, Document: c.Document}
}

// Command returns the command of a line of the audit about a station, not about one alarm.
func (a *Act) Command() *station.Command {
	return &station.Command{Kind: a.What, By: a.Who, Note: a.Detail, Until: a.Until,
		Cause: a.Cause, Service: a.Service, Date: a.Date, Document: a.Document}
}

// Words returns all that was said, as people read it.
func (a *Act) Words() string {
	words := a.Cause.With(a.Detail)
	if a.Document != "" {
		words = join(a.Document, words)
	}
	if a.Service != station.NoService {
		words = a.Service.String() + " " + a.Date + ": " + words
	}
	if a.Until != 0 {
		words = "until " + a.Until.Floor(station.Second).String() + ": " + words
	}
	return words
}

func join(a, b string) string {
	if b == "" {
		return a
	}
	return a + "; " + b
}
