package notify

import (
	"net/url"
	"strings"
	"time"

	"strokewise/rules"
)

// alert is one of the API's alerts. A zero end says that it is active.
type alert struct {
	Labels      map[string]string `json:"labels"`
	Annotations map[string]string `json:"annotations"`
	StartsAt    string            `json:"startsAt"`
	EndsAt      string            `json:"endsAt,omitempty"`
	Generator   string            `json:"generatorURL,omitempty"`
}

// firing tells whether an alarm in a state is an active alert. A shelved one is: it says so
// in an annotation, and silencing is Alertmanager's own business.
func firing(s rules.AlarmState) bool { return s.Active() || s == rules.Shelved }

// alert makes the alert of a transition. Labels are the same from raise to return, or it
// would be another alert. Times of a device whose clock is ahead are cut to now, because
// an end in the future is no end.
func (a *Alertmanager) alert(t *rules.Transition, now time.Time) alert {
	start := earlier(t.Raised.Time(), now)
	out := alert{
		Labels: map[string]string{
			"alertname": t.Alarm, "site": t.Key.Site, "branch": t.Branch, "station": t.Key.Station, "priority": t.Priority.String(),
		},
		Annotations: annotations(t, a.Known),
		StartsAt:    start.UTC().Format(time.RFC3339Nano),
	}
	if a.Pages != "" {
		out.Generator = stationPage(a.Pages, t)
		out.Annotations["runbook_url"] = out.Generator
	}
	if !firing(t.To) {
		end := earlier(t.At.Time(), now)
		if end.Before(start) {
			end = start
		}
		out.EndsAt = end.UTC().Format(time.RFC3339Nano)
	}
	return out
}

// annotations returns what a person needs, under the names that the shipped rules use as well. Empty ones are left out.
func annotations(t *rules.Transition, known Known) map[string]string {
	out := map[string]string{
		"summary": t.Said(), "caution": t.Caution, "state": t.To.String(), "evidence": strings.Join(evidence(t), "; "), "reminder": reminder,
	}
	if d, ok := known.of(t); ok {
		out["check_first"], out["respond"] = d.CheckFirst, d.RespondIn
		out["consequence"], out["causes"], out["description"] = d.Consequence, strings.Join(d.Causes, "; "), d.Runbook
	}
	switch t.To {
	case rules.Acknowledged:
		out["acknowledged"] = "since " + t.At.String() + byWhom(t)
	case rules.Shelved:
		out["shelved"] = "since " + t.At.String() + byWhom(t)
		if t.ShelvedUntil != 0 {
			out["shelved"] += ", until " + t.ShelvedUntil.String()
		}
	}
	for k, v := range out {
		if v == "" {
			delete(out, k)
		}
	}
	return out
}

// byWhom returns who brought the transition about, "" where nobody did.
func byWhom(t *rules.Transition) string {
	if t.By == "" {
		return ""
	}
	return ", by " + t.By
}

// stationPage returns the address of a station's page.
func stationPage(pages string, t *rules.Transition) string {
	return strings.TrimRight(pages, "/") + "/station/" + url.PathEscape(t.Key.Site) + "/" + url.PathEscape(t.Key.Station)
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
