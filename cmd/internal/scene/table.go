package scene

import (
	"fmt"
	"strings"

	"strokewise/rules"
)

// Row returns a scene's row of the markdown table: event, what was raised, after how long, and the
// full text as sent.
func (s *Scene) Row(o *Outcome) string {
	var names, times, texts []string
	for i := range o.Transitions {
		t := &o.Transitions[i]
		if !raised(t) || t.At < second(s.first()) {
			continue
		}
		names = append(names, fmt.Sprintf("%s (%s)", t.Alarm, t.Priority))
		times = append(times, after(s.since(t.Alarm), t))
		texts = append(texts, cell(Sent(t)))
	}
	if len(names) == 0 {
		names, times, texts = []string{"nothing"}, []string{""}, []string{""}
	}
	wrong := ""
	for _, w := range s.Judge(o) {
		wrong += "<br>**wrong: " + cell(w) + "**"
	}
	return fmt.Sprintf("| %s%s | %s | %s | %s |", cell(s.Event), wrong, strings.Join(names, "<br>"), strings.Join(times, "<br>"), strings.Join(texts, "<br>---<br>"))
}

// Head returns the table's head.
func Head() string { return "| event | raised | after | text as sent |\n|---|---|---|---|" }

// first returns from when transitions are of interest, s after Start.
func (s *Scene) first() int64 {
	at := s.From
	for i := range s.Due {
		at = min(at, s.dueFrom(&s.Due[i]))
	}
	return at
}

// since returns the event that an alarm's time counts from.
func (s *Scene) since(alarm string) int64 {
	for i := range s.Due {
		if s.Due[i].Alarm == alarm {
			return s.dueFrom(&s.Due[i])
		}
	}
	return s.From
}

// cell makes text fit for a cell of a table.
func cell(text string) string {
	return strings.ReplaceAll(strings.ReplaceAll(strings.TrimSpace(text), "|", `\|`), "\n", "<br>")
}

// Brief returns a line for each alarm that was raised, for a terminal.
func (s *Scene) Brief(o *Outcome) string {
	var b strings.Builder
	for i := range o.Transitions {
		if t := &o.Transitions[i]; t.To.Active() != t.From.Active() && t.To < rules.Shelved {
			fmt.Fprintf(&b, "  %10s  %-20s %-8s %-14s %s\n", after(s.since(t.Alarm), t), t.Alarm, t.Priority, t.To, t.Message)
		}
	}
	for _, r := range o.Refused {
		fmt.Fprintf(&b, "  refused: %s\n", r)
	}
	return b.String()
}
