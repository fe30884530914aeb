package samplelog

import (
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog/recordpb"
)

func encodeCommand(c *station.Command) *recordpb.Command {
	return &recordpb.Command{Kind: c.Kind, Alarm: c.Alarm, By: c.By, Note: c.Note, Until: int64(c.Until),
		Cause: c.Cause.String(), Service: c.Service.String(), Date: c.Date, Document: c.Document}
}

// decodeCommand returns the command of an entry. A cause or service of a newer program is none.
func decodeCommand(c *recordpb.Command) *station.Command {
	out := &station.Command{Kind: c.Kind, Alarm: c.Alarm, By: c.By, Note: c.Note, Until: station.Instant(c.Until), Date: c.Date, Document: c.Document}
	out.Cause, _ = station.ParseCause(c.Cause)
	out.Service, _ = station.ParseService(c.Service)
	if c.Cause == "" && c.Service == "" && c.Document == "" {
		unpack(out)
	}
	return out
}

// unpack moves what older programs packed into the note of a command into fields of its own:
//
//	close      "leak: fitting tightened"
//	done       "relief-test 2026-01-10: sheet 7"
//	inspected  "certificate 4711"
//
// It is for entries of older logs alone: a newer program writes no such command without its
// fields. What does not read so stays as it is.
func unpack(c *station.Command) {
	head, rest, packed := strings.Cut(c.Note, ":")
	head, rest = strings.TrimSpace(head), strings.TrimSpace(rest)
	switch c.Kind {
	case "close":
		if cause, ok := station.ParseCause(head); packed && ok {
			c.Cause, c.Note = cause, rest
		}
	case "done":
		what, date, _ := strings.Cut(head, " ")
		service, ok := station.ParseService(what)
		if _, err := time.Parse(time.DateOnly, date); packed && ok && err == nil && rest != "" {
			c.Service, c.Date, c.Document, c.Note = service, date, rest, ""
		}
	case "inspected":
		c.Document, c.Note = c.Note, ""
	}
}
