package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/access"
	"strokewise/dashboards/history"
	"strokewise/dashboards/trail"
)

const mostActs = 200 // on the page of the audit

// auditView is the page of what people and the program did.
type auditView struct {
	Root, Version string
	At            string
	Acts          []actView
	Notes         []noteView
	Newer, Older  int // pages; -1: none
	Trail         bool
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

// mostPages bounds how far back a page is looked for.
const mostPages = 100_000

// pageOf returns the page that a request asks for, the first where it names none.
func pageOf(r *http.Request) int {
	n, err := strconv.Atoi(r.URL.Query().Get("page"))
	if err != nil || n < 0 || n > mostPages {
		return 0
	}
	return n
}

// audit shows a page of acts and notes, the newest first.
func (s *site) audit(w http.ResponseWriter, r *http.Request) {
	n, who := pageOf(r), readerOf(r)
	v := auditView{Version: s.Version, At: clock(station.InstantOf(s.Now())), Newer: n - 1, Older: -1, Trail: s.Trail != nil && mayDo(who, access.Audit)}
	status := http.StatusOK
	if s.Diary != nil {
		ctx, cancel := context.WithTimeout(r.Context(), queryTime)
		defer cancel()
		acts, err := s.Diary.ActsBack(ctx, n*mostActs, mostActs+1)
		var notes []history.Note
		if err == nil {
			notes, err = s.Diary.NotesBack(ctx, n*mostActs, mostActs+1)
		}
		if max(len(acts), len(notes)) > mostActs {
			v.Older = n + 1
		}
		v.Acts, v.Notes = actsOf(acts[:min(len(acts), mostActs)]), notesOf(notes[:min(len(notes), mostActs)])
		if err != nil {
			status, v.Problem = http.StatusServiceUnavailable, err.Error()
		}
	}
	s.renderAs(w, status, "audit.html", v)
}

// trailView is a page of what was asked of the program.
type trailView struct {
	Root, Version string
	Head          string
	Entries       []trailRow
	Older         int64 // place in the trail; 0: none
	Problem       string
}

type trailRow struct {
	N                                        int64
	At, Who, By, From, What, To, Detail, Out string
}

const (
	trailPath = "/audit/trail"
	csvPath   = "/audit/trail.csv"
)

// trail shows a page of the trail.
func (s *site) trail(w http.ResponseWriter, r *http.Request) {
	v := trailView{Root: "../", Version: s.Version, Head: s.Trail.Head().String()}
	before, _ := strconv.ParseInt(r.URL.Query().Get("before"), 10, 64) // 0, the end, where it is no number
	list, older, err := trail.Page(s.Trail.Path(), before, mostActs)
	status := http.StatusOK
	if v.Older = older; err != nil {
		status, v.Problem = http.StatusServiceUnavailable, err.Error()
	}
	for i := range list {
		e := &list[i]
		v.Entries = append(v.Entries, trailRow{e.N, e.At.UTC().Format(time.DateTime), e.Who, e.By, e.From, e.What, e.Target, e.Detail, e.Outcome})
	}
	s.renderAs(w, status, "trail.html", v)
}

// trailCSV hands the whole trail out. Where its chain breaks the last line says so.
func (s *site) trailCSV(w http.ResponseWriter, r *http.Request) {
	f, err := os.Open(s.Trail.Path())
	if err != nil {
		plain(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	defer f.Close()
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="strokewise-audit.csv"`)
	h.Set("Cache-Control", "no-store")
	var b *trail.Broken
	if _, err := trail.WriteCSV(w, io.LimitReader(f, mostTrail), r.Context().Err); errors.As(err, &b) {
		fmt.Fprintf(w, "the trail is whole up to here; %s\n", b)
	}
}

// mostTrail bounds what one request is handed: strokewise audit export has no bound.
const mostTrail = 1 << 30
