package notify

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"strokewise/rules"
)

// mailText returns subject and body of a transition's mail: the caution, the message and what to
// do first stand first.
func mailText(t *rules.Transition, of Known, zone *time.Location, pages string) (subject, body string) {
	subject = fmt.Sprintf("[strokewise] %s: %s %s at %s", t.Priority, t.Alarm, happeningOf(t), t.Key)
	d, known := of.of(t)
	known = known && t.To.Active()
	var b strings.Builder
	if t.Caution != "" {
		fmt.Fprintf(&b, "CAUTION: %s\n\n", t.Caution)
	}
	if t.Message != "" {
		fmt.Fprintf(&b, "%s\n\n", t.Said())
	}
	if known {
		fmt.Fprintf(&b, "Check first: %s\nRespond: %s\n\n", d.CheckFirst, d.RespondIn)
	}
	b.WriteString(whereText(t, zone))
	if list := evidence(t); len(list) > 0 {
		fmt.Fprintf(&b, "\nFigures:\n  %s\n", strings.Join(list, "\n  "))
	}
	if known {
		b.WriteString(knownText(&d))
	}
	if pages != "" {
		fmt.Fprintf(&b, "\n%s\n", stationPage(pages, t))
	}
	fmt.Fprintf(&b, "\n%s\n", reminder)
	return subject, plain(b.String())
}

// whereText returns lines that say where the alarm is, how it stands, and who did what about it.
func whereText(t *rules.Transition, zone *time.Location) string {
	where, priority := t.Key.String(), t.Priority.String()+" priority"
	if t.Branch != "" {
		where += ", branch " + t.Branch
	}
	if t.Priority == rules.Finding {
		priority = "finding"
	}
	text := fmt.Sprintf("Where:  %s\nAlarm:  %s, %s, %s\nRaised: %s\n", where, t.Alarm, priority, t.To, local(t.Raised, zone))
	if t.At != t.Raised {
		text += fmt.Sprintf("Now:    %s, %s\n", happeningOf(t), local(t.At, zone))
	}
	if by := saidBy(t); by != "" {
		text += by + "\n"
	}
	return text
}

// saidBy returns who brought the transition about and why, "" where a condition did.
func saidBy(t *rules.Transition) string {
	by, why := oneLine(t.By, rules.MostName), oneLine(t.Reason(), rules.MostReason) // on one line, or they could look like ours
	switch {
	case by != "" && why != "":
		return "By:     " + by + ": " + why
	case by != "":
		return "By:     " + by
	case why != "":
		return "Why:    " + why
	}
	return ""
}

// knownText returns what is known of an alarm beforehand, for mails.
func knownText(d *rules.Definition) string {
	text := fmt.Sprintf("\nConsequence: %s\n\nLikely causes: %s.\n", d.Consequence, strings.Join(d.Causes, "; "))
	if d.Runbook != "" {
		text += "\nRunbook: " + d.Runbook + "\n"
	}
	return text
}

// digestText returns subject and body of a digest of a site.
func digestText(items []Item, zone *time.Location, pages string) (subject, body string) {
	subject = fmt.Sprintf("[strokewise] %s: %d low-priority alarms and findings", items[0].Transition.Key.Site, len(items))
	var b strings.Builder
	for i := range items {
		t := &items[i].Transition
		fmt.Fprintf(&b, "%s  %s  %s %s (%s)\n", local(t.At, zone), t.Key, t.Alarm, happeningOf(t), t.Priority)
		if t.Message != "" {
			fmt.Fprintf(&b, "    %s\n", t.Said())
		}
		if by := saidBy(t); by != "" {
			fmt.Fprintf(&b, "    %s\n", by)
		}
		if t.Caution != "" && t.To.Active() {
			fmt.Fprintf(&b, "    CAUTION: %s\n", t.Caution)
		}
		if pages != "" {
			fmt.Fprintf(&b, "    %s\n", stationPage(pages, t))
		}
	}
	fmt.Fprintf(&b, "\n%s\n", reminder)
	return subject, plain(b.String())
}

// plain returns a body without control characters other than line ends, and without what turns the
// direction of a text.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' || misleading(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}
