package notify

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"
	"time"
	"unicode"

	"strokewise/deploy/hostile"
	"strokewise/rules"
)

// everywhere puts a text wherever the outside can put text.
func everywhere(text string) rules.Transition {
	t := leftAlarm(time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC), rules.Unacknowledged)
	t.Key.Site, t.Key.Station, t.Branch, t.Alarm, t.Message, t.Caution, t.By, t.Why = text, text, text, text, text, text, text, text
	t.Evidence = []rules.Evidence{{Name: text, Text: text}}
	return t
}

// A mail's subject stays one line, its body holds no control characters, and it has our headers and recipients.
func TestHostileTextsInMails(t *testing.T) {
	b := newLetterbox(t, true)
	m := b.receiver(&Mail{Pages: "https://monitor.example"})
	for name, text := range hostile.Texts {
		x := everywhere(text)
		if _, err := m.Deliver(t.Context(), &Item{Transition: x}); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all := b.all()
		h, subject, body := read(t, &all[len(all)-1])
		bad := func(r rune) bool { return unicode.IsControl(r) && r != '\n' || misleading(r) }
		if strings.ContainsFunc(subject, bad) || strings.Contains(subject, "\n") || strings.ContainsFunc(body, bad) {
			t.Errorf("%s: %q\n%q", name, subject, body)
		}
		if h.Get("Bcc") != "" || len(h) > 12 || len(all[len(all)-1].to) != 2 || !strings.Contains(body, reminder) {
			t.Errorf("%s: %v to %v", name, h, all[len(all)-1].to)
		}
		if n := strings.Count(body, "\nBy:     "); strings.TrimSpace(oneLine(text, 99)) != "" && n != 1 {
			t.Errorf("%s: %d lines say who did it:\n%s", name, n, body)
		}
		if _, body := digestText([]Item{{Transition: x}}, time.UTC, "https://monitor.example"); strings.ContainsFunc(body, bad) {
			t.Errorf("%s: digest %q", name, body)
		}
	}
}

// An event and an alert are one JSON value whose fields hold the text and nothing else; links stay links of ours.
func TestHostileTextsInEventsAndAlerts(t *testing.T) {
	a := &Alertmanager{Pages: "https://monitor.example"}
	for name, text := range hostile.Texts {
		x, want := everywhere(text), strings.ToValidUTF8(text, "\ufffd")
		body, err := encode(&x, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		var e event
		if err := json.Unmarshal(body, &e); err != nil || e.Data.Station != each(text) || e.Data.By != each(text) || strings.ContainsAny(string(body), "\n\r\x00<>") {
			t.Errorf("%s: %v: %s", name, err, body)
		}
		if u, err := url.Parse(e.Source); err != nil || u.Host != "" || strings.Count(u.EscapedPath(), "/") != 3 {
			t.Errorf("%s: source %q", name, e.Source)
		}
		alerts, err := json.Marshal([]alert{a.alert(&x, time.Now())})
		var got []alert
		if err != nil || json.Unmarshal(alerts, &got) != nil || len(got) != 1 || got[0].Labels["station"] != each(text) || len(got[0].Labels) != 5 {
			t.Errorf("%s: %v: %s (%q)", name, err, alerts, want)
			continue
		}
		if u, err := url.Parse(got[0].Generator); err != nil || u.Host != "monitor.example" || u.Scheme != "https" || strings.Count(u.EscapedPath(), "/") != 3 {
			t.Errorf("%s: generator %q", name, got[0].Generator)
		}
	}
}

// each returns a text as JSON holds it: each byte that is no UTF-8 is one U+FFFD.
func each(text string) string { return string([]rune(text)) }
