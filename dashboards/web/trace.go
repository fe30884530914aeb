package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/live"
)

// History gives what happened before the rings begin.
type History interface {
	Minutes(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Minute, error)
	Intervals(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Interval, error)
}

const (
	mostPoints  = 1200 // of a line in an answer
	mostStates  = 1000
	mostQueries = 3 // of the history at once
	queryTime   = 10 * time.Second
	// fresh is how far the newest sample may lie behind the wall clock (ns) while the
	// chart still ends at the sample: sensors' clocks differ, and lines come in blocks.
	fresh = 15 * station.Second
)

var errBusy = errors.New("the history is busy with other readers; try again")

// traceView is a stretch of one station's traces.
type traceView struct {
	live.Trace
	Key      station.Key
	From, To station.Instant
	State    string // the present one, "" while it is not known
	Since    station.Instant
	Until    station.Instant // up to which it is known
	Note     string          // what the reader must know of it
}

// end gives the time at which a chart ends now, by the station's own clock while samples
// come in.
func (s *site) end(k station.Key) station.Instant {
	now := station.InstantOf(s.Now())
	if s.Live == nil {
		return now
	}
	newest := s.Live.Newest(k)
	if d := now.Sub(newest); d > fresh || d < -fresh {
		return now
	}
	return newest
}

// trace answers with the traces of the last span seconds as JSON.
func (s *site) trace(w http.ResponseWriter, r *http.Request) {
	k := keyIn(r)
	one, ok := s.known(w, k)
	if !ok {
		return
	}
	seconds, err := spanOf(r.URL.Query().Get("span"))
	if err != nil {
		plain(w, http.StatusBadRequest, err.Error())
		return
	}
	v, err := s.stretch(r.Context(), &one, int64(seconds)*station.Second)
	if err != nil {
		plain(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(v.json(nil))
}

// stretch gathers a station's last span (ns): rings where they reach, the history's
// minutes before that.
func (s *site) stretch(ctx context.Context, one *board.Station, span int64) (*traceView, error) {
	k := one.Plate.Key
	v := &traceView{Key: k, To: s.end(k)}
	v.From = v.To.Add(-span)
	v.present(one)
	if s.Live != nil {
		v.tail(s.Live, span)
		if !v.Full {
			v.Note = "Means over 15 s: this station is not among those of which more is kept."
		}
	}
	begin := v.To
	for _, l := range [...]*live.Line{&v.Inlet, &v.Outlet} {
		if l.Len() > 0 {
			begin = min(begin, l.At[0])
		}
	}
	if s.History == nil || begin.Sub(v.From) < 2*station.Minute60 {
		return v, nil
	}
	return v, s.before(ctx, v, begin)
}

// tail takes what the rings reach of the span, in bins that suit it. Stroke marks of more
// than the rings' reach would be a black bar.
func (v *traceView) tail(l *live.Live, span int64) {
	reach := min(span, live.Reach)
	points := max(int64(mostPoints)*reach/span, 2)
	v.Trace = l.Trace(v.Key, v.To.Add(-reach), v.To+1, int(points))
	if span > live.Reach {
		v.Strokes = nil
	}
}

func (v *traceView) present(one *board.Station) {
	if one.Status.At != 0 && !one.Stale() {
		v.State, v.Since, v.Until = (one.Status.State % station.NumStates).String(), one.Status.Since, one.Status.At
	}
}

// before puts the history's minutes and states in front of what the rings gave from begin
// on. A few readers at a time: a week is ten thousand minutes.
func (s *site) before(ctx context.Context, v *traceView, begin station.Instant) error {
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	leave, err := s.queue(ctx)
	if err != nil {
		return err
	}
	defer leave()
	minutes, err := s.History.Minutes(ctx, v.Key, v.From.Floor(station.Minute60), begin)
	if err != nil {
		return err
	}
	until := begin
	if len(v.Intervals) > 0 {
		until = min(until, v.Intervals[0].From)
	} else {
		until = v.To
	}
	intervals, err := s.History.Intervals(ctx, v.Key, v.From, until)
	if err != nil {
		return err
	}
	for n := len(minutes); n > 0 && minutes[n-1].Start.Add(station.Minute60) > begin; n-- {
		minutes = minutes[:n-1] // partly in the rings
	}
	inlet, outlet := minuteLines(minutes, v.To.Sub(v.From)/mostPoints)
	v.Inlet, v.Outlet = follow(inlet, v.Inlet), follow(outlet, v.Outlet)
	v.Intervals = append(intervals, v.Intervals...)
	v.Intervals = coarser(v.Intervals, v.From, v.To, mostStates)
	if len(minutes) == 0 {
		return nil
	}
	revised := 0
	for i := range minutes {
		if minutes[i].Revised {
			revised++
		}
	}
	if revised > 0 {
		v.Note = join(v.Note, plural(revised, "minute")+" rebuilt from samples that came late.")
	}
	v.Note = join(v.Note, "Up to "+clock(begin)+": minutes of the history, the inlet's mean, the outlet's mean and highest, without stroke marks.")
	return nil
}
