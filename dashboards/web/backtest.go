package web

import (
	"errors"
	"io"
	"net/http"
	"strings"
	"time"

	"strokewise/analyzer/station"
)

// Backtest runs changed alarms over the log's past, one run at a time.
type Backtest interface {
	// Start begins a run. An error says what is wrong with the request, a fault in the changes
	// with line and column.
	Start(of BacktestOf) error
	Cancel()
	State() BacktestState
}

// BacktestOf is what a run is to compare.
type BacktestOf struct {
	Changes  string          // list as under alarms in the configuration; "": the alarms as they are
	Station  string          // ID or SITE/ID; "": all
	From, To station.Instant // 0: open
}

// BacktestState is how far the newest run has come, and what it found.
type BacktestState struct {
	Of           BacktestOf
	Began, Ended station.Instant // 0: none yet
	Done         float64         // 0 to 1
	Problem      string          // why it ended without a result
	Verdict      string
	Spans        []BacktestSpan
	Rows         []BacktestRow
	More         int // rows that are left out
	Sums         []BacktestSum
}

// BacktestSpan is how much of a station was compared.
type BacktestSpan struct {
	Key      station.Key
	From, To station.Instant // equal: nothing
}

// BacktestRow is an occurrence of an alarm as it was and as it would be; zero times: it is
// not on that side, or it has not ended.
type BacktestRow struct {
	Key                                station.Key
	Alarm, Kind                        string // kind: as before, new, no longer
	WasRaised, WasEnded, Raised, Ended station.Instant
}

// BacktestSum counts an alarm's occurrences.
type BacktestSum struct {
	Alarm         string
	Was, Is       int
	WasDay, IsDay float64
}

const (
	backtestPath = "/backtest"
	mostChanges  = 64 << 10 // bytes of a text of changes
)

// backtestView is the page.
type backtestView struct {
	Root, Version, At            string
	Mark                         string // of our own pages
	Problem                      string // with what was sent
	Changes, Station, From, To   string // as sent
	Running, Ended               bool
	Percent, Began, Took, Failed string
	Of                           string // what the newest run compared
	Verdict                      string
	Spans                        []backtestSpanRow
	Rows                         []backtestRow
	More                         int
	Sums                         []backtestSumRow
}

type backtestSpanRow struct{ Station, Link, From, To, Days string }

type backtestRow struct{ Station, Link, Alarm, Kind, Raised, Ended string }

type backtestSumRow struct {
	Alarm                 string
	Was, Is               int
	WasDay, IsDay, Change string
}

// backtest shows the form and the newest run, and takes what the form sends.
func (s *site) backtest(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		s.render(w, "backtest.html", s.backtestPage(r, BacktestOf{}, "", "", ""))
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 2*mostChanges)
	if err := r.ParseMultipartForm(mostChanges); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		s.renderAs(w, http.StatusBadRequest, "backtest.html", s.backtestPage(r, BacktestOf{}, "", "", "cannot read the form: "+err.Error()))
		return
	}
	if r.PostFormValue("do") == "cancel" {
		s.Backtest.Cancel()
		http.Redirect(w, r, backtestPath, http.StatusSeeOther)
		return
	}
	of, err := backtestOf(r)
	if err == nil {
		err = s.Backtest.Start(of)
	}
	if err != nil {
		s.renderAs(w, http.StatusBadRequest, "backtest.html", s.backtestPage(r, of, r.PostFormValue("from"), r.PostFormValue("to"), err.Error()))
		return
	}
	http.Redirect(w, r, backtestPath, http.StatusSeeOther)
}

