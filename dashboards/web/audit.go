package web

import (
	"context"
	"net/http"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

const mostActs = 200 // on the page of the audit

// auditView is the page of what people and the program did.
type auditView struct {
	Root, Version string
	At            string
	Acts          []actView
	Notes         []noteView
	Problem       string
}

type actView struct {
	At, Who, What, Target, Detail string
	Outcome                       string
	Not                           bool // it was not done
}

func actsOf(list []history.Act) []actView {
	out := make([]actView, len(list))
	for i, a := range list {
		out[i] = actView{clock(a.At), a.Who, a.What, a.Target, a.Words(), outcomeOf(&a), notDone(a.Outcome) != ""}
	}
	return out
}

// audit shows the last acts and notes.
func (s *site) audit(w http.ResponseWriter, r *http.Request) {
	v := auditView{Version: s.Version, At: clock(station.InstantOf(s.Now()))}
	status := http.StatusOK
	if s.Diary != nil {
		ctx, cancel := context.WithTimeout(r.Context(), queryTime)
		defer cancel()
		acts, err := s.Diary.LastActs(ctx, mostActs)
		if err == nil {
			v.Acts = actsOf(acts)
			var notes []history.Note
			notes, err = s.Diary.LastNotes(ctx, station.Key{}, mostActs)
			v.Notes = notesOf(notes)
		}
		if err != nil {
			status, v.Problem = http.StatusServiceUnavailable, err.Error()
		}
	}
	s.renderAs(w, status, "audit.html", v)
}