// backtestOf reads the form: the changes from the text area, or from a file that is sent.
func backtestOf(r *http.Request) (of BacktestOf, err error) {
	of = BacktestOf{Changes: strings.ReplaceAll(r.PostFormValue("changes"), "\r\n", "\n"), Station: strings.TrimSpace(r.PostFormValue("station"))}
	if f, h, ferr := r.FormFile("file"); ferr == nil && h.Size > 0 {
		defer f.Close()
		text, err := io.ReadAll(io.LimitReader(f, mostChanges+1))
		if err != nil {
			return of, errText("cannot read the file: " + err.Error())
		}
		of.Changes = string(text)
	}
	if len(of.Changes) > mostChanges {
		return of, errText("the changes are longer than 64 KiB")
	}
	if of.From, err = formTime(r.PostFormValue("from"), "from"); err != nil {
		return of, err
	}
	if of.To, err = formTime(r.PostFormValue("to"), "to"); err != nil {
		return of, err
	}
	if of.To != 0 && of.From >= of.To {
		return of, errText("to is not after from")
	}
	return of, nil
}

// formTime reads a time of a form, UTC unless it says otherwise; 0 where the field is empty.
func formTime(text, name string) (station.Instant, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04Z07:00", "2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04", time.DateOnly} {
		if t, err := time.Parse(layout, text); err == nil {
			return station.InstantOf(t), nil
		}
	}
	return 0, errText(name + " must be a time such as 2026-03-02T06:00Z, not " + text)
}

// backtestPage puts the newest run in words, with the form as it was sent.
func (s *site) backtestPage(r *http.Request, of BacktestOf, from, to, problem string) backtestView {
	b := s.Backtest.State()
	v := backtestView{Version: s.Version, Mark: s.mark(readerOf(r)), At: clock(station.InstantOf(s.Now())), Problem: problem, Changes: of.Changes, Station: of.Station, From: from, To: to,
		Running: b.Began != 0 && b.Ended == 0, Ended: b.Ended != 0, Failed: b.Problem, Verdict: b.Verdict, More: b.More}
	if problem == "" {
		v.Changes, v.Station = b.Of.Changes, b.Of.Station
		v.From, v.To = timeField(b.Of.From), timeField(b.Of.To)
	}
	if b.Began != 0 {
		v.Percent, v.Began, v.Of = number(100*b.Done, 0), clock(b.Began), orElse(b.Of.Station, "all stations")
		v.Took = span(max(b.Ended, b.Began).Sub(b.Began))
	}
	for _, x := range b.Spans {
		r := backtestSpanRow{Station: x.Key.String(), Link: path(x.Key), From: clock(x.From), To: clock(x.To)}
		if x.To > x.From {
			r.Days = number(float64(x.To.Sub(x.From))/float64(24*60*station.Minute60), 2)
		}
		v.Spans = append(v.Spans, r)
	}
	for i := range b.Rows {
		v.Rows = append(v.Rows, backtestRowOf(&b.Rows[i]))
	}
	for _, x := range b.Sums {
		v.Sums = append(v.Sums, backtestSumRow{x.Alarm, x.Was, x.Is, number(x.WasDay, 2), number(x.IsDay, 2), signed(x.IsDay - x.WasDay)})
	}
	return v
}

func backtestRowOf(x *BacktestRow) backtestRow {
	r := backtestRow{Station: x.Key.String(), Link: path(x.Key), Alarm: x.Alarm, Kind: x.Kind}
	ended := func(t station.Instant) string {
		if t == 0 {
			return "still open"
		}
		return clock(t)
	}
	switch {
	case x.Raised == 0:
		r.Raised, r.Ended = clock(x.WasRaised), ended(x.WasEnded)
	case x.WasRaised == 0:
		r.Raised, r.Ended = clock(x.Raised), ended(x.Ended)
	default:
		r.Raised, r.Ended = moved(clock(x.WasRaised), clock(x.Raised)), moved(ended(x.WasEnded), ended(x.Ended))
	}
	return r
}

// moved says what a time would be where that differs.
func moved(was, is string) string {
	if was == is {
		return was
	}
	return was + ", would be " + is
}

// signed gives a change with its sign.
func signed(x float64) string {
	if x > 0 {
		return "+" + number(x, 2)
	}
	return number(x, 2)
}

func timeField(t station.Instant) string {
	if t == 0 {
		return ""
	}
	return t.String()
}
